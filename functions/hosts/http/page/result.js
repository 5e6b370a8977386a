// What a call gave: a number with its unit, a table, a curve, or the sentence of an error.

import { element, shownUnit } from "./form.js";
import { plotInto, short } from "./plot.js";

function cell(value) {
  if (value && typeof value === "object") {
    return element("td", { class: "bad", title: value.error.message }, value.error.code);
  }
  if (typeof value === "number") return element("td", { class: "number", title: String(value) }, short(value));
  return element("td", {}, typeof value === "boolean" ? String(value).toUpperCase() : value ?? "");
}

function table(rows, columns) {
  const shown = element("table", { class: "values" });
  if (columns.length) {
    const heads = columns.map((column) => {
      const unit = shownUnit(column.unit);
      return element("th", { scope: "col" }, [column.title, ...(unit ? [" ", element("span", { class: "unit" }, unit)] : [])]);
    });
    shown.append(element("thead", {}, element("tr", {}, heads)));
  }
  shown.append(element("tbody", {}, rows.map((row) => element("tr", {}, row.map(cell)))));
  return element("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Result table" }, shown);
}

function scalar(value, unit) {
  if (typeof value !== "number") return [element("p", { class: "answer text" }, String(value))];
  const parts = [element("p", { class: "answer" }, [short(value), unit ? element("span", { class: "unit" }, ` ${unit}`) : ""])];
  if (short(value).replace("−", "-") !== String(value)) {
    parts.push(element("p", { class: "exact" }, `In the cell: ${value}`));
  }
  return parts;
}

function curve(described, rows) {
  const column = (index) => ({ ...described.columns[index], values: rows.map((row) => row[index]) });
  const drawable = rows.length > 1 && rows.every((row) => row.every((value) => typeof value === "number"));
  if (!described.curve || !drawable) return [];
  const box = element("div", { class: "plots" });
  plotInto(box, column(described.curve.x), described.curve.y.map(column));
  return [box];
}

/** Show an error: the sentence, and the code that stands in the cell. */
export function errorShown(code, message) {
  return element("div", { class: "error" }, [
    element("p", { class: "code" }, code.startsWith("#") ? `The cell shows ${code}` : "Not calculated"),
    element("p", {}, message),
  ]);
}

/** Show a result of the given function. */
export function resultShown(described, { value, error, notes }) {
  if (error) return [errorShown(error.code, error.message)];
  const shown = Array.isArray(value)
    ? [...curve(described, value), table(value, described.columns)]
    : scalar(value, shownUnit(described.unit));
  if (notes.length) {
    shown.push(element("ul", { class: "notes", "aria-label": "Notes" }, notes.map((note) => element("li", {}, note))));
  }
  return shown;
}

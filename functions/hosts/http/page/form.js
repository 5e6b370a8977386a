// The form of a function: a field for each argument, and a grid or a list of names for each table.

import { Grid, cellValue } from "./grid.js";

/** Make an element; text never becomes markup. */
export function element(name, attributes = {}, content = []) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined && value !== false) made.setAttribute(key, value === true ? "" : value);
  }
  made.append(...[content].flat());
  return made;
}

/** Help beside a field: its unit stands there already. */
const shownHelp = (help) => (help ?? "").replace(/\s*\[[^\]]*\](\.?)$/, "$1");

/** Unit as people read it; nothing for a plain number. */
export const shownUnit = (unit) => (unit && unit !== "-" ? unit : "");

let made = 0;

class Line {
  constructor(argument, onChange) {
    this.argument = argument;
    this.id = `field-${(made += 1)}`;
    const several = argument.kind === "numbers" || argument.variadic;
    const attributes = { id: this.id, "aria-describedby": `${this.id}-help`, autocomplete: "off", spellcheck: "false" };
    if (argument.kind === "choice") {
      const first = element("option", { value: "" }, argument.required ? "choose …" : `${argument.default ?? "left out"} (default)`);
      const options = argument.choices.map((choice) => element("option", { value: choice }, choice));
      this.field = element("select", attributes, [first, ...options]);
    } else if (several) {
      this.field = element("textarea", { ...attributes, rows: 3 });
    } else {
      const number = argument.kind === "number";
      const usual = argument.default === null ? "" : String(argument.default);
      this.field = element("input", { ...attributes, type: "text", inputmode: number ? "decimal" : null, placeholder: usual });
    }
    this.field.addEventListener("input", onChange);
    const boxes = [this.field];
    const unit = shownUnit(argument.unit);
    if (unit) boxes.push(element("span", { class: "unit", "aria-hidden": "true" }, unit));
    const heading = element("label", { for: this.id }, argument.title);
    if (unit) heading.append(element("span", { class: "unseen" }, `, in ${unit}`));
    // Among many names most are optional: there the few others are marked.
    const mark = argument.pair ? argument.required && "required" : !argument.required && "optional";
    if (mark) heading.append(" ", element("span", { class: "optional" }, mark));
    const help = shownHelp(argument.help) + (several ? " One on each line." : "");
    this.element = element("div", { class: "field" }, [
      heading,
      element("div", { class: `entry ${argument.kind}` }, boxes),
      element("p", { class: "help", id: `${this.id}-help` }, help),
    ]);
  }

  fill(value) {
    if (Array.isArray(value)) this.field.value = value.flat().map((each) => each ?? "").join("\n");
    else this.field.value = value === null || value === undefined ? "" : String(value);
  }

  read() {
    if (this.argument.kind === "numbers") {
      const rows = this.field.value.split("\n").map(cellValue).filter((value) => value !== null);
      return rows.length ? rows.map((value) => [value]) : null;
    }
    return this.argument.kind === "text" ? this.field.value.trim() || null : cellValue(this.field.value);
  }

  mark() {
    this.field.setAttribute("aria-invalid", "true");
  }
}

class Pairs {
  constructor(argument, onChange, example) {
    this.columns = argument.table.columns;
    this.lines = this.columns.map((column) => {
      const kind = column.choices.length ? "choice" : column.unit ? "number" : "text";
      return new Line({ ...column, kind, variadic: false, pair: true }, onChange);
    });
    // Most valves need a part of the names only: those that the example leaves out are folded away.
    const usual = new Set((example ?? []).map(([name]) => String(name).replaceAll("_", " ").trim().toLowerCase()));
    const shown = this.columns.map((column) => column.required || usual.has(column.title));
    const pick = (wanted) => this.lines.filter((_, index) => shown[index] === wanted).map((line) => line.element);
    const folded = pick(false);
    this.more = element("details", { class: "more" }, [
      element("summary", {}, `Further names (${folded.length})`),
      element("div", { class: "names" }, folded),
    ]);
    this.element = element("div", { class: "pairs" }, element("div", { class: "names" }, pick(true)));
    if (folded.length) this.element.append(this.more);
  }

  fill(rows) {
    const known = new Map(rows.map(([name, value]) => [String(name).replaceAll("_", " ").trim().toLowerCase(), value]));
    this.columns.forEach((column, index) => this.lines[index].fill(known.get(column.title) ?? null));
  }

  read() {
    const rows = this.columns.map((column, index) => [column.title, this.lines[index].read()]);
    const filled = rows.filter(([, value]) => value !== null);
    return filled.length ? filled : null;
  }

  mark(place) {
    const at = this.columns.findIndex((column) => place.includes(column.title));
    // The server counts the rows that were sent, which are those that are filled.
    const sent = this.columns.map((_, index) => index).filter((index) => this.lines[index].read() !== null);
    const row = sent[Number(/row (\d+)/.exec(place)?.[1] ?? 0) - 1];
    const line = this.lines[row ?? at];
    if (!line) return;
    if (this.more.contains(line.element)) this.more.open = true;
    line.mark();
  }
}

/** Write a value as a constant of a formula. */
export function literal(value) {
  if (value === null) return "";
  if (Array.isArray(value)) return `{${value.map((row) => row.map((cell) => literal(cell) || '""').join(",")).join(";")}}`;
  return typeof value === "string" ? `"${value.replaceAll('"', '""')}"` : String(value);
}

export class Form {
  constructor(described, onChange) {
    this.described = described;
    this.parts = described.arguments.map((argument, index) => {
      if (!argument.table) return new Line(argument, onChange);
      if (argument.table.kind === "rows") return new Grid(argument, onChange);
      return new Pairs(argument, onChange, described.example_arguments[index]);
    });
    const required = [];
    const optional = [];
    described.arguments.forEach((argument, index) => {
      let shown = this.parts[index].element;
      if (argument.table) {
        const heading = [argument.title];
        if (!argument.required) heading.push(" ", element("span", { class: "optional" }, "optional"));
        shown = element("fieldset", {}, [element("legend", {}, heading), element("p", { class: "help" }, argument.help), shown]);
      }
      (argument.required ? required : optional).push(shown);
    });
    this.more = element("details", { class: "more" }, [
      element("summary", {}, `Optional arguments (${optional.length})`),
      element("div", { class: "fields" }, optional),
    ]);
    this.element = element("form", { class: "form", novalidate: true }, element("div", { class: "fields" }, required));
    if (optional.length) this.element.append(this.more);
  }

  /** Fill in the documented example, or with no values, blank everything. */
  fill(values) {
    this.clearMarks();
    this.parts.forEach((part, index) => {
      const argument = this.described.arguments[index];
      const rest = argument.variadic ? values.slice(index) : values[index];
      part.fill(rest ?? (argument.table ? [] : null));
    });
    const given = this.described.arguments.some((argument, index) => !argument.required && values[index] != null);
    this.more.open = given;
  }

  read() {
    const values = this.parts.flatMap((part, index) => {
      if (!this.described.arguments[index].variadic) return [part.read()];
      return part.field.value.split("\n").map(cellValue).filter((value) => value !== null);
    });
    while (values.length && values.at(-1) === null) values.pop();
    return values;
  }

  formula() {
    return `=${this.described.cell_name}(${this.read().map(literal).join(", ")})`;
  }

  clearMarks() {
    this.element.querySelectorAll("[aria-invalid]").forEach((field) => field.removeAttribute("aria-invalid"));
  }

  /** Mark the field that an error names. */
  mark(place) {
    const index = this.described.arguments.findIndex(
      ({ name }) => place === name || (place.startsWith(name) && /^[\s,]/.test(place.slice(name.length))));
    if (index < 0) return;
    if (!this.described.arguments[index].required) this.more.open = true;
    this.parts[index].mark(place);
  }
}

// A small grid for the tables that functions take: arrow keys move, and cells pasted from a spreadsheet fill it.

import { element } from "./form.js";

/** Turn what was typed into a cell value: a plain number, text, or null for blank. */
export function cellValue(text) {
  const typed = text.trim();
  if (!typed) return null;
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(typed) && Number.isFinite(Number(typed)) ? Number(typed) : typed;
}

export class Grid {
  constructor(argument, onChange) {
    this.columns = argument.table.columns;
    this.onChange = onChange;
    this.title = argument.title;
    this.body = element("tbody");
    const heads = this.columns.map((column) => {
      const head = element("th", { scope: "col", title: column.help }, column.title);
      if (column.unit && column.unit !== "-") head.append(" ", element("span", { class: "unit" }, column.unit));
      return head;
    });
    const table = element("table", { class: this.columns.length > 3 ? "grid wide" : "grid", "aria-label": argument.title }, [
      element("thead", {}, element("tr", {}, [...heads, element("td", { class: "tools" })])),
      this.body,
    ]);
    const add = element("button", { type: "button", class: "quiet" }, "Add a row");
    add.addEventListener("click", () => {
      this.addRow();
      this.input(this.body.rows.length - 1, 0).focus();
    });
    this.element = element("div", { class: "grid-box" }, [element("div", { class: "scroll" }, table), add]);
    this.body.addEventListener("input", () => this.onChange());
    this.body.addEventListener("keydown", (event) => this.key(event));
    this.body.addEventListener("paste", (event) => this.paste(event));
    this.fill([]);
  }

  input(row, column) {
    return this.body.rows[row]?.cells[column]?.querySelector("input");
  }

  addRow(values = []) {
    const number = this.body.rows.length + 1;
    const cells = this.columns.map((column, index) => {
      const list = column.choices.length ? `choices-${this.title}-${column.name}`.replace(/\W/g, "-") : null;
      const field = element("input", {
        type: "text",
        autocomplete: "off",
        spellcheck: "false",
        inputmode: column.unit ? "decimal" : null,
        "aria-label": `${column.title}, row ${number}`,
        list,
        value: values[index] ?? "",
      });
      if (list && !document.getElementById(list)) {
        const options = column.choices.map((choice) => element("option", { value: choice }));
        document.body.append(element("datalist", { id: list }, options));
      }
      return element("td", { class: column.unit ? "number" : "text" }, field);
    });
    const drop = element("button", { type: "button", class: "drop", "aria-label": `Remove row ${number}` }, "×");
    drop.addEventListener("click", () => this.drop(drop.closest("tr")));
    this.body.append(element("tr", {}, [...cells, element("td", { class: "tools" }, drop)]));
  }

  drop(row) {
    const place = row.rowIndex - 1;
    row.remove();
    if (!this.body.rows.length) this.addRow();
    [...this.body.rows].forEach((each, index) => {
      this.columns.forEach((column, at) =>
        each.cells[at].firstChild.setAttribute("aria-label", `${column.title}, row ${index + 1}`));
      each.querySelector(".drop").setAttribute("aria-label", `Remove row ${index + 1}`);
    });
    this.input(Math.min(place, this.body.rows.length - 1), 0).focus();
    this.onChange();
  }

  key(event) {
    const cell = event.target.closest("td");
    const row = cell?.closest("tr");
    if (!row || event.target.tagName !== "INPUT" || event.altKey || event.ctrlKey || event.metaKey) return;
    const at = row.rowIndex - 1;
    const field = event.target;
    const moves = { ArrowUp: [-1, 0], ArrowDown: [1, 0], Enter: [1, 0] };
    // Sideways only from the end of the text, so that it can be edited.
    if (field.selectionEnd === 0) moves.ArrowLeft = [0, -1];
    if (field.selectionStart === field.value.length) moves.ArrowRight = [0, 1];
    // With a list of choices, up and down belong to the list.
    if (field.list && event.key !== "Enter") { delete moves.ArrowUp; delete moves.ArrowDown; }
    const move = moves[event.key];
    if (!move) return;
    if (event.key === "Enter" && at === this.body.rows.length - 1) this.addRow();
    const next = this.input(at + move[0], cell.cellIndex + move[1]);
    if (next) {
      event.preventDefault();
      next.focus();
      next.select();
    }
  }

  paste(event) {
    const text = event.clipboardData?.getData("text/plain") ?? "";
    if (!/[\t\n]/.test(text.trim())) return;
    event.preventDefault();
    const cell = event.target.closest("td");
    const top = cell.closest("tr").rowIndex - 1;
    text.replace(/\r?\n$/, "").split(/\r?\n/).forEach((line, down) => {
      if (top + down >= this.body.rows.length) this.addRow();
      line.split("\t").forEach((value, right) => {
        const field = this.input(top + down, cell.cellIndex + right);
        if (field) field.value = value.trim();
      });
    });
    this.onChange();
  }

  fill(rows) {
    this.body.replaceChildren();
    rows.forEach((row) => this.addRow(row.map((value) => (value === null ? "" : String(value)))));
    while (this.body.rows.length < 2) this.addRow();
  }

  read() {
    const rows = [...this.body.rows].map((row) =>
      this.columns.map((_, index) => cellValue(row.cells[index].firstChild.value)));
    const filled = rows.map((row) => row.some((value) => value !== null));
    const last = filled.lastIndexOf(true);
    return last < 0 ? null : rows.slice(0, last + 1);
  }

  mark(place) {
    const row = this.body.rows[Number(/row (\d+)/.exec(place)?.[1] ?? 0) - 1];
    const at = this.columns.findIndex((column) => place.endsWith(`, ${column.title}`));
    const fields = row ? [...row.querySelectorAll("input")] : [...this.body.querySelectorAll("input")];
    (at >= 0 && row ? [fields[at]] : fields).forEach((field) => field.setAttribute("aria-invalid", "true"));
  }
}

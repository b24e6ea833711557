/**
 * Forms from tables: each row gives a value's path in what is sent, its label, its kind and its unit.
 * An empty number or choice is null: not asked, never 0. `asked`: a choice that has to be made, nothing is taken as meant.
 *
 * @typedef {{path: string, words: string, kind: "number"|"text"|"long"|"choice"|"check"|"date", unit?: string,
 *   least?: number, most?: number, step?: number, options?: readonly string[], say?: (option: string) => string, required?: boolean, asked?: boolean,
 *   value?: any}} Row
 * @typedef {{row: Row, input: any, node: HTMLElement}} Field
 */
import { el, setAttribute, setText } from "./dom.js";
import { numberIn, numberInput, writeNumber } from "./number_field.js";

/** @param {Row} row @param {string} prefix of the ids, unique on the screen @returns {Field} */
export function field(row, prefix) {
  const id = `${prefix}-${row.path.replaceAll(".", "-")}`;
  const input = INPUTS[row.kind](row, id);
  const label = el("label", { for: id }, row.words);
  const unit = row.unit ? el("span", { class: "unit-name" }, row.unit) : null;
  const wrong = row.kind === "number" ? wrongLine(input, `${id}-wrong`) : null;
  const node =
    row.kind === "check"
      ? el("p", { class: "field check" }, input, label)
      : el("p", { class: `field ${row.kind}` }, label, input, unit, wrong);
  const made = { row, input, node };
  write(made, row.value ?? null);
  return made;
}

/** What is wrong with a number, shown below it once it is typed. */
function wrongLine(/** @type {HTMLInputElement} */ input, /** @type {string} */ id) {
  const line = el("small", { class: "wrong", id, role: "status" });
  const tell = () => {
    const text = input.value.trim() ? input.validationMessage : "";
    setText(line, text);
    setAttribute(input, "aria-invalid", text ? "true" : null);
    setAttribute(input, "aria-describedby", text ? id : null);
  };
  for (const name of ["change", "check"]) input.addEventListener(name, tell);
  return line;
}

/** @type {Record<string, (row: Row, id: string) => any>} */
const INPUTS = {
  number: (row, id) => numberInput(row, { id }),
  text: ({ required }, id) => el("input", { type: "text", id, maxlength: 200, required, autocomplete: "off" }),
  long: ({ required }, id) => el("textarea", { id, maxlength: 2000, rows: 2, required }),
  date: ({ required }, id) => el("input", { type: "date", id, required }),
  check: ({ required }, id) => el("input", { type: "checkbox", id, required }),
  choice: ({ options, say, required, asked }, id) =>
    el(
      "select",
      { id, required },
      required && !asked ? null : el("option", { value: "" }, "–"),
      ...(options ?? []).map((each) => el("option", { value: each }, say ? say(each) : each)),
    ),
};

/** What a field holds. @param {Field} field @returns {any} */
export function read({ row, input }) {
  if (row.kind === "check") return input.checked;
  if (row.kind === "number") return Number.isNaN(numberIn(input)) ? null : numberIn(input);
  if (row.kind === "choice") return input.value || null;
  return input.value.trim();
}

/** @param {Field} field @param {any} value */
export function write({ row, input }, value) {
  if (row.kind === "check") input.checked = value === true;
  else if (row.kind === "number") writeNumber(input, value ?? null);
  else if (value !== null && value !== undefined) input.value = String(value);
  else input.value = row.kind === "choice" && row.required && !row.asked ? (row.options?.[0] ?? "") : "";
}

/** All fields as one object, nested by their paths. @param {Field[]} fields */
export function gather(fields) {
  /** @type {any} */
  const all = {};
  for (const each of fields) {
    const names = each.row.path.split(".");
    const last = /** @type {string} */ (names.pop());
    const place = names.reduce((at, name) => (at[name] ??= {}), all);
    place[last] = read(each);
  }
  return all;
}

/** Fills every field from an object nested the same way. @param {Field[]} fields @param {any} content */
export function scatter(fields, content) {
  for (const each of fields) {
    const found = each.row.path.split(".").reduce((at, name) => at?.[name], content);
    write(each, found ?? each.row.value ?? null);
  }
}

/** The same without empty fields, for callers that distinguish "not given" from null. @returns {any} */
export function withoutNulls(/** @type {any} */ value) {
  if (value === null || typeof value !== "object" || Array.isArray(value)) return value;
  const kept = Object.entries(value).filter(([, each]) => each !== null && each !== undefined);
  return Object.fromEntries(kept.map(([name, each]) => [name, withoutNulls(each)]));
}

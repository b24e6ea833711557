/** Makes elements, and changes them only when a value differs. Text goes in as text, never as markup. */

const SVG = "http://www.w3.org/2000/svg";

/** @typedef {string|Node|null|undefined|false} Child */

/**
 * @template {keyof HTMLElementTagNameMap} K
 * @param {K} tag @param {Record<string, any>} attributes @param {...Child} children
 * @returns {HTMLElementTagNameMap[K]}
 */
export function el(tag, attributes = {}, ...children) {
  return /** @type {any} */ (fill(document.createElement(tag), attributes, children));
}

/**
 * @template {keyof SVGElementTagNameMap} K
 * @param {K} tag @param {Record<string, any>} attributes @param {...Child} children
 * @returns {SVGElementTagNameMap[K]}
 */
export function svg(tag, attributes = {}, ...children) {
  return /** @type {any} */ (fill(document.createElementNS(SVG, tag), attributes, children));
}

function fill(
  /** @type {Element} */ node,
  /** @type {Record<string, any>} */ attributes,
  /** @type {Child[]} */ children,
) {
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else setAttribute(node, name, value);
  }
  node.append(
    ...children
      .filter((child) => child !== null && child !== undefined && child !== false)
      .map((c) => /** @type {any} */ (c)),
  );
  return node;
}

/** @param {Element} node @param {string} value */
export function setText(node, value) {
  if (node.textContent !== value) node.textContent = value;
}

/**
 * False, null and undefined remove the attribute; true sets it without a value.
 * @param {Element} node
 * @param {string} name
 * @param {any} value
 */
export function setAttribute(node, name, value) {
  if (value === false || value === null || value === undefined) {
    if (node.hasAttribute(name)) node.removeAttribute(name);
    return;
  }
  const text = value === true ? "" : String(value);
  if (node.getAttribute(name) !== text) node.setAttribute(name, text);
}

/**
 * A number for the style sheet's placing or sizing, as a custom property.
 * @param {HTMLElement} node
 * @param {string} name
 * @param {string} value
 */
export function setProperty(node, name, value) {
  if (node.style.getPropertyValue(name) !== value) node.style.setProperty(name, value);
}

/** True the first time, and whenever one of the values differs from the last call's. */
export function changes() {
  /** @type {any[]|undefined} */
  let last;
  return (/** @type {any[]} */ ...values) => {
    const same =
      last !== undefined && last.length === values.length && values.every((value, i) => Object.is(value, last?.[i]));
    last = values;
    return !same;
  };
}

// Building elements. No style attributes: the page's policy allows none, and sizes are set by property.

const SVG = "http://www.w3.org/2000/svg";

/** An HTML element; an attribute that is null, undefined or false is left out. */
export function el(name, attributes = {}, ...children) {
  return filled(document.createElement(name), attributes, children);
}

/** An SVG element. */
export function svg(name, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, name), attributes, children);
}

/** A button; its text may be a list, with `unseen` words in it. */
export function button(text, act, attributes = {}) {
  return el("button", { type: "button", onclick: act, ...attributes }, ...[text].flat());
}

/** Words for a screen reader beside what is seen. */
export const unseen = (text) => el("span", { class: "unseen" }, text);

/** `act`, done once before the next picture however often it is asked for till then. */
export function onceAPicture(act) {
  let isAsked = false;
  return () => {
    if (isAsked) return;
    isAsked = true;
    requestAnimationFrame(() => {
      isAsked = false;
      act();
    });
  };
}

/** Puts text into a node, unless it says so already: what is not touched is not laid out anew. */
export function write(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

/** Sets an attribute, unless it has that value already. */
export function setIfOther(node, name, value) {
  if (node.getAttribute(name) !== String(value)) node.setAttribute(name, value);
}

/** Calls `act` with what was worked out, where that differs from the last time. */
export function whenOther(act) {
  let before = null;
  return (...values) => {
    const key = JSON.stringify(values);
    if (key === before) return;
    before = key;
    act(...values);
  };
}

export const find = (selector, within = document) => within.querySelector(selector);

function filled(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "value" || name === "checked") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return node;
}

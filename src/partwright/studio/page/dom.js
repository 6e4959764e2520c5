// Building elements. Text only ever enters as text nodes; there is no path from a string to markup, except for the
// drawings the server makes, which are parsed as SVG and rid of everything that is not drawing.

const SVG = "http://www.w3.org/2000/svg";

/** An element: h("p", { class: "why", onclick }, "words", child, [children]). Null and false children are left out. */
export function h(name, attributes = {}, ...children) {
  return furnish(document.createElement(name), attributes, children);
}

/** The same for a drawing's element. */
export function s(name, attributes = {}, ...children) {
  return furnish(document.createElementNS(SVG, name), attributes, children);
}

function furnish(element, attributes, children) {
  for (const [key, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "value" && "value" in element) given.set(element, String(value));
    else if (key === "checked" || key === "disabled" || key === "selected") element[key] = Boolean(value);
    else element.setAttribute(key, value === true ? "" : String(value));
  }
  add(element, children);
  if (given.has(element)) element.value = given.get(element); // after the children: a choice needs its options first
  return element;
}

const given = new WeakMap(); // field → the value it was made with

/** What was written into a field and not yet saved. */
function unsaved(element) {
  const fields = [...element.querySelectorAll("input[data-key], textarea[data-key]")];
  return fields.filter((x) => given.has(x) && !["file", "range"].includes(x.type) && x.value !== given.get(x));
}

function add(element, children) {
  for (const child of children.flat(Infinity)) {
    if (child === null || child === undefined || child === false) continue;
    element.append(child instanceof Node ? child : document.createTextNode(String(child)));
  }
}

/** The element's content becomes these children. */
export function fill(element, ...children) {
  element.replaceChildren();
  add(element, children);
  return element;
}

/** Fills an element anew; focus, place in a field, what was written and not yet saved, and what was unfolded stay. */
export function refill(element, ...children) {
  const held = element.contains(document.activeElement) ? document.activeElement : null;
  const key = held?.dataset?.key ?? held?.closest?.("[data-key]")?.dataset.key;
  const selection = held && "selectionStart" in held ? [held.selectionStart, held.selectionEnd] : null;
  const scroll = element.parentElement?.scrollTop;
  const along = element.scrollLeft;
  const open = new Map([...element.querySelectorAll("details[data-key]")].map((x) => [x.dataset.key, x.open]));
  const drafts = unsaved(element);
  fill(element, ...children);
  for (const old of drafts) {
    const next = element.querySelector(`[data-key="${CSS.escape(old.dataset.key)}"]`);
    if (next && given.get(next) === given.get(old)) next.value = old.value;
  }
  for (const x of element.querySelectorAll("details[data-key]")) if (open.has(x.dataset.key)) x.open = open.get(x.dataset.key);
  if (held) {
    const next = key ? element.querySelector(`[data-key="${CSS.escape(key)}"]`) : null;
    next?.focus({ preventScroll: true });
    if (next && selection && "setSelectionRange" in next && next.type !== "number" && next.type !== "range") {
      try { next.setSelectionRange(...selection); } catch { /* this kind of field has no selection */ }
    }
  }
  if (scroll) element.parentElement.scrollTop = scroll;
  if (along) element.scrollLeft = along;
}

const DRAWING = new Set([
  "svg", "g", "path", "use", "text", "tspan", "line", "polyline", "polygon", "rect", "circle", "ellipse", "defs", "symbol",
  "title", "desc", "clipPath",
]);

/** A drawing from the server as an element, or null where it is none. Whatever is not plain drawing is left out. */
export function drawing(text) {
  const parsed = new DOMParser().parseFromString(text, "image/svg+xml");
  const root = parsed.documentElement;
  if (root.namespaceURI !== SVG || root.localName !== "svg") return null;
  for (const element of [...root.querySelectorAll("*")]) {
    if (element.namespaceURI !== SVG || !DRAWING.has(element.localName)) element.remove();
  }
  for (const element of [root, ...root.querySelectorAll("*")]) {
    for (const attribute of [...element.attributes]) {
      const name = attribute.localName.toLowerCase();
      const outside = name === "href" && !attribute.value.startsWith("#");
      if (name.startsWith("on") || name === "style" || outside) element.removeAttributeNode(attribute);
    }
  }
  return document.importNode(root, true);
}

/** Waits until calls stop for so many milliseconds, then calls once. */
export function settled(milliseconds, call) {
  let timer = 0;
  return (...values) => {
    clearTimeout(timer);
    timer = setTimeout(() => call(...values), milliseconds);
  };
}

/** Seconds as m:ss. */
export function clock(seconds) {
  const whole = Math.max(0, Math.floor(seconds + 0.001));
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  const rest = String(whole % 60).padStart(2, "0");
  return hours ? `${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${minutes}:${rest}`;
}

/** A button that reads as a word in the text. */
export function word(label, action, attributes = {}) {
  return h("button", { type: "button", class: "word", onclick: action, ...attributes }, label);
}

/** "1 pin", "3 pins". */
export function count(number, one, many = `${one}s`) {
  return `${number} ${number === 1 ? one : many}`;
}

/** Whether motion is to be left out. */
export function still() {
  return matchMedia("(prefers-reduced-motion: reduce)").matches;
}

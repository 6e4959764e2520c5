// What changed is said: for the eye in the margin's foot, for the ear in the live region.

import { fill, h, word } from "./dom.js";

const live = () => document.getElementById("live");
const notice = () => document.getElementById("notice");
let clearing = 0;

/** Says a sentence to a screen reader, without moving anything on the page. */
export function say(words) {
  const region = live();
  region.textContent = "";
  clearTimeout(clearing);
  clearing = setTimeout(() => { region.textContent = words; }, 60);
}

/** Shows a sentence until it is put away, with what can be done about it: note("…", [["Load it", action]]). */
export function note(words, actions = [], verdict = "") {
  const signs = { wrong: "✗ ", check: "? ", right: "✓ " };
  const away = () => { notice().hidden = true; };
  fill(
    notice(),
    h("p", {}, verdict && h("span", { class: `verdict ${verdict}`, "aria-hidden": "true" }, signs[verdict]), words),
    h("p", { class: "words" },
      actions.map(([label, action]) => word(label, () => { away(); action(); })),
      word("Put away", away, { class: "word quiet" })),
  );
  notice().hidden = false;
}

export function clear() {
  notice().hidden = true;
}

/** Shows a refusal in its own words. */
export function trouble(error, actions = []) {
  if (error?.name === "AbortError") return;
  if (!error?.code && error?.status === undefined) console.error(error);
  note(error?.message ?? String(error), actions, "wrong");
}

// Pieces of a marginal note that hand and bow share.

import { drawing, h, word } from "./dom.js";
import { sentence } from "./edits.js";
import { hearNote, hearRange } from "./listen.js";
import { choose, chooseNothing, placeWords } from "./notes.js";
import { state } from "./state.js";

const FLAT = { "#": "♯", b: "♭" };

/** "F♯3". */
export function pitchWords(pitch) {
  return String(pitch).replace(/^([A-G])(#+|b+)/, (_, letter, signs) => letter + [...signs].map((x) => FLAT[x]).join(""));
}

/** "Bar 12, beat 3". */
export function placeTitle(note) {
  const words = placeWords(note);
  return words.charAt(0).toUpperCase() + words.slice(1);
}

export function noteHead(note) {
  return h("h3", { class: "place" }, placeTitle(note), h("span", { class: "pitch" }, pitchWords(note.pitch)));
}

/** A drawing of the server's, with words for who does not see it. */
export function picture(svg, words, name = "board") {
  const element = svg ? drawing(svg) : null;
  if (!element) return null;
  element.removeAttribute("id");
  element.setAttribute("role", "img");
  element.setAttribute("aria-label", words);
  return h("div", { class: name }, element);
}

/** A price as it stands in a list: "+0.39"; "−0.39" where a pin keeps the plan from something cheaper. */
export function price(extra) {
  if (Math.abs(extra) < 0.005) return "as good";
  return `${extra < 0 ? "−" : "+"}${Math.abs(extra).toFixed(2)}`;
}

export function hearWords(note) {
  return [
    word("Hear it", () => hearNote(note.n), { class: "word quiet", "data-key": "hear-it" }),
    word("Hear from here", () => hearRange(note.n, null), { class: "word quiet", "data-key": "hear-from" }),
    word("Leave the note", chooseNothing, { class: "word quiet", "data-key": "leave" }),
  ];
}

/** What the last change moved, with the way to each place. */
export function lastChange() {
  const { last } = state;
  if (!last?.words) return null;
  const numbers = [...new Set([...(last.changes.n ?? []), ...(last.changes.bow_n ?? [])])].sort((a, b) => a - b);
  const bars = new Map();
  for (const n of numbers) {
    const note = state.notes.get(n);
    if (note && !bars.has(note.bar)) bars.set(note.bar, n);
  }
  return h("section", { class: "moved", "aria-label": "What changed" },
    h("p", { class: "caps" }, "What changed"),
    h("p", {}, sentence(last.words)),
    (last.changes.words ?? []).map((words) => h("p", {}, sentence(words))),
    bars.size ? h("p", { class: "words small" }, "See ",
      [...bars].slice(0, 24).map(([bar, n]) => word(bar === "0" ? "the pick-up" : `bar ${bar}`, () => choose(n), { class: "word quiet", "data-key": `see-${n}` }))) : null);
}

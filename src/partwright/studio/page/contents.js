// The contents in the left margin: the steps of the job with what stands there, undo and redo, paper and keys.

import { count, fill, h, refill, word } from "./dom.js";
import { redo, undo } from "./edits.js";
import { showKeys } from "./keys.js";
import { paper, turnPaper } from "./paper.js";
import { on, state } from "./state.js";

export const PLACES = [
  ["tune", "Tune", (x) => x.key],
  ["hand", "Hand", (x) => count(x.pins.filter((p) => p.kind === "finger").length, "pin")],
  ["bow", "Bow", (x) => count(x.pins.filter((p) => p.kind === "bow").length, "pin")],
  ["levels", "Levels", (x) => x.level],
  ["lesson", "Lesson", (x) => count(x.sections.length, "section")],
  ["sound", "Sound", (x) => `${Math.round(x.tempo_qpm)} a minute`],
  ["check", "Check", () => checkFact()],
  ["publish", "Publish", () => (state.files?.length ? count(state.files.length, "file") : "not made yet")],
];

function checkFact() {
  const open = state.takes.reduce((sum, take) => sum + (take.open ?? 0), 0);
  if (open) return `${open} to decide`;
  return state.takes.length ? count(state.takes.length, "take") : "no take yet";
}

export function route(place, name = state.name) {
  return `#/${encodeURIComponent(name)}/${place}`;
}

function draw() {
  const nav = document.getElementById("contents");
  const { lesson } = state;
  if (!lesson) return fill(nav);
  const rows = PLACES.map(([id, title, fact]) => h("li", {},
    h("a", { href: route(id), "aria-current": state.place === id ? "page" : null, "data-key": id },
      h("span", { class: "title" }, title),
      h("span", { class: "dots", "aria-hidden": "true" }, ".".repeat(60)),
      h("span", { class: "fact" }, lesson.fault ? "" : fact(lesson)))));
  return refill(nav,
    h("p", { class: "caps", id: "contents-title" }, "Contents"),
    h("ol", {}, rows),
    h("div", { class: "apart" },
      word("Undo", undo, { "data-key": "undo", disabled: !lesson.undo, "aria-keyshortcuts": "Control+Z" }),
      h("span", { class: "what" }, lesson.undo ?? ""),
      word("Redo", redo, { "data-key": "redo", disabled: !lesson.redo, "aria-keyshortcuts": "Control+Shift+Z" }),
      h("span", { class: "what" }, lesson.redo ?? "")),
    h("div", { class: "apart words" },
      word(paper() === "dark" ? "Light paper" : "Dark paper", () => { turnPaper(); draw(); }, { class: "word quiet", "data-key": "paper" }),
      word("Keys", showKeys, { class: "word quiet", "data-key": "keys" }),
      h("a", { href: "#/", class: "word quiet", "data-key": "all" }, "All lessons")));
}

export function watchContents() {
  on("arrived", () => {
    const nav = document.getElementById("contents");
    const here = nav.querySelector("[aria-current]");
    if (here && nav.scrollWidth > nav.clientWidth) nav.scrollLeft = here.offsetLeft - nav.clientWidth / 2 + here.offsetWidth / 2;
  });
  for (const what of ["lesson", "edited", "place", "takes", "files", "closed"]) on(what, draw);
}

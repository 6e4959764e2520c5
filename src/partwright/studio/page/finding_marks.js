// The signs of the findings over the score.

import { h } from "./dom.js";
import { review, SIGNS } from "./review.js";
import { lineOf } from "./score.js";
import { on, state } from "./state.js";

export function unmark() {
  for (const old of document.querySelectorAll("#score .finding-mark")) old.remove();
}

export function markAll() {
  unmark();
  if (document.body.dataset.place !== "check" || !review.answer) return;
  for (const finding of review.answer.findings) {
    const note = state.notes.get(finding.n);
    const line = lineOf(note);
    if (!line) continue;
    const sign = h("span", { class: `finding-mark ${finding.verdict}`, "aria-hidden": "true" }, SIGNS[finding.verdict]);
    sign.style.left = `${(note.x_mm / line.system.width_mm) * 100}%`;
    const top = Number(note.hit?.getAttribute("y")) / 100 || line.system.staff_top_mm - 6; // the target holds note and finger
    sign.style.top = `${(top / line.system.height_mm) * 100}%`;
    line.element.querySelector(".over").append(sign);
  }
}

on("drawn", markAll);
on("findings", markAll);

// What was recorded, heard from three seconds before a finding.

import { h } from "./dom.js";
import { stop as stopListening } from "./listen.js";
import { current, review } from "./review.js";
import { tell } from "./state.js";

export function hearEach() {
  if (!review.answer.media) return null;
  return h("p", { class: "words small" },
    h("label", {}, h("input", { type: "checkbox", checked: review.hearOn, "data-key": "hear-on", onchange: (event) => { review.hearOn = event.target.checked; } }), "hear each from three seconds before"));
}

export function setMedia(url) {
  review.media?.pause();
  review.media = url ? new Audio(url) : null;
  if (!review.media) return;
  review.media.preload = "auto";
  for (const what of ["play", "pause", "ended"]) review.media.addEventListener(what, () => tell("findings"));
}

export function hear(finding, turn) {
  if (!review.media || finding.play_from_s === null) return;
  if (turn && !review.media.paused) return void review.media.pause();
  stopListening();
  review.media.currentTime = finding.play_from_s;
  review.media.play().catch(() => {});
}

/** Space in this place plays what was recorded, not the plan. True where it did. */
export function hearFinding() {
  const finding = current();
  if (document.body.dataset.place !== "check" || !review.media || !finding) return false;
  hear(finding, true);
  return true;
}

// Check: what was said and played, against the score. One finding after the other, each heard from three seconds before.

import { decide, findingsContent, step } from "./findings.js";
import { unmark } from "./finding_marks.js";
import { current, KEYS, lookAtTakes, review } from "./review.js";
import { state } from "./state.js";
import { takesContent } from "./takes.js";

export const check = {
  title: "Check",
  led: () => review.answer !== null && current()?.n === state.n && state.n !== null,
  enter() { lookAtTakes(); },
  leave() {
    review.media?.pause();
    unmark();
  },
  content() {
    return review.take === null ? takesContent() : findingsContent();
  },
  key(event) {
    if (!review.answer) return false;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      step(event.key === "ArrowDown" ? 1 : -1);
      return true;
    }
    if (event.key === "Backspace") return decide(null);
    const value = KEYS[event.key.toUpperCase()];
    const offered = current()?.choices?.some((c) => c.value === value);
    if (value && offered) return decide(value);
    return false;
  },
};

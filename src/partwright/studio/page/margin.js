// The right margin: what stands beside the place one is at, and beside the chosen note.

import { fill, h, refill } from "./dom.js";
import { bow } from "./place_bow.js";
import { check } from "./place_check.js";
import { hand } from "./place_hand.js";
import { lesson } from "./place_lesson.js";
import { levels } from "./place_levels.js";
import { publish } from "./place_publish.js";
import { sound } from "./place_sound.js";
import { tune } from "./place_tune.js";
import { lineOf, scrollFrame } from "./score.js";
import { on, state, tell } from "./state.js";

// A place: { title, content(): children, enter?(), leave?(), led?(): bool, key?(event): bool }
const PLACES = { tune, hand, bow, levels, lesson, sound, check, publish };

const margin = () => document.getElementById("margin");
const slip = () => document.getElementById("slip");
let here = null;

export function goTo(name) {
  const next = PLACES[name] ?? PLACES.hand;
  if (here !== next) {
    here?.leave?.();
    here = next;
    margin().scrollTop = 0;
    document.body.dataset.place = name;
    fill(slip());
    here.enter?.();
  }
  draw();
  tell("place");
  tell("arrived");
}

/** Writes the margin anew; what had the focus keeps it. */
export function draw() {
  if (!here || !state.lesson) return;
  if (state.lesson.fault) {
    refill(slip(), h("h2", { id: "margin-title" }, "The lesson cannot be read"), h("p", {}, state.lesson.fault.words ?? String(state.lesson.fault)),
      h("p", {}, "Put it right in lesson.toml with any editor; this page looks again by itself."));
    return;
  }
  refill(slip(), h("h2", { id: "margin-title", tabindex: "-1", "data-key": "margin-title" }, here.title), here.content());
  settle();
}

/** Sets the slip beside the line of the chosen note, as far as it has room. */
export function settle() {
  const column = margin();
  const leads = here?.led?.() ?? false;
  slip().classList.toggle("led", leads);
  document.body.toggleAttribute("data-led", leads);
  const line = leads ? lineOf(state.notes.get(state.n)) : null;
  if (!line || getComputedStyle(column).position !== "sticky") {
    slip().style.marginTop = "0px";
    return;
  }
  const room = column.clientHeight - 80 - slip().offsetHeight;
  const wanted = line.element.getBoundingClientRect().bottom - column.getBoundingClientRect().top - 40 - 14;
  slip().style.marginTop = `${Math.max(0, Math.min(wanted, room))}px`;
}

/** To the first thing that can be done in the margin. */
export function enterMargin() {
  const first = slip().querySelector("[data-first], .others button, .word, input, select, textarea, a");
  (first ?? document.getElementById("margin-title") ?? margin()).focus();
}

export function placeKey(event) {
  return here?.key?.(event) ?? false;
}

let waiting = false;
function soon() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame(() => { waiting = false; settle(); });
}

export function watchMargin() {
  for (const what of ["chosen", "lesson", "edited", "detail", "takes", "jobs", "findings", "script", "files", "compare", "listening"]) on(what, draw);
  on("drawn", soon);
  on("enter", enterMargin);
  on("closed", () => { here?.leave?.(); here = null; fill(slip()); });
  addEventListener("scroll", soon, { passive: true });
  addEventListener("resize", soon, { passive: true });
  document.getElementById("sheet").addEventListener("scroll", soon, { passive: true });
  scrollFrame();
}

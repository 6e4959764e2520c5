// Choosing a note or a passage, by mouse, by finger and by keyboard, and how the choice shows on the page.

import { h } from "./dom.js";
import { say } from "./notices.js";
import {
  bringIntoView, firstNoteOfBar, lineOf, lines, noteOnPage, scrollFrame,
} from "./score.js";
import { chosen, on, state, tell } from "./state.js";

const sheet = () => document.getElementById("score");
let anchor = null; // where a passage begins
let pressed = null; // while the mouse is down: { kind, value }

/** Chooses a note. With `extend`, the passage from the anchor to it. */
export async function choose(n, { focus = true, extend = false, view = true } = {}) {
  const note = await noteOnPage(n);
  if (!note) return;
  if (extend && (anchor ?? state.n) !== null) {
    anchor ??= state.n;
    state.range = { first: Math.min(anchor, n), last: Math.max(anchor, n) };
  } else {
    anchor = n;
    state.range = null;
  }
  state.n = n;
  show();
  if (view) bringIntoView(lineOf(note).element);
  if (focus) note.hit?.focus({ preventScroll: true });
  if (state.range) say(rangeWords());
  tell("chosen");
}

/** Chooses a passage of notes. */
export async function chooseRange(first, last, options = {}) {
  await choose(first, { ...options, focus: false });
  anchor = first;
  state.range = { first, last };
  show();
  say(rangeWords());
  tell("chosen");
}

export function chooseNothing() {
  state.n = null;
  state.range = null;
  anchor = null;
  show();
  tell("chosen");
}

/** "Bars 13–16 chosen." */
export function rangeWords(range = state.range) {
  const first = state.notes.get(range.first);
  const last = state.notes.get(range.last);
  if (!first || !last) return "A passage is chosen.";
  return `${placeWords(first)} to ${placeWords(last)} chosen.`;
}

/** "bar 12, beat 3", with the pick-up called what it is. */
export function placeWords(note) {
  return note.bar === "0" ? `pick-up, beat ${note.beat}` : `bar ${note.bar}, beat ${note.beat}`;
}

/** Draws the choice: bands over a passage, the line from a note to the margin. */
export function show() {
  for (const hit of sheet().querySelectorAll('.note-hit[aria-selected="true"]')) hit.setAttribute("aria-selected", "false");
  for (const hit of sheet().querySelectorAll('.note-hit[tabindex="0"]')) hit.setAttribute("tabindex", "-1");
  for (const old of sheet().querySelectorAll(".note.at")) old.classList.remove("at");
  const range = chosen();
  for (const { system, element } of lines()) {
    const over = element.querySelector(".over");
    for (const old of over.querySelectorAll(".band, .lead")) old.remove();
    if (!state.range) continue;
    const inside = system.notes.filter((x) => x.n >= range.first && x.n <= range.last);
    if (!inside.length) continue;
    for (const x of inside) state.notes.get(x.n)?.hit?.setAttribute("aria-selected", "true");
    const left = inside[0].n === range.first ? inside[0].x_mm - 2.2 : system.bars[0].left_mm;
    const right = inside.at(-1).n === range.last ? inside.at(-1).x_mm + 2.6 : system.bars.at(-1).right_mm;
    over.append(box("band", system, left, right, system.staff_top_mm - 1, system.staff_bottom_mm + 1));
  }
  const note = state.n === null ? null : state.notes.get(state.n);
  const line = lineOf(note);
  const first = note?.hit ?? sheet().querySelector(".note-hit");
  first?.setAttribute("tabindex", "0");
  if (!line || !note.hit) return;
  note.hit.setAttribute("aria-selected", "true");
  line.element.querySelector(`#note-${note.n}`)?.classList.add("at");
  if (!state.range) lead(line, note);
}

/** A hairline from the note down past its line and out to the margin, as a proof-reader draws it. */
function lead({ system, element }, note) {
  const over = element.querySelector(".over");
  const top = Math.max(note.y_mm + 1.4, system.staff_bottom_mm + 0.6);
  const down = h("div", { class: "lead down" });
  down.style.left = part(note.x_mm, system.width_mm);
  down.style.top = part(top, system.height_mm);
  const along = h("div", { class: "lead along" });
  along.style.left = part(note.x_mm, system.width_mm);
  over.append(down, along);
}

function box(name, system, left, right, top, bottom) {
  const element = h("div", { class: name });
  element.style.left = part(left, system.width_mm);
  element.style.width = part(right - left, system.width_mm);
  element.style.top = part(top, system.height_mm);
  element.style.height = part(bottom - top, system.height_mm);
  return element;
}

function part(millimetres, whole) {
  return `${(millimetres / whole) * 100}%`;
}

/** The note in the line above or below that stands nearest. */
function across(note, step) {
  const all = lines();
  const here = all.findIndex((l) => l.system.id === note.system);
  const line = all[here + step];
  const notes = line?.system.notes ?? [];
  if (!notes.length) return null;
  return notes.reduce((best, x) => (Math.abs(x.x_mm - note.x_mm) < Math.abs(best.x_mm - note.x_mm) ? x : best)).n;
}

function moved(event, note) {
  const inLine = lineOf(note)?.system.notes ?? [];
  const last = (state.lesson?.notes ?? 1) - 1;
  switch (event.key) {
    case "ArrowRight": return event.ctrlKey || event.metaKey ? barStep(note, 1) : Math.min(last, note.n + 1);
    case "ArrowLeft": return event.ctrlKey || event.metaKey ? barStep(note, -1) : Math.max(0, note.n - 1);
    case "ArrowDown": return across(note, 1);
    case "ArrowUp": return across(note, -1);
    case "Home": return event.ctrlKey || event.metaKey ? 0 : inLine[0]?.n;
    case "End": return event.ctrlKey || event.metaKey ? last : inLine.at(-1)?.n;
    default: return undefined;
  }
}

function barStep(note, step) {
  const bars = [...state.notes.values()].filter((x) => (step > 0 ? x.bar_index > note.bar_index : x.bar_index < note.bar_index));
  if (!bars.length) return note.n;
  const wanted = step > 0 ? Math.min(...bars.map((x) => x.bar_index)) : Math.max(...bars.map((x) => x.bar_index));
  return Math.min(...bars.filter((x) => x.bar_index === wanted).map((x) => x.n));
}

function keyed(event) {
  const hit = event.target.closest?.(".note-hit");
  if (!hit || event.altKey) return;
  const note = state.notes.get(Number(hit.dataset.n));
  const to = note && moved(event, note);
  if (to === undefined) {
    if (event.key === "Enter") {
      event.preventDefault();
      choose(note.n).then(() => tell("enter"));
    } else if (event.key === "Escape" && chosen()) {
      event.preventDefault();
      chooseNothing();
      hit.focus({ preventScroll: true });
    }
    return;
  }
  event.preventDefault();
  if (to !== null) choose(to, { extend: event.shiftKey });
}

function down(event) {
  const hit = event.target.closest(".note-hit");
  const bar = event.target.closest(".bar-hit");
  if (event.button !== 0 || (!hit && !bar)) return;
  if (event.pointerType === "touch") return; // a finger scrolls; its tap comes as a click
  event.preventDefault();
  pressed = hit ? { kind: "note", value: Number(hit.dataset.n) } : { kind: "bar", value: Number(bar.dataset.barIndex) };
  if (hit) choose(pressed.value, { extend: event.shiftKey, view: false });
  else chooseBars(pressed.value, pressed.value);
}

function dragged(event) {
  if (!pressed || !(event.buttons & 1)) return;
  const target = document.elementFromPoint(event.clientX, event.clientY);
  const hit = target?.closest?.(".note-hit");
  const bar = target?.closest?.(".bar-hit");
  if (pressed.kind === "note") {
    const n = hit ? Number(hit.dataset.n) : nearestInBar(bar, event.clientX);
    if (n !== null && n !== state.n && n !== undefined) {
      anchor = pressed.value;
      choose(n, { extend: n !== pressed.value, focus: false, view: false });
    }
    return;
  }
  const at = bar ? Number(bar.dataset.barIndex) : state.notes.get(Number(hit?.dataset.n))?.bar_index;
  if (at !== undefined && at !== pressed.at) {
    pressed.at = at;
    chooseBars(Math.min(at, pressed.value), Math.max(at, pressed.value));
  }
}

function nearestInBar(bar, x) {
  if (!bar) return null;
  const notes = [...state.notes.values()].filter((note) => note.bar_index === Number(bar.dataset.barIndex) && note.hit);
  if (!notes.length) return null;
  const middle = (note) => { const b = note.hit.getBoundingClientRect(); return b.left + b.width / 2; };
  return notes.reduce((best, note) => (Math.abs(middle(note) - x) < Math.abs(middle(best) - x) ? note : best)).n;
}

/** Chooses whole bars, by index. */
export async function chooseBars(first, last) {
  await firstNoteOfBar(first);
  await firstNoteOfBar(last);
  const inside = [...state.notes.values()].filter((x) => x.bar_index >= first && x.bar_index <= last).map((x) => x.n);
  if (!inside.length) return;
  await chooseRange(Math.min(...inside), Math.max(...inside), { view: false });
}

/** Begins to listen. Once, at the start. */
export function watchNotes() {
  const area = sheet();
  area.addEventListener("keydown", keyed);
  area.addEventListener("pointerdown", down);
  addEventListener("pointermove", dragged);
  addEventListener("pointerup", () => { pressed = null; });
  area.addEventListener("click", (event) => {
    const hit = event.target.closest(".note-hit");
    const bar = event.target.closest(".bar-hit");
    if (event.pointerType !== "touch" && event.detail !== 0) return;
    if (hit) choose(Number(hit.dataset.n), { extend: event.shiftKey, view: false });
    else if (bar) chooseBars(Number(bar.dataset.barIndex), Number(bar.dataset.barIndex));
  });
  area.addEventListener("focusin", (event) => {
    const hit = event.target.closest?.(".note-hit");
    if (!hit || state.n !== null || pressed) return;
    bringIntoView(hit);
  });
  on("drawn", show);
  on("closed", () => { state.n = null; state.range = null; anchor = null; });
  scrollFrame();
}

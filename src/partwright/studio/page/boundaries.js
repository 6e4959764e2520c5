// Where sections begin, as lines at bar lines of the score that mouse, finger and arrow keys take to another bar.

import { h } from "./dom.js";
import { edit } from "./edits.js";
import { say } from "./notices.js";
import { lineOfBar, lines } from "./score.js";
import { on, state } from "./state.js";

let shown = false;
let moving = null; // { section, bar_index }

export function drawBoundaries() {
  shown = true;
  draw();
}

export function endBoundaries() {
  shown = false;
  moving = null;
  document.getElementById("begins").replaceChildren();
}

function draw() {
  if (!shown || !state.lesson?.sections) return;
  const focused = document.activeElement?.closest?.(".begin")?.dataset.name;
  const layer = document.getElementById("begins");
  layer.replaceChildren();
  const origin = layer.getBoundingClientRect().top;
  for (const section of state.lesson.sections) {
    const index = moving?.section === section ? moving.bar_index : section.first_bar_index;
    const line = lineOfBar(index);
    const bar = line?.system.bars.find((b) => b.bar_index === index);
    if (!bar) continue;
    const handle = h("div", {
      class: "begin", role: "slider", tabindex: "0", "data-name": section.name, "aria-label": `Section ${section.name} begins at`,
      "aria-valuemin": "0", "aria-valuemax": String(state.lesson.bars.count - 1), "aria-valuenow": String(index), "aria-valuetext": barWords(bar.bar),
      "aria-disabled": section.first_bar_index === 0 ? "true" : null,
      onpointerdown: (event) => grab(event, section), onkeydown: (event) => keyed(event, section),
    }, h("span", { class: "name" }, section.name));
    const { system } = line;
    const frame = line.element.getBoundingClientRect();
    const size = frame.width / system.width_mm; // pixels a millimetre
    handle.style.left = `${bar.left_mm * size}px`;
    handle.style.top = `${frame.top - origin + (system.staff_top_mm - 2) * size}px`;
    handle.style.height = `${(system.staff_bottom_mm - system.staff_top_mm + 4) * size}px`;
    handle.classList.toggle("moving", moving?.section === section);
    layer.append(handle);
    if (focused === section.name) handle.focus({ preventScroll: true });
  }
}

function barWords(bar) {
  return bar === "0" ? "the pick-up" : `bar ${bar}`;
}

/** How far the beginning of a section may go: between its neighbours' beginnings. */
function limits(section) {
  const { sections, bars } = state.lesson;
  const i = sections.indexOf(section);
  return [sections[i - 1] ? sections[i - 1].first_bar_index + 1 : 0, (sections[i + 1]?.first_bar_index ?? bars.count) - 1];
}

function grab(event, section) {
  if (section.first_bar_index === 0) return void say("The first section begins where the tune begins.");
  event.preventDefault();
  event.stopPropagation();
  const [low, high] = limits(section);
  moving = { section, bar_index: section.first_bar_index };
  const follow = (e) => {
    const found = barAt(e.clientX, e.clientY);
    if (found === null) return;
    const next = Math.max(low, Math.min(high, found));
    if (next !== moving.bar_index) { moving.bar_index = next; draw(); }
  };
  const end = (e) => {
    removeEventListener("pointermove", follow);
    removeEventListener("pointerup", end);
    removeEventListener("pointercancel", end);
    const to = moving?.bar_index;
    moving = null;
    if (e.type === "pointerup" && to !== section.first_bar_index) begin(section, to);
    else draw();
  };
  addEventListener("pointermove", follow);
  addEventListener("pointerup", end);
  addEventListener("pointercancel", end);
}

/** The bar whose left line is nearest to a point of the window. */
function barAt(x, y) {
  let best = null;
  for (const { system, element } of lines()) {
    const frame = element.getBoundingClientRect();
    if (y < frame.top - 20 || y > frame.bottom + 20) continue;
    for (const bar of system.bars) {
      const away = Math.abs(frame.left + (bar.left_mm / system.width_mm) * frame.width - x);
      const off = y < frame.top || y > frame.bottom ? 40 : 0;
      if (!best || away + off < best.away) best = { away: away + off, bar_index: bar.bar_index };
    }
  }
  return best?.bar_index ?? null;
}

function keyed(event, section) {
  const step = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
  if (!step) return;
  event.preventDefault();
  event.stopPropagation();
  if (section.first_bar_index === 0) return void say("The first section begins where the tune begins.");
  const [low, high] = limits(section);
  const to = section.first_bar_index + step;
  if (to < low || to > high) return void say("It cannot go past the next section.");
  begin(section, to);
}

function numberOf(barIndex) {
  for (const { system } of lines()) {
    const bar = system.bars.find((b) => b.bar_index === barIndex);
    if (bar) return bar.bar;
  }
  return null;
}

async function begin(section, barIndex) {
  const { sections } = state.lesson;
  const i = sections.indexOf(section);
  const first = numberOf(barIndex);
  const before = numberOf(barIndex - 1);
  if (first === null || before === null) return draw();
  // The document is corrected at once, so that the line stays where it was put while the server writes.
  Object.assign(section, { first_bar_index: barIndex, first_bar: first });
  Object.assign(sections[i - 1], { last_bar_index: barIndex - 1, last_bar: before });
  draw();
  say(`Section ${section.name} begins at ${barWords(first)}.`);
  return edit(() => {
    const all = state.lesson.sections;
    const at = all.findIndex((x) => x.name === section.name);
    return [{ kind: "sections", sections: all.map(({ name, first_bar, last_bar, remark }, k) => ({
      name, remark: remark ?? "", first_bar: k === at ? first : first_bar, last_bar: k === at - 1 ? before : last_bar,
    })) }];
  }, { quiet: true });
}

for (const what of ["drawn", "lesson", "refused"]) on(what, draw);
on("closed", endBoundaries);

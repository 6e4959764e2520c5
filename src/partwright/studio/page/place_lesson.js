// The lesson: where sections begin, what they are called, in which order they are taught, and what is said.

import { h, word } from "./dom.js";
import { edit } from "./edits.js";
import { textField } from "./forms.js";
import { drawBoundaries, endBoundaries } from "./boundaries.js";
import { episodesContent } from "./episodes.js";
import { openPrompter } from "./prompter.js";
import { lookAtScript, scriptContent, stepsContent } from "./script.js";
import { choose } from "./notes.js";
import { firstNoteOfBar } from "./score.js";
import { on, sectionOf, state, tell } from "./state.js";

let open = null; // name of the section whose words are shown

export const lesson = {
  title: "Lesson",
  led: () => false,
  enter() {
    drawBoundaries();
    lookAtScript();
  },
  leave: endBoundaries,
  content() {
    const { sections } = state.lesson;
    if (open !== null && !sections.some((x) => x.name === open)) open = null;
    return [
      h("p", {}, "A section begins where you put its line on the score: drag it to another bar line, or move it with the arrow keys."),
      beginHere(),
      h("section", { "aria-labelledby": "sections-title" },
        h("p", { class: "caps", id: "sections-title" }, "Sections, in the order they are taught"),
        h("ol", { class: "sections" }, order().map((section, i, all) => row(section, i, all)))),
      episodesContent(order()),
      h("section", { "aria-labelledby": "script-title" },
        h("p", { class: "caps", id: "script-title" }, open === null ? "What to say" : `What to say in ${open}`),
        h("p", { class: "words" },
          word("Prompter", openPrompter, { "data-key": "prompter" }),
          open === null ? null : word("The whole script", () => { open = null; tell("script"); }, { class: "word quiet", "data-key": "whole-script" })),
        open === null ? null : stepsContent(open),
        scriptContent(open)),
      h("section", {}, h("p", { class: "caps" }, "In teaching"),
        textField("tries", "Tries before the next step", state.lesson.tries, { kind: "number", attributes: { min: 1, max: 20 } }),
        textField("speaking_wpm", "Words a minute, for the prompter", state.lesson.speaking_wpm, { kind: "number", attributes: { min: 60, max: 260 } })),
    ];
  },
};

/** The sections in teaching order. */
function order() {
  const { sections, teaching_order: names } = state.lesson;
  const first = (names ?? []).map((name) => sections.find((x) => x.name === name)).filter(Boolean);
  return [...first, ...sections.filter((x) => !first.includes(x))];
}

function row(section, index, all) {
  const id = `section-${section.first_bar_index}`;
  const bars = section.first_bar === section.last_bar ? `bar ${section.first_bar}` : `bars ${section.first_bar}–${section.last_bar}`;
  return h("li", {},
    h("input", { type: "text", value: section.name, "aria-label": `Name of the section, ${bars}`, "data-key": `${id}-name`, maxlength: "60",
      onchange: (event) => change(section, { name: event.target.value.trim() }, event.target) }),
    word(bars, () => seeSection(section), { class: "word quiet", "data-key": `${id}-see` }),
    h("span", { class: "moves" },
      word("↑", () => move(section, -1), { class: "word quiet", disabled: index === 0, "aria-label": `Teach ${section.name} earlier`, "data-key": `${id}-up` }),
      word("↓", () => move(section, 1), { class: "word quiet", disabled: index === all.length - 1, "aria-label": `Teach ${section.name} later`, "data-key": `${id}-down` })),
    h("textarea", { class: "remark", rows: "1", maxlength: "400", value: section.remark ?? "", placeholder: "a remark", "aria-label": `Remark on section ${section.name}`, "data-key": `${id}-remark`,
      onchange: (event) => change(section, { remark: event.target.value }, event.target) }),
    h("span", { class: "words small" },
      word("Words", () => { open = section.name; tell("script"); }, { class: "word quiet", "aria-pressed": String(open === section.name), "aria-label": `What to say in ${section.name}`, "data-key": `${id}-words` }),
      section.first_bar_index > 0 && all.length > 1 ? word("Join to the one before", () => join(section), { class: "word quiet", "aria-label": `Join ${section.name} to the section before it`, "data-key": `${id}-join` }) : null));
}

const asGiven = ({ name, first_bar, last_bar, remark }) => ({ name, first_bar, last_bar, remark: remark ?? "" });

/** `changed` gives the sections from those there are, `reordered` the order of teaching, where there is one. */
function save(changed, reordered = null) {
  return edit(() => {
    const { sections, teaching_order: names } = state.lesson;
    const edits = [{ kind: "sections", sections: changed(sections).map(asGiven) }];
    if (reordered && names?.length) edits.push({ kind: "teaching_order", order: reordered(names) });
    return edits;
  });
}

async function change(section, values, element) {
  const answer = await save(
    (sections) => sections.map((x) => (x.name === section.name ? { ...x, ...values } : x)),
    values.name ? (names) => names.map((x) => (x === section.name ? values.name : x)) : null);
  if (answer && open === section.name && values.name) open = values.name;
  element.setAttribute("aria-invalid", String(answer === null));
}

function move(section, step) {
  return edit(() => {
    const names = order().map((x) => x.name);
    const i = names.indexOf(section.name);
    if (names[i] !== undefined && names[i + step] !== undefined) [names[i], names[i + step]] = [names[i + step], names[i]];
    return [{ kind: "teaching_order", order: names }];
  });
}

function join(section) {
  return save((sections) => {
    const i = sections.findIndex((x) => x.name === section.name);
    if (i < 1) return sections; // another window has joined it already
    return sections.filter((_, k) => k !== i).map((x, k) => (k === i - 1 ? { ...x, last_bar: sections[i].last_bar } : x));
  }, (names) => names.filter((x) => x !== section.name));
}

/** "Begin a section at bar 16", where a note is chosen. */
function beginHere() {
  const note = state.notes.get(state.range?.first ?? state.n);
  const section = note && sectionOf(note.bar_index);
  if (!note || !section || section.first_bar === note.bar || note.bar_index === 0) return null;
  return h("p", {}, word(`Begin a section at bar ${note.bar}`, () => split(section, note), { "data-key": "begin-here" }));
}

async function split(section, note) {
  const before = await lastBarBefore(note.bar_index);
  const { sections } = state.lesson;
  const taken = new Set(sections.map((x) => x.name));
  const name = [..."ABCDEFGHIJKLMNOPQRSTUVWXYZ"].find((x) => !taken.has(x)) ?? `Bar ${note.bar}`;
  return save((all) => all.flatMap((x) => (x.name === section.name
    ? [{ ...x, last_bar: before }, { name, first_bar: note.bar, last_bar: x.last_bar, remark: "" }] : [x])));
}

async function lastBarBefore(barIndex) {
  return (await barNumber(barIndex - 1)) ?? String(barIndex);
}

/** The printed number of a bar, by index. */
export async function barNumber(barIndex) {
  await firstNoteOfBar(barIndex);
  const { lines } = await import("./score.js");
  for (const { system } of lines()) {
    const bar = system.bars.find((b) => b.bar_index === barIndex);
    if (bar) return bar.bar;
  }
  return null;
}

async function seeSection(section) {
  const note = await firstNoteOfBar(section.first_bar_index);
  if (note) choose(note.n, { focus: false });
}

on("closed", () => { open = null; });

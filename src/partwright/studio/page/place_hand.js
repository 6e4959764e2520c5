// The hand: the finger of the chosen note, what else it could be and at what price, pins, and two plans compared.

import { at, ask, client } from "./api.js";
import { compareWith, comparison, endComparison } from "./compare.js";
import { detail, detailOf } from "./detail.js";
import { count, h, word } from "./dom.js";
import { edit, restore, sentence } from "./edits.js";
import { hearRange } from "./listen.js";
import { say, trouble } from "./notices.js";
import { choose, rangeWords } from "./notes.js";
import { hearWords, lastChange, noteHead, picture, price } from "./note_slip.js";
import { firstNoteOfBar } from "./score.js";
import { state, tell } from "./state.js";

const FIRST = 5; // so many placements stand there at once
let all = null; // the note whose placements are all shown

export const hand = {
  title: "Hand",
  led: () => state.n !== null && !state.range && !comparison(),
  content() {
    if (comparison()) return compareContent();
    if (state.range) return [rangeContent(), lastChange()];
    if (state.n !== null) return noteContent();
    return [overview(), lastChange()];
  },
  leave: endComparison,
  key(event) {
    const note = state.notes.get(state.n);
    if (!note) return false;
    const key = event.key.toUpperCase();
    if (/^[0-4T]$/.test(key)) pinFinger(note.n, key);
    else if (key === "P") togglePin(note);
    else return false;
    return true;
  },
};

// One note ------------------------------------------------------------------------------------------------------

function noteContent() {
  const note = state.notes.get(state.n);
  if (!note) return null;
  const about = detail();
  if (!about) return [noteHead(note), h("p", {}, note.label.split(": ").slice(1).join(": ") || note.label), h("p", { class: "grey small" }, "Looking at what else it could be …")];
  const pinned = about.pin && about.pin.value;
  return [
    noteHead(note),
    h("div", { class: "chosen" }, picture(about.chosen?.svg, `The fingerboard: ${about.chosen?.words ?? ""}`),
      h("div", {}, h("p", {}, about.words),
        pinned ? h("p", { class: "small" }, h("strong", {}, "Pinned"), `: ${about.pin.words ?? about.pin.value}.`) : null,
        about.source_pin ? h("p", { class: "small" }, "Printed in the tune itself, and kept.") : null)),
    pinned ? whyPinned(state.lesson.pins.find((p) => p.kind === "finger" && p.n === about.n)) : null,
    h("p", { class: "words" },
      pinned ? word("Unpin", () => edit([{ kind: "unpin", n: about.n }]), { "data-key": "pin", "aria-keyshortcuts": "P" })
        : word("Pin it", () => pinAsItIs(about), { "data-key": "pin", "aria-keyshortcuts": "P" }),
      hearWords(note)),
    equalWords(about),
    lastChange(),
    others(about),
  ];
}

function equalWords(about) {
  if (!about.equal?.length || !about.chosen) return null;
  const bars = about.equal.map((e) => e.bar).join(", ");
  const value = about.pin?.value ?? valueOf(about.chosen);
  return h("p", { class: "small" }, `The phrase returns in ${about.equal.length === 1 ? "bar" : "bars"} ${bars}. `,
    word("Pin it there too", () => edit([{ kind: "pin_equal", n: about.n, value }]), { class: "word", "data-key": "equal" }));
}

/** A placement as a pin's text: "1/A@IV". */
function valueOf(placement) {
  return `${placement.finger}/${placement.string}${placement.position && !placement.harmonic && placement.finger !== "0" ? `@${placement.position}` : ""}`;
}

function others(about) {
  const list = about.alternatives ?? [];
  if (!list.length) return h("p", { class: "grey" }, "It can be played nowhere else at this level.");
  const shown = all === about.n ? list : list.slice(0, FIRST);
  return h("section", { class: "others", "aria-labelledby": "others-title" },
    h("p", { class: "caps", id: "others-title" }, "What else it could be, and its price"),
    h("ol", {}, shown.map((other, i) => h("li", {}, otherButton(about, other, i)))),
    list.length > shown.length
      ? word(`All ${list.length}`, () => { all = about.n; tell("detail"); }, { class: "word quiet", "data-key": "all-others" }) : null,
    h("p", { class: "small grey" }, "The price is what the whole plan would cost more; a shift of a hand’s width is about 1."));
}

function otherButton(about, other, index) {
  return h("button", {
    type: "button", class: "other", "data-key": `other-${index}`, "aria-describedby": `other-why-${index}`,
    onclick: (event) => pick(about, other, event.currentTarget), onkeydown: arrows,
  },
  picture(other.svg, "", "board small"),
  h("span", { class: "digit" }, other.finger),
  h("span", { class: "where" }, whereWords(other)),
  h("span", { class: "price" }, price(other.extra_cost)),
  h("span", { class: "because", id: `other-why-${index}` }, [other.reason ?? other.words, other.changes].filter(Boolean).map(sentence).join(" ")));
}

/** "D string, fourth position": the finger stands before it as a digit. */
function whereWords(other) {
  return other.words ? other.words.replace(/^(?:\w+ finger|thumb) on the /, "") : placementWords(other);
}

/** "on D, IV". */
export function placementWords(placement) {
  if (placement.harmonic) return `on ${placement.string}, harmonic`;
  if (placement.finger === "0") return `open ${placement.string}`;
  const shape = placement.shape && placement.shape !== "closed" ? `, ${placement.shape}` : "";
  return `on ${placement.string}, ${placement.position}${shape}`;
}

function arrows(event) {
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (!step) return;
  event.preventDefault();
  event.stopPropagation();
  const buttons = [...document.querySelectorAll(".others .other")];
  buttons[buttons.indexOf(event.currentTarget) + step]?.focus();
}

async function pick(about, other, button) {
  button.setAttribute("aria-busy", "true");
  const stay = document.activeElement === button;
  await edit([{ kind: "pin", n: about.n, value: other.value }]);
  if (stay && !document.getElementById("slip").contains(document.activeElement)) state.notes.get(state.n)?.hit?.focus({ preventScroll: true });
}

function pinAsItIs(about) {
  return about.chosen && edit([{ kind: "pin_range", first_n: about.n, last_n: about.n }]);
}

async function pinFinger(n, finger) {
  try {
    const about = await detailOf(n);
    if (about.chosen?.finger === finger) return void edit([{ kind: "pin", n, value: valueOf(about.chosen) }]);
    const other = (about.alternatives ?? []).filter((a) => a.finger === finger).sort((a, b) => a.extra_cost - b.extra_cost)[0];
    if (!other) return say(finger === "T" ? "The thumb cannot reach this note at this level." : `Finger ${finger} cannot reach this note at this level.`);
    return void edit([{ kind: "pin", n, value: other.value }]);
  } catch (error) {
    return trouble(error);
  }
}

export function togglePin(note) {
  const range = state.range ?? { first: note.n, last: note.n };
  const kind = state.range ? "pin_range" : note.pinned ? "unpin_range" : "pin_range";
  return edit([{ kind, first_n: range.first, last_n: range.last }]);
}

// A passage -----------------------------------------------------------------------------------------------------

export function rangeContent() {
  const { first, last } = state.range;
  const inside = [...state.notes.values()].filter((x) => x.n >= first && x.n <= last);
  const pinned = inside.filter((x) => x.pinned || x.bow_pinned).length;
  return h("section", { "aria-label": "The chosen passage" },
    h("p", {}, sentence(rangeWords())),
    h("p", { class: "small" }, `${count(last - first + 1, "note")}, ${pinned || "none"} of them pinned.`),
    h("p", { class: "words" },
      word("Pin all as they are", () => edit([{ kind: "pin_range", first_n: first, last_n: last }]), { "data-key": "pin" }),
      word("Unpin all", () => edit([{ kind: "unpin_range", first_n: first, last_n: last }]), { "data-key": "unpin", disabled: !pinned }),
      word("Hear them", () => hearRange(first, last), { class: "word quiet", "data-key": "hear-range" })));
}

// The whole -----------------------------------------------------------------------------------------------------

function overview() {
  const { lesson } = state;
  const pins = lesson.pins.filter((p) => p.kind === "finger");
  return [
    h("p", {}, "Choose a note to see why it has its finger, and what another would cost. What you pin stands; the rest is planned around it. An asterisk * stands by what is pinned."),
    pinList(pins, "No finger is pinned."),
    remarks("The hand has to do more than this level asks", lesson.relaxed, (r) => [`Bar ${r.bar}, beat ${r.beat}: `, r.why || r.limit]),
    remarks("Cannot be played", lesson.unplayable, (r) => [`Bar ${r.bar}, beat ${r.beat}: `, r.why]),
    remarks("Equal phrases that differ", lesson.unlike, (r) => [`Bars ${r.bars}, like ${r.like}: `, r.why]),
    plans(),
  ];
}

/** The pins, each with the way to its note. */
export function pinList(pins, none) {
  if (!pins.length) return h("p", { class: "grey" }, none);
  return h("section", { "aria-labelledby": "pins-title" },
    h("p", { class: "caps", id: "pins-title" }, "Pinned"),
    h("ul", { class: "rows" }, pins.map((pin) => h("li", {},
      pin.n === null || pin.n === undefined ? h("span", {}, pin.place)
        : word(pin.bar === "0" ? "pick-up" : `bar ${pin.bar}`, () => choose(pin.n), { class: "word quiet", "data-key": `pin-${pin.place}`, "aria-label": `Go to bar ${pin.bar}, beat ${pin.beat}` }),
      h("span", { class: "grow" }, pin.words ?? pin.value),
      word("Unpin", () => edit([pin.n === null || pin.n === undefined ? { kind: "unpin_place", place: pin.place } : pin.kind === "bow" ? { kind: "bow", n: pin.n, value: null } : { kind: "unpin", n: pin.n }]),
        { class: "word quiet", "aria-label": `Unpin ${pin.words ?? pin.value} at bar ${pin.bar ?? pin.place}`, "data-key": `unpin-${pin.place}` }),
      whyPinned(pin, true)))));
}

/** What the teacher says of a pin, behind it in lesson.toml; a finger and a bow of one place share it. */
export function whyPinned(pin, listed = false) {
  if (!pin) return null;
  return h("textarea", { class: "remark", rows: "1", maxlength: "300", value: pin.comment ?? "", placeholder: "why", "data-key": `why-${listed ? "" : "note-"}${pin.kind}-${pin.place}`,
    "aria-label": `Why ${pin.words ?? pin.value} is pinned at ${pin.bar === null ? pin.place : pin.bar === "0" ? "the pick-up" : `bar ${pin.bar}, beat ${pin.beat}`}`,
    onchange: (event) => edit([{ kind: "pin_comment", place: pin.place, comment: event.target.value.trim() }]),
    onkeydown: (event) => {
      if (event.key === "Escape") { event.target.value = pin.comment ?? ""; event.stopPropagation(); }
      if (event.key === "Enter") { event.preventDefault(); event.target.blur(); } // it is one line in the file
    } });
}

function remarks(title, rows, words) {
  if (!rows?.length) return null;
  return h("section", {}, h("p", { class: "caps" }, title),
    h("ul", { class: "rows plain" }, rows.map((row) => h("li", {}, h("span", { class: "grow" }, words(row)),
      row.bar !== undefined ? word("See", () => seeBar(row.bar), { class: "word quiet", "aria-label": `See bar ${row.bar}` }) : null))));
}

export async function seeBar(bar) {
  const note = [...state.notes.values()].find((x) => x.bar === String(bar));
  const found = note ?? await firstNoteOfBar(Number(bar) + (state.lesson.bars.first === "0" ? 0 : -1));
  if (found) choose(found.n);
}

function plans() {
  const { kept } = state.lesson;
  return h("section", { "aria-labelledby": "plans-title" },
    h("p", { class: "caps", id: "plans-title" }, "Compare plans"),
    h("ul", { class: "rows" },
      h("li", {}, h("span", { class: "grow" }, "The plan without your pins"), word("Compare", () => compareWith("free", "Without your pins"), { "data-key": "compare-free", "aria-label": "Compare with the plan without your pins" })),
      kept.map((plan) => h("li", {}, h("span", { class: "grow" }, plan.name, plan.words ? h("span", { class: "because" }, plan.words) : null),
        word("Compare", () => compareWith(`kept:${plan.name}`, plan.name), { "data-key": `compare-${plan.name}`, "aria-label": `Compare with ${plan.name}` }),
        word("Take it back", () => restore(plan.name), { class: "word quiet", "data-key": `restore-${plan.name}`, "aria-label": `Go back to ${plan.name}` })))),
    keepForm());
}

function keepForm() {
  return h("form", { class: "line-form", onsubmit: keep },
    h("label", { for: "keep-name" }, "Keep the plan as it is now, as"),
    h("input", { type: "text", id: "keep-name", name: "name", maxlength: "60", required: true, "data-key": "keep-name" }),
    h("button", { class: "word", "data-key": "keep" }, "Keep"));
}

async function keep(event) {
  event.preventDefault();
  const input = event.target.elements.name;
  try {
    const answer = await ask(at(state.name, "keep"), { method: "POST", body: { version: state.lesson.version, client, name: input.value.trim() } });
    state.lesson.kept = answer.kept;
    say(`Kept as ${input.value.trim()}.`);
    input.value = "";
    tell("lesson");
  } catch (error) {
    trouble(error);
  }
}

// Two plans -----------------------------------------------------------------------------------------------------

function compareContent() {
  const two = comparison();
  if (!two.answer) return h("p", { class: "grey" }, "Laying the two plans beside each other …");
  const { answer } = two;
  return [
    h("p", { class: "words" }, word("Back to the score", () => { endComparison(); tell("compare"); }, { "data-key": "end-compare" })),
    (answer.words ?? []).map((words) => h("p", {}, sentence(words))),
    h("table", {}, h("caption", { class: "unseen" }, "The two plans"),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, ""), h("th", { scope: "col", class: "number" }, "price"), h("th", { scope: "col", class: "number" }, "shifts"))),
      h("tbody", {},
        h("tr", {}, h("th", { scope: "row" }, "As it is now"), h("td", { class: "number" }, Number(answer.cost.a).toFixed(2)), h("td", { class: "number" }, answer.shifts.a)),
        h("tr", {}, h("th", { scope: "row" }, two.name), h("td", { class: "number" }, Number(answer.cost.b).toFixed(2)), h("td", { class: "number" }, answer.shifts.b)))),
    answer.notes.length ? h("table", {}, h("caption", { class: "caps" }, `${count(answer.notes.length, "note")} differ${answer.notes.length === 1 ? "s" : ""}`),
      h("thead", {}, h("tr", {}, h("th", { scope: "col" }, "bar"), h("th", { scope: "col" }, "beat"), h("th", { scope: "col" }, "now"), h("th", { scope: "col" }, two.name))),
      h("tbody", {}, answer.notes.map((row) => h("tr", {}, h("td", {}, row.bar), h("td", {}, row.beat), h("td", {}, shortWords(row.a)), h("td", {}, shortWords(row.b))))))
      : h("p", {}, "The two plans are the same."),
  ];
}

function shortWords(placement) {
  if (!placement) return "–";
  return `${placement.finger} ${placementWords(placement)}`;
}

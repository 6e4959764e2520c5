// The bow: the stroke of the chosen note, where on the bow it lies, what else it could be, and pins.

import { detail } from "./detail.js";
import { h, word } from "./dom.js";
import { edit, sentence } from "./edits.js";
import { hearWords, lastChange, noteHead, picture, price } from "./note_slip.js";
import { pinList, rangeContent, togglePin, whyPinned } from "./place_hand.js";
import { state } from "./state.js";

export const bow = {
  title: "Bow",
  led: () => state.n !== null && !state.range,
  content() {
    if (state.range) return [rangeContent(), lastChange()];
    if (state.n !== null) return [noteContent(), lastChange()];
    return [overview(), lastChange()];
  },
  key(event) {
    const note = state.notes.get(state.n);
    if (!note) return false;
    const value = { D: "down", U: "up" }[event.key.toUpperCase()];
    if (value) edit([{ kind: "bow", n: strokeNote(note), value }]);
    else if (event.key.toUpperCase() === "P") {
      if (state.range) togglePin(note);
      else if (note.bow_pinned) edit([{ kind: "bow", n: strokeNote(note), value: null }]);
      else if (detail()?.bow) edit([{ kind: "bow", n: strokeNote(note), value: detail().bow.direction }]);
    } else return false;
    return true;
  },
};

/** The note a stroke begins with: a pin of the bow stands there. */
function strokeNote(note) {
  const about = detail();
  return about?.bow?.first?.n ?? about?.n ?? note.n;
}

function noteContent() {
  const note = state.notes.get(state.n);
  if (!note) return null;
  const about = detail();
  if (!about) return [noteHead(note), h("p", { class: "grey small" }, "Looking at the stroke …")];
  const stroke = about.bow;
  if (!stroke) return [noteHead(note), h("p", {}, "This note lies within a stroke: the bow goes on as it came."), h("p", { class: "words" }, hearWords(note))];
  const pinned = stroke.pinned;
  return [
    noteHead(note),
    h("p", {}, sentence(stroke.words)),
    picture(stroke.svg, `The bow from frog to tip: ${stroke.direction}, from ${percent(stroke.from)} to ${percent(stroke.to)} of its length`, "bow-picture"),
    pinned ? h("p", { class: "small" }, h("strong", {}, "Pinned"), stroke.pin?.words ? `: ${stroke.pin.words}.` : ".") : null,
    pinned && stroke.pin ? whyPinned(state.lesson.pins.find((p) => p.kind === "bow" && p.place === stroke.pin.place)) : null,
    h("p", { class: "words" },
      pinned ? word("Unpin", () => edit([{ kind: "bow", n: stroke.first?.n ?? about.n, value: null }]), { "data-key": "pin" })
        : word("Pin it", () => edit([{ kind: "bow", n: stroke.first?.n ?? about.n, value: stroke.direction }]), { "data-key": "pin" }),
      word("Lift before it", () => edit([{ kind: "bow", n: stroke.first?.n ?? about.n, value: "retake" }]), { "data-key": "retake" }),
      hearWords(note)),
    (stroke.alternatives ?? []).length ? h("section", { class: "others", "aria-labelledby": "bow-others" },
      h("p", { class: "caps", id: "bow-others" }, "What else it could be, and its price"),
      h("ol", {}, stroke.alternatives.map((other, i) => h("li", {},
        h("button", { type: "button", class: "other bow", "data-key": `bow-${i}`, onclick: () => edit([{ kind: "bow", n: stroke.first?.n ?? about.n, value: other.value ?? other.direction }]) },
          h("span", { class: "where" }, directionWords(other)),
          h("span", { class: "price" }, price(other.extra_cost)),
          h("span", { class: "because" }, because(other))))))) : null,
  ];
}

function directionWords(other) {
  const value = other.value ?? other.direction;
  return { down: "Down-bow", up: "Up-bow", retake: "Lift before it", "down retake": "Lift, then down-bow", "up retake": "Lift, then up-bow", "no retake": "No lift" }[value] ?? value;
}

function because(other) {
  const bars = other.bars ?? [];
  const words = String(other.words ?? "").replace(/^(down-bow|up-bow|retake|lift)[^:]*: /, "");
  const moved = bars.length ? `turns the bow in ${bars.length === 1 ? "bar" : "bars"} ${bars.length > 2 ? `${bars[0]}–${bars.at(-1)}` : bars.join(", ")}` : "";
  return [words, moved].filter(Boolean).map(sentence).join(" ");
}

function percent(share) {
  return `${Math.round(share * 100)} %`;
}

function overview() {
  const pins = state.lesson.pins.filter((p) => p.kind === "bow");
  return [
    h("p", {}, "Choose a note to see its stroke: which way, how much of the bow, and what another would cost. The plan also looks at how a repeat joins its beginning."),
    pinList(pins, "No stroke is pinned."),
    state.lesson.remarks?.length ? h("section", {}, h("p", { class: "caps" }, "Remarks"), h("ul", { class: "rows plain" }, state.lesson.remarks.map((r) => h("li", {}, sentence(r))))) : null,
  ];
}

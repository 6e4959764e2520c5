// Sound: the tempo, what one practises with, and how listening works. The listening itself is at the foot of the page.

import { h, word } from "./dom.js";
import { edit } from "./edits.js";
import { textField } from "./forms.js";
import { hearRange, listening, prepare } from "./listen.js";
import { chooseRange } from "./notes.js";
import { state } from "./state.js";

export const sound = {
  title: "Sound",
  enter: prepare,
  content() {
    const { lesson } = state;
    const now = listening();
    return [
      h("p", {}, "Listen at the foot of the page. Choose a passage by drawing the mouse over it, or with Shift and the arrow keys; with loop it is played again and again. What sounds is marked under the staff."),
      now.busy ? h("p", { class: "small grey", role: "status" }, now.busy) : null,
      h("section", { "aria-labelledby": "phrases-title" },
        h("p", { class: "caps", id: "phrases-title" }, "Phrases"),
        h("ul", { class: "rows" }, lesson.phrases.map((phrase, i) => h("li", {},
          h("span", { class: "grow" }, phraseWords(phrase), phrase.section ? h("span", { class: "because" }, `in ${phrase.section}`) : null),
          word("Hear", () => hear(phrase, false), { "data-key": `phrase-${i}`, "aria-label": `Hear ${phraseWords(phrase)}` }),
          word("Loop", () => hear(phrase, true), { class: "word quiet", "data-key": `loop-${i}`, "aria-label": `Loop ${phraseWords(phrase)}` }))))),
      h("section", {}, h("p", { class: "caps" }, "Tempo"),
        textField("tempo_qpm", "Quarter notes a minute", lesson.tempo_qpm, { kind: "number", attributes: { min: 10, max: 400, step: "any" } }),
        practice(lesson)),
      lesson.backing ? h("p", { class: "small" }, `Your backing, ${lesson.backing.name}, is at the foot of the page too. It has no score of its own, so no note is marked in it.`)
        : h("p", { class: "small grey" }, "Lay a recording of your band in the lesson’s folder as backing.flac, .wav, .mp3 or .m4a, and it can be heard here, slower too."),
      h("p", { class: "small grey" }, "Keep practice audio at a level you can talk over: your ears have to last."),
    ];
  },
};

function practice(lesson) {
  return h("div", { class: "field" },
    h("label", { for: "field-practice" }, "Slower versions, in per cent"),
    h("input", { type: "text", id: "field-practice", "data-key": "field-practice", value: lesson.practice_percent.join(", "), inputmode: "numeric",
      onchange: (event) => {
        const values = event.target.value.split(/[,\s]+/).filter(Boolean).map(Number);
        edit([{ kind: "settings", values: { practice_percent: values } }]);
      } }));
}

function phraseWords(phrase) {
  const bar = (b) => (b === "0" ? "the pick-up" : b);
  return phrase.first_bar === phrase.last_bar ? `bar ${phrase.first_bar}` : phrase.first_bar === "0" ? `the pick-up to bar ${phrase.last_bar}` : `bars ${bar(phrase.first_bar)}–${phrase.last_bar}`;
}

async function hear(phrase, loop) {
  await chooseRange(phrase.first_n, phrase.last_n);
  hearRange(phrase.first_n, phrase.last_n, { loop });
}

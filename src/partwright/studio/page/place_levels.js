// Levels: for whom the plan is, which versions the tune gets, and bar by bar what was changed for each.

import { at, ask } from "./api.js";
import { h, word } from "./dom.js";
import { edit, sentence } from "./edits.js";
import { choiceField, severalField } from "./forms.js";
import { jobDone, jobOf } from "./jobs.js";
import { trouble } from "./notices.js";
import { pitchWords } from "./note_slip.js";
import { seeBar } from "./place_hand.js";
import { on, state, tell } from "./state.js";

let steps; // undefined: not asked; null: not made yet

export const levels = {
  title: "Levels",
  enter() { look(); },
  content() {
    const { lesson } = state;
    const names = lesson.levels.map((x) => [x, x]);
    const job = jobOf("build");
    return [
      choiceField("level", "The plan is for", lesson.level, names, { hint: "Fingers, positions and strokes are planned as this level can play them." }),
      choiceField("marks", "Fingers on the page", lesson.marks, [["needed", "where a player needs one"], ["every", "on every note"], ["none", "none"]]),
      choiceField("string_names", "Strings are named", lesson.string_names, [["letters", "by letter"], ["roman", "by number, I the highest"]]),
      severalField("own_levels", "A version of its own for", lesson.own_levels ?? [], names),
      choiceField("second", "A second part for teacher or friend", lesson.second || "", [["", "none"], ["bass", "a bass line"], ["counter", "a counter-melody"], ["drone", "a drone"]]),
      h("section", { "aria-labelledby": "versions-heading" },
        h("p", { class: "caps", id: "versions-heading" }, "What is changed for each"),
        job ? h("p", { class: "small grey" }, job.words)
          : h("p", {}, word("Make the versions", make, { "data-key": "make-versions" }), h("span", { class: "small grey" }, " All of them can be played together.")),
        versionRows()),
    ];
  },
};

function versionRows() {
  if (!steps) return null;
  return steps.versions.map(({ level, steps: all }) => {
    const left = undone().filter((x) => x.level === level);
    const made = all.filter((step) => !left.some((x) => x.name === step.name));
    return h("section", {},
      h("h3", {}, level.replace(/^./, (x) => x.toUpperCase())),
      made.length || left.length ? h("ul", { class: "rows plain" },
        made.map((step) => h("li", {},
          word(bars(step), () => seeBar(step.first_bar), { class: "word quiet", "data-key": `step-${level}-${step.name}` }),
          h("span", { class: "grow" }, sentence(pitchesIn(step.what)), h("span", { class: "because" }, sentence(pitchesIn(step.why)))),
          word("Leave it out", () => leaveOut(level, step.name, true), { class: "word quiet", "data-key": `out-${level}-${step.name}`, "aria-label": `Leave out ${step.name} for ${level}` }))),
        left.map((x) => h("li", {}, h("span", { class: "grow grey" }, `${x.name}: left out`),
          word("Make it", () => leaveOut(level, x.name, false), { class: "word quiet", "data-key": `in-${level}-${x.name}`, "aria-label": `Make ${x.name} for ${level}` }))))
        : h("p", { class: "grey" }, "The tune as it is."));
  });
}

/** What is left out, as [{ level, name }]; lesson.toml has them as "LEVEL: STEP". */
function undone() {
  return (state.lesson.undo_steps ?? []).map((text) => {
    const at_ = text.indexOf(":");
    return { text, level: text.slice(0, at_).trim(), name: text.slice(at_ + 1).trim() };
  });
}

async function leaveOut(level, name, out) {
  let next = [];
  if (await edit(() => {
    const others = undone().filter((x) => x.level !== level || x.name !== name).map((x) => x.text);
    next = out ? [...others, `${level}: ${name}`] : others;
    return [{ kind: "settings", values: { undo_steps: next } }];
  })) {
    state.lesson.undo_steps = next;
    tell("detail");
    make();
  }
}

function bars(step) {
  return step.first_bar === step.last_bar ? `bar ${step.first_bar}` : `bars ${step.first_bar}–${step.last_bar}`;
}

function pitchesIn(words) {
  return String(words).replace(/\b[A-G](#|b)\d/g, (pitch) => pitchWords(pitch));
}

async function look() {
  try {
    const { files } = await ask(at(state.name, "files"));
    const made = files.find((f) => f.path.endsWith("versions/steps.json"));
    steps = made ? await ask(made.url) : null;
    tell("detail");
  } catch {
    steps = null;
  }
}

async function make() {
  try {
    const { job } = await ask(at(state.name, "jobs"), { method: "POST", body: { kind: "build", only: ["versions"] } });
    await jobDone(job);
    await look();
  } catch (error) {
    trouble(error);
  }
}

on("closed", () => { steps = undefined; });

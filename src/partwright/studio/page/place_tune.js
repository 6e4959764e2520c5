// The tune: what it is called, what was found in it, the key that lies well, the instrument and the tempo.

import { at, ask } from "./api.js";
import { route } from "./contents.js";
import { count, h, word } from "./dom.js";
import { choiceField, textField } from "./forms.js";
import { jobDone, jobOf } from "./jobs.js";
import { say, trouble } from "./notices.js";
import { pitchWords } from "./note_slip.js";
import { on, state, tell } from "./state.js";

let keys = null; // the ranking of this version, or null

export const tune = {
  title: "Tune",
  content() {
    const { lesson, studio } = state;
    return [
      survey(lesson),
      h("section", { "aria-label": "Titles and credits" },
        h("p", { class: "caps" }, "At the head of the page"),
        textField("title", "Title", lesson.title),
        textField("subtitle", "Subtitle", lesson.subtitle),
        textField("composer", "Composer", lesson.composer),
        textField("arranger", "Arranger", lesson.arranger),
        textField("teacher", "Fingered and taught by", lesson.teacher)),
      h("section", { "aria-label": "Instrument and tempo" },
        h("p", { class: "caps" }, "To play on"),
        choiceField("instrument", "Instrument", lesson.instrument.name, instruments(studio, lesson)),
        textField("tempo_qpm", "Quarter notes a minute", lesson.tempo_qpm, { kind: "number", attributes: { min: 10, max: 400, step: "any" } })),
      keysSection(),
    ];
  },
};

function pitchText(words) {
  return String(words).replace(/\b([A-G])(#|b)(\d)/g, (whole) => pitchWords(whole));
}

/** What was read, in the words `new` says it with. */
function survey(lesson) {
  const rows = (lesson.found ?? state.survey ?? []).map((row) => /^\s*(\S+)\s{2,}(.*)$/.exec(row)).filter(Boolean);
  if (!rows.length) return null;
  return h("dl", { class: "facts" }, rows.map(([, name, words]) => [h("dt", {}, name), h("dd", {}, pitchText(words))]));
}

function instruments(studio, lesson) {
  const list = studio?.choices?.instruments ?? [];
  const options = list.map((x) => [x.name, x.words]);
  if (!options.some(([name]) => name === lesson.instrument.name)) options.unshift([lesson.instrument.name, lesson.instrument.name]);
  return options;
}

// Keys ----------------------------------------------------------------------------------------------------------

function keysSection() {
  const job = jobOf("keys");
  return h("section", { "aria-labelledby": "keys-heading" },
    h("p", { class: "caps", id: "keys-heading" }, "The key that lies well"),
    job ? h("p", { class: "small grey" }, job.words || "Trying every key …")
      : h("p", {}, word(keys ? "Try the keys again" : "Try the keys", tryKeys, { "data-key": "try-keys" })),
    keys ? ranking() : h("p", { class: "small grey" }, "Every key and octave is fingered and priced, and the best come first; this takes a little while. The price is the plan’s, a note."));
}

function ranking() {
  return h("ol", { class: "rows plain" }, keys.slice(0, 8).map((row, i) => {
    const name = `${pitchWords(row.tonic)} ${row.mode}`;
    return h("li", {}, h("span", { class: "grow" }, h("strong", {}, name), octaveWords(row.octave_shift), row.given ? " (as it is)" : "",
      h("span", { class: "because" }, `${pitchWords(row.lowest)} to ${pitchWords(row.highest)}`, row.hardest ? `; hardest in bar ${row.hardest.bar}: ${row.hardest.why}` : "")),
    h("span", { class: "price" }, Number(row.cost_per_note).toFixed(2)),
    row.given ? null : word("Begin in it", () => inKey(row, name), { "data-key": `key-${i}`, "aria-label": `Begin a lesson of this tune in ${name}` }));
  }));
}

/** A new lesson of the same tune in that key; this one stays as it is. */
async function inKey(row, name) {
  const taken = new Set((state.studio?.lessons ?? []).map((x) => x.name));
  const wanted = `${state.name} in ${row.tonic.replace("#", " sharp").replace(/(?<=^[A-G])b/, " flat")}`.slice(0, 60);
  let free = wanted;
  for (let i = 2; taken.has(free); i += 1) free = `${wanted} ${i}`;
  try {
    say(`Writing it in ${name}.`);
    const answer = await ask(at(state.name, "in_key", { name: free, key: row.mode === "minor" ? `${row.tonic}m` : row.tonic, octave: row.octave }), { method: "POST" });
    location.hash = route("tune", answer.name);
  } catch (error) {
    trouble(error);
  }
}

function octaveWords(shift) {
  if (!shift) return null;
  return `, ${count(Math.abs(shift), "octave")} ${shift > 0 ? "up" : "down"}`;
}

async function tryKeys() {
  try {
    const { job } = await ask(at(state.name, "jobs"), { method: "POST", body: { kind: "keys" } });
    const done = await jobDone(job);
    keys = done.result?.ranking ?? [];
    say(keys.length ? `${keys[0].tonic} ${keys[0].mode} lies best.` : "No key lies on this instrument.");
    tell("detail");
  } catch (error) {
    trouble(error);
  }
}

on("closed", () => { keys = null; });

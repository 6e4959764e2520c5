// The words to say, a sentence a paragraph, changed where they stand and checked against the part while one types.

import { at, ask } from "./api.js";
import { h, settled, word } from "./dom.js";
import { edit, sentence as stop } from "./edits.js";
import { say, trouble } from "./notices.js";
import { choose } from "./notes.js";
import { on, state, tell } from "./state.js";

const MARKS = { wrong: "✗ wrong", check: "? please check", right: "✓ right" };
const MANY = 40;

const script = { answer: null, version: null, open: null, adding: null, draft: "", findings: null, claims: null, more: MANY };
const draftKey = (number) => `partwright draft ${state.name} ${number}`;

export async function lookAtScript() {
  const { version } = state.lesson;
  if (script.version === version || script.asking === version) return;
  script.asking = version;
  try {
    script.answer = await ask(at(state.name, "script"));
    script.version = version;
    tell("script");
  } catch (error) {
    if (error.code !== "changed") trouble(error);
  } finally {
    script.asking = null;
  }
}

const KINDS = {
  introduce: "How it goes", phrase: "A phrase", join: "Joined", spot: "A hard spot", tempo: "Up to tempo", recap: "All again", whole: "The whole", drill: "A drill",
};

/** The steps a section is taught in, in order. */
export function stepsContent(section) {
  const steps = (script.answer?.steps ?? []).filter((x) => x.section === section);
  if (!steps.length) return null;
  return h("details", { "data-key": "steps" }, h("summary", {}, `Taught in ${steps.length} steps`),
    h("ol", { class: "steps" }, steps.map((x) => h("li", {},
      h("span", {}, KINDS[x.kind] ?? x.kind, x.adds && x.kind !== "introduce" ? h("span", { class: "because" }, stop(x.adds)) : null),
      h("span", { class: "grey" }, [x.bars.length ? (x.bars[0] === x.bars.at(-1) ? `bar ${x.bars[0]}` : `bars ${x.bars[0]}–${x.bars.at(-1)}`) : "", `${Math.round(x.percent)} %`, x.times > 1 ? `${x.times} times` : ""].filter(Boolean).join(", "))))));
}

/** Every sentence as it stands, for the prompter. */
export function sentences() {
  return script.answer?.sentences ?? [];
}

export function scriptContent(section) {
  if (!script.answer) return h("p", { class: "grey small" }, "Writing the script …");
  const all = script.answer.sentences;
  const found = all.filter((x) => (x.findings ?? []).length);
  const own = script.answer.own;
  const chosen = section === null ? all : inSection(all, section);
  const shown = chosen.slice(0, script.more);
  let heading = null;
  return [
    found.length ? h("p", { class: "small" }, h("span", { class: "verdict check" }, "? "), `${found.length === 1 ? "One sentence does" : `${found.length} sentences do`} not agree with the part: `,
      found.slice(0, 6).map((x) => word(x.bars?.length ? `bar ${x.bars[0]}` : `sentence ${x.number}`, () => openSentence(x), { class: "word quiet", "data-key": `bad-${x.number}` })))
      : h("p", { class: "small grey" }, "Every sentence agrees with the part. Choose one to change it."),
    h("div", { class: "script" }, shown.map((x) => {
      const rows = [];
      if (x.heading && x.heading !== heading) rows.push(h("h3", {}, x.heading));
      heading = x.heading || heading;
      rows.push(script.open === x.number ? editor(x) : paragraph(x));
      if (script.adding === x.number) rows.push(editor({ number: `after-${x.number}`, after: x.number, text: "", bars: x.bars, findings: [] }));
      return rows;
    })),
    chosen.length > shown.length ? word(`${chosen.length - shown.length} more sentences`, () => { script.more += MANY; tell("script"); }, { class: "word quiet", "data-key": "more-script" }) : null,
    own ? h("p", { class: "small" }, "These words are yours, in script.md. ", word("Back to the words the program makes", () => edit([{ kind: "own_script", own: false }]), { class: "word quiet", "data-key": "own-script" })) : null,
  ];
}

function inSection(all, name) {
  const section = state.lesson.sections.find((x) => x.name === name);
  if (!section) return all;
  const index = new Map();
  for (const note of state.notes.values()) index.set(note.bar, note.bar_index);
  return all.filter((x) => {
    if (!x.bars?.length) return false;
    const bar = index.get(String(x.bars[0])) ?? Number(x.bars[0]) - (state.lesson.bars.first === "0" ? 0 : 1);
    return bar >= section.first_bar_index && bar <= section.last_bar_index;
  });
}

function barsOf(x) {
  if (!x.bars?.length) return null;
  const [first, last] = [x.bars[0], x.bars.at(-1)];
  const words = first === "0" && last === "0" ? "pick-up" : first === last ? `bar ${first}` : `bars ${first}–${last}`;
  return h("span", { class: "bars" }, words);
}

function paragraph(x) {
  return h("div", { class: "sentence" },
    barsOf(x),
    h("button", { type: "button", class: "said", "data-key": `sentence-${x.number}`, title: "Change this sentence", onclick: () => openSentence(x) }, x.text),
    (x.findings ?? []).map(findingLine));
}

function findingLine(finding) {
  return h("p", { class: "finding-line small" }, h("span", { class: `verdict ${finding.verdict}` }, MARKS[finding.verdict] ?? finding.verdict), " ", stop(finding.what),
    finding.n !== null && finding.n !== undefined ? word("See", () => choose(finding.n), { class: "word quiet", "aria-label": `See bar ${finding.bar} on the score` }) : null);
}

function openSentence(x) {
  script.open = x.number;
  script.adding = null;
  script.draft = sessionStorage.getItem(draftKey(x.number)) ?? x.text;
  script.findings = script.draft === x.text ? x.findings ?? [] : null;
  script.claims = null;
  tell("script");
  const field = document.querySelector(`[data-key="edit-${x.number}"]`);
  field?.focus();
  field?.scrollIntoView({ block: "nearest" });
  if (script.findings === null) checkSoon(x);
}

function editor(x) {
  const label = x.after === undefined ? `Sentence ${x.number}${x.bars?.length ? `, bar ${x.bars[0]}` : ""}` : "A new sentence";
  return h("form", { class: "sentence open", onsubmit: (event) => { event.preventDefault(); saveSentence(x); } },
    barsOf(x),
    h("textarea", {
      rows: Math.max(2, Math.ceil((script.draft.length || 1) / 42)), "aria-label": label, "data-key": `edit-${x.number}`, spellcheck: "true", value: script.draft,
      "aria-describedby": "sentence-check",
      oninput: (event) => {
        script.draft = event.target.value;
        sessionStorage.setItem(draftKey(x.number), script.draft);
        checkSoon(x);
      },
      onkeydown: (event) => {
        if (event.key === "Enter" && !event.shiftKey) { event.preventDefault(); saveSentence(x); }
        if (event.key === "Escape") { event.stopPropagation(); leave(x); }
      },
    }),
    h("div", { id: "sentence-check", role: "status" }, (script.findings ?? []).map(findingLine),
      script.findings && !script.findings.length && script.claims !== 0 ? h("p", { class: "small" }, h("span", { class: "verdict right" }, "✓ right"), " It agrees with the part.") : null,
      script.claims === 0 ? h("p", { class: "small grey" }, "It says nothing of a note, a finger or a bar.") : null),
    h("p", { class: "words" },
      h("button", { class: "word", "data-key": "save-sentence" }, "Keep"),
      word("Leave it as it was", () => leave(x), { class: "word quiet", "data-key": "leave-sentence" }),
      x.after === undefined ? word("Add one after it", () => add(x), { class: "word quiet", "data-key": "add-sentence" }) : null,
      x.after === undefined ? word("Take it out", () => takeOut(x), { class: "word quiet", "data-key": "take-out" }) : null));
}

function leave(x) {
  sessionStorage.removeItem(draftKey(x.number));
  script.open = null;
  script.adding = null;
  tell("script");
  document.querySelector(`[data-key="sentence-${x.after ?? x.number}"]`)?.focus();
}

function add(x) {
  script.open = null;
  script.adding = x.number;
  script.draft = "";
  script.findings = null;
  tell("script");
  document.querySelector(`[data-key="edit-after-${x.number}"]`)?.focus();
}

async function takeOut(x) {
  if (await edit([{ kind: "sentence", number: x.number, text: "" }])) leave(x);
}

async function saveSentence(x) {
  const text = script.draft.trim();
  if (x.after === undefined && text === x.text) return leave(x);
  if (!text) return say("There is nothing to keep.");
  const what = x.after === undefined ? { kind: "sentence", number: x.number, text } : { kind: "add_sentence", after: x.after, text };
  if (await edit([what])) leave(x);
  return null;
}

let checking = 0;
const checkSoon = settled(250, async (x) => {
  const mine = ++checking;
  try {
    const bars = x.bars?.length ? [String(x.bars[0]), String(x.bars.at(-1))] : [];
    const answer = await ask(at(state.name, "sentence"), { method: "POST", body: { text: script.draft, bars } });
    if (mine !== checking) return;
    script.findings = answer.findings;
    script.claims = (answer.claims ?? []).length;
    tell("script");
  } catch (error) {
    if (mine === checking) trouble(error);
  }
});

on("edited", () => { if (document.body.dataset.place === "lesson") lookAtScript(); });
on("lesson", () => { if (document.body.dataset.place === "lesson") lookAtScript(); });
on("closed", () => Object.assign(script, { answer: null, version: null, open: null, adding: null, findings: null, more: MANY }));

// Check: what was said and played, against the score. One finding after the other, each heard from three seconds before.

import { at, ask, client } from "./api.js";
import { clock, h, word } from "./dom.js";
import { sentence, take as takeAnswer } from "./edits.js";
import { jobDone, jobOf } from "./jobs.js";
import { stop as stopListening } from "./listen.js";
import { say, trouble } from "./notices.js";
import { choose } from "./notes.js";
import { seeBar } from "./place_hand.js";
import { Recorder } from "./recorder.js";
import { lineOf, shown } from "./score.js";
import { on, state, tell } from "./state.js";

const SIGNS = { wrong: "✗", check: "?", right: "✓" };
const KEYS = { A: "accept", R: "right", U: "unsure", P: "pin" };

const review = { take: null, answer: null, at: 0, busy: "", media: null, hearOn: true, deciding: Promise.resolve(), score: null };
const recorder = new Recorder(() => tell("takes"));

export const check = {
  title: "Check",
  led: () => review.answer !== null && current()?.n === state.n && state.n !== null,
  enter() { lookAtTakes(); },
  leave() {
    review.media?.pause();
    unmark();
  },
  content() {
    return review.take === null ? takesContent() : findingsContent();
  },
  key(event) {
    if (!review.answer) return false;
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      step(event.key === "ArrowDown" ? 1 : -1);
      return true;
    }
    if (event.key === "Backspace") return decide(null);
    const value = KEYS[event.key.toUpperCase()];
    const offered = current()?.choices?.some((c) => c.value === value);
    if (value && offered) return decide(value);
    return false;
  },
};

// Takes ---------------------------------------------------------------------------------------------------------

export async function lookAtTakes() {
  if (!state.name || state.lesson?.fault) return;
  try {
    state.takes = (await ask(at(state.name, "takes"))).takes;
    tell("takes");
  } catch (error) {
    trouble(error);
  }
}

function takesContent() {
  return [
    h("p", {}, "Bring the words you said on camera, as captions or a transcript, or a recording of what you played. Nothing leaves this computer."),
    h("div", { class: "drop", ondragover: over, ondragleave: out, ondrop: dropped },
      h("label", { for: "take-file" }, "A transcript (.vtt, .srt, .txt), a recording or a film; drop it here, or"),
      h("input", { type: "file", id: "take-file", "data-key": "take-file", multiple: true, onchange: (event) => bring([...event.target.files]) })),
    recording(),
    review.busy ? h("p", { class: "small", role: "status" }, review.busy) : null,
    state.takes.length ? h("section", { "aria-labelledby": "takes-title" },
      h("p", { class: "caps", id: "takes-title" }, "Takes"),
      h("ul", { class: "rows" }, state.takes.map((take) => h("li", {},
        h("span", { class: "grow" }, take.name, h("span", { class: "because" }, kindWords(take))),
        take.kind === "film" && !take.checkable ? null
          : word("Look through", () => openTake(take.name), { "data-key": `take-${take.name}`, "aria-label": `Look through ${take.name}` }))))) : null,
    scoreFindings(),
  ];
}

function kindWords(take) {
  const kind = { transcript: "what was said", sound: "what was played", film: "a film" }[take.kind] ?? take.kind;
  if (take.open === null || take.open === undefined) return `${kind}; not looked at yet`;
  return take.open ? `${kind}; ${take.open} to decide` : `${kind}; all decided`;
}

/** What in the score itself would trip a player, once it has been looked for. */
function scoreFindings() {
  const { score } = review;
  if (score === null) {
    return h("section", {}, h("p", { class: "caps" }, "In the score itself"),
      h("p", {}, word("Look through the score", checkScore, { "data-key": "check-score" }), h("span", { class: "small grey" }, " for what would trip a player.")));
  }
  return h("section", {}, h("p", { class: "caps" }, "In the score itself"),
    score.length ? h("ul", { class: "rows plain" }, score.map((f, i) => h("li", {},
      h("span", { class: `verdict ${f.verdict}` }, SIGNS[f.verdict]), h("span", { class: "grow" }, `Bar ${f.bar}, beat ${f.beat}: `, sentence(f.what), f.why ? h("span", { class: "because" }, sentence(f.why)) : null),
      word("See", () => seeBar(f.bar), { class: "word quiet", "data-key": `score-${i}`, "aria-label": `See bar ${f.bar}` }))))
      : h("p", {}, h("span", { class: "verdict right" }, "✓ right"), " Nothing in it would trip a player."));
}

async function checkScore() {
  busy("Looking through the score …");
  try {
    const { job } = await ask(at(state.name, "jobs"), { method: "POST", body: { kind: "build", only: ["check-score"] } });
    await jobDone(job);
    const { files } = await ask(at(state.name, "files"));
    const made = files.find((f) => f.path.endsWith("check-score.json"));
    review.score = made ? (await ask(made.url)).findings : [];
    say(review.score.length ? `${review.score.length} findings in the score.` : "Nothing in the score would trip a player.");
  } catch (error) {
    trouble(error);
  } finally {
    busy("");
  }
}

function over(event) {
  event.preventDefault();
  event.currentTarget.classList.add("over-it");
}

function out(event) {
  event.currentTarget.classList.remove("over-it");
}

function dropped(event) {
  event.preventDefault();
  out(event);
  bring([...event.dataTransfer.files]);
}

async function bring(files) {
  for (const file of files) {
    busy(`Taking in ${file.name} …`);
    try {
      const { take } = await ask(`${at(state.name, "takes")}?${new URLSearchParams({ filename: file.name })}`, { method: "POST", file });
      say(`${take.name} is in the lesson’s folder.`);
      await lookAtTakes();
      if (files.length === 1 && take.kind !== "film") await openTake(take.name);
    } catch (error) {
      trouble(error);
    } finally {
      busy("");
    }
  }
}

function busy(words) {
  review.busy = words;
  tell("takes");
}

function recording() {
  if (!Recorder.possible()) return null;
  if (recorder.running) {
    return h("p", { class: "words" }, h("span", { class: "verdict wrong" }, "● recording"), h("span", { id: "record-time", class: "time" }, clock(recorder.seconds())),
      word("Stop and keep it", keepRecording, { "data-key": "record" }), word("Throw it away", () => recorder.drop(), { class: "word quiet" }));
  }
  return h("p", {}, word("Record a take", startRecording, { "data-key": "record" }), h("span", { class: "small grey" }, " with the microphone; it stays in this lesson’s folder."));
}

async function startRecording() {
  stopListening();
  try {
    await recorder.start();
    say("Recording.");
  } catch {
    trouble(new Error("The microphone was not given to this page. Allow it in the browser, or bring a recording as a file."));
  }
}

async function keepRecording() {
  const { blob, name } = await recorder.stop();
  await bring([new File([blob], name, { type: blob.type })]);
}

// Findings ------------------------------------------------------------------------------------------------------

async function openTake(name) {
  Object.assign(review, { take: name, answer: null, at: 0 });
  review.busy = "Comparing it with the score …";
  tell("findings");
  try {
    let answer = await ask(at(state.name, "findings", { take: name }));
    while (!answer.ready) {
      await jobDone(answer.job);
      answer = await ask(at(state.name, "findings", { take: name }));
    }
    if (review.take !== name) return;
    review.answer = answer;
    review.at = Math.max(0, answer.findings.findIndex((f) => !f.decision));
    setMedia(answer.media);
    say(sumWords());
    tell("findings");
    await turnTo(review.at, { hear: false });
    document.querySelector(".findings [tabindex='0']")?.focus();
  } catch (error) {
    closeTake();
    trouble(error);
  } finally {
    review.busy = "";
    tell("findings");
  }
}

function closeTake() {
  review.media?.pause();
  Object.assign(review, { take: null, answer: null, media: null });
  unmark();
  tell("findings");
  lookAtTakes();
}

function current() {
  return review.answer?.findings[review.at] ?? null;
}

function sumWords() {
  const { findings } = review.answer;
  const open = findings.filter((f) => !f.decision).length;
  const wrong = findings.filter((f) => f.verdict === "wrong").length;
  if (!findings.length) return "Nothing was found: it agrees with the score.";
  return `${wrong} wrong, ${findings.length - wrong} to check; ${open} left to decide.`;
}

function findingsContent() {
  const job = jobOf("check");
  if (!review.answer) return [h("p", { class: "grey", role: "status" }, job?.words || review.busy), h("p", {}, word("Back to the takes", closeTake, { class: "word quiet", "data-key": "back" }))];
  const { findings, sentences } = review.answer;
  return [
    h("p", { class: "words" }, h("span", {}, review.take), word("Back to the takes", closeTake, { class: "word quiet", "data-key": "back" })),
    (sentences ?? []).map((words) => h("p", {}, sentence(words))),
    review.answer.stale ? h("p", { class: "small" }, "The plan has changed since. ", word("Compare it again", again, { class: "word", "data-key": "again" })) : null,
    h("p", { class: "small" }, sumWords()),
    media(),
    findings.length ? h("ol", { class: "findings", "aria-label": "Findings, in order" }, findings.map(row)) : null,
  ];
}

async function again() {
  try {
    const { take } = review;
    const { job } = await ask(at(state.name, "jobs"), { method: "POST", body: { kind: "check", take } });
    review.busy = "Comparing it with the score …";
    review.answer = null;
    tell("findings");
    await jobDone(job);
    await openTake(take);
  } catch (error) {
    closeTake();
    trouble(error);
  }
}

function media() {
  if (!review.answer.media) return null;
  return h("p", { class: "words small" },
    h("label", {}, h("input", { type: "checkbox", checked: review.hearOn, "data-key": "hear-on", onchange: (event) => { review.hearOn = event.target.checked; } }), "hear each from three seconds before"));
}

function row(finding, index) {
  const here = index === review.at;
  const decided = finding.choices?.find((c) => c.value === finding.decision);
  return h("li", { class: here ? "here" : null },
    h("button", { type: "button", class: "finding", tabindex: here ? "0" : "-1", "aria-current": here ? "true" : null, "aria-expanded": String(here), "data-key": `finding-${index}`, onclick: () => turnTo(index) },
      h("span", { class: `verdict ${finding.verdict}` }, `${SIGNS[finding.verdict]} ${finding.verdict === "check" ? "please check" : finding.verdict}`),
      h("span", { class: "time" }, finding.time_s === null ? "" : clock(finding.time_s)),
      h("span", { class: "where" }, finding.place),
      decided ? h("span", { class: "decided-as" }, shortDecision(finding.decision)) : null,
      here ? null : h("span", { class: "because" }, sentence(finding.what))),
    here ? details(finding, index) : null);
}

function shortDecision(value) {
  return { accept: "accepted", right: "right as it is", unsure: "unsure", pin: "pinned", card: "card" }[value] ?? value;
}

function details(finding, index) {
  return h("div", { class: "finding-detail" },
    h("p", {}, sentence(finding.what)),
    finding.observed ? h("p", { class: "italic" }, `“${finding.observed}”`) : null,
    h("p", { class: "small grey" }, [finding.why && sentence(finding.why), `Against the ${finding.against ?? "score"}.`, finding.confidence !== null && finding.confidence !== undefined ? `Sure to ${Math.round(finding.confidence * 100)} %.` : ""].filter(Boolean).join(" ")),
    review.answer.media && finding.play_from_s !== null ? h("p", {}, word(review.media && !review.media.paused ? "Stop" : `Hear from ${clock(finding.play_from_s)}`, () => hear(finding, true), { class: "word quiet", "data-key": `hear-${index}`, "aria-keyshortcuts": "Space" })) : null,
    h("ul", { class: "choices", "aria-label": "What to do about it" }, (finding.choices ?? []).map((c) => {
      const letter = Object.entries(KEYS).find(([, v]) => v === c.value)?.[0];
      const pins = c.value === "pin" && finding.pins?.length ? `: ${finding.pins.map((p) => p.words ?? `${p.place} = ${p.value}`).join(", ")}` : "";
      return h("li", {}, word(`${c.words}${pins}`, () => decide(c.value), { class: finding.decision === c.value ? "word on" : "word", "aria-pressed": String(finding.decision === c.value), "data-key": `choice-${index}-${c.value}`, "aria-keyshortcuts": letter }),
        letter ? h("kbd", { "aria-hidden": "true" }, letter) : null);
    })));
}

/** Makes a finding the one in question: shows its place in the score and plays from three seconds before. */
async function turnTo(index, { hear: hearing = review.hearOn, focus = true } = {}) {
  review.at = Math.max(0, Math.min(review.answer.findings.length - 1, index));
  const finding = current();
  tell("findings");
  if (!finding) return;
  if (focus) document.querySelector(`[data-key="finding-${review.at}"]`)?.focus({ preventScroll: true });
  document.querySelector(".findings .here")?.scrollIntoView({ block: "nearest" });
  if (finding.n !== null && finding.n !== undefined) await choose(finding.n, { focus: false });
  markAll();
  if (hearing) hear(finding, false);
}

function step(by) {
  turnTo(review.at + by);
}

/** Decides about the finding in question and goes on to the next; the server is told in the order of the keys. */
function decide(value) {
  const finding = current();
  if (!finding || (value === null && !finding.decision)) return true;
  const before = finding.decision;
  finding.decision = value;
  if (value !== null) say(`${finding.place}: ${shortDecision(value)}.`);
  const { findings } = review.answer;
  const next = findings.findIndex((f, i) => i > review.at && !f.decision);
  if (value !== null && next >= 0) turnTo(next);
  else {
    if (value !== null && findings.every((f) => f.decision)) say(`All ${findings.length} decided.`);
    tell("findings");
  }
  review.deciding = review.deciding.then(() => send(finding, value, before));
  return true;
}

async function send(finding, decision, before) {
  const { take } = review;
  const write = () => ask(at(state.name, "findings", "decision"), {
    method: "PUT", body: { take, key: finding.key, decision, version: review.answer.version, client,
      ...(decision === "pin" || before === "pin" ? { lesson_version: state.lesson.version, shown: shown() } : {}) },
  });
  try {
    const answer = await write();
    if (review.take !== take) return;
    review.answer.version = answer.version;
    if (answer.edit) await takeAnswer(answer.edit);
  } catch (error) {
    finding.decision = before;
    if (error.code === "changed") {
      const fresh = await ask(at(state.name, "findings", { take })).catch(() => null);
      if (fresh?.ready) review.answer = fresh;
    }
    trouble(error);
    tell("findings");
  }
}

// Media ---------------------------------------------------------------------------------------------------------

function setMedia(url) {
  review.media?.pause();
  review.media = url ? new Audio(url) : null;
  if (!review.media) return;
  review.media.preload = "auto";
  for (const what of ["play", "pause", "ended"]) review.media.addEventListener(what, () => tell("findings"));
}

function hear(finding, turn) {
  if (!review.media || finding.play_from_s === null) return;
  if (turn && !review.media.paused) return void review.media.pause();
  stopListening();
  review.media.currentTime = finding.play_from_s;
  review.media.play().catch(() => {});
}

/** Space in this place plays what was recorded, not the plan. True where it did. */
export function hearFinding() {
  const finding = current();
  if (document.body.dataset.place !== "check" || !review.media || !finding) return false;
  hear(finding, true);
  return true;
}

// Marks over the score -------------------------------------------------------------------------------------------

function unmark() {
  for (const old of document.querySelectorAll("#score .finding-mark")) old.remove();
}

function markAll() {
  unmark();
  if (document.body.dataset.place !== "check" || !review.answer) return;
  for (const finding of review.answer.findings) {
    const note = state.notes.get(finding.n);
    const line = lineOf(note);
    if (!line) continue;
    const sign = h("span", { class: `finding-mark ${finding.verdict}`, "aria-hidden": "true" }, SIGNS[finding.verdict]);
    sign.style.left = `${(note.x_mm / line.system.width_mm) * 100}%`;
    const top = Number(note.hit?.getAttribute("y")) / 100 || line.system.staff_top_mm - 6; // the target holds note and finger
    sign.style.top = `${(top / line.system.height_mm) * 100}%`;
    line.element.querySelector(".over").append(sign);
  }
}

on("edited", () => { review.score = null; });
on("drawn", markAll);
on("findings", markAll);
on("closed", () => {
  review.media?.pause();
  Object.assign(review, { take: null, answer: null, media: null, at: 0, score: null });
  state.takes = [];
});

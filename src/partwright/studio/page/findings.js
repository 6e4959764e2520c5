// The findings in a take, one after the other: their list, their places, and what is decided about each.

import { ask, at, client } from "./api.js";
import { clock, h, word } from "./dom.js";
import { sentence, take as takeAnswer } from "./edits.js";
import { markAll, unmark } from "./finding_marks.js";
import { hear, hearEach, setMedia } from "./finding_sound.js";
import { jobDone, jobOf } from "./jobs.js";
import { say, trouble } from "./notices.js";
import { choose } from "./notes.js";
import { current, KEYS, lookAtTakes, review, SIGNS, sumWords } from "./review.js";
import { shown } from "./score.js";
import { state, tell } from "./state.js";

export async function openTake(name) {
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

export function findingsContent() {
  const job = jobOf("check");
  if (!review.answer) return [h("p", { class: "grey", role: "status" }, job?.words || review.busy), h("p", {}, word("Back to the takes", closeTake, { class: "word quiet", "data-key": "back" }))];
  const { findings, sentences } = review.answer;
  return [
    h("p", { class: "words" }, h("span", {}, review.take), word("Back to the takes", closeTake, { class: "word quiet", "data-key": "back" })),
    (sentences ?? []).map((words) => h("p", {}, sentence(words))),
    review.answer.stale ? h("p", { class: "small" }, "The plan has changed since. ", word("Compare it again", again, { class: "word", "data-key": "again" })) : null,
    h("p", { class: "small" }, sumWords()),
    hearEach(),
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

export function step(by) {
  turnTo(review.at + by);
}

/** Decides about the finding in question and goes on to the next; the server is told in the order of the keys. */
export function decide(value) {
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

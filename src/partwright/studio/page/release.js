// Release: whose tune it is and who gave leave, editions that went out and stay as they are, and what was wrong in them.

import { ask, at } from "./api.js";
import { count, h, word } from "./dom.js";
import { edit, sentence } from "./edits.js";
import { jobDone, jobOf } from "./jobs.js";
import { say, trouble } from "./notices.js";
import { seeBar } from "./place_hand.js";
import { reportsContent } from "./reports.js";
import { on, state, tell } from "./state.js";

const out = { answer: null, version: null, result: null };

export async function lookAtRelease() {
  const { version } = state.lesson;
  try {
    out.answer = await ask(at(state.name, "publish"));
    out.version = version;
    tell("files");
  } catch (error) {
    if (error.code !== "changed") trouble(error);
  }
}

export function releaseContent() {
  if (!out.answer) return null;
  const { answer } = out;
  const job = jobOf("release");
  return [
    h("section", { "aria-labelledby": "rights-title" },
      h("p", { class: "caps", id: "rights-title" }, "Whose tune it is"),
      sheet(answer),
      answer.credit.length ? h("p", { class: "small" }, "Printed on the page: ", h("span", { class: "italic" }, answer.credit.join(" "))) : null,
      h("p", { class: "small grey" }, answer.caution)),
    h("section", { "aria-labelledby": "release-title" },
      h("p", { class: "caps", id: "release-title" }, "Release"),
      answer.gaps.map((gap) => h("p", { class: "small" },
        h("span", { class: `verdict ${gap.weight === "refuse" ? "wrong" : "check"}` }, gap.weight === "refuse" ? "✗ missing: " : "? please check: "), sentence(gap.what))),
      job ? [h("p", { role: "status" }, sentence(job.words || "Freezing the edition")), h("progress", { max: String(job.total || 1), value: String(job.done || 0), "aria-label": "How much is done" })]
        : h("p", {}, word(`Freeze edition ${(answer.editions[0]?.number ?? 0) + 1}`, release, { "data-key": "release", disabled: !answer.may_be_released }),
          h("span", { class: "small grey" }, " What is out of date is made first; then it stays as it is.")),
      out.result ? h("p", {}, h("span", { class: "verdict right" }, "✓ "), `Edition ${out.result.number} is frozen. `, (out.result.changes ?? []).map(sentence).join(" ")) : null,
      answer.edition_faults.map((words) => h("p", { class: "small" }, h("span", { class: "verdict wrong" }, "✗ "), sentence(words)))),
    editions(answer),
    reportsContent(answer, (next) => { if (next) out.answer = next; else return lookAtRelease(); tell("files"); return null; }),
    errata(answer),
  ];
}

function sheet(answer) {
  const { rights } = answer;
  return [
    h("div", { class: "field" }, h("label", { for: "rights-status" }, "The tune is"),
      h("span", { class: "chooser" }, h("select", { id: "rights-status", "data-key": "rights-status", onchange: (event) => save({ status: event.target.value || null }) },
        h("option", { value: "", selected: !rights.status }, "not said yet"),
        answer.statuses.map((x) => h("option", { value: x.value, selected: x.value === rights.status }, x.words))))),
    text("reason", "Why, or whose work", rights.reason),
    rights.status === "licensed" ? [
      list("owners", "Who gave leave", rights.owners), text("licence", "Under which licence", rights.licence),
      date("granted", "Given on", rights.granted), date("expires", "Ends on", rights.expires),
      text("scope", "For what", rights.scope),
    ] : null,
    list("countries", "In which countries (two letters each)", rights.countries),
    list("authors", "Who wrote it", rights.authors),
  ];
}

function text(key, label, value) {
  const id = `rights-${key}`;
  return h("div", { class: "field" }, h("label", { for: id }, label),
    h("input", { type: "text", id, "data-key": id, value: value ?? "", onchange: (event) => save({ [key]: event.target.value.trim() || null }) }));
}

function list(key, label, values) {
  const id = `rights-${key}`;
  return h("div", { class: "field" }, h("label", { for: id }, label),
    h("input", { type: "text", id, "data-key": id, value: (values ?? []).join(", "),
      onchange: (event) => save({ [key]: event.target.value.split(",").map((x) => x.trim()).filter(Boolean) }) }));
}

function date(key, label, value) {
  const id = `rights-${key}`;
  return h("div", { class: "field" }, h("label", { for: id }, label),
    h("input", { type: "date", id, "data-key": id, value: value ?? "", onchange: (event) => save({ [key]: event.target.value || null }) }));
}

async function save(values) {
  if (await edit([{ kind: "rights", values }])) await lookAtRelease();
}

async function release() {
  out.result = null;
  try {
    const { job } = await ask(at(state.name, "jobs"), { method: "POST", body: { kind: "release", anyway: false } });
    const done = await jobDone(job);
    out.result = done.result;
    say(`Edition ${done.result.number} is frozen.`);
  } catch (error) {
    trouble(error);
  } finally {
    await lookAtRelease();
  }
}

function editions(answer) {
  if (!answer.editions.length) return null;
  return h("section", { "aria-labelledby": "editions-title" }, h("p", { class: "caps", id: "editions-title" }, "Editions"),
    answer.editions.map((edition) => h("details", { "data-key": `edition-${edition.number}` },
      h("summary", { "data-key": `edition-summary-${edition.number}` }, `Edition ${edition.number}, ${edition.date}: ${count(edition.files.length, "file")}`),
      edition.changes.map((words) => h("p", { class: "small" }, sentence(words))),
      h("ul", { class: "files" }, edition.files.map((file) => h("li", {}, h("a", { href: file.url, target: "_blank", rel: "noopener" }, file.name)))))));
}

const STATES = { draft: "not decided", confirmed: "confirmed", refused: "refused" };

function errata(answer) {
  if (!answer.errata.length) return null;
  return h("section", { "aria-labelledby": "errata-title" }, h("p", { class: "caps", id: "errata-title" }, "Errata"),
    h("ul", { class: "rows plain" }, answer.errata.map((x) => h("li", {},
      x.bar ? word(`bar ${x.bar}`, () => seeBar(x.bar), { class: "word quiet", "data-key": `erratum-${x.id}` }) : null,
      h("span", { class: "grow" }, sentence(x.words), h("span", { class: "because" }, [STATES[x.state] ?? x.state, x.why, x.fixed_in ? `mended in edition ${x.fixed_in}` : ""].filter(Boolean).join("; "))),
      x.open ? [x.state === "confirmed" ? null : word("Confirm", () => decide(x, "confirmed"), { "data-key": `confirm-${x.id}`, "aria-label": `Confirm: ${x.words}` }),
        x.state === "refused" ? null : word("Refuse", () => decide(x, "refused"), { class: "word quiet", "data-key": `refuse-${x.id}`, "aria-label": `Refuse: ${x.words}` })] : null))));
}

async function decide(erratum, next) {
  try {
    out.answer = await ask(at(state.name, "errata"), { method: "PUT", body: { id: erratum.id, state: next, was: erratum.state } });
    say(`Erratum ${STATES[next]}.`);
    tell("files");
  } catch (error) {
    trouble(error);
  }
}

on("closed", () => Object.assign(out, { answer: null, version: null, result: null }));
on("edited", () => { if (document.body.dataset.place === "publish") lookAtRelease(); });

// What viewers wrote under the video, brought back to bars and weighed against score and plan.

import { ask, at } from "./api.js";
import { clock, count, h, word } from "./dom.js";
import { sentence } from "./edits.js";
import { say, trouble } from "./notices.js";
import { choose } from "./notes.js";
import { seeBar } from "./place_hand.js";
import { on, state, tell } from "./state.js";

const SIGNS = { right: ["right", "✓ so it is"], check: ["check", "? please check"], wrong: ["wrong", "✗ not so"] };
const reports = { answer: null, busy: "", take: null };

// `answer` is what the publish place knows; `changed` takes a newer one, or asks for it.
export function reportsContent(answer, changed) {
  const transcripts = state.takes.filter((x) => x.kind === "transcript");
  reports.take ??= transcripts[0]?.name ?? null;
  return h("section", { "aria-labelledby": "reports-title" },
    h("p", { class: "caps", id: "reports-title" }, "What viewers wrote"),
    transcripts.length ? h("div", { class: "field" }, h("label", { for: "reports-take" }, "Under the video with the words"),
      h("span", { class: "chooser" }, h("select", { id: "reports-take", "data-key": "reports-take", onchange: (event) => { reports.take = event.target.value; } },
        h("option", { value: "" }, "of no transcript here"),
        transcripts.map((x) => h("option", { value: x.name, selected: x.name === reports.take }, x.name))))) : null,
    h("div", { class: "field" }, h("label", { for: "reports-file" }, "Their comments as a file (.csv, .json, .txt)"),
      h("input", { type: "file", id: "reports-file", "data-key": "reports-file", onchange: (event) => bring(event.target.files[0], changed) })),
    reports.busy ? h("p", { class: "small", role: "status" }, reports.busy) : null,
    reports.answer ? found(reports.answer) : h("p", { class: "small grey" }, "Each report is brought back to its bar; where a viewer is right, an erratum is drafted. The comments themselves are not kept."),
    answer.reports_fault ? h("p", { class: "small" }, h("span", { class: "verdict wrong" }, "✗ "), answer.reports_fault.words) : null,
    kept(answer.reports, changed));
}

// What became of every report: those that wait, then those a released edition or the maker has answered.
function kept(rows, changed) {
  const [waiting, answered] = [rows.filter((x) => x.state === "open"), rows.filter((x) => x.state !== "open")];
  return [
    waiting.length ? [h("p", { class: "small" }, `${count(waiting.length, "report")} to answer:`), list(waiting, changed)] : null,
    answered.length ? h("details", { "data-key": "answered" }, h("summary", { "data-key": "answered-summary" }, `${count(answered.length, "report")} answered`), list(answered, changed)) : null,
  ];
}

function list(rows, changed) {
  return h("ul", { class: "rows plain" }, rows.map((x) => h("li", {},
    x.bar ? word(`bar ${x.bar}`, () => seeBar(x.bar), { class: "word quiet", "data-key": `kept-${x.id}` }) : null,
    h("span", { class: "grow" }, x.verdict ? h("span", { class: `verdict ${SIGNS[x.verdict][0]}` }, `${SIGNS[x.verdict][1]}: `) : null,
      x.kind === "question" ? `“${x.words}”` : sentence(x.words),
      h("span", { class: "because" }, [x.count > 1 ? count(x.count, "viewer") : "", x.erratum ? `erratum ${x.erratum}` : "", x.state === "open" ? "" : x.state_words].filter(Boolean).join("; "))),
    x.state === "open"
      ? word("Answered", () => answer(x, "answered", changed), { "data-key": `answer-${x.id}`, "aria-label": `Answered: ${x.words}` })
      : word("Open again", () => answer(x, "open", changed), { class: "word quiet", "data-key": `answer-${x.id}`, "aria-label": `Open again: ${x.words}` }))));
}

async function answer(report, next, changed) {
  try {
    changed(await ask(at(state.name, "reports"), { method: "PUT", body: { id: report.id, state: next, was: report.state } }));
    say(next === "answered" ? "Answered." : "Open again.");
  } catch (error) {
    trouble(error);
    await changed();
  }
}

function found(answer) {
  const { findings, summary, drafted } = answer;
  return [
    h("p", {}, `${count(summary.comments, "comment")}: ${findings.length ? count(findings.length, "report") : "no report"}${drafted.length ? `, ${count(drafted.length, "erratum", "errata")} drafted below` : ""}.`),
    h("ul", { class: "rows plain" }, findings.map((f, i) => {
      const [kind, words] = SIGNS[f.verdict];
      return h("li", {}, h("span", { class: `verdict ${kind}` }, words),
        h("span", { class: "grow" }, f.bar ? `Bar ${f.bar}, beat ${f.beat}: ` : "", sentence(f.what),
          h("span", { class: "because" }, `“${f.said}”`, f.time_s === null ? "" : ` at ${clock(f.time_s)}`), h("span", { class: "because" }, sentence(f.why)),
          f.state === "open" ? null : h("span", { class: "because" }, sentence(f.state_words))),
        f.n === null || f.n === undefined ? null : word("See", () => choose(f.n), { class: "word quiet", "data-key": `report-${i}`, "aria-label": `See bar ${f.bar}` }));
    })),
    (answer.remarks ?? []).map((words) => h("p", { class: "small grey" }, sentence(words))),
  ];
}

async function bring(file, changed) {
  if (!file) return;
  reports.busy = `Reading ${file.name} …`;
  tell("files");
  try {
    reports.answer = await ask(at(state.name, "reports", { filename: file.name, take: reports.take || null }), { method: "POST", file });
    say(`${count(reports.answer.findings.length, "report")} found.`);
    await changed();
  } catch (error) {
    trouble(error);
  } finally {
    reports.busy = "";
    tell("files");
  }
}

on("closed", () => Object.assign(reports, { answer: null, busy: "", take: null }));

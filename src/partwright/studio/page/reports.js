// What viewers wrote under the video, brought back to bars and weighed against score and plan.

import { ask, at } from "./api.js";
import { clock, count, h, word } from "./dom.js";
import { sentence } from "./edits.js";
import { say, trouble } from "./notices.js";
import { choose } from "./notes.js";
import { on, state, tell } from "./state.js";

const SIGNS = { right: ["right", "✓ so it is"], check: ["check", "? please check"], wrong: ["wrong", "✗ not so"] };
const reports = { answer: null, busy: "", take: null };

export function reportsContent(drafted) {
  const transcripts = state.takes.filter((x) => x.kind === "transcript");
  reports.take ??= transcripts[0]?.name ?? null;
  return h("section", { "aria-labelledby": "reports-title" },
    h("p", { class: "caps", id: "reports-title" }, "What viewers wrote"),
    transcripts.length ? h("div", { class: "field" }, h("label", { for: "reports-take" }, "Under the video with the words"),
      h("span", { class: "chooser" }, h("select", { id: "reports-take", "data-key": "reports-take", onchange: (event) => { reports.take = event.target.value; } },
        h("option", { value: "" }, "of no transcript here"),
        transcripts.map((x) => h("option", { value: x.name, selected: x.name === reports.take }, x.name))))) : null,
    h("div", { class: "field" }, h("label", { for: "reports-file" }, "Their comments as a file (.csv, .json, .txt)"),
      h("input", { type: "file", id: "reports-file", "data-key": "reports-file", onchange: (event) => bring(event.target.files[0], drafted) })),
    reports.busy ? h("p", { class: "small", role: "status" }, reports.busy) : null,
    reports.answer ? found(reports.answer) : h("p", { class: "small grey" }, "Each report is brought back to its bar; where a viewer is right, an erratum is drafted. The comments themselves are not kept."));
}

function found(answer) {
  const { findings, summary, questions, drafted } = answer;
  return [
    h("p", {}, `${count(summary.comments, "comment")}: ${findings.length ? count(findings.length, "report") : "no report"}${drafted.length ? `, ${count(drafted.length, "erratum", "errata")} drafted below` : ""}.`),
    h("ul", { class: "rows plain" }, findings.map((f, i) => {
      const [kind, words] = SIGNS[f.verdict];
      return h("li", {}, h("span", { class: `verdict ${kind}` }, words),
        h("span", { class: "grow" }, f.bar ? `Bar ${f.bar}, beat ${f.beat}: ` : "", sentence(f.what),
          h("span", { class: "because" }, `“${f.said}”`, f.time_s === null ? "" : ` at ${clock(f.time_s)}`), h("span", { class: "because" }, sentence(f.why))),
        f.n === null || f.n === undefined ? null : word("See", () => choose(f.n), { class: "word quiet", "data-key": `report-${i}`, "aria-label": `See bar ${f.bar}` }));
    })),
    questions?.length ? h("p", { class: "small" }, "Questions to answer: ", questions.map((q) => `“${q.words}”`).join(" ")) : null,
    (answer.remarks ?? []).map((words) => h("p", { class: "small grey" }, sentence(words))),
  ];
}

async function bring(file, drafted) {
  if (!file) return;
  reports.busy = `Reading ${file.name} …`;
  tell("files");
  try {
    reports.answer = await ask(at(state.name, "reports", { filename: file.name, take: reports.take || null }), { method: "POST", file });
    say(`${count(reports.answer.findings.length, "report")} found.`);
    await drafted();
  } catch (error) {
    trouble(error);
  } finally {
    reports.busy = "";
    tell("files");
  }
}

on("closed", () => Object.assign(reports, { answer: null, busy: "", take: null }));

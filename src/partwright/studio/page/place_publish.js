// Publish: make what is wanted, see how far it is, stop it, and take what was made.

import { at, ask } from "./api.js";
import { count, h, word } from "./dom.js";
import { sentence } from "./edits.js";
import { cancelJob, jobDone, jobOf } from "./jobs.js";
import { say, trouble } from "./notices.js";
import { lookAtRelease, releaseContent } from "./release.js";
import { on, state, tell } from "./state.js";

const made = { products: null, files: null, chosen: null, result: null };

export const publish = {
  title: "Publish",
  enter() {
    look();
    lookAtRelease();
  },
  content() {
    const job = jobOf("build");
    return [
      job ? progress(job) : start(),
      !job && made.result ? outcome(made.result) : null,
      outputs(),
      releaseContent(),
      (state.studio?.cautions ?? []).map((words) => h("p", { class: "small grey" }, words)),
    ];
  },
};

async function look() {
  try {
    const [products, files] = await Promise.all([ask(at(state.name, "products")), ask(at(state.name, "files"))]);
    made.products = products.products;
    made.files = files.files;
    state.files = files.files;
    tell("files");
  } catch (error) {
    trouble(error);
  }
}

function start() {
  if (!made.products) return h("p", { class: "grey small" }, "Looking at what is there …");
  const chosen = made.chosen ?? new Set();
  return h("section", { "aria-label": "Make" },
    h("p", {}, "Everything that is out of date is made; the rest stays as it is."),
    h("p", { class: "words" }, word("Make everything", () => build(null), { "data-key": "build" }),
      made.chosen ? word(made.chosen.size === 1 ? "Make this one" : `Make these ${made.chosen.size}`, () => build([...made.chosen]), { "data-key": "build-some", disabled: !made.chosen.size }) : null),
    h("details", { "data-key": "some" }, h("summary", { "data-key": "some-summary" }, "Only some of it"),
      h("ul", { class: "rows plain" }, made.products.map((p) => h("li", {}, h("label", {},
        h("input", { type: "checkbox", checked: chosen.has(p.name), "data-key": `product-${p.name}`, onchange: (event) => {
          if (event.target.checked) chosen.add(p.name);
          else chosen.delete(p.name);
          made.chosen = chosen.size ? chosen : null;
          tell("files");
        } }), p.words, p.on_request ? h("span", { class: "grey" }, " (only when asked for)") : null))))));
}

function progress(job) {
  const share = job.total ? `${job.done} of ${job.total}` : "";
  return h("section", { "aria-label": "Being made", role: "group" },
    h("p", { role: "status" }, sentence(job.words || "Beginning")),
    h("progress", { max: String(job.total || 1), value: String(job.done || 0), "aria-label": "How much is made" }),
    h("p", { class: "words small" }, h("span", {}, share), job.seconds ? h("span", { class: "grey" }, `${Math.round(job.seconds)} s so far`) : null,
      word("Stop", () => cancelJob(job.id).catch(trouble), { "data-key": "build" }),
      h("span", { class: "grey" }, "What is finished stays.")));
}

function outcome(job) {
  if (job.state === "cancelled") return h("p", {}, "Stopped. What was finished stays.");
  if (job.state === "failed") return h("p", {}, h("span", { class: "verdict wrong" }, "✗ not made: "), job.error?.words ?? "");
  const steps = job.result?.steps ?? [];
  const anew = steps.filter((s) => s.made);
  const remarks = steps.flatMap((s) => s.remarks ?? []);
  return h("section", { "aria-label": "What was made" },
    h("p", {}, h("span", { class: "verdict right" }, "✓ "), anew.length ? `${count(anew.length, "thing")} made anew in ${Math.round(job.seconds)} s; the rest was up to date.` : "Everything was up to date."),
    remarks.map((r) => h("p", { class: "small" }, sentence(r))));
}

const GROUPS = [
  ["On paper", /\.pdf$/i], ["To hear", /\.(flac|mp3|m4a|opus|wav|mid)$/i], ["To see", /\.(mp4|mov|webm|png|svg)$/i],
  ["To say and to read", /\.(md|txt|vtt|srt|html)$/i], ["For other programs", /.*/],
];

function outputs() {
  if (!made.files?.length) return null;
  const left = new Set(made.files);
  return h("section", { "aria-labelledby": "outputs-title" },
    h("p", { class: "caps", id: "outputs-title" }, "What is made"),
    GROUPS.map(([title, kind], i) => {
      const files = [...left].filter((f) => kind.test(f.path));
      for (const file of files) left.delete(file);
      if (!files.length) return null;
      const byWords = new Map();
      for (const file of files) byWords.set(file.words ?? file.path, [...(byWords.get(file.words ?? file.path) ?? []), file]);
      const rows = h("ul", { class: "rows plain" }, [...byWords].map(([words, group]) => h("li", {},
        h("span", { class: "grow" }, words.replace(/^./, (x) => x.toUpperCase()),
          h("ul", { class: "files" }, group.map((f) => h("li", {}, h("a", { href: f.url, target: "_blank", rel: "noopener" }, nameOf(f)), " ", h("span", { class: "small grey" }, size(f.bytes)))))))));
      return h("details", { open: i === 0, "data-key": `group-${i}` }, h("summary", {}, `${title}: ${count(files.length, "file")}`), rows);
    }));
}

function nameOf(file) {
  return file.path.replace(/^build\//, "").replace(/^(versions|drills|video|sound|takes)\//, "");
}

function size(bytes) {
  return bytes > 950000 ? `${(bytes / 1e6).toFixed(1)} MB` : `${Math.max(1, Math.round(bytes / 1000))} kB`;
}

async function build(only) {
  made.result = null;
  try {
    const { job } = await ask(at(state.name, "jobs"), { method: "POST", body: only ? { kind: "build", only } : { kind: "build" } });
    const done = await jobDone(job).catch((error) => {
      const now = state.jobs.get(job.id);
      if (now?.state === "cancelled" || now?.state === "failed") return now;
      throw error;
    });
    made.result = done;
    say(done.state === "done" ? "Everything is made." : done.state === "cancelled" ? "Stopped." : "Not everything could be made.");
    await look();
  } catch (error) {
    trouble(error);
  }
}

on("closed", () => Object.assign(made, { products: null, files: null, chosen: null, result: null }));

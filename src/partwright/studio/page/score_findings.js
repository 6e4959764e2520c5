// What in the score itself would trip a player.

import { ask, at } from "./api.js";
import { h, word } from "./dom.js";
import { sentence } from "./edits.js";
import { jobDone } from "./jobs.js";
import { say, trouble } from "./notices.js";
import { seeBar } from "./place_hand.js";
import { busy, review, SIGNS } from "./review.js";
import { on, state } from "./state.js";

/** What in the score itself would trip a player, once it has been looked for. */
export function scoreFindings() {
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

on("edited", () => { review.score = null; });

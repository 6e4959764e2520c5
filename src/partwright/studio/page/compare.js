// Two plans on the page: the same line twice, what differs in the accent colour, instead of the single score.

import { ask, at } from "./api.js";
import { drawing, fill, h } from "./dom.js";
import { say, trouble } from "./notices.js";
import { addGlyphs, shown } from "./score.js";
import { on, state, tell } from "./state.js";

let two = null;

/** The comparison on show, or null: { plan, name, answer }. */
export function comparison() {
  return two;
}

/** Compares the plan as it is with another: "free" or "kept:NAME". */
export async function compareWith(plan, name) {
  const mine = { plan, name, answer: null };
  two = mine;
  tell("compare");
  try {
    mine.answer = await ask(at(state.name, "compare", { a: "now", b: plan }));
    if (two !== mine) return;
    await drawBoth(mine);
    say(`${mine.answer.notes.length} notes differ from ${name}.`);
    tell("compare");
  } catch (error) {
    endComparison();
    trouble(error);
    tell("compare");
  }
}

export function endComparison() {
  two = null;
  const facing = document.getElementById("facing");
  fill(facing);
  facing.hidden = true;
  document.getElementById("score").hidden = false;
}

async function drawBoth(mine) {
  const area = document.getElementById("facing");
  const single = document.getElementById("score");
  const wide = single.clientWidth > 900;
  const width = wide ? 120 : Math.min(shown().width_mm, 180);
  const differing = new Set(mine.answer.notes.map((x) => x.n));
  const { leaves } = await ask(at(state.name, "score", { width_mm: width }));
  const pairs = [];
  for (const leaf of leaves) {
    if (!mine.answer.notes.some((x) => x.n >= leaf.first_n && x.n <= leaf.last_n)) continue;
    const [a, b] = await Promise.all([
      ask(at(state.name, "score", leaf.leaf, { width_mm: width })),
      ask(at(state.name, "score", leaf.leaf, { width_mm: width, plan: mine.plan })),
    ]);
    if (two !== mine) return;
    addGlyphs(a.glyphs);
    addGlyphs(b.glyphs);
    a.systems.forEach((system, i) => {
      const other = b.systems[i];
      if (!system.notes.some((x) => differing.has(x.n))) return;
      pairs.push(h("div", { class: "pair" },
        plain(system, differing, "As it is now", width), other ? plain(other, differing, mine.name, width) : null));
    });
  }
  fill(area, h("p", { class: "plan-name" }, pairs.length ? "The lines that differ, each as both plans have it." : "The two plans are the same."), pairs);
  area.classList.toggle("beside", wide);
  area.hidden = false;
  single.hidden = true;
}

/** A line only to look at. */
function plain(system, differing, name, width) {
  const svg = drawing(system.svg);
  for (const name_ of ["width", "height", "id"]) svg.removeAttribute(name_);
  for (const hit of svg.querySelectorAll(".note-hit, .bar-hit")) hit.remove();
  for (const element of svg.querySelectorAll("[id]")) element.removeAttribute("id");
  for (const element of svg.querySelectorAll("[data-n]")) {
    if (differing.has(Number(element.dataset.n))) element.classList.add("differs");
  }
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", `Bars ${system.first_bar} to ${system.last_bar}, ${name}`);
  const line = h("div", { class: "line" }, h("p", { class: "plan-name" }, name), svg);
  line.style.width = `${Math.min(100, (system.width_mm / width) * 100)}%`;
  return line;
}

on("closed", endComparison);
on("edited", () => { if (two) compareWith(two.plan, two.name); });

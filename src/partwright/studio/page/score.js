// The score: leaves of about 32 bars, fetched as they come into view and let go far out of it.
// A line of music is one drawing; only lines whose picture changed are ever drawn anew.

import { at, ask } from "./api.js";
import { drawing, fill, h, still } from "./dom.js";
import { on, state, tell } from "./state.js";

const WIDTHS = [90, 120, 150, 180, 210, 240, 300];
const PIXELS_PER_MM = 96 / 25.4;
const KEPT_AWAY = 6; // so many leaves may stay drawn out of view

const score = { width: 180, plan: "", leaves: [], lines: new Map(), watcher: null, generation: 0 };
const place = () => document.getElementById("score");

/** The width to break lines for: what fits the column at a size that is read from a chair. */
function widthFor(pixels) {
  const size = pixels < 520 ? 1.0 : pixels < 950 ? 1.06 : 1.7;
  const wanted = pixels / PIXELS_PER_MM / size;
  return WIDTHS.reduce((best, w) => (Math.abs(w - wanted) < Math.abs(best - wanted) ? w : best));
}

/** Draws the open lesson's score from its beginning, keeping every picture that is still right. */
export async function loadScore() {
  const mine = ++score.generation;
  const width = widthFor(place().clientWidth);
  const answer = await ask(at(state.name, "score", { width_mm: width }));
  if (mine !== score.generation) return;
  const known = score.width === answer.width_mm ? new Map(score.lines) : new Map();
  score.width = answer.width_mm;
  score.watcher?.disconnect();
  score.watcher = new IntersectionObserver(seen, { rootMargin: "900px 0px" });
  score.lines.clear();
  state.notes.clear();
  const before = score.leaves;
  score.leaves = answer.leaves.map((leaf, i) => ({ ...leaf, index: i, element: null, state: "away", asked: null }));
  for (const leaf of score.leaves) {
    const old = before[leaf.index]?.element;
    leaf.element = old?.isConnected && known.size ? old : h("div", { class: "leaf" });
    leaf.element.dataset.leaf = leaf.leaf;
    leaf.element.style.minHeight = `${(leaf.height_mm / score.width) * 100}cqw`;
    leaf.known = known;
  }
  const list = place();
  if (before.length !== score.leaves.length || before.some((b, i) => b.element !== score.leaves[i].element)) {
    fill(list, score.leaves.map((leaf) => leaf.element));
  }
  const first = score.leaves.filter((leaf) => near(leaf.element));
  await Promise.all((first.length ? first : score.leaves.slice(0, 1)).map(drawLeaf));
  for (const leaf of score.leaves) score.watcher.observe(leaf.element);
  tell("score");
}

function near(element) {
  const box = element.getBoundingClientRect();
  return box.bottom > -300 && box.top < innerHeight + 300;
}

function seen(entries) {
  for (const entry of entries) {
    const leaf = score.leaves[score.leaves.findIndex((l) => l.element === entry.target)];
    if (!leaf) continue;
    leaf.seen = entry.isIntersecting;
    if (entry.isIntersecting) drawLeaf(leaf).catch((error) => tell("trouble", error));
    else letGo(leaf);
  }
}

function letGo(leaf) {
  const drawn = score.leaves.filter((l) => l.state === "drawn");
  if (leaf.state !== "drawn" || drawn.length <= KEPT_AWAY || leaf.element.contains(document.activeElement)) return;
  leaf.element.style.minHeight = `${leaf.element.getBoundingClientRect().height}px`;
  for (const system of leaf.systems) score.lines.delete(system);
  for (const [n, note] of [...state.notes]) if (note.leaf === leaf.leaf) state.notes.delete(n);
  fill(leaf.element);
  leaf.state = "away";
  leaf.asked = null;
}

/** Sees to it that a leaf is on the page. */
function drawLeaf(leaf) {
  if (leaf.state === "drawn") return Promise.resolve();
  leaf.asked ??= fetchLeaf(leaf);
  return leaf.asked;
}

async function fetchLeaf(leaf) {
  const generation = score.generation;
  const have = [...(leaf.known?.values() ?? [])].filter((l) => l.system.leaf === leaf.leaf).map((l) => l.system.key);
  let answer;
  try {
    answer = await ask(at(state.name, "score", leaf.leaf, { width_mm: score.width, have: have.join(",") }));
  } catch (error) {
    leaf.asked = null;
    throw error;
  }
  if (generation !== score.generation) return;
  addGlyphs(answer.glyphs);
  const rows = answer.systems.map((system) => {
    const kept = leaf.known?.get(system.id);
    const same = system.svg === null && kept?.system.key === system.key;
    return takeLine(system, same ? kept.element : null);
  });
  leaf.systems = answer.systems.map((system) => system.id);
  fill(leaf.element, rows);
  leaf.element.style.minHeight = "";
  leaf.known = null;
  leaf.state = "drawn";
  tell("drawn", leaf);
  for (const other of score.leaves) if (other.seen === false) letGo(other); // passed by while it was fetched
}

function addGlyphs(glyphs) {
  const shelf = document.getElementById("glyphs");
  for (const [code, markup] of Object.entries(glyphs ?? {})) {
    if (document.getElementById(`sign-${code}`)) continue;
    const parsed = drawing(`<svg xmlns="http://www.w3.org/2000/svg">${markup}</svg>`);
    if (parsed) shelf.append(...parsed.childNodes);
  }
}
export { addGlyphs };

/** Takes over what is known of a line; gives its element, drawn anew unless one is handed in. */
function takeLine(system, kept) {
  const element = kept ?? h("div", { class: "line" });
  if (!kept) {
    const svg = drawing(system.svg);
    svg.removeAttribute("width");
    svg.removeAttribute("height");
    svg.setAttribute("aria-label", system.first_bar === system.last_bar
      ? `Bar ${system.first_bar}` : `Bars ${system.first_bar} to ${system.last_bar}`);
    fill(element, svg, h("div", { class: "over" }));
  }
  element.dataset.system = system.id;
  element.style.width = `${Math.min(100, (system.width_mm / score.width) * 100)}%`; // the last line may be a short one
  element.querySelector(".over").style.aspectRatio = `${system.width_mm} / ${system.height_mm}`;
  score.lines.set(system.id, { system, element });
  const hits = new Map([...element.querySelectorAll(".note-hit")].map((hit) => [Number(hit.dataset.n), hit]));
  for (const given of system.notes) {
    const hit = hits.get(given.n) ?? null;
    state.notes.set(given.n, { ...given, leaf: system.leaf, system: system.id, hit });
    if (!hit) continue;
    hit.setAttribute("role", "option");
    hit.setAttribute("aria-label", given.label.replace(/^Bar 0,/, "Pick-up,"));
    hit.setAttribute("aria-selected", String(given.n === state.n));
    hit.setAttribute("tabindex", "-1");
  }
  return element;
}

/** Puts changed lines in their places: the systems of an edit's answer. */
export function takeSystems(systems, glyphs, stale = []) {
  addGlyphs(glyphs);
  for (const system of systems) {
    const old = score.lines.get(system.id);
    if (!old || system.svg === null) continue;
    const held = document.activeElement?.closest?.(".note-hit");
    const focused = held && old.element.contains(held) ? Number(held.dataset.n) : null;
    const element = takeLine(system, null);
    old.element.replaceWith(element);
    if (focused !== null) state.notes.get(focused)?.hit?.focus({ preventScroll: true });
  }
  for (const number of stale) {
    const leaf = score.leaves.find((l) => l.leaf === number);
    if (leaf?.state !== "drawn") continue;
    leaf.known = new Map([...score.lines].filter(([, l]) => l.system.leaf === number));
    leaf.state = "away";
    leaf.asked = null;
    if (near(leaf.element)) drawLeaf(leaf).catch((error) => tell("trouble", error));
  }
  tell("drawn", null);
}

/** What an edit should send pictures for. */
export function shown() {
  const drawn = score.leaves.filter((leaf) => leaf.state === "drawn");
  return { width_mm: score.width, leaves: drawn.map((leaf) => leaf.leaf) };
}

/** The note as drawn; its leaf is fetched first where it is not on the page. */
export async function noteOnPage(n) {
  if (!state.notes.has(n)) {
    const leaf = score.leaves.find((l) => n >= l.first_n && n <= l.last_n);
    if (!leaf) return null;
    await drawLeaf(leaf);
  }
  return state.notes.get(n) ?? null;
}

/** Every line on the page, in order: [{ system, element }]. */
export function lines() {
  return [...score.lines.values()].sort((a, b) => a.system.leaf - b.system.leaf || a.system.index - b.system.index);
}

export function lineOf(note) {
  return note ? score.lines.get(note.system) ?? null : null;
}

/** The line a bar is on, where it is drawn. */
export function lineOfBar(barIndex) {
  return lines().find((l) => barIndex >= l.system.first_bar_index && barIndex <= l.system.last_bar_index) ?? null;
}

/** The first note of a bar, drawn if need be; null where the bar has none. */
export async function firstNoteOfBar(barIndex) {
  const leaf = score.leaves.find((l) => barIndex >= l.first_bar_index && barIndex <= l.last_bar_index);
  if (!leaf) return null;
  await drawLeaf(leaf);
  return [...state.notes.values()].filter((x) => x.bar_index === barIndex).sort((a, b) => a.n - b.n)[0] ?? null;
}

/** Brings a line into view, quietly. */
export function bringIntoView(element, block = "nearest") {
  const box = element.getBoundingClientRect();
  const frame = scrollFrame();
  const room = frame === document.scrollingElement
    ? { top: 0, bottom: innerHeight - 64 } : frame.getBoundingClientRect();
  if (box.top >= room.top + 8 && box.bottom <= room.bottom - 8) return;
  const middle = block === "nearest" ? (room.bottom - room.top) * 0.35 : 24;
  frame.scrollBy({ top: box.top - room.top - middle, behavior: still() ? "auto" : "smooth" });
}

/** What scrolls: the page itself, or on a small screen the score's own frame. */
export function scrollFrame() {
  const frame = document.getElementById("sheet");
  return getComputedStyle(frame).overflowY === "visible" ? document.scrollingElement : frame;
}

/** Every drawn thing that belongs to a note. */
export function marksOf(n) {
  const note = state.notes.get(n);
  const line = lineOf(note);
  if (!line) return [];
  return [...line.element.querySelectorAll(`svg [data-n="${n}"]`)];
}

/** Sets an asterisk to what is pinned, in lines that do not have it yet (`all`: in every line). Reads, then writes. */
export function star(all = false) {
  const wanted = [];
  for (const line of score.lines.values()) {
    if (line.starred && !all) continue;
    const frame = line.element.getBoundingClientRect();
    if (!frame.width) continue;
    const boxes = [];
    for (const note of line.system.notes) {
      if (!note.pinned && !note.bow_pinned) continue;
      const finger = note.pinned ? line.element.querySelector(`.pw-finger[data-n="${note.n}"]`) : null;
      const box = (finger ?? line.element.querySelector(`.pw-bow[data-n="${note.n}"]`))?.getBoundingClientRect();
      if (box?.width) boxes.push([(box.right - frame.left) / frame.width, (box.top - frame.top) / frame.width, finger ? box.height / frame.width : 0.014]);
    }
    wanted.push([line, boxes]);
  }
  for (const [line, boxes] of wanted) {
    const over = line.element.querySelector(".over");
    for (const old of over.querySelectorAll(".decided")) old.remove();
    line.starred = true;
    for (const [left, top, height] of boxes) {
      const mark = h("span", { class: "decided", "aria-hidden": "true" }, "*");
      mark.style.left = `${left * 100}%`;
      mark.style.fontSize = `${height * line.system.width_mm / score.width * 95}cqw`;
      mark.style.top = `${top * (line.system.width_mm / line.system.height_mm) * 100}%`;
      over.append(mark);
    }
  }
}

let lighting = 0;
/** Lights these notes once, so that the eye finds what changed. */
export function glow(numbers) {
  for (const lit of document.querySelectorAll("#score .changed")) lit.classList.remove("changed");
  for (const n of numbers) for (const mark of marksOf(n)) mark.classList.add("changed");
  clearTimeout(lighting);
  lighting = setTimeout(() => {
    for (const lit of document.querySelectorAll("#score .changed")) lit.classList.remove("changed");
  }, 4000);
}

let fitted = 0;
/** Redraws for another width of the window; small changes only scale. */
export function watchWidth() {
  new ResizeObserver(() => {
    clearTimeout(fitted);
    fitted = setTimeout(() => {
      if (state.lesson && widthFor(place().clientWidth) !== score.width) {
        loadScore().catch((error) => tell("trouble", error));
      } else tell("drawn", null);
    }, 200);
  }).observe(place());
}

on("drawn", () => star());
if (document.fonts) document.fonts.ready.then(() => star(true));
on("closed", () => {
  score.generation += 1;
  score.watcher?.disconnect();
  score.leaves = [];
  score.lines.clear();
  state.notes.clear();
  fill(place());
});

// Listening: what is heard, how fast, and which passage; the line at the foot of the page, and the mark on the note.

import { ask, at } from "./api.js";
import { clock, fill, h, refill, word } from "./dom.js";
import { jobDone } from "./jobs.js";
import { say, trouble } from "./notices.js";
import { chooseRange } from "./notes.js";
import { Player } from "./player.js";
import { bringIntoView, lineOf, marksOf } from "./score.js";
import { chosen, on, phraseOf, state, tell } from "./state.js";

const STEMS = [["guide", "guide"], ["accompaniment", "chords"], ["click", "click"]];
const player = new Player();
const heard = { stems: new Set(["guide"]), percent: 100, loop: false, span: null, map: null, buffers: new Map(), busy: "", backing: false };
let sounding = null;
let request = 0;

export function listening() {
  return { percent: heard.percent, stems: [...heard.stems], busy: heard.busy, playing: player.playing, span: heard.span, map: heard.map };
}

// Sounds --------------------------------------------------------------------------------------------------------

/** One stem at the speed asked for, decoded: { buffer, answer }. Makes it first where it has to be made. */
async function stem(what, percent, mine) {
  const key = `${what} ${percent} ${state.lesson.version}`;
  if (heard.buffers.has(key)) return heard.buffers.get(key);
  let answer = await ask(at(state.name, "sound", { what, percent }));
  while (!answer.ready) {
    busy(`Making the ${what === "accompaniment" ? "chords" : what} at ${percent} % …`);
    await jobDone(answer.job);
    if (mine !== request) return null;
    answer = await ask(at(state.name, "sound", { what, percent }));
  }
  const file = await fetch(answer.url);
  if (!file.ok) throw new Error("The sound could not be read.");
  const buffer = await player.decode(await file.arrayBuffer());
  const found = { buffer, answer };
  for (const old of [...heard.buffers.keys()]) if (!old.endsWith(`${percent} ${state.lesson.version}`)) heard.buffers.delete(old);
  heard.buffers.set(key, found);
  return found;
}

/** Has the sound made beforehand, where one is likely to listen. */
export function prepare() {
  const what = heard.backing ? "backing" : [...heard.stems][0] ?? "guide";
  ask(at(state.name, "sound", { what, percent: heard.percent })).catch(() => {});
}

async function gather() {
  const mine = ++request;
  const wanted = heard.backing ? ["backing"] : [...heard.stems];
  if (!wanted.length) wanted.push("guide");
  busy("Fetching the sound …");
  try {
    const found = [];
    for (const what of wanted) {
      const one = await stem(what, heard.percent, mine);
      if (mine !== request || !one) return null;
      found.push(one);
    }
    heard.map = found[0].answer;
    return found.map((x) => x.buffer);
  } catch (error) {
    if (mine === request) trouble(error);
    return null;
  } finally {
    if (mine === request) busy("");
  }
}

function busy(words) {
  if (heard.busy === words) return;
  heard.busy = words;
  if (words) say(words);
  draw();
}

/** The note that is struck where this one is only held on to. */
function struck(n) {
  let note = state.notes.get(n);
  while (note?.starts_tie_from !== null && note?.starts_tie_from !== undefined && state.notes.has(note.starts_tie_from)) note = state.notes.get(note.starts_tie_from);
  return note?.n ?? n;
}

/** When a passage sounds for the first time: { from, to } in seconds. */
function span(range) {
  const { notes } = heard.map;
  if (!range || !notes?.length) return null;
  const from = struck(range.first);
  const to = struck(range.last);
  let best = null;
  notes.forEach((begin, i) => {
    if (begin.n !== from) return;
    const last = notes.slice(i).find((x) => x.n === to);
    if (last && (!best || last.end_s - begin.start_s < best.to - best.from)) best = { from: begin.start_s, to: last.end_s };
  });
  if (!best) return null;
  const next = notes.find((x) => x.start_s >= best.to - 0.05 && x.start_s < best.to + 0.6);
  return { from: best.from, to: next ? next.start_s : best.to }; // up to where the next note begins: the rest belongs to it
}

// Playing -------------------------------------------------------------------------------------------------------

/** Plays a passage; `last` null plays on to the end. */
export async function hearRange(first, last, { loop = heard.loop } = {}) {
  const buffers = await gather();
  if (!buffers) return;
  if (heard.backing) return void start(buffers, { from: 0 });
  const known = span({ first, last: last ?? first });
  if (!known) return void say("This passage does not sound.");
  heard.span = last === null ? null : { first, last };
  if (last !== null && loop) await start(buffers, { from: known.from, loop: known });
  else await start(buffers, { from: known.from, until: last === null ? null : known.to });
}

export function hearNote(n) {
  return hearRange(n, n, { loop: false });
}

async function start(buffers, options) {
  await player.play(buffers, { ...options, ended: stopped });
  follow();
  draw();
  tell("listening");
}

export function stop() {
  request += 1;
  heard.busy = "";
  player.from = player.stop();
  stopped();
}

function stopped() {
  mark(null);
  draw();
  tell("listening");
}

/** Space: hear the passage chosen, else on from the chosen note, else from the beginning; or stop. */
export function hearOrStop() {
  if (player.playing || heard.busy) return stop();
  const range = state.range;
  if (range) return hearRange(range.first, range.last);
  if (heard.loop) {
    const phrase = phraseOf(state.n ?? 0);
    if (phrase) return hearRange(phrase.first_n, phrase.last_n);
  }
  return hearRange(state.n ?? 0, null);
}

/** The pedal: the phrase after the one in question, or the one before. */
export async function turnPhrase(step) {
  const { phrases } = state.lesson;
  if (!phrases.length) return;
  const n = player.playing && sounding !== null ? sounding : chosen()?.first ?? 0;
  let i = phrases.findIndex((p) => n >= p.first_n && n <= p.last_n);
  if (i < 0) i = 0;
  const again = step < 0 && n > phrases[i].first_n + 1;
  const phrase = phrases[Math.max(0, Math.min(phrases.length - 1, i + (again ? 0 : step)))];
  const on_ = player.playing;
  await chooseRange(phrase.first_n, phrase.last_n, { view: true });
  if (on_) hearRange(phrase.first_n, phrase.last_n, { loop: heard.loop });
}

export function setPercent(percent) {
  const next = Math.max(40, Math.min(120, Math.round(percent / 5) * 5));
  if (next === heard.percent) return;
  const on_ = player.playing;
  const here = sounding;
  heard.percent = next;
  say(`${next} per cent.`);
  draw();
  if (on_) {
    player.stop();
    if (heard.span) hearRange(heard.span.first, heard.span.last);
    else hearRange(here ?? state.n ?? 0, null);
  }
}

export function faster(step) {
  setPercent(heard.percent + step);
}

export function turnLoop() {
  heard.loop = !heard.loop;
  say(heard.loop ? "Loop: the passage is played again and again." : "No loop.");
  draw();
  if (player.playing && heard.span) hearRange(heard.span.first, heard.span.last);
}

function turnStem(what, wanted) {
  if (what === "backing") heard.backing = wanted;
  else {
    heard.backing = false;
    if (wanted) heard.stems.add(what);
    else heard.stems.delete(what);
  }
  draw();
  if (player.playing) {
    const here = sounding ?? state.n ?? 0;
    player.stop();
    if (heard.span) hearRange(heard.span.first, heard.span.last);
    else hearRange(here, null);
  }
}

// The mark on the page -------------------------------------------------------------------------------------------

function follow() {
  if (!player.playing) return;
  const at_ = player.position();
  const now = noteAt(at_);
  if (now !== sounding) mark(now);
  const time = document.getElementById("foot-time");
  if (time) time.textContent = `${clock(at_)} of ${clock(heard.map?.seconds ?? player.end)}`;
  requestAnimationFrame(follow);
}

/** The note that sounds at a time of the file. */
function noteAt(seconds) {
  const notes = heard.map?.notes ?? [];
  let low = 0;
  let high = notes.length - 1;
  while (low <= high) {
    const middle = (low + high) >> 1;
    if (notes[middle].start_s <= seconds) low = middle + 1;
    else high = middle - 1;
  }
  const found = notes[high];
  return found && seconds < found.end_s ? found.n : null;
}

function mark(n) {
  for (const lit of document.querySelectorAll("#score .sounding")) lit.classList.remove("sounding");
  for (const tick of document.querySelectorAll("#score .tick")) tick.remove();
  sounding = n;
  if (n === null) return;
  const drawn = state.notes.get(n);
  const line = lineOf(drawn);
  if (!line) return;
  for (const one of marksOf(n)) one.classList.add("sounding");
  const tick = h("div", { class: "tick" });
  tick.style.left = `${(drawn.x_mm / line.system.width_mm) * 100}%`;
  tick.style.top = `${((line.system.staff_bottom_mm + 1.2) / line.system.height_mm) * 100}%`;
  line.element.querySelector(".over").append(tick);
  bringIntoView(line.element);
}

/** For tests and measurements: the note marked now, and where the sound is. */
export function soundingNow() {
  return { n: sounding, seconds: player.position(), playing: player.playing };
}

// The foot -------------------------------------------------------------------------------------------------------

function passageWords() {
  const range = heard.loop && !state.range ? phraseOf(state.n ?? 0) : null;
  const first = state.notes.get(state.range?.first ?? range?.first_n ?? state.n ?? 0);
  const last = state.notes.get(state.range?.last ?? range?.last_n);
  if (!first) return "";
  const bar = (x) => (x.bar === "0" ? "the pick-up" : `bar ${x.bar}`);
  if (!last) return `from ${bar(first)}`;
  return first.bar === last.bar ? bar(first) : `bars ${first.bar === "0" ? "0" : first.bar}–${last.bar}`;
}

export function draw() {
  const foot = document.getElementById("foot");
  if (!state.lesson || state.lesson.fault) return fill(foot);
  const on_ = player.playing || Boolean(heard.busy);
  return refill(foot,
    word(on_ ? "Stop" : "Hear", hearOrStop, { class: "word hear", "data-key": "hear", "aria-keyshortcuts": "Space" }),
    h("span", { class: "passage" }, heard.busy || passageWords()),
    h("label", {}, h("input", { type: "checkbox", checked: heard.loop, "data-key": "loop", onchange: turnLoop }), "loop"),
    h("label", { class: "speed" }, h("span", {}, "speed"),
      h("input", { type: "range", min: "40", max: "120", step: "5", value: String(heard.percent), "data-key": "speed",
        "aria-label": "speed", "aria-valuetext": `${heard.percent} per cent`, onchange: (event) => setPercent(Number(event.target.value)) }),
      h("output", {}, `${heard.percent} %`)),
    h("fieldset", { class: "stems" }, h("legend", { class: "unseen" }, "What is heard"),
      STEMS.map(([what, label]) => h("label", {},
        h("input", { type: "checkbox", checked: !heard.backing && heard.stems.has(what), "data-key": `stem-${what}`, onchange: (e) => turnStem(what, e.target.checked) }), label)),
      state.lesson.backing ? h("label", {}, h("input", { type: "checkbox", checked: heard.backing, "data-key": "stem-backing", onchange: (e) => turnStem("backing", e.target.checked) }), "your backing") : null),
    h("span", { class: "grow" }),
    h("span", { id: "foot-time", class: "time" }, heard.map ? `${clock(player.position())} of ${clock(heard.map.seconds)}` : clock(state.lesson.seconds ?? 0)));
}

export function watchListening() {
  for (const what of ["lesson", "chosen", "drawn"]) on(what, draw);
  on("closed", () => { stop(); heard.buffers.clear(); heard.map = null; fill(document.getElementById("foot")); });
  on("edited", () => { if (!player.playing) { heard.map = null; draw(); } });
}


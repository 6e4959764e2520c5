// The page: which lesson, which place in it, the keys that work everywhere, and news from other windows.

import { ask, at, client, listen } from "./api.js";
import { PLACES, route, watchContents } from "./contents.js";
import { fill, h } from "./dom.js";
import { redo, reloadLesson, undo } from "./edits.js";
import { hearFinding } from "./finding_sound.js";
import { takeJob } from "./jobs.js";
import { showKeys } from "./keys.js";
import { faster, hearOrStop, soundingNow, turnLoop, turnPhrase, watchListening } from "./listen.js";
import { enterMargin, goTo, placeKey, watchMargin } from "./margin.js";
import { clear, note, say, trouble } from "./notices.js";
import { watchNotes } from "./notes.js";
import { layPaper } from "./paper.js";
import { lookAtTakes } from "./review.js";
import { loadScore, watchWidth } from "./score.js";
import { showStart } from "./start.js";
import { on, state, tell } from "./state.js";

let events = null;
let away = false;

function show(start) {
  document.getElementById("start").hidden = !start;
  document.getElementById("book").hidden = start;
  document.querySelector(".skips").hidden = start;
}

// Where one is --------------------------------------------------------------------------------------------------

async function follow() {
  const [, name, place] = location.hash.split("/").map((piece) => decodeURIComponent(piece ?? ""));
  try {
    if (!name) {
      const studio = await ask("/api/studio");
      if (studio.opened && location.hash === "") return void location.replace(route("hand", studio.opened));
      close();
      show(true);
      return void (await showStart(opened));
    }
    if (name !== state.name) await open(name);
    state.place = PLACES.some(([id]) => id === place) ? place : "hand";
    goTo(state.place);
    const title = PLACES.find(([id]) => id === state.place)[1];
    document.title = `${title}: ${state.lesson.title || name}`;
    say(title);
  } catch (error) {
    if (name && !state.lesson) {
      show(true);
      await showStart(opened).catch(() => {});
    }
    trouble(error);
  }
  return undefined;
}

/** A lesson was made on the first page. */
function opened(answer, place = "tune") {
  state.surveys = { ...(state.surveys ?? {}), [answer.name]: answer.survey };
  location.hash = route(place, answer.name);
}

async function open(name) {
  close();
  const [lesson] = await Promise.all([ask(at(name)), state.studio ? null : ask("/api/studio").then((x) => { state.studio = x; })]);
  state.name = name;
  state.lesson = lesson;
  state.survey = state.surveys?.[name] ?? null;
  clear();
  show(false);
  head();
  tell("lesson");
  events = listen(name, heard);
  document.querySelector("#head h1")?.focus({ preventScroll: true });
  if (!lesson.fault) {
    await loadScore();
    lookAtTakes();
    ask(at(name, "files")).then(({ files }) => { state.files = files; tell("files"); }, () => {});
  }
}

function close() {
  events?.close();
  events = null;
  if (!state.name) return;
  Object.assign(state, { name: null, lesson: null, last: null, survey: null, files: null });
  tell("closed");
}

function head() {
  const { lesson } = state;
  if (!lesson) return;
  fill(document.getElementById("head"),
    h("h1", { tabindex: "-1" }, lesson.title || lesson.name),
    lesson.subtitle ? h("p", { class: "subtitle" }, lesson.subtitle) : null,
    lesson.instrument ? h("p", { class: "for" }, h("strong", {}, lesson.instrument.name.replaceAll("_", " ").replace(/^./, (x) => x.toUpperCase())), ` ${lesson.level}`) : null,
    h("p", { class: "by" }, lesson.composer ?? ""));
}

// News from the server ------------------------------------------------------------------------------------------

async function heard(kind, data) {
  if (window.partwright.deaf) return undefined;
  if (kind === "job") return takeJob(data);
  if (kind === "takes") return lookAtTakes();
  if (kind === "gone") {
    away = true;
    return undefined;
  }
  if (kind === "open" && away) {
    away = false;
    const lesson = await ask(at(state.name)).catch(() => null);
    if (lesson && lesson.version !== state.lesson.version) await reloadLesson().catch(trouble);
    return undefined;
  }
  if (kind === "lesson" && data.origin !== client && data.version !== state.lesson?.version) {
    try {
      await reloadLesson();
      note(data.origin === "outside" ? "The lesson’s files were changed by another program; this is how they stand now."
        : `Changed in another window: ${data.words ?? "this is how it stands now"}.`);
    } catch (error) {
      trouble(error);
    }
  }
  return undefined;
}

// Keys ----------------------------------------------------------------------------------------------------------

const writes = (element) => element?.matches?.("textarea, select, input:not([type=checkbox]):not([type=radio]):not([type=range])");

function keyed(event) {
  if (event.defaultPrevented || document.querySelector("dialog[open]") || !state.lesson) return;
  const { target } = event;
  const ctrl = event.ctrlKey || event.metaKey;
  if (ctrl && !writes(target) && event.key.toLowerCase() === "z") {
    event.preventDefault();
    if (event.shiftKey) redo();
    else undo();
  } else if (ctrl && !writes(target) && event.key.toLowerCase() === "y") {
    event.preventDefault();
    redo();
  } else if (event.altKey && /^[1-8]$/.test(event.key)) {
    event.preventDefault();
    location.hash = route(PLACES[Number(event.key) - 1][0]);
  } else if (!ctrl && !event.altKey && !writes(target)) plainKey(event, target);
}

function plainKey(event, target) {
  const act = (call) => { event.preventDefault(); call(); };
  const onControl = target.closest?.("button, a, input, summary, [role=slider]");
  const onFinding = target.closest?.(".findings");
  const onScore = target === document.body || target.closest?.("#score, #margin") === target || target.closest?.(".note-hit");
  if (event.key === " " && (!onControl || onFinding)) return act(() => hearFinding() || hearOrStop());
  if (event.key === "PageDown") return act(() => turnPhrase(1));
  if (event.key === "PageUp") return act(() => turnPhrase(-1));
  if (event.key === "?" && (onScore || onFinding)) return act(showKeys);
  // Single letters work on the score and on findings only, so that no one triggers them by speaking or by chance.
  if (!onScore && !onFinding) return undefined;
  if (onFinding || document.body.dataset.place !== "check") {
    if (placeKey(event)) return event.preventDefault();
  }
  if (event.key.toLowerCase() === "l" && onScore) return act(turnLoop);
  if ((event.key === "+" || event.key === "-") && onScore) return act(() => faster(event.key === "+" ? 5 : -5));
  return undefined;
}

// Start ---------------------------------------------------------------------------------------------------------

layPaper();
watchContents();
watchMargin();
watchListening();
watchNotes();
watchWidth();
on("lesson", head);
on("trouble", trouble);
document.getElementById("skip-score").addEventListener("click", (event) => {
  event.preventDefault();
  document.querySelector('#score .note-hit[tabindex="0"]')?.focus();
});
document.getElementById("skip-margin").addEventListener("click", (event) => {
  event.preventDefault();
  enterMargin();
});
addEventListener("keydown", keyed);
addEventListener("hashchange", follow);
addEventListener("unhandledrejection", (event) => trouble(event.reason));
// For measurements and tests: what the page holds; `deaf` leaves other windows' news aside.
window.partwright = { state, soundingNow, deaf: false };
follow();

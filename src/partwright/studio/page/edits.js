// Every change goes through here: one after another, each with the version it was made upon.

import { ask, at, client, Trouble } from "./api.js";
import { settled } from "./dom.js";
import { note, say, trouble } from "./notices.js";
import { glow, loadScore, shown, takeSystems } from "./score.js";
import { state, tell } from "./state.js";

let line = Promise.resolve();

/**
 * Makes these edits as one step of undo. Gives the server's answer, or null where it was refused (and said so).
 * Edits that say a whole list are given as a function, so that they are made upon the lesson as it stands when they are
 * sent: made again after another window's change, they keep that change.
 */
export function edit(edits, { quiet = false } = {}) {
  return queue(() => ask(at(state.name, "edits"), {
    method: "POST", body: { version: state.lesson.version, client, shown: shown(), edits: typeof edits === "function" ? edits() : edits },
  }), { again: () => edit(edits), quiet });
}

export function undo() {
  if (!state.lesson?.undo) return Promise.resolve(say("There is nothing to undo."));
  return step("undo", {}, undo);
}

export function redo() {
  if (!state.lesson?.redo) return Promise.resolve(say("There is nothing to redo."));
  return step("redo", {}, redo);
}

export function restore(name) {
  return step("restore", { name }, () => restore(name));
}

function step(what, more, again) {
  return queue(() => ask(at(state.name, what), {
    method: "POST", body: { version: state.lesson.version, client, shown: shown(), ...more },
  }), { again });
}

function queue(request, options) {
  const name = state.name;
  const next = line.then(() => (state.name === name ? attempt(request, options) : null));
  line = next.catch(() => {});
  return next;
}

async function attempt(request, { again, quiet }) {
  try {
    const answer = await request();
    await take(answer, quiet);
    return answer;
  } catch (error) {
    if (!(error instanceof Trouble)) throw error;
    if (error.code === "changed") {
      say(error.message);
      await reloadLesson();
      note(`${error.message} What you see now is how it stands; your own change was not made yet.`,
        [["Make my change now", again]], "check");
    } else {
      say(error.message);
      trouble(error, error.status === 0 ? [["Try again", again]] : []);
    }
    tell("refused", error);
    return null;
  }
}

/** Takes over the answer of an edit: versions, pictures, what changed. */
export async function take(answer, quiet = false) {
  const { lesson } = state;
  Object.assign(lesson, {
    version: answer.version, undo: answer.undo, redo: answer.redo, cost: answer.cost ?? lesson.cost,
    pins: answer.pins ?? lesson.pins,
  });
  if (answer.relaid) await loadScore();
  else takeSystems(answer.systems ?? [], answer.glyphs, answer.stale_leaves);
  const changes = answer.changes ?? { words: [], n: [], bars: [], bow_n: [] };
  state.last = { words: answer.words, changes };
  if (!quiet) say([answer.words, ...(changes.words ?? [])].filter(Boolean).map(sentence).join(" "));
  glow([...(changes.n ?? []), ...(changes.bow_n ?? [])]);
  tell("edited", answer);
  refresh();
}

/** With a full stop, and without two. */
export function sentence(words) {
  const whole = String(words).charAt(0).toUpperCase() + String(words).slice(1);
  return /[.!?]$/.test(whole) ? whole : `${whole}.`;
}

const refresh = settled(250, () => lessonAgain().catch(() => {}));

/** Reads the lesson document again; the score only where asked. */
async function lessonAgain() {
  const name = state.name;
  const seen = state.lesson?.version;
  const lesson = await ask(at(name));
  if (state.name !== name) return false;
  if (state.lesson && state.lesson.version !== seen && lesson.version !== state.lesson.version) return false; // edited meanwhile
  state.lesson = lesson;
  tell("lesson");
  return true;
}

/** Everything anew: after another window or program changed the lesson. */
export async function reloadLesson() {
  await lessonAgain();
  await loadScore();
  tell("edited", null);
}

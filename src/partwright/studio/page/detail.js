// Why a note has its finger and bow, and what else it could have: asked for once per note and version.

import { ask, at } from "./api.js";
import { trouble } from "./notices.js";
import { on, state, tell } from "./state.js";

const known = new Map(); // "version n" → detail
let asking = null;

/** The detail of the chosen note, or null while it is on its way. */
export function detail() {
  if (state.n === null || !state.lesson) return null;
  const found = known.get(`${state.lesson.version} ${state.n}`);
  if (!found) fetchDetail(state.n);
  return found ?? null;
}

/** The detail of any note, as a promise. */
export async function detailOf(n) {
  const { version } = state.lesson;
  const key = `${version} ${n}`;
  if (!known.has(key)) {
    const answer = await ask(at(state.name, "notes", n));
    known.set(`${answer.version} ${n}`, answer);
    if (known.size > 60) known.delete(known.keys().next().value);
    return answer;
  }
  return known.get(key);
}

async function fetchDetail(n) {
  const mark = `${state.lesson.version} ${n}`;
  if (asking === mark) return;
  asking = mark;
  try {
    await detailOf(n);
    if (state.n === n) tell("detail");
  } catch (error) {
    if (asking === mark && error.code !== "changed") trouble(error);
  } finally {
    if (asking === mark) asking = null;
  }
}

on("closed", () => known.clear());

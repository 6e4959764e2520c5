// What is looked through just now: a take, what was found in it, and which finding is in question.

import { ask, at } from "./api.js";
import { trouble } from "./notices.js";
import { on, state, tell } from "./state.js";

export const SIGNS = { wrong: "✗", check: "?", right: "✓" };
export const KEYS = { A: "accept", R: "right", U: "unsure", P: "pin" };

export const review = { take: null, answer: null, at: 0, busy: "", media: null, hearOn: true, deciding: Promise.resolve(), score: null };

export function current() {
  return review.answer?.findings[review.at] ?? null;
}

export function sumWords() {
  const { findings } = review.answer;
  const open = findings.filter((f) => !f.decision).length;
  const wrong = findings.filter((f) => f.verdict === "wrong").length;
  if (!findings.length) return "Nothing was found: it agrees with the score.";
  return `${wrong} wrong, ${findings.length - wrong} to check; ${open} left to decide.`;
}

/** What is being waited for, in words. */
export function busy(words) {
  review.busy = words;
  tell("takes");
}

/** The takes in the lesson’s folder. */
export async function lookAtTakes() {
  if (!state.name || state.lesson?.fault) return;
  try {
    state.takes = (await ask(at(state.name, "takes"))).takes;
    tell("takes");
  } catch (error) {
    trouble(error);
  }
}

on("closed", () => {
  review.media?.pause();
  Object.assign(review, { take: null, answer: null, media: null, at: 0, score: null });
  state.takes = [];
});

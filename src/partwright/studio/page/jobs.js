// Work that takes time: what is being done, how much of it, and when it is done.

import { ask, Trouble } from "./api.js";
import { on, state, tell } from "./state.js";

const waiting = new Map(); // id → [{ resolve, reject }]
const over = (job) => ["done", "failed", "cancelled"].includes(job.state);

/** Takes over what the server says of a job. */
export function takeJob(job) {
  state.jobs.set(job.id, job);
  if (over(job)) {
    for (const { resolve, reject } of waiting.get(job.id) ?? []) {
      if (job.state === "done") resolve(job);
      else reject(job.error ? new Trouble(422, job.error) : Object.assign(new Error("cancelled"), { name: "AbortError" }));
    }
    waiting.delete(job.id);
  }
  tell("jobs", job);
}

/** The job when it is done; refused with its error, or quietly where it was cancelled. */
export function jobDone(job) {
  const known = state.jobs.get(job.id);
  if (!known || !over(known)) takeJob(job);
  const now = state.jobs.get(job.id);
  return new Promise((resolve, reject) => {
    if (!waiting.has(job.id)) waiting.set(job.id, []);
    waiting.get(job.id).push({ resolve, reject });
    if (over(now)) takeJob(now);
    else poll(job.id);
  });
}

// The event stream tells of every step; this is for the moments when it is not there.
async function poll(id) {
  while (waiting.has(id)) {
    await new Promise((resolve) => { setTimeout(resolve, 1000); });
    if (!waiting.has(id)) return;
    try {
      takeJob((await ask(`/api/jobs/${encodeURIComponent(id)}`)).job);
    } catch (error) {
      for (const { reject } of waiting.get(id) ?? []) reject(error);
      waiting.delete(id);
    }
  }
}

export async function cancelJob(id) {
  const { job } = await ask(`/api/jobs/${encodeURIComponent(id)}`, { method: "DELETE" });
  takeJob(job);
}

/** The job of a kind that is under way in this lesson, or null. */
export function jobOf(kind) {
  return [...state.jobs.values()].reverse().find((j) => j.kind === kind && j.lesson === state.name && !over(j)) ?? null;
}

on("closed", () => {
  state.jobs.clear();
  waiting.clear();
});

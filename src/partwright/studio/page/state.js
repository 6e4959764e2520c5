// What the page knows, in one place, and who wants to hear of it.

const wanting = new Map();

export const state = {
  studio: null, // the answer of /api/studio
  name: null, // the lesson that is open
  lesson: null, // its document
  place: "hand",
  n: null, // the chosen note
  range: null, // a chosen passage: { first, last } note numbers
  notes: new Map(), // n → note as drawn
  last: null, // the last change: { words, changes }
  jobs: new Map(), // id → job
  takes: [],
};

/** Calls `told` whenever `what` happens. Gives a function that ends it. */
export function on(what, told) {
  if (!wanting.has(what)) wanting.set(what, new Set());
  wanting.get(what).add(told);
  return () => wanting.get(what).delete(told);
}

export function tell(what, data) {
  for (const told of [...(wanting.get(what) ?? [])]) told(data);
}

/** The passage in question: what was chosen by drag or Shift, else the chosen note alone, else null. */
export function chosen() {
  if (state.range) return state.range;
  return state.n === null ? null : { first: state.n, last: state.n };
}

/** The phrase a note is in, or null. */
export function phraseOf(n) {
  return state.lesson?.phrases?.find((p) => n >= p.first_n && n <= p.last_n) ?? null;
}

/** The section a bar is in, or null. */
export function sectionOf(barIndex) {
  return state.lesson?.sections?.find((x) => barIndex >= x.first_bar_index && barIndex <= x.last_bar_index) ?? null;
}

/** "bar 12" or "bars 12–14". */
export function barsWords(first, last) {
  return first === last ? `bar ${first}` : `bars ${first}–${last}`;
}

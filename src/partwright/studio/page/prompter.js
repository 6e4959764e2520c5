// The prompter: the words large, scrolling at the speaking rate; it waits where one plays. A foot pedal turns sentences.

import { fill, h, still, word } from "./dom.js";
import { lookAtScript, sentences } from "./script.js";
import { state } from "./state.js";

const LEAST = 48;

export async function openPrompter() {
  await lookAtScript();
  const all = sentences();
  if (!all.length) return;
  let at = 0;
  let running = false;
  let size = 56;
  let rate = state.lesson.speaking_wpm || 130;
  let mirrored = false;
  let timer = 0;

  const rows = all.map((x, i) => h("p", { class: "cue", "data-cue": i },
    x.bars?.length ? h("span", { class: "cue-bars" }, x.bars[0] === x.bars.at(-1) ? `bar ${x.bars[0]}` : `bars ${x.bars[0]}–${x.bars.at(-1)}`) : null, x.text));
  const words = h("div", { class: "cues", tabindex: "0", role: "region", "aria-label": "The words to say" }, rows);
  const state_ = h("p", { class: "small", role: "status" });
  const dialog = h("dialog", { class: "prompter", "aria-label": "Prompter", onkeydown: keyed },
    h("div", { class: "prompter-head words" },
      word("Start", toggle, { class: "word", "data-key": "run" }),
      word("Smaller", () => resize(-4), { class: "word quiet" }), word("Larger", () => resize(4), { class: "word quiet" }),
      word("Slower", () => speed(-5), { class: "word quiet" }), word("Faster", () => speed(5), { class: "word quiet" }),
      word("Mirror", mirror, { class: "word quiet" }), state_, h("span", { class: "grow" }), word("Close", () => dialog.close(), { class: "word quiet" })),
    words);

  function tell() {
    const run = dialog.querySelector('[data-key="run"]');
    fill(run, running ? "Stop" : "Start");
    state_.textContent = `Sentence ${at + 1} of ${all.length}, ${rate} words a minute`;
  }

  function show(smooth = true) {
    rows.forEach((row, i) => row.toggleAttribute("data-now", i === at));
    const target = rows[at].offsetTop - words.clientHeight * 0.28;
    words.scrollTo({ top: Math.max(0, target), behavior: smooth && !still() ? "smooth" : "auto" });
    tell();
  }

  function spoken(text) {
    return (text.trim().split(/\s+/).length / rate) * 60000;
  }

  function next() {
    clearTimeout(timer);
    if (!running) return;
    timer = setTimeout(() => {
      if (at + 1 >= all.length) { running = false; return tell(); }
      const plays = all[at].plays;
      at += 1;
      show();
      if (plays) { running = false; tell(); } else next();
      return null;
    }, spoken(all[at].text) + 350);
  }

  function toggle() {
    running = !running;
    tell();
    next();
  }

  function go(step) {
    at = Math.max(0, Math.min(all.length - 1, at + step));
    show();
    next();
  }

  function resize(step) {
    size = Math.max(LEAST, size + step);
    words.style.fontSize = `${size}px`;
    show(false);
  }

  function speed(step) {
    rate = Math.max(60, Math.min(260, rate + step));
    tell();
    if (running) next();
  }

  function mirror() {
    mirrored = !mirrored;
    words.classList.toggle("mirrored", mirrored);
  }

  function keyed(event) {
    const onButton = event.target.closest("button");
    const steps = { PageDown: 1, ArrowDown: 1, ArrowRight: 1, PageUp: -1, ArrowUp: -1, ArrowLeft: -1, Home: -all.length, End: all.length };
    if (event.key in steps) go(steps[event.key]);
    else if ((event.key === " " || event.key === "Enter") && !onButton) toggle();
    else if (event.key === "+") speed(5);
    else if (event.key === "-") speed(-5);
    else if (event.key === "]") resize(4);
    else if (event.key === "[") resize(-4);
    else if (event.key.toLowerCase() === "m") mirror();
    else return;
    event.preventDefault();
  }

  dialog.addEventListener("close", () => {
    clearTimeout(timer);
    dialog.remove();
    document.querySelector('[data-key="prompter"]')?.focus();
  });
  document.body.append(dialog);
  dialog.showModal();
  resize(0);
  words.focus();
}

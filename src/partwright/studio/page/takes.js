// Takes: a transcript or a recording dropped in, or recorded here, and the takes there are.

import { ask, at } from "./api.js";
import { clock, h, word } from "./dom.js";
import { openTake } from "./findings.js";
import { stop as stopListening } from "./listen.js";
import { say, trouble } from "./notices.js";
import { Recorder } from "./recorder.js";
import { busy, lookAtTakes, review } from "./review.js";
import { scoreFindings } from "./score_findings.js";
import { state, tell } from "./state.js";

const recorder = new Recorder(() => tell("takes"));

export function takesContent() {
  return [
    h("p", {}, "Bring the words you said on camera, as captions or a transcript, or a recording of what you played. Nothing leaves this computer."),
    h("div", { class: "drop", ondragover: over, ondragleave: out, ondrop: dropped },
      h("label", { for: "take-file" }, "A transcript (.vtt, .srt, .txt), a recording or a film; drop it here, or"),
      h("input", { type: "file", id: "take-file", "data-key": "take-file", multiple: true, onchange: (event) => bring([...event.target.files]) })),
    recording(),
    review.busy ? h("p", { class: "small", role: "status" }, review.busy) : null,
    state.takes.length ? h("section", { "aria-labelledby": "takes-title" },
      h("p", { class: "caps", id: "takes-title" }, "Takes"),
      h("ul", { class: "rows" }, state.takes.map((take) => h("li", {},
        h("span", { class: "grow" }, take.name, h("span", { class: "because" }, kindWords(take))),
        take.kind === "film" && !take.checkable ? null
          : word("Look through", () => openTake(take.name), { "data-key": `take-${take.name}`, "aria-label": `Look through ${take.name}` }))))) : null,
    scoreFindings(),
  ];
}

function kindWords(take) {
  const kind = { transcript: "what was said", sound: "what was played", film: "a film" }[take.kind] ?? take.kind;
  if (take.open === null || take.open === undefined) return `${kind}; not looked at yet`;
  return take.open ? `${kind}; ${take.open} to decide` : `${kind}; all decided`;
}

function over(event) {
  event.preventDefault();
  event.currentTarget.classList.add("over-it");
}

function out(event) {
  event.currentTarget.classList.remove("over-it");
}

function dropped(event) {
  event.preventDefault();
  out(event);
  bring([...event.dataTransfer.files]);
}

async function bring(files) {
  for (const file of files) {
    busy(`Taking in ${file.name} …`);
    try {
      const { take } = await ask(`${at(state.name, "takes")}?${new URLSearchParams({ filename: file.name })}`, { method: "POST", file });
      say(`${take.name} is in the lesson’s folder.`);
      await lookAtTakes();
      if (files.length === 1 && take.kind !== "film") await openTake(take.name);
    } catch (error) {
      trouble(error);
    } finally {
      busy("");
    }
  }
}

function recording() {
  if (!Recorder.possible()) return null;
  if (recorder.running) {
    return h("p", { class: "words" }, h("span", { class: "verdict wrong" }, "● recording"), h("span", { id: "record-time", class: "time" }, clock(recorder.seconds())),
      word("Stop and keep it", keepRecording, { "data-key": "record" }), word("Throw it away", () => recorder.drop(), { class: "word quiet" }));
  }
  return h("p", {}, word("Record a take", startRecording, { "data-key": "record" }), h("span", { class: "small grey" }, " with the microphone; it stays in this lesson’s folder."));
}

async function startRecording() {
  stopListening();
  try {
    await recorder.start();
    say("Recording.");
  } catch {
    trouble(new Error("The microphone was not given to this page. Allow it in the browser, or bring a recording as a file."));
  }
}

async function keepRecording() {
  const { blob, name } = await recorder.stop();
  await bring([new File([blob], name, { type: blob.type })]);
}

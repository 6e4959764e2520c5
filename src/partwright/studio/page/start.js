// The first page: begin with the demonstration tune or a tune of one's own; or go on with a lesson.

import { ask } from "./api.js";
import { fill, h, word } from "./dom.js";
import { note, say, trouble } from "./notices.js";
import { state } from "./state.js";

const page = () => document.getElementById("start");
let busy = "";

export async function showStart(open) {
  state.studio = await ask("/api/studio");
  document.title = "partwright";
  draw(open);
  page().querySelector("h1")?.focus();
}

function draw(open) {
  const { lessons, choices, cautions } = state.studio;
  fill(page(),
    h("h1", { tabindex: "-1" }, "partwright"),
    h("p", {}, "From a tune to a part that lies well, a lesson that is true to it, and an answer for every note. Everything stays on this computer."),
    h("div", { class: "columns" },
      h("div", {},
        h("section", { "aria-labelledby": "demo-title" },
          h("h2", { id: "demo-title" }, "Look round first"),
          h("p", {}, "The demonstration tune was invented for this: forty bars for cello, with fingers, sections and decisions to change as you like."),
          h("p", {}, word("Make the demonstration lesson", () => makeDemo(open), { "data-key": "demo" }))),
        lessons.length ? h("section", { "aria-labelledby": "lessons-title", class: "apart" },
          h("h2", { id: "lessons-title" }, "Go on with a lesson"),
          h("ul", { class: "rows" }, lessons.map((x) => h("li", {},
            h("span", { class: "grow" }, h("a", { href: `#/${encodeURIComponent(x.name)}/hand` }, x.title || x.name),
              h("span", { class: "because" }, x.fault ? (x.fault.words ?? x.fault) : [x.name, x.composer, x.instrument, x.level].filter(Boolean).join(", ")))))))
          : null),
      h("section", { "aria-labelledby": "own-title" },
        h("h2", { id: "own-title" }, "Begin with a tune of yours"),
        h("form", { id: "own-tune", onsubmit: (event) => begin(event, open) },
          h("div", { class: "field" }, h("label", { for: "tune-file" }, `The tune (${choices.endings.join(", ")})`),
            h("input", { type: "file", id: "tune-file", accept: choices.endings.join(","), required: true, onchange: suggest }),
            h("p", { class: "hint" }, "MusicXML as any notation program exports it, a MIDI file, or an ABC tune. It is never rewritten.")),
          h("div", { class: "field" }, h("label", { for: "lesson-name" }, "Name of the lesson"),
            h("input", { type: "text", id: "lesson-name", required: true, maxlength: "60" }),
            h("p", { class: "hint" }, "A folder of this name is made.")),
          h("div", { class: "two" },
            h("div", { class: "field" }, h("label", { for: "lesson-instrument" }, "Instrument"),
              h("span", { class: "chooser" }, h("select", { id: "lesson-instrument", onchange: levelsFor }, choices.instruments.map((x) => h("option", { value: x.name }, x.words))))),
            h("div", { class: "field" }, h("label", { for: "lesson-level" }, "Level"),
              h("span", { class: "chooser" }, h("select", { id: "lesson-level" }, levelOptions(choices.instruments[0]))))),
          h("p", {}, h("button", { class: "word", "data-key": "begin" }, "Begin the lesson")))),
    ),
    h("p", { role: "status", class: "small", id: "start-busy" }, busy),
    (cautions ?? []).map((words) => h("p", { class: "small caution" }, words)));
}

function levelOptions(instrument) {
  const levels = instrument?.levels ?? [];
  const usual = levels.includes("intermediate") ? "intermediate" : levels.at(-1);
  return levels.map((x) => h("option", { value: x, selected: x === usual }, x));
}

function levelsFor(event) {
  const instrument = state.studio.choices.instruments.find((x) => x.name === event.target.value);
  fill(document.getElementById("lesson-level"), levelOptions(instrument));
}

function suggest(event) {
  const file = event.target.files[0];
  const name = document.getElementById("lesson-name");
  if (file && !name.value) name.value = clean(file.name.replace(/\.[^.]*$/, ""));
}

function clean(name) {
  return name.normalize("NFKD").replace(/[^\w .-]+/g, " ").replace(/^[.\s]+/, "").trim().slice(0, 60) || "lesson";
}

function say_(words) {
  busy = words;
  document.getElementById("start-busy").textContent = words;
}

function unused(name) {
  const taken = new Set(state.studio.lessons.map((x) => x.name));
  if (!taken.has(name)) return name;
  for (let i = 2; ; i += 1) if (!taken.has(`${name}-${i}`)) return `${name}-${i}`;
}

async function makeDemo(open) {
  say_("Writing the demonstration lesson …");
  try {
    open(await ask(`/api/lessons/demo?${new URLSearchParams({ name: unused("demo") })}`, { method: "POST" }));
  } catch (error) {
    trouble(error);
  } finally {
    say_("");
  }
}

async function begin(event, open) {
  event.preventDefault();
  const file = document.getElementById("tune-file").files[0];
  const name = document.getElementById("lesson-name").value.trim();
  const largest = state.studio.choices.largest_upload_bytes;
  if (file.size > largest) return note(`${file.name} is larger than the ${Math.round(largest / 1e6)} MB a tune may have.`, [], "wrong");
  say_(`Reading ${file.name} …`);
  try {
    const words = new URLSearchParams({
      name, filename: file.name, instrument: document.getElementById("lesson-instrument").value, level: document.getElementById("lesson-level").value,
    });
    const answer = await ask(`/api/lessons?${words}`, { method: "POST", file });
    say(`The lesson ${answer.name} is made.`);
    open(answer, "tune");
  } catch (error) {
    trouble(error);
  } finally {
    say_("");
  }
  return null;
}

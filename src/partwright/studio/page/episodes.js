// Episodes: one recording each, and the sections it teaches. Without any, the lesson is one recording.

import { h, word } from "./dom.js";
import { edit } from "./edits.js";
import { say } from "./notices.js";
import { on, state, tell } from "./state.js";

const draft = { title: "", sections: null }; // sections: null, those that no episode teaches yet

/** `sections` as they are taught. */
export function episodesContent(sections) {
  const { episodes } = state.lesson;
  const left = untaught(sections);
  return h("section", { "aria-labelledby": "episodes-title" },
    h("p", { class: "caps", id: "episodes-title" }, "Episodes, one recording each"),
    episodes.length
      ? h("ol", { class: "sections" }, episodes.map((episode, i) => row(episode, i, sections)))
      : h("p", { class: "small" }, "The lesson is one recording. To tell it in several, say which sections the first of them teaches."),
    episodes.length && left.length
      ? h("p", { class: "small", role: "status" }, h("span", { class: "verdict check" }, "? please check: "), `no episode teaches ${listed(left)}.`) : null,
    addForm(sections, left));
}

function row(episode, index, sections) {
  const { episodes } = state.lesson;
  const id = `episode-${index}`;
  return h("li", {},
    h("input", { type: "text", value: episode.title, maxlength: "200", "aria-label": `Title of episode ${index + 1}`, "data-key": `${id}-title`,
      onchange: (event) => change(episode, index, () => ({ title: event.target.value.trim() }), event.target) }),
    h("span", { class: "moves" },
      word("↑", () => move(episode, index, -1), { class: "word quiet", disabled: index === 0, "aria-label": `Record ${episode.title} earlier`, "data-key": `${id}-up` }),
      word("↓", () => move(episode, index, 1), { class: "word quiet", disabled: index === episodes.length - 1, "aria-label": `Record ${episode.title} later`, "data-key": `${id}-down` })),
    word("Take out", () => save((all, i) => all.filter((_, k) => k !== i), episode, index), { class: "word quiet", "aria-label": `Take out episode ${episode.title}`, "data-key": `${id}-out` }),
    taught(id, `Sections that ${episode.title} teaches`, sections, episode.sections, (name, is, box) => change(episode, index, (now) => ({ sections: withSection(sections, now.sections, name, is) }), box)));
}

function taught(id, label, sections, names, choose) {
  return h("fieldset", { class: "taught" }, h("legend", { class: "unseen" }, label),
    sections.map((section) => h("label", {},
      h("input", { type: "checkbox", checked: names.includes(section.name), "data-key": `${id}-${section.first_bar_index}`,
        onchange: (event) => choose(section.name, event.target.checked, event.target) }), section.name)));
}

function addForm(sections, left) {
  const { episodes } = state.lesson;
  const names = draft.sections ?? left;
  return h("form", { class: "line-form", onsubmit: (event) => add(event, sections, names) },
    h("label", { for: "episode-new" }, episodes.length ? "A further episode" : "The first episode"),
    h("input", { type: "text", id: "episode-new", name: "title", maxlength: "200", required: true, "data-key": "episode-new", value: draft.title, oninput: (event) => { draft.title = event.target.value; } }),
    taught("episode-new", "Sections that the new episode teaches", sections, names, (name, is) => { draft.sections = withSection(sections, names, name, is); tell("script"); }),
    h("button", { class: "word", "data-key": "episode-add" }, "Add it"));
}

async function add(event, sections, names) {
  event.preventDefault();
  if (!names.length) { say("Say which sections it teaches."); return; }
  const title = event.target.elements.title.value.trim();
  if (await save((all) => [...all, { title, sections: names }])) Object.assign(draft, { title: "", sections: null });
  tell("script");
}

async function change(episode, index, values, element) {
  const answer = await save((all, i) => all.map((x, k) => (k === i ? { ...x, ...values(x) } : x)), episode, index);
  element.setAttribute("aria-invalid", String(answer === null));
}

function move(episode, index, step) {
  return save((all, i) => {
    const next = [...all];
    if (next[i] && next[i + step]) [next[i], next[i + step]] = [next[i + step], next[i]];
    return next;
  }, episode, index);
}

/** `changed(all, i)`: the episodes as they shall be, from those there are when it is asked; `i` is this one among them. */
async function save(changed, episode = null, index = -1) {
  let next = null;
  const answer = await edit(() => {
    const all = state.lesson.episodes;
    const i = all[index]?.title === episode?.title ? index : all.findIndex((x) => x.title === episode?.title);
    next = changed(all, i).map(({ title, sections }) => ({ title, sections }));
    return [{ kind: "episodes", episodes: next }];
  });
  if (answer) state.lesson.episodes = next;
  tell("script"); // a box that was refused shows again how it stands
  return answer;
}

/** The names with one more or less; those that are sections stand in the order they are taught in. */
function withSection(sections, names, name, is) {
  const all = sections.map((x) => x.name);
  return [...names.filter((x) => !all.includes(x)), ...all.filter((x) => (x === name ? is : names.includes(x)))];
}

function untaught(sections) {
  const told = new Set(state.lesson.episodes.flatMap((x) => x.sections));
  return sections.map((x) => x.name).filter((x) => !told.has(x));
}

function listed(names) {
  return names.length > 1 ? `${names.slice(0, -1).join(", ")} and ${names.at(-1)}` : names[0];
}

on("closed", () => Object.assign(draft, { title: "", sections: null }));

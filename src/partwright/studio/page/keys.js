// What every key does, shown on asking.

import { h, word } from "./dom.js";

const GROUPS = [
  ["On the score", [
    ["← →", "the note before, the next"], ["↑ ↓", "the line above, below"], ["Ctrl ← →", "the bar before, the next"],
    ["Home, End", "first and last note of the line; with Ctrl, of the part"],
    ["Shift with these", "choose a passage"], ["Enter", "to what can be done with the note, in the margin"],
    ["0 1 2 3 4 T", "this finger (T: thumb): the cheapest place it has, pinned"],
    ["P", "pin as it is, or unpin; a passage too"], ["D, U", "down-bow, up-bow, pinned"], ["Esc", "choose nothing"],
  ]],
  ["Listening, also with a foot pedal", [
    ["Space", "hear, stop"], ["Page Down", "the next phrase"], ["Page Up", "this phrase again; twice, the one before"],
    ["L", "loop the phrase or the chosen passage"], ["+ −", "faster, slower by 5 %"],
  ]],
  ["Looking through findings", [
    ["↓ ↑", "the next finding, the one before"], ["Space", "hear it, from three seconds before; stop"],
    ["A", "accept: a correction is shown on screen"], ["R", "it is right as it was"], ["P", "pin it: the plan follows"],
    ["U", "unsure"], ["Backspace", "take the decision back"],
  ]],
  ["Everywhere", [
    ["Ctrl Z", "undo"], ["Ctrl Shift Z", "redo"], ["Alt 1 … 8", "the places in the contents"], ["?", "these keys"],
  ]],
];

export function showKeys() {
  const dialog = h("dialog", { "aria-labelledby": "keys-title", class: "keys" },
    h("h2", { id: "keys-title" }, "Keys"),
    GROUPS.map(([title, rows]) => h("table", {},
      h("caption", {}, title),
      rows.map(([keys, words]) => h("tr", {}, h("th", { scope: "row" }, keys), h("td", {}, words))))),
    h("p", { class: "small grey" }, "Keys of one letter work while a note or a finding is chosen, not while you write."),
    h("p", {}, word("Close", () => dialog.close(), { autofocus: true })));
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
}

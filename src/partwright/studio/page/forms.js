// Fields that save themselves when one leaves them, as one step of undo each.

import { h } from "./dom.js";
import { edit } from "./edits.js";

/** A line of text bound to a setting of the lesson. */
export function textField(key, label, value, { hint = null, kind = "text", attributes = {} } = {}) {
  const id = `field-${key}`;
  return h("div", { class: "field" },
    h("label", { for: id }, label),
    h("input", {
      type: kind, id, value: value ?? "", "data-key": id, "aria-describedby": hint ? `${id}-hint` : null, ...attributes,
      onchange: (event) => save(key, kind === "number" ? Number(event.target.value) : event.target.value, event.target),
      onkeydown: (event) => { if (event.key === "Escape") { event.target.value = value ?? ""; event.stopPropagation(); } },
    }),
    hint ? h("p", { class: "hint", id: `${id}-hint` }, hint) : null);
}

/** A choice bound to a setting: options are [value, words]. */
export function choiceField(key, label, value, options, { hint = null, after = null } = {}) {
  const id = `field-${key}`;
  return h("div", { class: "field" },
    h("label", { for: id }, label),
    h("span", { class: "chooser" }, h("select", {
      id, "data-key": id, "aria-describedby": hint ? `${id}-hint` : null,
      onchange: async (event) => { await save(key, event.target.value, event.target); after?.(); },
    }, options.map(([v, words]) => h("option", { value: v, selected: v === value }, words)))),
    hint ? h("p", { class: "hint", id: `${id}-hint` }, hint) : null);
}

/** Several of a list, bound to a setting that is a list. */
export function severalField(key, label, values, options) {
  return h("fieldset", { class: "field several" },
    h("legend", {}, label),
    options.map(([value, words]) => h("label", {},
      h("input", {
        type: "checkbox", checked: values.includes(value), "data-key": `field-${key}-${value}`,
        onchange: (event) => {
          const next = options.map(([v]) => v).filter((v) => (v === value ? event.target.checked : values.includes(v)));
          save(key, next, event.target);
        },
      }), words)));
}

async function save(key, value, element) {
  const answer = await edit([{ kind: "settings", values: { [key]: value } }]);
  element.setAttribute("aria-invalid", String(answer === null));
  return answer;
}

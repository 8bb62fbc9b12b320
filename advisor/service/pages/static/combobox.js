// A field that filters a list (ARIA authoring practice, editable combobox with a list): for characters' many moves.

import { el, fill, name } from "./dom.js";
import { say } from "./say.js";

const MOST = 60;

/** `choose(id)` is called with the choice. Returns the element with `options(list)` and `show(id)`. */
export function combobox(id, label, choose) {
  let all = [];
  let chosen = "";
  let at = -1;
  let shown = [];
  const list = el("ul", { id: `${id}-list`, role: "listbox", "aria-label": label, hidden: true, class: "choices" });
  const field = el("input", {
    id, type: "text", role: "combobox", autocomplete: "off", spellcheck: "false", dir: "auto", "aria-expanded": "false",
    "aria-controls": list.id, "aria-autocomplete": "list",
  });
  const text = (option) => option.name;

  const close = () => {
    list.hidden = true;
    at = -1;
    field.setAttribute("aria-expanded", "false");
    field.removeAttribute("aria-activedescendant");
  };
  const settle = () => {
    field.value = text(all.find((option) => option.id === chosen) ?? { name: chosen });
    close();
  };
  const light = (to) => {
    at = shown.length ? (to + shown.length) % shown.length : -1;
    [...list.children].forEach((item, n) => item.setAttribute("aria-selected", String(n === at)));
    if (at < 0) return field.removeAttribute("aria-activedescendant");
    field.setAttribute("aria-activedescendant", list.children[at].id);
    return list.children[at].scrollIntoView({ block: "nearest" });
  };
  const open = (wanted) => {
    const parts = wanted.toLowerCase().split(/\s+/).filter(Boolean);
    const fits = (option) => parts.every((part) => `${option.name} ${option.input ?? ""} ${option.id}`.toLowerCase().includes(part));
    shown = all.filter(fits).slice(0, MOST);
    fill(list, ...shown.map((option, n) =>
      el("li", { id: `${id}-${n}`, role: "option", "aria-selected": "false", "data-id": option.id },
        name(option.name), el("span", { class: "faint" }, name(option.input ?? ""), option.key ? ` \u2022 ${say("key move")}` : ""))));
    list.hidden = !shown.length;
    field.setAttribute("aria-expanded", String(!list.hidden));
    light(shown.findIndex((option) => option.id === chosen && !parts.length));
  };
  const take = (option) => {
    chosen = option.id;
    settle();
    choose(option.id);
  };

  field.addEventListener("input", () => {
    open(field.value);
    if (shown.length) light(0);
  });
  field.addEventListener("focus", () => field.select());
  field.addEventListener("click", () => open(""));
  field.addEventListener("blur", settle);
  field.addEventListener("keydown", (event) => {
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      if (list.hidden) open("");
      else light(at + (event.key === "ArrowDown" ? 1 : -1));
    } else if (event.key === "Enter" && !list.hidden) {
      event.preventDefault();
      if (shown[at]) take(shown[at]);
    } else if (event.key === "Escape" && !list.hidden) {
      event.preventDefault();
      event.stopPropagation();
      settle();
      field.select();
    }
  });
  // The mouse chooses before the field loses the focus.
  list.addEventListener("mousedown", (event) => {
    event.preventDefault();
    const item = event.target.closest("[role=option]");
    const option = item && shown.find((one) => one.id === item.dataset.id);
    if (option) take(option);
  });

  const whole = el("div", { class: "combobox" }, field, list);
  return {
    element: whole,
    chosen: () => chosen,
    options: (given) => {
      all = given;
      settle();
    },
    show: (given) => {
      chosen = given;
      settle();
    },
  };
}

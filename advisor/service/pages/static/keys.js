// Single keys, a visible list of them, and a switch to turn them off (WCAG 2.2, 2.1.4).

import { by, el, fill } from "./dom.js";

const TYPED = "input:not([type=checkbox]):not([type=range]), select, textarea, [contenteditable]";

/** `all` are [key, what it does in words, function]. */
export function keys(all) {
  const single = by("single");
  try {
    single.checked = localStorage.getItem("desk-single") !== "no";
  } catch {
    // Then they work.
  }
  single.addEventListener("change", () => {
    try {
      localStorage.setItem("desk-single", single.checked ? "yes" : "no");
    } catch {
      // Then it holds until the page is left.
    }
  });
  fill(by("shortcut-list"), ...all.map(([key, words]) => el("div", {}, el("dt", {}, el("kbd", {}, key)), el("dd", {}, words))));
  document.addEventListener("keydown", (event) => {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || event.isComposing) return;
    const typing = event.target instanceof Element && event.target.matches(TYPED);
    if (event.key === "Escape" && typing && !document.querySelector("dialog[open]")) by("answers").focus();
    if (typing || !single.checked || document.querySelector("dialog[open]")) return;
    const found = all.find(([key]) => key === event.key);
    if (!found) return;
    event.preventDefault();
    found[2]();
  });
}

/** Arrow keys among tabs; the chosen one alone is in the tab order. */
export function tabKeys(list, choose) {
  list.addEventListener("keydown", (event) => {
    const tabs = [...list.children];
    const at = tabs.indexOf(document.activeElement);
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: tabs.length - 1 }[event.key];
    if (at < 0 || to === undefined) return;
    event.preventDefault();
    const tab = tabs[(to + tabs.length) % tabs.length];
    tab.focus();
    choose(tab.id.replace("tab-", ""));
  });
}

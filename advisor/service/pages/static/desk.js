// The desk: one question, shown by the form, kept in the address, answered in the panels.

import { answers } from "./answers.js";
import { get, keep, key, post, Refused } from "./ask.js";
import { coverage } from "./coverage.js";
import { by, el, fill, sentence } from "./dom.js";
import { Form } from "./form.js";
import { guess } from "./guess.js";
import { keys, tabKeys } from "./keys.js";
import { labList } from "./lab.js";
import { say } from "./say.js";
import { show as showReplay } from "./replay.js";
import { asked, read, swapped, TABS, tidy, write } from "./state.js";
import { trials } from "./trials.js";

const PANELS = { answers, coverage, guess, trials, lab: labList };
const WHOLE = new Set(["answers", "trials", "lab"]);
const theme = window.deskTheme;
const THEMES = { auto: say("Theme: auto"), light: say("Theme: light"), dark: say("Theme: dark") };
let form = null;
let question = null;
let tab = TABS[0];
let first = null;
let running = null;
let failed = false;

/** Say what went wrong: where, what would be right, and what can be done here. */
function trouble(error) {
  const ended = (text) => (/[.?!]$/.test(text) ? sentence(text) : [sentence(text), "."]);
  const help = error.help ? el("span", {}, " ", ended(error.help)) : null;
  const at = error.pointer ? el("code", {}, ` ${error.pointer}`) : null;
  const enter = error.status === 401 || error.status === 403
    ? el("button", { type: "button", class: "small", click: openKey }, say("Enter a key")) : null;
  fill(by("trouble"), el("p", { class: "trouble" }, ended(error.message), help, at, " ", enter));
}

async function refresh(told = "") {
  running?.abort();
  const mine = (running = new AbortController());
  const panel = by(`panel-${tab}`);
  panel.setAttribute("aria-busy", "true");
  const given = WHOLE.has(tab) ? tidy(question) : asked(question);
  const replay = (option, reply, delay) => showReplay(asked(question), option, reply, delay);
  const opened = (response, reply) => {
    const against = response.against.find((one) => one.reply === reply);
    return replay({ id: response.option, name: response.name }, { id: reply, name: against.name }, 0);
  };
  try {
    const shown = await PANELS[tab](panel, given, {
      signal: mine.signal, replay: tab === "answers" ? opened : replay, pack: form.pack,
      reload: (words) => refresh(words),
    });
    if (mine !== running) return;
    if (!performance.getEntriesByName("first-answer").length) performance.mark("first-answer");
    failed = false;
    first = shown.first ?? null;
    fill(by("trouble"));
    by("said").textContent = told ? `${told} ${shown.summary}` : shown.summary;
    if (shown.setting) by("setting").textContent = shown.setting;
    if (shown.pack) {
      const { pack } = shown;
      by("data").textContent = say("{pack} {version}, data {data}, rules {rules}", {
        pack: pack.name, version: pack.version, data: pack.hash.slice(0, 12), rules: pack.rules.slice(0, 12),
      });
    }
  } catch (error) {
    if (error.name === "AbortError" || mine !== running) return;
    if (!(error instanceof Refused)) console.error(error);
    failed = true;
    first = null;
    fill(panel);
    by("said").textContent = "";
    by("setting").textContent = say("No answer to this question");
    trouble(error);
  } finally {
    if (mine === running) panel.removeAttribute("aria-busy");
  }
}

function showTab(chosen) {
  tab = chosen;
  for (const id of TABS) {
    const on = id === tab;
    by(`tab-${id}`).setAttribute("aria-selected", String(on));
    by(`tab-${id}`).tabIndex = on ? 0 : -1;
    by(`panel-${id}`).hidden = !on;
    if (!on) fill(by(`panel-${id}`));
  }
}

/** Ask another question; it becomes an entry of the history when it differs. */
function ask(next, { push = true } = {}) {
  const address = write(next, tab);
  const same = address === `${location.pathname}${location.search}`;
  question = next;
  if (!same) history[push ? "pushState" : "replaceState"](null, "", address);
  form.show(question);
  return same && push && !failed ? null : refresh();
}

function choose(chosen) {
  if (chosen === tab) return first?.focus();
  showTab(chosen);
  history.pushState(null, "", write(question, tab));
  return refresh();
}

/** What the address says, or what the pack opens with. */
function fromAddress() {
  let found = { question: null, tab: TABS[0] };
  let wrong = null;
  try {
    found = read(location.href);
  } catch (error) {
    wrong = error;
  }
  showTab(found.tab);
  const opening = form.board.packs.find((pack) => pack.id === form.board.default)?.opening;
  const next = found.question ?? opening;
  if (!next) return trouble(new Error(say("no pack with characters is loaded")));
  return ask({ limit: 10, ...next }, { push: false }).then(() => wrong && trouble(wrong));
}

async function push() {
  const channel = by("channel");
  const said = by("pushed");
  const to = channel.value.trim() || channel.placeholder;
  try {
    await post(`v1/live/${encodeURIComponent(to)}`, { question: tidy(question) });
    said.textContent = say("Shown on {channel} at {time}.", { channel: to, time: new Date().toLocaleTimeString() });
  } catch (error) {
    said.textContent = `${say("Not shown: {why}.", { why: error.message })} ${error.help ?? ""}`;
  }
}

function nextTheme() {
  const order = ["auto", "light", "dark"];
  theme.set(order[(order.indexOf(theme.now()) + 1) % order.length]);
  by("theme").textContent = THEMES[theme.now()];
}

async function copy() {
  try {
    await navigator.clipboard.writeText(location.href);
    by("said").textContent = say("The link to this question is copied.");
  } catch {
    by("said").textContent = say("The browser does not allow copying here: take the link from its address line.");
  }
}

function openKey() {
  by("key").value = key();
  by("key-dialog").showModal();
}

function wire() {
  by("theme").textContent = THEMES[theme.now()];
  by("theme").addEventListener("click", nextTheme);
  by("copy").addEventListener("click", copy);
  by("access").addEventListener("click", openKey);
  by("help").addEventListener("click", () => by("shortcuts").showModal());
  by("swap").addEventListener("click", () => ask(swapped(question)));
  by("push").addEventListener("click", push);
  by("channel").addEventListener("keydown", (event) => event.key === "Enter" && push());
  by("key-dialog").addEventListener("close", () => {
    const { returnValue } = by("key-dialog");
    if (returnValue === "keep") keep(by("key").value.trim());
    else if (returnValue === "drop") keep("");
    else return;
    by("key").value = "";
    start();
  });
  for (const id of TABS) by(`tab-${id}`).addEventListener("click", () => choose(id));
  tabKeys(by("tabs"), choose);
  // Where there is little room, the answers come first and the form unfolds.
  const roomy = matchMedia("(min-width: 62rem)");
  const fold = () => (by("fold").open = roomy.matches);
  roomy.addEventListener("change", fold);
  fold();
  const to = (id) => () => {
    by("fold").open = true;
    by(id).focus();
  };
  keys([
    ["a", say("go to the answers"), () => (first ?? by("answers")).focus()],
    ...TABS.map((id, at) => [String(at + 1), say("show: {tab}", { tab: by(`tab-${id}`).textContent }), () => choose(id)]),
    ["m", say("choose my character"), to("me")],
    ["t", say("choose theirs"), to("them")],
    ["w", say("say what just happened"), to("kind")],
    ["v", say("choose the move"), () => to(by("move-field").hidden ? "kind" : "move")()],
    ["r", say("say the range"), to("range")],
    ["x", say("change seats"), () => ask(swapped(question))],
    ["p", say("show this on the overlay channel"), push],
    ["c", say("copy the link to this question"), copy],
    ["d", say("next theme: auto, light, dark"), nextTheme],
    ["?", say("show this list"), () => by("shortcuts").showModal()],
  ]);
  window.addEventListener("popstate", () => form && fromAddress());
}

async function start() {
  try {
    const board = await get("desk/board");
    if (form) form.board = board;
    else form = new Form(board, (next) => ask(next));
    await fromAddress();
  } catch (error) {
    if (!(error instanceof Refused)) console.error(error);
    trouble(error);
  }
}

wire();
start();

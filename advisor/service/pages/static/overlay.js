// One hint of a live channel over a stream's picture. For study, replays, casting and practice; rules on live help in
// competition are the organiser's and the game's, and come first.

import { say, speak } from "./say.js";

const CORNERS = ["bottom-left", "bottom-right", "bottom", "top-left", "top-right", "top"];
const THEMES = ["dark", "light", "bare"];
/** Seconds without a connection after which what is shown may be out of date. */
const STALE = 3;
/** Least milliseconds between two changes: what comes faster waits, so that nothing flickers. */
const CALM = 400;
const WATCH = 20_000;

const asked = new URLSearchParams(location.search);
const among = (name, words) => (words.includes(asked.get(name)) ? asked.get(name) : words[0]);
const number = (name, least, most, usual) => {
  const given = Number.parseFloat(asked.get(name) ?? "");
  return Number.isFinite(given) ? Math.min(most, Math.max(least, given)) : usual;
};
const settings = {
  channel: asked.get("channel") ?? "", corner: among("corner", CORNERS), theme: among("theme", THEMES),
  scale: number("scale", 0.5, 4, 1), safe: number("safe", 0, 20, 5), hold: number("hold", 1, 3600, null),
  language: asked.get("language"), key: asked.get("key"),
};
// The language that is wished for, where there are words of it; else the one that the page came in.
if (settings.language) await speak(settings.language);
const language = document.documentElement.lang;
const VERDICTS = {
  guaranteed: say("guaranteed"), in_range: say("if near enough"), beats: say("beats"), holds: say("holds"),
  risky: say("a guess"), trades: say("trades"), loses: say("loses"), unknown: say("unknown"),
};
const at = (id) => document.getElementById(id);
const hint = at("hint");
const channel = `v1/live/${encodeURIComponent(settings.channel)}`;

let source = null;
let shown = null; // id of the event on show
let ends = null; // when its time is over
let lost = null; // when it counts as stale
let last = -CALM;
let next = null; // waits for its turn
let turn = null;
let retry = 500;
let silent = null; // waits for the first event of a new stream
let coming = null; // waits to connect
let ahead = 0; // milliseconds by which the service's clock is ahead of ours

const headers = () => ({
  "accept-language": language, ...(settings.key ? { authorization: `Bearer ${settings.key}` } : {}),
});

function hide() {
  clearTimeout(ends);
  clearTimeout(turn);
  next = turn = ends = shown = null;
  hint.dataset.shown = "no";
}

function paint({ event, advice, left }) {
  const best = advice.responses[0];
  at("summary").textContent = advice.summary;
  hint.dataset.verdict = best?.verdict ?? "unknown";
  at("verdict").textContent = best ? VERDICTS[best.verdict] ?? best.verdict : "";
  at("success").textContent = best ? success(best) : "";
  at("reason").textContent = best?.sentence ?? "";
  at("note").textContent = event.note ?? "";
  hint.dataset.shown = "yes";
  hint.dataset.event = event.id;
  shown = event.id;
  last = performance.now();
  clearTimeout(ends);
  ends = left === null ? null : setTimeout(hide, left * 1000);
}

/** How likely it comes off: what the lab says, else how wide its window is. */
function success(best) {
  const said = best.evidence;
  if (said) return say("lab: {successes} of {tries}", said);
  if (best.window === 1) return say("just frame");
  return best.window ? say("{frames}-frame window", { frames: best.window }) : "";
}

async function take(event, seconds) {
  if (event.id === shown) return;
  const hold = settings.hold ?? event.hold;
  const left = hold === null || hold === undefined ? null : hold - seconds;
  if (left !== null && left <= 0) return hide();
  const advice = language === event.language ? event.advice : await translated(event);
  next = { event, advice, left };
  clearTimeout(turn);
  turn = setTimeout(() => next && paint(next), Math.max(0, last + CALM - performance.now()));
}

async function translated(event) {
  try {
    const response = await fetch("v1/advice", {
      method: "POST", headers: { ...headers(), "content-type": "application/json" }, body: JSON.stringify(event.question),
    });
    return response.ok ? await response.json() : event.advice;
  } catch {
    return event.advice;
  }
}

/** Seconds since the event, by the service's clock. */
function age(event) {
  return Math.max(0, (Date.now() + ahead - Date.parse(event.at)) / 1000);
}

/** Whether the service is there. Its clock tells whole seconds, so a difference of less than two is none. */
async function look() {
  const response = await fetch("v1/health/live", { cache: "no-store" });
  const off = Date.parse(response.headers.get("date") ?? "") - Date.now();
  ahead = Math.abs(off) > 2_000 ? off : 0;
}

function again() {
  source.close();
  lost ??= setTimeout(hide, STALE * 1000);
  clearTimeout(silent);
  clearTimeout(coming);
  coming = setTimeout(connect, retry);
  retry = Math.min(retry * 2, 10_000);
}

/** A new stream begins with the current state, so one that begins with nothing has nothing to show. */
function connect() {
  const key = settings.key ? `?key=${encodeURIComponent(settings.key)}` : "";
  source = new EventSource(`${channel}/events${key}`);
  source.addEventListener("open", () => {
    clearTimeout(lost);
    lost = null;
    retry = 500;
    clearTimeout(silent);
    silent = setTimeout(hide, 1_500);
  });
  source.addEventListener("advice", (message) => { clearTimeout(silent); const event = JSON.parse(message.data); take(event, age(event)); });
  source.addEventListener("clear", () => { clearTimeout(silent); hide(); });
  source.addEventListener("error", again);
}

// A connection may die without a word: now and then the service is asked whether it is there.
setInterval(() => { if (lost === null) look().catch(again); }, WATCH);

Object.assign(at("safe").dataset, { corner: settings.corner, theme: settings.theme });
document.documentElement.style.setProperty("--scale", settings.scale);
document.documentElement.style.setProperty("--safe", settings.safe);
if (settings.channel) {
  look().catch(() => {}).finally(connect);
} else {
  const usage = document.createElement("p");
  usage.id = "usage";
  usage.textContent = [
    say("Add a channel: overlay?channel=NAME"),
    say("More: {settings}.", {
      settings: `corner=${CORNERS.join("|")}, scale=0.5..4, theme=${THEMES.join("|")}, language=TAG, hold=SECONDS, safe=PERCENT, key=KEY`,
    }),
    say("For study, replays, casting and practice; rules on live help in competition are the organiser's and the game's, and come first."),
  ].join("\n");
  document.body.append(usage);
}

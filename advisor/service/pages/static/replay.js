// One exchange frame by frame, in a dialog: as a table that can be walked through, or as the service draws it.

import { picture, post } from "./ask.js";
import { by, el, fill, later, name, sentence } from "./dom.js";
import { rove } from "./grid.js";
import { outcome, reasons } from "./proof.js";
import { say, woven } from "./say.js";
import { missing, number, sentences, spoken, verdict } from "./words.js";

const PHASES = {
  startup: "s", active: "A", recovery: "r", blockstun: "b", hitstun: "h", knockdown: "k", guarding: "G", moving: "m",
  free: "\u00b7", unknown: "?",
};

/** Show what happens when I take `option` and they take `reply`. */
export function show(question, option, reply, delay = 0) {
  const dialog = by("replay");
  const out = el("div", { class: "replayed", "aria-live": "polite" });
  const late = el("input", { id: "replay-delay", type: "number", min: 0, max: 120, step: 1, value: delay });
  const close = el("button", { type: "button", click: () => dialog.close() }, say("Close"));
  const heading = el("h2", { id: "replay-heading" }, woven("{mine} against {theirs}", {
    mine: name(option.name), theirs: name(reply.name),
  }));
  let request = null;
  let running = null;
  const run = async () => {
    running?.abort();
    running = new AbortController();
    request = { ...question, option: option.id, reply: reply.id, delay: late.valueAsNumber || 0 };
    try {
      const answer = await post("v1/replay", request, { signal: running.signal });
      fill(out, ...laid(answer, request));
    } catch (error) {
      if (error.name !== "AbortError") fill(out, el("p", { class: "trouble" }, error.message, error.help ? ` \u2013 ${error.help}` : ""));
    }
  };
  late.addEventListener("input", later(run, 150));
  fill(dialog, el("div", { class: "row" }, el("div", { class: "grow" }, heading), close),
    el("div", { class: "row" }, el("label", { for: late.id }, say("Begun late by (frames)")), late), out);
  dialog.onclose = () => running?.abort();
  dialog.showModal();
  late.focus();
  return run();
}

function laid(answer, request) {
  const line = el("p", { class: "frame-said", role: "status" }, say("Walk along the frames with the arrow keys."));
  return [
    el("p", {}, verdict(answer.result.verdict), " ", el("span", { class: "faint" }, outcome(answer.result),
      answer.delay ? `; ${answer.delayed === "me" ? say("mine is begun {delay} late", answer) : say("theirs is begun {delay} late", answer)}` : "")),
    el("p", {}, sentence(answer.sentence)),
    answer.frames.length ? strip(answer, line) : el("p", {}, say("There are no frames to show: what it hangs on is unknown.")),
    line, legend(), events(answer), sentences(say("Hangs on"), answer.hangs_on.map(missing)),
    reasons(answer.result.reasons), drawn(request, answer.summary),
  ];
}

function strip(answer, line) {
  const { frames, contact } = answer;
  const lane = (side) => frames.map((frame) => {
    const at = frame[side];
    const told = [
      say("Frame {frame}: {who} {phase}", { frame: frame.frame, who: answer[side].character, phase: spoken(at.phase) }),
      at.own !== null && at.own !== undefined && say("own frame {own}", at), spoken(at.posture),
      ...(at.windows ?? []).map((window) => spoken(window.kind)),
    ].filter(Boolean).join(", ");
    const away = frame.distance === null ? "" : `; ${say("distance {distance}", { distance: number(frame.distance) })}`;
    return el("td", {
      role: "gridcell", class: `phase p-${at.phase}${frame.frame === contact.frame ? " contact" : ""}${frame.after ? " after" : ""}`,
      "aria-label": told + away, tabindex: -1, focus: () => (line.textContent = told + away),
    }, PHASES[at.phase] ?? "?");
  });
  const [mine, theirs] = [lane("me"), lane("them")];
  const ticks = frames.map((frame) => el("th", { role: "columnheader", scope: "col", class: frame.frame === contact.frame ? "contact" : "" },
    frame.frame % 5 === 0 || frame.frame === 1 || frame.frame === contact.frame ? String(frame.frame) : el("span", { class: "unseen" }, String(frame.frame))));
  const head = (side) => el("th", { role: "rowheader", scope: "row" }, name(answer[side].name));
  const body = el("tbody", { role: "rowgroup" }, el("tr", { role: "row" }, head("me"), mine), el("tr", { role: "row" }, head("them"), theirs));
  rove(body, () => [mine, theirs], () => {});
  return el("div", { class: "scrolled" }, el("table", { role: "grid", class: "strip", "aria-label": answer.summary },
    el("thead", { role: "rowgroup" }, el("tr", { role: "row" }, el("th", { role: "columnheader", scope: "col" }, say("Frame")), ticks)), body),
  answer.cut ? el("p", { class: "faint" }, say("There is more; the strip is cut.")) : null);
}

function legend() {
  return el("ul", { class: "legend", "aria-label": say("Letters") }, Object.entries(PHASES).map(([word, letter]) =>
    el("li", {}, el("span", { class: `phase p-${word}`, "aria-hidden": "true" }, letter), " ", spoken(word))));
}

function events(answer) {
  return el("ol", { class: "events" }, answer.events.map((event) => el("li", {}, el("span", { class: "faint" },
    event.last === event.frame ? `${event.frame} ` : `${event.frame}\u2013${event.last} `), sentence(event.sentence))));
}

/** The picture of the service, as an image: nothing in it can run. */
function drawn(request, summary) {
  const at = el("div");
  const draw = async () => {
    if (at.firstChild) return;
    try {
      const url = URL.createObjectURL(await picture("v1/replay", request));
      at.append(el("img", { src: url, alt: summary, class: "drawn", load: () => URL.revokeObjectURL(url) }));
    } catch (error) {
      at.append(el("p", { class: "trouble" }, error.message));
    }
  };
  return el("details", { toggle: (event) => event.target.open && draw() }, el("summary", {}, say("As a picture")), at);
}

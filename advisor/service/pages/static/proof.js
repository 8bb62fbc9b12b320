// The proof of an answer: rules with the facts they read, what it hangs on, and what each reply does to it.

import { el, name, sentence } from "./dom.js";
import { many, say, woven } from "./say.js";
import { fact, lab, missing, number, plain, sentences, signed, spoken, verdict } from "./words.js";

/** The rules that fired, each with its facts folded away. */
export function reasons(list) {
  if (!list?.length) return null;
  return el("div", { class: "reasons" }, el("h4", {}, say("Rules")), el("ul", {}, list.map((reason) =>
    el("li", {}, sentence(reason.sentence), " ", el("code", { class: "rule" }, reason.rule), facts(reason.facts)))));
}

function facts(list) {
  if (!list?.length) return null;
  return el("details", { class: "facts" }, el("summary", {}, many("{count} fact", "{count} facts", list.length)),
    el("dl", {}, list.map((given) => el("div", {}, el("dt", {}, el("code", {}, given.name)), el("dd", {}, name(fact(given)),
      given.sources?.length ? el("span", { class: "faint" }, " ", woven("from {sources}", { sources: name(given.sources.join("; ")) })) : null)))));
}

/** What an exchange leaves, in words. */
export function leaves(given) {
  const said = [];
  if (given.advantage !== null && given.advantage !== undefined) said.push(say("{advantage} frames", { advantage: signed(given.advantage) }));
  if (given.knockdown && given.knockdown !== "none") said.push(say("knockdown: {state}", { state: plain(given.knockdown) }));
  if (given.distance !== null && given.distance !== undefined) said.push(say("at {distance}", { distance: number(given.distance) }));
  if (given.wall && given.wall !== "none") said.push(say("wall: {state}", { state: plain(given.wall) }));
  if (given.floor && given.floor !== "none") said.push(say("floor: {state}", { state: plain(given.floor) }));
  if (given.catch) said.push(say("catch: {end}", { end: plain(given.catch) }));
  return said.join(", ") || say("nothing known");
}

/** Everything behind one response; `replay(reply)` shows an exchange frame by frame. */
export function proof(response, replay) {
  return el("div", { class: "proof" },
    el("p", {}, el("strong", {}, say("Leaves")), " ", [
      leaves(response.leaves), response.cost && say("costs {cost} meter", response),
      response.risk !== null && say("takes {damage} at most", { damage: number(response.risk) }),
    ].filter(Boolean).join("; ")),
    lab(response.evidence),
    reasons(response.reasons),
    sentences(say("Mind"), response.cautions),
    sentences(say("Hangs on"), response.hangs_on?.map(missing)),
    el("h4", {}, say("Against each reply")),
    el("ul", { class: "against" }, response.against.map((against) => el("li", {},
      el("div", { class: "row" }, verdict(against.verdict), el("span", { class: "grow" }, name(against.name),
        el("span", { class: "faint" }, ` ${outcome(against)}`)),
      el("button", { type: "button", class: "small", click: () => replay(against.reply), "aria-label": say("Frame by frame against {reply}", { reply: against.name }) }, say("Frame by frame"))),
      lab(against.evidence),
      reasons(against.reasons)))));
}

/** The contact of an exchange in a few words. */
export function outcome(against) {
  const said = [against.effect === "none" ? say("nothing touches") : spoken(against.effect)];
  if (against.frame !== null && against.frame !== undefined) said.push(say("on frame {frame}", against));
  if (against.dealt) said.push(say("deals {damage}", { damage: number(against.dealt) }));
  if (against.taken) said.push(say("takes {damage}", { damage: number(against.taken) }));
  return said.join(", ");
}

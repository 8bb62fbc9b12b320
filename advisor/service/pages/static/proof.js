// The proof of an answer: rules with the facts they read, what it hangs on, and what each reply does to it.

import { el, name, sentence } from "./dom.js";
import { fact, lab, missing, number, sentences, signed, spoken, verdict } from "./words.js";

/** The rules that fired, each with its facts folded away. */
export function reasons(list) {
  if (!list?.length) return null;
  return el("div", { class: "reasons" }, el("h4", {}, "Rules"), el("ul", {}, list.map((reason) =>
    el("li", {}, sentence(reason.sentence), " ", el("code", { class: "rule" }, reason.rule), facts(reason.facts)))));
}

function facts(list) {
  if (!list?.length) return null;
  return el("details", { class: "facts" }, el("summary", {}, `${list.length} fact${list.length === 1 ? "" : "s"}`),
    el("dl", {}, list.map((given) => el("div", {}, el("dt", {}, el("code", {}, given.name)), el("dd", {}, name(fact(given)),
      given.sources?.length ? el("span", { class: "faint" }, " from ", name(given.sources.join("; "))) : null)))));
}

/** What an exchange leaves, in words. */
export function leaves(given) {
  const said = [];
  if (given.advantage !== null && given.advantage !== undefined) said.push(`${signed(given.advantage)} frames`);
  if (given.knockdown && given.knockdown !== "none") said.push(`knockdown: ${spoken(given.knockdown)}`);
  if (given.distance !== null && given.distance !== undefined) said.push(`at ${number(given.distance)}`);
  if (given.wall && given.wall !== "none") said.push(`wall: ${spoken(given.wall)}`);
  if (given.floor && given.floor !== "none") said.push(`floor: ${spoken(given.floor)}`);
  if (given.catch) said.push(`catch: ${spoken(given.catch)}`);
  return said.join(", ") || "nothing known";
}

/** Everything behind one response; `replay(reply)` shows an exchange frame by frame. */
export function proof(response, replay) {
  return el("div", { class: "proof" },
    el("p", {}, el("strong", {}, "Leaves "), leaves(response.leaves), response.cost ? `; costs ${response.cost} meter` : "",
      response.risk !== null ? `; takes ${number(response.risk)} at most` : ""),
    lab(response.evidence),
    reasons(response.reasons),
    sentences("Mind", response.cautions),
    sentences("Hangs on", response.hangs_on?.map(missing)),
    el("h4", {}, "Against each reply"),
    el("ul", { class: "against" }, response.against.map((against) => el("li", {},
      el("div", { class: "row" }, verdict(against.verdict), el("span", { class: "grow" }, name(against.name),
        el("span", { class: "faint" }, ` ${outcome(against)}`)),
      el("button", { type: "button", class: "small", click: () => replay(against.reply), "aria-label": `Frame by frame against ${against.name}` }, "Frame by frame")),
      lab(against.evidence),
      reasons(against.reasons)))));
}

/** The contact of an exchange in a few words. */
export function outcome(against) {
  const said = [against.effect === "none" ? "nothing touches" : spoken(against.effect)];
  if (against.frame !== null && against.frame !== undefined) said.push(`on frame ${against.frame}`);
  if (against.dealt) said.push(`deals ${number(against.dealt)}`);
  if (against.taken) said.push(`takes ${number(against.taken)}`);
  return said.join(", ");
}

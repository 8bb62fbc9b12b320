// Words and numbers as people read them.

import { el, sentence, shape } from "./dom.js";
import { inWords, mark, say } from "./say.js";

export const VERDICTS = {
  guaranteed: [say("Guaranteed"), say("Nothing they can do stops it.")],
  in_range: [say("In range"), say("Guaranteed when near enough; the distance was not given.")],
  beats: [say("Beats"), say("Wins, or wins some and loses to none.")],
  holds: [say("Holds"), say("Nothing is lost and nothing is won.")],
  risky: [say("Risky"), say("Wins against some replies and loses to others.")],
  trades: [say("Trades"), say("Both are hit.")],
  unknown: [say("Unknown"), say("Hangs on a property that nobody has recorded yet.")],
  loses: [say("Loses"), say("Does not work here.")],
};

const OWN = new Set([
  mark("guaranteed"), mark("in_range"), mark("beats"), mark("holds"), mark("risky"), mark("trades"), mark("loses"),
  mark("blocked"), mark("hit"), mark("counter_hit"), mark("whiffed"), mark("parried"), mark("trade"), mark("break"),
  mark("none"), mark("standing"), mark("crouching"), mark("airborne"), mark("grounded"), mark("startup"), mark("active"),
  mark("recovery"), mark("blockstun"), mark("hitstun"), mark("knockdown"), mark("guarding"), mark("moving"), mark("free"),
  mark("unknown"), mark("attack"), mark("parry"), mark("movement"), mark("guard"), mark("invulnerable"), mark("armour"),
  mark("sidestep"), mark("counter_state"), mark("me"), mark("them"), mark("both"), mark("nobody"), mark("strike"),
  mark("throw"), mark("reach"), mark("posture"), mark("no_attack"), mark("in_time"), mark("too_early"), mark("too_late"),
  mark("stance"), mark("back_turned"), mark("wall"), mark("low_health"), mark("advantage"), mark("neutral"),
  mark("frames"), mark("damage"), mark("distance"), mark("meter"), mark("percent"),
]);

/** An id of the pack, or a property, as people say it: in every language the same. */
export const plain = (word) => String(word).replaceAll("_", " ");

/** A word of the product: verdicts, moments, phases, postures, units. */
export const spoken = (word) => (word === null || word === undefined || word === "" ? say("unknown") : plain(OWN.has(word) ? inWords(word) : word));

/** A number: `none` stands for one that is null. */
export const number = (value, none = say("unknown")) =>
  value === null || value === undefined ? none : String(Math.round(value * 100) / 100).replace("-", "\u2212");

/** Frames of advantage, with their sign. */
export const signed = (value, none = say("unknown")) =>
  value === null || value === undefined ? none : value > 0 ? `+${number(value)}` : number(value);

export const percent = (share) => `${Math.round(share * 1000) / 10}\u00a0%`;

/** How strict it is. */
export function strict(window) {
  if (window === null || window === undefined) return "\u2013";
  if (window >= 60) return say("60+ f");
  return window === 1 ? say("1 f (just)") : say("{frames} f", { frames: window });
}

/** Runs of frames, both ends included. */
export const runs = (given) =>
  given.length ? given.map((run) => (run.first === run.last ? `${run.first}` : `${run.first}\u2013${run.last}`)).join(", ") : say("none");

/** A verdict: its shape and its word. */
export function verdict(word, of = {}) {
  const [said, meaning] = VERDICTS[word] ?? [plain(word), ""];
  return el("span", { class: `verdict v-${VERDICTS[word] ? word : "unknown"}`, title: meaning, ...of }, shape(word), " ", said);
}

export const said = (word) => (VERDICTS[word] ?? [plain(word)])[0];

/** A property that an answer hangs on. */
export const missing = (item) => (item.move ? `${plain(item.move)}: ${plain(item.property)}` : plain(item.property));

/** The names of the replies of an advice by their ids. */
export function repliesCalled(advice) {
  const names = new Map(advice.responses.flatMap((response) => (response.against ?? []).map((one) => [one.reply, one.name])));
  return (id) => names.get(id) ?? plain(id);
}

/** A value of a fact with its unit. */
export function fact(given) {
  const value = given.value === null ? say("unknown") : typeof given.value === "boolean" ? (given.value ? say("yes") : say("no")) : spoken(given.value);
  return given.unit ? `${value} ${spoken(given.unit)}` : value;
}

/** What lab trials say beside theory; null where nobody tried. */
export function lab(evidence) {
  if (!evidence) return null;
  return el("p", { class: "lab" }, el("strong", {}, say("Lab: {successes} of {tries}.", evidence), " "), sentence(evidence.sentence));
}

/** A list of sentences, or nothing. */
export const sentences = (heading, texts) =>
  texts && texts.length
    ? el("div", { class: "sentences" }, el("h4", {}, heading), el("ul", {}, texts.map((text) => el("li", {}, sentence(text)))))
    : null;

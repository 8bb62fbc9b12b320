// Words and numbers as people read them.

import { el, sentence, shape } from "./dom.js";

export const VERDICTS = {
  guaranteed: ["Guaranteed", "Nothing they can do stops it.", "G"],
  in_range: ["In range", "Guaranteed when near enough; the distance was not given.", "R"],
  beats: ["Beats", "Wins, or wins some and loses to none.", "B"],
  holds: ["Holds", "Nothing is lost and nothing is won.", "H"],
  risky: ["Risky", "Wins against some replies and loses to others.", "!"],
  trades: ["Trades", "Both are hit.", "T"],
  unknown: ["Unknown", "Hangs on a property that nobody has recorded yet.", "?"],
  loses: ["Loses", "Does not work here.", "L"],
};

const plain = (word) => String(word).replaceAll("_", " ");

/** An id or a word of the data, as people say it. */
export const spoken = (word) => (word === null || word === undefined || word === "" ? "unknown" : plain(word));

/** A number: `none` stands for one that is null. */
export const number = (value, none = "unknown") =>
  value === null || value === undefined ? none : String(Math.round(value * 100) / 100).replace("-", "\u2212");

/** Frames of advantage, with their sign. */
export const signed = (value, none = "unknown") =>
  value === null || value === undefined ? none : value > 0 ? `+${number(value)}` : number(value);

export const percent = (share) => `${Math.round(share * 1000) / 10}\u00a0%`;

/** How strict it is. */
export function strict(window) {
  if (window === null || window === undefined) return "\u2013";
  if (window >= 60) return "60+ f";
  return window === 1 ? "1 f (just)" : `${window} f`;
}

/** Runs of frames, both ends included. */
export const runs = (given) =>
  given.length ? given.map((run) => (run.first === run.last ? `${run.first}` : `${run.first}\u2013${run.last}`)).join(", ") : "none";

/** A verdict: its shape and its word. */
export function verdict(word, of = {}) {
  const [said, meaning] = VERDICTS[word] ?? [plain(word), ""];
  return el("span", { class: `verdict v-${VERDICTS[word] ? word : "unknown"}`, title: meaning, ...of }, shape(word), " ", said);
}

export const said = (word) => (VERDICTS[word] ?? [plain(word)])[0];

/** A property that an answer hangs on. */
export const missing = (item) => (item.move ? `${item.move}: ${plain(item.property)}` : plain(item.property));

/** A value of a fact with its unit. */
export function fact(given) {
  const value = given.value === null ? "unknown" : typeof given.value === "boolean" ? (given.value ? "yes" : "no") : String(given.value);
  return given.unit ? `${value} ${given.unit}` : value;
}

/** What lab trials say beside theory; null where nobody tried. */
export function lab(evidence) {
  if (!evidence) return null;
  return el("p", { class: "lab" }, el("strong", {}, `Lab: ${evidence.successes} of ${evidence.tries}. `), sentence(evidence.sentence));
}

/** A list of sentences, or nothing. */
export const sentences = (heading, texts) =>
  texts && texts.length
    ? el("div", { class: "sentences" }, el("h4", {}, heading), el("ul", {}, texts.map((text) => el("li", {}, sentence(text)))))
    : null;

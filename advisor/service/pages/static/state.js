// The question and the page's address: what is asked can be shared, and back and forward go through it.

import { say } from "./say.js";

export const TABS = ["answers", "coverage", "guess", "trials", "lab"];

/** The question without what says nothing: null, false backs, empty texts. */
export function tidy(question) {
  const out = {};
  for (const [key, value] of Object.entries(question)) {
    if (value === null || value === undefined || value === "") continue;
    if (key === "me" || key === "them" || key === "moment") out[key] = tidy(value);
    else if (key === "back_turned" && value === false) continue;
    else out[key] = value;
  }
  return out;
}

/** The state of the game alone, as every study has it. */
export function asked(question) {
  const { pack, me, them, moment, distance, floor_breaks } = question;
  return tidy({ pack, me, them, moment, distance, floor_breaks });
}

/** What the address holds: `question` null when it has none. Errors: `Error` when it is no question. */
export function read(address) {
  const query = new URL(address).searchParams;
  const tab = TABS.includes(query.get("tab")) ? query.get("tab") : TABS[0];
  const text = query.get("q");
  if (text === null) return { question: null, tab };
  let question;
  try {
    question = JSON.parse(text);
  } catch {
    throw new Error(say("the address holds no question: what follows `q=` is not JSON"));
  }
  const whole = question !== null && typeof question === "object" && !Array.isArray(question);
  const sound = (part) => part !== null && typeof part === "object" && !Array.isArray(part);
  if (!whole || ![question.me, question.them, question.moment].every(sound)) {
    throw new Error(say("the address holds no question: `me`, `them` and `moment` have to be objects"));
  }
  return { question, tab };
}

/** The address of a question. */
export function write(question, tab) {
  const query = new URLSearchParams({ q: JSON.stringify(tidy(question)) });
  if (tab !== TABS[0]) query.set("tab", tab);
  return `${location.pathname}?${query}`;
}

/** Another question with the two sides' seats changed. */
export function swapped(question) {
  const other = { me: "them", them: "me" };
  const moment = { ...question.moment };
  for (const key of ["attacker", "floored"]) if (moment[key]) moment[key] = other[moment[key]];
  if (moment.kind === "advantage") moment.frames = -moment.frames;
  return { ...question, me: question.them, them: question.me, moment };
}

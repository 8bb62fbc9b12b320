// What was tried in the lab about this situation, and one more trial.

import { get, once, post } from "./ask.js";
import { el, fill, name } from "./dom.js";
import { many, say } from "./say.js";
import { percent, plain, repliesCalled } from "./words.js";

export async function trials(panel, question, { signal, pack, reload }) {
  const about = { pack: pack.id, ...question };
  const query = new URLSearchParams({ question: JSON.stringify(about), limit: "200" });
  const [found, advice] = await Promise.all([
    get(`v1/trials?${query}`, { signal }),
    post("v1/advice", { ...question, limit: 400, explain: "none" }, { signal }),
  ]);
  const named = new Map(advice.responses.map((one) => [one.option, one.name]));
  const called = (id) => named.get(id) ?? plain(id);
  fill(panel, tried(found.trials, called), adding(about, advice, reload));
  const count = found.trials.length;
  return {
    summary: count ? many("{count} trial of this situation.", "{count} trials of this situation.", count)
      : say("Nobody tried this situation yet."),
    setting: advice.situation.sentence, pack: advice.pack, first: panel.querySelector("select"),
  };
}

function tried(records, called) {
  if (!records.length) return el("p", {}, say("Nothing is written down for this situation."));
  const corrected = new Set(records.map((one) => one.corrects).filter(Boolean));
  const sums = new Map();
  for (const one of records.filter((record) => !corrected.has(record.id))) {
    const key = JSON.stringify([one.response, one.reply ?? null]);
    const sum = sums.get(key) ?? [0, 0];
    sums.set(key, [sum[0] + one.successes, sum[1] + one.tries]);
  }
  const head = (...texts) => el("thead", {}, el("tr", {}, texts.map((text) => el("th", { scope: "col" }, text))));
  return el("div", { class: "scrolled" },
    el("table", { class: "plain" }, el("caption", {}, say("Together")),
      head(say("Response"), say("Against"), say("Came off"), say("Share")),
      el("tbody", {}, [...sums].map(([key, [successes, tries]]) => {
        const [response, reply] = JSON.parse(key);
        return el("tr", {}, el("th", { scope: "row" }, name(called(response))), el("td", {}, name(reply ? called(reply) : say("anything"))),
          el("td", {}, say("{successes} of {tries}", { successes, tries })), el("td", {}, percent(successes / tries)));
      }))),
    el("table", { class: "plain" }, el("caption", {}, say("One by one")),
      head(say("When"), say("Response"), say("Came off"), say("Player"), say("Note")),
      el("tbody", {}, records.map((one) => el("tr", { class: corrected.has(one.id) ? "corrected" : "" },
        el("td", {}, one.time ? new Date(one.time).toLocaleString() : ""), el("td", {}, name(called(one.response))),
        el("td", {}, say("{successes} of {tries}", one), corrected.has(one.id) ? ` (${say("corrected")})` : ""),
        el("td", {}, name(one.player ?? "")), el("td", {}, name(one.note ?? "")))))));
}

function adding(about, advice, reload) {
  const theirs = repliesCalled(advice);
  const response = el("select", { id: "trial-response", dir: "auto" },
    advice.responses.map((one) => el("option", { value: one.option }, one.name)));
  const reply = el("select", { id: "trial-reply", dir: "auto" }, el("option", { value: "" }, say("anything")),
    advice.situation.replies.map((id) => el("option", { value: id }, theirs(id))));
  const figure = (id, least, value) => el("input", { id, type: "number", min: least, max: 1000000, step: 1, value, required: true });
  const [tries, successes] = [figure("trial-tries", 1, 10), figure("trial-successes", 0, 0)];
  const player = el("input", { id: "trial-player", type: "text", maxlength: 64, dir: "auto" });
  const note = el("input", { id: "trial-note", type: "text", maxlength: 2000, dir: "auto" });
  const out = el("p", { role: "alert", class: "trouble wide" });
  const field = (label, at, wide = false) => el("div", { class: wide ? "field wide" : "field" }, el("label", { for: at.id }, label), at);
  let key = once();
  const add = async (event) => {
    event.preventDefault();
    out.textContent = "";
    const trial = {
      question: about, response: response.value, reply: reply.value || null, successes: successes.valueAsNumber,
      tries: tries.valueAsNumber, player: player.value.trim() || null, note: note.value.trim(),
    };
    try {
      await post("v1/trials", trial, { headers: { "idempotency-key": key } });
      key = once();
      reload(say("Trial written down."));
    } catch (error) {
      out.textContent = `${error.message}${error.help ? ` \u2013 ${error.help}` : ""}`;
    }
  };
  return el("form", { class: "adding", submit: add, input: () => (key = once()) }, el("h3", { class: "wide" }, say("Write one down")),
    field(say("Response"), response, true), field(say("Against"), reply, true), field(say("Tries"), tries), field(say("Came off"), successes),
    field(say("Player"), player), field(say("Note"), note), el("button", {}, say("Write it down")), out);
}

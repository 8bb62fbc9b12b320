// The answers, best first.

import { post } from "./ask.js";
import { el, fill, name, sentence } from "./dom.js";
import { rove } from "./grid.js";
import { proof } from "./proof.js";
import { say } from "./say.js";
import { lab, missing, number, plain, repliesCalled, sentences, signed, spoken, strict, verdict } from "./words.js";

const COLUMNS = [
  "", say("Verdict"), say("Response"), say("Damage"), say("First active"), say("Window"), say("Leaves"), say("Why"),
];

export async function answers(panel, question, { signal, replay }) {
  const advice = await post("v1/advice", { explain: "full", ...question }, { signal });
  const head = el("tr", { role: "row" }, COLUMNS.map((text) =>
    el("th", { role: "columnheader", scope: "col" }, text || el("span", { class: "unseen" }, say("Rank")))));
  const rows = advice.responses.map((response, at) => row(response, at));
  const body = el("tbody", { role: "rowgroup" }, rows);
  const table = el("table", { role: "treegrid", class: "answers", "aria-label": say("Responses, best first") },
    el("thead", { role: "rowgroup" }, head), body);
  const shut = (line) => {
    line.setAttribute("aria-expanded", "false");
    if (line.nextSibling?.classList.contains("opened")) line.nextSibling.remove();
  };
  const toggle = (line) => {
    const open = line.getAttribute("aria-expanded") === "true";
    rows.forEach(shut);
    if (open) return;
    const response = advice.responses[rows.indexOf(line)];
    line.setAttribute("aria-expanded", "true");
    line.after(el("tr", { role: "row", "aria-level": 2, class: "opened", keydown: (event) => {
      if (event.key !== "Escape") return;
      event.stopPropagation();
      shut(line);
      line.focus();
    } }, el("td", { role: "gridcell", colspan: COLUMNS.length, "aria-colspan": COLUMNS.length },
      proof(response, (reply) => replay(response, reply)))));
  };
  rove(body, () => rows.map((line) => [line]), toggle, shut);
  fill(panel, rows.length ? table : el("p", {}, say("No response is open here.")), counted(advice), aside(advice));
  return {
    summary: `${advice.summary}.`, setting: advice.situation.sentence, pack: advice.pack, first: rows[0],
    options: advice.responses,
  };
}

function row(response, at) {
  const cell = (label, of, ...children) => el("td", { role: "gridcell", "data-label": label, ...of }, ...children);
  return el("tr", { role: "row", "aria-level": 1, "aria-expanded": "false", tabindex: at ? -1 : 0, class: "answer" },
    cell(say("Rank"), { class: "rank" }, String(at + 1)),
    cell(say("Verdict"), { class: "judged" }, verdict(response.verdict), evidence(response.evidence)),
    cell(say("Response"), { class: "what" }, name(response.name, { class: "name strong" }), " ",
      el("span", { class: "faint input" }, name(response.input ?? spoken(response.kind)))),
    cell(say("Damage"), { class: "figure" }, response.damage === null ? dash(response) : number(response.damage)),
    cell(say("First active"), { class: "figure" }, response.first_active === null ? "\u2013" : say("{frames} f", { frames: response.first_active })),
    cell(say("Window"), { class: "figure" }, strict(response.window)),
    cell(say("Leaves"), { class: "figure" }, signed(response.leaves.advantage, "\u2013")),
    cell(say("Why"), { class: "why" }, sentence(response.sentence)));
}

// Null is unknown for what strikes, and nothing for what does not.
const dash = (response) => (response.kind === "attack" && (response.beats || response.verdict === "unknown") ? "?" : "\u2013");

function evidence(given) {
  if (!given) return null;
  return el("span", { class: "faint", title: lab(given).textContent }, " ", say("lab {successes}/{tries}", given));
}

function counted(advice) {
  const names = repliesCalled(advice);
  const parts = Object.entries(advice.counts).filter(([, count]) => count).map(([word, count]) => `${spoken(word)} ${count}`);
  return el("p", { class: "faint" }, 
    say("{considered} weighed: {parts}.", { considered: advice.considered, parts: parts.join(", ") }), " ",
    sentence(say("Against: {replies}.", { replies: advice.situation.replies.map(names).join(", ") })));
}

function aside(advice) {
  const out = Object.entries(advice.excluded);
  return [
    sentences(say("Nobody has recorded, and answers hang on it"), advice.missing.slice(0, 12).map(missing)),
    out.length ? el("details", {}, el("summary", {}, say("Out of the question here: {count}", { count: out.length })),
      el("ul", {}, out.map(([id, why]) => el("li", {}, name(plain(id)), ": ", sentence(why))))) : null,
    advice.cautions.length ? sentences(say("Cautions"), advice.cautions) : null,
  ];
}

// Coverage: my options set against theirs over every delay, as a heat map that can be walked through.

import { post } from "./ask.js";
import { el, fill, name, sentence, shape, turnTo } from "./dom.js";
import { rove } from "./grid.js";
import { say, woven } from "./say.js";
import { missing, number, percent, runs, said, sentences, spoken, verdict, VERDICTS } from "./words.js";

export async function coverage(panel, question, { signal, replay }) {
  const answer = await post("v1/coverage", { ...question, limit: 12 }, { signal });
  const detail = el("div", { class: "detail", tabindex: -1, role: "region", "aria-label": say("The chosen cell") },
    el("p", { class: "faint" }, say("Choose a cell for its reason, its timing and the frames.")));
  const slider = el("input", { id: "cover-delay", type: "range", min: -1, max: answer.delays, value: -1, step: 1 });
  const told = el("output", { for: slider.id });
  const cells = answer.rows.map((row) => row.cells.map((cell) => el("td", { role: "gridcell", tabindex: -1 })));
  const paint = () => {
    const delay = Number(slider.value);
    const late = () => (answer.timed_by === "me" ? say("I begin {delay} late", { delay }) : say("they begin {delay} late", { delay }));
    told.value = delay < 0 ? say("best timing of each") : late();
    slider.setAttribute("aria-valuetext", told.value);
    answer.rows.forEach((row, y) => row.cells.forEach((cell, x) => colour(cells[y][x], row, cell, delay)));
  };
  slider.addEventListener("input", paint);
  paint();
  const body = el("tbody", { role: "rowgroup" }, answer.rows.map((row, y) => el("tr", { role: "row" },
    el("th", { role: "rowheader", scope: "row" }, name(row.name, { class: "name strong" }),
      el("span", { class: "faint" }, " ", say("{covered} of {of}", row), row.width ? say(", {delays} late", { delays: runs(row.windows) }) : "")),
    cells[y])));
  rove(body, () => cells, (chosen) => {
    const y = cells.findIndex((line) => line.includes(chosen));
    const x = cells[y]?.indexOf(chosen);
    if (y < 0) return;
    const [row, cell, delay] = [answer.rows[y], answer.rows[y].cells[x], Number(slider.value)];
    fill(detail, ...explained(row, cell, answer, () => replay({ id: row.option, name: row.name },
      { id: cell.reply, name: cell.name }, delay < 0 ? cell.delay : delay)));
    turnTo(detail);
  });
  detail.onkeydown = (event) => {
    if (event.key !== "Escape") return;
    event.stopPropagation();
    cells.flat().find((cell) => cell.tabIndex === 0)?.focus();
  };
  const table = el("table", { role: "grid", class: "heat", "aria-label": say("My options against theirs") },
    el("thead", { role: "rowgroup" }, el("tr", { role: "row" }, el("th", { role: "columnheader", scope: "col" }, say("Mine / theirs")),
      answer.replies.map((reply) => el("th", { role: "columnheader", scope: "col" }, name(reply.name))))), body);
  fill(panel,
    el("div", { class: "row" }, el("label", { for: slider.id }, say("Delay")), slider, told),
    answer.rows.length ? el("div", { class: "scrolled" }, table) : el("p", {}, say("No option of mine is open here.")),
    detail, legend(), best(answer), sentences(say("Hangs on"), answer.missing.slice(0, 12).map(missing)), sentences(say("Cautions"), answer.cautions));
  return { summary: `${answer.summary}.`, setting: answer.situation.sentence, pack: answer.pack, first: cells[0]?.[0] };
}

function colour(at, row, cell, delay) {
  const stretch = delay < 0 ? cell : cell.windows.find((run) => run.first <= delay && delay <= run.last);
  const word = stretch?.verdict ?? "unknown";
  at.className = `heat-cell v-${word in VERDICTS ? word : "unknown"}`;
  fill(at, shape(word), delay < 0 && cell.width ? el("span", {}, say("{frames} f", { frames: cell.width })) : null);
  const when = delay < 0 ? say("best, begun {delay} late", cell) : say("begun {delay} late", { delay });
  at.setAttribute("aria-label", say("{mine} against {theirs}: {verdict}, {when}; covered on delays {delays}", {
    mine: row.name, theirs: cell.name, verdict: said(word), when, delays: runs(cell.covers),
  }));
  at.title = at.getAttribute("aria-label");
}

function legend() {
  return el("ul", { class: "legend", "aria-label": say("Signs") }, Object.keys(VERDICTS).map((word) => el("li", {}, verdict(word))));
}

function explained(row, cell, answer, replay) {
  const stretch = (run) => el("li", {}, verdict(run.verdict), " ",
    say("{delays} late: {effect}", { delays: runs([run]), effect: spoken(run.effect) }));
  return [
    el("h3", {}, woven("{mine} against {theirs}", { mine: name(row.name), theirs: name(cell.name) })),
    el("p", {}, verdict(cell.verdict), " ", [
      say("begun {delay} late", cell), cell.frame !== null && say("contact on frame {frame}", cell),
      cell.dealt && say("deals {damage}", { damage: number(cell.dealt) }),
      cell.taken && say("takes {damage}", { damage: number(cell.taken) }),
    ].filter(Boolean).join(", ")),
    el("p", {}, sentence(cell.sentence), " ", cell.rule ? el("code", { class: "rule" }, cell.rule) : null),
    el("p", {}, 
      cell.loses.length
        ? say("Covered on delays {covers}; loses on {loses}.", { covers: runs(cell.covers), loses: runs(cell.loses) })
        : say("Covered on delays {covers}; loses on none.", { covers: runs(cell.covers) }),
      cell.success === null ? "" : ` ${say("Chance {chance}.", { chance: percent(cell.success) })}`),
    el("details", {}, el("summary", {}, say("Every delay, 0 to {delays}", answer)), el("ul", {}, cell.windows.map(stretch))),
    sentences(say("Hangs on"), cell.hangs_on.map(missing)),
    el("button", { type: "button", click: replay }, say("Frame by frame")),
  ];
}

function best(answer) {
  return el("div", {}, el("h4", {}, say("Rows in words")), el("ul", {}, answer.rows.map((row) => el("li", {}, sentence(row.sentence),
    row.partners.length ? el("span", { class: "faint" }, " ", woven("With it: {names}", { names: name(row.partners.slice(0, 3).map((one) => one.name).join(", ")) })) : null))));
}

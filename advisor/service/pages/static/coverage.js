// Coverage: my options set against theirs over every delay, as a heat map that can be walked through.

import { post } from "./ask.js";
import { el, fill, name, sentence, shape, turnTo } from "./dom.js";
import { rove } from "./grid.js";
import { missing, number, percent, runs, said, sentences, verdict, VERDICTS } from "./words.js";

export async function coverage(panel, question, { signal, replay }) {
  const answer = await post("v1/coverage", { ...question, limit: 12 }, { signal });
  const detail = el("div", { class: "detail", tabindex: -1, role: "region", "aria-label": "The chosen cell" },
    el("p", { class: "faint" }, "Choose a cell for its reason, its timing and the frames."));
  const slider = el("input", { id: "cover-delay", type: "range", min: -1, max: answer.delays, value: -1, step: 1 });
  const told = el("output", { for: slider.id });
  const cells = answer.rows.map((row) => row.cells.map((cell) => el("td", { role: "gridcell", tabindex: -1 })));
  const paint = () => {
    const delay = Number(slider.value);
    const late = answer.timed_by === "me" ? "I begin" : "they begin";
    told.value = delay < 0 ? "best timing of each" : `${late} ${delay} late`;
    slider.setAttribute("aria-valuetext", told.value);
    answer.rows.forEach((row, y) => row.cells.forEach((cell, x) => colour(cells[y][x], row, cell, delay)));
  };
  slider.addEventListener("input", paint);
  paint();
  const body = el("tbody", { role: "rowgroup" }, answer.rows.map((row, y) => el("tr", { role: "row" },
    el("th", { role: "rowheader", scope: "row" }, name(row.name, { class: "name strong" }),
      el("span", { class: "faint" }, ` ${row.covered} of ${row.of}`, row.width ? `, ${runs(row.windows)} late` : "")),
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
  const table = el("table", { role: "grid", class: "heat", "aria-label": "My options against theirs" },
    el("thead", { role: "rowgroup" }, el("tr", { role: "row" }, el("th", { role: "columnheader", scope: "col" }, "Mine / theirs"),
      answer.replies.map((reply) => el("th", { role: "columnheader", scope: "col" }, name(reply.name))))), body);
  fill(panel,
    el("div", { class: "row" }, el("label", { for: slider.id }, "Delay"), slider, told),
    answer.rows.length ? el("div", { class: "scrolled" }, table) : el("p", {}, "No option of mine is open here."),
    detail, legend(), best(answer), sentences("Hangs on", answer.missing.slice(0, 12).map(missing)), sentences("Cautions", answer.cautions));
  return { summary: `${answer.summary}.`, setting: answer.situation.sentence, pack: answer.pack, first: cells[0]?.[0] };
}

function colour(at, row, cell, delay) {
  const stretch = delay < 0 ? cell : cell.windows.find((run) => run.first <= delay && delay <= run.last);
  const word = stretch?.verdict ?? "unknown";
  const [, , letter] = VERDICTS[word] ?? VERDICTS.unknown;
  at.className = `heat-cell v-${word in VERDICTS ? word : "unknown"}`;
  fill(at, shape(word), el("span", {}, delay < 0 && cell.width ? `${letter} ${cell.width}f` : letter));
  const when = delay < 0 ? `best, begun ${cell.delay} late` : `begun ${delay} late`;
  at.setAttribute("aria-label", `${row.name} against ${cell.name}: ${said(word)}, ${when}; covered on delays ${runs(cell.covers)}`);
  at.title = at.getAttribute("aria-label");
}

function legend() {
  return el("ul", { class: "legend", "aria-label": "Signs" }, Object.keys(VERDICTS).map((word) => el("li", {}, verdict(word))));
}

function explained(row, cell, answer, replay) {
  const stretch = (run) => el("li", {}, verdict(run.verdict), ` ${runs([run])} late: ${run.effect.replaceAll("_", " ")}`);
  return [
    el("h3", {}, name(row.name), " against ", name(cell.name)),
    el("p", {}, verdict(cell.verdict), ` begun ${cell.delay} late`, cell.frame === null ? "" : `, contact on frame ${cell.frame}`,
      cell.dealt ? `, deals ${number(cell.dealt)}` : "", cell.taken ? `, takes ${number(cell.taken)}` : ""),
    el("p", {}, sentence(cell.sentence), " ", cell.rule ? el("code", { class: "rule" }, cell.rule) : null),
    el("p", {}, `Covered on delays ${runs(cell.covers)}; loses on ${runs(cell.loses)}.`,
      cell.success === null ? "" : ` Chance ${percent(cell.success)}.`),
    el("details", {}, el("summary", {}, `Every delay, 0 to ${answer.delays}`), el("ul", {}, cell.windows.map(stretch))),
    sentences("Hangs on", cell.hangs_on.map(missing)),
    el("button", { type: "button", click: replay }, "Frame by frame"),
  ];
}

function best(answer) {
  return el("div", {}, el("h4", {}, "Rows in words"), el("ul", {}, answer.rows.map((row) => el("li", {}, sentence(row.sentence),
    row.partners.length ? el("span", { class: "faint" }, " With it: ", name(row.partners.slice(0, 3).map((one) => one.name).join(", "))) : null))));
}

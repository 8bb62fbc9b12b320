// The guess: how often to do what, and what each choice earns against each of theirs.

import { post } from "./ask.js";
import { el, fill, name, sentence, turnTo } from "./dom.js";
import { rove } from "./grid.js";
import { say, woven } from "./say.js";
import { number, percent, plain, said, sentences, signed, verdict } from "./words.js";

export async function guess(panel, question, { signal, replay }) {
  const answer = await post("v1/guess", { ...question, limit: 8 }, { signal });
  const unit = answer.unit === "win_chance" ? say("of the round") : say("damage");
  const detail = el("div", { class: "detail", tabindex: -1, role: "region", "aria-label": say("The chosen cell") },
    el("p", { class: "faint" }, say("Choose a cell for its reason.")));
  const cells = answer.table.map((line, y) => line.map((cell, x) => el("td", {
    role: "gridcell", tabindex: -1, class: `worth ${cell.value > 0.005 ? "gain" : cell.value < -0.005 ? "loss" : "even"}`,
    "aria-label": say("{mine} against {theirs}: {value} {unit}, {verdict}", {
      mine: answer.mine[y].name, theirs: answer.theirs[x].name, value: signed(cell.value), unit, verdict: said(cell.verdict),
    }),
  }, signed(cell.value))));
  const body = el("tbody", { role: "rowgroup" }, answer.mine.map((mine, y) => el("tr", { role: "row" },
    el("th", { role: "rowheader", scope: "row" }, name(mine.name), el("span", { class: "faint" }, ` ${percent(mine.share)}`)), cells[y])));
  rove(body, () => cells, (chosen) => {
    const y = cells.findIndex((line) => line.includes(chosen));
    const x = cells[y]?.indexOf(chosen);
    if (y < 0) return;
    const [mine, theirs, cell] = [answer.mine[y], answer.theirs[x], answer.table[y][x]];
    const late = answer.timed_by === "me" ? mine : theirs;
    const bare = (one) => ({ id: one.delay ? one.option.replace(/\+\d+$/, "") : one.option, name: one.name });
    fill(detail, el("h3", {}, woven("{mine} against {theirs}", { mine: name(mine.name), theirs: name(theirs.name) })),
      el("p", {}, verdict(cell.verdict), " ", [
        say("worth {value} {unit}: deals {dealt}", { value: signed(cell.value), unit, dealt: number(cell.dealt) }),
        say("takes {damage}", { damage: number(cell.taken) }),
        cell.further !== null && say("what is left {value}", { value: signed(cell.further) }),
        cell.advantage !== null && say("{advantage} frames", { advantage: signed(cell.advantage) }),
        cell.knockdown && cell.knockdown !== "none" && plain(cell.knockdown),
      ].filter(Boolean).join(", ")),
      el("p", {}, sentence(cell.sentence), " ", cell.rule ? el("code", { class: "rule" }, cell.rule) : null),
      el("button", { type: "button", click: () => replay(bare(mine), bare(theirs), late.delay) }, say("Frame by frame")));
    turnTo(detail);
  });
  detail.onkeydown = (event) => {
    if (event.key !== "Escape") return;
    event.stopPropagation();
    cells.flat().find((cell) => cell.tabIndex === 0)?.focus();
  };
  const table = el("table", { role: "grid", class: "heat payoffs", "aria-label": say("What each choice earns me, {unit}", { unit }) },
    el("thead", { role: "rowgroup" }, el("tr", { role: "row" }, el("th", { role: "columnheader", scope: "col" }, say("Mine / theirs")),
      answer.theirs.map((one) => el("th", { role: "columnheader", scope: "col" }, name(one.name),
        el("span", { class: "faint" }, ` ${percent(one.share)}`))))), body);
  const left = Object.entries(answer.left_out);
  fill(panel,
    el("p", {}, woven("{worth} when both play their best mix", {
      worth: el("strong", {}, say("Worth {value} {unit}", { value: signed(answer.value), unit })),
    }), " ", el("span", { class: "faint" }, "(", say("certain between {lower} and {upper}", {
      lower: signed(answer.lower), upper: signed(answer.upper),
    }), "; ", answer.unique ? say("mine is the only best mix") : say("other mixes of mine are as good"), ")")),
    el("div", { class: "pair" }, mix(say("My mix"), answer.mine), mix(say("Theirs"), answer.theirs)),
    sentences(say("Of the options"), answer.remarks),
    el("div", { class: "scrolled" }, table), detail, sentences(say("Cautions"), answer.cautions),
    left.length ? el("details", {}, el("summary", {}, say("Left out: {count}", { count: left.length })),
      el("ul", {}, left.map(([id, why]) => el("li", {}, name(plain(id)), ": ", sentence(why))))) : null);
  return { summary: `${answer.summary}.`, setting: answer.situation.sentence, pack: answer.pack, first: cells[0]?.[0] };
}

function mix(heading, options) {
  return el("div", {}, el("h3", {}, heading), el("ul", { class: "mix" }, options.filter((one) => one.share > 0.0005).map((one) => {
    const bar = el("span", { class: "bar", "aria-hidden": "true" });
    bar.style.inlineSize = `${Math.max(0, one.share) * 100}%`;
    return el("li", { title: one.sentence },
      el("span", { class: "row" }, el("span", { class: "grow" }, name(one.name)), percent(one.share)),
      el("span", { class: "rail" }, bar));
  })));
}

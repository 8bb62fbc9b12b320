// What to measure next, for this situation.

import { post } from "./ask.js";
import { el, fill, name, sentence } from "./dom.js";
import { say } from "./say.js";
import { number, plain } from "./words.js";

export async function labList(panel, question, { signal }) {
  const [answer, { situation }] = await Promise.all([
    post("v1/lab_list", { question, pack: question.pack, limit: 30 }, { signal }),
    post("v1/advice", { ...question, limit: 1, explain: "none" }, { signal }),
  ]);
  const head = [say("Measure"), say("Of"), say("Answers"), say("Alone"), say("Value")];
  const table = el("table", { class: "plain" }, el("caption", {}, say("Most valuable first")),
    el("thead", {}, el("tr", {}, head.map((text) => el("th", { scope: "col" }, text)))),
    el("tbody", {}, answer.items.map((item) => el("tr", {}, el("th", { scope: "row" }, plain(item.property)),
      el("td", {}, name(item.name)), el("td", {}, String(item.answers)), el("td", {}, String(item.alone)), el("td", {}, number(item.value))))));
  fill(panel,
    answer.items.length ? el("div", { class: "scrolled" }, table) : el("p", {}, say("Nothing that is unknown changes an answer here.")),
    el("p", { class: "faint" }, 
      say("{undecided} of {answers} answers hang on something unknown.", answer), " ",
      say("Value: an answer that hangs on several properties counts a part for each.")),
    answer.items.length ? el("ul", {}, answer.items.slice(0, 10).map((item) => el("li", {}, sentence(item.sentence)))) : null,
    answer.complete ? null : el("p", { class: "faint" }, say("The list is cut: the bound on the work was reached.")));
  return { summary: answer.summary, setting: situation.sentence, pack: answer.pack };
}

// The words of the page in its language: English is its own key, others come in a table of the service.

let words = new Map();
let forms = "";

/** Take the table of the page's language, or of the one that is named; without a table it is English. */
export async function speak(language = "") {
  try {
    const answer = await fetch("pages/said.json", language ? { headers: { "accept-language": language } } : {});
    if (!answer.ok) return;
    const told = await answer.json();
    words = new Map(Object.entries(told.words));
    forms = told.forms;
    document.documentElement.lang = told.language;
  } catch {
    // The service is away: what is asked of it next says so.
  }
}

/** A text that is said later, by `inWords`. */
export const mark = (text) => text;

export const inWords = (text) => words.get(text) ?? text;

const filled = (text, values) => text.split(/\{(\w+)\}/).map((part, at) => (at % 2 ? values[part] : part));

/** A sentence with its `{named}` places filled. */
export const say = (text, values = {}) => filled(inWords(text), values).join("");

/** The same as a list of texts and of what fills them: elements stay elements. */
export const woven = (text, values) => filled(inWords(text), values);

/** The sentence for `count` things; `{count}` is filled with it. */
export function many(one, more, count, values = {}) {
  const own = words.get(one);
  const form = own ? own[Number(forms[count < 200 ? count : 100 + (count % 100)])] : count === 1 ? one : more;
  return filled(form, { count, ...values }).join("");
}

await speak();

// Elements from plain values. Text is always text: nothing here, or anywhere on the page, reads markup.

const SVG = "http://www.w3.org/2000/svg";

/** An element: `of` are attributes (functions listen, false and null are left out), then children or texts. */
export function el(tag, of = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(of)) {
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, String(value));
  }
  made.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

/** A name from the data: it may run in either direction, and may be long. */
export const name = (text, of = {}) => el("bdi", { dir: "auto", class: "name", ...of }, String(text));

/** A sentence of the service: it runs as the page does, whatever names stand in it. */
export const sentence = (text) => el("span", { class: "name" }, String(text));

/** What replaces all children. */
export const fill = (at, ...children) => at.replaceChildren(...children.flat(3).filter((child) => child));

export const by = (id) => document.getElementById(id);

const SHAPES = {
  guaranteed: [["circle", { cx: 8, cy: 8, r: 6.5 }]],
  in_range: [["circle", { cx: 8, cy: 8, r: 5.6, ...line(1.8) }], ["circle", { cx: 8, cy: 8, r: 2.4 }]],
  beats: [["path", { d: "M8 1.8 15 14H1z" }]],
  holds: [["path", { d: "M2 4h12v3H2zM2 9h12v3H2z" }]],
  risky: [["path", { d: "M8 1 15 8 8 15 1 8z", ...line(1.6) }], ["path", { d: "M8 1v14L1 8z" }]],
  trades: [["path", { d: "M1 2h14L8 8l7 6H1l7-6z" }]],
  unknown: [["circle", { cx: 8, cy: 8, r: 6, ...line(1.8), "stroke-dasharray": "2.4 2.3" }]],
  loses: [["path", { d: "M3 3l10 10M13 3 3 13", ...line(3) }]],
};

function line(width) {
  return { fill: "none", stroke: "currentColor", "stroke-width": width };
}

/** The shape of a verdict, so that colour is never alone. */
export function shape(verdict) {
  const drawn = document.createElementNS(SVG, "svg");
  const of = { viewBox: "0 0 16 16", width: 16, height: 16, fill: "currentColor", "aria-hidden": "true", class: "shape" };
  for (const [key, value] of Object.entries(of)) drawn.setAttribute(key, value);
  for (const [tag, given] of SHAPES[verdict] ?? SHAPES.unknown) {
    const part = document.createElementNS(SVG, tag);
    for (const [key, value] of Object.entries(given)) part.setAttribute(key, value);
    drawn.append(part);
  }
  return drawn;
}

/** The focus goes to what was opened; it is scrolled to where it does not stand in view by itself. */
export const turnTo = (at) => at.focus({ preventScroll: getComputedStyle(at).position === "sticky" });

/** `run`, once nothing more comes for `wait` milliseconds. */
export function later(run, wait) {
  let timer = 0;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => run(...given), wait);
  };
}

// The form is one view of the question: it shows it, and makes the next one from it; what it has no field for stays.

import { moves } from "./ask.js";
import { combobox } from "./combobox.js";
import { by, el, fill, later } from "./dom.js";
import { say } from "./say.js";
import { plain } from "./words.js";

const SIDES = ["me", "them"];
const THREE = [["", say("unknown")], ["yes", say("yes")], ["no", say("no")]];
const truth = { "": null, yes: true, no: false };
const word = (value) => (value === true ? "yes" : value === false ? "no" : "");

const option = (value, text) => el("option", { value, dir: "auto" }, text);
const choices = (at, pairs) => fill(at, ...pairs.map(([value, text]) => option(value, text)));
const figure = (at) => (at.value.trim() === "" || !Number.isFinite(at.valueAsNumber) ? null : at.valueAsNumber);

/** A number is shown, except where somebody has just emptied the field to type another. */
function show(at, value) {
  const typing = at === document.activeElement && figure(at) === null;
  if (!typing && figure(at) !== (value ?? null)) at.value = value ?? "";
}

/** A select shows a value that it does not list too: the question may hold more than the pack has. */
function put(at, value) {
  if (value && ![...at.options].some((one) => one.value === String(value))) at.append(option(value, String(value)));
  at.value = value ?? "";
}

export class Form {
  /** `changed(question)` is called with every question that a person makes. */
  constructor(board, changed) {
    this.board = board;
    this.known = new Map();
    this.question = null;
    this.move = combobox("move", say("Moves"), () => this.read());
    by("move-field").append(this.move.element);
    by("move").setAttribute("aria-keyshortcuts", "v");
    this.changed = changed;
    choices(by("pack"), board.packs.map((pack) => [pack.id, `${pack.name} ${pack.version}`]));
    for (const at of document.querySelectorAll("select.three")) choices(at, THREE);
    const typed = later(() => this.read(), 250);
    const form = by("situation");
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("change", (event) => {
      if (event.target.id === "pack") this.opened(event.target.value);
      else if (event.target.id !== "move" && event.target.id !== "channel") this.read(event.target.id);
    });
    form.addEventListener("input", (event) => event.target.type === "number" && typed());
  }

  get pack() {
    const id = this.question?.pack ?? this.board.default;
    return this.board.packs.find((pack) => pack.id === id) ?? this.board.packs[0];
  }

  /** The question that a pack opens with. */
  opened(id) {
    const pack = this.board.packs.find((one) => one.id === id);
    if (pack?.opening) this.changed(pack.opening);
  }

  async movesOf(character) {
    const key = `${this.pack.id} ${character}`;
    if (!this.known.has(key)) this.known.set(key, moves(this.pack.id, character));
    try {
      return await this.known.get(key);
    } catch (error) {
      this.known.delete(key);
      throw error;
    }
  }

  /** Show a question; its moves come when they come. */
  show(question) {
    this.question = question;
    const pack = this.pack;
    const { moment } = question;
    by("pack").value = pack.id;
    for (const side of SIDES) {
      const fighter = question[side];
      choices(by(side), pack.characters.map((one) => [one.id, one.name]));
      put(by(side), fighter.character);
      choices(by(`${side}-stance`), [["", say("none")], ...(pack.stances[fighter.character] ?? []).map((id) => [id, plain(id)])]);
      put(by(`${side}-stance`), fighter.stance);
      by(`${side}-wall`).value = word(fighter.near_wall);
      by(`${side}-back`).checked = fighter.back_turned === true;
      show(by(`${side}-meter`), fighter.meter);
      show(by(`${side}-health`), fighter.health);
      const whole = pack.characters.find((one) => one.id === fighter.character)?.health;
      by(`${side}-health`).placeholder = whole ?? "";
    }
    choices(by("state"), pack.knockdowns.map((one) => [one.id, one.meaning ? `${plain(one.id)} \u2013 ${one.meaning}` : plain(one.id)]));
    by("kind").value = moment.kind;
    for (const at of document.querySelectorAll("[data-for]")) at.hidden = !at.dataset.for.split(" ").includes(moment.kind);
    if (moment.attacker) by("attacker").value = moment.attacker;
    if (moment.kind === "advantage") {
      show(by("frames"), moment.frames);
      by("held").value = moment.held ?? "recovery";
    }
    if (moment.kind === "knockdown") {
      show(by("lead"), moment.frames);
      by("floored").value = moment.floored;
      put(by("state"), moment.state);
    }
    const named = Object.entries(pack.distances).map(([id, away]) => [id, `${plain(id)} (${away} ${pack.unit})`]);
    choices(by("range"), [["", say("unknown")], ...named, ["#", say("a number of {unit}", { unit: pack.unit })]]);
    const exact = typeof question.distance === "number";
    put(by("range"), exact ? "#" : question.distance);
    by("away-field").hidden = !exact;
    if (exact) show(by("away"), question.distance);
    by("floor").value = word(question.floor_breaks);
    put(by("limit"), question.limit ?? 10);
    by("lab-says").value = question.trials ?? "";
    by("player").value = question.player ?? "";
    if (moment.move && SIDES.includes(moment.attacker)) this.showMove(question[moment.attacker].character, moment.move);
    const more = SIDES.some((side) => Object.keys(question[side]).some((key) => key !== "character" && question[side][key]));
    if (more || word(question.floor_breaks)) by("surroundings").open = true;
  }

  async showMove(character, move) {
    const pack = this.pack;
    const keys = new Set(pack.characters.find((one) => one.id === character)?.key_moves ?? []);
    this.move.show(move);
    const found = await this.movesOf(character).catch(() => []);
    if (this.question?.moment.move !== move) return;
    const attacks = found.filter((one) => one.kind === "attack");
    const list = [...attacks.filter((one) => keys.has(one.id)), ...attacks.filter((one) => !keys.has(one.id))];
    this.move.options(list.map((one) => ({ id: one.id, name: one.name, input: one.input, key: keys.has(one.id) })));
  }

  /** The move that stands first for a character: a key move that is recorded for the moment. */
  async firstMove(character, kind) {
    const keys = this.pack.characters.find((one) => one.id === character)?.key_moves ?? [];
    const found = (await this.movesOf(character)).filter((one) => one.kind === "attack");
    const known = found.filter((one) => (kind === "blocked" ? one.on_block : one.on_hit) !== null);
    const order = [...known.filter((one) => keys.includes(one.id)), ...known, ...found];
    return order[0]?.id ?? "";
  }

  /** Make the question that the fields show; `from` is the field that was changed. */
  async read(from = "") {
    const before = this.question;
    const question = structuredClone(before);
    for (const side of SIDES) {
      const other = by(side).value !== before[side].character;
      question[side] = {
        ...before[side], character: by(side).value, stance: other ? null : by(`${side}-stance`).value || null,
        near_wall: truth[by(`${side}-wall`).value], back_turned: by(`${side}-back`).checked,
        meter: figure(by(`${side}-meter`)), health: other ? null : figure(by(`${side}-health`)),
      };
    }
    question.moment = await this.moment(before, question);
    const range = by("range").value;
    if (range !== "#") question.distance = range || null;
    else question.distance = from === "range" ? (this.pack.distances[before.distance] ?? 1) : (figure(by("away")) ?? before.distance);
    question.floor_breaks = truth[by("floor").value];
    question.limit = Number(by("limit").value);
    question.trials = by("lab-says").value || null;
    question.player = by("player").value.trim() || null;
    // What was picked out for another match-up or moment does not hold for this one.
    if (JSON.stringify([question.me, question.them, question.moment.kind]) !== JSON.stringify([before.me, before.them, before.moment.kind])) {
      question.responses = null;
      question.replies = null;
    }
    if (this.question === before) this.changed(question);
  }

  async moment(before, question) {
    const kind = by("kind").value;
    const was = before.moment;
    if (kind === "neutral") return { kind };
    if (kind === "advantage") return { kind, frames: figure(by("frames")) ?? 0, held: by("held").value };
    if (kind === "knockdown") {
      return { kind, floored: by("floored").value, state: by("state").value, frames: figure(by("lead")) ?? 0 };
    }
    const attacker = by("attacker").value;
    const character = question[attacker].character;
    const same = was.move && was.attacker === attacker && before[attacker].character === character;
    const chosen = this.move.chosen();
    return { kind, attacker, move: same && chosen ? chosen : await this.firstMove(character, kind) };
  }
}

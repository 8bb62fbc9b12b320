"""A replay as a strip: a row of cells for each side, a ruler, what happens below; as SVG.

A phase is told by its letter, its pattern and its shade, so that it reads in greyscale too. The letters are
those of the text form.
"""

from __future__ import annotations

import re
import textwrap
from typing import Any
from xml.etree.ElementTree import Element, SubElement, register_namespace, tostring

from advisor.pictures.look import look
from advisor.sentences import in_words, mark, say
from advisor.studies.replay_answer import Event, ReplayAnswer, SideFrame, StripFrame

__all__ = [
    "BODIES", "PHASES", "body_letter", "legend_of", "phase_letter", "phase_of", "replay_svg", "replay_tree",
]  # fmt: skip

PHASES = {
    "free": (".", mark("free")), "startup": ("s", mark("startup")), "active": ("A", mark("active")),
    "parrying": ("P", mark("parrying")), "recovery": ("r", mark("recovery")), "held": ("R", mark("held in recovery")),
    "blockstun": ("B", mark("blockstun")), "hitstun": ("H", mark("hitstun")), "knockdown": ("K", mark("knockdown")),
    "guarding": ("g", mark("guarding")), "moving": ("m", mark("moving")), "unknown": ("?", mark("not known")),
}  # fmt: skip
"""Letter and English meaning of a phase."""

BODIES = {
    "invulnerable": ("i", mark("invulnerable")), "armour": ("a", mark("armour")), "parry": ("p", mark("parry window")),
    "sidestep": ("~", mark("sidestep")), "airborne": ("^", mark("airborne")), "grounded": ("_", mark("on the floor")),
    "crouching": ("c", mark("crouching")), "unknown": ("?", mark("not known")),
}  # fmt: skip
"""Letter and English meaning of what is special about a body; the first that holds is shown."""

_SHADES = {
    "free": "#ffffff", "startup": "#dcdcdc", "active": "#303030", "parrying": "#484848", "recovery": "#b4b4b4",
    "held": "#a0a0a0", "blockstun": "#8c8c8c", "hitstun": "#707070", "knockdown": "#585858", "guarding": "#f0f0f0",
    "moving": "#e8e8e8", "unknown": "#ffffff",
}  # fmt: skip
_DARK = ("active", "parrying", "hitstun", "knockdown")
_HATCHES = {
    "startup": "M0 14 L14 0", "recovery": "M0 0 L14 14", "held": "M0 0 L14 14 M0 14 L14 0", "blockstun": "M0 7 L14 7",
    "hitstun": "M7 0 L7 14", "knockdown": "M0 7 L14 7 M7 0 L7 14", "guarding": "M0 3 L14 3 M0 11 L14 11",
    "moving": "M3 0 L3 14 M11 0 L11 14", "unknown": "M0 0 L3 3 M7 7 L10 10", "parrying": "M0 4 L14 4",
}  # fmt: skip
_CELL, _LEFT, _PER_ROW, _LINE = 14, 64, 60, 16
_WIDEST = 110
_FONT = "DejaVu Sans Mono, Menlo, Consolas, monospace"
_ILLEGAL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_NAMESPACE = "http://www.w3.org/2000/svg"
register_namespace("", _NAMESPACE)


def phase_of(side: SideFrame) -> str:
    """The key of ``PHASES`` for a side on a frame."""
    if side.phase == "recovery" and side.doing == "held":
        return "held"
    if side.phase == "active" and any(w.kind == "parry" for w in side.windows):
        return "parrying"
    return side.phase


def phase_letter(side: SideFrame) -> str:
    """One character for what the side is doing."""
    return PHASES[phase_of(side)][0]


def body_letter(side: SideFrame) -> str:
    """One character for what is special about its body; a blank when nothing is."""
    if side.posture == "unknown":
        return BODIES["unknown"][0]
    kinds = {w.kind for w in side.windows if side.phase != "blockstun"} | {side.posture}
    return next((letter for word, (letter, _) in BODIES.items() if word in kinds), " ")


def legend_of(frames: list[StripFrame]) -> list[tuple[str, str]]:
    """Letter and meaning, in the language that is spoken, of all that is on the strip: phases, then bodies."""
    sides = [side for frame in frames for side in (frame.me, frame.them)]
    phases, bodies = {phase_of(side) for side in sides}, {body_letter(side) for side in sides}
    shown = [pair for word, pair in PHASES.items() if word in phases]
    shown += [pair for pair in BODIES.values() if pair[0] in bodies and pair not in shown]
    return [(letter, in_words(said)) for letter, said in shown]


def replay_svg(answer: ReplayAnswer, request: Any, *, theme: str = "light") -> bytes:
    """The strip as an SVG document in UTF-8; ``request`` is not needed. Errors: ``QuestionError`` for the theme."""
    del request
    return bytes(tostring(replay_tree(answer, theme), encoding="utf-8", xml_declaration=True))


def replay_tree(answer: ReplayAnswer, theme: str = "light") -> Element:
    """The root of that document: a title, a description, patterns, rectangles and lines of text."""
    colours = look("svg", theme).colours
    rows = [answer.frames[at : at + _PER_ROW] for at in range(0, len(answer.frames), _PER_ROW)]
    legend = legend_of(answer.frames)
    events = [(event, textwrap.wrap(event.sentence, _WIDEST)) for event in answer.events]
    lines = len(legend) + sum(len(said) for _, said in events)
    high = (5 + len(rows) * 7 + lines + 4) * _LINE
    wide = _LEFT + _PER_ROW * _CELL + 16
    root = _part(None, "svg", viewBox=f"0 0 {wide} {high}", width=wide, height=high, role="img", color=colours.ink)
    root.set("aria-labelledby", "title desc")
    _part(root, "title", answer.summary, id="title")
    _part(root, "desc", _description(answer), id="desc")
    _patterns(root)
    _part(root, "rect", width=wide, height=high, fill=colours.paper)
    _text(root, 8, _LINE * 1.5, answer.summary, weight="bold")
    _text(root, 8, _LINE * 2.6, say("me: {character}, {me}", character=answer.me.character, me=answer.me.name))
    them = say("them: {character}, {them}", character=answer.them.character, them=answer.them.name)
    _text(root, 8, _LINE * 3.6, them)
    top = 5.0 * _LINE
    for row in rows:
        _strip(root, row, answer.contact.frame, top)
        top += 7 * _LINE
    for letter, said in legend:
        _sample(root, letter, said, top)
        top += _LINE
    for event, told in events:
        _event(root, event, told, top + 2 * _LINE)
        top += len(told) * _LINE
    return root


def _part(parent: Element | None, tag: str, text: str = "", **attributes: object) -> Element:
    name = f"{{{_NAMESPACE}}}{tag}"
    given = {key.replace("_", "-"): _clean(str(value)) for key, value in attributes.items()}
    made = Element(name, given) if parent is None else SubElement(parent, name, given)
    if text:
        made.text = _clean(text)
    return made


def _clean(text: str) -> str:
    """The text without what XML 1.0 cannot hold."""
    return _ILLEGAL.sub("?", text)


def _text(
    parent: Element, x: float, y: float, text: str, *, fill: str = "currentColor", anchor: str = "start",
    weight: str = "normal",
) -> None:
    _part(
        parent, "text", text, x=f"{x:g}", y=f"{y:g}", fill=fill, text_anchor=anchor, font_family=_FONT, font_size=11,
        font_weight=weight,
    )  # fmt: skip


def _patterns(root: Element) -> None:
    """One hatch a phase over its shade."""
    home = _part(root, "defs")
    for word, shade in _SHADES.items():
        tile = _part(home, "pattern", id=f"p-{word}", width=_CELL, height=_CELL, patternUnits="userSpaceOnUse")
        _part(tile, "rect", width=_CELL, height=_CELL, fill=shade)
        if word in _HATCHES:
            ink = "#b8b8b8" if word in _DARK else "#808080"
            _part(tile, "path", d=_HATCHES[word], stroke=ink, fill="none", stroke_width=0.8)


def _strip(root: Element, row: list[StripFrame], contact: int | None, top: float) -> None:
    """One run of frames: ruler, a row of phases and one of bodies for each side."""
    _text(root, 8, top + 1.8 * _LINE, in_words("me"))
    _text(root, 8, top + 3.8 * _LINE, in_words("them"))
    for place, frame in enumerate(row):
        x = _LEFT + place * _CELL
        if frame.frame % 5 == 0 or place == 0:
            _text(root, x + _CELL / 2, top + 0.7 * _LINE, str(frame.frame), anchor="middle")
        for down, side in ((1, frame.me), (3, frame.them)):
            _cell(root, side, x, top + down * _LINE)
        if frame.frame == contact:
            _part(
                root, "rect", x=x - 1, y=top + 0.9 * _LINE, width=_CELL + 2, height=4.2 * _LINE, fill="none",
                stroke="currentColor", stroke_width=2.5,
            )  # fmt: skip


def _cell(root: Element, side: SideFrame, x: float, y: float) -> None:
    _box(root, phase_of(side), x, y)
    if (letter := body_letter(side)).strip():
        _text(root, x + _CELL / 2, y + _LINE + 9, letter, anchor="middle")


def _box(root: Element, word: str, x: float, y: float) -> None:
    """One cell of a phase: shade, hatch and letter."""
    _part(
        root, "rect", x=f"{x:g}", y=f"{y:g}", width=_CELL, height=_LINE - 2, fill=f"url(#p-{word})", stroke="#606060",
        stroke_width=0.5,
    )  # fmt: skip
    ink = "#ffffff" if word in _DARK else "#000000"
    _text(root, x + _CELL / 2, y + 11, PHASES[word][0], fill=ink, anchor="middle", weight="bold")


def _sample(root: Element, letter: str, said: str, top: float) -> None:
    """One line of the legend: a cell as the strip has it, and what it means."""
    word = next((key for key, (sign, means) in PHASES.items() if (sign, in_words(means)) == (letter, said)), None)
    if word is None:
        _text(root, 8 + _CELL / 2, top + 11, letter, anchor="middle")
    else:
        _box(root, word, 8, top)
    _text(root, 8 + 2 * _CELL, top + 11, said)


def _event(root: Element, event: Event, told: list[str], y: float) -> None:
    when = str(event.frame) if event.last == event.frame else f"{event.frame}-{event.last}"
    _text(root, 56, y, when, anchor="end")
    _text(root, 64, y, {"me": in_words("me"), "them": in_words("them"), "both": in_words("both")}[event.by])
    for place, line in enumerate(told):
        _text(root, 106, y + place * _LINE, line)


def _description(answer: ReplayAnswer) -> str:
    """The picture in words, for those who do not see it."""
    said = "; ".join(
        say("frame {frame}: {sentence}", frame=event.frame, sentence=event.sentence) for event in answer.events
    )
    return f"{answer.situation.sentence} {said}. {answer.sentence}"

"""The strip as SVG: well formed, told in words too, every frame a cell, and safe with any name."""

from __future__ import annotations

import re
from functools import cache
from typing import Any
from xml.etree import ElementTree

import msgspec
import pytest

from advisor.pictures.replay_strip import BODIES, PHASES, body_letter, legend_of, phase_letter, replay_svg
from advisor.studies.replay import STUDY, Replay, replay
from advisor.studies.replay_answer import ReplayAnswer, SideFrame, WindowOn
from tests.unit.advice.demo import shelf

NAMESPACE = {"s": "http://www.w3.org/2000/svg"}


def asked(**more: Any) -> tuple[ReplayAnswer, Replay]:
    here = shelf()
    request = msgspec.convert({**STUDY.example, **more}, Replay)
    return replay(here.pack, here.rules, here.evaluator, request), request


@cache
def drawn() -> tuple[ReplayAnswer, ElementTree.Element]:
    answer, request = asked(frames=200)
    return answer, ElementTree.fromstring(replay_svg(answer, request))


def cells(root: ElementTree.Element) -> list[str]:
    """The phases of the cells, in the order in which they are drawn."""
    fills = [rect.get("fill", "") for rect in root.findall("s:rect", NAMESPACE)]
    return [fill[len("url(#p-") : -1] for fill in fills if fill.startswith("url(#p-")]


def test_every_frame_of_both_sides_is_a_cell() -> None:
    answer, root = drawn()
    words = {letter: word for word, (letter, _) in PHASES.items()}
    want = [words[phase_letter(side)] for frame in answer.frames for side in (frame.me, frame.them)]
    assert cells(root)[: len(want)] == want
    assert len(cells(root)) == len(want) + len([pair for pair in legend_of(answer.frames) if pair in PHASES.values()])


def test_every_pattern_that_is_used_is_there_and_no_two_look_alike() -> None:
    _, root = drawn()
    tiles = {p.get("id"): p for p in root.findall("s:defs/s:pattern", NAMESPACE)}
    assert {f"p-{word}" for word in PHASES} == set(tiles)
    looks = []
    for tile in tiles.values():
        rect, path = tile.find("s:rect", NAMESPACE), tile.find("s:path", NAMESPACE)
        assert rect is not None
        looks.append((rect.get("fill"), None if path is None else path.get("d")))
    assert len(set(looks)) == len(looks)
    grey = re.compile(r"#([0-9a-f]{2})\1\1")
    assert all(grey.fullmatch(fill or "") for fill, _ in looks), "colour alone must not tell anything"


def test_it_is_told_in_words() -> None:
    answer, root = drawn()
    title, desc = root.find("s:title", NAMESPACE), root.find("s:desc", NAMESPACE)
    assert title is not None and desc is not None and desc.text is not None
    assert title.text == answer.summary
    assert answer.sentence in desc.text
    assert all(event.sentence in desc.text for event in answer.events)
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"


def test_all_of_it_is_inside_the_picture() -> None:
    for more in ({}, {"distance": None, "reply": "cinder_knee", "frames": 300}, {"frames": 1}):
        answer, request = asked(**more)
        root = ElementTree.fromstring(replay_svg(answer, request))
        wide, high = float(root.get("width", 0)), float(root.get("height", 0))
        for part in root.iter():
            if part.tag.endswith("}text") or (part.tag.endswith("}rect") and part.get("x")):
                assert 0 <= float(part.get("x", 0)) <= wide
                assert 0 <= float(part.get("y", 0)) <= high
            if part.tag.endswith("}text") and part.get("text-anchor") == "start":
                # A letter of the font is about 6.7 wide.
                assert float(part.get("x", 0)) + 6.7 * len(part.text or "") <= wide


@pytest.mark.parametrize(
    "name", ["<b>&\"'", "a\x00b\x1bc", "]]>", "\ud83d\ude00".encode("utf-16", "surrogatepass").decode("utf-16")]
)
def test_any_name_is_text_and_nothing_else(name: str) -> None:
    answer, request = asked()
    answer.me.name = answer.summary = answer.events[0].sentence = name
    root = ElementTree.fromstring(replay_svg(answer, request))
    title = root.find("s:title", NAMESPACE)
    assert title is not None and title.text == re.sub("[\x00-\x1f]", "?", name)
    assert {part.tag.rpartition("}")[2] for part in root.iter()} <= {
        "svg", "title", "desc", "defs", "pattern", "rect", "path", "text",
    }  # fmt: skip


def test_nothing_to_show_is_a_picture_too() -> None:
    answer, request = asked()
    bare = msgspec.structs.replace(answer, frames=[], events=[])
    assert cells(ElementTree.fromstring(replay_svg(bare, request))) == []


def test_the_same_answer_is_the_same_picture() -> None:
    answer, request = asked()
    assert replay_svg(answer, request) == replay_svg(answer, request)


def test_letters_tell_phases_and_bodies_apart() -> None:
    for table in (PHASES, BODIES):
        letters = [letter for letter, _ in table.values()]
        assert len(set(letters)) == len(letters)
        assert all(len(letter) == 1 and letter.isascii() for letter in letters)
    ducking = SideFrame(phase="startup", posture="crouching", doing="option")
    assert (phase_letter(ducking), body_letter(ducking)) == ("s", "c")
    ducking.windows = [WindowOn(kind="invulnerable", number=1)]
    assert body_letter(ducking) == "i"
    assert body_letter(SideFrame(phase="free", posture="standing", doing="free")) == " "
    assert phase_letter(SideFrame(phase="recovery", posture="standing", doing="held")) == "R"
    assert phase_letter(SideFrame(phase="recovery", posture="standing", doing="option")) == "r"

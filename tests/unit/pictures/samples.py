"""Answers to draw, names that try to be more than names, and readers of what was drawn."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from functools import cache

import msgspec
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from advisor.library import load_library
from advisor.studies.coverage import STUDY, Coverage
from advisor.studies.coverage_answer import Cell, CoverageAnswer, ReplyHead
from advisor.studies.weighing import FrameRun

SVG = "{http://www.w3.org/2000/svg}"
HEBREW = "\u05e9\u05dc\u05d5\u05dd"
ARABIC = "\u0645\u0631\u062d\u0628\u0627"
HAN = "\u5c71\u5ddd \u98a8"
HOSTILE = (
    "$x^2$",
    "<script>alert(1)</script>",
    "a & b",
    HEBREW,
    ARABIC,
    HAN,
    "\\frac{1}{2}",
    "$\\bad{",
    "&lt;b&gt;",
    "]]>",
)


@cache
def _encoded() -> bytes:
    request = msgspec.convert({**STUDY.example, "limit": 10}, Coverage)
    return msgspec.json.encode(load_library().study("coverage", request))


def coverage() -> CoverageAnswer:
    """The study's own example, ten rows by ten columns, a fresh copy."""
    return msgspec.json.decode(_encoded(), type=CoverageAnswer)


def small(verdicts: tuple[str, ...] = ("guaranteed", "unknown")) -> CoverageAnswer:
    """One row with a column for each verdict, which stands on delays 2 to 5 of 0 to 60."""
    answer = coverage()
    row = answer.rows[0]
    run = FrameRun(first=2, last=5)
    cells = []
    for i, verdict in enumerate(verdicts):
        cell = msgspec.structs.replace(row.cells[0], reply=f"reply_{i}", name=f"Reply {i}", verdict=verdict)
        cell.covers = [run] if verdict in ("guaranteed", "beats") else []
        cell.loses = [run] if verdict == "loses" else []
        end = msgspec.structs.replace(
            cell.windows[0], first=0, last=1, verdict="holds" if verdict != "holds" else "beats"
        )
        cell.windows = [
            end,
            msgspec.structs.replace(end, first=2, last=5, verdict=verdict),
            msgspec.structs.replace(end, first=6, last=60),
        ]
        cells.append(cell)
    row.cells = cells
    answer.rows = [row]
    answer.replies = [ReplyHead(reply=c.reply, name=c.name, chosen=True) for c in cells]
    return answer


def renamed(word: str) -> CoverageAnswer:
    """A small answer in which everything is named so."""
    answer = small()
    answer.summary = answer.rows[0].name = answer.rows[0].sentence = word
    for cell, head in zip(answer.rows[0].cells, answer.replies, strict=True):
        cell.name = head.name = word
    return answer


def cells_of(answer: CoverageAnswer) -> list[Cell]:
    """All cells, row by row."""
    return [cell for row in answer.rows for cell in row.cells]


def tree(picture: bytes) -> ET.Element:
    """The SVG, parsed."""
    return ET.fromstring(picture)


def texts(picture: bytes) -> list[str]:
    """What an SVG writes, in the order of writing."""
    return ["".join(element.itertext()) for element in tree(picture).iter(f"{SVG}text")]


def said(picture: bytes, tag: str) -> str:
    """The ``title`` or ``desc`` of an SVG."""
    element = tree(picture).find(f"{SVG}{tag}")
    assert element is not None
    return element.text or ""


def pixels(picture: bytes) -> NDArray[np.uint8]:
    """The PNG as [y, x, red green blue]."""
    with Image.open(io.BytesIO(picture)) as image:
        return np.asarray(image.convert("RGB"))


def commonest(area: NDArray[np.uint8]) -> str:
    """The colour of most dots, ``#rrggbb``."""
    packed = area.astype(np.uint32) @ np.array([0x10000, 0x100, 1], dtype=np.uint32)
    colours, counts = np.unique(packed, return_counts=True)
    return f"#{colours[counts.argmax()]:06x}"

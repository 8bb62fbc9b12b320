"""A picture for the inside of a page: one drawing that follows the reader's colours, small, with ids of its own.

The two drawings of a picture differ in colours only. Where they do, the page gets a variable that has the light colour,
and the dark one where the reader prefers that: one copy serves both, and its text stays text.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

__all__ = ["Shared", "inlined"]

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
_SHAPES = ("d", "transform", "points", "x", "y", "x1", "x2", "y1", "y2", "cx", "cy", "r", "width", "height")
_LONG = re.compile(r"(\d+\.\d\d)\d+")
_LOCAL = re.compile(r"url\(#([^)]+)\)")
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}\b")
_DROPPED = (f"{{{SVG}}}metadata", f"{{{SVG}}}style")


class Shared:
    """What the pictures of a page share: pairs of colours, each with its variable, and hatches, each with its id."""

    def __init__(self) -> None:
        self._known: dict[tuple[str, str], str] = {}
        self._hatches: dict[str, str] = {}

    def variable(self, light: str, dark: str) -> str:
        """``var(--name)`` of a pair."""
        name = self._known.setdefault((light, dark), f"--ink{len(self._known)}")
        return f"var({name})"

    def rules(self, dark: bool) -> str:
        """Their declarations for the light or the dark page."""
        return "".join(f"{name}:{pair[dark]};" for pair, name in self._known.items())

    def hatch(self, pattern: ET.Element) -> str:
        """The id of a hatch, the same for all that look the same."""
        bare = ET.Element(pattern.tag, {name: value for name, value in pattern.attrib.items() if name != "id"})
        bare.extend(pattern)
        return self._hatches.setdefault(_text(bare), f"hatch{len(self._hatches)}")

    def hatches(self) -> str:
        """An element that shows nothing and has all of them; empty without any."""
        if not self._hatches:
            return ""
        each = "".join(text.replace("<pattern", f'<pattern id="{id}"', 1) for text, id in self._hatches.items())
        return f'<svg width="0" height="0" style="position:absolute" aria-hidden="true"><defs>{each}</defs></svg>'


def inlined(light: bytes, dark: bytes, prefix: str, shared: Shared) -> str:
    """The drawing as an element of a page; its ids begin with ``prefix``, those of ``shared`` hatches apart.

    Drawings that are not alike but for their colours are given in the light ones alone.
    """
    tree, other = ET.fromstring(light), ET.fromstring(dark)
    pairs = list(zip(tree.iter(), other.iter(), strict=False))
    if _shape(tree) == _shape(other):
        for mine, theirs in pairs:
            _coloured(mine, theirs, shared)
    _trimmed(tree)
    hatches = _without_hatches(tree, shared)
    for node in tree.iter():
        _renamed(node, prefix, hatches)
    return _text(tree)


def _text(tree: ET.Element) -> str:
    """The element as a page has it, where names need no namespace."""
    for node in tree.iter():
        node.tag = node.tag.removeprefix(f"{{{SVG}}}")
        for name in [name for name in node.attrib if name.startswith(f"{{{XLINK}}}")]:
            node.set("href", node.attrib.pop(name))
    return ET.tostring(tree, encoding="unicode")


def _without_hatches(tree: ET.Element, shared: Shared) -> dict[str, str]:
    """Take the hatches out of the drawing; the shared id of each by the one that it had."""
    found = {}
    for parent in tree.iter():
        for pattern in [child for child in parent if child.tag == f"{{{SVG}}}pattern"]:
            parent.remove(pattern)
            found[pattern.get("id", "")] = shared.hatch(pattern)
    return found


def _shape(tree: ET.Element) -> list[tuple[str, int, str | None]]:
    return [(node.tag, len(node), node.text) for node in tree.iter()]


def _coloured(mine: ET.Element, theirs: ET.Element, shared: Shared) -> None:
    for name, value in mine.attrib.items():
        other = theirs.get(name, value)
        if value == other or name not in ("style", "fill", "stroke"):
            continue
        here, there = _COLOUR.findall(value), _COLOUR.findall(other)
        if len(here) != len(there):
            continue
        dark = iter(there)
        said = _COLOUR.sub(lambda found: _ink(found[0], next(dark), shared), value)  # noqa: B023
        if name == "style":
            mine.set(name, said)
        else:
            # A variable works in a style only, not in an attribute.
            del mine.attrib[name]
            mine.set("style", f"{name}: {said}; {mine.get('style', '')}".rstrip("; "))
            break


def _ink(light: str, dark: str, shared: Shared) -> str:
    return light if light == dark else shared.variable(light, dark)


def _trimmed(tree: ET.Element) -> None:
    """Without what nobody sees: data about the file, rules for the whole page, digits past a hundredth of a dot."""
    for node in tree.iter():
        for child in [child for child in node if child.tag in _DROPPED]:
            node.remove(child)
        if node.text is not None and not node.text.strip():
            node.text = None
        node.tail = None
        for name in _SHAPES:
            value = node.get(name)
            if value is not None:
                node.set(name, " ".join(_LONG.sub(r"\1", value).split()))


def _renamed(node: ET.Element, prefix: str, hatches: dict[str, str]) -> None:
    """Ids and what points at them, so that no two pictures of a page have the same."""
    for name, value in node.attrib.items():
        if name == "id":
            node.set(name, prefix + value)
        elif name in ("href", f"{{{XLINK}}}href") and value.startswith("#"):
            node.set(name, f"#{prefix}{value[1:]}")
        elif "url(#" in value:
            node.set(name, _LOCAL.sub(lambda found: f"url(#{hatches.get(found[1], prefix + found[1])})", value))

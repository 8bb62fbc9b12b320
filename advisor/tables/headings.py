"""The words by which a first mapping knows a heading; everything else is asked, not guessed.

A heading is compared without case, spaces and signs: ``On Block`` and ``on_block`` are ``onblock``.
"""

from __future__ import annotations

import re

__all__ = ["HEADINGS", "UNSURE", "plain_heading", "property_of"]

HEADINGS: dict[str, tuple[str, ...]] = {
    "id": ("id", "moveid", "slug", "key"),
    "name": ("name", "movename", "attackname"),
    "input": ("input", "inputs", "command", "notation"),
    "kind": ("kind",),
    "level": ("level", "hitlevel", "height", "guardlevel"),
    "startup": ("startup", "startupframes", "startupframe", "st"),
    "active": ("active", "activeframes", "act"),
    "recovery": ("recovery", "recoveryframes", "rec"),
    "total": ("total", "totalframes", "duration"),
    "damage": ("damage", "dmg"),
    "chip": ("chip", "chipdamage", "blockdamage"),
    "on_block": ("onblock", "block", "blockadv", "blockadvantage", "advblock", "advonblock", "blockframes"),
    "on_hit": ("onhit", "hit", "hitadv", "hitadvantage", "advhit", "advonhit", "hitframes"),
    "on_counter_hit": (
        "oncounterhit",
        "counterhit",
        "onch",
        "ch",
        "chadv",
        "counterhitadvantage",
        "counterhitframes",
    ),
    "blockstun": ("blockstun",),
    "hitstun": ("hitstun",),
    "reach": ("reach", "range"),
    "pushback": ("pushback",),
    "pushback_block": ("pushbackblock", "pushbackonblock", "blockpushback"),
    "pushback_hit": ("pushbackhit", "pushbackonhit", "hitpushback"),
    "tracking": ("tracking", "tracks"),
    "breaks": ("breaks", "throwbreak", "throwbreaks", "break"),
    "tags": ("tags", "properties", "attributes"),
    "cost": ("cost", "metercost"),
    "note": ("note", "notes", "comment", "comments", "remarks"),
    "source": ("source", "sources"),
}
"""Property to the headings that mean it without doubt."""

UNSURE: dict[str, tuple[str, ...]] = {
    "move": ("name", "input", "id"),
    "attack": ("name", "input"),
    "frames": ("startup", "total"),
    "speed": ("startup",),
    "impact": ("startup",),
    "firstactive": ("startup",),
    "advantage": ("on_block", "on_hit"),
    "adv": ("on_block", "on_hit"),
    "guard": ("on_block", "level"),
    "type": ("kind", "level", "tags"),
    "push": ("pushback", "pushback_block"),
    "distance": ("reach", "pushback"),
    "meter": ("cost",),
}
"""Headings that may mean several things: offered as a question."""

_PROPERTY = {word: name for name, words in HEADINGS.items() for word in words}


def plain_heading(heading: str) -> str:
    """The heading without case, spaces and signs."""
    return re.sub(r"[\W_]+", "", heading.lower())


def property_of(heading: str) -> str:
    """The property that the heading means without doubt, or an empty string."""
    return _PROPERTY.get(plain_heading(heading), "")

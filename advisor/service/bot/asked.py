"""What a command asks: its options as the body of a question or study."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

import msgspec

from advisor.errors import QuestionError

__all__ = ["MOMENTS", "OPTIONS", "Value", "body_of", "ids_of", "option_at"]

Value = str | int | float | bool
MOMENTS = {
    "i_blocked": ("blocked", "them"), "they_blocked": ("blocked", "me"), "i_was_hit": ("hit", "them"),
    "they_were_hit": ("hit", "me"), "i_was_counter_hit": ("counter_hit", "them"),
    "they_were_counter_hit": ("counter_hit", "me"), "i_whiffed": ("whiffed", "me"), "they_whiffed": ("whiffed", "them"),
    "they_are_down": ("knockdown", "them"), "i_am_down": ("knockdown", "me"), "advantage": ("advantage", ""),
    "neutral": ("neutral", ""),
}  # fmt: skip
"""Moment by the value of the option: its kind, and whose move it was or who lies on the ground."""
GOES_WITH = {
    "blocked": {"move"}, "hit": {"move"}, "counter_hit": {"move"}, "whiffed": {"move"},
    "knockdown": {"knockdown", "frames"}, "advantage": {"frames", "held"}, "neutral": set(),
}  # fmt: skip
"""Options that say more of each kind of moment."""
NEEDS = {kind: more - {"held"} for kind, more in GOES_WITH.items()}
OPTIONS = {
    "/me": "me", "/them": "them", "/moment/move": "move", "/moment/state": "knockdown", "/moment/frames": "frames",
    "/moment/held": "held", "/moment": "moment", "/distance": "distance", "/pack": "pack", "/moves": "moves",
    "/string": "moves", "/tries": "tries", "/name": "set",
}  # fmt: skip
"""The option that spells the value at a JSON pointer."""
ROWS = {"advice": 8, "beats": 3, "coverage": 8}
"""Rows to ask for: as many as a message has room for; for ``beats`` at each moment."""


def body_of(command: str, given: Mapping[str, Value], pack: str | None) -> bytes:
    """The request of ``advice``, ``beats`` or ``coverage`` as JSON; ``pack`` is meant when the options name none.

    Errors: ``QuestionError`` for options that do not go together.
    """
    body: dict[str, Any] = {
        "them": {"character": given["them"]}, "distance": _distance(given.get("distance")),
        "pack": given.get("pack", pack), "limit": ROWS[command],
    }  # fmt: skip
    if "me" in given:
        body["me"] = {"character": given["me"]}
    if command == "beats":
        body["string" if given.get("string") else "moves"] = ids_of(str(given["moves"]))
    else:
        body["moment"] = _moment(given)
    if command == "advice":
        body["explain"] = given.get("explain", "none")
    return msgspec.json.encode({key: value for key, value in body.items() if value is not None})


def ids_of(text: str) -> list[str]:
    """Ids with commas between them."""
    return [word.strip() for word in text.split(",") if word.strip()]


def _distance(given: Value | None) -> float | str | None:
    """A number, with point or comma, or else the name of a distance."""
    text = "" if given is None else str(given).strip()
    if re.fullmatch(r"[0-9]{1,6}([.,][0-9]{0,6})?", text):
        return float(text.replace(",", "."))
    return text or None


def _moment(given: Mapping[str, Value]) -> dict[str, Any]:
    word = str(given["moment"])
    if word not in MOMENTS:
        raise QuestionError("value-invalid", f"`moment` is `{word}`", help=f"one of {_list(MOMENTS)}")
    kind, who = MOMENTS[word]
    for name in sorted(NEEDS[kind] - set(given)):
        raise QuestionError("value-invalid", f"`moment` is `{word}`, and `{name}` is missing", help=f"add `{name}`")
    for name in sorted({"move", "knockdown", "frames", "held"} & set(given) - GOES_WITH[kind]):
        raise QuestionError(
            "question-impossible", f"`{name}` does not go with the moment `{word}`",
            help=f"leave `{name}` out, or choose another moment",
        )  # fmt: skip
    if kind == "knockdown":
        return {"kind": kind, "floored": who, "state": given["knockdown"], "frames": given["frames"]}
    if kind == "advantage":
        return {"kind": kind, "frames": given["frames"], "held": given.get("held", "recovery")}
    return {"kind": kind} if kind == "neutral" else {"kind": kind, "attacker": who, "move": given["move"]}


def _list(words: Iterable[str]) -> str:
    return ", ".join(words)


def option_at(pointer: str) -> str:
    """The option that spells the value at a JSON pointer; empty when none does."""
    found = [place for place in OPTIONS if pointer == place or pointer.startswith(f"{place}/")]
    return OPTIONS[max(found, key=len)] if found else ""

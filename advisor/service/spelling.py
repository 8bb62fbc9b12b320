"""The words of a question by place, for suggestions: fields of each object, values of each choice."""

from __future__ import annotations

from typing import Any, get_args

import msgspec

from advisor.facts import question as q
from advisor.service.reading import Words

__all__ = ["MOMENTS", "known_words"]

MOMENTS: dict[str, type[msgspec.Struct]] = {
    str(moment.__struct_config__.tag): moment for moment in get_args(q.Moment)
}
"""The kinds of moment, by what ``moment.kind`` says."""


def _fields(*structs: type[msgspec.Struct]) -> tuple[str, ...]:
    names = (f.encode_name for s in structs for f in msgspec.structs.fields(s))
    return tuple(dict.fromkeys(names))


_FIGHTER = Words(_fields(q.Fighter), fields=True)
_PLACES = {
    "": Words(_fields(q.Question), fields=True),
    "/me": _FIGHTER,
    "/them": _FIGHTER,
    "/moment/kind": Words(tuple(MOMENTS)),
    "/moment/attacker": Words(get_args(q.Who)),
    "/moment/held": Words(get_args(q.Held)),
    "/replies": Words(("key", "all", "a list of ids")),
}
_MOMENT = {
    kind: Words(("kind", *_fields(moment)), fields=True) for kind, moment in MOMENTS.items()
}
_ANY_MOMENT = Words(("kind", *_fields(*MOMENTS.values())), fields=True)


def known_words(pointer: str, sent: Any) -> Words:
    """What may stand at ``pointer`` of a question; a moment's fields are those of the kind that was sent."""
    if pointer == "/moment":
        moment = sent.get("moment") if isinstance(sent, dict) else None
        kind = moment.get("kind") if isinstance(moment, dict) else None
        return _MOMENT.get(kind, _ANY_MOMENT) if isinstance(kind, str) else _ANY_MOMENT
    return _PLACES.get(pointer, Words())

"""Which properties two versions differ in: stated and worked out values told apart, unknown being a value."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import msgspec
from msgspec import Struct

from advisor.pack.model import Character, Move, Pack
from advisor.versions.answer import PropertyChange

__all__ = ["changed_properties"]

ABSENT = object()
UNCOMPARED = frozenset({"id", "derived"})


def changed_properties(old: Pack, new: Pack) -> list[PropertyChange]:
    """Every difference: the pack, its conventions, system and wake-up options, characters, their moves.

    An id that vanished and one that appeared are said so; no renaming is guessed. The order of moves and of
    files does not count, nor does the hash.
    """
    out = list(_differences(None, None, "", _pack_form(old), _pack_form(new)))
    out += _moves(None, {**old.system, **old.wake_ups}, {**new.system, **new.wake_ups})
    for key in _union(old.characters, new.characters):
        before, after = old.characters.get(key), new.characters.get(key)
        if before is None or after is None:
            what = "added" if before is None else "removed"
            out.append(PropertyChange(character=key, move=None, property="", what=what))  # type: ignore[arg-type]
            continue
        out += _differences(key, None, "", _character_form(before), _character_form(after))
        out += _moves(key, before.moves, after.moves)
    return out


def _union(old: Mapping[str, object], new: Mapping[str, object]) -> list[str]:
    return sorted({*old, *new})


def _pack_form(pack: Pack) -> dict[str, Any]:
    said = {"name": pack.name, "version": pack.version, "about": pack.about}
    return {**said, "conventions": _plain(pack.conventions)}


def _character_form(one: Character) -> dict[str, Any]:
    return {"name": one.name, "about": one.about, "health": one.health, "key_moves": list(one.key_moves)}


def _moves(character: str | None, old: Mapping[str, Move], new: Mapping[str, Move]) -> Iterator[PropertyChange]:
    for key in _union(old, new):
        before, after = old.get(key), new.get(key)
        if before is None:
            yield PropertyChange(character=character, move=key, property="", what="added")
        elif after is None:
            yield PropertyChange(character=character, move=key, property="", what="removed")
        elif before != after:
            for change in _differences(character, key, "", _plain(before), _plain(after)):
                change.derived = change.property in before.derived or change.property in after.derived
                yield change


def _plain(value: Any) -> Any:
    """A value as dicts, lists and scalars; sets sorted, so that their order does not count."""
    if isinstance(value, Struct):
        fields = [name for name in value.__struct_fields__ if name not in UNCOMPARED]
        return {name: _plain(getattr(value, name)) for name in fields}
    if isinstance(value, Mapping):
        return {"/".join(k) if isinstance(k, tuple) else str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return msgspec.to_builtins(value)


def _differences(
    character: str | None, move: str | None, path: str, old: Any, new: Any
) -> Iterator[PropertyChange]:
    """Leaf by leaf; an entry of a mapping or list that is on one side only came or went."""
    pairs: list[tuple[str, Any, Any]] | None = None
    if isinstance(old, dict) and isinstance(new, dict):
        prefix = f"{path}." if path else ""
        pairs = [(f"{prefix}{k}", old.get(k, ABSENT), new.get(k, ABSENT)) for k in _union(old, new)]
    elif isinstance(old, list) and isinstance(new, list) and any(isinstance(v, dict) for v in (*old, *new)):
        size = max(len(old), len(new))
        pairs = [(f"{path}[{i}]", _at(old, i), _at(new, i)) for i in range(size)]
    if pairs is not None:
        for name, before, after in pairs:
            yield from _differences(character, move, name, before, after)
    elif old is ABSENT:
        yield PropertyChange(character=character, move=move, property=path, what="added", after=new)
    elif new is ABSENT:
        yield PropertyChange(character=character, move=move, property=path, what="removed", before=old)
    elif old != new:
        yield PropertyChange(
            character=character, move=move, property=path, what="changed", before=old, after=new
        )


def _at(values: list[Any], i: int) -> Any:
    return values[i] if i < len(values) else ABSENT

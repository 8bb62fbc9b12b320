"""The words of a request by place, for suggestions: fields of each object, values of each choice.

They are read off the request's type, so a study has them without a line of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from msgspec import inspect

from advisor.service.asking.reading import Known, Words

__all__ = ["words_of"]


_KNOWN: dict[type, Known] = {}


def words_of(kind: type) -> Known:
    """What may stand at a JSON pointer of a request of this type.

    Where objects of several kinds may stand, what was sent says which of them it is.
    """
    if kind not in _KNOWN:
        _KNOWN[kind] = _known(inspect.type_info(kind))
    return _KNOWN[kind]


def _known(whole: inspect.Type) -> Known:
    def known(pointer: str, sent: Any) -> Words:
        nodes: list[inspect.Type] = [whole]
        for part in pointer.split("/")[1:]:
            part = part.replace("~1", "/").replace("~0", "~")
            nodes = [found for node in _as_sent(nodes, sent) for found in _within(node, part)]
            sent = _sent_at(sent, part)
        return _words(_as_sent(nodes, sent))

    return known


def _sent_at(sent: Any, part: str) -> Any:
    if isinstance(sent, dict):
        return sent.get(part)
    if isinstance(sent, list) and part.isdigit() and int(part) < len(sent):
        return sent[int(part)]
    return None


def _flat(nodes: list[inspect.Type]) -> Iterator[inspect.Type]:
    """The types with unions and annotations taken apart."""
    for node in nodes:
        if isinstance(node, inspect.Metadata):
            yield from _flat([node.type])
        elif isinstance(node, inspect.UnionType):
            yield from _flat(list(node.types))
        else:
            yield node


def _as_sent(nodes: list[inspect.Type], sent: Any) -> list[inspect.Type]:
    """The types without the objects of a kind other than what was sent says."""
    flat = list(_flat(nodes))
    if not isinstance(sent, dict):
        return flat
    chosen = [n for n in flat if _tagged(n) and sent.get(n.tag_field) == n.tag]  # type: ignore[attr-defined]
    return chosen or flat


def _tagged(node: inspect.Type) -> bool:
    return isinstance(node, inspect.StructType) and node.tag_field is not None


def _within(node: inspect.Type, part: str) -> Iterator[inspect.Type]:
    """The types of the value at a key or index of a value of the type."""
    if isinstance(node, inspect.StructType):
        if part == node.tag_field:
            yield inspect.LiteralType((node.tag,))
        yield from (field.type for field in node.fields if field.encode_name == part)
    elif isinstance(node, inspect.DictType):
        yield node.value_type
    elif isinstance(node, inspect.ListType | inspect.VarTupleType):
        yield node.item_type


def _words(nodes: list[inspect.Type]) -> Words:
    """The fields of the objects among the types, or else the values of the choices."""
    objects = [n for n in nodes if isinstance(n, inspect.StructType)]
    if objects:
        tags = [str(n.tag_field) for n in objects if n.tag_field is not None]
        fields = [field.encode_name for n in objects for field in n.fields]
        return Words(tuple(dict.fromkeys([*tags, *fields])), fields=True)
    values = [str(v) for n in nodes if isinstance(n, inspect.LiteralType) for v in n.values]
    if values and any(isinstance(n, inspect.ListType) for n in nodes):
        values.append("a list of ids")
    return Words(tuple(dict.fromkeys(values)))

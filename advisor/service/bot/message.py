"""A message as the platform takes it, and the one place that knows its limits.

Limits (characters): title 256, description 4096, 25 fields of 256 and 1024, footer 2048, 6000 in all embeds
together, 10 embeds, content 2000. Source: the platform's reference, "Embed Limits" and "Create Message".
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec
from msgspec import Struct

from advisor.service.bot.lettering import shortened, size

__all__ = ["HIDDEN", "Embed", "Field", "Message", "Picture", "fitted", "payload"]

TITLE, DESCRIPTION, FIELDS, NAME, VALUE, FOOTER, WHOLE, EMBEDS, CONTENT = 256, 4096, 25, 256, 1024, 2048, 6000, 10, 2000
NOTE = 160
"""Characters kept for saying what was cut."""
HIDDEN = 64
"""The flag of a message that only its asker sees."""


class Field(Struct, frozen=True):
    """A heading and a text."""

    name: str
    value: str


class Picture(Struct, frozen=True, kw_only=True):
    """A file that goes with a message; ``alt`` says what it shows."""

    name: str
    data: bytes
    media_type: str
    alt: str


class Embed(Struct, frozen=True, kw_only=True):
    """One framed part; ``footer`` is shown without markup, ``image`` names a picture of the message."""

    title: str
    description: str = ""
    fields: tuple[Field, ...] = ()
    footer: str = ""
    image: str | None = None


class Message(Struct, frozen=True, kw_only=True):
    """What is sent; ``hidden``: its asker alone sees it. All text is escaped already, but for footers."""

    content: str = ""
    embeds: tuple[Embed, ...] = ()
    pictures: tuple[Picture, ...] = ()
    hidden: bool = False


def fitted(message: Message) -> Message:
    """The message within the limits; what does not fit is cut, and each footer says what was."""
    left, out = WHOLE, []
    for embed in message.embeds[:EMBEDS]:
        if left < TITLE + NOTE:
            break
        out.append(_fitted(embed, left))
        left -= _weight(out[-1])
    dropped = len(message.embeds) - len(out)
    content = shortened(message.content, CONTENT)
    if dropped:
        said = f"{dropped} of {len(message.embeds)} parts did not fit."
        content = f"{shortened(content, CONTENT - NOTE)}\n{said}".strip()
    return msgspec.structs.replace(message, content=content, embeds=tuple(out))


def _weight(embed: Embed) -> int:
    texts = [embed.title, embed.description, embed.footer, *(t for f in embed.fields for t in (f.name, f.value))]
    return sum(map(size, texts))


def _fitted(embed: Embed, room: int) -> Embed:
    """Title and footer first, then the description, then fields in order as long as they fit whole."""
    title = shortened(embed.title, TITLE)
    spent = size(title)
    footer = shortened(embed.footer, min(FOOTER, (room - spent) // 2) - NOTE)
    spent += size(footer) + NOTE
    description = shortened(embed.description, min(DESCRIPTION, room - spent))
    spent += size(description)
    fields: list[Field] = []
    clipped = 0
    for given in embed.fields[:FIELDS]:
        field = Field(shortened(given.name, NAME) or "-", shortened(given.value, VALUE) or "-")
        spent += size(field.name) + size(field.value)
        if spent > room:
            break
        clipped += field != Field(given.name or "-", given.value or "-")
        fields.append(field)
    cut = [
        word for word, was, now in (
            ("title", embed.title, title), ("text", embed.description, description), ("notes", embed.footer, footer),
        ) if was != now
    ]  # fmt: skip
    if clipped:
        cut.append(f"the end of {clipped} of {len(fields)} items")
    if len(fields) < len(embed.fields):
        cut.append(f"{len(embed.fields) - len(fields)} of {len(embed.fields)} items")
    said = f"Cut to fit: {', '.join(cut)}." if cut else ""
    return msgspec.structs.replace(
        embed, title=title, description=description, fields=tuple(fields),
        footer=" ".join(part for part in (said, footer) if part),
    )  # fmt: skip


def payload(message: Message) -> dict[str, Any]:
    """The message as the platform's JSON has it; nobody is mentioned whatever it says."""
    out: dict[str, Any] = {
        "content": message.content,
        "embeds": [_embed(embed) for embed in message.embeds],
        "allowed_mentions": {"parse": []},
    }
    if message.hidden:
        out["flags"] = HIDDEN
    if message.pictures:
        out["attachments"] = _attachments(message.pictures)
    return out


def _attachments(pictures: Sequence[Picture]) -> list[dict[str, Any]]:
    return [{"id": i, "filename": p.name, "description": shortened(p.alt, 1024)} for i, p in enumerate(pictures)]


def _embed(embed: Embed) -> dict[str, Any]:
    out: dict[str, Any] = {"title": embed.title, "type": "rich"}
    if embed.description:
        out["description"] = embed.description
    if embed.fields:
        out["fields"] = [{"name": f.name, "value": f.value, "inline": False} for f in embed.fields]
    if embed.footer:
        out["footer"] = {"text": embed.footer}
    if embed.image:
        out["image"] = {"url": f"attachment://{embed.image}"}
    return out

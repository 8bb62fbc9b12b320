"""Rows of composite options: which of their options each switch frame (or delay) covers, and what beats it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec
from msgspec import Struct

from advisor.facts import Pair, Ready
from advisor.studies.defence_answer import DefenceBeater, DefenceCell, DefenceWindow
from advisor.studies.weighing import STANDS, WINS, Weigher, runs_of, tags_of
from advisor.verdicts import Judged

__all__ = ["Met", "Sweep", "beaters", "cells_of", "late", "sweep", "windows_of"]

MOST_LATE = 30
"""Frames by which their options are delayed when looking for what beats a row."""

Met = Callable[[Ready, int], Pair]
"""The exchange with a reply on a switch frame or delay."""


class Sweep(Struct, kw_only=True):
    """One composite against every reply on every frame.

    ``pairs`` and ``judged`` are by reply, then by place in ``frames``.
    """

    replies: list[Ready]
    frames: list[int]
    pairs: list[list[Pair]]
    judged: list[list[Judged]]

    def covered(self, place: int) -> frozenset[str]:
        """Keys of the replies that are covered on the frame at ``place``."""
        return frozenset(
            reply.entry.key
            for reply, judged in zip(self.replies, self.judged, strict=True)
            if judged[place].verdict in STANDS
        )

    def wins(self, place: int) -> int:
        """How many replies are beaten there and not only held."""
        return sum(judged[place].verdict in WINS for judged in self.judged)


def sweep(weigher: Weigher, met: Met, replies: Sequence[Ready], frames: Sequence[int]) -> Sweep:
    """Every reply on every frame; an exchange that several frames share is judged once."""
    pairs = [[met(reply, frame) for frame in frames] for reply in replies]
    judged = []
    for row in pairs:
        unique = list({id(pair): pair for pair in row}.values())
        verdicts = {id(p): j for p, j in zip(unique, weigher.judge(unique), strict=True)}
        judged.append([verdicts[id(pair)] for pair in row])
    return Sweep(replies=list(replies), frames=list(frames), pairs=pairs, judged=judged)


def windows_of(found: Sweep, only: Sequence[int] | None = None) -> list[DefenceWindow]:
    """The runs of frames that cover most replies, each with the same ones covered, widest first.

    ``only`` are the places of frames that count (all when None). None is left when nothing is covered.
    """
    places = list(range(len(found.frames)) if only is None else only)
    each = {place: found.covered(place) for place in places}
    most = max((len(keys) for keys in each.values()), default=0)
    if most == 0:
        return []
    groups: dict[frozenset[str], list[int]] = {}
    for place, keys in each.items():
        if len(keys) == most:
            groups.setdefault(keys, []).append(found.frames[place])
    order = [reply.entry.key for reply in found.replies]
    out = [
        DefenceWindow(first=run.first, last=run.last, width=run.width, covers=[k for k in order if k in keys])
        for keys, frames in groups.items()
        for run in runs_of(frames)
    ]
    return sorted(out, key=lambda w: (-w.width, w.first))


def cells_of(weigher: Weigher, found: Sweep, at: int, only: Sequence[int] | None = None) -> list[DefenceCell]:
    """Every reply on the frame ``at``; windows hold only frames at the places ``only`` (all when None)."""
    place = found.frames.index(at)
    counted = range(len(found.frames)) if only is None else only
    cells = []
    for reply, pairs, judged in zip(found.replies, found.pairs, found.judged, strict=True):
        pair, verdict = pairs[place], judged[place]
        rule, sentence = weigher.why(pair, verdict)
        exchange = pair.exchange
        arrives = pair.record.get("theirs.contact_frame")
        cells.append(
            DefenceCell(
                reply=reply.entry.key,
                name=reply.entry.name,
                verdict=verdict.verdict,
                by=exchange.by if exchange else "unknown",
                effect=exchange.effect if exchange else "unknown",
                frame=exchange.frame if exchange else None,
                tags=tags_of(verdict),
                windows=runs_of(found.frames[i] for i in counted if judged[i].verdict in STANDS),
                arrives=arrives if isinstance(arrives, int) else None,
                free_on=None,
                sentence=sentence,
                rule=rule,
                hangs_on=weigher.missing([pair], [verdict]) if verdict.verdict == "unknown" else [],
            )
        )
    return cells


def late(weigher: Weigher, reply: Ready, frames: int) -> Ready:
    """The reply begun ``frames`` later than it can be."""
    out = Ready(weigher.situation, reply.entry, "theirs")
    if out.free is not None:
        out.free = msgspec.structs.replace(out.free, delay=frames)
    return out


def beaters(
    weigher: Weigher, met: Met, at: int, chosen: Sequence[Ready], others: Sequence[Ready]
) -> list[DefenceBeater]:
    """What beats a row on its frame ``at``: the chosen replies at once or delayed, and ``others`` at once."""
    tries = [(reply, n, late(weigher, reply, n) if n else reply) for reply in chosen for n in _delays(reply)]
    tries += [(reply, 0, reply) for reply in others]
    pairs = [met(each, at) for _, _, each in tries]
    lost: dict[str, list[tuple[Ready, int, Pair, Judged]]] = {}
    for (reply, n, _), pair, judged in zip(tries, pairs, _judged(weigher, pairs), strict=True):
        if judged.verdict in ("loses", "trades"):
            lost.setdefault(reply.entry.key, []).append((reply, n, pair, judged))
    out = []
    for key, found in lost.items():
        reply, _, pair, judged = found[0]
        out.append(
            DefenceBeater(
                option=key, name=reply.entry.name, delays=runs_of(n for _, n, _, _ in found), verdict=judged.verdict,
                sentence=weigher.why(pair, judged)[1],
            )
        )
    return out


def _delays(reply: Ready) -> range:
    """A follow-up comes when it comes."""
    return range(1 if reply.entry.follows else MOST_LATE + 1)


def _judged(weigher: Weigher, pairs: Sequence[Pair], size: int = 150) -> list[Judged]:
    return [judged for i in range(0, len(pairs), size) for judged in weigher.judge(pairs[i : i + size])]

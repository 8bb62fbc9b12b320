"""Safe pressure: attacks timed so that they meet those who rise, and are over before a rising attack lands."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from advisor.facts import Pair, Ready, pair_of
from advisor.sentences import in_words, say
from advisor.studies.defence_answer import DefenceBeater, DefenceCell, DefenceRow, DefenceWindow
from advisor.studies.defence_cover import Met, Sweep, cells_of, sweep, windows_of
from advisor.studies.weighing import Weigher
from advisor.units import FOREVER

__all__ = ["delays_of", "pressure_rows"]

THEN = "guard"
_TOUCHES = ("hit", "counter_hit", "blocked")


def pressure_rows(
    weigher: Weigher, attacks: Sequence[Ready], replies: Sequence[Ready], most: int, limit: int
) -> list[DefenceRow]:
    """Attacks with the delays on which nothing of theirs beats most of the replies, best ``limit`` of them.

    Only delays count on which the attack touches at least one reply, and has begun before anything of
    theirs touches: to wait in guard is no pressure. Ranked by replies covered, width of the window, damage.
    """
    found: list[tuple[tuple[float, ...], Ready, Sweep, list[DefenceWindow], list[int]]] = []
    for attack in attacks:
        frames = delays_of(weigher, attack, replies, most)
        if not frames:
            continue
        swept = sweep(weigher, _met(weigher, attack), replies, frames)
        pressing = [i for i in range(len(frames)) if _presses([row[i] for row in swept.pairs])]
        windows = windows_of(swept, pressing)
        if windows:
            damage = attack.hit.damage if attack.hit else None
            rank = (-len(windows[0].covers), -windows[0].width, -(damage or 0.0), len(found))
            found.append((rank, attack, swept, windows, pressing))
    found.sort(key=lambda f: f[0])
    return [
        _row(weigher, attack, swept, windows, pressing) for _, attack, swept, windows, pressing in found[:limit]
    ]


def delays_of(weigher: Weigher, attack: Ready, replies: Sequence[Ready], most: int) -> list[int]:
    """Delays, 0 to ``most``, on which the attack can be active while they rise or just have.

    An attack that finds nobody on the floor cannot touch before they rise. Units: frames.
    """
    hits = attack.entry.move.hits
    first, stop = hits[0].first_active, hits[-1].active_stop
    if attack.free is None or first is None or stop is None:
        return []
    rising = [reply.free for reply in replies if reply.free is not None]
    if not rising:
        return []
    level = weigher.situation.pack.conventions.levels.get(hits[0].level or "")
    ground = level is None or "grounded" in level.hits
    begins = attack.free.begins
    earliest = 0 if ground else max(0, min(side.free_at for side in rising) + 2 - stop - begins)
    ends = [side.begins + side.option.total for side in rising if side.option.total not in (None, FOREVER)]
    latest = max([side.begins + 1 for side in rising] + ends) + 1 - first - begins
    return list(range(earliest, min(most, latest) + 1))


def _met(weigher: Weigher, attack: Ready) -> Met:
    return lambda reply, delay: pair_of(weigher.situation, attack, reply, delay)


def _presses(pairs: Sequence[Pair]) -> bool:
    """Whether the attack touches somebody, and meets nobody's attack before it has begun."""
    touches = False
    for pair in pairs:
        exchange = pair.exchange
        if exchange is None or pair.me is None:
            continue
        touches = touches or (exchange.by == "me" and exchange.effect in _TOUCHES)
        if exchange.by in ("them", "both") and exchange.frame is not None and exchange.frame <= pair.me.begins:
            return False
    return touches


def _row(
    weigher: Weigher, attack: Ready, swept: Sweep, windows: list[DefenceWindow], pressing: list[int]
) -> DefenceRow:
    best = windows[0]
    at = (best.first + best.last) // 2
    place = swept.frames.index(at)
    found = cells_of(weigher, swept, at, pressing)
    cells = [_timed(cell, pairs[place]) for cell, pairs in zip(found, swept.pairs, strict=True)]
    move = attack.entry.move
    missed = [c.reply for c in cells if c.reply not in best.covers and c.verdict != "unknown"]
    beaten = [
        DefenceBeater(option=c.reply, name=c.name, delays=[], verdict=c.verdict, sentence=c.sentence)
        for c in cells if c.verdict in ("loses", "trades")
    ]
    return DefenceRow(
        option=f"{attack.entry.key}+{THEN}",
        name=say("{entry}, then guard", entry=attack.entry.name),
        first=attack.entry.key,
        then=THEN,
        covers=len(best.covers),
        of=len(cells),
        windows=windows,
        at=at,
        adds=[],
        not_covered=missed,
        unknown=[c.reply for c in cells if c.verdict == "unknown"],
        damage=attack.hit.damage if attack.hit else None,
        jumps=bool(move.airborne),
        cells=cells,
        beaten_by=beaten,
        sentence=_sentence(attack.entry.name, bool(move.airborne), best, cells, missed),
    )


def _timed(cell: DefenceCell, pair: Pair) -> DefenceCell:
    """The cell with the frame on which I can guard again, where their option is an attack."""
    over = pair.me.over() if pair.me is not None else None
    if over is None or over >= FOREVER or not pair.theirs.move.hits:
        return cell
    return msgspec.structs.replace(cell, free_on=over + 1)


def _sentence(
    name: str, jumps: bool, best: DefenceWindow, cells: Sequence[DefenceCell], missed: Sequence[str]
) -> str:
    if best.width > 1:
        when = say("{first} to {last} frames late", first=best.first, last=best.last)
    elif best.first:
        when = say("{first} frames late", first=best.first)
    else:
        when = in_words("at once")
    text = say(
        "{name}{air}, begun {when}, covers {count} of {of}",
        name=name, air=in_words(" (from the air)") if jumps else "", when=when, count=len(best.covers), of=len(cells),
    )  # fmt: skip
    text += say(", not {missed}.", missed=', '.join(missed)) if missed else "."
    guarded = [c for c in cells if c.effect == "blocked" and c.by == "them" and c.free_on is not None]
    if guarded and guarded[0].arrives is not None:
        c = guarded[0]
        text += say(
            " You can guard from frame {free_on}; {reply} lands on frame {frame} and is blocked.",
            free_on=c.free_on, reply=c.name, frame=c.frame,
        )
    return text

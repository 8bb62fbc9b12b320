"""What two versions differ in after a block: punishes that appeared or vanished, and moves that changed class."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from msgspec import Struct

from advisor.pack.model import Move, Pack
from advisor.rules.wording import word_said
from advisor.sentences import in_words, say
from advisor.versions.answer import Consequence, PunishChange
from advisor.versions.landing import Landing, numbers_of

__all__ = ["changed_moves", "changed_punishes", "rules_of_the_game_differ"]

Progress = Callable[[int, int], None]
TOUCHES = ("on_block", "on_hit", "on_counter_hit")


def rules_of_the_game_differ(old: Pack, new: Pack) -> bool:
    """Whether conventions or the options that every fighter has differ in more than words."""
    if old.conventions != new.conventions:
        return True
    before, after = ({**pack.system, **pack.wake_ups} for pack in (old, new))
    return bool(changed_moves(before, after))


def changed_moves(old: Mapping[str, Move], new: Mapping[str, Move]) -> set[str]:
    """The ids of moves that came, went, or have other numbers."""
    both = old.keys() & new.keys()
    return (old.keys() ^ new.keys()) | {k for k in both if numbers_of(old[k]) != numbers_of(new[k])}


Row = tuple[PunishChange, float]


class _Work(Struct, kw_only=True):
    """Both versions, and the rows known by distance, both aftermaths and opponent."""

    old: Landing
    new: Landing
    everyone: list[str]
    distances: Mapping[str, int]
    everything: bool
    attacks: dict[str, set[str]]
    rows: dict[tuple[str, int, int, str], Row | None] = {}
    quickest: dict[str, int | None] = {}


def changed_punishes(
    old: Pack, new: Pack, distances: Mapping[str, int], progress: Progress | None = None
) -> list[Consequence]:
    """Consequences of the kinds punish and frame_class, in no order.

    ``distances`` are micro-units at the contact by name. Only moves and opponents that both versions have are
    compared, and only where the blocked move, the punish or what every fighter has changed.
    """
    everyone = sorted(old.characters.keys() & new.characters.keys())
    work = _Work(
        old=Landing(old), new=Landing(new), everyone=everyone, distances=distances,
        everything=rules_of_the_game_differ(old, new),
        attacks={k: changed_moves(old.characters[k].moves, new.characters[k].moves) for k in everyone},
    )  # fmt: skip
    if not work.everything and not any(work.attacks.values()):
        return []
    out: list[Consequence] = []
    for done, owner in enumerate(everyone):
        before, after = old.characters[owner].moves, new.characters[owner].moves
        for key in sorted(before.keys() & after.keys()):
            if before[key].hits and after[key].hits:
                out += _of_move(work, owner, before[key], after[key])
        if progress is not None:
            progress(done + 1, len(everyone))
    return out


def _of_move(work: _Work, owner: str, before: Move, after: Move) -> Iterable[Consequence]:
    whole = work.everything or before.id in work.attacks[owner]
    rows: list[PunishChange] = []
    stake = 0.0
    concerned = [them for them in work.everyone if whole or _could_differ(work, them, before)]
    left = _left(work, owner, before, after) if concerned else {}
    for them in concerned:
        for name, (was, now) in left.items():
            row = _known_row(work, name, was, now, them)
            if row is not None:
                rows.append(row[0])
                stake = max(stake, row[1])
    found = []
    if rows:
        found.append(_punish(owner, after, rows, stake))
    if rows or whole:
        found += _class(work, before, after, left, rows, stake, owner)
    return found


def _could_differ(work: _Work, them: str, move: Move) -> bool:
    """Whether one of the attacks that ``them`` changed could touch before the user of an unchanged move is free."""
    if them not in work.quickest:
        replies = [side.replies(them).get(key) for side in (work.old, work.new) for key in work.attacks[them]]
        work.quickest[them] = min((r.first or 0 for r in replies if r is not None), default=None)
    first, lead = work.quickest[them], move.hits[0].on_block
    return first is not None and (lead is None or (lead < 0 and first <= -lead))


def _left(work: _Work, owner: str, before: Move, after: Move) -> dict[str, tuple[int, int]]:
    """The aftermath in both versions by distance."""
    return {
        name: (work.old.aftermath(owner, before, away), work.new.aftermath(owner, after, away))
        for name, away in work.distances.items()
    }


def _known_row(work: _Work, name: str, was: int, now: int, them: str) -> Row | None:
    at = (name, was, now, them)
    if at not in work.rows:
        work.rows[at] = _row(work, name, was, now, them)
    return work.rows[at]


def _row(work: _Work, name: str, was: int, now: int, them: str) -> Row | None:
    """One opponent at one distance with the damage at stake; None when nothing changed."""
    old, new = work.old.punished(was, them), work.new.punished(now, them)
    appeared, vanished = new.sure - old.sure, old.sure - new.sure
    unsure = (appeared & old.unknown) | (vanished & new.unknown)
    in_doubt = (old.unknown ^ new.unknown) - unsure
    if not (appeared or vanished or in_doubt) and old.best == new.best:
        return None
    before, after = work.old.replies(them), work.new.replies(them)
    damages = [abs((old.best or 0.0) - (new.best or 0.0))]
    damages += [after[key].damage or 0.0 for key in appeared]
    damages += [before[key].damage or 0.0 for key in vanished]
    row = PunishChange(
        them=them, distance=name, appeared=sorted(appeared), vanished=sorted(vanished), unsure=sorted(unsure),
        in_doubt=sorted(in_doubt), best_before=old.best, best_after=new.best,
    )  # fmt: skip
    return row, max(damages)


def _punish(owner: str, move: Move, rows: list[PunishChange], stake: float) -> Consequence:
    came = {(r.them, k) for r in rows for k in r.appeared}
    went = {(r.them, k) for r in rows for k in r.vanished}
    opponents = len({r.them for r in rows})
    # A punish may appear at one distance and vanish at another; both are counted.
    parts = [say("{count} punish(es) appear", count=len(came))] if came else []
    parts += [say("{count} punish(es) vanish", count=len(went))] if went else []
    other = in_words("the best punish does another damage") if stake else in_words("a punish hangs on data")
    what = in_words(" and ").join(parts) or other
    worst = max(rows, key=lambda r: abs((r.best_after or 0.0) - (r.best_before or 0.0)))
    best = f"{_damage(worst.best_before)} -> {_damage(worst.best_after)}"
    return Consequence(
        kind="punish", id=move.id, character=owner, weight=stake * opponents, damage=stake, opponents=opponents,
        before=_damage(worst.best_before), after=_damage(worst.best_after),
        sentence=say(
            "Blocked, {move}: {what}, by {opponents} opponent(s); the best of {them} at {distance}: {best}.",
            move=move.name, what=what, opponents=opponents, them=worst.them, distance=worst.distance, best=best,
        ),
        punishes=rows,
    )  # fmt: skip


def _damage(best: float | None) -> str:
    return in_words("none") if best is None else say("{best:g} damage", best=best)


def _class(
    work: _Work, before: Move, after: Move, left: Mapping[str, tuple[int, int]], rows: Sequence[PunishChange],
    stake: float, owner: str,
) -> Iterable[Consequence]:
    """Safe or punishable, and the sign of each advantage."""
    of = len(work.everyone)
    if rows:
        was = _punishers(work.old, {first for first, _ in left.values()}, work.everyone)
        now = _punishers(work.new, {last for _, last in left.values()}, work.everyone)
        if (was == 0) != (now == 0):
            many = max(was, now)
            yield Consequence(
                kind="frame_class", id=after.id, character=owner, weight=stake * many, damage=stake, opponents=many,
                before=_reached(was, of), after=_reached(now, of),
                sentence=say(
                    "Blocked, {after} was {was} and is {now}.",
                    after=after.name, was=_reached(was, of), now=_reached(now, of),
                ),
            )  # fmt: skip
    for name in TOUCHES:
        first, last = (getattr(move.hits[0], name) for move in (before, after))
        if first is not None and last is not None and (first >= 0) != (last >= 0):
            yield Consequence(
                kind="frame_class", id=f"{after.id}.{name}", character=owner, weight=0.0, damage=0.0, opponents=of,
                before=f"{first:+d}", after=f"{last:+d}",
                sentence=say(
                    "{after} {name} went from {first:+d} to {last:+d}.",
                    after=after.name, name=word_said(name), first=first, last=last,
                ),
            )  # fmt: skip


def _punishers(side: Landing, aftermaths: set[int], everyone: Sequence[str]) -> int:
    """How many opponents have a guaranteed punish after one of them."""
    return sum(any(side.punished(one, them).sure for one in aftermaths) for them in everyone)


def _reached(count: int, of: int) -> str:
    return say("punishable by {count} of {of}", count=count, of=of) if count else in_words("without a known punish")

"""Cross-checks: what no move can be judged on alone.

Ids that stand twice, follow-ups that run in a circle, key moves that do not exist, and outcomes of a
parry for attacks that it does not catch.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from advisor.documents import Path_
from advisor.errors import did_you_mean
from advisor.pack.check import Report, quoted
from advisor.pack.model import Catch, Move, Parry

__all__ = ["Attack", "attacks_of", "audit_moves", "audit_outcomes", "check_key_moves"]

Attack = tuple[str | None, frozenset[str]]
"""The level and tags of a hit."""

ON_PATH, DONE = 1, 2


def audit_moves(report: Report, key: str, moves: Sequence[Move], system: Iterable[str] = ()) -> None:
    """Faults between the moves written under ``key`` of one file; ``system`` are ids they may not take."""
    taken = dict.fromkeys(system, "a system option")
    for number, move in enumerate(moves):
        if not move.id:
            continue
        if move.id in taken:
            report.fault(
                "id-duplicate",
                f"{_shown(move.id)} is already the id of {taken[move.id]}",
                _id_path(report, key, number),
                help="every move needs an id of its own",
            )
        taken.setdefault(move.id, f"{key}[{number}]")
    _check_circles(report, key, moves)


def _shown(word: str) -> str:
    return quoted(word).removeprefix("text ")


def _id_path(report: Report, key: str, number: int) -> Path_:
    written = report.document.value[key][number]
    return (key, number, "id" if isinstance(written, dict) and "id" in written else "name")


def _check_circles(report: Report, key: str, moves: Sequence[Move]) -> None:
    """A fault for each circle that a depth-first walk over the follow-ups closes."""
    places: dict[str, int] = {}
    for number, move in enumerate(moves):
        places.setdefault(move.id, number)
    state: dict[str, int] = {}
    for start in places:
        if start in state:
            continue
        state[start] = ON_PATH
        path: list[tuple[str, Iterator[tuple[int, str]]]] = [(start, _next_of(moves[places[start]]))]
        while path:
            name, followers = path[-1]
            for number, after in followers:
                if after not in places or state.get(after) == DONE:
                    continue
                if state.get(after) == ON_PATH:
                    on_path = [one for one, _ in path]
                    circle = [*on_path[on_path.index(after) :], after]
                    report.fault(
                        "follow-up-circle",
                        f"follow-ups run in a circle: {', '.join(_shown(one) for one in circle)}",
                        (key, places[name], "follow_ups", number, "move"),
                        help="write a repeated move as a move of its own",
                    )
                    continue
                state[after] = ON_PATH
                path.append((after, _next_of(moves[places[after]])))
                break
            else:
                state[name] = DONE
                path.pop()


def _next_of(move: Move) -> Iterator[tuple[int, str]]:
    return iter([(number, one.move) for number, one in enumerate(move.follow_ups)])


def check_key_moves(report: Report, key_moves: Sequence[str], ids: frozenset[str]) -> tuple[str, ...]:
    """A fault for each key move that is not a move of the character, or is named twice."""
    for number, name in enumerate(key_moves):
        if name not in ids:
            report.fault(
                "move-unknown",
                f"the character has no move {_shown(name)}",
                ("key_moves", number),
                help=did_you_mean(name[:80], ids),
            )
        elif name in key_moves[:number]:
            report.fault("id-duplicate", f"{_shown(name)} is named twice", ("key_moves", number))
    return tuple(key_moves)


def attacks_of(moves: Iterable[Move]) -> set[Attack]:
    """The levels and tags that the hits of ``moves`` have, where the tags are known."""
    return {(hit.level, hit.tags) for move in moves for hit in move.hits if hit.tags is not None}


def audit_outcomes(report: Report, key: str, moves: Sequence[Move], attacks: set[Attack]) -> None:
    """A warning for each outcome of a parry that applies to nothing the parry catches."""
    for number, move in enumerate(moves):
        for at, parry in enumerate(move.parry or ()):
            for row, outcome in enumerate(parry.outcomes):
                if _outside(parry, outcome.of, attacks):
                    report.warn(
                        "outcome-idle",
                        "no attack that this parry catches is in `of`, so the outcome never applies",
                        (key, number, "parry", at, "outcomes", row, "of"),
                        help="compare `of` with `catches` and `except`",
                    )


def _outside(parry: Parry, of: Catch, attacks: set[Attack]) -> bool:
    if _everything(of):
        return False
    excepting = parry.excepting
    if excepting is not None and (
        _everything(excepting) or (of.levels <= excepting.levels and of.tags <= excepting.tags)
    ):
        return True
    if _everything(parry.catches) or of.levels & parry.catches.levels or of.tags & parry.catches.tags:
        return False
    # By name alone they have nothing in common; an attack of the pack may still be in both.
    return not any(
        _holds(of, attack) and _holds(parry.catches, attack) and not (excepting and _holds(excepting, attack))
        for attack in attacks
    )


def _everything(catch: Catch) -> bool:
    return not catch.levels and not catch.tags


def _holds(catch: Catch, attack: Attack) -> bool:
    level, tags = attack
    return _everything(catch) or level in catch.levels or bool(tags & catch.tags)

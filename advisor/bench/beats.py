"""What "what beats this" costs over a whole roster, and how that grows with characters and moves."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterable

from advisor.bench.roster import grown_pack
from advisor.facts.question import Fighter
from advisor.library import bundled_rules, load_shelf
from advisor.pack.model import Pack
from advisor.studies.beats import Beats, beats
from advisor.studies.exposed import Exposed, exposed
from advisor.studies.gaps_in_data import LabList, lab_list

__all__ = ["run"]

ROUNDS = 3
GOAL = 1000.0
THEM = "fighter_1"


def _median(ask: Callable[[], object]) -> float:
    """Median milliseconds of processor time of a call."""
    took = []
    for _ in range(ROUNDS):
        start = time.process_time()
        ask()
        took.append((time.process_time() - start) * 1000)
    return statistics.median(took)


def _targets(pack: Pack, every: int) -> list[str]:
    """Every so many of the opponent's attacks that are free to use: slow, fast, moving, several hits, throws."""
    moves = pack.characters[THEM].moves.values()
    return [m.id for m in moves if m.hits and m.requires is None and not m.wakes_from][::every]


def run(characters: int = 40, moves: int = 120, every: int = 12) -> None:
    """Print the times, with the goal beside them, and the growth when characters or moves double."""
    shelf = load_shelf(bundled_rules() / "packs" / "cold_frame", engine="plain")
    rules, evaluator = shelf.rules, shelf.evaluator

    def asked(pack: Pack, key: str, me: str | None = None) -> Callable[[], object]:
        request = Beats(
            them=Fighter(character=THEM), moves=[key], distance="close",
            me=None if me is None else Fighter(character=me),
        )
        return lambda: beats(pack, rules, evaluator, request)

    pack = grown_pack(shelf.pack, characters, moves)
    targets = _targets(pack, every)
    took = {key: _median(asked(pack, key)) for key in targets}
    slowest = max(took, key=lambda key: took[key])
    print(f"\nwhat beats this, roster of {characters} x {moves} moves, {len(took)} different options of theirs")
    print(
        f"  median {statistics.median(took.values()):7.0f} ms, slowest {took[slowest]:7.0f} ms ({slowest}); "
        f"goal: under {GOAL:.0f}"
    )
    _growth(shelf.pack, asked, characters, moves)
    one = _median(asked(pack, targets[0], "fighter_0"))
    print(f"  one character of {moves} moves: {one:7.0f} ms")
    me = Fighter(character=THEM)
    print(f"  exposed, {moves} moves against the roster: "
          f"{_median(lambda: exposed(pack, rules, evaluator, Exposed(me=me, distance='close'))):7.0f} ms")
    print(f"  lab list of a character against the roster: "
          f"{_median(lambda: lab_list(pack, rules, evaluator, LabList(me=me, distance='close'))):7.0f} ms")


def _growth(
    demo: Pack, asked: Callable[[Pack, str], Callable[[], object]], characters: int, moves: int
) -> None:
    """Half and a quarter of the characters, then of the moves, on the same option of theirs."""
    sizes: Iterable[tuple[int, int]] = (
        (characters // 4, moves), (characters // 2, moves), (characters, moves // 4), (characters, moves // 2),
        (characters, moves),
    )
    for many, each in sizes:
        pack = grown_pack(demo, many, each)
        key = _targets(pack, 1)[0]
        print(f"  {many:3} x {each:3}: {_median(asked(pack, key)):7.0f} ms")


if __name__ == "__main__":
    run()

"""What is not listed is still counted: setups cut short by the bound on the work, baits and setups by the limit."""

from __future__ import annotations

from functools import cache
from typing import Any

import msgspec
import pytest

from advisor.studies.baits import Baits, BaitsRequest, baits
from advisor.studies.setups import Setup, Setups, SetupsRequest, setups
from tests.unit.advice.demo import shelf

KNOCKDOWN = {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 30}
LENGTH = 4


@cache
def sought(bound: int, limit: int = 400, at_least: int = 1, length: int = LENGTH) -> Setups:
    on = shelf()
    body = {
        "me": {"character": "marl"}, "them": {"character": "wenna"}, "moment": KNOCKDOWN, "distance": "close",
        "length": length, "bound": bound, "limit": limit, "at_least": at_least, "each": 12,
    }
    return setups(on.pack, on.rules, on.evaluator, msgspec.convert(body, SetupsRequest))


def weighed(**given: Any) -> Baits:
    on = shelf()
    body = {
        "me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "limit": 400,
        "results": ["blocked", "whiffed"], **given,
    }
    return baits(on.pack, on.rules, on.evaluator, msgspec.convert(body, BaitsRequest))


def by_coverage(answer: Setups) -> dict[int, int]:
    return {int(n): ways for n, ways in answer.by_coverage.items()}


def sums_hold(answer: Setups, limit: int, at_least: int) -> None:
    counts = by_coverage(answer)
    assert answer.found == sum(ways for n, ways in counts.items() if n >= at_least)
    assert all(ways > 0 for ways in counts.values())
    assert len(answer.setups) <= min(limit, answer.found)
    assert list(counts) == sorted(counts, reverse=True)
    for setup in answer.setups:
        assert at_least <= setup.covered <= setup.of == len(answer.replies)


FULL = 20_000_000


@pytest.mark.parametrize("bound", [1_000, 2_000, 5_000])
def test_a_search_that_was_cut_short_says_so_and_counts_what_it_found(bound: int) -> None:
    cut, full = sought(bound), sought(FULL)
    assert full.complete and full.work > bound
    assert not cut.complete
    assert (cut.bound, full.bound) == (bound, FULL)
    # One step over the bound is noticed at the next look, so it may end a little beyond.
    assert bound // 2 <= cut.work <= 2 * bound
    sums_hold(cut, 400, 1)
    assert cut.found < full.found
    assert sum(by_coverage(cut).values()) < sum(by_coverage(full).values())
    assert (cut.left_out, cut.replies, cut.frames) == (full.left_out, full.replies, full.frames)


def test_more_work_never_finds_less() -> None:
    answers = [sought(bound) for bound in (1_000, 2_000, 5_000, FULL)]
    found = [answer.found for answer in answers]
    assert found == sorted(found) and found[0] < found[-1]
    work = [answer.work for answer in answers]
    assert work == sorted(work)


def test_what_a_cut_search_lists_is_true() -> None:
    """Each sequence that it lists is judged as by itself, with nothing else to look at and nothing cut."""
    on = shelf()
    for setup in sought(5_000).setups[:8]:
        alone = setups(
            on.pack, on.rules, on.evaluator,
            msgspec.convert(
                {
                    "me": {"character": "marl"}, "them": {"character": "wenna"}, "moment": KNOCKDOWN,
                    "distance": "close", "length": len(setup.actions), "actions": setup.actions[:-1],
                    "last": [setup.actions[-1]], "limit": 400,
                },
                SetupsRequest,
            ),
        )
        assert alone.complete
        same = next(each for each in alone.setups if each.actions == setup.actions)
        assert _core(same) == _core(setup)


def _core(setup: Setup) -> tuple[object, ...]:
    return setup.used, setup.distance, setup.covered, setup.damage, [met.verdict for met in setup.against]


@pytest.mark.parametrize(("limit", "at_least"), [(1, 1), (7, 2), (3, 3)])
def test_the_limit_hides_setups_and_counts_them(limit: int, at_least: int) -> None:
    short, full = sought(FULL, limit, at_least, 3), sought(FULL, 400, at_least, 3)
    assert short.complete and full.complete
    assert (short.found, short.by_coverage) == (full.found, full.by_coverage)
    assert len(short.setups) == limit < len(full.setups)
    sums_hold(short, limit, at_least)


@pytest.mark.parametrize("limit", [1, 4])
def test_the_limit_hides_baits_and_counts_them(limit: int) -> None:
    short, full = weighed(limit=limit), weighed()
    assert full.found == len(full.baits) > limit == len(short.baits)
    assert short.baits == full.baits[:limit]
    kept = ("found", "considered", "skipped", "missing", "usual_blockstun")
    assert [getattr(short, name) for name in kept] == [getattr(full, name) for name in kept]


def test_every_move_is_weighed_or_left_out_with_a_reason() -> None:
    moves = shelf().pack.characters["wenna"].moves
    for results in (["blocked"], ["blocked", "whiffed"]):
        answer = weighed(results=results)
        attacks = [m.id for m in moves.values() if m.hits and not m.wakes_from]
        assert set(answer.skipped) <= set(moves)
        never = set(moves) - set(attacks)
        assert never <= set(answer.skipped)
        # One that hangs on something for one result may be weighed for the other.
        unknown = set(answer.skipped) - never
        assert len(results) * (len(attacks) - len(unknown)) <= answer.considered
        assert answer.considered <= len(results) * len(attacks) - len(unknown)
        assert {bait.move for bait in answer.baits} <= set(attacks)

"""Span arithmetic against Allen's interval relations and their composition table.

Outside check: J. F. Allen, Maintaining knowledge about temporal intervals, CACM 26(11), 1983, pages
832-843: 13 relations, 169 compositions. The table is not copied: it is enumerated here over all
intervals with endpoints 0 to 5, by comparing endpoints only, and its published size is asserted.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from functools import cache
from itertools import combinations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.units import Span

CONVERSE = {
    "before": "after", "meets": "met by", "overlaps": "overlapped by", "starts": "started by",
    "during": "contains", "finishes": "finished by", "equals": "equals",
}  # fmt: skip
CONVERSE |= {there: here for here, there in CONVERSE.items()}
RELATIONS = frozenset(CONVERSE)

Ends = tuple[int, int]
Table = dict[tuple[str, str], frozenset[str]]


def sign(number: int) -> int:
    return (number > 0) - (number < 0)


# Signs of the differences start-start, start-stop, stop-start and stop-stop, as the paper defines the relations.
BY_ENDPOINTS = {
    (-1, -1, -1, -1): "before",
    (-1, -1, 0, -1): "meets",
    (-1, -1, 1, -1): "overlaps",
    (0, -1, 1, -1): "starts",
    (1, -1, 1, -1): "during",
    (1, -1, 1, 0): "finishes",
    (0, -1, 1, 0): "equals",
}
BY_ENDPOINTS |= {
    (-starts, -across, -back, -stops): CONVERSE[name]
    for (starts, back, across, stops), name in list(BY_ENDPOINTS.items())
}


def by_endpoints(one: Ends, two: Ends) -> str:
    """The relation of two intervals, from their endpoints alone."""
    (start, stop), (begin, end) = one, two
    return BY_ENDPOINTS[sign(start - begin), sign(start - end), sign(stop - begin), sign(stop - end)]


def by_arithmetic(one: Span, two: Span) -> str:
    """The relation of two spans, from the operations of the product."""
    shared = one.overlap(two)
    if shared == one == two:
        return "equals"
    if not shared:
        first = one if one < two else two
        apart = not first.shifted(1).overlap(two if first is one else one)
        name = "before" if apart else "meets"
        return name if first is one else CONVERSE[name]
    if shared == one:
        if one.start not in two.shifted(1):
            return "starts"
        return "during" if one.stop in two else "finishes"
    if shared == two:
        return CONVERSE[by_arithmetic(two, one)]
    return "overlaps" if two.start in one else "overlapped by"


INTERVALS: list[Ends] = list(combinations(range(6), 2))


@cache
def composition() -> Table:
    """Relation of one to three for every relation of one to two and two to three."""
    found: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
    for one, two, three in product(INTERVALS, repeat=3):
        found[by_endpoints(one, two), by_endpoints(two, three)].add(by_endpoints(one, three))
    return {pair: frozenset(names) for pair, names in found.items()}


SPANS = st.builds(lambda start, length: Span(start, start + length), st.integers(-8, 12), st.integers(1, 9))


def test_the_table_has_the_published_size() -> None:
    table = composition()
    assert len(RELATIONS) == len(BY_ENDPOINTS) == 13
    assert len(table) == 13 * 13 == 169
    assert sum(len(names) for names in table.values()) == 409
    assert Counter(len(names) for names in table.values()) == {1: 97, 3: 42, 5: 24, 9: 3, 13: 3}


@pytest.mark.parametrize(
    ("first", "second", "names"),
    [
        ("before", "before", {"before"}),
        ("before", "after", RELATIONS),
        ("during", "contains", RELATIONS),
        ("overlaps", "overlaps", {"before", "meets", "overlaps"}),
        ("meets", "during", {"overlaps", "starts", "during"}),
        ("starts", "finishes", {"during"}),
        ("meets", "met by", {"finishes", "finished by", "equals"}),
        ("starts", "started by", {"starts", "started by", "equals"}),
    ],
)
def test_known_cells(first: str, second: str, names: set[str]) -> None:
    assert composition()[first, second] == names


def test_exactly_one_relation_holds_and_the_arithmetic_finds_it() -> None:
    seen = set()
    for one, two in product(INTERVALS, repeat=2):
        assert by_arithmetic(Span(*one), Span(*two)) == by_endpoints(one, two), (one, two)
        seen.add(by_endpoints(one, two))
    assert seen == RELATIONS


def test_the_arithmetic_gives_the_same_table() -> None:
    found: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
    spans = [Span(*ends) for ends in INTERVALS]
    for one, two, three in product(spans, repeat=3):
        found[by_arithmetic(one, two), by_arithmetic(two, three)].add(by_arithmetic(one, three))
    assert dict(found) == composition()


def test_the_table_mirrors_itself() -> None:
    for (first, second), names in composition().items():
        assert {CONVERSE[name] for name in names} == composition()[CONVERSE[second], CONVERSE[first]]
        assert composition()["equals", first] == composition()[first, "equals"] == {first}


@given(SPANS, SPANS, SPANS)
def test_three_spans_never_leave_the_table(one: Span, two: Span, three: Span) -> None:
    assert by_arithmetic(one, three) in composition()[by_arithmetic(one, two), by_arithmetic(two, three)]
    assert by_arithmetic(two, one) == CONVERSE[by_arithmetic(one, two)]


@given(SPANS, SPANS, st.integers(-20, 20))
def test_shifting_both_keeps_the_relation(one: Span, two: Span, by: int) -> None:
    assert by_arithmetic(one.shifted(by), two.shifted(by)) == by_arithmetic(one, two)


@given(SPANS, SPANS)
def test_only_four_relations_share_no_frame(one: Span, two: Span) -> None:
    apart = by_arithmetic(one, two) in ("before", "meets", "met by", "after")
    assert apart is not any(frame in two for frame in range(one.start, one.stop))
    assert apart is not bool(one.overlap(two))

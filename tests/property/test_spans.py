"""Span arithmetic against an outside interval library.

Outside check: the `portion` package (intervals over the reals); a span is its ``closedopen``.
"""

from __future__ import annotations

import portion  # type: ignore[import-untyped]
from hypothesis import given
from hypothesis import strategies as st

from advisor.units import FOREVER, Span

FRAMES = st.integers(-30, 60)
SPANS = st.builds(lambda start, length: Span(start, start + length), FRAMES, st.integers(-3, 25))
FULL = SPANS.filter(bool)


def interval(span: Span) -> portion.Interval:
    return portion.closedopen(span.start, span.stop)


def frames(of: portion.Interval) -> list[int]:
    """Whole frames of an interval, in order."""
    return list(portion.iterate(of, step=1)) if not of.empty else []


@given(SPANS)
def test_emptiness_and_length(span: Span) -> None:
    assert bool(span) is not interval(span).empty
    assert len(span) == len(frames(interval(span)))


@given(SPANS, st.integers(-40, 90))
def test_containment_of_a_frame(span: Span, frame: int) -> None:
    assert (frame in span) is (frame in interval(span))


@given(SPANS, SPANS)
def test_overlap(one: Span, two: Span) -> None:
    both = one.overlap(two)
    outside = interval(one) & interval(two)
    assert bool(both) is interval(one).overlaps(interval(two))
    assert len(both) == len(frames(outside))
    if both:
        assert interval(both) == outside
    assert one.overlap(two) == two.overlap(one)


@given(FULL, FULL)
def test_containment_of_a_span(inner: Span, outer: Span) -> None:
    assert (inner.overlap(outer) == inner) is (interval(inner) in interval(outer))


@given(FULL, st.integers(0, 3), st.integers(1, 10))
def test_adjacent_spans_join_without_a_frame_lost_or_shared(one: Span, space: int, length: int) -> None:
    two = Span(one.stop + space, one.stop + space + length)
    hull = Span(one.start, two.stop)
    joins = len(hull) == len(one) + len(two) and not one.overlap(two)
    assert joins is interval(one).adjacent(interval(two))
    assert joins is (interval(one) | interval(two)).atomic


@given(SPANS, SPANS)
def test_difference(one: Span, two: Span) -> None:
    left = [frame for frame in range(one.start, one.stop) if frame not in two]
    assert left == frames(interval(one) - interval(two))
    assert len(left) == len(one) - len(one.overlap(two))


@given(SPANS, st.integers(-50, 50))
def test_shifting_moves_both_ends(span: Span, by: int) -> None:
    moved = interval(span).replace(lower=lambda low: low + by, upper=lambda high: high + by)
    assert frames(interval(span.shifted(by))) == frames(moved)


@given(FULL)
def test_shown_with_both_ends_included(span: Span) -> None:
    first, last = frames(interval(span))[0], frames(interval(span))[-1]
    assert span.shown() == (f"{first}" if first == last else f"{first}-{last}")


def test_windows_that_only_touch_do_not_overlap() -> None:
    """Documented examples of the outside library: why frames are kept half-open."""
    assert portion.closed(3, 5) & portion.closed(5, 8) == portion.singleton(5)
    assert (portion.closedopen(3, 5) & portion.closedopen(5, 8)).empty
    assert portion.closedopen(3, 5).adjacent(portion.closedopen(5, 8))
    assert not portion.closed(3, 5).adjacent(portion.closed(6, 8))
    # So the trade's windows 3-4 and 5-7 share no frame and leave none between them.
    one, two = Span(3, 5), Span(5, 8)
    assert not one.overlap(two)
    assert (one.shown(), two.shown()) == ("3-4", "5-7")
    assert len(Span(3, 8)) == len(one) + len(two)


def test_a_window_without_an_end_is_shown_open() -> None:
    assert Span(7, FOREVER).shown() == "7+"

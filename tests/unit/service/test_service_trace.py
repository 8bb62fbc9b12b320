"""Trace context, by the rules and examples of W3C Trace Context (levels 1 and 2)."""

from __future__ import annotations

import re

import pytest

from advisor.service.seen.trace import read_trace, read_tracestate

TRACE, SPAN = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
GIVEN = f"00-{TRACE}-{SPAN}-01"


@pytest.mark.parametrize(
    ("header", "flags"),
    [
        (GIVEN, 1),
        (f"00-{TRACE}-{SPAN}-00", 0),
        (f"00-{TRACE}-{SPAN}-02", 2),  # level 2: the trace id is random
        (f"00-{TRACE}-{SPAN}-ff", 3),  # flags that are not known yet are not passed on
        (f"01-{TRACE}-{SPAN}-01", 1),  # a later version, as far as it is known
        (f"cc-{TRACE}-{SPAN}-01-what-the-future-will-be-like", 1),
        (f" {GIVEN}\t", 1),
    ],
)
def test_a_trace_is_taken_up(header: str, flags: int) -> None:
    trace = read_trace([header.encode()])
    assert (trace.id, trace.parent, trace.flags) == (TRACE, SPAN, flags)
    assert re.fullmatch(rf"00-{TRACE}-(?!{SPAN})[0-9a-f]{{16}}-0[0-3]", trace.header)


@pytest.mark.parametrize(
    "headers",
    [
        [],
        [GIVEN, GIVEN],
        ["00-" + "0" * 32 + f"-{SPAN}-01"],
        [f"00-{TRACE}-" + "0" * 16 + "-01"],
        [GIVEN.upper()],
        [f"ff-{TRACE}-{SPAN}-01"],
        [f"0-{TRACE}-{SPAN}-01"],
        [f"00-{TRACE[:-1]}-{SPAN}-01"],
        [f"00-{TRACE}-{SPAN[:-1]}g-01"],
        [f"00-{TRACE}-{SPAN}-1"],
        [f"00-{TRACE}-{SPAN}-01-extra"],
        [f"cc-{TRACE}-{SPAN}-01.extra"],
        [f"{GIVEN}\n"],
        [f"00_{TRACE}_{SPAN}_01"],
        ["\u0663" + GIVEN],
        [""],
    ],
)
def test_a_malformed_parent_begins_a_new_trace(headers: list[str]) -> None:
    trace = read_trace([header.encode() for header in headers], [b"congo=t61rcWkgMzE"])
    assert trace.id not in (TRACE, "0" * 32)
    assert (trace.parent, trace.state, trace.flags) == ("", "", 2)
    assert re.fullmatch(r"00-[0-9a-f]{32}-[0-9a-f]{16}-02", trace.header)


@pytest.mark.parametrize(
    ("headers", "state"),
    [
        ([b"rojo=00f067aa0ba902b7,congo=t61rcWkgMzE"], "rojo=00f067aa0ba902b7,congo=t61rcWkgMzE"),
        ([b"rojo=1", b"congo=2"], "rojo=1,congo=2"),
        ([b"foo=1 , \t bar=2,,", b""], "foo=1,bar=2"),
        ([b"fw529a3039@dt=FfffffffAAAAAAAAAA"], "fw529a3039@dt=FfffffffAAAAAAAAAA"),
        ([b"a=" + b"x" * 256], "a=" + "x" * 256),
        ([b"foo=1,foo=1"], ""),
        ([b"foo =1"], ""),
        ([b"FOO=1"], ""),
        ([b"foo.bar=1"], ""),
        ([b"foo@=1,bar=2"], ""),
        ([b"@foo=1,bar=2"], ""),
        ([b"foo@@bar=1,bar=2"], ""),
        ([b"foo=bar=baz"], ""),
        ([b"foo=,bar=3"], ""),
        ([b"a=" + b"x" * 257], ""),
        ([b"a" * 257 + b"=1"], ""),
        ([b"foo=\xc3\xa9"], ""),
        ([b",".join(b"a%d=1" % i for i in range(32))], ",".join(f"a{i}=1" for i in range(32))),
        ([b",".join(b"a%d=1" % i for i in range(33))], ""),
    ],
)
def test_a_state_is_kept_whole_or_not_at_all(headers: list[bytes], state: str) -> None:
    assert read_tracestate(headers) == state
    assert read_trace([GIVEN.encode()], headers).state == state

"""Advice laid out for people in a terminal: a table where there is room, else a list."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from advisor.advice.answer import Advice, Against, FactShown, Leaves, Reason, ResponseAdvice
from advisor.pack.model import UPRIGHT

__all__ = ["ROOM", "advice_view"]

ROOM = 110
"""Columns from which on the responses are a table."""
SHOWN_MISSING = 6


def advice_view(advice: Advice, *, why: bool, width: int) -> RenderableType:
    """The situation, the ranked responses, and with ``why`` the rules and facts behind each; ``width`` in columns."""
    responses = _table(advice.responses) if width >= ROOM else _list(advice.responses)
    parts: list[RenderableType] = [
        Text(advice.situation.sentence),
        Text(advice.summary, style="bold"),
        Text(f"Set against: {', '.join(advice.situation.replies)}", style="dim"),
        responses,
    ]
    left = advice.considered - len(advice.responses)
    if left > 0:
        parts.append(Text(f"{left} more were weighed; --limit shows more.", style="dim"))
    if why:
        parts += [_proof(place, r) for place, r in enumerate(advice.responses, 1)]
    if advice.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in advice.missing[:SHOWN_MISSING])
        parts.append(Text(f"Not recorded, and answers hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in advice.cautions]
    pack = advice.pack
    parts.append(
        Text(f"{pack.name} {pack.version}, data {pack.hash[:10]}, rules {pack.rules[:10]} ({pack.evaluator})", "dim")
    )
    return Group(*parts)


def _table(responses: Iterable[ResponseAdvice]) -> Table:
    table = Table(show_edge=False, pad_edge=False)
    for heading in ("place", "response", "verdict", "damage", "start", "window", "leaves", "because"):
        numeric = heading in ("place", "damage", "start", "window")
        table.add_column(
            heading, justify="right" if numeric else "left", no_wrap=numeric or heading == "verdict", overflow="fold"
        )
    for place, r in enumerate(responses, 1):
        table.add_row(
            str(place), escape(r.name), _verdict(r), _number(r.damage), _number(r.first_active), _window(r),
            escape(_leaves(r.leaves)), escape(_because(r)),
        )
    return table


def _list(responses: Iterable[ResponseAdvice]) -> RenderableType:
    parts: list[RenderableType] = []
    for place, r in enumerate(responses, 1):
        head = Text(f"{place:>2}. ")
        head.append(r.name, style="bold")
        head.append(f": {_verdict(r)}")
        figures = (
            (_number(r.damage), "{} damage"), (_number(r.first_active), "touches on its frame {}"),
            (_window(r), "window {}"), (_leaves(r.leaves), "leaves {}"),
        )
        line = ", ".join(form.format(figure) for figure, form in figures if figure)
        parts.append(head)
        parts += [_in(4, Text(text)) for text in (line, _because(r)) if text]
    return Group(*parts)


def _because(response: ResponseAdvice) -> str:
    lab = [f"[{response.evidence.sentence}]"] if response.evidence else []
    return " ".join([response.sentence, *(f"({caution})" for caution in response.cautions), *lab])


def _verdict(response: ResponseAdvice) -> str:
    said = response.verdict.replace("_", " ")
    evidence = response.evidence
    if evidence and evidence.contradiction and evidence.contradiction.verdict != response.verdict:
        return f"{said} (lab {evidence.successes}/{evidence.tries})"
    whole = response.of <= 1 or response.verdict == "guaranteed"
    return said if whole else f"{said} {response.beats}/{response.of}"


def _window(response: ResponseAdvice) -> str:
    if response.window is None:
        return ""
    return "60+" if response.window >= 60 else str(response.window)


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _leaves(leaves: Leaves) -> str:
    parts = [] if leaves.advantage is None else [f"{leaves.advantage:+d}"]
    if leaves.knockdown not in (None, UPRIGHT):
        parts.append(leaves.knockdown.replace("_", " "))
    for place, effect in (("wall", leaves.wall), ("floor", leaves.floor)):
        if effect not in (None, UPRIGHT):
            parts.append(f"{effect.replace('_', ' ')} ({place})")
    if leaves.distance is not None:
        parts.append(f"at {leaves.distance:g}")
    return ", ".join(parts)


def _proof(place: int, response: ResponseAdvice) -> RenderableType:
    """The chain of rules for one response."""
    head = Text(f"\n{place}. {response.name}: {_verdict(response)}", style="bold")
    parts: list[RenderableType] = [head, *(_in(3, Text(f"{r.rule}: {r.sentence}")) for r in response.reasons)]
    for line in response.against:
        parts += _exchange(line)
    return Group(*parts)


def _exchange(line: Against) -> Iterator[RenderableType]:
    """One exchange: the rules with their facts, and once for all of them the properties behind the facts."""
    frame = "" if line.frame is None else f" on frame {line.frame}"
    what = f"{line.effect.replace('_', ' ')} by {line.by}{frame}" if line.by != "none" else "nothing touches"
    yield _in(3, Text(f"against {line.name}: {line.verdict.replace('_', ' ')} ({what})"))
    if line.evidence:
        yield _in(6, Text(line.evidence.sentence))
    for reason in line.reasons:
        yield _in(6, Text(f"{reason.rule}: {reason.sentence}"))
        if reason.facts:
            yield _in(9, Text(", ".join(f"{f.name} = {_value(f)}" for f in reason.facts), style="dim"))
    if properties := _properties(line.reasons):
        yield _in(6, Text(f"from {'; '.join(properties)}", style="dim"))


def _properties(reasons: Iterable[Reason]) -> list[str]:
    """Every property behind the facts of an exchange, each once, in the order in which they come up."""
    return list(dict.fromkeys(s for reason in reasons for fact in reason.facts for s in fact.sources or ()))


def _value(fact: FactShown) -> str:
    if isinstance(fact.value, bool):
        return "yes" if fact.value else "no"
    return f"{fact.value:g}" if isinstance(fact.value, float) else str(fact.value)


def _in(columns: int, text: Text) -> Padding:
    return Padding(text, (0, 0, 0, columns), expand=False)

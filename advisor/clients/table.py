"""Advice laid out for people in a terminal."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console, Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from advisor.advice.answer import Advice, Leaves, ResponseAdvice
from advisor.errors import AdvisorError, DataError, Finding
from advisor.service.wire import CharacterInfo, MoveInfo, PackInfo

__all__ = ["advice_view", "characters_view", "findings_view", "moves_view", "packs_view", "print_error"]

UNKNOWN = "?"


def advice_view(advice: Advice, *, why: bool) -> RenderableType:
    """The situation, the ranked responses, and with ``why`` the rules and facts behind each."""
    parts: list[RenderableType] = [
        Text(advice.situation.sentence),
        Text(advice.summary, style="bold"),
        Text(f"Set against: {', '.join(advice.situation.replies)}", style="dim"),
        _responses(advice.responses),
    ]
    left = advice.considered - len(advice.responses)
    if left > 0:
        parts.append(Text(f"{left} more were weighed; --limit shows more.", style="dim"))
    if why:
        parts += [_proof(place, r) for place, r in enumerate(advice.responses, 1)]
    if advice.missing:
        lab = ", ".join(f"{m.move}: {m.property}" if m.move else m.property for m in advice.missing[:6])
        parts.append(Text(f"Not recorded, and answers hang on it: {lab}"))
    parts += [Text(f"Note: {caution}", style="dim") for caution in advice.cautions]
    parts.append(
        Text(f"{advice.pack.name} {advice.pack.version}, data {advice.pack.hash[:10]}, "
             f"rules {advice.pack.rules[:10]} ({advice.pack.evaluator})", style="dim")
    )
    return Group(*parts)


def _responses(responses: Iterable[ResponseAdvice]) -> Table:
    table = Table(show_edge=False, pad_edge=False)
    for heading in ("place", "response", "verdict", "damage", "start", "window", "leaves", "because"):
        numeric = heading in ("place", "damage", "start", "window")
        table.add_column(heading, justify="right" if numeric else "left", overflow="fold", no_wrap=numeric)
    for place, r in enumerate(responses, 1):
        verdict = r.verdict if r.of <= 1 or r.verdict == "guaranteed" else f"{r.verdict} {r.beats}/{r.of}"
        table.add_row(
            str(place), escape(r.name), verdict.replace("_", " "), _number(r.damage), _number(r.first_active),
            "" if r.window is None else "60+" if r.window >= 60 else str(r.window), _leaves(r.leaves),
            escape(" ".join([r.sentence, *(f"({c})" for c in r.cautions)])),
        )
    return table


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _leaves(leaves: Leaves) -> str:
    parts = [] if leaves.advantage is None else [f"{leaves.advantage:+d}"]
    if leaves.knockdown:
        parts.append(leaves.knockdown.replace("_", " "))
    if leaves.distance is not None:
        parts.append(f"at {leaves.distance:g}")
    return ", ".join(parts)


def _proof(place: int, response: ResponseAdvice) -> RenderableType:
    """The chain of rules for one response."""
    lines = [Text(f"\n{place}. {response.name}: {response.verdict.replace('_', ' ')}", style="bold")]
    for reason in response.reasons:
        lines.append(Text(f"   {reason.rule}: {reason.sentence}"))
    for line in response.against:
        frame = "" if line.frame is None else f" on frame {line.frame}"
        what = f"{line.effect.replace('_', ' ')} by {line.by}{frame}" if line.by != "none" else "nothing touches"
        lines.append(Text(f"   against {line.name}: {line.verdict.replace('_', ' ')} ({what})"))
        for reason in line.reasons:
            lines.append(Text(f"      {reason.rule}: {reason.sentence}"))
            facts = ", ".join(f"{f.name} = {_value(f.value)}" for f in reason.facts)
            lines.append(Text(f"         {facts}", style="dim"))
            for fact in reason.facts:
                if fact.sources:
                    lines.append(Text(f"         {fact.name} from {'; '.join(fact.sources)}", style="dim"))
    return Group(*lines)


def _value(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def packs_view(packs: Iterable[PackInfo]) -> Table:
    """Loaded packs."""
    table = Table("id", "name", "version", "characters", "levels", "distances", show_edge=False)
    for p in packs:
        away = ", ".join(f"{k} {v:g}" for k, v in p.distances.items())
        table.add_row(
            p.id + (" (default)" if p.default else ""), escape(p.name), escape(p.version), ", ".join(p.characters),
            ", ".join(p.levels), f"{away} ({escape(p.unit)})",
        )
    return table


def characters_view(characters: Iterable[CharacterInfo]) -> Table:
    """Characters of a pack."""
    table = Table("id", "name", "health", "moves", "key moves", "about", show_edge=False)
    for c in characters:
        table.add_row(
            c.id, escape(c.name), _number(c.health), str(c.moves), ", ".join(c.key_moves), escape(c.about)
        )
    return table


def moves_view(moves: Iterable[MoveInfo]) -> Table:
    """Moves, one a row; a question mark is a property that is not recorded."""
    heads = ("id", "name", "input", "level", "first active", "damage", "on block", "on hit", "reach", "tags")
    table = Table(*heads, show_edge=False)
    for m in moves:
        attack = m.kind == "attack"
        table.add_row(
            m.id, escape(m.name), escape(m.input or ""), m.level or (UNKNOWN if attack else m.kind),
            *(
                _number(v) if v is not None else (UNKNOWN if attack else "")
                for v in (m.first_active, m.damage)
            ),
            *(f"{v:+d}" if v is not None else (UNKNOWN if attack else "") for v in (m.on_block, m.on_hit)),
            _number(m.reach) if m.reach is not None else (UNKNOWN if attack else ""),
            ", ".join(m.tags),
        )
    return table


def findings_view(findings: Iterable[Finding]) -> RenderableType:
    """Faults and warnings, one a paragraph."""
    return Group(*(Text(f.shown(), style="" if f.severity == "error" else "dim") for f in findings))


def print_error(console: Console, error: AdvisorError) -> None:
    """An error as people read it: what is wrong, where, what would be right."""
    if isinstance(error, DataError):
        console.print(findings_view(error.findings))
        faults = sum(f.severity == "error" for f in error.findings)
        console.print(Text(f"{faults} fault(s)"))
        return
    where = f" (at {error.pointer})" if error.pointer else ""
    console.print(Text(f"error[{error.code}]: {error.message}{where}"))
    if error.help:
        console.print(Text(f"help: {error.help}"))

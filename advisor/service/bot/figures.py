"""Numbers and verdicts in few words, and what every message has at its end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from advisor.advice.answer import Leaves, Missing, PackRef, Reason
from advisor.pack.model import UPRIGHT
from advisor.service.bot.lettering import escaped, plain

__all__ = ["because", "figures", "footer", "left", "unrecorded", "verdict_words"]

LONG = 60
"""A window of so many frames or more is that or more."""
SHOWN_MISSING = 6


def verdict_words(verdict: str, beats: int = 1, of: int = 1) -> str:
    """The verdict, and over how many of their replies it holds when it is not over all alike."""
    said = verdict.replace("_", " ")
    return said if of <= 1 or verdict == "guaranteed" else f"{said} {beats}/{of}"


def figures(damage: float | None, first_active: int | None = None, window: int | None = None) -> list[str]:
    """Damage (points), the frame on which it touches, and how strict it is (frames); what is unknown is left out."""
    out = []
    if damage is not None:
        out.append(f"{damage:g} damage")
    if first_active is not None:
        out.append(f"touches on its frame {first_active}")
    if window is not None:
        out.append("just frame" if window == 1 else f"window {window}{'+' if window >= LONG else ''}")
    return out


def left(leaves: Leaves) -> list[str]:
    """What an exchange leaves, as one part of a line, or none."""
    parts = [] if leaves.advantage is None else [f"{leaves.advantage:+d}"]
    if leaves.knockdown not in (None, UPRIGHT):
        parts.append(leaves.knockdown.replace("_", " "))
    for place, effect in (("wall", leaves.wall), ("floor", leaves.floor)):
        if effect not in (None, UPRIGHT):
            parts.append(f"{effect.replace('_', ' ')} ({place})")
    if leaves.distance is not None:
        parts.append(f"at {leaves.distance:.4g}")
    return [f"leaves {', '.join(parts)}"] if parts else []


def because(reasons: Iterable[Reason], full: bool) -> list[str]:
    """The sentences of rules, each once; with ``full`` their facts with numbers."""
    out = []
    for reason in reasons:
        facts = ", ".join(f"{f.name} = {f.value}{f' {f.unit}' if f.unit else ''}" for f in reason.facts) if full else ""
        out.append(f"{reason.sentence}{f' [{facts}]' if facts else ''}")
    return list(dict.fromkeys(out))


def unrecorded(missing: Sequence[Missing]) -> str:
    """What is not recorded though the answer hangs on it, as an escaped sentence; empty when there is nothing."""
    if not missing:
        return ""
    named = [f"{m.move}: {m.property}" if m.move else m.property for m in missing[:SHOWN_MISSING]]
    return escaped(f"Not recorded, and answers hang on it: {', '.join(named)}")


def footer(cautions: Iterable[str], pack: PackRef | None = None) -> str:
    """The cautions, those on live help first, and the data; a footer has no markup and so no escapes."""
    said = [plain(caution) for caution in cautions]
    if pack is not None:
        said.append(plain(f"{pack.name} {pack.version}, data {pack.hash[:10]}, rules {pack.rules[:10]}"))
    return " / ".join(said)

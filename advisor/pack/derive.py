"""What follows from the numbers a move states: total duration, stun from advantage and back.

With contact on the first active frame the attacker is busy for ``active - 1 + recovery`` further
frames, so ``advantage = stun + 1 - active - recovery``. The stated advantage is the truth: stun that
disagrees with it gives a warning, never a correction.
"""

from __future__ import annotations

from msgspec import Struct, structs

from advisor.documents import Path_
from advisor.pack.check import Report
from advisor.pack.model import Hit
from advisor.units import FOREVER

__all__ = ["LastHit", "settle_stun", "settle_total"]


class LastHit(Struct, frozen=True):
    """The numbers of a move's last hit, as stated: first active frame, active and recovery in frames."""

    first_active: int | None
    active: int | None
    recovery: int | None


def settle_total(report: Report, at: Path_, last: LastHit, stated: int | None) -> tuple[int | None, bool]:
    """The whole duration in frames, and whether it was worked out.

    Formula: ``total = first_active - 1 + active + recovery`` of the last hit. A stated total that
    disagrees is a fault that names all numbers.
    """
    if last.first_active is None or last.active is None or last.recovery is None:
        return stated, False
    follows = last.first_active - 1 + last.active + last.recovery
    if stated is None:
        return follows, True
    if stated != follows:
        shown = "`held`" if stated == FOREVER else str(stated)
        report.fault(
            "total-disagrees",
            f"total {shown} does not follow from first active frame {last.first_active}, active "
            f"{last.active} and recovery {last.recovery}, which give {follows}",
            (*at, "total"),
            help="correct one of the numbers, or leave one of them out",
        )
    return stated, False


def settle_stun(
    report: Report, at: Path_, hit: Hit, last: LastHit, total: int | None, *, stated_total: bool, alone: bool
) -> tuple[Hit, dict[str, str]]:
    """The last hit with stun and advantage completed, and the formula of each completed field.

    ``at`` is the path of the hit. Only a move's only hit (``alone``) is completed: with several, a
    blocked earlier one is followed by the others. Disagreement is a warning for the last hit too.
    """
    busy, formula = _busy(last, total)
    found: dict[str, int] = {}
    why: dict[str, str] = {}
    if busy is None:
        return hit, why
    for advantage, stun in (("on_block", "blockstun"), ("on_hit", "hitstun")):
        ahead, held = getattr(hit, advantage), getattr(hit, stun)
        if ahead is not None and held is not None:
            if ahead != held - busy:
                numbers = _numbers(last, total if stated_total else None)
                report.warn(
                    "advantage-disagrees",
                    f"{advantage} {ahead:+d} does not follow from {stun} {held}, {numbers}, "
                    f"which give {held - busy:+d}",
                    (*at, advantage),
                    help=f"the stated advantage is used; {stun} {ahead + busy} would agree with it",
                )
        elif ahead is not None and ahead + busy < 0:
            numbers = _numbers(last, total if stated_total else None)
            report.warn(
                "advantage-disagrees",
                f"{advantage} {ahead:+d} is less than {numbers} allow: at least {-busy:+d}",
                (*at, advantage),
            )
        elif alone and ahead is not None:
            found[stun] = ahead + busy
            why[stun] = formula.format(stun=advantage, minus="-", plus="+")
        elif alone and held is not None:
            found[advantage] = held - busy
            why[advantage] = formula.format(stun=stun, minus="+", plus="-")
    return (structs.replace(hit, **found) if found else hit), why


def _busy(last: LastHit, total: int | None) -> tuple[int | None, str]:
    """Frames for which the attacker is busy after the contact frame, and the formula around them."""
    if last.active is not None and last.recovery is not None:
        return last.active - 1 + last.recovery, "{stun} {minus} 1 {plus} active {plus} recovery"
    if total is not None and total < FOREVER and last.first_active is not None:
        tail = total - last.first_active
        return (tail if tail >= 0 else None), "{stun} {plus} total {minus} first_active"
    return None, ""


def _numbers(last: LastHit, total: int | None) -> str:
    named = [("active", last.active), ("recovery", last.recovery), ("total", total)]
    if last.active is None or last.recovery is None:
        named.insert(0, ("first active frame", last.first_active))
    shown = [f"{name} {count}" for name, count in named if count is not None]
    return " and ".join(", ".join(shown).rsplit(", ", 1))

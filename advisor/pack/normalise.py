"""One written move into its normalised form, and the faults of meaning in it.

Written frames are counted from 1 with both ends included; normalised spans are half-open. What is
absent stays unknown (None), unless the pack lists the property in ``none_when_absent``: then the
move is known to have none of it.
"""

from __future__ import annotations

from msgspec import UNSET, UnsetType

from advisor.documents import Path_
from advisor.errors import did_you_mean
from advisor.pack.check import Report, quoted
from advisor.pack.derive import LastHit, settle_stun, settle_total
from advisor.pack.hits import HitReader, known
from advisor.pack.model import FollowUp, Hit, Move, Requires
from advisor.pack.windows import WindowReader, pairs
from advisor.pack.words import Words, check_id, check_name, slug_of
from advisor.pack.written_move import HitKeys, WrittenFollowUp, WrittenMove, WrittenRequires
from advisor.units import FOREVER, Span

__all__ = ["MoveReader", "move_id"]

HIT_KEYS = HitKeys.__struct_fields__
ATTACK_KEYS = ("startup", "active", "level", "hits")
WINDOW_KEYS = ("airborne", "crouching", "grounded", "counter_state", "cannot_block")
BLOCK_KEYS = ("guard", "invulnerable", "armour", "parry", "sidestep")
ALL_RESULTS = frozenset({"block", "hit", "counter_hit", "whiff"})


def move_id(written: WrittenMove) -> str:
    """The move's id as written, or made from its name; empty when there is neither."""
    return known(written.id) or slug_of(known(written.name) or "")


class MoveReader:
    """Turns the written moves of one file into normalised ones; faults go to ``report``.

    ``startup_shift`` is 1 when the pack's startup does not count the first active frame. ``ids`` are
    the moves that a follow-up may name.
    """

    def __init__(
        self,
        report: Report,
        words: Words,
        *,
        none_when_absent: frozenset[str],
        startup_shift: int,
        ids: frozenset[str],
    ) -> None:
        self.report = report
        self.words = words
        self.none_when_absent = none_when_absent
        self.ids = ids
        self.hits = HitReader(report, words, none_when_absent, startup_shift)

    def read(self, written: WrittenMove, at: Path_) -> Move:
        """The move at path ``at``. With faults reported, the result is only good for further checks."""
        kind = self._kind(written, at)
        hits, derived = self._hits(written, kind, at)
        total, hits = self._timing(written, kind, hits, derived, at)
        self.words.check_all(self.report, "tag", self.hits.stated_tags(written.tags), (*at, "tags"))
        windows = WindowReader(self.hits, written, at, total)
        cost = 0 if self._has_none(written.cost, "cost") else known(written.cost)
        return Move(
            id=self._id(written, at),
            name=check_name(self.report, known(written.name) or move_id(written) or "?", (*at, "name")),
            kind=kind,
            input=known(written.input),
            hits=hits,
            total=total,
            airborne=windows.spans("airborne"),
            crouching=windows.spans("crouching"),
            grounded=windows.spans("grounded") if written.grounded is not UNSET else (),
            counter_state=windows.spans("counter_state"),
            invulnerable=windows.shields(),
            armour=windows.armours(),
            parry=windows.parries(),
            guard=windows.guards(kind),
            sidestep=windows.sidesteps(),
            displacement=windows.displacements(),
            cost=cost if isinstance(cost, int) else None,
            requires=self._requires(written, at),
            follow_ups=self._follow_ups(written, total, at),
            wakes_from=frozenset()
            if written.wakes_from is UNSET
            else self.words.check_all(self.report, "knockdown", written.wakes_from, (*at, "wakes_from")),
            tags=frozenset(self.hits.stated_tags(written.tags)),
            note=known(written.note) or "",
            source=known(written.source) or "",
            derived=derived,
        )

    def _has_none(self, value: object, key: str) -> bool:
        return value == "none" or (value is UNSET and key in self.none_when_absent)

    def _id(self, written: WrittenMove, at: Path_) -> str:
        stated = known(written.id)
        if stated is not None:
            return check_id(self.report, stated, (*at, "id"))
        name = known(written.name)
        if name is None:
            self.report.fault("id-missing", "a move needs a `name` or an `id`", at)
        elif not slug_of(name):
            shown = quoted(name).removeprefix("text ")
            self.report.fault(
                "id-missing", f"no id can be made from the name {shown}", (*at, "name"), help="add an `id`"
            )
        return move_id(written)

    def _kind(self, written: WrittenMove, at: Path_) -> str:
        stated = known(written.kind)
        attacks = any(getattr(written, key) is not UNSET for key in ATTACK_KEYS)
        hit_keys = [key for key in HIT_KEYS if getattr(written, key) is not UNSET]
        if stated is None:
            if written.parry is not UNSET and written.parry != "none" and not attacks:
                return "parry"
            return "attack" if attacks or hit_keys else "movement"
        if stated in ("movement", "guard") and (hit_keys or isinstance(written.hits, list)):
            key = hit_keys[0] if hit_keys else "hits"
            self.report.fault("kind-clash", f"a {stated} has no hits, so no `{key}`", (*at, key), key=True)
        return stated

    def _hits(self, written: WrittenMove, kind: str, at: Path_) -> tuple[tuple[Hit, ...], dict[str, str]]:
        derived: dict[str, str] = {}
        listed = known(written.hits)
        if kind in ("movement", "guard"):
            return (), derived
        own_keys = [key for key in HIT_KEYS if getattr(written, key) is not UNSET]
        if not listed:
            if kind == "parry" and not own_keys:
                return (), derived
            return (self.hits.read(written, at, 0, (written.tags,), derived),), derived
        for key in own_keys:
            self.report.fault(
                "hit-key-misplaced",
                f"with `hits`, `{key}` stands on each hit and not on the move",
                (*at, key),
                key=True,
            )
        places: list[Path_] = [(*at, "hits", number) for number in range(len(listed))]
        for hit, place in zip(listed, places, strict=True):
            self.words.check_all(self.report, "tag", self.hits.stated_tags(hit.tags), (*place, "tags"))
        hits = tuple(
            self.hits.read(hit, places[number], number, (written.tags, hit.tags), derived)
            for number, hit in enumerate(listed)
        )
        self.hits.check_order(hits, places)
        return hits, derived

    def _timing(
        self, written: WrittenMove, kind: str, hits: tuple[Hit, ...], derived: dict[str, str], at: Path_
    ) -> tuple[int | None, tuple[Hit, ...]]:
        """The total duration, and the hits with what follows from it."""
        stated = FOREVER if written.total == "held" else known(written.total)
        total = stated if isinstance(stated, int) else None
        recovery = known(written.recovery)
        if not hits:
            return self._timing_without_hits(written, kind, total, recovery, derived, at), hits
        listed = known(written.hits)
        place: Path_ = (*at, "hits", len(hits) - 1) if listed else at
        last_written: HitKeys = listed[-1] if listed else written
        last = LastHit(hits[-1].first_active, known(last_written.active), recovery)
        settled, worked_out = settle_total(self.report, at, last, total)
        if worked_out:
            derived["total"] = "first_active - 1 + active + recovery"
        self.hits.check_within(hits, settled, at, bool(listed))
        alone = len(hits) == 1
        done, why = settle_stun(
            self.report, place, hits[-1], last, settled, stated_total=total is not None, alone=alone
        )
        derived.update({f"hits[{len(hits) - 1}].{name}": formula for name, formula in why.items()})
        return settled, (*hits[:-1], done)

    def _timing_without_hits(
        self,
        written: WrittenMove,
        kind: str,
        total: int | None,
        recovery: int | None,
        derived: dict[str, str],
        at: Path_,
    ) -> int | None:
        parries = known(written.parry)
        if kind == "parry" and recovery is not None and isinstance(parries, list) and parries:
            last = parries[-1].frames[1]
            if isinstance(last, int):
                caught = LastHit(last, 1, recovery)
                settled, worked_out = settle_total(self.report, at, caught, total)
                if worked_out:
                    derived["total"] = "last parry frame + recovery"
                return settled
        elif recovery is not None and kind != "parry":
            self.report.warn(
                "key-idle",
                f"`recovery` says nothing for a {kind}: it has no hits",
                (*at, "recovery"),
                help="state `total`",
            )
        if total is None and kind in ("movement", "guard") and _held(written):
            derived["total"] = "held, as one of its windows is"
            return FOREVER
        return total

    def _requires(self, written: WrittenMove, at: Path_) -> Requires | None:
        self._warn_if_unknown(written.requires, "requires", at)
        stated = known(written.requires)
        if not isinstance(stated, WrittenRequires):
            return None
        stance = known(stated.stance)
        return Requires(
            stance=None if stance is None else check_name(self.report, stance, (*at, "requires", "stance")),
            back_turned=known(stated.back_turned),
            near_wall=known(stated.near_wall),
            health_below=known(stated.health_below),
            meter=known(stated.meter),
            follows=known(stated.follows) or False,
        )

    def _warn_if_unknown(self, value: object, key: str, at: Path_) -> None:
        if value is None or value == "unknown":
            self.report.warn(
                "unknown-not-kept",
                f"an unknown `{key}` is taken as none",
                (*at, key),
                help="leave the key out if it has none",
            )

    def _follow_ups(self, written: WrittenMove, total: int | None, at: Path_) -> tuple[FollowUp, ...]:
        self._warn_if_unknown(written.follow_ups, "follow_ups", at)
        stated = known(written.follow_ups)
        if not isinstance(stated, list):
            return ()
        places: list[Path_] = [(*at, "follow_ups", number) for number in range(len(stated))]
        return tuple(self._follow_up(one, total, place) for one, place in zip(stated, places, strict=True))

    def _follow_up(self, written: WrittenFollowUp, total: int | None, at: Path_) -> FollowUp:
        if written.move not in self.ids:
            shown = quoted(written.move).removeprefix("text ")
            self.report.fault(
                "move-unknown",
                f"there is no move {shown} to follow with",
                (*at, "move"),
                help=did_you_mean(written.move[:80], self.ids),
            )
        if written.arrives is UNSET and written.begins is UNSET:
            self.report.fault(
                "follow-up-untimed",
                "a follow-up needs `arrives` or `begins`",
                at,
                help="write `arrives: unknown` when it is not known",
            )
        begins = self._range(written.begins, (*at, "begins"))
        if begins is not None and total is not None and begins.stop - 1 > total + 1:
            self.report.fault(
                "window-past-total",
                f"frame {begins.stop - 1} is past the end of this move, whose total is {total}",
                (*at, "begins"),
            )
        on = ALL_RESULTS if written.on is UNSET else frozenset[str](written.on)
        arrives = self._range(written.arrives, (*at, "arrives"))
        return FollowUp(move=written.move, arrives=arrives, begins=begins, on=on)

    def _range(self, value: int | list[int] | str | UnsetType | None, path: Path_) -> Span | None:
        if not isinstance(value, (int, list)):
            return None
        first, last = (value, value) if isinstance(value, int) else value
        if first > last:
            self.report.fault(
                "window-reversed",
                f"the range {first} to {last} ends before it begins",
                path,
                help=f"write `[{last}, {first}]`",
            )
        return Span(first, last + 1)


def _held(written: WrittenMove) -> bool:
    """Whether a window of the move lasts as long as it is held."""
    for key in WINDOW_KEYS:
        windows = getattr(written, key)
        if isinstance(windows, list) and any(pair[1] == "held" for pair in pairs(windows)):
            return True
    blocks = [getattr(written, key) for key in BLOCK_KEYS]
    return any(one.frames[1] == "held" for block in blocks if isinstance(block, list) for one in block)

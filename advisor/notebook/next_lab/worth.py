"""What each response of an answer is worth: the chance that it comes off, and the damage won or lost.

What follows an exchange counts once, one step deep: the most damage among the strikes that are free to use, fast
enough for the advantage that is left, and known to reach where the distance is known.
"""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct

from advisor.advice.answer import Advice, Against, ResponseAdvice
from advisor.notebook.next_lab.plausible import mean_damage
from advisor.notebook.next_lab.value import Stake
from advisor.pack.model import UPRIGHT, Character, Move, Pack
from advisor.solver.intervals import Trials, posterior
from advisor.solver.quantities import positive_number
from advisor.units import FOREVER, to_micro

__all__ = ["Counted", "Follows", "Trust", "move_of", "stakes_of", "tallied", "wants_damage"]

Counted = Mapping[tuple[str, str | None], tuple[int, int]]
"""Successes and tries by (response, reply), as ``Notebook.counted`` gives them."""
WINS = ("guaranteed", "beats", "in_range")
STRUCK = ("hit", "counter_hit")


class Trust(Struct, kw_only=True, frozen=True):
    """How far theory is trusted before any try: Beta(a, b) priors of the chance that a response comes off.

    ``working`` is that of the ``works`` verdicts (theory counts as four tries that came off and one that did not),
    ``losing`` that of ``loses``, ``open`` (Jeffreys) that of all others. Units: tries.
    """

    working: tuple[float, float] = (4.0, 1.0)
    losing: tuple[float, float] = (1.0, 4.0)
    open: tuple[float, float] = (0.5, 0.5)
    works: frozenset[str] = frozenset({"guaranteed", "in_range", "beats", "holds"})
    loses: frozenset[str] = frozenset({"loses"})

    def check(self) -> None:
        """Errors: ``QuestionError`` for a prior that is not above 0."""
        for name in ("working", "losing", "open"):
            for number in getattr(self, name):
                positive_number(number, f"the trust `{name}`")

    def prior(self, verdict: str) -> tuple[float, float]:
        """The prior of a verdict."""
        return self.working if verdict in self.works else self.losing if verdict in self.loses else self.open


def tallied(counted: Counted, option: str) -> Trials:
    """All trials of a response, whatever it was tried against."""
    rows = [row for (response, _), row in counted.items() if response == option]
    return Trials(sum(k for k, _ in rows), sum(n for _, n in rows))


def move_of(pack: Pack, character: str, option: str) -> tuple[str, Move] | None:
    """The move of an option (`id` or `id@frame`) and its owner, empty for everyone's; None when there is none."""
    key = option.partition("@")[0]
    own = pack.characters[character].moves
    if key in own:
        return character, own[key]
    found = pack.system.get(key) or pack.wake_ups.get(key)
    return None if found is None else ("", found)


def wants_damage(pack: Pack, character: str, option: str) -> bool:
    """Whether it is an attack whose damage nobody has recorded."""
    found = move_of(pack, character, option)
    return found is not None and bool(found[1].hits) and found[1].hits[0].damage is None


class Follows:
    """What a character wins once it may act some frames before the other, who cannot block until then."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self._strikes: dict[str, list[tuple[int, int | None, float]]] = {}

    def most(self, character: str, frames: int, away: int | None) -> float:
        """The most damage of a strike within ``frames``; ``away`` in micro-units, None: reach is not asked."""
        if frames <= 0:
            return 0.0
        if character not in self._strikes:
            self._strikes[character] = list(self._of(self.pack.characters[character]))
        each = self._strikes[character]
        near = ((first, damage) for first, reach, damage in each if away is None or (reach or -1) >= away)
        return max((damage for first, damage in near if first <= frames), default=0.0)

    def _of(self, character: Character) -> list[tuple[int, int | None, float]]:
        out = []
        for move in character.moves.values():
            if not move.hits or move.requires is not None or move.cost or move.wakes_from:
                continue
            hit = move.hits[0]
            level = self.pack.conventions.levels.get(hit.level or "")
            if hit.first_active is None or hit.damage is None or level is None:
                continue
            if level.kind == "strike" and "standing" in level.hits:
                out.append((hit.first_active, hit.reach, hit.damage))
        return out


def stakes_of(advice: Advice, pack: Pack, counted: Counted, trust: Trust) -> list[Stake]:
    """What is at stake with each response, in the order of the advice, which has its ``against`` rows."""
    follows, me, them = Follows(pack), advice.situation.me, advice.situation.them
    out = []
    for response in advice.responses:
        own = move_of(pack, me, response.option)
        move = None if own is None else own[1]
        wins = move is not None and _own_damage(pack, move)
        busy = {"me": _commits(own), "them": False}
        rows = []
        for row in response.against:
            busy["them"] = _commits(move_of(pack, them, row.reply))
            rows.append(_row(row, wins or 0.0, follows, (me, them), busy))
        loss = max([0.0, response.risk or 0.0, _failed(pack, move, follows, them), *(lost for _, lost in rows)])
        gain = max(-loss, _gain(response, rows, wins or 0.0, trust)) + 0.0
        chance = posterior(tallied(counted, response.option), trust.prior(response.verdict))
        out.append(Stake(option=response.option, gain=gain, loss=loss, chance=chance))
    return out


def _gain(response: ResponseAdvice, rows: list[tuple[float, float]], own: float, trust: Trust) -> float:
    """What it brings when it comes off: what theory says over all replies if it works, else over those it beats.

    Where it beats none, its own damage: that is what theory would be wrong about.
    """
    if response.verdict in trust.works and rows:
        return sum(won - lost for won, lost in rows) / len(rows)
    beaten = [won for row, (won, _) in zip(response.against, rows, strict=True) if row.verdict in WINS]
    return sum(beaten) / len(beaten) if beaten else own


def _commits(found: tuple[str, Move] | None) -> bool:
    """Whether an option that misses leaves its user in recovery: an attack or a parry."""
    return found is not None and found[1].kind in ("attack", "parry")


def _row(
    row: Against, own: float, follows: Follows, sides: tuple[str, str], busy: Mapping[str, bool]
) -> tuple[float, float]:
    """What an exchange wins and costs me with what follows.

    ``own`` stands for damage dealt that is not recorded; ``sides`` are the characters, me first; ``busy``: see
    ``_commits``, for me and them.
    """
    hit = row.by == "me" and row.effect in STRUCK
    won = row.dealt if row.dealt is not None else (own if hit else 0.0)
    lost = row.taken or 0.0
    lead = row.leaves.advantage or 0
    away = None if row.leaves.distance is None else to_micro(row.leaves.distance)
    if lead > 0 and _open(row, "me", busy["them"]):
        won += follows.most(sides[0], lead, away)
    elif lead < 0 and _open(row, "them", busy["me"]):
        lost += follows.most(sides[1], -lead, away)
    return won, lost


def _open(row: Against, actor: str, busy: bool) -> bool:
    """Whether the side that is not ``actor`` cannot block yet: struck and on its feet, or ``busy`` in recovery."""
    if row.by == "none":
        return busy
    if row.by == actor:
        return row.effect in STRUCK and row.leaves.knockdown == UPRIGHT
    return row.by in ("me", "them") and row.effect in ("blocked", "parried")


def _own_damage(pack: Pack, move: Move) -> float:
    """What the move wins by itself: its first hit, the mean of its like when unrecorded; a parry's least catch."""
    if move.hits:
        damage = move.hits[0].damage
        return mean_damage(pack, move) if damage is None else damage
    caught = [outcome.damage for parry in move.parry or () for outcome in parry.outcomes]
    return min((damage for damage in caught if damage is not None), default=0.0)


def _failed(pack: Pack, move: Move | None, follows: Follows, them: str) -> float:
    """What follows when an attack fails: it is blocked, or misses if nothing blocks it; unknown counts as nothing."""
    if move is None or not move.hits:
        return 0.0
    hit, last = move.hits[0], move.hits[-1]
    level = pack.conventions.levels.get(hit.level or "")
    if level is not None and not level.blocked_by:
        if move.total is None or move.total >= FOREVER or last.active_stop is None:
            return 0.0
        return follows.most(them, move.total + 1 - last.active_stop, None)
    return 0.0 if hit.on_block is None else follows.most(them, -hit.on_block, None)

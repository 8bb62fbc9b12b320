"""What the situation that an exchange leaves is worth: a punish, or the guess that follows, solved in its turn."""

from __future__ import annotations

import msgspec
import numpy as np

from advisor.facts import Situation, ready, settle
from advisor.facts.question import Fighter
from advisor.pack.model import Pack
from advisor.solver.matrix import solve
from advisor.studies.coverage_cells import Grid
from advisor.studies.guess_options import following, longest_delay, timed_by
from advisor.studies.guess_table import build, known_lines
from advisor.studies.guess_worth import After, Stated, damage_worth, punish_damage
from advisor.units import MICRO

__all__ = ["MOST", "Solved"]

TENTH = MICRO // 10

MOST = 120
"""Situations solved for one question; those beyond count their punish alone."""


class Solved:
    """The worth of situations, each worked out once: the value of their own guess, punishes at its end.

    ``cut`` counts the situations that were beyond ``MOST``.
    """

    @property
    def cut(self) -> int:
        """Situations of which only the punish counts."""
        return len(self.beyond)

    def __init__(self, pack: Pack, me: Fighter, them: Fighter, situation: Situation, stated: Stated) -> None:
        self.pack, self.me, self.them = pack, me, them
        self.situation = situation
        self.stated = stated
        self.kept: dict[After, float | None] = {}
        self.beyond: set[After] = set()

    def __call__(self, after: After) -> float | None:
        """Points for me; None when it hangs on something unknown. The distance counts to a tenth of the unit."""
        if after.distance is not None:
            after = msgspec.structs.replace(after, distance=round(after.distance / TENTH) * TENTH)
        if after not in self.kept:
            if len(self.kept) >= MOST:
                self.beyond.add(after)
                return punish_damage(self.situation, after)
            self.kept[after] = self._value(after)
        return self.kept[after]

    def _value(self, after: After) -> float | None:
        question = following(self.pack, self.me, self.them, after)
        if question is None:
            return None
        situation = settle(self.pack, question)
        grid = Grid(situation, longest_delay(situation, None, None), timed_by(situation))
        mine, theirs, further = ready(situation)
        worth = damage_worth(lambda left: punish_damage(situation, left), self.stated)
        payoff = build(grid, mine, [*theirs, *further], worth).payoff
        rows, columns = known_lines(payoff)
        return solve(payoff[np.ix_(rows, columns)]).value if rows else None

"""An exchange near the end of a round: worth the chance to win that it leaves, not its damage."""

from __future__ import annotations

import math
from typing import Literal

from advisor.facts import Pair, Situation
from advisor.solver.round import RoundSolution
from advisor.solver.round_model import comeback_steps, damage_steps
from advisor.studies.guess_worth import After, Priced, Worth, after_of, punish_damage
from advisor.studies.round_build import Built

__all__ = ["round_worth", "steps_of"]


def steps_of(points: float, step: float, full: int) -> int:
    """Health in whole steps, a begun one counted, 1 to ``full``; ``points`` and ``step`` in points."""
    return min(full, max(1, math.ceil(points / step - 1e-9)))


def round_worth(
    built: Built, solution: RoundSolution, situation: Situation, wall: Literal["none", "me", "them"]
) -> Worth:
    """The chance to win the round (the middle of its bracket) that each exchange of ``situation`` leaves.

    Healths are those of the situation. Unit: probability. A pair whose damage or what it leaves is unknown has none.
    """
    model = solution.model
    assert situation.my_health is not None and situation.their_health is not None
    mine = steps_of(situation.my_health, model.points_per_step, model.my_steps)
    theirs = steps_of(situation.their_health, model.points_per_step, model.their_steps)
    names = {s.name: i for i, s in enumerate(model.situations)}
    middle = (solution.lower + solution.upper) / 2

    def left(dealt: float, taken: float, mine: int, theirs: int) -> tuple[int, int]:
        rule = model.comeback
        raised = 1.0 if rule is None or mine > comeback_steps(model, model.my_steps) else rule.times
        their_raised = 1.0 if rule is None or theirs > comeback_steps(model, model.their_steps) else rule.times
        return (
            max(0, mine - damage_steps(model, taken * their_raised)),
            max(0, theirs - damage_steps(model, dealt * raised)),
        )  # fmt: skip

    def worth(pair: Pair) -> Priced:
        exchange, outcome = pair.exchange, pair.outcome
        if exchange is None or outcome is None or not exchange.decided:
            return Priced(value=None, lacks="the exchange")
        if outcome.dealt is None or outcome.taken is None:
            return Priced(value=None, dealt=outcome.dealt, taken=outcome.taken, lacks="the damage")
        after = after_of(pair)
        if after is None:
            if exchange.by in ("me", "them"):
                return Priced(
                    value=None, dealt=outcome.dealt, taken=outcome.taken, lacks="the advantage that is left"
                )
            after = After(advantage=0, distance=situation.distance, floored="nobody", state="", held="recovery")
        more = punish_damage(situation, after)
        if more is None:
            return Priced(
                value=None, dealt=outcome.dealt, taken=outcome.taken,
                lacks="what the situation that is left is worth",
            )  # fmt: skip
        h = left(outcome.dealt, outcome.taken, mine, theirs)
        name = built.onward(wall, after)
        if more and all(h):
            h = left(max(more, 0.0), max(-more, 0.0), *h)
            name = model.situations[0].name
        value = float(middle[names[name], h[0], h[1]])
        return Priced(value=value, dealt=outcome.dealt, taken=outcome.taken, further=value)

    return worth

"""What a solved round says about healths: from where a hit kills, and where the comeback rule turns the round."""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from advisor.solver.guarantee import Floats
from advisor.solver.round import RoundSolution, check_health, situation_index
from advisor.solver.round_model import Branch, RoundModel, comeback_steps, damage_steps

__all__ = ["Jump", "Lethal", "comeback_threshold", "lethal_thresholds"]


class Jump(Struct, frozen=True, kw_only=True):
    """A change of my chance to win between two neighbouring healths, as certified bounds.

    ``health`` is the lower of the two healths in steps; ``least`` and ``most`` bound the chance at it minus the
    chance one step above it.
    """

    health: int
    least: float
    most: float


class Lethal(Struct, frozen=True, kw_only=True):
    """Their healths, in steps, from which one exchange may end the round in my favour; 0 and "" for none.

    ``sure`` is the largest at which ``sure_option`` wins at once whatever they do, ``possible`` the largest at which
    ``possible_option`` wins at once in some branch; ``jump`` is where my chance to win changes most with one step.
    """

    situation: str
    my_health: int
    sure: int
    sure_option: str
    possible: int
    possible_option: str
    jump: Jump | None


def lethal_thresholds(solution: RoundSolution, situation: str, mine: int) -> Lethal:
    """From which healths of theirs I can win at once, in ``situation`` with ``mine`` steps of health.

    ``jump`` is None when they have one step of health in all.
    Errors: ``QuestionError`` for a situation or health the model does not have.
    """
    model = solution.model
    at = situation_index(model, situation)
    check_health(model, mine, 1)
    sure, possible = (0, ""), (0, "")
    for theirs in range(1, model.their_steps + 1):
        for label, row in zip(model.situations[at].mine, model.situations[at].cells, strict=True):
            ends = [_wins(model, b, mine, theirs) for cell in row for b in cell if b.chance > 0]
            if all(ends) and theirs > sure[0]:
                sure = (theirs, label)
            if any(ends) and theirs > possible[0]:
                possible = (theirs, label)
    jump = _largest(solution.lower[at, mine, 1:], solution.upper[at, mine, 1:])
    return Lethal(
        situation=situation, my_health=mine, sure=sure[0], sure_option=sure[1], possible=possible[0],
        possible_option=possible[1], jump=jump,
    )


def comeback_threshold(solution: RoundSolution, situation: str, theirs: int) -> Jump | None:
    """What falling under the comeback bar changes for me: the largest health of mine with the rule on.

    Above 0, less health is the better state; None without a rule, or when no health of mine lies on each side of it.
    Errors: ``QuestionError`` for a situation or health the model does not have.
    """
    model = solution.model
    at = situation_index(model, situation)
    check_health(model, 1, theirs)
    bar = comeback_steps(model, model.my_steps)
    if not 0 < bar < model.my_steps:
        return None
    low, high = solution.lower[at, :, theirs], solution.upper[at, :, theirs]
    return Jump(health=bar, least=float(low[bar] - high[bar + 1]), most=float(high[bar] - low[bar + 1]))


def _wins(model: RoundModel, branch: Branch, mine: int, theirs: int) -> bool:
    """Whether this branch takes all their health and leaves me some."""
    times = model.comeback.times if model.comeback else 1.0
    raised = times if mine <= comeback_steps(model, model.my_steps) else 1.0
    their_raised = times if theirs <= comeback_steps(model, model.their_steps) else 1.0
    kills = damage_steps(model, branch.dealt * raised) >= theirs
    return kills and damage_steps(model, branch.taken * their_raised) < mine


def _largest(lower: Floats, upper: Floats) -> Jump | None:
    """The step between neighbouring healths 1, 2, ... over which the middle of the bracket changes most."""
    if len(lower) < 2:
        return None
    at = int(np.abs(np.diff(lower + upper)).argmax())
    return Jump(health=at + 1, least=float(lower[at] - upper[at + 1]), most=float(upper[at] - lower[at + 1]))

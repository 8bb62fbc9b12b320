"""The guess: how often to do what, what it earns, and what reads and hands change."""

from __future__ import annotations

from typing import Literal

import numpy as np

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.wording import fitted, setting
from advisor.errors import QuestionError
from advisor.facts import Pair, Situation, pair_of, ready
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.solver.matrix import Equilibrium, solve
from advisor.studies.coverage_cells import Grid, later
from advisor.studies.guess_execution import executions
from advisor.studies.guess_further import Solved
from advisor.studies.guess_hands import executed
from advisor.studies.guess_known import known_part
from advisor.studies.guess_model import Guess, GuessAnswer, Payoff
from advisor.studies.guess_options import longest_delay, settled, timed_by
from advisor.studies.guess_read import read_answer
from advisor.studies.guess_table import PLAYED, Table, build, distinct, telling
from advisor.studies.guess_words import Chosen, options_of, remarks_of, sides_of
from advisor.studies.guess_worth import Stated, Worth, damage_worth, punish_damage
from advisor.studies.round import solved_round
from advisor.studies.round_answer import Round, RoundTerms
from advisor.studies.round_worth import round_worth
from advisor.studies.weighing import Weigher, pack_ref

__all__ = ["guess"]


def guess(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Guess) -> GuessAnswer:
    """Both best mixes of a situation, certified, with the payoffs behind them.

    Errors: ``QuestionError`` and ``Unanswerable``, see ``advisor.facts.settle``, and for ``trials`` and ``read``.
    """
    situation = settled(pack, request.question(responses=request.responses, replies=request.replies))
    _check(situation)
    side = timed_by(situation)
    grid = Grid(situation, longest_delay(situation, request.delays, request.spread), side)
    mine, theirs, further = ready(situation)
    noise = request.noise if request.noise is not None else (0.5 if request.round is None else 0.005)
    worth, cut, slack, notes = _worth(pack, situation, request)
    weigher = Weigher(situation, rules, evaluator)
    # Every situation that is solved counts against a bound: their punishes alone part the delays.
    parting = None if cut is None else damage_worth(lambda after: punish_damage(situation, after), cut.stated)
    whole = build(grid, mine, [*theirs, *further], worth, parting)
    whole = executed(whole, grid, worth, request.spread, request.trials)
    known, left_out, missing = known_part(whole, weigher)
    game = distinct(known, side)
    mix = solve(game.payoff)
    chosen = Chosen(
        rows=telling(mix.rows, mix.row_losses, request.limit),
        columns=telling(mix.columns, mix.column_losses, request.limit),
    )
    sides = sides_of(game, mix, chosen, noise)
    table = game.only(chosen.rows, chosen.columns)
    shares, losses = np.array(mix.rows)[chosen.rows], np.array(mix.row_losses)[chosen.rows]
    other = np.array(mix.columns)[chosen.columns], np.array(mix.column_losses)[chosen.columns]
    options = options_of(table.mine, shares, losses, sides[0], table.chance, "they")
    cells = _cells(table, weigher, grid)
    lower, upper = mix.lower - slack, mix.upper + slack
    if request.round is not None:
        lower, upper = max(0.0, lower), min(1.0, upper)
    return GuessAnswer(
        summary=_summary(game, mix, "damage" if request.round is None else "win_chance"),
        situation=setting(situation, [plan.ready.entry.key for plan in table.theirs]),
        unit="damage" if request.round is None else "win_chance",
        timed_by="me" if side == "me" else "them",
        value=mix.value, lower=lower, upper=upper, gap=mix.gap,
        pure=max(mix.rows) > 1 - PLAYED and max(mix.columns) > 1 - PLAYED,
        unique=sides[0].unique,
        mine=options,
        theirs=options_of(table.theirs, *other, sides[1], None, "you"),
        table=cells,
        remarks=remarks_of(*sides, options, noise),
        read=None if request.read is None else read_answer(game, mix, request.read, request.risk),
        execution=executions(game, mix, chosen.rows, request.trials),
        left_out={**dict(situation.excluded), **left_out},
        missing=missing,
        considered=[len(game.mine), len(game.theirs)],
        cautions=[*CAUTIONS, *situation.assumed, *notes, *_cautions(left_out, cut)],
        pack=pack_ref(pack, rules, evaluator),
    )  # fmt: skip


def _check(situation: Situation) -> None:
    """Errors: ``QuestionError`` when a side has no option to choose."""
    for word, options in (("responses", situation.responses), ("replies", (*situation.replies, *situation.further))):
        if not options:
            raise QuestionError(
                "question-impossible", f"there is no option to choose among the {word}",
                help=f"name at least one in `{word}`, or leave it out", pointer=f"/{word}",
            )  # fmt: skip


def _worth(
    pack: Pack, situation: Situation, request: Guess
) -> tuple[Worth, Solved | None, float, list[str]]:
    """What a pair is worth, as asked, the solver of what follows, the slack of payoffs, and cautions."""
    if request.round is not None:
        return _round_worth(pack, situation, request, request.round)
    told = request.worth
    stated = Stated(frame=told.frame, knockdown=told.knockdown, meter=told.meter) if told else Stated()
    if request.further == "none":
        return damage_worth(None, stated), None, 0.0, []
    if request.further == "solved":
        solved = Solved(pack, request.me, request.them, situation, stated)
        return damage_worth(solved, stated), solved, 0.0, []
    return damage_worth(lambda after: punish_damage(situation, after), stated), None, 0.0, []


def _round_worth(
    pack: Pack, situation: Situation, request: Guess, terms: RoundTerms
) -> tuple[Worth, None, float, list[str]]:
    """Chances to win the round for payoffs; they are known to half the widest bracket."""
    asked = Round(
        me=request.me, them=request.them, steps=terms.steps, options=terms.options, comeback=terms.comeback,
        draw=terms.draw, clock=terms.clock,
    )  # fmt: skip
    built, kept, notes = solved_round(pack, asked)
    wall: Literal["none", "me", "them"] = "none"
    if request.me.near_wall:
        wall = "them"
    elif request.them.near_wall:
        wall = "me"
    return round_worth(built, kept.solution, situation, wall), None, kept.solution.widest / 2, notes


def _cells(table: Table, weigher: Weigher, grid: Grid) -> list[list[Payoff]]:
    """The payoffs of the shown options, each with the reason that the rules give."""
    places = [(i, j) for i in range(len(table.mine)) for j in range(len(table.theirs))]
    pairs: list[Pair] = []
    for i, j in places:
        one, other = table.mine[i], table.theirs[j]
        if grid.timed_by == "me":
            pairs.append(pair_of(weigher.situation, one.ready, other.ready, one.delay))
        else:
            pairs.append(pair_of(weigher.situation, one.ready, later(other.ready, other.delay)))
    out: list[list[Payoff]] = [[] for _ in table.mine]
    for (i, j), pair, judged in zip(places, pairs, weigher.judge(pairs), strict=True):
        rule, sentence = weigher.why(pair, judged)
        priced, exchange, outcome = table.priced[i, j], pair.exchange, pair.outcome
        assert exchange is not None and outcome is not None
        out[i].append(
            Payoff(
                value=float(table.payoff[i, j]), clean=float(table.clean[i, j]), dealt=priced.dealt,
                taken=priced.taken, further=priced.further, verdict=judged.verdict, by=exchange.by,
                effect=exchange.effect, frame=exchange.frame, advantage=outcome.advantage,
                knockdown=outcome.knockdown, rule=rule, sentence=sentence,
            )
        )  # fmt: skip
    return out


def _cautions(left_out: dict[str, str], cut: Solved | None) -> list[str]:
    out = []
    theirs = [key for key in left_out if key.startswith("their ")]
    if theirs:
        out.append(in_words("The value holds only against the options in the table; some of theirs are left out."))
    if cut is not None and cut.cut:
        out.append(say("{cut} situations that are left were beyond the bound: only their punish counts.", cut=cut.cut))
    return out


def _summary(table: Table, mix: Equilibrium, unit: str) -> str:
    order = np.argsort(-np.array(mix.rows), kind="stable")
    played = [(table.mine[i].name, mix.rows[i]) for i in order if mix.rows[i] > PLAYED]
    if len(played) == 1:
        best = fitted(played[0][0], 40)
        return fitted(say("No guess: {played} does it, {value}", played=best, value=_told(mix.value, unit)))
    shown = ", ".join(f"{fitted(name, 22)} {share:.0%}" for name, share in played[:3])
    return fitted(f"{shown}{', ...' if len(played) > 3 else ''}: {_told(mix.value, unit)}")


def _told(value: float, unit: str) -> str:
    if unit == "damage":
        return say("worth {value:+.1f}", value=round(value, 1) + 0.0)
    return say("{value:.1%} to win the round", value=value)

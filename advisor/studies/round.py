"""The round: what its situations are worth near the end, as chances to win in certified brackets."""

from __future__ import annotations

from collections.abc import Callable

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.wording import fitted, setting
from advisor.errors import QuestionError, did_you_mean
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.rules.wording import word_said
from advisor.sentences import in_words, mark, say
from advisor.solver.round import RoundSolution, round_mix
from advisor.solver.round_cache import KeptRound, kept_round
from advisor.solver.round_model import comeback_steps
from advisor.solver.round_reading import lethal_thresholds
from advisor.studies.beats_cast import assumed_distance, character_of
from advisor.studies.round_answer import Chance, Place, Round, RoundAnswer, Share, Stand, Threshold
from advisor.studies.round_build import Built, build_round, default_places
from advisor.studies.round_worth import steps_of
from advisor.studies.weighing import pack_ref
from advisor.units import from_micro

__all__ = ["Told", "refuse", "round_study", "solved_round"]

SHOWN = 5e-5
PLACES = 6
NAMED = (
    mark("ahead"), mark("behind"), mark("they_down"), mark("i_am_down"), mark("they_at_wall"), mark("i_am_at_wall"),
)  # fmt: skip
"""Names of the situations that there are by default, beside ``neutral``."""

Told = Callable[[int, int], None]


def solved_round(
    pack: Pack, request: Round, progress: Told | None = None, cancelled: Callable[[], bool] | None = None
) -> tuple[Built, KeptRound, list[str]]:
    """The round that a request describes, solved or taken from disk, and cautions about it.

    ``progress(done, total)`` and ``cancelled()`` are called as it goes on. Errors: as ``build_round``;
    ``Cancelled`` of ``advisor.solver.round``.
    """
    me, them = character_of(pack, request.me, "/me"), character_of(pack, request.them, "/them")
    away, assumed = assumed_distance(pack, request.distance)
    places = request.situations if request.situations is not None else default_places(pack, me, them)
    _check(places, request)
    built = build_round(pack, request, places, from_micro(away))
    kept = kept_round(built.model, tolerance=request.tolerance, progress=progress, cancelled=cancelled)
    notes = list(assumed)
    if kept.note:
        notes.append(f"{kept.note[:1].upper()}{kept.note[1:]}.")
    if not kept.solution.closed:
        notes.append(
            say(
                "Some brackets are wider than the tolerance ({widest:.4f} at most): play need not end there.",
                widest=kept.solution.widest,
            )
        )
    return built, kept, notes


def refuse(pack: Pack, request: Round) -> None:
    """Errors: those of ``solved_round`` that need no table."""
    me, them = character_of(pack, request.me, "/me"), character_of(pack, request.them, "/them")
    assumed_distance(pack, request.distance)
    _check(request.situations if request.situations is not None else default_places(pack, me, them), request)


def _check(places: list[Place], request: Round) -> None:
    """Errors: ``QuestionError`` for a name used twice, or a situation to show that is none."""
    names = [place.name for place in places]
    for i, name in enumerate(names):
        if name in names[:i]:
            raise QuestionError(
                "question-ambiguous", f"two situations are called `{name}`", help="give each its own name",
                pointer=f"/situations/{i}/name",
            )  # fmt: skip
        if ":" in name:
            raise QuestionError(
                "value-invalid", f"`{name}` has a colon", help="use a plain word", pointer=f"/situations/{i}/name"
            )
    if request.show is not None and request.show not in names:
        raise QuestionError(
            "question-impossible", f"no situation is called `{request.show}`",
            help=did_you_mean(request.show, names) or f"they are {', '.join(names)}", pointer="/show",
        )  # fmt: skip


def round_study(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Round, progress: Told | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> RoundAnswer:
    """What the situations of a round are worth at the healths asked. Errors: as ``solved_round``."""
    built, kept, notes = solved_round(pack, request, progress, cancelled)
    solution, model = kept.solution, built.model
    step = model.points_per_step
    me, them = pack.characters[request.me.character], pack.characters[request.them.character]
    health = (
        me.health if request.me.health is None else request.me.health,
        them.health if request.them.health is None else request.them.health,
    )
    assert health[0] is not None and health[1] is not None
    mine, theirs = steps_of(health[0], step, model.my_steps), steps_of(health[1], step, model.their_steps)
    shown = request.show or built.standings[0].place.name
    mix = round_mix(solution, shown, mine, theirs)
    standing = next(s for s in built.standings if s.place.name == shown)
    names = {plan.key: plan.name for plan in standing.table.mine}, {p.key: p.name for p in standing.table.theirs}
    return RoundAnswer(
        summary=_summary(solution, shown, mine, theirs),
        me=me.id, them=them.id, my_health=health[0], their_health=health[1],
        points_per_step=step, rounding=solution.rounding_error, closed=solution.closed, widest=solution.widest,
        chances=[_chance(built, solution, i, mine, theirs) for i in range(len(built.standings))],
        mine=_shares(mix.mine, names[0]), theirs=_shares(mix.theirs, names[1]),
        thresholds=_thresholds(solution, shown, mine, names[0]),
        stand=_stand(solution, shown),
        next={name: dict(sorted(_plain(leads).items())) for name, leads in built.leads.items()},
        kept=kept.from_cache,
        cautions=[
            *CAUTIONS, *notes,
            say(
                "Damage counts in steps of {step:g} points; one hit is rounded by up to {rounding_error:.2g}, a "
                "certain punish by up to {grain:.2g}.",
                step=step, rounding_error=solution.rounding_error, grain=built.grain / 2,
            ),
            _clock_said(request.clock),
        ],
        pack=pack_ref(pack, rules, evaluator),
    )  # fmt: skip


def _clock_said(clock: float | str) -> str:
    start = in_words("Each outcome goes on to the nearest situation of the list")
    if clock == "none":
        return say("{start}; time never runs out.", start=start)
    return say(
        "{start}; time runs out after {clock:g} exchanges on average, whatever they last.",
        start=start, clock=clock,
    )


def _plain(leads: dict[str, int]) -> dict[str, int]:
    """Where cells lead, punishes of one side together."""
    out: dict[str, int] = {}
    for name, count in leads.items():
        word = {"they": "i_punish", "i": "they_punish"}[name.split(":")[1]] if ":" in name else name
        out[word] = out.get(word, 0) + count
    return out


def _chance(built: Built, solution: RoundSolution, at: int, mine: int, theirs: int) -> Chance:
    standing = built.standings[at]
    lower, upper = solution.bounds(standing.place.name, mine, theirs)
    return Chance(
        name=standing.place.name, lower=lower, upper=upper,
        sentence=setting(standing.situation, []).sentence,
        mine=[plan.name for plan in standing.table.mine], theirs=[plan.name for plan in standing.table.theirs],
        left_out=standing.left_out,
    )  # fmt: skip


def _shares(mix: dict[str, float], names: dict[str, str]) -> list[Share]:
    ordered = sorted(mix.items(), key=lambda item: -item[1])
    return [Share(name=names[key], share=share) for key, share in ordered if share > SHOWN]


def _thresholds(
    solution: RoundSolution, situation: str, mine: int, names: dict[str, str]
) -> list[Threshold]:
    step = solution.model.points_per_step
    found = lethal_thresholds(solution, situation, mine)
    out = []
    for what, health, option in (
        ("certain", found.sure, found.sure_option), ("possible", found.possible, found.possible_option)
    ):
        if health:
            values = {"health": health * step, "name": names.get(option, option)}
            if what == "certain":
                said = say("From {health:g} of their health down {name} ends the round whatever they do.", **values)
            else:
                said = say("From {health:g} of their health down {name} may end the round at once.", **values)
            out.append(Threshold(what=what, health=health * step, option=names.get(option, option), sentence=said))
    if found.jump is not None:
        gain = (found.jump.least + found.jump.most) / 2
        out.append(
            Threshold(
                what="jump", health=found.jump.health * step, option="",
                sentence=say(
                    "My chance changes most where they have {health:g} left: by {gain:+.1%}.",
                    health=found.jump.health * step, gain=gain,
                ),
            )
        )  # fmt: skip
    if solution.model.comeback is not None:
        out += _comebacks(solution)
    return out


def _comebacks(solution: RoundSolution) -> list[Threshold]:
    step = solution.model.points_per_step
    out = []
    model = solution.model
    if mine := comeback_steps(model, model.my_steps):
        said = say("My comeback begins at {at:g} health.", at=mine * step)
        out.append(Threshold(what="my_comeback", health=mine * step, option="", sentence=said))
    if theirs := comeback_steps(model, model.their_steps):
        said = say("Their comeback begins at {at:g} health.", at=theirs * step)
        out.append(Threshold(what="their_comeback", health=theirs * step, option="", sentence=said))
    return out


def _stand(solution: RoundSolution, situation: str) -> Stand:
    at = [s.name for s in solution.model.situations].index(situation)
    lower, upper = solution.lower[at, 1:, 1:], solution.upper[at, 1:, 1:]
    return Stand(
        situation=situation, lower=[[round(v, PLACES) for v in row] for row in lower.tolist()],
        upper=[[round(v, PLACES) for v in row] for row in upper.tolist()],
    )  # fmt: skip


def _summary(solution: RoundSolution, situation: str, mine: int, theirs: int) -> str:
    lower, upper = solution.bounds(situation, mine, theirs)
    word = word_said(situation)
    if upper - lower <= 0.01:
        return fitted(say("{word}: {lower:.1%} to win the round", word=fitted(word, 30), lower=(lower + upper) / 2))
    return fitted(say(
        "{word}: between {lower:.1%} and {upper:.1%} to win the round",
        word=fitted(word, 30), lower=lower, upper=upper,
    ))

"""A round as a game over situations: which options each has, and where their exchanges lead."""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec
from msgspec import Struct

from advisor.errors import QuestionError
from advisor.facts import Pair, Question, Situation, ready
from advisor.facts.question import Advantage, Fighter, KnockedDown, Neutral
from advisor.pack.model import UPRIGHT, Character, Pack
from advisor.solver.matrix import solve
from advisor.solver.round_model import Branch, Comeback, RoundModel
from advisor.solver.round_model import Situation as RoundSituation
from advisor.studies.coverage_cells import Grid
from advisor.studies.guess_options import longest_delay, settled, timed_by
from advisor.studies.guess_table import Table, build, distinct, known_lines, telling
from advisor.studies.guess_worth import After, Stated, after_of, damage_worth, punish_damage
from advisor.studies.round_answer import Place, Round

__all__ = ["Built", "Standing", "build_round", "default_places", "full_health", "nearest_place"]

AHEAD = 4
DOWN = 20
PUNISH = "punish"
MOST_SITUATIONS = 20
"""Certain punishes are rounded to fewer amounts until there are no more situations than this."""


class Standing(Struct, frozen=True, kw_only=True):
    """One situation of the round, its question settled; ``table`` has the options that count in it."""

    place: Place
    situation: Situation
    table: Table
    left_out: int


class Built(Struct, frozen=True, kw_only=True):
    """The model and what it was made of; ``leads`` counts where the cells of each situation lead.

    ``grain`` is what punishes are rounded to, in points.
    """

    model: RoundModel
    grain: float
    standings: list[Standing]
    leads: dict[str, dict[str, int]]

    def onward(self, wall: str, after: After) -> str:
        """The situation of the model to which what is left goes on."""
        return nearest_place(self.standings, wall, after)


def full_health(fighter: Fighter, character: Character, pointer: str) -> float:
    """A character's health at the start of a round, points. Errors: ``QuestionError`` when nobody recorded it."""
    if character.health is None:
        raise QuestionError(
            "question-impossible", f"the health of `{character.id}` is not recorded",
            help="record `health` in its file", pointer=pointer,
        )  # fmt: skip
    if fighter.health is not None and not 0 < fighter.health <= character.health:
        raise QuestionError(
            "question-impossible", f"`{character.id}` has {fighter.health:g} of {character.health:g} health",
            help=f"above 0 and at most {character.health:g}", pointer=f"{pointer.rsplit('/', 1)[0]}/health",
        )  # fmt: skip
    return character.health


def default_places(pack: Pack, me: Character, them: Character) -> list[Place]:
    """The situations of a round that nobody described."""
    out = [
        Place(name="neutral", moment=Neutral()),
        Place(name="ahead", moment=Advantage(frames=AHEAD, held="blockstun")),
        Place(name="behind", moment=Advantage(frames=-AHEAD, held="blockstun")),
    ]
    for name, striker, floored in (("they_down", me, "them"), ("i_am_down", them, "me")):
        state = _usual_knockdown(pack, striker)
        if state is not None:
            moment = KnockedDown(
                floored=floored,  # type: ignore[arg-type]
                state=state, frames=DOWN,
            )  # fmt: skip
            out.append(Place(name=name, moment=moment))
    if any(h.leaves_hit and h.leaves_hit.wall not in (None, UPRIGHT) for m in me.moves.values() for h in m.hits):
        out.append(Place(name="they_at_wall", moment=Neutral(), wall="them"))
    if any(h.leaves_hit and h.leaves_hit.wall not in (None, UPRIGHT) for m in them.moves.values() for h in m.hits):
        out.append(Place(name="i_am_at_wall", moment=Neutral(), wall="me"))
    return out


def _usual_knockdown(pack: Pack, striker: Character) -> str | None:
    """The knockdown state that most hits of a character leave, of those with wake-up options."""
    known = {name for name, state in pack.conventions.knockdowns.items() if state.wake_ups}
    count: dict[str, int] = {}
    for move in striker.moves.values():
        for hit in move.hits:
            left = hit.leaves_hit.knockdown if hit.leaves_hit else None
            if left in known:
                count[left] = count.get(left, 0) + 1
    return min(count, key=lambda name: (-count[name], name)) if count else None


def build_round(pack: Pack, request: Round, places: Sequence[Place], distance: float | str) -> Built:
    """The round that the request describes.

    Every situation keeps the options that matter for damage (its mix, then what loses least against it). A certain
    punish after an exchange is a situation of its own. Every outcome goes on to the situation of the list with the
    same side on the floor in the same state, the nearest advantage, the same wall, then the nearest distance.

    Errors: as ``advisor.facts.settle``; ``QuestionError`` for a situation of which nothing is known, and for health.
    """
    me, them = pack.characters[request.me.character], pack.characters[request.them.character]
    full = full_health(request.me, me, "/me/character"), full_health(request.them, them, "/them/character")
    step = max(full) / request.steps
    standings = [_standing(pack, request, place, distance, i) for i, place in enumerate(places)]
    grain = step
    while True:
        maker = _Maker(standings, grain)
        situations = [maker.made(standing) for standing in standings]
        if len(situations) + len(maker.punishes) <= MOST_SITUATIONS:
            break
        grain *= 2
    rule = request.comeback
    model = RoundModel(
        situations=(*situations, *maker.punishes.values()),
        my_steps=max(1, math.ceil(full[0] / step - 1e-9)), their_steps=max(1, math.ceil(full[1] / step - 1e-9)),
        points_per_step=step, draw=request.draw, timeout=0.0 if request.clock == "none" else 1 / request.clock,
        comeback=None if rule is None else Comeback(below=rule.below, times=rule.damage),
    )  # fmt: skip
    return Built(model=model, grain=grain, standings=standings, leads=maker.leads)


def _standing(pack: Pack, request: Round, place: Place, distance: float | str, at: int) -> Standing:
    walls = {"them": (True, False), "me": (False, True), "none": (False, False)}[place.wall]
    question = Question(
        me=_at(request.me, near_wall=walls[0]), them=_at(request.them, near_wall=walls[1]),
        moment=place.moment, distance=distance if place.distance is None else place.distance,
        floor_breaks=False, responses=place.responses, replies=place.replies,
    )  # fmt: skip
    situation = settled(pack, question)
    grid = Grid(situation, longest_delay(situation, None, None), timed_by(situation))
    mine, theirs, further = ready(situation)
    worth = damage_worth(lambda after: punish_damage(situation, after), Stated())
    whole = build(grid, mine, [*theirs, *further], worth)
    rows, columns = known_lines(whole.payoff)
    if not rows:
        raise QuestionError(
            "question-impossible",
            f"every exchange of `{place.name}` hangs on something unknown, or a side has no option",
            help="name options, give a distance, or record more of the moves", pointer=f"/situations/{at}",
        )  # fmt: skip
    table = distinct(whole.only(rows, columns), grid.timed_by)
    mix = solve(table.payoff)
    table = table.only(
        telling(mix.rows, mix.row_losses, request.options), telling(mix.columns, mix.column_losses, request.options)
    )
    known = {whole.mine[i].ready.entry.key for i in rows}
    left = {plan.ready.entry.key for plan in whole.mine} - known
    return Standing(place=place, situation=situation, table=table, left_out=len(left))


def _at(fighter: Fighter, *, near_wall: bool) -> Fighter:
    return msgspec.structs.replace(fighter, near_wall=near_wall, health=None)


class _Maker:
    """The cells of situations; ``punishes`` are the situations that certain punishes make, by name."""

    def __init__(self, standings: Sequence[Standing], grain: float) -> None:
        self.standings = standings
        self.grain = grain
        self.punishes: dict[str, RoundSituation] = {}
        self.leads: dict[str, dict[str, int]] = {}

    def made(self, standing: Standing) -> RoundSituation:
        """One situation of the model."""
        table = standing.table
        leads = self.leads.setdefault(standing.place.name, {})
        cells = []
        for i in range(len(table.mine)):
            line = []
            for j in range(len(table.theirs)):
                branch = self._branch(standing, table.pairs[i, j])
                leads[branch.next] = leads.get(branch.next, 0) + 1
                line.append((branch,))
            cells.append(tuple(line))
        return RoundSituation(
            name=standing.place.name, mine=tuple(plan.key for plan in table.mine),
            theirs=tuple(plan.key for plan in table.theirs), cells=tuple(cells),
        )  # fmt: skip

    def _branch(self, standing: Standing, pair: Pair) -> Branch:
        outcome = pair.outcome
        assert outcome is not None
        dealt, taken = outcome.dealt or 0.0, outcome.taken or 0.0
        after = after_of(pair) or After(
            advantage=0, distance=standing.situation.distance, floored="nobody", state="", held="recovery"
        )
        more = punish_damage(standing.situation, after) or 0.0
        onward = nearest_place(self.standings, standing.place.wall, after)
        grains = round(abs(more) / self.grain)
        if grains:
            onward = self._punish(math.copysign(grains * self.grain, more))
        return Branch(chance=1.0, dealt=dealt, taken=taken, next=onward)

    def _punish(self, damage: float) -> str:
        """The situation in which one side takes ``damage`` for certain (+: them); then the first one follows."""
        restart = self.standings[0].place.name
        whose = "they" if damage > 0 else "i"
        name = f"{PUNISH}:{whose}:{abs(damage):g}"
        if name not in self.punishes:
            branch = Branch(chance=1.0, dealt=max(damage, 0.0), taken=max(-damage, 0.0), next=restart)
            self.punishes[name] = RoundSituation(
                name=name, mine=(PUNISH,), theirs=(PUNISH,), cells=(((branch,),),)
            )
        return name


def nearest_place(standings: Sequence[Standing], wall: str, after: After) -> str:
    """The situation nearest to what is left: the same side on the floor in the same state, frames, wall, distance."""
    pool = [s for s in standings if _floored(s.place) == after.floored]
    pool = pool or [s for s in standings if _floored(s.place) == "nobody"] or list(standings)
    return min(pool, key=lambda s: _apart(s, wall, after)).place.name


def _floored(place: Place) -> str:
    return place.moment.floored if isinstance(place.moment, KnockedDown) else "nobody"


def _apart(standing: Standing, wall: str, after: After) -> tuple[bool, int, bool, int]:
    moment = standing.place.moment
    state = moment.state if isinstance(moment, KnockedDown) else ""
    away = abs((standing.situation.distance or 0) - after.distance) if after.distance is not None else 0
    frames = abs((standing.situation.advantage or 0) - after.advantage)
    return state != after.state, frames, standing.place.wall != wall, away

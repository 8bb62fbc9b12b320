"""The next lab list by the value of information: which trial or which property would improve the choice most.

A trial is worth what ``value.trial_value`` says, in every entry of its situation. A property is certain once it is
measured: with its values v of probability P(v) (``plausible.py``) and W(r | v) the expected worth of response r if
it has the value v (the question asked again), it is worth

    sum over v of P(v) max over r of W(r | v) - max over r of (sum over v of P(v) W(r | v))

summed over the entries: never below 0, and 0 when the same response is the best whatever it is. That response is
named where it is not the best as long as the verdict is unknown: then there is nothing to measure, only to know.
Properties are weighed one at a time: what decides only together with another is worth 0.
Source of both: Raiffa and Schlaifer 1961, as in ``value.py``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable

from msgspec import Struct

from advisor.errors import AdvisorError, QuestionError
from advisor.notebook.next_lab.answer import EntryNow, LeftOut, NextItem, NextLab, Share
from advisor.notebook.next_lab.asking import Asked, Place, Shelves, asked, lacking
from advisor.notebook.next_lab.plausible import Plausible, plausible, with_move
from advisor.notebook.next_lab.value import NOTHING, Information, perfect_value, trial_value
from advisor.notebook.next_lab.words import property_sentence, situation_words, summary, trial_sentence
from advisor.notebook.next_lab.worth import Trust
from advisor.notebook.sets import Sets
from advisor.notebook.store import Notebook
from advisor.pack.model import Move, Pack
from advisor.sentences import in_words, mark, say
from advisor.solver.quantities import whole_number

__all__ = ["MOST_ASKED", "next_lab"]

MOST_ASKED = 1_000
"""Questions that are asked again for one list, with a property set."""
MOST_TRIES = 10_000
LITTLE = 1e-9
"""Damage below which an item is left off the list: what rounding leaves."""
CAUTIONS = (
    mark("Damage is the measure: a choice is the response of the highest expected damage, whatever the rules prefer."),
    mark(
        "What is unknown is taken to be as in the other moves of the pack; trials of a response count whatever the "
        "reply."
    ),
)
Progress = Callable[[int, int], None] | None


class Plan(Struct, frozen=True):
    """A property to weigh: where, the move with each value, the entries that hang on it."""

    place: Place
    values: list[Plausible]
    asks: list[Asked]

    @property
    def cost(self) -> int:
        """Questions to ask again."""
        return len(self.values) * len(self.asks)


def next_lab(
    sets: Sets, name: str, notebook: Notebook, library: Shelves, *, tries: int = 10, trust: Trust | None = None,
    limit: int = 20, progress: Progress = None, most: int = MOST_ASKED,
) -> NextLab:
    """What to do next for the set ``name``: trials of ``tries`` tries and properties, most valuable first.

    ``limit`` bounds the items listed, ``most`` the questions asked again; properties that more responses
    hang on come first. ``progress`` is told (done, whole). Errors: ``AdvisorError`` ``set-unknown``;
    ``QuestionError`` for ``tries`` (1 to 10 000), a ``limit`` below 1, or a trust that is not above 0.
    """
    _check("/tries", tries, "the tries", MOST_TRIES)
    _check("/limit", limit, "the limit")
    trust = trust or Trust()
    trust.check()
    _, found = sets.get(name)
    asks: list[Asked] = []
    left: list[LeftOut] = []
    for i, entry in enumerate(found):
        one = asked(entry, notebook, library, trust)
        if isinstance(one, Asked):
            asks.append(one)
        else:
            left.append(one)
        if progress is not None:
            progress(i + 1, len(found))
    trials = _trials(asks, tries)
    plans, dropped = _plans(asks, left, most)
    properties = list(_properties(plans, left, progress))
    items = [item for item in (*trials, *properties) if item.value > LITTLE]
    items.sort(key=lambda item: (-item.value, -item.chance, item.what))
    listed = items[:limit]
    weighed = len(trials) + len(plans)
    return NextLab(
        set=name, tries=tries, summary=summary(items, weighed, len(asks)), items=listed,
        entries=[
            EntryNow(entry=one.name, advised=one.advice.responses[0].option, best=one.best.option, worth=one.best.worth)
            for one in asks
        ],
        left_out=left, trials=len(trials), properties=len(plans), asked=sum(plan.cost for plan in plans),
        complete=not dropped and all(one.advice.considered == len(one.advice.responses) for one in asks),
        cautions=[in_words(caution) for caution in CAUTIONS],
    )  # fmt: skip


def _check(pointer: str, value: int, what: str, most: int | None = None) -> None:
    try:
        whole_number(value, what, 1, most)
    except QuestionError as error:
        error.pointer = pointer
        raise


def _trials(asks: list[Asked], tries: int) -> list[NextItem]:
    """Every response of every situation; entries of the same situation share their trials."""
    places: dict[tuple[str, str], list[Asked]] = {}
    for one in asks:
        for stake in one.stakes:
            places.setdefault((one.key, stake.option), []).append(one)
    return [_trial(option, each, tries) for (_, option), each in places.items()]


def _trial(option: str, asks: list[Asked], tries: int) -> NextItem:
    said = [trial_value(one.stakes, option, tries) for one in asks]
    first, pack = asks[0], asks[0].shelf.pack
    label, where = first.label(option), situation_words(first.question, pack)
    fighters = tuple(pack.characters[side].name for side in (first.advice.situation.me, first.advice.situation.them))
    shares = _shares(asks, said)
    whole = Share(entry="", value=sum(share.value for share in shares), chance=max(share.chance for share in shares))
    return NextItem(
        kind="trial", what=f"{label} {where}", option=option, value=whole.value, chance=whole.chance,
        perfect=sum(perfect_value(one.stakes, option).value for one in asks), entries=shares,
        sentence=trial_sentence(
            label, where, (fighters[0], fighters[1]), tries, first.label(first.best.option), whole
        ),
    )  # fmt: skip


def _shares(asks: list[Asked], said: list[Information]) -> list[Share]:
    return [
        Share(entry=one.name, value=each.value, chance=each.chance) for one, each in zip(asks, said, strict=True)
    ]


def _plans(asks: list[Asked], left: list[LeftOut], most: int) -> tuple[list[Plan], bool]:
    """The properties to weigh, those that most responses hang on first, and whether the bound dropped one."""
    count: Counter[Place | str] = Counter()
    where: dict[Place | str, dict[str, Asked]] = {}
    for one in asks:
        for place in lacking(one):
            count[place] += 1
            where.setdefault(place, {})[one.name] = one
    plans: list[Plan] = []
    spent, dropped = 0, False
    for place in sorted(where, key=lambda place: (-count[place], str(place))):
        each = list(where[place].values())
        if isinstance(place, str):
            reason = say("not measured: {names}", names=", ".join(where[place]))
            left.append(LeftOut(kind="property", what=place, reason=reason))
            continue
        move = _move(each[0].shelf.pack, place)
        values = plausible(each[0].shelf.pack, move, place.property) if move is not None else []
        plan = Plan(place, values, each)
        if not values:
            reason = in_words("nothing in the pack says what values it may have")
        elif spent + plan.cost > most:
            reason, dropped = say("the bound of {most} questions asked again is reached", most=most), True
        else:
            spent += plan.cost
            plans.append(plan)
            continue
        left.append(LeftOut(kind="property", what=f"{place.move}: {place.property}", reason=reason))
    return plans, dropped


def _move(pack: Pack, place: Place) -> Move | None:
    if place.owner:
        return pack.characters[place.owner].moves.get(place.move)
    return pack.system.get(place.move) or pack.wake_ups.get(place.move)


def _properties(plans: list[Plan], left: list[LeftOut], progress: Progress) -> Iterable[NextItem]:
    done, whole = 0, sum(plan.cost for plan in plans)
    for plan in plans:
        move = plan.values[0].move
        what = f"{move.name}: {plan.place.property.replace('_', ' ')}"
        try:
            item, foreseen = _property(plan, what)
        except AdvisorError as error:
            left.append(LeftOut(kind="property", what=what, reason=f"{error.code}: {error.message}"))
        else:
            yield item
            if foreseen and item.value <= LITTLE:
                reason = say("whatever it is, {foreseen}", foreseen=", ".join(foreseen))
                left.append(LeftOut(kind="property", what=what, reason=reason))
        done += plan.cost
        if progress is not None:
            progress(done, whole)


def _property(plan: Plan, what: str) -> tuple[NextItem, list[str]]:
    """The property weighed, and what is best in an entry whatever it is, though it is not the best as it stands."""
    place, pack = plan.place, plan.asks[0].shelf.pack
    packs = [(value.chance, with_move(pack, place.owner, value.move)) for value in plan.values]
    known = [_known(one, packs) for one in plan.asks]
    shares = _shares(plan.asks, [information for information, _ in known])
    value = sum(share.value for share in shares)
    owner = pack.characters[place.owner].name if place.owner else ""
    foreseen = [
        say("{best} is the best in {entry}", best=one.label(best), entry=one.name)
        for one, (_, best) in zip(plan.asks, known, strict=True) if best != one.best.option
    ]  # fmt: skip
    item = NextItem(
        kind="property", what=what, character=place.owner, move=place.move, property=place.property, value=value,
        chance=max(share.chance for share in shares), perfect=value, entries=shares,
        sentence=property_sentence(plan.values[0].move, owner, place.property, shares, value),
    )  # fmt: skip
    return item, foreseen


def _known(one: Asked, packs: list[tuple[float, Pack]]) -> tuple[Information, str]:
    """What it is worth to an entry to know which of the packs (probability, pack) holds, and the best without that."""
    each = [(chance, one.worths(pack)) for chance, pack in packs]
    common = [option for option in each[0][1] if all(option in worths for _, worths in each)]
    if not common:
        return NOTHING, one.best.option
    mean = {option: sum(chance * worths[option] for chance, worths in each) for option in common}
    best = max(mean, key=lambda option: mean[option])
    gains = [(chance, max(worths[option] for option in common) - worths[best]) for chance, worths in each]
    value = sum(chance * gain for chance, gain in gains if gain > LITTLE)
    return Information(value=value, chance=sum(chance for chance, gain in gains if gain > LITTLE)), best

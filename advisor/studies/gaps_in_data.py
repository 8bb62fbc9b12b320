"""The next lab list: the properties nobody has recorded that would decide most answers, most valuable first.

An answer is one exchange (an option of mine against one of theirs) whose verdict hangs on something
unknown. An answer that hangs on n properties counts 1/n for each of them: that is the value of a
property; how many answers hang on it at all, and on nothing else, is listed beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated

from msgspec import Meta, Struct

from advisor.advice import CAUTIONS, Case, Evaluator
from advisor.advice.answer import Missing, PackRef
from advisor.advice.proof import missing_of
from advisor.errors import AdvisorError, QuestionError
from advisor.facts import Entry, Pair, Question, Situation, ready, settle, situation_record
from advisor.facts.question import Away, Fighter, Id, Name
from advisor.facts.records import Ready, pair_of
from advisor.pack.model import Character, Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, many, say
from advisor.studies.beats_cast import assumed_distance, attacks_of, character_of, roster
from advisor.studies.beats_stage import Asked, Stage, after_block
from advisor.studies.study import Study
from advisor.studies.weighing import Weigher, pack_ref
from advisor.timeline.exchange import meet

__all__ = ["STUDY", "LabItem", "LabList", "LabListAnswer", "lab_list"]

EXAMPLES = 3
MOST_JUDGED = 20_000
"""Exchanges of one request that are put before the rules."""


class LabList(Struct, kw_only=True, forbid_unknown_fields=True):
    """What should be measured next?

    Either for one situation (``question``), or for a character (``me``): what it may punish after a block
    of any attack of ``them``, or of the whole roster.
    """

    question: Annotated[Question | None, Meta(description="One situation, as for advice.")] = None
    me: Annotated[Fighter | None, Meta(description="A character: its punishes after a block.")] = None
    them: Annotated[Fighter | None, Meta(description="With `me`: one opponent; the whole roster when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="With `me`: distance at the block; the nearest that the pack names.")
    ] = None
    limit: Annotated[int, Meta(ge=1, le=400, description="Properties to list.")] = 20
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None


class LabItem(Struct, kw_only=True):
    """One property to measure."""

    character: Annotated[str, Meta(description="Whose move it is; empty for an option of everyone or of the question.")]
    move: Annotated[str, Meta(description="Move id; empty for what the question left out.")]
    name: str
    property: str
    answers: Annotated[int, Meta(description="Answers that hang on it.")]
    alone: Annotated[int, Meta(description="Those that hang on nothing else: measuring it decides them.")]
    value: Annotated[float, Meta(description="Sum over those answers of 1 / properties they hang on.")]
    examples: Annotated[list[str], Meta(description="Some of those answers, in words.")]
    sentence: str


class LabListAnswer(Struct, kw_only=True):
    """The list, most valuable first."""

    summary: str
    items: list[LabItem]
    properties: Annotated[int, Meta(description="Properties that answers hang on, listed or not.")]
    answers: Annotated[int, Meta(description="Answers that were looked at.")]
    undecided: Annotated[int, Meta(description="Answers that hang on something.")]
    complete: Annotated[bool, Meta(description="False when the bound on the work was reached.")]
    cautions: list[str]
    pack: PackRef


class Hanging(Struct):
    """One undecided answer: what it is, and the properties (by owner) that it hangs on."""

    said: str
    on: frozenset[tuple[str, Missing]]


class Count(Struct):
    """What was looked at on the way."""

    answers: int = 0
    judged: int = 0

    @property
    def spent(self) -> bool:
        """Whether the bound on the work is reached."""
        return self.judged >= MOST_JUDGED


def lab_list(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: LabList) -> LabListAnswer:
    """The properties that answers hang on, most valuable first.

    Errors: ``QuestionError`` when neither or both of ``question`` and ``me`` are given, and those of
    ``settle`` with the JSON pointer inside ``question``; ``Unanswerable`` for an unknown id.
    """
    if (request.question is None) == (request.me is None):
        raise QuestionError(
            "question-ambiguous" if request.me else "value-invalid",
            "`question` and `me` are both given" if request.me else "neither `question` nor `me` is given",
            help="give `question` for one situation, or `me` for a whole character", pointer="/me",
        )
    count = Count()
    assumed: list[str] = []
    if request.question is not None:
        hanging = list(_of_question(pack, rules, evaluator, request.question, count))
    else:
        _, assumed = assumed_distance(pack, request.distance)
        hanging = list(_of_character(pack, rules, evaluator, request, count))
    items = _items(pack, hanging)
    first = say(" First: {sentence}", sentence=items[0].sentence) if items else ""
    return LabListAnswer(
        summary=many(
            "{hanging} of {answers} answers hang on {count} property.{first}",
            "{hanging} of {answers} answers hang on {count} properties.{first}",
            len(items), hanging=len(hanging), answers=count.answers, first=first,
        ),
        items=items[: request.limit], properties=len(items), answers=count.answers, undecided=len(hanging),
        complete=not count.spent, cautions=[*CAUTIONS, *assumed], pack=pack_ref(pack, rules, evaluator),
    )


def _of_question(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, question: Question, count: Count
) -> Iterator[Hanging]:
    """Every exchange that advice on the question weighs."""
    if question.pack not in (None, pack.id):
        raise QuestionError(
            "question-impossible", f"the question is about pack `{question.pack}`, the request about `{pack.id}`",
            help="name the pack in `pack` of the request", pointer="/question/pack",
        )
    try:
        situation = settle(pack, question)
    except AdvisorError as error:
        error.pointer = f"/question{error.pointer}"
        raise
    case = Case(situation=situation, record=situation_record(situation), rules=rules)
    mine, theirs, further = ready(situation)
    case.meet(mine, [*theirs, *further], evaluator)
    count.answers += len(case.pairs)
    count.judged += len(case.pairs)
    wanted = missing_of(situation, case.record, case.pairs, case.judged, rules)
    for i, missing in wanted.items():
        yield from _hanging(situation, case.pairs[i], missing)


def _of_character(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, request: LabList, count: Count
) -> Iterator[Hanging]:
    """What of mine may punish each attack of each opponent after a block."""
    assert request.me is not None
    me = character_of(pack, request.me, "/me")
    away, _ = assumed_distance(pack, request.distance)
    for fighter, them in roster(pack, request.them, "/them"):
        asked = Asked(pack=pack, them=fighter, distance=away)
        for move in attacks_of(them):
            level = pack.conventions.levels.get(move.hits[0].level or "")
            if count.spent or (level is not None and not level.blocked_by):
                continue
            if move.hits[0].on_block is None:
                yield from _without_lead(me, them, move, count)
            elif move.hits[0].on_block < 0:
                stage = after_block(asked, request.me, move, away)
                if stage is not None:
                    yield from _punishes(stage, rules, evaluator, count)


def _without_lead(me: Character, them: Character, move: Move, count: Count) -> Iterator[Hanging]:
    """Without the advantage on block every attack of mine hangs on it."""
    on = frozenset({(them.id, Missing(move=move.id, property="on_block"))})
    for attack in attacks_of(me):
        count.answers += 1
        yield Hanging(said=say("{attack} after blocking {move}", attack=attack.name, move=move.name), on=on)


def _punishes(stage: Stage, rules: RuleSet, evaluator: Evaluator, count: Count) -> Iterator[Hanging]:
    """The undecided ones among my punishes; the rules are asked only where the exchange is open."""
    situation = stage.situation
    open_: list[Pair] = []
    theirs = Ready(situation, stage.theirs, "theirs")
    for entry in situation.responses:
        if not entry.move.hits:
            continue
        count.answers += 1
        if _may_hang(stage, entry):
            open_.append(pair_of(situation, Ready(situation, entry, "mine"), theirs))
    count.judged += len(open_)
    weigher = Weigher(situation, rules, evaluator)
    judged = weigher.judge(open_)
    wanted = missing_of(situation, weigher.record, open_, judged, rules)
    for i, missing in wanted.items():
        yield from _hanging(situation, open_[i], missing)


def _may_hang(stage: Stage, entry: Entry) -> bool:
    """Whether the exchange is open: frames known to be too slow settle it, whatever else is unknown."""
    situation, first = stage.situation, entry.move.hits[0].first_active
    mine, held = situation.free.me_free, situation.free.them_free
    if mine is not None and held is not None and first is not None and mine + first > held:
        return False
    sides = stage.sides(entry)
    if sides is None:
        return True
    me, them = sides
    return not meet(
        situation.pack.conventions, me, them, situation.distance,
        nearest=situation.nearest, farthest=situation.farthest,
    ).decided


def _hanging(situation: Situation, pair: Pair, missing: Iterable[Missing]) -> Iterator[Hanging]:
    """An undecided answer; a distance that is unknown for an unknown pushback hangs on the pushback."""
    on = set()
    for one in missing:
        unsure = one == Missing(move="", property="distance") and "moment.pushback" in situation.missing
        named = Missing(move=situation.move.id, property="pushback") if unsure and situation.move else one
        on.add((_owner(situation, pair, named), named))
    if on:
        after = say(" after {move}", move=situation.move.name) if situation.move else ""
        said = say("{mine} against {theirs}{after}", mine=pair.mine.name, theirs=pair.theirs.name, after=after)
        yield Hanging(said=said, on=frozenset(on))


def _owner(situation: Situation, pair: Pair, missing: Missing) -> str:
    """Whose move a missing property is of."""
    if not missing.move:
        return ""
    mine, theirs = situation.me, situation.them
    striker = {"me": mine, "them": theirs}.get(situation.attacker)
    if pair.mine.move.id == missing.move and missing.move in mine.moves:
        return mine.id
    if pair.theirs.move.id == missing.move and missing.move in theirs.moves:
        return theirs.id
    if striker is not None and missing.move in striker.moves:
        return striker.id
    return next((c.id for c in (mine, theirs) if missing.move in c.moves), "")


def _items(pack: Pack, hanging: list[Hanging]) -> list[LabItem]:
    """The properties, most valuable first."""
    found: dict[tuple[str, Missing], list[Hanging]] = {}
    for one in hanging:
        for key in one.on:
            found.setdefault(key, []).append(one)
    items = [_item(pack, owner, missing, each) for (owner, missing), each in found.items()]
    return sorted(items, key=lambda i: (-i.value, -i.answers, i.character, i.move, i.property))


def _item(pack: Pack, owner: str, missing: Missing, each: list[Hanging]) -> LabItem:
    alone = sum(len(one.on) == 1 for one in each)
    known: Mapping[str, Move] = (
        pack.characters[owner].moves if owner in pack.characters else {**pack.system, **pack.wake_ups}
    )
    name = known[missing.move].name if missing.move in known else missing.move
    what = missing.property.replace("_", " ")
    of = say(" of {name}", name=name) if name else ""
    if alone == len(each):
        rest = in_words("all on nothing else")
    elif not alone:
        rest = in_words("never on it alone")
    else:
        rest = say("{alone} of them on nothing else", alone=alone)
    return LabItem(
        character=owner, move=missing.move, name=name, property=missing.property, answers=len(each), alone=alone,
        value=round(sum(1 / len(one.on) for one in each), 3),
        examples=list(dict.fromkeys(one.said for one in each))[:EXAMPLES],
        sentence=many(
            "{what}{of}: {count} answer hangs on it, {rest}.", "{what}{of}: {count} answers hang on it, {rest}.",
            len(each), what=what, of=of, rest=rest,
        ),
    )


STUDY = Study(
    name="lab_list",
    request=LabList,
    answer=LabListAnswer,
    run=lab_list,
    summary="What to measure next",
    description=(
        "The properties nobody has recorded that would decide most answers, most valuable first: for one situation, or "
        "for what a character may punish after a block."
    ),
    example={"me": {"character": "wenna"}, "them": {"character": "marl"}, "distance": "touching", "limit": 5},
)

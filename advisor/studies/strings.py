"""Study ``strings``: after each hit of a string, does it jail, and what fits in the gap."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta, Struct

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.advice.wording import fitted
from advisor.facts.lookup import character_in, distance_in, move_in
from advisor.facts.question import Away, Fighter, Id, Ids, Name
from advisor.pack.model import Character, Hit, Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.strings_answer import StringLine, StringLink, StringMix, StringsAnswer
from advisor.studies.strings_gap import Step, link_of, step_of
from advisor.studies.strings_mix import mix_of
from advisor.studies.strings_paths import CONTACTS, MOST_STRINGS, Link, distance_at_contact, links_of, paths_of
from advisor.studies.study import Study
from advisor.studies.weighing import pack_ref
from advisor.units import from_micro, to_micro

__all__ = ["STUDY", "StringsRequest", "strings"]

ANYONE = "(anyone)"
"""Id of the character that stands in when nobody in particular faces the string; no id of a pack can be it."""


class StringsRequest(Struct, kw_only=True, forbid_unknown_fields=True):
    """Whose strings, and who faces them.

    ``distance`` is the distance at the first contact; the nearest that the pack names when left out.
    """

    character: Annotated[Id, Meta(description="Whose strings: a character id.")]
    starter: Annotated[Id | None, Meta(description="Only strings that begin with this move.")] = None
    them: Annotated[
        Fighter | None,
        Meta(description="Who faces them; anyone when left out: then only options of everyone are tried."),
    ] = None
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance at the first contact: a number or a named distance.")
    ] = None
    responses: Annotated[Ids | None, Meta(description="Try only these options of theirs; all when left out.")] = None
    most_hits: Annotated[int, Meta(ge=2, le=6, description="Longest string, in moves.")] = 6
    limit: Annotated[int, Meta(ge=1, le=400, description="How many options to list for each gap.")] = 8


class _Work(Struct, kw_only=True):
    """One request on its way: steps and links by path, next move and result."""

    pack: Pack
    rules: RuleSet
    evaluator: Evaluator
    request: StringsRequest
    owner: Character
    facing: Fighter
    responses: list[str] | None
    distance: float | str | None
    steps: dict[tuple[str, ...], Step] = {}
    links: dict[tuple[str, ...], StringLink] = {}


def strings(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: StringsRequest) -> StringsAnswer:
    """Every string of ``request.character`` step by step, and the mix-ups at its ends.

    Errors: ``Unanswerable`` for an id that the pack does not have, with the pointer of the value.
    """
    owner = _owner(pack, request)
    starter = _starter(pack, owner, request)
    work = _work(pack, rules, evaluator, request, owner)
    found: list[tuple[Move, ...]] = []
    for path in paths_of(owner, starter, request.most_hits):
        if len(found) == MOST_STRINGS:
            break
        found.append(path)
    complete = len(found) < MOST_STRINGS
    lines = [_line(work, path) for path in found]
    mixups = _mixups(work, found)
    distance = _away(work)
    return StringsAnswer(
        summary=_summary(owner, starter, lines, work.links.values()),
        character=owner.id,
        them=request.them.character if request.them else None,
        distance=distance,
        unit=pack.conventions.distance_unit,
        strings=lines,
        complete=complete,
        links=list(work.links.values()),
        mixups=mixups,
        missing=_most_wanted(list(work.links.values())),
        cautions=[*CAUTIONS, *_assumed(work, complete)],
        pack=pack_ref(pack, rules, evaluator),
    )


def _owner(pack: Pack, request: StringsRequest) -> Character:
    owner = character_in(pack, request.character, "/character")
    if request.them is not None:
        character_in(pack, request.them.character, "/them/character")
    return owner


def _starter(pack: Pack, owner: Character, request: StringsRequest) -> Move | None:
    return None if request.starter is None else move_in(pack, owner, request.starter, "/starter")


def _work(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, request: StringsRequest, owner: Character
) -> _Work:
    """The pack with a stand-in where nobody faces the string: somebody of whom nothing is known."""
    named = pack.conventions.distances
    distance = request.distance
    if distance is None and named:
        distance = min(named, key=lambda name: named[name])
    distance_in(pack, distance)
    responses = request.responses
    if request.them is None:
        # One attack of which nothing is recorded keeps open what they could punish.
        unknown = Move(id="anything", name=in_words("Anything"), kind="attack", hits=(Hit(),))
        anyone = Character(id=ANYONE, name=in_words("Anyone"), moves={unknown.id: unknown})
        pack = msgspec.structs.replace(pack, characters={**pack.characters, ANYONE: anyone})
        responses = list(pack.system) if responses is None else responses
    return _Work(
        pack=pack, rules=rules, evaluator=evaluator, request=request, owner=owner,
        facing=request.them or Fighter(character=ANYONE), responses=responses, distance=distance,
    )


def _line(work: _Work, path: tuple[Move, ...]) -> StringLine:
    """One string in a word for each step and result."""
    words: dict[str, list[str]] = {on: [] for on in CONTACTS}
    for n in range(1, len(path)):
        link = next(link for link in links_of(work.owner, path[:n]) if link.move is path[n])
        for on in CONTACTS:
            found = _linked(work, link, on)
            words[on].append(_short(found) if found else in_words("not from there"))
    then = in_words(", then ")
    return StringLine(
        moves=[m.id for m in path],
        names=[m.name for m in path],
        levels=[m.hits[0].level if m.hits else None for m in path],
        on_block=words["block"],
        on_hit=words["hit"],
        on_counter_hit=words["counter_hit"],
        ends=not links_of(work.owner, path),
        sentence=say(
            "{path}: on block {words}; on hit {words2}.",
            path=", ".join(m.name for m in path), words=then.join(words["block"]), words2=then.join(words["hit"]),
        ),
    )


def _short(link: StringLink) -> str:
    if link.gap is None or link.word in ("jails", "combos", "misses", "unknown"):
        return in_words(link.word)
    if link.word == "gap":
        return say("gap of {run}", run=link.gap.shown())
    run = msgspec.structs.replace(link.gap, first=max(0, link.gap.first)).shown()
    return say("jails or gap of {run}", run=run) if link.on == "block" else say("combos or gap of {run}", run=run)


def _linked(work: _Work, link: Link, on: str) -> StringLink | None:
    """The step on one result, worked out once; None when the string cannot go on from that result."""
    level = work.pack.conventions.levels.get(link.parent.hits[0].level or "")
    if on not in link.follow.on or (on == "block" and level is not None and not level.blocked_by):
        return None
    key = (*(m.id for m in link.path), link.move.id, on)
    if key not in work.links:
        step = step_of(
            work.pack, work.rules, work.evaluator, link, on, work.owner.id, work.facing,
            _distance(work, link, on), work.responses,
        )
        work.steps[key] = step
        work.links[key] = link_of(step, work.request.limit, fits=True)
    return work.links[key]


def _distance(work: _Work, link: Link, on: str) -> float | str | None:
    """The distance at the contact of the link's parent; every hit before it is taken to have met the same."""
    if len(link.path) == 1:
        return work.distance
    before = "block" if on == "block" else "hit"
    key = (*(m.id for m in link.path), before)
    step = work.steps.get(key) or work.steps.get((*key[:-1], "block")) or work.steps.get((*key[:-1], "hit"))
    away = distance_at_contact(step.situation.distance, link.parent) if step else None
    return None if away is None else from_micro(away)


def _mixups(work: _Work, paths: list[tuple[Move, ...]]) -> list[StringMix]:
    """Every place with two or more enders to choose from, on block and on hit."""
    out = []
    for path in {tuple(m.id for m in path[:-1]): path[:-1] for path in paths}.values():
        for on in ("block", "hit"):
            keys = [(*(m.id for m in path), link.move.id, on) for link in links_of(work.owner, path)]
            keys = [k for k in keys if k in work.steps and work.links[k].word not in ("unknown", "misses")]
            # What combos is no choice of theirs: it lands whatever they do.
            keys = [k for k in keys if work.links[k].word != "combos"]
            if len(keys) > 1:
                out.append(mix_of(work.pack, [work.steps[k] for k in keys], [work.links[k] for k in keys]))
    return out


def _away(work: _Work) -> float | None:
    given = work.distance
    micro = work.pack.conventions.distances[given] if isinstance(given, str) else None
    if micro is None:
        micro = None if given is None else to_micro(float(given))
    return None if micro is None else from_micro(micro)


def _assumed(work: _Work, complete: bool) -> list[str]:
    said = []
    if work.request.distance is None and isinstance(work.distance, str):
        text = say("No distance was given: the first hit is taken to touch at `{distance}`.", distance=work.distance)
        said.append(text)
    if not complete:
        said.append(say("Only the first {count} strings are listed.", count=MOST_STRINGS))
    return said


def _most_wanted(links: list[StringLink]) -> list[Missing]:
    count: dict[Missing, int] = {}
    for link in links:
        for missing in link.hangs_on:
            count[missing] = count.get(missing, 0) + 1
    return sorted(count, key=lambda m: (-count[m], m))


def _summary(owner: Character, starter: Move | None, lines: list[StringLine], links: object) -> str:
    """One line: how many strings, and how many of their steps jail."""
    whose = say("{owner}'s {starter}", owner=owner.name, starter=starter.name) if starter else owner.name
    if not lines:
        return fitted(say("{whose}: no string goes on from a contact.", whose=whose))
    blocked = [link for link in list(links) if link.on == "block"]  # type: ignore[call-overload]
    jails = sum(link.word == "jails" for link in blocked)
    return fitted(say(
        "{whose}: {count} strings; on block {jails} of {count2} steps jail",
        whose=whose, count=len(lines), jails=jails, count2=len(blocked),
    ))


STUDY = Study(
    name="strings",
    request=StringsRequest,
    answer=StringsAnswer,
    run=strings,
    summary="Strings, gaps and mix-ups",
    description="After each hit of a string, on block and on hit: it jails, combos or leaves a gap, and what "
    "fits in it; the mix-ups at its ends. Verdicts are for the side that faces the string.",
    example={"character": "ilko", "starter": "sting", "them": {"character": "wenna"}, "distance": "touching"},
)

"""What my parries catch: of one opponent move by move and string by string, or of the whole roster by share.

Level and tags decide what a parry takes, frames decide which strings let it in: with the earlier
hit blocked for a stun of B, a parry whose first frame is u is active when the next hit arrives on n
if B + u <= n (so a gap of u - 1 frames is enough, as n = B + gap + 1).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Annotated

from msgspec import Meta, Struct

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing, PackRef
from advisor.errors import QuestionError
from advisor.facts.question import Away, Fighter, Id, Name
from advisor.pack.model import Character, Level, Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.beats_cast import (
    assumed_distance,
    attacks_of,
    character_of,
    listed_ids,
    move_of,
    options_of,
    roster,
)
from advisor.studies.parries_catch import Catching, LeadsTo, catching, leads_to
from advisor.studies.parries_strings import Entrance, Link, caught_in, link_of, said_of, strings_of
from advisor.studies.study import Study
from advisor.studies.weighing import pack_ref
from advisor.units import from_micro

__all__ = ["STUDY", "CaughtMove", "CaughtString", "NextHit", "Opponent", "Parries", "ParriesAnswer", "parries"]

Share = Annotated[float | None, Meta(description="Share of 0 to 1; null when there is nothing to share out.")]
Range = Annotated[list[int] | None, Meta(description="First and last, frames; null: unknown or not applicable.")]


class Parries(Struct, kw_only=True, forbid_unknown_fields=True):
    """What do my parries catch?"""

    me: Fighter
    them: Annotated[
        Fighter | None, Meta(description="The opponent, looked at in detail; every character when left out.")
    ] = None
    parry: Annotated[Id | None, Meta(description="Only this parry of mine; all of them when left out.")] = None
    distance: Annotated[
        Away | Name | None, Meta(description="Distance at the first hit of a string; the nearest that the pack names.")
    ] = None
    pack: Annotated[Id | None, Meta(description="Pack id; the default pack when left out.")] = None


class CaughtMove(Struct, kw_only=True):
    """One attack of theirs against one parry of mine, active in time."""

    parry: str
    move: str
    name: str
    level: str | None
    tags: list[str] | None
    caught: Annotated[bool | None, Meta(description="Whether the parry takes it; null: unknown.")]
    decision: Annotated[str, Meta(description="taken, spared (an exception), not_taken, evaded or unknown.")]
    by: Annotated[list[str], Meta(description="The levels and tags that decide.")]
    later_hits: Annotated[list[bool | None], Meta(description="The same for the further hits of the move.")]
    leads_to: LeadsTo | None
    hangs_on: Annotated[list[str], Meta(description="Properties of the move that would decide.")]
    sentence: str


class NextHit(Struct, kw_only=True):
    """One hit of a string after the first, the hit before it blocked."""

    move: str
    name: str
    after: Annotated[str, Meta(description="Id of the hit before it.")]
    arrives: Annotated[Range, Meta(description="Frames after that hit's contact on which it can touch.")]
    gap: Annotated[Range, Meta(description="Least and most frames free before it; below 0 it jails.")]
    lets_in: Annotated[
        str, Meta(description="Whether frames let the parry in: yes, delayed (only if the hit is), no, unknown.")
    ]
    caught: Annotated[bool | None, Meta(description="Let in and taken; null: unknown.")]
    delays: Annotated[Range, Meta(description="Frames after the stun by which the parry may be started.")]
    leads_to: LeadsTo | None
    verdict: Annotated[str | None, Meta(description="What the rules say of that exchange; null when it has no frames.")]
    hangs_on: list[Missing]
    sentence: str


class CaughtString(Struct, kw_only=True):
    """One string of theirs against one parry of mine."""

    parry: str
    moves: Annotated[list[str], Meta(description="Ids of its hits, in order.")]
    caught: Annotated[bool | None, Meta(description="Some hit after the first is caught; null: unknown.")]
    at: Annotated[int | None, Meta(description="Number of the first hit that is caught, the first hit being 1.")]
    hits: list[NextHit]


class Opponent(Struct, kw_only=True):
    """How much of one opponent one parry of mine catches."""

    parry: str
    parry_name: str
    frames: Annotated[str, Meta(description="Own frames on which the parry is active.")]
    them: str
    name: str
    moves: Annotated[int, Meta(description="Attacks they have.")]
    caught: Annotated[int, Meta(description="Attacks that it takes.")]
    not_caught: Annotated[int, Meta(description="Attacks that it does not take.")]
    unknown: Annotated[int, Meta(description="Attacks for which that is not recorded.")]
    share: Annotated[Share, Meta(description="Attacks caught for sure, of all.")]
    share_at_most: Annotated[Share, Meta(description="The same if all unknown ones were caught.")]
    strings: Annotated[int, Meta(description="Strings they have.")]
    strings_caught: Annotated[int, Meta(description="Strings that let it in.")]
    strings_unknown: Annotated[int, Meta(description="Strings for which that is not recorded.")]
    strings_share: Share
    outcomes: Annotated[dict[str, int], Meta(description="How many attacks lead to each named outcome.")]
    sentence: str


class ParriesAnswer(Struct, kw_only=True):
    """What my parries catch; ``moves`` and ``strings`` only against a named opponent."""

    summary: str
    opponents: Annotated[list[Opponent], Meta(description="By share of attacks caught, largest first.")]
    moves: list[CaughtMove]
    strings: list[CaughtString]
    missing: Annotated[list[Missing], Meta(description="Properties that results hang on, most results first.")]
    cautions: list[str]
    pack: PackRef


def parries(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Parries) -> ParriesAnswer:
    """What the parries of ``request.me`` catch.

    Errors: ``Unanswerable`` for an id that the pack does not have, ``QuestionError`` when the
    character has no parry; with the JSON pointer of the value.
    """
    me = character_of(pack, request.me, "/me")
    mine = _parries_of(pack, me, request.parry)
    away, assumed = assumed_distance(pack, request.distance)
    detail = request.them is not None
    levels = pack.conventions.levels
    opponents: list[Opponent] = []
    moves: list[CaughtMove] = []
    strings: list[CaughtString] = []
    wanted: Counter[Missing] = Counter()
    for fighter, them in roster(pack, request.them, "/them"):
        paths = list(strings_of(them))
        links = _links(pack, request.me, fighter, paths, from_micro(away))
        for parry in mine:
            rows = [_move_row(parry, move, levels) for move in attacks_of(them)]
            spoken = _spoken(pack, rules, evaluator, request.me, fighter, parry, links, away) if detail else {}
            # A parry for getting up is of no use between two hits.
            runs = [] if parry.wakes_from else [_string_row(parry, path, links, spoken, levels) for path in paths]
            opponents.append(_opponent(parry, them, rows, runs))
            wanted.update(Missing(move=row.move, property=name) for row in rows for name in row.hangs_on)
            wanted.update(missing for run in runs for hit in run.hits if hit.caught is None for missing in hit.hangs_on)
            if detail:
                moves += rows
                strings += runs
    opponents.sort(key=lambda o: (-(o.share or 0.0), -(o.strings_share or 0.0), o.them, o.parry))
    return ParriesAnswer(
        summary=_summary(me, opponents, detail),
        opponents=opponents,
        moves=sorted(moves, key=lambda row: (row.parry, row.caught is not True, row.caught is not None)),
        strings=sorted(strings, key=lambda row: (row.parry, row.caught is not True, row.caught is not None)),
        missing=sorted(wanted, key=lambda m: (-wanted[m], m)),
        cautions=[*CAUTIONS, *(assumed if detail else ())],
        pack=pack_ref(pack, rules, evaluator),
    )


def _parries_of(pack: Pack, me: Character, key: str | None) -> list[Move]:
    """The options of mine that have a parry window, or the one asked for."""
    known = {name: move for name, move in options_of(pack, me).items() if move.parry}
    if key is not None:
        found = move_of(pack, me, key, "/parry")
        if found.parry == ():
            raise QuestionError(
                "question-impossible", f"`{key}` is no parry",
                help=f"it has {listed_ids(sorted(known))}" if known else "it has none", pointer="/parry",
            )
        return [found]
    if not known:
        raise QuestionError(
            "question-impossible", f"`{me.id}` has no parry", help=_who_has(pack), pointer="/me/character"
        )
    return list(known.values())


def _who_has(pack: Pack) -> str:
    have = [c.id for c in pack.characters.values() if any(m.parry for m in c.moves.values())]
    return f"these have one: {listed_ids(have)}" if have else "no character of this pack has one"


def _links(
    pack: Pack, me: Fighter, them: Fighter, paths: Iterable[tuple[Move, ...]], distance: float
) -> dict[tuple[str, str], Link]:
    """Every pair of moves that follow each other in a string, once."""
    out: dict[tuple[str, str], Link] = {}
    for path in paths:
        for parent, child in pairwise(path):
            if (parent.id, child.id) not in out:
                out[parent.id, child.id] = link_of(pack, me, them, parent, child, distance)
    return out


def _spoken(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, me: Fighter, them: Fighter, parry: Move,
    links: Mapping[tuple[str, str], Link], away: int,
) -> dict[tuple[str, str], tuple[str, str]]:
    """The rules' verdict and sentence on the parry at every link."""
    out = {}
    for key, link in links.items():
        _, door, _ = caught_in(parry, link, pack.conventions.levels)
        said = said_of(pack, rules, evaluator, me, them, parry, link, door, from_micro(away))
        if said is not None:
            out[key] = said
    return out


def _move_row(parry: Move, move: Move, levels: Mapping[str, Level]) -> CaughtMove:
    first, *later = move.hits
    catch = catching(parry, first, levels)
    return CaughtMove(
        parry=parry.id, move=move.id, name=move.name, level=first.level,
        tags=None if first.tags is None else sorted(first.tags),
        caught=catch.caught, decision=catch.decision, by=list(catch.by),
        later_hits=[catching(parry, hit, levels).caught for hit in later],
        leads_to=leads_to(catch), hangs_on=list(catch.hangs_on), sentence=_with_outcome(catch),
    )


def _with_outcome(catch: Catching) -> str:
    found = leads_to(catch)
    if not catch.caught:
        return catch.sentence
    if found is None:
        return say("{sentence} What that leads to is not recorded.", sentence=catch.sentence)
    parts = [found.name] if found.name else []
    parts += [say("{damage:g} damage", damage=found.damage)] if found.damage is not None else []
    parts += [f"{found.advantage:+d}"] if found.advantage is not None else []
    if found.knockdown not in (None, "none"):
        parts.append(say("knockdown {knockdown}", knockdown=found.knockdown.replace("_", " ")))
    if not parts:
        return catch.sentence
    return say("{sentence} It leads to {parts}.", sentence=catch.sentence, parts=", ".join(parts))


def _string_row(
    parry: Move, path: tuple[Move, ...], links: Mapping[tuple[str, str], Link],
    spoken: Mapping[tuple[str, str], tuple[str, str]], levels: Mapping[str, Level],
) -> CaughtString:
    hits = []
    for parent, child in pairwise(path):
        link = links[parent.id, child.id]
        catch, door, caught = caught_in(parry, link, levels)
        verdict, sentence = spoken.get((parent.id, child.id), (None, ""))
        hits.append(
            NextHit(
                move=child.id, name=child.name, after=parent.id,
                arrives=None if link.first is None or link.last is None else [link.first, link.last],
                gap=None if link.gap is None else list(link.gap),
                lets_in=door.lets_in, caught=caught,
                delays=list(door.delays) if caught and door.delays else None,
                leads_to=leads_to(catch) if caught else None, verdict=verdict,
                hangs_on=_hanging(child, catch, door) if caught is None else [],
                sentence=" ".join(dict.fromkeys((sentence, _door_sentence(door, catch, caught)))).strip(),
            )
        )
    at = next((i + 2 for i, hit in enumerate(hits) if hit.caught), None)
    sure = at is not None or all(hit.caught is False for hit in hits)
    return CaughtString(
        parry=parry.id, moves=[m.id for m in path], caught=(at is not None) if sure else None, at=at, hits=hits
    )


def _hanging(child: Move, catch: Catching, door: Entrance) -> list[Missing]:
    return [
        *(Missing(move=move, property=name) for move, name in door.hangs_on),
        *(Missing(move=child.id, property=name) for name in catch.hangs_on),
    ]


def _door_sentence(door: Entrance, catch: Catching, caught: bool | None) -> str:
    if caught is False and door.lets_in == "no":
        return catch.sentence if catch.caught is False else in_words("The parry does not meet it in time.")
    if caught:
        return "" if door.lets_in == "yes" else in_words("That takes the hit delayed.")
    if door.lets_in == "unknown":
        names = [f"{move}: {name}" for move, name in door.hangs_on]
        return say("Unknown: hangs on {names}.", names=", ".join(names)) if names else in_words("Unknown.")
    return catch.sentence


def _opponent(parry: Move, them: Character, rows: list[CaughtMove], runs: list[CaughtString]) -> Opponent:
    caught = sum(row.caught is True for row in rows)
    unknown = sum(row.caught is None for row in rows)
    let_in = sum(run.caught is True for run in runs)
    named = Counter(row.leads_to.name for row in rows if row.leads_to is not None and row.leads_to.name)
    return Opponent(
        parry=parry.id, parry_name=parry.name, frames=", ".join(w.span.shown() for w in parry.parry or ()),
        them=them.id, name=them.name, moves=len(rows), caught=caught,
        not_caught=len(rows) - caught - unknown, unknown=unknown,
        share=_share(caught, len(rows)), share_at_most=_share(caught + unknown, len(rows)),
        strings=len(runs), strings_caught=let_in, strings_unknown=sum(run.caught is None for run in runs),
        strings_share=_share(let_in, len(runs)), outcomes=dict(named.most_common()),
        sentence=(
            say(
                "{parry} takes {caught} of {count} attacks of {them}",
                parry=parry.name, caught=caught, count=len(rows), them=them.name,
            )
            + (say(" ({unknown} unknown)", unknown=unknown) if unknown else "")
            + say(" and is let in by {let_in} of {count} strings.", let_in=let_in, count=len(runs))
        ),
    )


def _share(part: int, whole: int) -> float | None:
    return round(part / whole, 4) if whole else None


def _summary(me: Character, opponents: list[Opponent], detail: bool) -> str:
    if not opponents:
        return in_words("No opponent to look at.")
    best = opponents[0]
    if detail:
        return best.sentence
    return say(
        "{me}'s parries take most of {best}: {parry_name}, {caught} of {moves} attacks.",
        me=me.name, best=best.name, parry_name=best.parry_name, caught=best.caught, moves=best.moves,
    )


STUDY = Study(
    name="parries",
    request=Parries,
    answer=ParriesAnswer,
    run=parries,
    summary="What my parries catch",
    description=(
        "What the parries of a character catch by level and tags, which strings let them in, and what each catch leads "
        "to: of one opponent move by move, or of the whole roster by share."
    ),
    example={"me": {"character": "wenna"}, "them": {"character": "ilko"}, "parry": "set_pane"},
)

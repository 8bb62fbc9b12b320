"""The entries of a set as questions that are asked: each with its advice, its trials and what is at stake."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

import msgspec
from msgspec import Struct

from advisor.advice import Advice, Evaluator, advise
from advisor.advice.answer import Missing
from advisor.errors import AdvisorError
from advisor.facts.question import CounterHit, HitLanded, Question, Whiffed
from advisor.notebook.next_lab.answer import LeftOut
from advisor.notebook.next_lab.value import Stake, best_of
from advisor.notebook.next_lab.worth import Counted, Trust, move_of, stakes_of, wants_damage
from advisor.notebook.sets import Entry, request_type
from advisor.notebook.store import Notebook
from advisor.notebook.trial import situation_key, situation_of
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say

__all__ = ["Asked", "Place", "Shelved", "Shelves", "asked", "lacking"]

MOST_LISTED = 400


class Shelved(Protocol):
    """A pack with its rules and what runs them, as the library has it."""

    pack: Pack
    rules: RuleSet
    evaluator: Evaluator


class Shelves(Protocol):
    """Where the packs are: the library."""

    def shelf(self, pack: str | None) -> Any:
        """The ``Shelved`` of a pack id, or the default one. Errors: ``Unanswerable``."""


class Place(Struct, frozen=True, order=True):
    """A missing property: pack and owner by id (owner empty: everyone's option), move and property."""

    pack: str
    owner: str
    move: str
    property: str


class Asked(Struct, kw_only=True):
    """One entry: the question with every response listed, its answer, trials so far, and the stakes (never empty)."""

    name: str
    question: Question
    shelf: Any
    key: str
    advice: Advice
    counted: Counted
    trust: Trust
    stakes: list[Stake]

    @property
    def best(self) -> Stake:
        """The response of the highest expected worth."""
        return best_of(self.stakes)

    def label(self, option: str) -> str:
        """The name of a response."""
        return next((one.name for one in self.advice.responses if one.option == option), option)

    def worths(self, pack: Pack) -> dict[str, float]:
        """Expected worth (damage points) by response if that were the pack. Errors: as ``advise``."""
        advice = advise(pack, self.shelf.rules, self.shelf.evaluator, self.question)
        return {stake.option: stake.worth for stake in stakes_of(advice, pack, self.counted, self.trust)}


def asked(entry: Entry, notebook: Notebook, library: Shelves, trust: Trust) -> Asked | LeftOut:
    """The entry asked now, or why it is not: no question, an error, or nothing to choose from."""
    request: Any = msgspec.convert(entry.request, request_type(entry.study))
    question = request if entry.study is None else getattr(request, "question", None)
    if not isinstance(question, Question):
        reason = say("a request of `{study}` is no advice question", study=entry.study)
        return LeftOut(kind="entry", what=entry.name, reason=reason)
    pack_id = question.pack or getattr(request, "pack", None)
    full = msgspec.structs.replace(question, limit=MOST_LISTED, explain="brief", sources=False, pack=pack_id)
    try:
        shelf: Shelved = library.shelf(pack_id)
        advice = advise(shelf.pack, shelf.rules, shelf.evaluator, full)
        key = situation_key(situation_of(full, shelf.pack))
    except AdvisorError as error:
        return LeftOut(kind="entry", what=entry.name, reason=f"{error.code}: {error.message}")
    if not advice.responses:
        return LeftOut(kind="entry", what=entry.name, reason=in_words("no response is possible"))
    counted = notebook.counted(key)
    return Asked(
        name=entry.name, question=full, shelf=shelf, key=key, advice=advice, counted=counted, trust=trust,
        stakes=stakes_of(advice, shelf.pack, counted, trust),
    )  # fmt: skip


def lacking(one: Asked) -> Iterator[Place | str]:
    """What each response of the entry lacks, as often as it does; a text for what only the question can say."""
    setting, pack = one.advice.situation, one.shelf.pack
    for response in one.advice.responses:
        for missing in response.hangs_on:
            yield _place(one, response.option, missing)
        own = move_of(pack, setting.me, response.option)
        if own is not None and wants_damage(pack, setting.me, response.option):
            yield Place(pack.id, own[0], own[1].id, "damage")


def _place(one: Asked, option: str, missing: Missing) -> Place | str:
    """Whose property it is; an unknown distance after an unknown pushback is that pushback."""
    setting, pack = one.advice.situation, one.shelf.pack
    striker = {"me": setting.me, "them": setting.them}.get(setting.attacker, "")
    if not missing.move:
        if missing.property == "distance" and _unknown_push(one, striker):
            return Place(pack.id, striker, setting.move or "", "pushback")
        return say("{property} (say it in the question)", property=missing.property.replace("_", " "))
    stems = {reply.partition("@")[0] for reply in setting.replies}
    owners = [
        (setting.me, option.partition("@")[0] == missing.move), (setting.them, missing.move in stems),
        (striker, missing.move == setting.move), (setting.me, True), (setting.them, True),
    ]  # fmt: skip
    for owner, fits in owners:
        if fits and owner and missing.move in pack.characters[owner].moves:
            return Place(pack.id, owner, missing.move, missing.property)
    return Place(pack.id, "", missing.move, missing.property)


def _unknown_push(one: Asked, striker: str) -> bool:
    moment = one.question.moment
    if one.question.distance is None or not striker or isinstance(moment, Whiffed):
        return False
    hit = one.shelf.pack.characters[striker].moves[one.advice.situation.move or ""].hits[0]
    landed = isinstance(moment, HitLanded | CounterHit)
    return (hit.pushback_hit if landed else hit.pushback_block) is None

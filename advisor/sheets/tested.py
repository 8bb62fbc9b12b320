"""What the lab has tried of a match-up, beside what theory says of the same."""

from __future__ import annotations

import msgspec
from msgspec import Struct

from advisor.advice.evidence import Evidence, TrialRules, evidence
from advisor.advice.wording import setting
from advisor.errors import AdvisorError
from advisor.facts import Question, settle
from advisor.facts.question import Blocked, Fighter
from advisor.library import Shelf
from advisor.notebook import Notebook, Situation, Trial
from advisor.notebook.trial import Side, situation_key
from advisor.sentences import say

__all__ = ["Tested", "Tried", "tried_between"]

PAGE = 1_000


class Tried(Struct, kw_only=True, frozen=True):
    """One option that was tried in one situation: ``said`` has both sides, ``older``: some of it on other data."""

    situation: Situation
    sentence: str
    option: str
    reply: str | None
    verdict: str
    said: Evidence
    older: bool


class Tested(Struct, frozen=True):
    """Everything that was tried, by situation."""

    rows: list[Tried] = []

    def against_theory(self, me: str, them: str, move: str, option: str, distance: float | None) -> Tried | None:
        """The trials that contradict ``option`` of ``me`` after a blocked ``move`` of ``them`` at that distance."""
        for row in self.rows:
            moment = row.situation.moment
            if (
                isinstance(moment, Blocked) and moment.attacker == "them" and moment.move == move
                and row.option == option and row.situation.distance == distance
                and (row.situation.me.character, row.situation.them.character) == (me, them)
                and row.said.contradiction is not None
            ):  # fmt: skip
                return row
        return None


def tried_between(
    shelf: Shelf, notebook: Notebook, me: str, them: str | None, rules: TrialRules | None = None
) -> Tested:
    """The trials of ``me`` against ``them`` (anybody when None) and the other way round, oldest situation first.

    Corrected records do not count. What theory says is asked once for each option that was tried.
    """
    places: dict[str, list[Trial]] = {}
    after: str | None = None
    while True:
        page = notebook.trials(after=after, limit=PAGE)
        for trial in page.trials:
            if _concerns(trial.situation, shelf.pack.id, me, them):
                places.setdefault(situation_key(trial.situation), []).append(trial)
        after = page.next
        if after is None:
            break
    return Tested([row for trials in places.values() for row in _rows(shelf, trials, rules or TrialRules())])


def _concerns(situation: Situation, pack: str, me: str, them: str | None) -> bool:
    sides = (situation.me.character, situation.them.character)
    return situation.pack == pack and (me in sides if them is None else sides in ((me, them), (them, me)))


def _rows(shelf: Shelf, trials: list[Trial], rules: TrialRules) -> list[Tried]:
    """A row for each option and reply that was tried in one situation."""
    situation = trials[0].situation
    question = Question(
        me=_fighter(situation.me), them=_fighter(situation.them), moment=situation.moment, pack=situation.pack,
        distance=situation.distance, explain="brief", trials="ignore",
    )  # fmt: skip
    try:
        settled = settle(shelf.pack, question)
    except AdvisorError as error:
        sentence = say("A situation that this pack does not have ({message})", message=error.message)
    else:
        sentence = setting(settled, []).sentence
    each: dict[tuple[str, str | None], list[Trial]] = {}
    for trial in trials:
        each.setdefault((trial.response, trial.reply), []).append(trial)
    out = []
    for (option, reply), found in each.items():
        verdict = _theory(shelf, question, option, reply)
        k, n = sum(one.successes for one in found), sum(one.tries for one in found)
        older = any(one.pack_hash != shelf.pack.hash for one in found)
        said = evidence(verdict, k, n, rules=rules)
        out.append(Tried(
            situation=situation, sentence=sentence, option=option, reply=reply, verdict=verdict, said=said, older=older,
        ))  # fmt: skip
    return out


def _fighter(side: Side) -> Fighter:
    return Fighter(
        character=side.character, stance=side.stance, back_turned=side.back_turned, near_wall=side.near_wall
    )


def _theory(shelf: Shelf, question: Question, option: str, reply: str | None) -> str:
    """Theory's verdict; ``unknown`` for an option that is out of the question here."""
    asked = msgspec.structs.replace(question, responses=[option], replies=[reply] if reply else None)
    try:
        found = shelf.ask(asked).responses
    except AdvisorError:
        return "unknown"
    if not found:
        return "unknown"
    verdicts = [row.verdict for row in found[0].against if row.reply == reply]
    return verdicts[0] if verdicts else found[0].verdict

"""The studies of a study set, in two versions."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import msgspec

from advisor.advice import Evaluator
from advisor.errors import AdvisorError, QuestionError, did_you_mean
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import many, say
from advisor.studies import STUDIES
from advisor.versions.answer import Consequence, StudyBefore

__all__ = ["Differences", "changed_studies"]

Differences = Callable[[Any, Any], list[str]]
"""What differs in two answers as JSON has them: lines ``where: before -> after``, wording left out."""


def changed_studies(
    old: Pack, new: Pack, rules: RuleSet, evaluator: Evaluator, studies: Sequence[StudyBefore], differences: Differences
) -> Iterable[Consequence]:
    """Studies whose answers differ, or that only one version can answer.

    A pack that a request names is not looked at. At stake is the most damage (points) that a row stands for which
    changed, came or went; unknown counts 0.
    Errors: ``QuestionError`` for a study that is none, or a request that is none of it.
    """
    for asked in studies:
        was, now = (_answer(pack, rules, evaluator, asked) for pack in (old, new))
        lines = differences(was, now)
        if lines:
            damage = _at_stake(was, now, differences)
            differ = many("{count} place differs", "{count} places differ", len(lines))
            yield Consequence(
                kind="answer", id=asked.name, character=_whose(asked.request), weight=damage, damage=damage,
                opponents=1, before=_said(was), after=_said(now),
                sentence=say(
                    "{asked} ({study}): {differ}, the first {lines}.",
                    asked=asked.name, study=asked.study, differ=differ, lines=lines[0],
                ),
            )  # fmt: skip


def _answer(pack: Pack, rules: RuleSet, evaluator: Evaluator, asked: StudyBefore) -> dict[str, Any]:
    """The answer as JSON has it; that there is none when the version cannot give one."""
    study = STUDIES.get(asked.study)
    if study is None:
        help = did_you_mean(asked.study, STUDIES) or f"studies: {', '.join(STUDIES)}"
        raise QuestionError("value-invalid", f"`{asked.name}`: no study is called `{asked.study}`", help=help)
    try:
        request = msgspec.convert(asked.request, study.request)
    except msgspec.ValidationError as error:
        raise QuestionError("value-invalid", f"the request of `{asked.name}`: {error}") from None
    try:
        answer = study.run(pack, rules, evaluator, request)
    except AdvisorError as error:
        return {"summary": say("no answer ({message})", message=error.message)}
    return msgspec.json.decode(msgspec.json.encode(answer), type=dict[str, Any])


def _said(answer: dict[str, Any]) -> str:
    return str(answer.get("summary", ""))


def _whose(request: dict[str, Any]) -> str | None:
    me = request.get("me")
    whose = me.get("character") if isinstance(me, dict) else request.get("character")
    return whose if isinstance(whose, str) else None


def _at_stake(before: Any, after: Any, differences: Differences) -> float:
    """The most points that a row stands for which differs; rows of a list are the same wherever they stand in it."""
    if isinstance(before, dict) and isinstance(after, dict):
        parts = [(key, before.get(key), after.get(key)) for key in {**before, **after}]
        changed = [(was, now) for key, was, now in parts if differences({key: was}, {key: now})]
        own = max(_points(before), _points(after)) if changed else 0.0
        return max([own, *(_at_stake(was, now, differences) for was, now in changed)])
    if isinstance(before, list) and isinstance(after, list):
        was, now = ({tuple(differences({}, row)): row for row in rows} for rows in (before, after))
        return max((_most({**was, **now}[said]) for said in was.keys() ^ now.keys()), default=0.0)
    return max(_most(before), _most(after))


def _points(row: dict[str, Any]) -> float:
    damage = row.get("damage")
    return float(damage) if isinstance(damage, int | float) else 0.0


def _most(value: Any) -> float:
    """The greatest damage that is stated anywhere in the value."""
    if isinstance(value, dict):
        return max([_points(value), *map(_most, value.values())])
    return max(map(_most, value), default=0.0) if isinstance(value, list) else 0.0

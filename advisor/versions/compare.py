"""One version of a pack against another: properties, and consequences by how much they matter."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from advisor.advice import CAUTIONS, Evaluator
from advisor.facts.lookup import distance_in
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.rules.wording import word_said
from advisor.sentences import in_words, many, mark, say
from advisor.units import from_micro
from advisor.versions.answer import RULE, AskedBefore, Comparison, Consequence, PropertyChange
from advisor.versions.properties import changed_properties
from advisor.versions.punishes import changed_punishes
from advisor.versions.situations import changed_answers, changed_knockdowns, changed_strings

__all__ = ["compare"]

KINDS = (mark("punish"), mark("string"), mark("frame_class"), mark("answer"))
"""Kinds of consequences that the summary counts, beside ``knockdown``."""


def compare(
    old: Pack,
    new: Pack,
    rules: RuleSet,
    evaluator: Evaluator,
    *,
    questions: Sequence[AskedBefore] = (),
    also: Iterable[Consequence] = (),
    distance: float | str | None = None,
    character: str | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """What changed from ``old`` to ``new``, and what follows from it, by damage at stake times opponents.

    ``distance`` (the pack's unit, or a name of the new pack) is where blocked moves touch; each named
    distance of the new pack when left out, and the nearest of them for strings. ``character`` keeps only
    what is about that one. ``progress`` is told characters done and their number.
    ``questions`` are asked of both; ``also`` are more consequences (``changed_studies``), ranked with the rest.
    Errors: ``Unanswerable`` for a distance that the new pack does not name.
    """
    distances = _distances(new, distance)
    found = [
        *changed_punishes(old, new, distances, progress),
        *changed_strings(old, new, rules, evaluator, min(distances.values(), default=None)),
        *changed_knockdowns(old, new),
        *changed_answers(old, new, rules, evaluator, questions),
        *also,
    ]
    properties = changed_properties(old, new)
    if character is not None:
        found = [one for one in found if one.character in (None, character)]
        properties = [one for one in properties if one.character in (None, character)]
    found.sort(key=_order)
    return Comparison(
        summary=_summary(properties, found), before=f"{old.version} {old.hash}".strip(),
        after=f"{new.version} {new.hash}".strip(), same=not properties and not found,
        distances=[f"{name} ({from_micro(away):g})" for name, away in distances.items()],
        properties=properties, consequences=found, rule=in_words(RULE), cautions=list(CAUTIONS),
    )  # fmt: skip


def _distances(pack: Pack, given: float | str | None) -> dict[str, int]:
    away = distance_in(pack, given)
    if away is not None:
        return {str(given): away}
    named = pack.conventions.distances
    return dict(named) if named else {"0": 0}


def _order(one: Consequence) -> tuple[float, str, str, str]:
    return (-one.weight, one.kind, one.character or "", one.id)


def _summary(properties: Sequence[PropertyChange], found: Sequence[Consequence]) -> str:
    if not properties and not found:
        return in_words("Nothing changed.")
    kinds: dict[str, int] = {}
    for one in found:
        kinds[one.kind] = kinds.get(one.kind, 0) + 1
    moves = len({(p.character, p.move) for p in properties if p.move is not None})
    said = ", ".join(f"{word_said(kind)} {n}" for kind, n in sorted(kinds.items()))
    first = say(" First: {sentence}", sentence=found[0].sentence) if found else ""
    return many(
        "{count} property changed (moves: {moves}); consequences: {said}.{first}",
        "{count} properties changed (moves: {moves}); consequences: {said}.{first}",
        len(properties), moves=moves, said=said or in_words("none"), first=first,
    )

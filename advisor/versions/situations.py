"""Strings, knockdowns and the questions of a study set, in two versions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from advisor.advice import Advice, Evaluator, advise
from advisor.errors import AdvisorError
from advisor.pack.model import Character, Pack
from advisor.rules.model import RuleSet
from advisor.rules.wording import word_said
from advisor.sentences import in_words, mark, say
from advisor.studies.strings import StringsRequest, strings
from advisor.studies.strings_answer import StringLink
from advisor.studies.strings_paths import paths_of
from advisor.units import from_micro
from advisor.versions.answer import AskedBefore, Consequence
from advisor.versions.punishes import changed_moves, rules_of_the_game_differ

__all__ = ["changed_answers", "changed_knockdowns", "changed_strings"]

MOST_HITS = 6
AFTER = {"block": mark("blocked"), "hit": mark("on hit"), "counter_hit": mark("on counter-hit")}


def changed_strings(
    old: Pack, new: Pack, rules: RuleSet, evaluator: Evaluator, away: int | None
) -> Iterable[Consequence]:
    """Steps of strings that both versions have and whose word or gap differs; ``away`` in micro-units."""
    every = rules_of_the_game_differ(old, new)
    roster = len(old.characters.keys() & new.characters.keys())
    for key in sorted(old.characters.keys() & new.characters.keys()):
        before, after = old.characters[key], new.characters[key]
        changed = changed_moves(before.moves, after.moves)
        starters = sorted(_starters(before, changed, every) & _starters(after, changed, every))
        seen: set[tuple[str, str]] = set()
        for starter in starters:
            was, now = (_links(pack, rules, evaluator, key, starter, away) for pack in (old, new))
            for at in sorted(was.keys() & now.keys()):
                first, last = _said(was[at]), _said(now[at])
                if first != last and at not in seen:
                    seen.add(at)
                    yield _string(after, now[at], at, (first, last), roster)


def _starters(character: Character, changed: set[str], every: bool) -> set[str]:
    paths = paths_of(character, None, MOST_HITS)
    return {path[0].id for path in paths if every or any(move.id in changed for move in path)}


def _links(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, character: str, starter: str, away: int | None
) -> dict[tuple[str, str], StringLink]:
    guards = [key for key, move in pack.system.items() if move.kind == "guard"][:1]
    request = StringsRequest(
        character=character, starter=starter, responses=guards or None, limit=1, most_hits=MOST_HITS,
        distance=None if away is None else from_micro(away),
    )  # fmt: skip
    found = strings(pack, rules, evaluator, request)
    return {(">".join([*link.after, link.move]), link.on): link for link in found.links}


def _said(link: StringLink) -> str:
    if link.gap is None or link.word in ("jails", "combos", "misses", "unknown"):
        return in_words(link.word)
    return say("{word} of {gap}", word=word_said(link.word), gap=link.gap.shown())


def _string(
    character: Character, link: StringLink, at: tuple[str, str], said: tuple[str, str], roster: int
) -> Consequence:
    path, on = at
    hit = character.moves[link.move].hits
    damage = (hit[0].damage if hit else None) or 0.0
    return Consequence(
        kind="string", id=f"{path} ({on})", character=character.id, weight=damage * roster, damage=damage,
        opponents=roster, before=said[0], after=said[1],
        sentence=say(
            "{link} after {after} {AFTER}: {said} before, {said2} now.",
            link=link.name, after=', '.join(link.after), AFTER=in_words(AFTER[on]), said=said[0], said2=said[1],
        ),
    )  # fmt: skip


def changed_knockdowns(old: Pack, new: Pack) -> Iterable[Consequence]:
    """Knockdown states that gained or lost a wake-up option: everyone's, and a character's own attacks."""
    both = old.conventions.knockdowns.keys() & new.conventions.knockdowns.keys()
    roster = sorted(old.characters.keys() & new.characters.keys())
    for state in sorted(both):
        was, now = (set(p.conventions.knockdowns[state].wake_ups) for p in (old, new))
        for option in sorted(was ^ now):
            yield _wake_up(state, option, None, option in now, 0.0, len(roster))
    for key in roster:
        before, after = old.characters[key].moves, new.characters[key].moves
        for move in sorted(before.keys() | after.keys()):
            first, last = before.get(move), after.get(move)
            was, now = (set(one.wakes_from) if one else set() for one in (first, last))
            one = last or first
            damage = (one.hits[0].damage if one and one.hits else None) or 0.0
            for state in sorted(was ^ now):
                yield _wake_up(state, move, key, state in now, damage, len(roster))


def _wake_up(
    state: str, option: str, character: str | None, gained: bool, damage: float, opponents: int
) -> Consequence:
    whose = say(" of {character}", character=character) if character else ""
    words = (in_words("closed"), in_words("open"))
    before, after = words if gained else words[::-1]
    return Consequence(
        kind="knockdown", id=f"{state}: {option}", character=character, weight=damage * opponents, damage=damage,
        opponents=opponents, before=before, after=after,
        sentence=say(
            "Out of {state}, the option {option}{whose} {what}.",
            state=state, option=option, whose=whose, what=in_words("is new") if gained else in_words("is gone"),
        ),
    )  # fmt: skip


def changed_answers(
    old: Pack, new: Pack, rules: RuleSet, evaluator: Evaluator, questions: Sequence[AskedBefore]
) -> Iterable[Consequence]:
    """Questions whose best response or its verdict differs, or that only one version can answer."""
    for asked in questions:
        (was, hurt), (now, hurts) = (_best(pack, rules, evaluator, asked) for pack in (old, new))
        if was != now:
            damage = max(hurt, hurts)
            yield Consequence(
                kind="answer", id=asked.name, character=asked.question.me.character, weight=damage, damage=damage,
                opponents=1, before=was, after=now,
                sentence=say("{asked}: {was} before, {now} now.", asked=asked.name, was=was, now=now),
            )  # fmt: skip


def _best(pack: Pack, rules: RuleSet, evaluator: Evaluator, asked: AskedBefore) -> tuple[str, float]:
    question = msgspec.structs.replace(asked.question, pack=None, limit=1, explain="none")
    try:
        advice: Advice = advise(pack, rules, evaluator, question)
    except AdvisorError as error:
        return say("no answer ({message})", message=error.message), 0.0
    if not advice.responses:
        return in_words("no response"), 0.0
    best = advice.responses[0]
    return f"{best.option} ({in_words(best.verdict)})", best.damage or 0.0

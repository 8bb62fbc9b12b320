"""Advice on the whole demo pack: about a thousand questions, every attack in every moment."""

from __future__ import annotations

from collections import Counter

import pytest

from advisor.advice import Advice
from advisor.facts import Question
from advisor.facts.question import Advantage, KnockedDown, Neutral
from tests.unit.advice.demo import AFTER, shelf, swept

# One process answers the sweep of questions, for all tests that look at it.
pytestmark = pytest.mark.xdist_group("sweep")

VERDICTS = list(shelf().rules.vocabulary.verdicts)


def cases() -> list[tuple[Question, Advice]]:
    return list(zip(swept().asked, swept().answers, strict=True))


def test_every_attack_of_every_character_is_asked_about_in_every_moment() -> None:
    """An exception in any of them fails here; distances known, named and unknown are all among them."""
    asked = {
        (q.me.character if q.moment.attacker == "me" else q.them.character, q.moment.move, type(q.moment))
        for q in swept().asked
        if not isinstance(q.moment, Advantage | KnockedDown | Neutral)
    }
    wanted = {
        (c.id, m.id, after)
        for c in shelf().pack.characters.values() for m in c.moves.values() if m.hits for after in AFTER
    }  # fmt: skip
    assert asked == wanted
    assert len(swept().answers) >= 900
    assert {type(q.distance) for q in swept().asked} == {type(None), str, float}


def test_the_summary_is_one_line_of_ninety_characters() -> None:
    wrong = [a.summary for a in swept().answers if not 1 <= len(a.summary) <= 90 or "\n" in a.summary]
    assert not wrong
    assert max(len(a.summary) for a in swept().answers) > 75
    assert len({a.summary for a in swept().answers}) >= 200


def test_the_summary_speaks_of_the_first_response() -> None:
    for question, advice in cases():
        best = advice.responses[0]
        if best.verdict in ("guaranteed", "in_range", "beats", "holds", "risky", "trades"):
            assert best.name[:30] in advice.summary, (question, advice.summary)
        if best.verdict == "guaranteed":
            assert advice.summary.endswith("guaranteed")
        else:
            assert ", guaranteed" not in advice.summary
        if best.verdict == "loses":
            assert "Nothing works here" in advice.summary


def test_responses_stand_in_the_order_of_the_verdicts() -> None:
    long = 0
    for question, advice in cases():
        ranks = [VERDICTS.index(r.verdict) for r in advice.responses]
        assert ranks == sorted(ranks), question
        best = min(VERDICTS.index(v) for v, n in advice.counts.items() if n)
        assert ranks[0] == best, question
        long += len(set(ranks)) >= 3
    assert long >= 60


def test_counts_add_up() -> None:
    for question, advice in cases():
        assert sum(advice.counts.values()) == advice.considered, question
        assert len(advice.responses) == min(question.limit, advice.considered), question
        options = [r.option for r in advice.responses]
        assert len(set(options)) == len(options), question
        assert not set(options) & set(advice.excluded), question
        if question.limit >= advice.considered:
            assert Counter(r.verdict for r in advice.responses) == advice.counts, question


def test_a_response_is_set_against_every_reply_that_is_named() -> None:
    for question, advice in cases():
        for response in advice.responses:
            assert [a.reply for a in response.against] == advice.situation.replies, question
            assert response.of == len(response.against)
            won = sum(a.verdict in ("guaranteed", "beats") for a in response.against)
            assert response.beats == won, question


def test_the_verdict_over_all_replies_follows_from_the_single_ones() -> None:
    """Guaranteed only when against all; it never wins by replies that hang on something unknown."""
    seen: Counter[str] = Counter()
    for question, advice in cases():
        for r in advice.responses:
            single = {a.verdict for a in r.against}
            seen[r.verdict] += 1
            if r.verdict == "guaranteed":
                assert single == {"guaranteed"}, question
            elif r.verdict == "in_range":
                assert single <= {"in_range", "guaranteed"}, question
            elif r.verdict == "beats":
                assert r.beats, question
                assert not single & {"loses", "trades", "unknown", "risky"}, question
            elif r.verdict == "holds":
                assert single == {"holds"}, question
            elif r.verdict == "loses":
                assert "loses" in single, question
                assert not r.beats, question
            elif r.verdict == "risky":
                assert r.beats, question
                assert single & {"loses", "trades"}, question
    assert all(seen[v] >= 5 for v in VERDICTS), seen


def test_every_certain_verdict_has_a_reason_and_every_unknown_names_what_it_hangs_on() -> None:
    bare: Counter[str] = Counter()
    for question, advice in cases():
        for response in advice.responses:
            if response.verdict != "unknown":
                assert response.reasons, question
                assert response.sentence
            for against in response.against:
                if against.verdict != "unknown":
                    assert any(reason.sentence for reason in against.reasons), question
            if response.verdict == "unknown" and not response.hangs_on:
                bare[f"{advice.situation.moment}: {response.option} against {advice.situation.replies}"] += 1
    assert not bare, f"unknown without saying why ({bare.total()}): {bare.most_common(8)}"


def test_every_sentence_is_filled_in() -> None:
    for question, advice in cases():
        texts = [advice.summary, advice.situation.sentence, *advice.cautions]
        for r in advice.responses:
            texts += [r.sentence, *r.cautions, *(why.sentence for why in r.reasons)]
            texts += [why.sentence for a in r.against for why in a.reasons]
        for text in texts:
            assert text.strip(), question
            assert "{" not in text, (question, text)
            assert "None" not in text, (question, text)
            assert " unknown " not in f" {text} " or "may work" in text or "hangs" in text or "unknown" in text.lower()


def test_damage_shown_is_that_of_the_move() -> None:
    """The least damage where it wins comes from one of its hits (and a wall), or from what a parry leads to."""
    shown = 0
    rules = shelf().pack.conventions
    around = [e.damage or 0.0 for e in (*rules.wall_effects.values(), *rules.floor_effects.values())]
    for question, advice in cases():
        moves = shelf().pack.characters[question.me.character].moves
        for r in advice.responses:
            if r.damage is None:
                continue
            shown += 1
            move = moves.get(r.option.partition("@")[0])
            assert move is not None, question
            possible = {h.damage for h in move.hits}
            possible |= {o.damage for p in move.parry or () for o in p.outcomes}
            possible |= {own + more for own in possible if own is not None for more in around}
            assert r.damage in possible, (question, r.option)
    assert shown >= 300


@pytest.mark.parametrize("moment", ["blocked", "hit", "counter_hit", "whiffed", "advantage", "neutral"])
def test_every_moment_has_answers_that_are_sure(moment: str) -> None:
    """A service that always says unknown would pass all of the above."""
    sure = [
        r.verdict for _, a in cases() if a.situation.moment == moment for r in a.responses
        if a.situation.distance is not None
    ]  # fmt: skip
    assert sum(v != "unknown" for v in sure) >= 0.5 * len(sure) > 0

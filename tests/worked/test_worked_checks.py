"""The domain's worked checks as whole questions: common practice, no published source.

Every question here goes through both evaluators, which must agree (see ``asked.ask``). The checks
on wake-up options, mixes and just-frame timing are not here: nothing weighs those yet.
"""

from __future__ import annotations

import pytest

from advisor.advice import Advice, ResponseAdvice
from advisor.advice.answer import Against
from advisor.facts.question import Advantage, Blocked, CounterHit, HitLanded, Moment, Neutral, Whiffed
from tests.worked.asked import ask, blocked_by_me, blocked_by_them, question

JAB = ["quick_tap"]
PARRY = ["still_water"]


def only(advice: Advice) -> ResponseAdvice:
    assert len(advice.responses) == 1
    return advice.responses[0]


def cell(advice: Advice, option: str, reply: str) -> Against:
    response = next(r for r in advice.responses if r.option == option)
    return next(a for a in response.against if a.reply == reply)


def said(against: Against, rule: str) -> str:
    """The sentence of a rule that fired, an empty text when it did not."""
    return next((reason.sentence for reason in against.reasons if reason.rule == rule), "")


def facts(against: Against, rule: str) -> dict[str, object]:
    """The facts that a rule read, by name."""
    return next({f.name: f.value for f in r.facts} for r in against.reasons if r.rule == rule)


# --- blocked moves: the punish is first_active at most the disadvantage ----------------------


def test_a_ten_frame_jab_punishes_minus_ten() -> None:
    advice = ask(question(blocked_by_me("owes_ten"), mine=JAB, theirs=["guard", "ten_punch"]))
    jab = only(advice)
    assert advice.situation.advantage == 10
    assert (jab.verdict, jab.beats, jab.of, jab.damage, jab.window) == ("guaranteed", 2, 2, 8, 1)
    for against in jab.against:
        assert (against.verdict, against.by, against.effect, against.frame) == ("guaranteed", "me", "hit", 10)
        assert said(against, "punish/guaranteed") == (
            "They cannot act until frame 10 is over; Quick Tap lands on frame 10."
        )
        read = facts(against, "punish/guaranteed")
        assert (read["exchange.held_until"], read["exchange.frame"], read["exchange.they_are"]) == (10, 10, "recovery")
    assert advice.summary == "Punish: Quick Tap (10f), 8 damage, guaranteed"


def test_it_does_not_punish_minus_nine_because_they_block_on_frame_ten() -> None:
    advice = ask(question(blocked_by_me("owes_nine"), mine=JAB, theirs=["guard", "ten_punch"]))
    assert advice.situation.advantage == 9
    assert only(advice).verdict == "beats"
    guarded = cell(advice, "quick_tap", "guard")
    assert (guarded.verdict, guarded.by, guarded.effect, guarded.frame) == ("holds", "me", "blocked", 10)
    assert said(guarded, "punish/too-slow") == (
        "Quick Tap can touch on frame 10; they can block from frame 10 on."
    )
    assert advice.summary.startswith("No guaranteed punish.")


@pytest.mark.parametrize(("ahead", "verdict"), [(11, "guaranteed"), (10, "guaranteed"), (9, "holds"), (0, "holds")])
def test_the_same_edge_from_raw_advantage(ahead: int, verdict: str) -> None:
    assert only(ask(question(ahead, mine=JAB, theirs=["guard"]))).verdict == verdict


# --- the parry of frames 2 to 10 against a 10-frame punish --------------------------------------


@pytest.mark.parametrize(
    ("move", "first", "last"), [("lost_six", 8, 16), ("lost_seven", 9, 17), ("lost_eight", 10, 18)]
)
def test_the_parry_catches_the_punch(move: str, first: int, last: int) -> None:
    advice = ask(question(blocked_by_them(move), mine=PARRY, theirs=["ten_punch"]))
    against = cell(advice, "still_water", "ten_punch")
    assert only(advice).verdict == "beats"
    assert (against.verdict, against.by, against.effect, against.frame) == ("beats", "them", "parried", 10)
    assert (against.dealt, against.taken, against.leaves.advantage, against.leaves.catch) == (25, 0, 12, "Wrist Turn")
    assert said(against, "parry/catches") == (
        f"Still Water is active on frames {first} to {last}; Ten Punch arrives on 10 and is caught."
    )


@pytest.mark.parametrize(("move", "first", "effect"), [("lost_nine", 11, "counter_hit"), ("lost_ten", 12, "hit")])
def test_a_frame_more_and_the_punch_lands_first(move: str, first: int, effect: str) -> None:
    """At -9 it meets the parry's start-up (a counter-hit), at -10 my own recovery (a punish)."""
    advice = ask(question(blocked_by_them(move), mine=PARRY, theirs=["ten_punch"]))
    against = cell(advice, "still_water", "ten_punch")
    assert (against.verdict, against.by, against.effect, against.frame) == ("loses", "them", effect, 10)
    assert said(against, "parry/too-late") == (
        f"Still Water is active from frame {first}; Ten Punch lands on 10, before that."
    )


@pytest.mark.parametrize(
    ("reply", "tags"), [("ten_elbow", "elbow"), ("ten_boathook", "hand, weapon"), ("ten_charge", "armoured, hand")]
)
def test_tags_and_not_levels_decide_what_it_catches(reply: str, tags: str) -> None:
    """All three are high, as the punch is; they arrive in time and hit."""
    advice = ask(question(blocked_by_them("lost_eight"), mine=PARRY, theirs=[reply]))
    against = cell(advice, "still_water", reply)
    assert (against.verdict, against.by, against.effect, against.frame) == ("loses", "them", "hit", 10)
    assert said(against, "parry/does-not-catch").endswith(f"(high; {tags}).")


def test_an_unblockable_hand_strike_is_caught_all_the_same() -> None:
    advice = ask(question(blocked_by_them("lost_eight"), mine=["still_water", "guard"], theirs=["ten_flood"]))
    caught, guarded = cell(advice, "still_water", "ten_flood"), cell(advice, "guard", "ten_flood")
    assert (caught.verdict, caught.effect, caught.frame) == ("beats", "parried", 10)
    assert (guarded.verdict, guarded.effect, guarded.taken) == ("loses", "hit", 26)
    assert [r.option for r in advice.responses] == ["still_water", "guard"]


def test_a_jump_that_looks_like_minus_ten_baits_the_punish() -> None:
    """It is -8: their 10-frame punch is no punish, and it meets the parry."""
    mine = ["still_water", "quick_tap", "guard"]
    advice = ask(question(blocked_by_them("mooring_hop"), mine=mine, theirs=["ten_punch"]))
    assert advice.situation.advantage == -8
    verdicts = {r.option: r.verdict for r in advice.responses}
    assert verdicts == {"still_water": "beats", "quick_tap": "loses", "guard": "holds"}
    assert advice.responses[0].option == "still_water"
    assert cell(advice, "still_water", "ten_punch").effect == "parried"
    # After the move that it looks like, the same answer loses.
    alike = ask(question(blocked_by_them("lost_ten"), mine=PARRY, theirs=["ten_punch"]))
    assert only(alike).verdict == "loses"


# --- strings ----------------------------------------------------------------------------------


def test_hit_two_at_fourteen_jails_so_the_parry_never_begins() -> None:
    advice = ask(question(blocked_by_me("one_two"), mine=[*PARRY, *JAB], theirs=["two_close"]))
    for option in ("still_water", "quick_tap"):
        against = cell(advice, option, "two_close")
        assert (against.verdict, against.by, against.effect, against.frame) == ("holds", "them", "blocked", 14)
        assert "jails" in against.tags
        assert "parry" not in against.tags
        assert facts(against, "string/jailed")["exchange.gap"] == -1
        assert said(against, "string/jailed").startswith("Two Close arrives 14 frames after the hit before")


def test_hit_two_at_seventeen_leaves_a_gap_of_two_and_is_caught() -> None:
    advice = ask(question(blocked_by_me("one_two"), mine=[*PARRY, *JAB], theirs=["two_late"]))
    caught = cell(advice, "still_water", "two_late")
    assert (caught.verdict, caught.by, caught.effect, caught.frame) == ("beats", "them", "parried", 17)
    assert facts(caught, "string/gap") == {
        "theirs.is_follow_up": True, "exchange.gap": 2, "exchange.arrives": 17,
    }
    assert said(caught, "parry/catches") == (
        "Still Water is active on frames 16 to 24; Two Late arrives on 17 and is caught."
    )
    # A strike that needs ten frames does not fit the gap.
    assert cell(advice, "quick_tap", "two_late").effect == "counter_hit"


def test_the_string_is_weighed_without_being_asked_for() -> None:
    advice = ask(question(blocked_by_me("one_two"), mine=PARRY))
    assert {"two_close", "two_late"} <= set(advice.situation.replies)


# --- reach before frames ------------------------------------------------------------------------


def test_reach_decides_before_frames() -> None:
    """Pushed off to 2.1: the frame faster hook stops at 1.3 and whiffs, the slower one hits."""
    advice = ask(question(blocked_by_me("shoves_off"), mine=["short_hook", "long_hook"], theirs=["guard"]))
    assert (advice.situation.advantage, advice.situation.distance) == (15, 2.1)
    assert [(r.option, r.first_active, r.verdict) for r in advice.responses] == [
        ("long_hook", 14, "guaranteed"), ("short_hook", 13, "holds"),
    ]
    short = cell(advice, "short_hook", "guard")
    assert (short.by, short.effect, short.frame) == ("none", "none", None)
    assert said(short, "punish/out-of-reach") == (
        "Short Hook is fast enough (frame 13 of 15) but does not reach: -0.8 at its first active frame."
    )


def test_nearer_the_same_two_go_by_speed() -> None:
    near = ask(question(15, mine=["short_hook", "long_hook"], theirs=["guard"], distance=1.3))
    assert [r.option for r in near.responses if r.verdict == "guaranteed"] == ["short_hook", "long_hook"]
    beyond = ask(question(15, mine=["short_hook"], theirs=["guard"], distance=1.31))
    assert only(beyond).verdict == "loses"


def test_without_the_distance_the_answer_names_the_distance_that_decides() -> None:
    hooks = ["short_hook", "long_hook"]
    advice = ask(question(blocked_by_me("shoves_off"), mine=hooks, theirs=["guard"], distance=None))
    verdicts = {r.option: r.verdict for r in advice.responses}
    # They touched within 2.0 and were pushed 1.6: at least 1.6 away, which is beyond the short hook.
    assert verdicts == {"short_hook": "unknown", "long_hook": "in_range"}
    assert said(cell(advice, "long_hook", "guard"), "punish/range-decides") == (
        "Long Hook lands on frame 14 of 15 if the move touched at a distance of 0.8 or less."
    )


# --- both evaluators, over every sort of moment ---------------------------------------------------

MOMENTS: list[Moment] = [
    *(Blocked(attacker="them", move=m) for m in ("owes_ten", "one_two", "ten_elbow", "shoves_off")),
    *(Blocked(attacker="me", move=m) for m in ("lost_nine", "mooring_hop", "quick_tap")),
    HitLanded(attacker="me", move="quick_tap"),
    HitLanded(attacker="them", move="one_two"),
    CounterHit(attacker="me", move="long_hook"),
    CounterHit(attacker="them", move="ten_elbow"),
    Whiffed(attacker="me", move="ankle_rope"),
    Whiffed(attacker="them", move="shoves_off"),
    Advantage(frames=-6, held="blockstun"),
    Advantage(frames=12, held="hitstun"),
    Neutral(),
]


@pytest.mark.parametrize("distance", [0.5, 1.5, None])
@pytest.mark.parametrize("moment", MOMENTS, ids=str)
def test_both_evaluators_give_the_same_advice(moment: Moment, distance: float | None) -> None:
    """The comparison itself is in ``ask``; sources are listed so that they are compared as well."""
    advice = ask(question(moment, distance=distance, sources=True))
    assert advice.considered == len(advice.responses) >= 10
    # Advice on which no rule speaks would agree with anything.
    assert sum(len(a.reasons) for r in advice.responses for a in r.against) >= (2 if distance is None else 10)
    assert any(f.sources for r in advice.responses for a in r.against for why in a.reasons for f in why.facts)

"""What a parry catches: worked by hand (common practice, no published source), and against the exchange itself."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from advisor.errors import AdvisorError
from advisor.facts.question import Fighter
from advisor.pack.model import Catch, Character, Hit, Pack, Parry
from advisor.studies.parries import CaughtMove, CaughtString, Parries, ParriesAnswer, parries
from advisor.studies.parries_catch import catching
from advisor.timeline.body import caught_by
from advisor.timeline.exchange import meet
from advisor.timeline.side import Side
from advisor.units import Span, to_micro
from tests.unit.advice.demo import shelf
from tests.unit.studies.slipway import PARRY, followed, later, pack_of, strike

HAND = frozenset({"hand"})


def caught(pack: Pack, **request: Any) -> ParriesAnswer:
    at_hand = shelf()
    given = {"me": {"character": "ada"}, "them": {"character": "bram"}, **request}
    return parries(pack, at_hand.rules, at_hand.evaluator, msgspec.convert(given, Parries))


def one(hit: dict[str, Any], parry: Any = PARRY) -> CaughtMove:
    return caught(pack_of([parry], [strike("blow", 14, **hit)])).moves[0]


@pytest.mark.parametrize(
    ("hit", "taken", "decision", "by"),
    [
        ({"tags": HAND}, True, "taken", ["tag hand"]),
        ({"tags": HAND, "level": "unblockable"}, True, "taken", ["tag hand"]),
        ({"tags": frozenset({"hand", "elbow"})}, False, "spared", ["tag elbow"]),
        ({"tags": frozenset({"foot"})}, False, "not_taken", ["level mid", "tag foot"]),
        ({"tags": frozenset()}, False, "not_taken", ["level mid"]),
        ({"tags": None}, None, "unknown", []),
    ],
)
def test_tags_decide_not_the_level(hit: dict[str, Any], taken: bool | None, decision: str, by: list[str]) -> None:
    row = one(hit)
    assert (row.caught, row.decision, row.by) == (taken, decision, by)
    assert row.hangs_on == (["tags"] if taken is None else [])
    assert (row.leads_to is not None) == (taken is True)
    assert row.sentence


def test_a_parry_by_level_hangs_on_the_level() -> None:
    lows = msgspec.structs.replace(PARRY, parry=(Parry(span=Span(2, 11), catches=Catch(levels=frozenset({"low"}))),))
    assert one({"level": "low", "tags": None}, lows).by == ["level low"]
    assert one({"level": "high", "tags": None}, lows).caught is False
    assert one({"level": None}, lows).hangs_on == ["level"]
    assert one({"level": "low"}, lows).sentence.endswith("What that leads to is not recorded.")


def test_what_goes_over_a_crouching_parry_is_not_caught() -> None:
    low = msgspec.structs.replace(PARRY, crouching=(Span(1, 8),))
    row = one({"level": "high"}, msgspec.structs.replace(PARRY, crouching=(Span(1, 12),)))
    assert (row.caught, row.decision, row.by) == (False, "evaded", ["level high"])
    assert row.sentence == "Not caught: the one who parries is crouching, where a high does not hit."
    assert one({"level": "mid"}, low).caught is True
    # Standing from 8 on, it takes a high on 8 to 10: after a stun of 14 from 22 on, the second frame of a hit on 21.
    two = later(strike("two", 12, level="high"))
    for arrives, lets_in in ((20, "no"), (21, "yes")):
        start = followed(strike("one", 10, on_block=-2), (two, arrives, arrives))
        assert caught(pack_of([low], [start, two])).strings[0].hits[0].lets_in == lets_in


def test_a_catch_says_what_it_leads_to() -> None:
    led = one({}).leads_to
    assert led is not None
    assert (led.name, led.damage, led.advantage, led.knockdown, led.distance) == (
        "wrist turned", 20.0, 12, "face_down", 1.0,
    )
    assert one({}).sentence == (
        "Caught: it takes tag hand. It leads to wrist turned, 20 damage, +12, knockdown face down."
    )


def string(first: int, last: int, stun: int | None = 14, **hit: Any) -> CaughtString:
    two = later(strike("two", 12, **hit))
    start = followed(strike("one", 10, on_block=-2, blockstun=stun), (two, first, last))
    return caught(pack_of([PARRY], [start, two])).strings[0]


@pytest.mark.parametrize(
    ("first", "last", "lets_in", "gap", "taken"),
    [
        (14, 14, "no", [-1, -1], False),
        (15, 15, "no", [0, 0], False),
        (16, 16, "yes", [1, 1], True),
        (17, 17, "yes", [2, 2], True),
        (14, 15, "no", [-1, 0], False),
        (14, 20, "delayed", [-1, 5], True),
    ],
)
def test_stun_and_first_frame_against_the_arrival(
    first: int, last: int, lets_in: str, gap: list[int], taken: bool
) -> None:
    row = string(first, last)
    hit = row.hits[0]
    assert (hit.lets_in, hit.gap, hit.caught) == (lets_in, gap, taken)
    assert (row.caught, row.at) == (taken, 2 if taken else None)
    assert (hit.verdict == "beats") == taken
    if taken:
        assert "is caught" in hit.sentence


def test_a_late_hit_needs_a_late_parry() -> None:
    # After a stun of 14 the parry is active on 16 to 24; the hit of 30 needs it 6 to 14 frames later.
    assert string(30, 30).hits[0].delays == [6, 14]


def test_an_unknown_stun_leaves_the_string_unknown() -> None:
    row = string(17, 17, stun=None)
    assert row.caught is None
    assert [(m.move, m.property) for m in row.hits[0].hangs_on] == [("one", "blockstun")]
    # But what the parry never takes is known whatever the stun.
    assert string(17, 17, stun=None, tags=frozenset({"foot"})).caught is False


def test_shares_count_attacks_and_strings_and_bound_the_unknown() -> None:
    two = later(strike("two", 12))
    moves = [
        followed(strike("one", 10), (two, 17, 17)), two, strike("kick", 14, tags=frozenset({"foot"})),
        strike("what", 14, tags=None),
    ]
    answer = caught(pack_of([PARRY], moves))
    share = answer.opponents[0]
    assert (share.moves, share.caught, share.not_caught, share.unknown) == (4, 2, 1, 1)
    assert (share.share, share.share_at_most) == (0.5, 0.75)
    assert (share.strings, share.strings_caught, share.strings_share) == (1, 1, 1.0)
    assert share.outcomes == {"wrist turned": 2}
    assert [(m.move, m.property) for m in answer.missing] == [("what", "tags")]


def test_the_roster_is_ranked_by_share() -> None:
    kicker = Character(id="cleo", name="Cleo", moves={"kick": strike("kick", 14, tags=frozenset({"foot"}))})
    answer = caught(pack_of([PARRY], [strike("hand", 12)], kicker), them=None)
    assert [(o.them, o.share) for o in answer.opponents] == [("bram", 1.0), ("ada", None), ("cleo", 0.0)]
    assert answer.moves == [] and answer.strings == []


@pytest.mark.parametrize(
    ("request_", "code", "pointer"),
    [
        ({"me": {"character": "bram"}}, "question-impossible", "/me/character"),
        ({"me": {"character": "adaa"}}, "character-unknown", "/me/character"),
        ({"them": {"character": "brom"}}, "character-unknown", "/them/character"),
        ({"parry": "brase"}, "option-unknown", "/parry"),
        ({"parry": "guard"}, "question-impossible", "/parry"),
        ({"distance": "nere"}, "distance-unknown", "/distance"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(request_: dict[str, Any], code: str, pointer: str) -> None:
    with pytest.raises(AdvisorError) as failed:
        caught(pack_of([PARRY], [strike("hand", 12)]), **request_)
    assert (failed.value.code, failed.value.pointer) == (code, pointer)
    assert failed.value.help


def naive(parry: Parry, hit: Hit) -> bool:
    """Level and tags in so many words."""
    taken = not (parry.catches.levels or parry.catches.tags)
    taken = taken or hit.level in parry.catches.levels or bool((hit.tags or frozenset()) & parry.catches.tags)
    return taken and not (parry.excepting is not None and caught_by(parry.excepting, hit))


def test_every_catch_of_the_demo_is_that_of_an_exchange_in_time() -> None:
    pack = shelf().pack
    wenna = pack.characters["wenna"]
    attacks = [m for c in pack.characters.values() for m in c.moves.values() if m.hits]
    seen = {True: 0, False: 0}
    for parry in (m for m in wenna.moves.values() if m.parry):
        for attack in attacks:
            hit = attack.hits[0]
            told = catching(parry, hit, pack.conventions.levels).caught
            if None in (hit.tags, hit.level, hit.first_active, hit.reach, hit.tracks) or attack.displacement:
                continue
            taken = any(naive(window, hit) for window in parry.parry or ())
            assert not told or taken
            over = taken and not told
            assert not over or hit.level in ("high", "throw")
            # Started so that its first active frame falls on theirs, at arm's length.
            span = catching(parry, hit, pack.conventions.levels).span or (parry.parry or ())[0].span
            start = hit.first_active - span.start  # type: ignore[operator]
            if start < 0 or not hit.reach or hit.level == "ground_throw":
                continue
            met = meet(pack.conventions, Side(option=parry, delay=start), Side(option=attack), to_micro(0))
            if met.decided and met.by == "them":
                assert (met.effect == "parried") == told, (parry.id, attack.id)
                seen[bool(told)] += 1
            elif met.decided:
                assert not told, (parry.id, attack.id)
    assert min(seen.values()) > 50


def test_the_sentence_of_the_rules_agrees_with_every_string_of_the_demo() -> None:
    at_hand = shelf()
    strings = 0
    for them in at_hand.pack.characters:
        request = Parries(me=Fighter(character="wenna"), them=Fighter(character=them), distance="touching")
        for row in parries(at_hand.pack, at_hand.rules, at_hand.evaluator, request).strings:
            for hit in row.hits:
                strings += 1
                if hit.verdict == "beats":
                    assert hit.caught is True, (row.parry, row.moves, hit.move)
                    continue
                assert not hit.caught or hit.verdict == "unknown", (row.parry, row.moves, hit.move)
    assert strings > 60

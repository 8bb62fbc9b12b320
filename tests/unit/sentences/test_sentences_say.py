"""Saying: which language, which form, and who hears it."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from advisor.advice.evidence import evidence
from advisor.pack.model import Move
from advisor.sentences import better_of, in_words, many, mark, say, speaking, spoken
from advisor.studies.defence_layers import layered_move
from tests.unit.sentences.pseudo_language import SAY


def test_english_is_what_stands_in_the_code() -> None:
    assert spoken() == "en"
    assert mark("even") == in_words("even") == "even"
    assert say(", {damage:g} damage", damage=8.0) == ", 8 damage"
    assert say("nobody translates {this:+d}", this=3) == "nobody translates +3"


def test_german_comes_from_the_catalogue() -> None:
    with speaking("de"):
        assert in_words("even") == "gleichauf"
        assert say(", {damage:g} damage", damage=8.5) == ", 8.5 Schaden"
        assert say("nobody translates {this:+d}", this=3) == "nobody translates +3"
    assert in_words("even") == "even"


def test_a_language_that_there_is_not_is_spoken_as_english() -> None:
    with speaking("tlh"):
        assert spoken() == "en"
        assert in_words("even") == "even"


@pytest.mark.parametrize("count", [0, 1, 2, 11])
def test_a_count_takes_its_plural_form(count: int) -> None:
    one, more = "{count} place differs", "{count} places differ"
    assert many(one, more, count) == f"{count} " + ("place differs" if count == 1 else "places differ")
    with speaking("de"):
        assert many(one, more, count) == f"{count} " + ("Stelle weicht ab" if count == 1 else "Stellen weichen ab")
        assert many("{count} such {what}", "{count} such {what}s", count, what="row").startswith(f"{count} such row")


def test_speaking_within_speaking_gives_the_outer_language_back() -> None:
    with speaking("de"):
        with speaking("en"):
            assert in_words("even") == "even"
        assert in_words("even") == "gleichauf"
        with pytest.raises(KeyError), speaking("en"):
            say("{a}")
        assert in_words("even") == "gleichauf"
    assert spoken() == "en"


def test_threads_and_tasks_do_not_hear_each_other() -> None:
    async def told(language: str) -> str:
        with speaking(language):
            await asyncio.sleep(0)
            return in_words("even")

    async def all_at_once() -> list[str]:
        return await asyncio.gather(*(told(one) for one in ("de", "en") * 4))

    with speaking("de"), ThreadPoolExecutor(1) as pool:
        assert pool.submit(spoken).result() == "en"
    assert asyncio.run(all_at_once()) == ["gleichauf", "even"] * 4


def test_what_is_kept_is_kept_for_each_language() -> None:
    guard, jump = (Move(id=one, name=one.title(), kind="movement", hits=()) for one in ("guard", "jump"))
    english = evidence("beats", 3, 4).sentence, layered_move(guard, jump, 5).name
    with speaking("de"):
        german = evidence("beats", 3, 4).sentence, layered_move(guard, jump, 5).name
    assert (english[0][:13], german[0][:16]) == ("theory: beats", "Theorie: gewinnt")
    assert (english[1], german[1]) == ("Guard, Jump from frame 5", "Guard, Jump ab Frame 5")
    assert evidence("beats", 3, 4).sentence == english[0]


@pytest.mark.parametrize(
    ("accepted", "there", "best"),
    [
        # RFC 4647, 3.4: a range is cut from its end until a tag is met, the next range only then.
        ("zh-Hant-CN-x-private1-private2", ("zh",), "zh"),
        ("zh-Hant-CN-x-private1-private2", ("zh", "zh-hant", "zh-hant-cn"), "zh-hant-cn"),
        ("zh-Hant-CN-x-private1-private2", ("zh", "zh-hant"), "zh-hant"),
        ("fr-FR, zh-Hant", ("fr", "zh-hant"), "fr"),
        ("fr-FR, zh-Hant", ("fr-ca", "zh"), "zh"),
        # It is never made longer: de does not mean de-ch.
        ("de", ("de-ch",), "en"),
        # RFC 9110, 12.5.4: the example of the section; any English will do.
        ("da, en-gb;q=0.8, en;q=0.7", ("da",), "da"),
        ("da, en-gb;q=0.8, en;q=0.7", ("de",), "en"),
        ("de;q=0.5, en;q=0.8", ("de",), "en"),
        ("de;q=0.5, en;q=0.8, fr", ("de", "fr"), "fr"),
        # A weight of 0 is "not acceptable"; of equals the first.
        ("de;q=0", ("de",), "en"),
        ("de;q=0, fr;q=0.001", ("de", "fr"), "fr"),
        ("fr, de", ("de", "fr"), "fr"),
        ("DE-at", ("de",), "de"),
        ("*", ("de",), "en"),
        ("de;q=high, fr;q=0.2", ("de", "fr"), "fr"),
        ("de ; q = 0.9 ,, fr", ("de", "fr"), "fr"),
        ("", ("de",), "en"),
    ],
)
def test_accept_language_is_read_as_its_rfcs_have_it(
    accepted: str, there: tuple[str, ...], best: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SAY, "languages", lambda: ("en", *there))
    assert better_of(accepted) == best


def test_what_is_spoken_otherwise_is_there_too() -> None:
    assert better_of("fr", "de") == "de"
    assert better_of("fr", "fr") == "en"
    assert better_of("en, de", "de") == "en"

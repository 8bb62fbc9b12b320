"""Answers as messages: within the platform's limits, and whatever a pack's author calls things."""

from __future__ import annotations

import re
from typing import Any

import msgspec
import pytest

from advisor.library import Library
from advisor.service.bot.commands import commands, faults
from advisor.service.bot.lettering import escaped, shortened, size
from advisor.service.bot.message import Embed, Field, Message, fitted, payload
from advisor.service.bot.names import matching, names_of
from advisor.service.bot.replies import message_of, said
from advisor.service.weighing.tasks import TASKS

NEUTRAL = {"me": {"character": "wenna"}, "them": {"character": "marl"}, "moment": {"kind": "neutral"}, "distance": 0.4}
ASKED: dict[str, dict[str, Any]] = {
    "advice": {**TASKS["advice"].example, "limit": 8},
    "beats": {"them": {"character": "ilko"}, "moves": ["sting", "brood_grip"], "me": {"character": "wenna"}},
    "coverage": {**NEUTRAL, "limit": 8},
}
FOUND: dict[str, Any] = {}
HOSTILE = (
    "**@everyone** <@1> <#2> <:x:3> `code` ~~s~~ ||spoiler|| [here](https://example.org) __u__ _i_ # h > q \\",
    "\u202eevil\u200b\n\n# heading\r- list", "- list", "1. list", "\\", "\U0001f980" * 400, "x" * 5000, "\ud800", "\0",
)  # fmt: skip


def found(library: Library, task: str) -> Any:
    if task not in FOUND:
        run = TASKS[task]
        FOUND[task] = run.run(library, msgspec.convert(ASKED[task], run.request))
    return FOUND[task]


def renamed(value: Any, name: str) -> Any:
    """The answer with every name, sentence and list of texts replaced or led by ``name``."""
    if isinstance(value, dict):
        return {k: f"{name}" if k in ("name", "input", "sentence", "summary") and v else renamed(v, name)
                for k, v in value.items()}  # fmt: skip
    if isinstance(value, list):
        return [f"{name} {v}" if isinstance(v, str) else renamed(v, name) for v in value]
    return value


def check_limits(message: Message) -> None:
    """The platform's own limits, on what is sent, stated apart from the code."""
    sent = payload(message)
    whole = 0
    assert size(sent["content"]) <= 2000
    assert len(sent["embeds"]) <= 10
    for embed in sent["embeds"]:
        assert 0 < size(embed["title"]) <= 256
        assert size(embed.get("description", "")) <= 4096
        assert len(embed.get("fields", [])) <= 25
        for field in embed.get("fields", []):
            assert 0 < size(field["name"]) <= 256
            assert 0 < size(field["value"]) <= 1024
            whole += size(field["name"]) + size(field["value"])
        footer = embed.get("footer", {}).get("text", "")
        assert size(footer) <= 2048
        whole += size(embed["title"]) + size(embed.get("description", "")) + size(footer)
    assert whole <= 6000
    assert sent["allowed_mentions"] == {"parse": []}


def bare(text: str) -> str:
    """What is left of a text without its escapes."""
    return re.sub(r"\\[^0-9A-Za-z\s]", "", text)


@pytest.mark.parametrize("explain", ["none", "full"])
@pytest.mark.parametrize("task", list(ASKED))
def test_answers_of_hostile_and_long_names_make_messages_within_the_limits(
    library: Library, task: str, explain: str
) -> None:
    answer = found(library, task)
    plain = message_of(task, answer, explain)
    check_limits(plain)
    assert plain.embeds[0].fields and escaped(answer.summary)[:40] in plain.embeds[0].title
    assert plain.embeds[0].footer.find("organiser") > 0
    for name in HOSTILE:
        raw = msgspec.convert(renamed(msgspec.to_builtins(answer), name[:90]), type(answer), strict=False)
        message = message_of(task, raw, explain)
        check_limits(message)
        for field in message.embeds[0].fields:
            for line in (field.name, *field.value.split("\n")):
                assert not re.search(r"[*_~`|\[\]<>@#:]", bare(line)), line
                assert not re.match(r"\s*(-|\+|\d+\.)\s", line), line
        assert not re.search(r"[<>@`|\[\]*]", bare(message.embeds[0].description))


def test_more_reasoning_is_shown_when_it_is_asked_for(library: Library) -> None:
    short, brief, full = (
        message_of("advice", found(library, "advice"), explain).embeds[0].fields[0].value
        for explain in ("none", "brief", "full")
    )
    assert short in brief and len(short) < len(brief) < len(full)
    assert "Against" in brief and " = " not in brief and " = " in full


@pytest.mark.parametrize("length", [0, 1, 255, 256, 257, 1023, 1024, 1025, 2048, 4096, 5999, 6000, 6001, 20_000])
@pytest.mark.parametrize("letter", ["x", "\U0001f980", "\\_"])
def test_any_lengths_are_cut_to_fit_and_the_footer_says_so(length: int, letter: str) -> None:
    text = (letter * length)[:length]
    for count in (0, 1, 25, 26):
        embed = Embed(
            title=text or "t", description=text, footer=text, fields=tuple(Field(text, text) for _ in range(count))
        )
        message = fitted(Message(embeds=(embed,), content=text))
        check_limits(message)
        same = message.embeds[0]
        cut = (same.title, same.description, len(same.fields)) != (embed.title, text, count)
        assert cut == same.footer.startswith("Cut to fit: ") or same.footer != text
        if length == 0:
            assert (count > 25) == same.footer.startswith("Cut to fit: ")
    check_limits(fitted(Message(embeds=(embed,) * 12)))


def test_what_was_cut_is_counted() -> None:
    fields = tuple(Field(str(i), "v" * (2000 if i == 0 else 500)) for i in range(30))
    footer = fitted(Message(embeds=(Embed(title="t", fields=fields, footer="note"),))).embeds[0].footer
    shown = int(re.findall(r"of (\d+) items", footer)[0])
    assert footer == f"Cut to fit: the end of 1 of {shown} items, {30 - shown} of 30 items. note"
    assert "2 of 12 parts did not fit" in fitted(Message(embeds=(Embed(title="t"),) * 12)).content


def test_a_cut_tears_no_escape_and_no_letter() -> None:
    text = "\\*" * 10
    for most in range(1, 22):
        kept = shortened(text, most)
        assert len(kept) <= most
        assert bare(kept) in ("", "\u2026")
    assert shortened("\U0001f980" * 3, 4) == "\U0001f980\u2026"


def test_texts_of_users_cannot_speak_for_themselves() -> None:
    assert escaped("a\nb\u202e\u0000c") == "a b c"
    assert escaped("1. x") == "1\\. x" and escaped("- x") == "\\- x" and escaped("10 x") == "10 x"
    assert bare(said("@everyone <@&1> https://example.org `x`").content).strip() == "everyone &1 https//example.org x"


def test_suggestions_put_beginnings_first_and_keep_to_the_bounds(library: Library) -> None:
    names = names_of(library.shelves["cold_frame"].pack)
    moves = names.moves["marl"]
    assert {c.value for c in matching("cin", moves)} == {m.id for m in moves if "cin" in m.id or "cin" in m.name.lower()
                                                         or "cin" in m.input.lower()}  # fmt: skip
    first = matching("knee", moves)
    starts = [any(p.lower().startswith("knee") for p in (c.value, c.name)) for c in first]
    assert first and starts == sorted(starts, reverse=True)
    by_input = next(m for m in moves if m.input)
    assert by_input.id in {c.value for c in matching(by_input.input.upper(), moves)}
    assert [c.value for c in matching("cinder_kne", moves, "a,")][:1] == ["a,cinder_knee"]
    assert [c.value for c in matching("cindr_knee", moves)][:1] == ["cinder_knee"], "near, though nothing holds it"
    long = [msgspec.structs.replace(moves[0], id=f"{i:03}" + "n" * 90, name="\u202e" + "n" * 300) for i in range(60)]
    found = matching("n", long)
    assert len(found) == 25 and all(0 < len(c.name) <= 100 and len(c.value) <= 100 for c in found)


def test_registered_commands_are_within_the_limits_and_faults_are_found() -> None:
    assert not list(faults(commands()))
    assert [one["name"] for one in commands()] == ["advice", "beats", "coverage", "lab", "pack"]
    text = {"type": 3, "name": "x", "description": "d"}
    for wrong, word in (
        ({"name": "Advice"}, "small letters"), ({"name": "a" * 33}, "small letters"), ({"description": ""}, "1 to 100"),
        ({"description": "d" * 101}, "1 to 100"), ({"options": [{**text, "name": f"o{i}"} for i in range(26)]}, "26"),
        ({"options": [text, {**text, "name": "y", "required": True}]}, "required"), ({"options": [text, text]}, "two"),
        ({"options": [{**text, "choices": [{"name": "n", "value": "v"}] * 26}]}, "26 choices"),
        ({"options": [{**text, "choices": [{"name": "n" * 101, "value": "v"}]}]}, "longer"),
        ({"options": [{**text, "autocomplete": True, "choices": [{"name": "n", "value": "v"}]}]}, "both"),
        ({"options": [
            {**text, "name": f"o{i}", "choices": [{"name": "n" * 99, "value": "v"}] * 4} for i in range(21)
        ]}, "8000"),
    ):  # fmt: skip
        assert any(word in fault for fault in faults([{"name": "a", "description": "d", **wrong}])), wrong

"""Weighing a state and showing it; and again, for all that is shown, once packs or rules have changed."""

from __future__ import annotations

import logging

import msgspec
from msgspec import Raw, Struct

from advisor.errors import AdvisorError
from advisor.sentences import speaking, spoken
from advisor.service.asking.bounds import Bounds
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.live.events import Entry
from advisor.service.live.hub import Hub
from advisor.service.live.wire import Kept, LiveState
from advisor.service.problems import encode_problem
from advisor.service.seen.about import ABOUT, About
from advisor.service.weighing.work import Answer, Desk
from advisor.service.wire import Problem

__all__ = ["recompute", "submit"]

_log = logging.getLogger("advisor.service")
_STATE = msgspec.json.Decoder(LiveState)
_KEPT = msgspec.json.Decoder(Kept)
_WORDS = words_of(LiveState)


class _Sent(Struct):
    """The question as it was sent."""

    question: Raw


async def submit(hub: Hub, desk: Desk, channel: str, body: bytes) -> Entry | Answer:
    """Weigh the state in ``body`` and show it; where it cannot be weighed, the problem, and nothing is changed.

    Errors: ``AdvisorError`` for a faulty body, ``channels-full``, ``channels-unavailable``, and those of the desk.
    """
    state: LiveState = decode(body, _STATE, _WORDS, Bounds.of(hub.settings))
    # Read and written once, so that it stands on one line, as an event has to.
    sent = msgspec.json.decode(msgspec.json.decode(body, type=_Sent).question)
    question = msgspec.json.encode(sent)
    async with hub.turn(channel):
        answer = await desk.ask("advice", question)
        if answer.status != 200:
            return _within(answer)
        kept = Kept(
            note=state.note, hold=state.hold, language=spoken(), question=Raw(question), advice=Raw(answer.body)
        )
        entry = await hub.publish(channel, msgspec.json.encode(kept))
    assert entry is not None, "nothing stood in its way"
    return entry


def _within(answer: Answer) -> Answer:
    """A problem of the question, as one of the body that the question stands in."""
    problem = msgspec.json.decode(answer.body, type=Problem)
    if 400 <= answer.status < 500:
        problem.pointer = f"/question{problem.pointer}"
    return answer._replace(body=encode_problem(problem))


async def recompute(hub: Hub, desk: Desk) -> int:
    """Weigh all that is shown anew, after packs or rules have changed; how many channels show something else now.

    A state that cannot be answered any more is cleared; one that cannot be weighed just now stays as it is. With
    several servers each may do this: who comes second finds nothing to change.
    """
    changed = 0
    for channel, _, _ in await hub.shown():
        try:
            async with hub.turn(channel):
                changed += await _again(hub, desk, channel)
        except AdvisorError as error:
            if error.code != "channel-empty":
                _log.error("channel `%s` could not be weighed again: %s", channel, error.message)
    return changed


async def _again(hub: Hub, desk: Desk, channel: str) -> bool:
    """Errors: ``AdvisorError``."""
    entry = await hub.current(channel)
    kept = _KEPT.decode(entry.payload)
    about = ABOUT.set(About("", None, kept.language))  # worker processes are told by it
    try:
        with speaking(kept.language):
            answer = await desk.ask("advice", bytes(kept.question))
    finally:
        ABOUT.reset(about)
    if answer.status == 200:
        if answer.body == bytes(kept.advice):
            return False
        kept.advice = Raw(answer.body)
        return await hub.publish(channel, msgspec.json.encode(kept), entry.mark) is not None
    if answer.status < 500:
        await hub.withdraw(entry)
    return answer.status < 500

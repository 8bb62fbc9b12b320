"""Replay: one option of mine against one of theirs shown frame by frame, with the verdict and its proof."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.advice.proof import against
from advisor.advice.wording import fitted, property_name, setting
from advisor.errors import AdvisorError, QuestionError
from advisor.facts import Pair, Ready, Situation, ready, settle
from advisor.facts.question import Asked, Explain, Id, KnockedDown
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.rules.wording import word_said
from advisor.sentences import in_words, say
from advisor.studies.coverage_cells import Grid, Timed
from advisor.studies.replay_answer import Acting, Contacted, Event, ReplayAnswer
from advisor.studies.replay_events import MISSES, certain_end, events_of
from advisor.studies.replay_frames import Strip
from advisor.studies.study import Study
from advisor.studies.weighing import Weigher, pack_ref
from advisor.timeline.exchange import Exchange
from advisor.timeline.side import Side
from advisor.units import FOREVER, from_micro

__all__ = ["STUDY", "Replay", "replay"]


class Replay(Asked, kw_only=True, forbid_unknown_fields=True):
    """What happens, frame by frame, when I take this option and they take that one?"""

    option: Annotated[Id, Meta(description="My option, as advice lists it; `id@n` is a follow-up delayed to frame n.")]
    reply: Annotated[Id, Meta(description="Theirs.")]
    delay: Annotated[
        int,
        Meta(ge=0, le=120, description="Frames by which I begin late; by which they do when I am on the floor."),
    ] = 0
    frames: Annotated[int, Meta(ge=1, le=600, description="Most frames to show, from common frame 1.")] = 200
    explain: Annotated[
        Explain,
        Meta(description="How much of the proof to give: none, brief (reasons as sentences), full (with their facts)."),
    ] = "full"


def replay(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: Replay) -> ReplayAnswer:
    """The exchange of ``option`` and ``reply`` frame by frame.

    Errors: ``QuestionError`` and ``Unanswerable``, see ``advisor.facts.settle``; ``QuestionError`` for
    a ``delay`` of a follow-up, which has its own timing.
    """
    situation = _settled(pack, request)
    mine, theirs = (side[0] for side in ready(situation)[:2])
    floored = isinstance(request.moment, KnockedDown) and request.moment.floored == "me"
    late = "them" if floored or situation.free.me_held == "knockdown" else "me"
    pair = _pair(situation, mine, theirs, late, request.delay)
    weigher = Weigher(situation, rules, evaluator)
    (judged,) = weigher.judge([pair])
    why = weigher.why(pair, judged)[1]
    strip = None
    if pair.me is not None and pair.them is not None and pair.exchange is not None:
        strip = Strip(situation, pair, pair.me, pair.them, pair.exchange)
    last = certain_end(strip, strip.last()) if strip else 0
    shown = min(last, request.frames)
    events = events_of(strip, last) if strip else []
    hangs = {*weigher.missing([pair], [judged]), *(strip.missing(pair.missing) if strip else ())}
    return ReplayAnswer(
        summary=_summary(mine, theirs, pair, events, sorted(hangs)),
        situation=setting(situation, [theirs.entry.key]),
        me=_acting(situation.me.name, mine, pair.me),
        them=_acting(situation.them.name, theirs, pair.them),
        delayed=late,
        delay=request.delay,
        contact=_contacted(pair.exchange),
        frames=[strip.at(frame) for frame in range(1, shown + 1)] if strip else [],
        cut=shown < last,
        events=[event for event in events if event.frame <= shown],
        result=against(situation, weigher.record, pair, judged, rules, False, request.explain),
        sentence=why,
        hangs_on=sorted(hangs),
        cautions=[*CAUTIONS, *situation.assumed, *_needs(mine)],
        pack=pack_ref(pack, rules, evaluator),
    )


def _settled(pack: Pack, request: Replay) -> Situation:
    """The situation with one option on either side. Errors: as ``settle``, with the pointers of this request."""
    question = request.question(responses=[request.option], replies=[request.reply])
    try:
        return settle(pack, question)
    except AdvisorError as error:
        places = {"/responses/0": "/option", "/replies/0": "/reply"}
        error.pointer = places.get(error.pointer, error.pointer)
        raise


def _pair(situation: Situation, mine: Ready, theirs: Ready, late: str, delay: int) -> Pair:
    """The exchange with one side late. Errors: ``QuestionError`` for a follow-up that is to be late."""
    timed = mine if late == "me" else theirs
    if delay and timed.entry.follows:
        raise QuestionError(
            "question-impossible", f"`{timed.entry.key}` is a follow-up, which has its own timing",
            help="leave `delay` out, or name a delayed follow-up as `id@n`", pointer="/delay",
        )  # fmt: skip
    return Grid(situation, delay, late).pair(Timed(mine=mine, theirs=theirs, pieces=[]), delay)


def _acting(character: str, ready: Ready, side: Side | None) -> Acting:
    over = side.over() if side else None
    return Acting(
        character=character, option=ready.entry.key, name=ready.entry.name, kind=ready.entry.move.kind,
        held=side.held if side else "none", held_until=max(0, side.free_at) if side else None,
        begins=side.begins + 1 if side else None, over=None if over is None or over >= FOREVER else over,
    )  # fmt: skip


def _contacted(exchange: Exchange | None) -> Contacted:
    if exchange is None:
        return Contacted(
            by="unknown", effect="unknown", frame=None, hit=None, posture=None, phase=None, distance=None,
            breakable=None,
        )  # fmt: skip
    touch = {"me": exchange.mine, "them": exchange.theirs}.get(exchange.by)
    away = touch.distance if touch else None
    return Contacted(
        by=exchange.by, effect=exchange.effect, frame=exchange.frame, hit=touch.hit + 1 if touch else None,
        posture=exchange.posture, phase=exchange.phase, distance=None if away is None else from_micro(away),
        breakable=exchange.breakable,
    )  # fmt: skip


def _needs(mine: Ready) -> list[str]:
    unmet = ", ".join(mine.entry.unmet)
    return [say("{entry} needs {unmet}.", entry=mine.entry.name, unmet=unmet)] if unmet else []


def _summary(mine: Ready, theirs: Ready, pair: Pair, events: list[Event], hangs: list[Missing]) -> str:
    """The deciding event in one line; else what it hangs on."""
    exchange = pair.exchange
    if exchange is not None and exchange.decided:
        wanted = MISSES if exchange.by == "none" else (exchange.effect,)
        said = next((e for e in events if e.kind in wanted), None)
        if said is not None:
            return fitted(say("{sentence} (frame {frame})", sentence=said.sentence, frame=said.frame))
        if exchange.by == "none":
            return fitted(say("Neither {mine} nor {theirs} touches", mine=mine.entry.name, theirs=theirs.entry.name))
        effect = word_said(exchange.effect)
        if exchange.by == "me":
            return fitted(say("{effect} by me, on a frame that is not known", effect=effect))
        if exchange.by == "them":
            return fitted(say("{effect} by them, on a frame that is not known", effect=effect))
        return fitted(say("{effect} by both, on a frame that is not known", effect=effect))
    names = ", ".join(property_name(m) for m in hangs) or in_words("no rule decides it")
    values = {"mine": mine.entry.name, "theirs": theirs.entry.name, "names": names}
    return fitted(say("{mine} against {theirs} is open: {names}", **values))


STUDY = Study(
    name="replay",
    request=Replay,
    answer=ReplayAnswer,
    run=replay,
    summary="An exchange frame by frame",
    description=(
        "One option of mine against one of theirs, begun as late as you say: for each side and frame its phase, "
        "posture and windows, the distance, what happens, and the verdict of the rules with its proof. Also as a "
        "picture."
    ),
    example={
        "me": {"character": "wenna"}, "them": {"character": "marl"},
        "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"}, "distance": "touching",
        "option": "putty_jab", "reply": "guard", "frames": 40,
    },
)

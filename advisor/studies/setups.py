"""The study ``setups``: sequences of own actions that use up a knockdown's frames.

Every action begins as soon as the one before is over, so nothing has to be timed by hand. What counts:
nothing touches before the last action begins, and that one wins (by the rules) while their wake-up
option runs: before it they lie on the ground, once it is over they may do anything. The distance
changes with every action, and is never less than 0.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import islice

from msgspec import Struct

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.advice.wording import fitted, listed
from advisor.errors import QuestionError
from advisor.facts import Entry, Question, Situation, settle
from advisor.facts.lookup import no_option
from advisor.facts.question import KnockedDown
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.setups_judge import Jury
from advisor.studies.setups_model import Met, Setup, Setups, SetupsRequest
from advisor.studies.setups_search import Group, Progress, Search
from advisor.studies.setups_tables import Actor, Target, lacks
from advisor.studies.study import Study
from advisor.studies.weighing import pack_ref
from advisor.units import FOREVER, Span, from_micro

__all__ = ["STUDY", "Setup", "Setups", "SetupsRequest", "setups"]

POOL = 3
"""How many times ``limit`` sequences are judged by the rules before the best are listed."""


class _Cast(Struct, kw_only=True):
    """What may be used: fillers, last actions, replies; and what may not, with the reason."""

    fillers: list[Entry]
    lasts: list[Entry]
    replies: list[Entry]
    left_out: dict[str, str]
    missing: dict[Missing, int]


def setups(
    pack: Pack,
    rules: RuleSet,
    evaluator: Evaluator,
    request: SetupsRequest,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> Setups:
    """Sequences ranked by wake-up options covered, then width, then damage, then fewer actions.

    ``progress`` is told the work done and how much is known of so far, ``cancelled`` is asked as often.
    Errors: ``QuestionError`` for a moment that is no knockdown of theirs, ``Unanswerable`` for unknown ids;
    ``Cancelled``.
    """
    situation = _settled(pack, request)
    cast = _cast(pack, request, situation)
    answer = _blank(pack, rules, evaluator, request, situation, cast)
    frames = situation.free.them_free
    if situation.distance is None or frames is None or not cast.replies:
        wanted = sorted(situation.missing | ({"distance"} if situation.distance is None else set()))
        move = situation.move.id if situation.move else ""
        named = [Missing(move=move if "moment." in w else "", property=w.removeprefix("moment.")) for w in wanted]
        answer.missing = [*named, *answer.missing]
        answer.summary = fitted(say(
            "Unknown: it hangs on {named}",
            named=', '.join(m.property.replace('_', ' ') for m in named),
        ))
        return answer
    search = _search(request, situation, cast, frames, _stoppable(progress, cancelled))
    jury = Jury(situation, situation.replies, rules, evaluator, ground=request.ground)
    answer.setups = _listed(request, search, cast, jury)
    answer.by_coverage = {str(n): search.counts[n] for n in sorted(search.counts, reverse=True)}
    answer.found = sum(ways for n, ways in search.counts.items() if n >= request.at_least)
    answer.complete, answer.work = search.complete, search.work
    counts = {**cast.missing}
    for missing, number in jury.missing.items():
        counts[missing] = counts.get(missing, 0) + number
    answer.missing = sorted(counts, key=lambda m: (-counts[m], m))
    answer.summary = _summary(answer)
    return answer


def _stoppable(progress: Progress | None, cancelled: Callable[[], bool] | None) -> Progress | None:
    """The progress callback, which also ends the search once ``cancelled()`` says so."""
    if cancelled is None:
        return progress

    def told(done: int, known: int) -> None:
        if cancelled():
            # here, since the solver's libraries are heavy and a search needs none of them
            from advisor.solver.round import Cancelled

            raise Cancelled(f"stopped after {done} steps")
        if progress is not None:
            progress(done, known)

    return told


def _refuse(pack: Pack, request: SetupsRequest) -> None:
    """Errors: those of ``setups``, without the search."""
    _cast(pack, request, _settled(pack, request))


def _settled(pack: Pack, request: SetupsRequest) -> Situation:
    moment = request.moment
    mine = moment.floored == "them" if isinstance(moment, KnockedDown) else moment.attacker == "me"
    if not mine:
        raise QuestionError(
            "question-impossible", "it is you who lies on the ground",
            help="ask `coverage` for your own wake-up options",
            pointer="/moment/floored" if isinstance(moment, KnockedDown) else "/moment/attacker",
        )
    if isinstance(moment, KnockedDown) and moment.frames < 0:
        raise QuestionError(
            "question-impossible", f"they can act {-moment.frames} frames before you, so there are none to use up",
            help="`frames` of 0 or more", pointer="/moment/frames",
        )
    situation = settle(
        pack,
        Question(
            me=request.me, them=request.them, moment=moment, pack=request.pack, distance=request.distance,
            floor_breaks=request.floor_breaks, replies=request.replies or None,
        ),
    )
    down = isinstance(moment, KnockedDown) or situation.free.them_held == "knockdown"
    if not down and situation.advantage is not None and situation.knockdown is not None:
        raise QuestionError(
            "question-impossible", f"`{situation.move.id if situation.move else ''}` does not knock down there",
            help="name a move that leaves a knockdown state, or the state itself", pointer="/moment/move",
        )
    return situation


def _cast(pack: Pack, request: SetupsRequest, situation: Situation) -> _Cast:
    """Sort the options into what can be used and what cannot."""
    cast = _Cast(fillers=[], lasts=[], replies=[], left_out=dict(situation.excluded), missing={})
    every = {e.key: e for e in situation.responses if not e.follows}
    for entry in _chosen(pack, situation, request.actions, every, "/actions"):
        reason = _unfit(entry)
        lack = lacks(entry.move)
        if reason is None and lack is None:
            cast.fillers.append(entry)
        elif reason is None and lack is not None:
            _leave_out(cast, entry, lack)
        elif request.actions is not None or entry.move.kind in ("movement", "parry"):
            cast.left_out[entry.key] = reason or ""
    for entry in _chosen(pack, situation, request.last, every, "/last"):
        lack = lacks(entry.move)
        if request.last is None and entry.move.kind != "attack":
            continue
        if entry.move.kind not in ("attack", "parry"):
            raise QuestionError(
                "question-impossible", f"`{entry.key}` meets nothing: it has no active window and no parry",
                help="name an attack or a parry", pointer=f"/last/{(request.last or []).index(entry.key)}",
            )
        if lack is None:
            cast.lasts.append(entry)
        else:
            _leave_out(cast, entry, lack)
    for entry in situation.replies:
        lack = lacks(entry.move)
        if lack is None and (entry.move.total or FOREVER) < FOREVER:
            cast.replies.append(entry)
        elif lack is not None:
            cast.missing[Missing(move=entry.move.id, property=lack)] = 1
    return cast


def _unfit(entry: Entry) -> str | None:
    """Why an option cannot stand before the last action; None when it can."""
    move = entry.move
    if move.kind == "guard":
        return in_words("a guard is held, it uses up nothing by itself")
    if move.total is not None and move.total >= FOREVER:
        return in_words("it lasts as long as it is held")
    if move.cost:
        return say("it costs {cost} meter", cost=move.cost)
    if entry.unmet:
        return say("it needs {unmet}", unmet=listed(list(entry.unmet)))
    return None


def _leave_out(cast: _Cast, entry: Entry, lack: str) -> None:
    cast.left_out[entry.key] = say("its {lack} is not recorded", lack=lack.replace('_', ' '))
    missing = Missing(move=entry.move.id, property=lack)
    cast.missing[missing] = cast.missing.get(missing, 0) + 1


def _chosen(
    pack: Pack, situation: Situation, ids: list[str] | None, every: dict[str, Entry], pointer: str
) -> list[Entry]:
    """The options that were named, or all. Errors: ``Unanswerable`` for an id that is none of mine."""
    if ids is None:
        return list(every.values())
    known = {**pack.system, **situation.me.moves}
    for i, key in enumerate(ids):
        if key not in known:
            raise no_option(pack, situation.me, key, known, f"{pointer}/{i}")
    excluded = dict(situation.excluded)
    return [
        every.get(key)
        or Entry(
            move=known[key], key=key, name=known[key].name, unmet=(excluded[key],) if key in excluded else ()
        )
        for key in dict.fromkeys(ids)
    ]


def _search(
    request: SetupsRequest, situation: Situation, cast: _Cast, frames: int, progress: Progress | None
) -> Search:
    conventions = situation.pack.conventions
    most = frames + max(entry.move.total or 0 for entry in cast.replies)
    fillers = [Actor(conventions, entry.move) for entry in cast.fillers]
    lasts = [Actor(conventions, entry.move) for entry in cast.lasts]
    end = most + max((a.total for a in (*fillers, *lasts)), default=0) + 1
    sides = [situation.side(entry, False, situation.free) for entry in cast.replies]
    targets = [Target(conventions, side, end, ground=request.ground) for side in sides if side is not None]
    assert situation.distance is not None
    search = Search(
        fillers, lasts, targets, distance=situation.distance, most=most, length=request.length,
        bound=request.bound, progress=progress,
    )
    search.run()
    return search


def _ranked(search: Search, at_least: int, full: set[int]) -> Iterator[tuple[Group, Span]]:
    """Groups in order of replies covered, width, damage, fewer actions; none that ends with one of ``full``."""
    for count in sorted(search.counts, reverse=True):
        if count < at_least or len(full) == len(search.lasts):
            return
        groups = [(group, search.window(group)) for group in search.groups(count) if group.last not in full]
        groups.sort(key=lambda pair: _order(search, *pair))
        yield from groups


def _order(search: Search, group: Group, window: Span) -> tuple[float, ...]:
    hits = search.lasts[group.last].move.hits
    damage = hits[0].damage if hits else None
    return (-len(window), -(damage or 0.0), group.actions, group.last, *group.state)


def _listed(request: SetupsRequest, search: Search, cast: _Cast, jury: Jury) -> list[Setup]:
    """The best sequences, judged by the rules and put in order by what the rules say."""
    found: list[Setup] = []
    taken: dict[int, int] = {}
    full: set[int] = set()
    for group, window in _ranked(search, request.at_least, full):
        if group.last in full:
            continue
        room = request.limit * POOL - len(found)
        if request.each is not None:
            room = min(room, request.each - taken.get(group.last, 0))
        before = len(found)
        for fillers in islice(search.sequences(group), room):
            sequence = [*(cast.fillers[i] for i in fillers), cast.lasts[group.last]]
            setup = _setup(sequence, group, window, jury)
            if setup.covered >= request.at_least:
                found.append(setup)
        taken[group.last] = taken.get(group.last, 0) + len(found) - before
        if request.each is not None and taken[group.last] >= request.each:
            full.add(group.last)
        if len(found) >= request.limit * POOL:
            break
    found.sort(key=lambda s: (-s.covered, -s.width, -(s.damage or 0.0), len(s.actions)))
    return found[: request.limit]


def _setup(sequence: Sequence[Entry], group: Group, window: Span, jury: Jury) -> Setup:
    against = jury.weigh(sequence)
    used, distance, _ = group.state
    move = sequence[-1].move
    first = move.hits[0].first_active if move.hits else None
    got = [met for met in against if met.covered]
    dealt = [met.dealt for met in got]
    known = [d for d in dealt if d is not None]
    return Setup(
        actions=[entry.key for entry in sequence],
        names=[entry.name for entry in sequence],
        used=used,
        distance=from_micro(distance),
        touches_from=None if first is None else used + first,
        covered=len(got),
        of=len(against),
        width=len(window),
        window=(window.start, window.stop - 1),
        damage=min(known) if known and len(known) == len(dealt) else None,
        needs=list(sequence[-1].unmet),
        loses_to=[met.name for met in against if met.verdict == "loses"],
        sentence=_sentence(sequence, used, window, against),
        against=against,
    )


def _sentence(sequence: Sequence[Entry], used: int, window: Span, against: Sequence[Met]) -> str:
    got = sum(met.covered for met in against)
    *before, last = [entry.name for entry in sequence]
    if not before:
        start = say("{last}, begun at once,", last=last)
    elif len(before) == 1:
        start = say("{before} uses up {used} frames; {last}", before=before[0], used=used, last=last)
    else:
        start = say("{before} use up {used} frames; {last}", before=", ".join(before), used=used, last=last)
    rest = [met.name for met in against if not met.covered]
    tail = say(", not {rest}", rest=listed(rest)) if rest else ""
    return say(
        "{start} covers {got} of {count}{tail}; the same from {window} frames.",
        start=start, got=got, count=len(against), tail=tail, window=window.shown(),
    )


def _blank(
    pack: Pack, rules: RuleSet, evaluator: Evaluator, request: SetupsRequest, situation: Situation, cast: _Cast
) -> Setups:
    """The answer before anything is found."""
    frames, unit = situation.free.them_free, pack.conventions.distance_unit
    state = situation.knockdown.replace("_", " ") if situation.knockdown else in_words("unknown")
    away = in_words("an unknown distance")
    if situation.distance is not None:
        away = f"{from_micro(situation.distance):g} {unit}"
    left = in_words("an unknown number of") if frames is None else str(frames)
    return Setups(
        summary=in_words("Nothing covers a wake-up option."),
        sentence=say(
            "{them} lies on the floor ({state}): {left} frames to use up, at {away}.",
            them=situation.them.name, state=state, left=left, away=away,
        ),
        knockdown=situation.knockdown,
        frames=frames,
        distance=None if situation.distance is None else from_micro(situation.distance),
        unit=unit,
        replies=[entry.key for entry in situation.replies],
        setups=[],
        found=0,
        by_coverage={},
        complete=True,
        work=0,
        bound=request.bound,
        left_out=cast.left_out,
        missing=sorted(cast.missing, key=lambda m: (-cast.missing[m], m)),
        cautions=[*CAUTIONS, *situation.assumed],
        pack=pack_ref(pack, rules, evaluator),
    )


def _summary(answer: Setups) -> str:
    if not answer.setups:
        return answer.summary
    best = answer.setups[0]
    return fitted(say(
        "{names}: covers {covered} of {of}, width {width}",
        names=', '.join(best.names), covered=best.covered, of=best.of, width=best.width,
    ))


STUDY = Study(
    name="setups",
    request=SetupsRequest,
    answer=Setups,
    run=setups,
    long=setups,
    check=_refuse,
    summary="Auto-timed pressure after a knockdown",
    description=(
        "Sequences of own actions that use up a knockdown's frames, so that the last one meets wake-up options with "
        "no delay by hand: all up to a length, ranked by options covered, then width, damage, fewer actions."
    ),
    example={
        "me": {"character": "marl"},
        "them": {"character": "wenna"},
        "moment": {"kind": "knockdown", "floored": "them", "state": "face_up", "frames": 30},
        "distance": "close",
        "length": 3,
        "each": 3,
        "limit": 5,
    },
)

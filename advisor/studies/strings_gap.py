"""One step of a string: whether it jails, and what fits in its gap."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec
from msgspec import Struct

from advisor.advice import Evaluator
from advisor.advice.answer import Missing
from advisor.facts import Entry, Pair, Question, Ready, Situation, pair_of, settle
from advisor.facts.question import Blocked, CounterHit, Fighter, HitLanded
from advisor.pack.model import Conventions, Guard, Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, mark, say
from advisor.studies.strings_answer import Fit, StringLink, Word
from advisor.studies.strings_paths import Link
from advisor.studies.weighing import STANDS, FrameRun, Weigher, runs_of, tags_of
from advisor.units import FOREVER, Span, from_micro
from advisor.verdicts import Judged

__all__ = ["MOST_ARRIVALS", "Step", "guard_move", "link_of", "step_of"]

MOST_ARRIVALS = 40
MOST_DELAY = 40
_MOMENTS: dict[str, type[Blocked] | type[HitLanded] | type[CounterHit]] = {
    "block": Blocked, "hit": HitLanded, "counter_hit": CounterHit,
}
_STRUCK = ("hit", "counter_hit", "blocked")
WORDS = (
    mark("unknown"), mark("misses"), mark("gap"), mark("jails"), mark("combos"), mark("jails_or_gap"),
    mark("combos_or_gap"),
)  # fmt: skip
"""What a step of a string is, in a word."""


def guard_move(conventions: Conventions, guards: Iterable[str], id: str = "guard", name: str | None = None) -> Move:
    """A held guard made of nothing but ``guards`` of the pack, in the posture of the first that is not standing."""
    kept = frozenset(guards)
    held = Span(1, FOREVER)
    low = bool(kept) and all(conventions.guards[g] == "crouching" for g in kept)
    return Move(
        id=id, name=name or in_words("Guard"), kind="guard", total=FOREVER, guard=(Guard(span=held, guards=kept),),
        airborne=(), crouching=(held,) if low else (), grounded=(), invulnerable=(), armour=(), parry=(),
        sidestep=(), displacement=(), counter_state=(),
    )


class Step(Struct, kw_only=True):
    """A link on one result of the hit before it, ready to be weighed.

    ``arrivals`` are the next hit's entries, one for each frame on which it can arrive; ``guarded`` is
    each of them against a guard, ``verdicts`` what the rules say of that.
    """

    link: Link
    on: str
    situation: Situation
    weigher: Weigher
    arrivals: list[Ready]
    guarded: list[Pair]
    verdicts: list[Judged]

    def gaps(self) -> list[int | None]:
        """The gap of each arrival, frames; None when unknown."""
        return [gap if isinstance(gap := p.record.get("exchange.gap"), int) else None for p in self.guarded]

    def open_arrivals(self) -> list[int]:
        """Places of the arrivals that leave a gap and touch (or may touch) somebody who guards."""
        out = []
        for i, (gap, pair) in enumerate(zip(self.gaps(), self.guarded, strict=True)):
            never = pair.exchange is not None and pair.exchange.decided and pair.exchange.by == "none"
            if gap is not None and gap >= 0 and not never:
                out.append(i)
        return out

    def delays(self, place: int) -> range:
        """Delays after the stun that can matter against an arrival: an option begun later meets it too late."""
        gap = self.gaps()[place] or 0
        hits = self.arrivals[place].entry.move.hits
        first, stop = hits[0].first_active, hits[-1].active_stop
        active = stop - first if first is not None and stop is not None else 1
        return range(min(MOST_DELAY, max(0, gap) + active))


def step_of(
    pack: Pack,
    rules: RuleSet,
    evaluator: Evaluator,
    link: Link,
    on: str,
    owner: str,
    facing: Fighter,
    distance: float | str | None,
    responses: list[str] | None,
) -> Step:
    """The situation after the hit before the link, and the next hit on every frame on which it can come.

    Errors: as ``settle``.
    """
    moment = _MOMENTS[on](attacker="them", move=link.parent.id)
    asked = Question(
        me=facing, them=Fighter(character=owner), moment=moment, distance=distance, replies="key", responses=responses
    )
    situation = settle(pack, asked)
    weigher = Weigher(situation, rules, evaluator)
    found = [e for e in situation.replies if e.follows and e.move is link.move]
    ready = [Ready(situation, entry, "theirs") for entry in _every_arrival(found)]
    guard = Ready(situation, _entry(guard_move(pack.conventions, pack.conventions.guards)), "mine")
    guarded = [pair_of(situation, guard, each) for each in ready]
    return Step(
        link=link, on=on, situation=situation, weigher=weigher, arrivals=ready, guarded=guarded,
        verdicts=weigher.judge(guarded),
    )


def _entry(move: Move) -> Entry:
    return Entry(move=move, key=move.id, name=move.name)


def _every_arrival(found: Sequence[Entry]) -> list[Entry]:
    """The follow-up on each frame from its earliest to its latest arrival."""
    first, last = found[0], found[-1]
    if first.arrives is None or last.arrives is None:
        return [first]
    stop = min(last.arrives, first.arrives + MOST_ARRIVALS - 1) + 1
    return [
        msgspec.structs.replace(first, arrives=n, key=first.key if n == first.arrives else f"{first.move.id}@{n}")
        for n in range(first.arrives, stop)
    ]


def link_of(step: Step, limit: int, *, fits: bool) -> StringLink:
    """The step in words, and with ``fits`` at most ``limit`` options that fit in its gap."""
    gaps = [gap for gap in step.gaps() if gap is not None]
    word, (rule, sentence) = _word(step, gaps), _sentence(step, gaps)
    found, count, weighed = _fits(step) if fits else ([], 0, 0)
    pair = step.guarded[0]
    open_ = pair.missing if pair.exchange is None else frozenset()
    hangs = step.weigher.missing([pair], [step.verdicts[0]]) if open_ else []
    arrives = [r.entry.arrives for r in step.arrivals if r.entry.arrives is not None]
    distance = step.situation.distance
    return StringLink(
        after=[m.id for m in step.link.path],
        move=step.link.move.id,
        name=step.link.move.name,
        on=step.on,  # type: ignore[arg-type]
        word=word,
        arrives=FrameRun(first=arrives[0], last=arrives[-1]) if arrives else None,
        stun=step.situation.stun,
        gap=FrameRun(first=gaps[0], last=gaps[-1]) if gaps else None,
        distance=None if distance is None else from_micro(distance),
        sentence=sentence,
        rule=rule,
        quickest=_quickest(step, found),
        fits=found[:limit],
        fitting=count,
        weighed=weighed,
        hangs_on=_unique([*hangs, *(m for fit in found for m in fit.hangs_on)]),
    )


def _unique(missing: Iterable[Missing]) -> list[Missing]:
    return sorted(set(missing))


def _never(pairs: Sequence[Pair]) -> bool:
    return all(p.exchange is not None and p.exchange.decided and p.exchange.by == "none" for p in pairs)


def _word(step: Step, gaps: list[int]) -> Word:
    """The rules say which arrivals jail (tag); a run of arrivals that do and do not is one of both."""
    if not gaps:
        return "unknown"
    if _never(step.guarded):
        return "misses"
    inside = ["jails" in tags_of(judged) for judged in step.verdicts]
    if not any(inside):
        return "gap"
    if step.on == "block":
        return "jails" if all(inside) else "jails_or_gap"
    return "combos" if all(inside) else "combos_or_gap"


def _sentence(step: Step, gaps: list[int]) -> tuple[str, str]:
    """The rule that tells of the earliest arrival, and the step in words by the numbers of the hits."""
    pair, judged = step.guarded[0], step.verdicts[0]
    if not gaps:
        return step.weigher.why(pair, judged)
    if _never(step.guarded):
        for tag in ("out_of_range", "jumps_over", "crouches_under", "invulnerable", "sidesteps"):
            rule, sentence = step.weigher.said_by(tag, pair, judged)
            if rule:
                return rule, sentence
        return "", say("{move} does not touch there.", move=step.link.move.name)
    for tag in ("jails", "gap", "no_gap"):
        rule, sentence = step.weigher.said_by(tag, pair, judged)
        if rule:
            break
    if step.arrivals[0].entry.arrives is not None:
        timed = _timed(step, tag, gaps)
        sentence = say("{move} (hit {hit}) arrives {timed}", move=step.link.move.name, hit=_number(step), timed=timed)
    if gaps[-1] > gaps[0] and gaps[-1] >= 0:
        sentence += say(" Delayed, it leaves a gap of up to {gaps}.", gaps=gaps[-1])
    elif gaps[-1] > gaps[0]:
        sentence += in_words(" So it does delayed.")
    return rule, sentence


def _number(step: Step) -> int:
    """Which hit of the string the next one is, each move counted once."""
    return len(step.link.path) + 1


def _timed(step: Step, tag: str, gaps: list[int]) -> str:
    """When the next hit comes, and what that makes of it and the hit before."""
    next_, before = _number(step), _number(step) - 1
    text = say("{arrives} frames after hit {before}", arrives=step.arrivals[0].entry.arrives, before=before)
    if tag == "jails":
        values = {"said": text, "before": before, "next": next_}
        if step.on == "block":
            return say("{said}, inside the stun: hit {before} and hit {next} jail.", **values)
        return say("{said}, inside the stun: hit {before} and hit {next} combo.", **values)
    if tag == "no_gap":
        return say("{said}, on the first frame after the stun: a gap of 0.", said=text)
    return say("{said}: a gap of {gaps}.", said=text, gaps=gaps[0])


class _Tried(Struct):
    """One option against one arrival, begun on one delay."""

    option: Ready
    place: int
    delay: int
    pair: Pair


def _fits(step: Step) -> tuple[list[Fit], int, int]:
    """Every option of the facing side that does more in the gap than be hit or blocked in it, best first."""
    places = step.open_arrivals()
    if step.situation.contact is None or not places:
        return [], 0, 0
    options = [Ready(step.situation, entry, "mine") for entry in step.situation.responses]
    tried = [
        _Tried(option, place, delay, pair)
        for option in options
        for place in places
        for delay in step.delays(place)
        if _does_something(pair := pair_of(step.situation, option, step.arrivals[place], delay))
    ]
    judged = step.weigher.judge([t.pair for t in tried])
    groups: dict[str, list[tuple[_Tried, Judged]]] = {}
    for one, verdict in zip(tried, judged, strict=True):
        groups.setdefault(one.option.entry.key, []).append((one, verdict))
    fits = [fit for group in groups.values() if (fit := _fit(step, places, group)) is not None]
    order = list(step.weigher.rules.vocabulary.verdicts)
    fits.sort(key=lambda f: (order.index(f.verdict), -_covered(f.against_all), -_covered(f.delays), -(f.damage or 0)))
    return fits, len(fits), len(options)


def _covered(runs: Sequence[FrameRun]) -> int:
    return sum(run.width for run in runs)


def _does_something(pair: Pair) -> bool:
    """Whether the exchange is anything but their hit being blocked or landing on an option that does nothing."""
    exchange = pair.exchange
    if exchange is None or not exchange.decided:
        return True
    return not (exchange.by == "them" and exchange.effect in _STRUCK)


def _fit(step: Step, places: list[int], group: list[tuple[_Tried, Judged]]) -> Fit | None:
    """One option over arrivals and delays; None when it works nowhere and nothing is unknown."""
    order = list(step.weigher.rules.vocabulary.verdicts)
    stands = [(t, j) for t, j in group if j.verdict in STANDS]
    listed = stands or [(t, j) for t, j in group if j.verdict not in ("loses", "risky")]
    if not listed:
        return None
    best, verdict = min(listed, key=lambda tj: (order.index(tj[1].verdict), tj[0].place, tj[0].delay))
    works = {place: {t.delay for t, _ in listed if t.place == place} for place in places}
    common = set.intersection(*works.values())
    rule, sentence = step.weigher.why(best.pair, verdict)
    arrives = [a for p in places if works[p] and (a := step.arrivals[p].entry.arrives) is not None]
    outcome = best.pair.outcome
    entry = best.option.entry
    return Fit(
        option=entry.key,
        name=entry.name,
        kind=entry.move.kind,
        verdict=verdict.verdict,
        tags=tags_of(verdict),
        damage=outcome.dealt if outcome else None,
        arrives=runs_of(arrives),
        delays=runs_of(next(works[place] for place in places if works[place])),
        against_all=runs_of(common),
        sentence=sentence,
        rule=rule,
        hangs_on=step.weigher.missing([best.pair], [verdict]) if verdict.verdict == "unknown" else [],
    )


def _quickest(step: Step, fits: Sequence[Fit]) -> str | None:
    """The fastest attack that interrupts."""
    speed = {e.key: e.move.hits[0].first_active for e in step.situation.responses if e.move.hits}
    ready = [(first, f.option) for f in fits if "interrupt" in f.tags and (first := speed.get(f.option)) is not None]
    return min(ready)[1] if ready else None

"""The study ``baits``: own moves that leave me where their natural reply runs into an option of mine.

What looks punishable: a player reads how long a move goes on after the contact, and takes the usual
blockstun for granted. ``looks = usual + 1 - active - recovery``, ``usual`` being the median blockstun of
the pack's moves; a user who is in the air on contact still has to land, which the eye adds on top
(``in_the_air``, 2 frames unless said). Common practice, no published source. What they try: their
quickest strikes that reach, all that are fast enough for what it looks like, and their key strikes.
"""

from __future__ import annotations

from collections.abc import Iterator
from statistics import median_low

from msgspec import Struct

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.advice.wording import fitted, listed
from advisor.errors import Unanswerable, did_you_mean
from advisor.facts import Entry, Pair, Question, Ready, Situation, pair_of, settle
from advisor.facts.question import Blocked, Neutral, Whiffed
from advisor.pack.model import Character, Hit, Move, Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.baits_model import Bait, Baits, BaitsRequest, Result, Tried
from advisor.studies.baits_window import arrivals, my_delays
from advisor.studies.study import Study
from advisor.studies.weighing import Weigher, pack_ref, tags_of
from advisor.timeline.body import holds
from advisor.units import from_micro
from advisor.verdicts import Judged

__all__ = ["STUDY", "Bait", "Baits", "BaitsRequest", "Tried", "baits", "looks_like", "usual_blockstun"]

TAG = "bait"
MOST_FAST = 6
"""Strikes that only look fast enough: no more of them than this, the quickest first."""
EVASIVE = ("parry", "invulnerable", "armour", "sidestep", "airborne", "crouching")


class _Found(Struct, kw_only=True):
    """What has been gathered on the way."""

    baits: list[tuple[Bait, Situation, list[Pair]]]
    skipped: dict[str, str]
    missing: dict[Missing, int]
    assumed: dict[str, None]
    considered: int = 0

    def lack(self, missing: Missing) -> None:
        self.missing[missing] = self.missing.get(missing, 0) + 1


def usual_blockstun(pack: Pack) -> int | None:
    """The median blockstun of the pack's moves, frames (the lower of two); None when none is known."""
    known = [
        m.hits[0].blockstun
        for c in pack.characters.values()
        for m in c.moves.values()
        if m.hits and m.hits[0].blockstun is not None
    ]
    return median_low(known) if known else None


def looks_like(move: Move, usual: int | None, in_the_air: int) -> int | None:
    """The advantage on block that a move seems to leave, frames; None when its duration is unknown.

    ``usual + 1 - active - recovery`` of its last hit, all that follows the first active frame being active
    or recovery, less ``in_the_air`` when its user is in the air on contact.
    """
    first = move.hits[-1].first_active if move.hits else None
    if usual is None or first is None or move.total is None:
        return None
    return usual - (move.total - first) - (in_the_air if holds(move.airborne, first) else 0)


def baits(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: BaitsRequest) -> Baits:
    """Own moves as baits, ranked.

    Errors: ``Unanswerable`` for unknown ids, ``QuestionError`` as ``settle`` has them.
    """
    answers, replies = _options(pack, request)
    me = pack.characters[request.me.character]
    usual = request.usual_blockstun if request.usual_blockstun is not None else usual_blockstun(pack)
    found = _Found(baits=[], skipped={}, missing={}, assumed={})
    for move in _moves(pack, request, me):
        if not move.hits or move.wakes_from:
            found.skipped[move.id] = in_words(
                "it is a wake-up option"
            ) if move.wakes_from else in_words("it is not an attack")
            continue
        for result in dict.fromkeys(request.results):
            stage = _Stage(
                situation=_settled(pack, request, move, result), move=move, result=result,
                looks=looks_like(move, usual, request.in_the_air) if result == "blocked" else None,
            )
            _weigh(stage, answers, replies, Weigher(stage.situation, rules, evaluator), request.eager, found)
    found.baits.sort(key=lambda each: _order(each[0]))
    for bait, situation, pairs in found.baits[: request.limit]:
        for tried, pair in zip(bait.tries, pairs, strict=True):
            if tried.caught:
                tried.frames, tried.delays = arrivals(situation, pair), my_delays(situation, pair)
    shown = [bait for bait, _, _ in found.baits[: request.limit]]
    return Baits(
        summary=_summary(shown),
        unit=pack.conventions.distance_unit,
        usual_blockstun=usual,
        baits=shown,
        considered=found.considered,
        found=len(found.baits),
        skipped=found.skipped,
        missing=sorted(found.missing, key=lambda m: (-found.missing[m], m)),
        cautions=[*CAUTIONS, *found.assumed],
        pack=pack_ref(pack, rules, evaluator),
    )


class _Stage(Struct, kw_only=True):
    """The moment after one move of mine."""

    situation: Situation
    move: Move
    result: Result
    looks: int | None


def _options(pack: Pack, request: BaitsRequest) -> tuple[list[Entry], list[Entry] | None]:
    """The answers that may wait, and the replies that were given. Errors: as ``settle``."""
    try:
        ground = settle(
            pack,
            Question(
                me=request.me, them=request.them, moment=Neutral(), pack=request.pack, distance=request.distance,
                responses=request.answers, replies=request.replies,
            ),
        )
    except Unanswerable as error:
        pointer = error.pointer.replace("/responses", "/answers")
        raise Unanswerable(error.code, error.message, help=error.help, pointer=pointer) from None
    given = list(ground.replies) if request.replies is not None else None
    if request.answers is not None:
        return list(ground.responses), given
    parries = [e for e in ground.responses if e.move.kind == "parry"]
    evasive = [e for e in ground.responses if any(getattr(e.move, name) for name in EVASIVE)]
    return parries or evasive, given


def _moves(pack: Pack, request: BaitsRequest, me: Character) -> list[Move]:
    if request.moves is None:
        return list(me.moves.values())
    for i, key in enumerate(request.moves):
        if key not in me.moves:
            raise Unanswerable(
                "move-unknown", f"fighter `{me.id}` has no move `{key}` in pack `{pack.id}` {pack.version}",
                help=did_you_mean(key, me.moves), pointer=f"/moves/{i}",
            )
    return [me.moves[key] for key in dict.fromkeys(request.moves)]


def _settled(pack: Pack, request: BaitsRequest, move: Move, result: Result) -> Situation:
    after = Blocked(attacker="me", move=move.id) if result == "blocked" else Whiffed(attacker="me", move=move.id)
    return settle(
        pack,
        Question(me=request.me, them=request.them, moment=after, pack=request.pack, distance=request.distance),
    )


def _weigh(
    stage: _Stage, answers: list[Entry], given: list[Entry] | None, weigher: Weigher, eager: int, found: _Found
) -> None:
    """Set the answers against the replies; what the rules call a bait is kept."""
    situation = stage.situation
    if situation.advantage is None:
        found.skipped[stage.move.id] = in_words("what it leaves is not recorded")
        for name in situation.missing:
            found.lack(Missing(move=stage.move.id, property=name.removeprefix("moment.")))
        return
    found.considered += 1
    found.assumed |= dict.fromkeys(situation.assumed)
    tried = [(e, "given") for e in given] if given is not None else list(_natural(stage, eager))
    theirs = [Ready(situation, entry, "theirs") for entry, _ in tried]
    for answer in answers:
        mine = Ready(situation, answer, "mine")
        pairs = [pair_of(situation, mine, reply) for reply in theirs]
        judged = weigher.judge(pairs)
        tries = [
            _try(weigher, pair, one, why) for pair, one, (_, why) in zip(pairs, judged, tried, strict=True)
        ]
        for each in tries:
            for missing in each.hangs_on:
                found.lack(missing)
        if any(each.caught for each in tries):
            found.baits.append((_bait(stage, answer, tries), situation, pairs))


def _natural(stage: _Stage, eager: int) -> Iterator[tuple[Entry, str]]:
    """What a player would try after the move, and why, the quickest first."""
    situation = stage.situation
    strikes = [m for m in situation.them.moves.values() if _strikes(situation, m)]
    strikes.sort(key=lambda m: m.hits[0].first_active or 0)
    if not strikes:
        return
    quickest = strikes[0].hits[0].first_active or 0
    seen = stage.looks if stage.looks is not None else situation.advantage
    room = -(seen or 0) + eager
    left = MOST_FAST
    for move in strikes:
        first = move.hits[0].first_active or 0
        key = move.id in situation.them.key_moves
        why = (
            "quickest" if first == quickest
            else "looks_fast_enough" if first <= room and (left > 0 or key)
            else "key_move" if key
            else ""
        )
        left -= why == "looks_fast_enough" and not key
        if why:
            yield Entry(move=move, key=move.id, name=move.name), why


def _strikes(situation: Situation, move: Move) -> bool:
    """A strike that asks for nothing and that may reach."""
    if not move.hits or move.requires is not None or move.cost or move.wakes_from:
        return False
    hit: Hit = move.hits[0]
    level = situation.pack.conventions.levels.get(hit.level or "")
    if hit.first_active is None or level is None or level.kind != "strike":
        return False
    return hit.reach is None or situation.distance is None or hit.reach >= situation.distance


def _try(weigher: Weigher, pair: Pair, judged: Judged, why: str) -> Tried:
    tags = tags_of(judged)
    caught = TAG in tags
    said = weigher.said_by(TAG, pair, judged) if caught else weigher.why(pair, judged)
    exchange, outcome = pair.exchange, pair.outcome
    return Tried(
        reply=pair.theirs.key,
        name=pair.theirs.name,
        why=why,
        first_active=pair.theirs.move.hits[0].first_active if pair.theirs.move.hits else None,
        caught=caught,
        verdict=judged.verdict,
        effect=exchange.effect if exchange else "unknown",
        frame=exchange.frame if exchange else None,
        frames=None,
        delays=None,
        dealt=outcome.dealt if outcome else None,
        taken=outcome.taken if outcome else None,
        tags=tags,
        sentence=said[1],
        hangs_on=weigher.missing([pair], [judged]),
    )


def _bait(stage: _Stage, answer: Entry, tries: list[Tried]) -> Bait:
    situation, move = stage.situation, stage.move
    advantage = situation.advantage
    assert advantage is not None
    caught = [each for each in tries if each.caught]
    through = [each for each in tries if each.verdict == "loses"]
    dealt = [each.dealt for each in caught]
    known = [d for d in dealt if d is not None]
    taken = [each.taken for each in through]
    first = move.hits[-1].first_active
    return Bait(
        move=move.id,
        name=move.name,
        result=stage.result,
        answer=answer.key,
        answer_name=answer.name,
        advantage=advantage,
        looks=stage.looks,
        looks_worse_by=None if stage.looks is None else advantage - stage.looks,
        airborne=None if first is None else holds(move.airborne, first),
        distance=None if situation.distance is None else from_micro(situation.distance),
        caught=len(caught),
        of=len(tries),
        damage=min(known) if len(known) == len(dealt) else None,
        risk=None if None in taken else max((t for t in taken if t is not None), default=0.0),
        loses_to=[each.name for each in through],
        sentence=_sentence(stage, answer, tries),
        tries=tries,
    )


def _sentence(stage: _Stage, answer: Entry, tries: list[Tried]) -> str:
    advantage = stage.situation.advantage or 0
    worse = stage.looks is not None and stage.looks < advantage
    seems = say(" and looks like {looks:+d}", looks=stage.looks) if worse else ""
    caught = [each.name for each in tries if each.caught]
    through = [each.name for each in tries if each.verdict == "loses"]
    tail = say("; not {through}", through=listed(through)) if through else ""
    return say(
        "{move}, {result}, leaves {advantage:+d}{seems}; {answer} is ready for {caught}{tail}.",
        move=stage.move.name, result=in_words(stage.result), advantage=advantage, seems=seems, answer=answer.name,
        caught=listed(caught), tail=tail,
    )  # fmt: skip


def _order(bait: Bait) -> tuple[float, ...]:
    return (
        -bait.caught / bait.of, -bait.caught, -(bait.looks_worse_by or 0), -(bait.damage or 0.0),
        bait.risk if bait.risk is not None else float("inf"),
    )


def _summary(found: list[Bait]) -> str:
    if not found:
        return in_words("No move of yours is a bait here.")
    best = found[0]
    return fitted(say(
        "{best} ({advantage:+d}), then {answer_name}: catches {caught} of {of}",
        best=best.name, advantage=best.advantage, answer_name=best.answer_name, caught=best.caught, of=best.of,
    ))


STUDY = Study(
    name="baits",
    request=BaitsRequest,
    answer=Baits,
    run=baits,
    summary="Own moves that invite a reply which an option of mine takes",
    description=(
        "For each own move, blocked or missed: what it leaves, what it looks like, what they would try, and which of "
        "it runs into my parry (or any option), with the frames on which it does."
    ),
    example={
        "me": {"character": "wenna"},
        "them": {"character": "marl"},
        "distance": "touching",
        "answers": ["set_pane"],
        "limit": 5,
    },
)

"""Study ``defence``: layered defence (guard, then something else), and pressure that leaves time to guard."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from advisor.advice import CAUTIONS, Evaluator
from advisor.advice.answer import Missing
from advisor.advice.wording import fitted
from advisor.errors import QuestionError
from advisor.facts import Entry, Ready, Situation, settle
from advisor.facts.lookup import no_option
from advisor.facts.question import Asked, Ids, KnockedDown
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet
from advisor.sentences import in_words, say
from advisor.studies.defence_answer import DefenceAlone, DefenceAnswer, DefenceRow, DefenceWindow, Mode
from advisor.studies.defence_cover import Sweep, beaters, cells_of, sweep, windows_of
from advisor.studies.defence_layers import Layer, Layered
from advisor.studies.defence_pressure import pressure_rows
from advisor.studies.study import Study
from advisor.studies.weighing import Weigher, pack_ref
from advisor.units import from_micro

__all__ = ["STUDY", "DefenceRequest", "defence", "layers_of"]

BREAK = "break:"
"""Before the id of a throw break where an option is named."""


class DefenceRequest(Asked, kw_only=True, forbid_unknown_fields=True):
    """The situation, and what to put together.

    Mode ``defend``: a guard of ``guards`` held first, and from a switch frame on one of
    ``responses``. Mode ``safe_pressure``: an attack of ``responses``, delayed, and the guard after it.
    """

    mode: Annotated[Mode, Meta(description="What to look for.")] = "defend"
    replies: Annotated[
        Ids | Literal["key", "all"] | None,
        Meta(description="Their options to cover: their key attacks when left out, wake-up options after a knockdown."),
    ] = None
    guards: Annotated[Ids | None, Meta(description="defend: guards to hold first; every guard of the pack.")] = None
    responses: Annotated[
        Ids | None,
        Meta(
            description="defend: what comes then; guards, movements, parries and throw breaks (`break:<id>`) when "
            "left out. safe_pressure: attacks to try; all when left out."
        ),
    ] = None
    frames: Annotated[int, Meta(ge=1, le=120, description="Latest switch frame, or longest delay.")] = 60
    limit: Annotated[int, Meta(ge=1, le=400, description="How many composite options to list.")] = 8


def defence(pack: Pack, rules: RuleSet, evaluator: Evaluator, request: DefenceRequest) -> DefenceAnswer:
    """The composite options of ``request``, ranked by how many replies one frame covers.

    Errors: ``QuestionError`` for a request that contradicts itself, ``Unanswerable`` for an id
    that the pack does not have.
    """
    if isinstance(request.moment, KnockedDown) and request.moment.floored == "me":
        raise QuestionError(
            "question-impossible",
            "who lies on the ground can neither hold a guard nor attack",
            help="ask what the wake-up options do, or turn the sides round",
            pointer="/moment/floored",
        )
    situation = _settled(pack, request)
    weigher = Weigher(situation, rules, evaluator)
    replies = _replies(request, situation)
    if request.mode == "safe_pressure":
        attacks = _attacks(request, situation)
        rows, considered = pressure_rows(weigher, attacks, replies, request.frames, request.limit), len(attacks)
        alone: list[DefenceAlone] = []
    else:
        layers = layers_of(pack, request, situation)
        others = _others(pack, request, replies)
        rows, considered = _defend(weigher, layers, replies, others, request), len(layers)
        alone = _alone(weigher, _guards(pack, request, situation), replies)
    return DefenceAnswer(
        summary=_summary(request, rows),
        mode=request.mode,
        me=situation.me.id,
        them=situation.them.id,
        moment=situation.moment,
        distance=None if situation.distance is None else from_micro(situation.distance),
        unit=pack.conventions.distance_unit,
        replies=[r.entry.key for r in replies],
        rows=rows,
        considered=considered,
        alone=alone,
        missing=_most_wanted(rows),
        cautions=[*CAUTIONS, *situation.assumed],
        pack=pack_ref(pack, rules, evaluator),
    )


def _settled(pack: Pack, request: DefenceRequest, replies: Literal["all"] | None = None) -> Situation:
    wanted = replies or request.replies or ("key" if request.mode == "defend" else None)
    return settle(
        pack,
        request.question(
            responses=request.responses if request.mode == "safe_pressure" else None, replies=wanted
        ),
    )


def _replies(request: DefenceRequest, situation: Situation) -> list[Ready]:
    """Their options to cover; to defend against, attacks only."""
    entries = list(situation.replies)
    if request.mode == "defend":
        if isinstance(request.replies, list):
            for i, entry in enumerate(entries):
                if not entry.move.hits:
                    raise QuestionError(
                        "question-impossible", f"`{entry.key}` is not an attack, so there is nothing to defend against",
                        help="name moves with an active window", pointer=f"/replies/{i}",
                    )
        entries = [e for e in entries if e.move.hits]
    if not entries:
        raise QuestionError(
            "question-impossible", "there is nothing of theirs to set it against",
            help="name attacks in `replies`", pointer="/replies",
        )
    return [Ready(situation, entry, "theirs") for entry in entries]


def _others(pack: Pack, request: DefenceRequest, replies: list[Ready]) -> list[Ready]:
    """Every other attack of theirs, to find what beats a row."""
    everything = _settled(pack, request, "all")
    known = {r.entry.key for r in replies}
    return [Ready(everything, e, "theirs") for e in everything.replies if e.move.hits and e.key not in known]


def _attacks(request: DefenceRequest, situation: Situation) -> list[Ready]:
    found = [e for e in situation.responses if e.move.hits]
    if request.responses is not None:
        for i, entry in enumerate(situation.responses):
            if not entry.move.hits:
                raise QuestionError(
                    "question-impossible", f"`{entry.key}` is not an attack, so it puts no pressure on",
                    help="name moves with an active window", pointer=f"/responses/{i}",
                )
    return [Ready(situation, entry, "mine") for entry in found]


def _guards(pack: Pack, request: DefenceRequest, situation: Situation) -> list[Entry]:
    """The guards to hold first. Errors: ``Unanswerable``, ``QuestionError``."""
    known = {**pack.system, **situation.me.moves}
    every = [m.id for m in known.values() if m.kind == "guard" and m.guard]
    out = []
    for i, key in enumerate(every if request.guards is None else request.guards):
        if key not in known:
            raise no_option(situation.pack, situation.me, key, known, f"/guards/{i}")
        if key not in every:
            raise QuestionError(
                "question-impossible", f"`{key}` is not a guard", help=f"guards: {', '.join(every)}",
                pointer=f"/guards/{i}",
            )
        out.append(Entry(move=known[key], key=key, name=known[key].name))
    return list({entry.key: entry for entry in out}.values())


def layers_of(pack: Pack, request: DefenceRequest, situation: Situation) -> list[Layer]:
    """Every guard with everything that can come after it. Errors: as ``defence``."""
    thens = _thens(pack, request, situation)
    return [
        Layer(
            id=f"{first.key}+{key}", name=say("{first}, then {name}", first=first.name, name=name),
            first=first, then=entry,
            breaks=pack.conventions.throw_breaks.get(key.removeprefix(BREAK)) if key.startswith(BREAK) else None,
        )
        for first in _guards(pack, request, situation)
        for key, name, entry in thens
        if key != first.key
    ]


def _thens(pack: Pack, request: DefenceRequest, situation: Situation) -> list[tuple[str, str, Entry | None]]:
    """Key, name and entry of what can come second; the press of a break brings out the move with its input."""
    usable = {e.key: e for e in situation.responses}
    known = {key: Entry(move=m, key=key, name=m.name) for key, m in {**pack.system, **situation.me.moves}.items()}
    known |= usable
    breaks = {f"{BREAK}{b.id}": b for b in pack.conventions.throw_breaks.values()}
    wanted = request.responses
    if wanted is None:
        wanted = [*(e.key for e in usable.values() if not e.follows and _defends(e)), *breaks]
    out: list[tuple[str, str, Entry | None]] = []
    for i, key in enumerate(wanted):
        if key in breaks:
            press = breaks[key].input
            comes = next((e for e in usable.values() if press is not None and e.move.input == press), None)
            out.append((key, say("a {id} break", id=breaks[key].id), comes))
        elif key in known:
            out.append((key, known[key].name, known[key]))
        else:
            raise no_option(situation.pack, situation.me, key, {**known, **breaks}, f"/responses/{i}")
    return list({one[0]: one for one in out}.values())


def _defends(entry: Entry) -> bool:
    return entry.move.kind in ("guard", "movement") or bool(entry.move.parry)


def _defend(
    weigher: Weigher, layers: list[Layer], replies: list[Ready], others: list[Ready], request: DefenceRequest
) -> list[DefenceRow]:
    frames = range(1, request.frames + 1)
    alone = {a.option: set(a.not_covered) for a in _alone(weigher, [layer.first for layer in layers], replies)}
    found: list[tuple[tuple[int, ...], Layer, Layered, Sweep]] = []
    for layer in layers:
        layered = Layered(weigher.situation, layer)
        swept = sweep(weigher, layered.against, replies, frames)
        windows = windows_of(swept)
        best = windows[0] if windows else None
        adds = len(alone[layer.first.key].intersection(best.covers)) if best else 0
        wins = swept.wins(best.first - 1) if best else 0
        covers, width = (len(best.covers), best.width) if best else (0, 0)
        found.append(((-covers, -adds, -wins, -width, len(found)), layer, layered, swept))
    found.sort(key=lambda f: f[0])
    return [
        _row(weigher, layer, layered, swept, replies, others, alone[layer.first.key])
        for _, layer, layered, swept in found[: request.limit]
    ]


def _row(
    weigher: Weigher, layer: Layer, layered: Layered, swept: Sweep, replies: list[Ready], others: list[Ready],
    alone: set[str],
) -> DefenceRow:
    windows = windows_of(swept)
    at = (windows[0].first + windows[0].last) // 2 if windows else 1
    cells = cells_of(weigher, swept, at)
    covered = windows[0].covers if windows else []
    missed = [c.reply for c in cells if c.reply not in covered and c.verdict != "unknown"]
    unknown = [c.reply for c in cells if c.verdict == "unknown"]
    return DefenceRow(
        option=layer.id,
        name=layer.name,
        first=layer.first.key,
        then=layer.id.split("+", 1)[1],
        covers=len(covered),
        of=len(cells),
        windows=windows,
        at=at,
        adds=[key for key in covered if key in alone],
        not_covered=missed,
        unknown=unknown,
        damage=None,
        jumps=False,
        cells=cells,
        beaten_by=beaters(weigher, layered.against, at, replies, others),
        sentence=_sentence(layer, windows, len(cells), missed, unknown),
    )


def _sentence(layer: Layer, windows: list[DefenceWindow], of: int, missed: list[str], unknown: list[str]) -> str:
    """The row in one line."""
    if not windows:
        return say("{layer}: covers none of {of}.", layer=layer.name, of=of)
    best = windows[0]
    if best.width == 1:
        run = say("on frame {first}", first=best.first)
    else:
        run = say("on any of frames {first} to {last}", first=best.first, last=best.last)
    text = say(
        "{layer}: giving up the guard {run} covers {count} of {of}",
        layer=layer.name, run=run, count=len(best.covers), of=of,
    )
    if missed:
        text += say(", not {missed}", missed=', '.join(missed))
    if unknown:
        text += say("; unknown against {unknown}", unknown=', '.join(unknown))
    return text + "."


def _alone(weigher: Weigher, guards: list[Entry], replies: list[Ready]) -> list[DefenceAlone]:
    """Each guard held all the time."""
    out = []
    for entry in {guard.key: guard for guard in guards}.values():
        layer = Layer(id=entry.key, name=entry.name, first=entry, then=None)
        swept = sweep(weigher, Layered(weigher.situation, layer).against, replies, [1])
        covered = swept.covered(0)
        out.append(
            DefenceAlone(
                option=entry.key, name=entry.name, covers=len(covered), of=len(replies),
                not_covered=[r.entry.key for r in replies if r.entry.key not in covered],
            )
        )
    return out


def _most_wanted(rows: list[DefenceRow]) -> list[Missing]:
    count: dict[Missing, int] = {}
    for missing in (m for row in rows for cell in row.cells for m in cell.hangs_on):
        count[missing] = count.get(missing, 0) + 1
    return sorted(count, key=lambda m: (-count[m], m))


def _summary(request: DefenceRequest, rows: list[DefenceRow]) -> str:
    if not rows:
        return in_words("Nothing to put together here.")
    best = rows[0]
    if not best.windows:
        return fitted(say("Nothing covers any of the {of}", of=best.of))
    run = best.windows[0]
    span = f"{run.first}" if run.width == 1 else f"{run.first}-{run.last}"
    values = {"best": fitted(best.name, 44), "span": span, "covers": best.covers, "of": best.of}
    if request.mode == "defend":
        return fitted(say("{best}: frame {span} covers {covers} of {of}", **values))
    return fitted(say("{best}: delay {span} covers {covers} of {of}", **values))


STUDY = Study(
    name="defence",
    request=DefenceRequest,
    answer=DefenceAnswer,
    run=defence,
    summary="Layered defence and safe pressure",
    description="Composite options as one timeline: a guard and from a switch frame on something else, or an attack "
    "that leaves time to guard. Which frames cover most of their options, and what beats it.",
    example={
        "me": {"character": "wenna"}, "them": {"character": "ilko"}, "moment": {"kind": "neutral"},
        "distance": "touching", "guards": ["stand_guard"], "responses": ["crouch_guard", "jump", "break:twine"],
    },
)

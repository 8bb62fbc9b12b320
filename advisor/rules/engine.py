"""The rules engine, fenced: the only module that touches it, and every rule for staying safe in it.

One question is one short session for each group of rules: a sentinel fact is asserted and drained
first (an undrained session cannot be deleted safely), then all records and last the situation in
one batch, then the agenda is drained, and the session is deleted whatever happened. Rows hold
numbers only, under property names whose hashes do not collide; ids and session ids are chosen so
that theirs cannot either. A rule that fires for each session's situation shows that the whole
batch went in.
"""

from __future__ import annotations

import itertools
import string
import threading
import time
import weakref
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any

import msgspec
from msgspec import Struct

from advisor.errors import Fault
from advisor.rules.compile import RECORD, SENTINEL, SITUATION, Group, compile_groups
from advisor.rules.model import RuleSet
from advisor.rules.plain import PlainEvaluator
from advisor.rules.rows import row_writer, word_coder
from advisor.rules.selftest import self_test
from advisor.rules.staged import Hit, Staged, Stats, Values

try:
    import durable_rules_engine as _native  # type: ignore[import-not-found,import-untyped,unused-ignore]
except ImportError:  # not built for this Python
    _native = None

__all__ = ["PAIR_LIMIT", "EngineEvaluator", "engine_available", "make_evaluator", "recorded"]

CHUNK = 32
"""Records in one session; the engine's cost grows with the square of it."""
PAIR_LIMIT = 600
"""Records that rules about pairs can look at in one question."""
FIRING_CAP = 400_000
SECONDS = 10.0

_FNV_BASIS, _FNV_PRIME = 2166136261, 16777619
_LETTERS = string.ascii_letters + string.digits
_FIXED = ("sid", "id", "$s", "z", "n", "u")
_HANDLES = itertools.count()


def engine_available() -> bool:
    """Whether the engine can be used on this Python."""
    return _native is not None


def fnv(text: str, start: int = _FNV_BASIS) -> int:
    """The engine's 32-bit hash (FNV-1a) of ASCII text, going on from ``start``."""
    for byte in text.encode("ascii"):
        start = ((start ^ byte) * _FNV_PRIME) & 0xFFFFFFFF
    return start


# INVARIANT: ids are two characters after one prefix. FNV-1a over such a pair cannot collide: the
# first step spreads a difference of d < 128 to d * 403 modulo 2**24, which the second cannot undo.
_IDS = tuple(a + b for a in _LETTERS for b in _LETTERS)
_ID_SENTINEL, _ID_SITUATION, _ID_RECORDS = _IDS[0], _IDS[1], _IDS[2 : 2 + PAIR_LIMIT]


def _session_ids(count: int) -> tuple[str, ...]:
    """Session ids whose own fact does not share a hash with any of our facts, nor with each other."""
    found: dict[int, str] = {}
    for name in (a + b for a in string.ascii_lowercase for b in string.ascii_lowercase):
        prefix = fnv(f"{name}!")
        taken = {fnv(used, prefix) for used in (_ID_SENTINEL, _ID_SITUATION, *_ID_RECORDS)}
        if fnv(f"sid-{name}", prefix) not in taken:
            found.setdefault(fnv(name), name)
        if len(found) == count:
            break
    return tuple(found.values())


class _Node(Struct):
    n: int = -1


class _Firing(Struct):
    r: _Node | None = None
    o: _Node | None = None


_DECODER = msgspec.json.Decoder(dict[str, _Firing])


class _Engine:
    """One engine rule set, and sessions in it one after the other."""

    def __init__(self, group: Group, cap: int, seconds: float) -> None:
        self.group = group
        self.cap = cap
        self.seconds = seconds
        names = [*_FIXED, *(name for sheet in group.sheets.values() for name in sheet.columns.values())]
        if len({fnv(name) for name in names}) != len(names):
            raise Fault("fault", "two property names share a hash in the engine")
        self.write_record = row_writer(group.sheets["record"], group.vocabulary)
        self.write_situation = row_writer(group.sheets["situation"], group.vocabulary)
        # The same encoder writes the rules and the rows: the engine compares their text.
        text = msgspec.json.encode(group.definitions).decode()
        self.handle = _called("create_ruleset", f"r{next(_HANDLES)}", text)
        weakref.finalize(self, _native.delete_ruleset, self.handle)
        self.sessions = itertools.cycle(_SESSIONS)

    def rows(self, situation: Values, records: Sequence[tuple[int, Values]], session: str) -> str:
        """The batch of one session, in the engine's words; the situation is last."""
        code = word_coder(self.group.codes)
        write, zero = self.write_record, self.group.needs_zero
        rows: list[dict[str, Any]] = []
        for (index, record), name in zip(records, _ID_RECORDS, strict=False):
            row: dict[str, Any] = {"sid": session, "id": name, "z": RECORD, "n": index}
            if zero:
                row["u"] = 0
            write(record.get, row, code)
            rows.append(row)
        last: dict[str, Any] = {"sid": session, "id": _ID_SITUATION, "z": SITUATION}
        self.write_situation(situation.get, last, code)
        rows.append(last)
        return msgspec.json.encode(rows).decode()

    def firings(self, situation: Values, records: Sequence[tuple[int, Values]]) -> list[str]:
        """What fired in one session, as the engine's own text."""
        session = next(self.sessions)
        return self.play(session, self.rows(situation, records, session))

    def play(self, session: str, batch: str) -> list[str]:
        """One whole session over a batch that is ready as text."""
        sentinel = f'{{"sid":"{session}","id":"{_ID_SENTINEL}","z":{SENTINEL}}}'
        try:
            state = self._asserted("assert_fact", sentinel)
            self._drained(state)
            if self._asserted("assert_facts", batch) != state:
                raise Fault("fault", "the engine answered for another session")
            return self._drained(state)
        finally:
            _called("delete_state", self.handle, session)

    def _asserted(self, call: str, text: str) -> int:
        code, state = _called(call, self.handle, text)
        # 0: matched; 1: the batch had a fact that no rule matched. Anything else is not ours.
        if code not in (0, 1):
            raise Fault("fault", f"the engine refused a fact (code {code})")
        return int(state)

    def _drained(self, state: int) -> list[str]:
        found: list[str] = []
        started = _called("start_action_for_state", self.handle, state)
        message = started[1] if started else None
        deadline = time.monotonic() + self.seconds
        complete, handle, add = _native.complete_and_start_action, self.handle, found.append
        while message:
            add(message)
            if len(found) > self.cap:
                raise Fault("fault", f"more than {self.cap} rules fired for one question")
            if not len(found) & 255 and time.monotonic() > deadline:
                raise Fault("fault", f"the rules took more than {self.seconds} seconds")
            message = complete(handle, state)
        return found


def _called(name: str, *arguments: Any) -> Any:
    try:
        return getattr(_native, name)(*arguments)
    except Exception as error:
        raise Fault("fault", f"the rules engine failed in {name}: {error}") from error


_SESSIONS = _session_ids(32)


class EngineEvaluator(Staged):
    """Evaluates a rule set with the engine; making one tests every rule once against plain Python.

    Errors: ``Fault`` when the engine is not there, when a self-test differs, and for a question
    that passes ``firing_cap`` or ``seconds`` (its session is deleted all the same).
    """

    name = "durable"

    def __init__(self, ruleset: RuleSet, *, firing_cap: int = FIRING_CAP, seconds: float = SECONDS) -> None:
        super().__init__(ruleset)
        if _native is None:
            raise Fault("fault", "the rules engine is not installed", help="use the plain evaluator")
        self._lock = threading.Lock()
        codes: dict[str, int] = {}
        self._engines = {
            scope: [
                [_Engine(group, firing_cap, seconds) for group in compile_groups(layer, ruleset.vocabulary, codes)]
                for layer in ruleset.strata(scope)
            ]
            for scope in ("exchange", "response")
        }
        self.tested = sum(
            self_test(ruleset, engine.group, partial(self._group_hits, engine))
            for layers in self._engines.values()
            for layer in layers
            for engine in layer
        )
        self.stats = Stats()

    def _hits(self, scope: str, layer: int, situation: Values, records: Sequence[Values]) -> list[Hit]:
        found: list[Hit] = []
        with self._lock:
            for engine in self._engines[scope][layer]:
                found += self._group_hits(engine, situation, records)
        found.sort()
        return found

    def _group_hits(self, engine: _Engine, situation: Values, records: Sequence[Values]) -> Iterable[Hit]:
        """Each hit once, however many branches of a rule were true."""
        size = CHUNK
        if engine.group.pairs:
            size = PAIR_LIMIT
            if len(records) > size:
                raise Fault(
                    "fault", f"rules that compare records look at {size} at most, not {len(records)}",
                    help="ask about fewer responses at once",
                )  # fmt: skip
        found: set[Hit] = set()
        numbered = list(enumerate(records))
        for start in range(0, len(numbered), size):
            firings = engine.firings(situation, numbered[start : start + size])
            self.stats.sessions += 1
            self._decoded(engine.group, firings, found)
        return found

    def _decoded(self, group: Group, firings: list[str], found: set[Hit]) -> None:
        order, names, decode, ended = self.ruleset.order, group.names, _DECODER.decode, 0
        for text in firings:
            for name, firing in decode(text).items():
                if name == "end":
                    ended += 1
                elif firing.r is not None:
                    other = -1 if firing.o is None else firing.o.n
                    found.add((firing.r.n, order[names[name].id], other))
        if ended != 1:
            raise Fault("fault", "the engine did not take all facts of a question")


def recorded(evaluator: EngineEvaluator, run: Callable[[], object]) -> list[tuple[_Engine, str, str]]:
    """Every session that ``run`` makes the evaluator hold: engine rule set, session id, batch of facts.

    ``engine.play(session, batch)`` holds it again; for benchmarks, which set the product against it.
    """
    taken: list[tuple[_Engine, str, str]] = []
    engines = [e for layers in evaluator._engines.values() for layer in layers for e in layer]

    def watched(engine: _Engine) -> Callable[[Values, Sequence[tuple[int, Values]], str], str]:
        def rows(situation: Values, records: Sequence[tuple[int, Values]], session: str) -> str:
            batch = _Engine.rows(engine, situation, records, session)
            taken.append((engine, session, batch))
            return batch

        return rows

    for engine in engines:
        engine.rows = watched(engine)  # type: ignore[method-assign,assignment]
    try:
        run()
    finally:
        for engine in engines:
            del engine.rows
    return taken


def make_evaluator(ruleset: RuleSet, choice: str) -> Staged:
    """The evaluator called ``durable``, ``plain`` or ``auto`` (durable where it is installed).

    Errors: ``Fault`` for another name, or for ``durable`` where the engine is not installed.
    """
    if choice not in ("durable", "plain", "auto"):
        raise Fault("fault", f"no evaluator is called `{choice}`", help="one of durable, plain, auto")
    if choice == "plain" or (choice == "auto" and not engine_available()):
        return PlainEvaluator(ruleset)
    return EngineEvaluator(ruleset)

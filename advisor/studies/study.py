"""What a study is: one question of a lab session, with the types of what is asked and answered."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from msgspec import Struct

from advisor.advice import Evaluator
from advisor.pack.model import Pack
from advisor.rules.model import RuleSet

__all__ = ["Check", "LongRun", "Run", "Study"]

Run = Callable[[Pack, RuleSet, Evaluator, Any], Any]
"""``(pack, rules, evaluator, request) -> answer``; errors are ``QuestionError`` and ``Unanswerable``."""

LongRun = Callable[[Pack, RuleSet, Evaluator, Any, Callable[[int, int], None], Callable[[], bool]], Any]
"""``(pack, rules, evaluator, request, progress, cancelled) -> answer``: a run that may take minutes.

``progress(done, total)`` counts in the study's own steps, ``total`` may grow; ``cancelled()`` is asked as often.
Errors: as ``Run``; ``advisor.solver.round.Cancelled`` soon after ``cancelled()`` is true.
"""

Check = Callable[[Pack, Any], None]
"""``(pack, request)``: raises what a run would raise at once, without the work; takes a moment only."""


class Study(Struct, frozen=True, kw_only=True):
    """One study: from it the service makes ``POST /v1/<name>`` and the library ``Shelf.study``.

    ``request`` and ``answer`` are the Structs that ``run`` takes and gives; a request may have a
    field ``pack`` (id of the pack, the default one when None). ``summary`` is a heading of a few
    words, ``description`` says in a sentence or two what is asked and answered, ``example`` is a
    request, as JSON has it, that the demo pack answers. A study with ``long`` may be run as a job;
    ``check`` refuses a faulty request before the job is queued.
    """

    name: str
    request: type[Struct]
    answer: type[Struct]
    run: Run
    summary: str
    description: str
    example: dict[str, Any]
    long: LongRun | None = None
    check: Check | None = None

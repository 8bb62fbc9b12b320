"""What can go wrong, by who has to act, and what each error says.

``DataError`` is for the author of a pack or rule (all faults at once, each with file and line);
``QuestionError`` for the caller; ``Unanswerable`` for a well-formed question about something we
have no data on; ``Fault`` for ourselves. One table says which HTTP status a code has.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from msgspec import Struct

__all__ = [
    "STATUS",
    "AdvisorError",
    "DataError",
    "Fault",
    "Finding",
    "QuestionError",
    "Unanswerable",
    "did_you_mean",
]

SHOWN_FINDINGS = 50


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """``did you mean `x`?`` for the nearest known word, or an empty string if none is near."""
    names = sorted(set(known))
    near = difflib.get_close_matches(word, names, n=1, cutoff=0.6)
    if not near:
        near = [name for name in names if name.lower() == word.lower()][:1]
    return f"did you mean `{near[0]}`?" if near else ""


class Finding(Struct, frozen=True, kw_only=True):
    """One fault or doubt found in a file: where, what is wrong, what would be right."""

    code: str
    message: str
    help: str = ""
    file: str = ""
    line: int = 0
    column: int = 0
    path: str = ""
    severity: str = "error"

    def shown(self) -> str:
        """The finding as text: ``file:line:column: severity[code] path: message (help)``."""
        where = f"{self.file}:{self.line}:{self.column}: " if self.file else ""
        at = f" at `{self.path}`" if self.path else ""
        tail = f"\n    help: {self.help}" if self.help else ""
        return f"{where}{self.severity}[{self.code}]{at}: {self.message}{tail}"


class AdvisorError(Exception):
    """Any error that the product raises on purpose.

    ``code`` names the kind (a key of ``STATUS``), ``message`` says what is wrong in the user's
    words, ``help`` what would be right, ``pointer`` is the JSON pointer (RFC 6901) of the value.
    """

    def __init__(self, code: str, message: str, *, help: str = "", pointer: str = "") -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.help = help
        self.pointer = pointer


class DataError(AdvisorError):
    """A pack or rule file that cannot be used; carries every finding of the pass."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        errors = [f for f in self.findings if f.severity == "error"]
        shown = "\n".join(f.shown() for f in errors[:SHOWN_FINDINGS])
        more = len(errors) - SHOWN_FINDINGS
        tail = f"\n... and {more} more" if more > 0 else ""
        super().__init__("data-faulty", f"{len(errors)} fault(s) in the data\n{shown}{tail}")


class QuestionError(AdvisorError):
    """A question that is malformed, impossible or ambiguous: the caller has to change it."""


class Unanswerable(AdvisorError):
    """A well-formed question about something that the loaded packs do not hold."""


class Fault(AdvisorError):
    """Our own fault."""


STATUS: dict[str, int] = {
    "body-malformed": 400,
    "value-invalid": 400,
    "question-impossible": 422,
    "question-ambiguous": 422,
    "pack-unknown": 404,
    "character-unknown": 404,
    "move-unknown": 404,
    "option-unknown": 404,
    "distance-unknown": 404,
    "knockdown-unknown": 404,
    "not-found": 404,
    "method-not-allowed": 405,
    "not-acceptable": 406,
    "job-unknown": 404,
    "job-unfinished": 409,
    "job-cancelled": 409,
    "idempotency-conflict": 409,
    "trial-corrected": 409,
    "trial-unknown": 404,
    "set-exists": 409,
    "set-unknown": 404,
    "entry-unknown": 404,
    "files-faulty": 422,
    "lines-faulty": 422,
    "store-full": 503,
    "store-unreachable": 503,
    "job-timeout": 422,
    "body-slow": 408,
    "body-too-large": 413,
    "media-type-unsupported": 415,
    "reload-refused": 422,
    "not-ready": 503,
    "data-faulty": 500,
    "signature-invalid": 401,
    "key-needed": 401,
    "key-invalid": 401,
    "scope-missing": 403,
    "origin-refused": 403,
    "rate-exceeded": 429,
    "keys-unavailable": 503,
    "fault": 500,
    "jobs-full": 503,
    "jobs-unavailable": 503,
    "busy": 503,
    "too-heavy": 503,
    "channel-empty": 404,
    "channels-full": 503,
    "subscribers-full": 503,
    "channels-unavailable": 503,
}
"""HTTP status of each error code; the service and its tests read it here."""

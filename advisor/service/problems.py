"""Errors as problem details (RFC 9457): one table of titles, one shape for every error."""

from __future__ import annotations

import msgspec

from advisor.errors import STATUS, AdvisorError
from advisor.service.wire import Problem

__all__ = ["GONE", "PROBLEM", "RETRY_AFTER", "TITLES", "ParameterError", "encode_problem", "problem_of"]

PROBLEM = "application/problem+json"
GONE = "advisor.gone"
"""Set in the scope of a request whose caller went away before it was answered."""
RETRY_AFTER = 10
"""Seconds after which a caller may try again where there was no room."""

TITLES: dict[str, str] = {
    "body-malformed": "the body is not the JSON it should be",
    "value-invalid": "a value is not what it should be",
    "question-impossible": "the question contradicts itself",
    "question-ambiguous": "the question can be read in two ways",
    "pack-unknown": "no such pack",
    "character-unknown": "no such character",
    "move-unknown": "no such move",
    "option-unknown": "no such option",
    "distance-unknown": "no such named distance",
    "knockdown-unknown": "no such knockdown state",
    "not-found": "nothing is here",
    "method-not-allowed": "this method is not offered here",
    "not-acceptable": "the answer cannot be given in that form",
    "job-unknown": "no such job",
    "job-unfinished": "the job is not over",
    "job-cancelled": "the job was cancelled",
    "job-timeout": "the job took too long",
    "idempotency-conflict": "the key was used for something else",
    "trial-corrected": "the trial was corrected already",
    "trial-unknown": "no such trial",
    "set-exists": "a study set of that name exists",
    "set-unknown": "no such study set",
    "entry-unknown": "no such entry in the study set",
    "files-faulty": "the files of a version are faulty",
    "lines-faulty": "a line of the study set is faulty",
    "store-full": "the store has no room left",
    "store-unreachable": "the store does not answer",
    "body-slow": "the body took too long to arrive",
    "body-too-large": "the body is too large",
    "media-type-unsupported": "the body has to be JSON",
    "reload-refused": "the data cannot be used, so nothing was changed",
    "not-ready": "the service is not ready",
    "data-faulty": "a pack or rule file is faulty",
    "fault": "the fault is ours",
    "signature-invalid": "the signature does not hold",
    "key-needed": "a key is needed",
    "key-invalid": "the key does not hold",
    "scope-missing": "the key is not good for this",
    "origin-refused": "a page of another origin may not do this",
    "rate-exceeded": "too many requests",
    "keys-unavailable": "the keys cannot be looked up",
    "jobs-full": "no room for another job",
    "jobs-unavailable": "the jobs cannot be reached",
    "busy": "too many questions are waiting",
    "too-heavy": "the question takes too long to weigh",
    "channel-empty": "the channel shows nothing",
    "channels-full": "no room for another channel",
    "subscribers-full": "no room for another subscriber",
    "channels-unavailable": "the channels cannot be reached",
}


class ParameterError(AdvisorError):
    """A query or path parameter that is wrong; ``name`` is the parameter's."""

    def __init__(self, code: str, message: str, *, name: str, help: str = "") -> None:
        super().__init__(code, message, help=help)
        self.name = name


def problem_of(error: AdvisorError) -> Problem:
    """The body for an error; what is ours says no more than that it is."""
    return Problem(
        type=f"/problems/{error.code}",
        title=TITLES[error.code],
        status=STATUS[error.code],
        code=error.code,
        detail=error.message,
        pointer=error.pointer,
        parameter=error.name if isinstance(error, ParameterError) else "",
        help=error.help,
    )


def encode_problem(problem: Problem) -> bytes:
    """The problem as JSON in UTF-8."""
    return msgspec.json.encode(problem)

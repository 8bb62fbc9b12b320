"""What a body is said to be, and in which form a caller wants the answer."""

from __future__ import annotations

from litestar.datastructures.headers import Accept

from advisor.errors import AdvisorError
from advisor.service.problems import PROBLEM
from advisor.service.weighing.tasks import Task
from advisor.service.weighing.work import JSON

__all__ = ["check_media_type", "media_type_of"]

ANY = ("", "*/*", JSON)
"""What most callers accept."""
CHARSETS = ("", "utf-8", "utf8", "us-ascii")


def media_type_of(accept: str, task: Task) -> str:
    """The form of the task's answer that ``Accept`` likes best; JSON when it does not mind.

    Errors: ``AdvisorError`` ``not-acceptable`` when it takes none of them (RFC 9110, 12.5.1).
    """
    given = accept.strip()
    if given in ANY:
        return JSON
    parts = given.split(",")
    refused = {part.partition(";")[0].strip().lower() for part in parts if _refused(part)}
    ranges = ",".join(part for part in parts if not _refused(part))
    forms_left = [form for form in (JSON, PROBLEM, *task.pictures) if form not in refused]
    found = Accept(ranges).best_match(forms_left) if ranges and forms_left else None
    if found is None:
        forms = " or ".join(f"`{form}`" for form in (JSON, *task.pictures))
        raise AdvisorError("not-acceptable", f"`accept` is `{given}`", help=f"accept {forms}")
    return found if found in task.pictures else JSON


def _refused(part: str) -> bool:
    """Whether a media range has the weight 0: that is not to be sent."""
    weights = [p.strip()[2:] for p in part.lower().split(";")[1:] if p.strip().startswith("q=")]
    return any(weight.strip("0.") == "" for weight in weights)


def check_media_type(given: str) -> None:
    """Errors: ``AdvisorError`` ``media-type-unsupported`` for a ``Content-Type`` other than JSON in UTF-8."""
    if given == JSON:
        return
    kind, *parameters = (part.strip().lower() for part in given.split(";"))
    help = "send `content-type: application/json`"
    if kind != "application/json":
        said = f"the body is said to be `{kind}`" if kind else "the body's type is not stated"
        raise AdvisorError("media-type-unsupported", said, help=help)
    charset = next((p.partition("=")[2].strip('"') for p in parameters if p.startswith("charset=")), "")
    if charset not in CHARSETS:
        raise AdvisorError("media-type-unsupported", f"the body is said to be in `{charset}`", help="send UTF-8")

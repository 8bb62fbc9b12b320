"""What a body is said to be, and in which form a caller wants the answer."""

from __future__ import annotations

import re
from collections.abc import Sequence

from litestar.datastructures.headers import Accept

from advisor.errors import AdvisorError
from advisor.service.problems import PROBLEM
from advisor.service.weighing.tasks import Task
from advisor.service.weighing.work import JSON

__all__ = ["best_of", "check_media_type", "media_type_of"]

ANY = ("", "*/*", JSON)
"""What most callers accept."""
_WEIGHT = re.compile(r"0(\.[0-9]{0,3})?|1(\.0{0,3})?")
"""How much a form is liked (RFC 9110, 12.4.2)."""
CHARSETS = ("", "utf-8", "utf8", "us-ascii")


def media_type_of(accept: str, task: Task) -> str:
    """The form of the task's answer that ``Accept`` likes best; JSON when it does not mind.

    Errors: ``AdvisorError`` ``not-acceptable`` when it takes none of them (RFC 9110, 12.5.1).
    """
    given = accept.strip()
    if given in ANY:
        return JSON
    found = best_of(given, (JSON, PROBLEM, *task.pictures))
    if found is None:
        forms = " or ".join(f"`{form}`" for form in (JSON, *task.pictures))
        raise AdvisorError("not-acceptable", f"`accept` is `{given}`", help=f"accept {forms}")
    return found if found in task.pictures else JSON


def best_of(accept: str, forms: Sequence[str]) -> str | None:
    """The form that ``Accept`` likes best; None when it takes none of them. A weight that is none counts as 1."""
    kept, refused = [], set[str]()
    for part in accept.split(","):
        name, *parameters = (p.strip() for p in part.split(";"))
        split = [(p.partition("=")[0].strip().lower(), p.partition("=")[2].strip()) for p in parameters]
        weight = next((value for key, value in split if key == "q" and _WEIGHT.fullmatch(value)), "1")
        others = (f"{key}={value}" for key, value in split if key != "q")
        if float(weight) == 0:
            refused.add(name.lower())
        elif name:
            kept.append(";".join([name, *others, f"q={weight}"]))
    left = [form for form in forms if form not in refused]
    return Accept(",".join(kept)).best_match(left) if kept and left else None


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

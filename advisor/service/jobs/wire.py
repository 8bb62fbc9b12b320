"""What is submitted as a job, and what is said of jobs."""

from __future__ import annotations

from functools import reduce
from operator import or_
from typing import Annotated, Any, Literal

import msgspec
from msgspec import Meta, Struct

from advisor.service.wire import Problem
from advisor.studies import STUDIES, Study

__all__ = ["JOB_EXAMPLE", "LONG", "Job", "JobPage", "JobRequest", "State", "study_of"]

State = Literal["queued", "running", "done", "failed", "cancelled"]

LONG: dict[str, Study] = {name: study for name, study in STUDIES.items() if study.long is not None}
"""The studies that may be run as jobs, by name."""


def _request(study: Study) -> Any:
    """What is submitted for one study: ``study`` names it, ``request`` is what its own route takes."""
    words = "".join(part.capitalize() for part in study.name.split("_"))
    return msgspec.defstruct(
        f"{words}Job", [("request", study.request)], module=__name__, tag_field="study", tag=study.name,
        kw_only=True, forbid_unknown_fields=True,
        namespace={"__doc__": f"A job: what `POST /v1/{study.name}` takes, to be answered in the background."},
    )  # fmt: skip


JobRequest: Any = reduce(or_, map(_request, LONG.values()))
"""What ``POST /v1/jobs`` takes: one of the long studies with its request."""

_SHOWN = next(iter(LONG.values()))
JOB_EXAMPLE: dict[str, Any] = {"study": _SHOWN.name, "request": _SHOWN.example}
"""A job, as JSON has it, that the demo pack answers."""


def study_of(submitted: Struct) -> str:
    """The name of the study that was submitted."""
    return str(submitted.__struct_config__.tag)


class Job(Struct, kw_only=True):
    """A study that runs in the background: how far it is, and where its answer will be."""

    id: Annotated[str, Meta(description="Random. Only who submitted the job finds it by this.")]
    study: Annotated[str, Meta(description="Name of the study.")]
    state: Annotated[
        State,
        Meta(
            description="`queued` and `running` go on to `done`, `failed` (too long, refused, or our fault) or "
            "`cancelled`; these three are final."
        ),
    ]
    done: Annotated[int, Meta(ge=0, description="Steps done, as the study counts them.")]
    total: Annotated[
        Annotated[int, Meta(ge=0)] | None,
        Meta(description="Steps known of so far, which may grow; null: not known yet."),
    ]
    seconds: Annotated[float, Meta(ge=0, description="Seconds that it has run, or did run.")]
    answer: Annotated[str | None, Meta(description="Path of the answer; null while there is none.")]
    problem: Annotated[Problem | None, Meta(description="Why it failed; null when it did not.")]


class JobPage(Struct, kw_only=True):
    """The jobs that are remembered, the oldest first."""

    jobs: list[Job]

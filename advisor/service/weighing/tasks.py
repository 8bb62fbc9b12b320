"""What can be submitted: advice and every study, each with its types, its words and an example.

Routes, decoders, suggestions and the OpenAPI document are made from this table.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from msgspec import Struct

from advisor.advice import Advice
from advisor.facts import Question
from advisor.library import Library
from advisor.pictures.offers import Draw, offers
from advisor.studies import STUDIES, Study

__all__ = ["ADVICE", "TASKS", "Task"]


class Task(Struct, frozen=True, kw_only=True):
    """One thing to submit to ``/v1/<name>``: what is taken, what is given, what it is called.

    It is sent as a body (POST) or in the address (GET). ``pictures`` are other forms of the answer by media type,
    see ``advisor.pictures.offers``.
    """

    name: str
    operation: str
    request: type[Struct]
    answer: type[Struct]
    run: Callable[[Library, Any], Any]
    summary: str
    description: str
    example: dict[str, Any]
    pictures: Mapping[str, Draw] = {}

    @property
    def path(self) -> str:
        """The path of its route."""
        return f"/v1/{self.name}"

    @property
    def operation_get(self) -> str:
        """The operation id of the same with the question in the address."""
        return f"{self.operation}Get"


ADVICE = Task(
    name="advice",
    operation="advise",
    request=Question,
    answer=Advice,
    run=Library.ask,
    summary="Ranked responses to a situation",
    description="Submit the state of the game; get the recommended responses in order, each with its proof.",
    example={
        "me": {"character": "wenna"},
        "them": {"character": "marl"},
        "moment": {"kind": "blocked", "attacker": "them", "move": "cinder_knee"},
        "distance": "touching",
    },
)


def _study(library: Library, request: Any, *, name: str) -> Any:
    return library.study(name, request)


def _operation(name: str) -> str:
    """The operation id: ``study`` and the name in camel case."""
    return "study" + "".join(part.capitalize() for part in name.split("_"))


def _task(study: Study) -> Task:
    return Task(
        name=study.name, operation=_operation(study.name), request=study.request, answer=study.answer,
        run=partial(_study, name=study.name), summary=study.summary, description=study.description,
        example=study.example, pictures=offers(study.name),
    )  # fmt: skip


TASKS: dict[str, Task] = {task.name: task for task in (ADVICE, *map(_task, STUDIES.values()))}
"""All tasks by name."""

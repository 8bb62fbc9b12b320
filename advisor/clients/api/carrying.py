"""Operations as methods: one list for the client that waits and the one that is awaited."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Coroutine
from functools import wraps
from typing import Any, Generic, ParamSpec, TypeVar, overload

from advisor.clients.api import notebook, operations, showing
from advisor.clients.api.calls import Plan
from advisor.clients.api.waiting import wait_for_job

__all__ = ["AsyncCarrier", "Carrier", "Operation", "Operations"]

P = ParamSpec("P")
R = TypeVar("R")


class Carrier(ABC):
    """Carries a plan out, and gives its answer."""

    @abstractmethod
    def carry_out(self, plan: Plan[R]) -> R:
        """The answer of the plan. Errors: ``ApiError``."""


class AsyncCarrier(ABC):
    """Carries a plan out when awaited."""

    @abstractmethod
    async def carry_out(self, plan: Plan[R]) -> R:
        """The answer of the plan. Errors: ``ApiError``."""


class Operation(Generic[P, R]):
    """A method with the parameters of the function that makes its plan; it gives the plan's answer."""

    def __init__(self, plan: Callable[P, Plan[R]]) -> None:
        self.plan = plan
        self.__doc__ = plan.__doc__

    @overload
    def __get__(self, client: None, owner: type[Any]) -> Operation[P, R]: ...
    @overload
    def __get__(self, client: Carrier, owner: type[Any]) -> Callable[P, R]: ...
    @overload
    def __get__(self, client: AsyncCarrier, owner: type[Any]) -> Callable[P, Coroutine[Any, Any, R]]: ...

    def __get__(self, client: Carrier | AsyncCarrier | None, owner: type[Any]) -> Any:
        if client is None:
            return self

        @wraps(self.plan)
        def method(*args: P.args, **kwargs: P.kwargs) -> Any:
            return client.carry_out(self.plan(*args, **kwargs))

        return method


class Operations:
    """What both clients offer; each is described where its function is."""

    advise = Operation(operations.advise)
    baits = Operation(operations.baits)
    beats = Operation(operations.beats)
    coverage = Operation(operations.coverage)
    defence = Operation(operations.defence)
    exposed = Operation(operations.exposed)
    guess = Operation(operations.guess)
    lab_list = Operation(operations.lab_list)
    parries = Operation(operations.parries)
    replay = Operation(operations.replay)
    round = Operation(operations.round)
    setups = Operation(operations.setups)
    strings = Operation(operations.strings)
    study = Operation(operations.study)
    submit = Operation(operations.submit)
    ask_by_address = Operation(operations.ask_by_address)
    picture = Operation(operations.picture)

    list_packs = Operation(operations.list_packs)
    get_pack = Operation(operations.get_pack)
    list_characters = Operation(operations.list_characters)
    get_character = Operation(operations.get_character)
    list_moves = Operation(operations.list_moves)
    get_move = Operation(operations.get_move)
    live = Operation(operations.live)

    submit_job = Operation(operations.submit_job)
    list_jobs = Operation(operations.list_jobs)
    get_job = Operation(operations.get_job)
    get_job_answer = Operation(operations.get_job_answer)
    get_job_picture = Operation(operations.get_job_picture)
    cancel_job = Operation(operations.cancel_job)
    wait_for_job = Operation(wait_for_job)

    ready = Operation(showing.ready)
    reload = Operation(showing.reload)
    submit_live = Operation(showing.submit_live)
    get_live = Operation(showing.get_live)
    clear_live = Operation(showing.clear_live)
    list_live = Operation(showing.list_live)

    add_trial = Operation(notebook.add_trial)
    list_trials = Operation(notebook.list_trials)
    get_trial = Operation(notebook.get_trial)
    list_sets = Operation(notebook.list_sets)
    add_set = Operation(notebook.add_set)
    get_set = Operation(notebook.get_set)
    remove_set = Operation(notebook.remove_set)
    add_entry = Operation(notebook.add_entry)
    remove_entry = Operation(notebook.remove_entry)
    rerun_set = Operation(notebook.rerun_set)
    next_lab = Operation(notebook.next_lab)
    export_set = Operation(notebook.export_set)
    import_set = Operation(notebook.import_set)
    compare_versions = Operation(notebook.compare_versions)

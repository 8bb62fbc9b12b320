"""Metrics for Prometheus: what requests and weighing cost, and what the parts of the service count for themselves.

A part of the service keeps plain numbers; ``register`` names a function that gives them, and they are read when
somebody looks. With several servers each writes into files of one folder (`PROMETHEUS_MULTIPROC_DIR`, which the one
that watches over them makes), and whichever is asked adds them up.
"""

from __future__ import annotations

import os
import re
from collections import Counter as CounterOf
from collections.abc import Callable, Mapping
from typing import Any

import prometheus_client
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector
from prometheus_client.exposition import choose_encoder
from prometheus_client.multiprocess import MultiProcessCollector

from advisor.service.weighing.tasks import TASKS
from advisor.service.weighing.work import JSON, Answer

__all__ = ["Metrics"]

FOLDER = "PROMETHEUS_MULTIPROC_DIR"
BUCKETS = (0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)
"""Bounds of the histograms, seconds."""
METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
CLASSES = ("lost", "1xx", "2xx", "3xx", "4xx", "5xx")
"""Classes of statuses; `lost`: the caller went away before there was one."""
_RULE = re.compile(r"[a-z0-9_/.-]{1,200}")
"""The id of a rule."""
Value = float | Mapping[str, float]

prometheus_client.disable_created_metrics()  # type: ignore[no-untyped-call]


class _Lazy:
    """Numbers that some part of the service keeps: a number, or numbers by the value of one label."""

    def __init__(self, metric: Counter | Gauge, give: Callable[[], Value], labelled: bool) -> None:
        self.metric, self.give, self.labelled = metric, give, labelled
        self._last: dict[str, float] = {}

    def refresh(self) -> None:
        found = self.give()
        for key, value in (found.items() if isinstance(found, Mapping) else (("", found),)):
            metric: Any = self.metric.labels(key) if self.labelled else self.metric
            if isinstance(self.metric, Gauge):
                metric.set(value)
            else:
                last = self._last.get(key, 0.0)
                # What counts may begin anew, as a pool does after a reload.
                metric.inc(value - last if value >= last else value)
                self._last[key] = value


class Metrics:
    """All metrics of one server process."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.folder = os.environ.get(FOLDER)
        self._lazy: list[_Lazy] = []
        self._requests = self._counter(
            "advisor_requests", "Requests answered.", ("operation", "method", "status")
        )
        self._seconds = self._histogram("advisor_request_seconds", "Time to answer a request.", ("operation",))
        self._weighing = self._histogram(
            "advisor_weighing_seconds", "Time to weigh a question, waiting for a worker included.", ("task",)
        )
        self._by_request: dict[tuple[str, str, int], tuple[Any, Any]] = {}
        self._by_task: dict[str, Any] = {}
        self._fired: CounterOf[str] = CounterOf()
        self.register(
            "advisor_rule_firings", "Conclusions of a rule in the reasons of weighed answers.", self._rules_fired,
            counts=True, label="rule",
        )
        if self.folder is None:
            ProcessCollector(registry=self.registry)

    def _counter(self, name: str, help: str, labels: tuple[str, ...] = ()) -> Counter:
        return Counter(name, help, labels, registry=self.registry)

    def _histogram(self, name: str, help: str, labels: tuple[str, ...]) -> Histogram:
        return Histogram(name, help, labels, buckets=BUCKETS, registry=self.registry)

    def register(
        self, name: str, help: str, give: Callable[[], Value], *, counts: bool = False, label: str = ""
    ) -> None:
        """Show what ``give`` gives: a gauge, or with ``counts`` a counter (`_total`); by ``label`` when it is set."""
        labels = (label,) if label else ()
        metric: Counter | Gauge
        if counts:
            metric = self._counter(name, help, labels)
        else:
            metric = Gauge(name, help, labels, registry=self.registry, multiprocess_mode="livesum")
        self._lazy.append(_Lazy(metric, give, bool(label)))

    def answered(self, operation: str, method: str, status: int, seconds: float) -> None:
        """Count one request; ``status`` 0: the caller went away before there was one."""
        key = (operation, method if method in METHODS else "other", status // 100)
        found = self._by_request.get(key)
        if found is None:
            found = self._by_request[key] = (
                self._requests.labels(operation, key[1], CLASSES[min(5, status // 100)]),
                self._seconds.labels(operation),
            )
        found[0].inc()
        found[1].observe(seconds)

    def saw(self, task: str, seconds: float, answer: Answer) -> None:
        """Count what a desk weighed, and how often each rule stands in its reasons.

        Rules are found in the answer itself, so that workers need not send them.
        """
        found = self._by_task.get(task)
        if found is None:
            found = self._by_task[task] = self._weighing.labels(task)
        found.observe(seconds)
        if answer.media_type == JSON and task in TASKS:
            # The values of an answer's texts cannot look like it, since quotes in them are escaped.
            parts = answer.body.split(b'"rule":"')
            self._fired.update(part[: part.index(b'"')].decode() for part in parts[1:])

    def _rules_fired(self) -> dict[str, int]:
        # Answers have other fields of that name, with words in them.
        return {rule: times for rule, times in self._fired.items() if _RULE.fullmatch(rule)}

    def refresh(self) -> None:
        """Read what the parts of the service count."""
        for lazy in self._lazy:
            lazy.refresh()

    def shown(self, accept: str) -> tuple[bytes, str]:
        """All metrics in the text form that the caller takes, and its media type."""
        self.refresh()
        registry = self.registry
        if self.folder is not None:
            registry = CollectorRegistry()
            MultiProcessCollector(registry, path=self.folder)  # type: ignore[no-untyped-call]
        encode, media_type = choose_encoder(accept)
        return encode(registry), media_type

"""Which numbers of the service's parts are shown as metrics."""

from __future__ import annotations

from collections import Counter

from advisor.service.jobs.queue import Jobs
from advisor.service.live.hub import Hub
from advisor.service.running.served import Served
from advisor.service.seen.metrics import Metrics
from advisor.service.weighing.identity import package_version

__all__ = ["register"]

STATES = ("queued", "running", "done", "failed", "cancelled")


def register(metrics: Metrics, served: Served, jobs: Jobs, hub: Hub) -> None:
    """Show what desk, jobs, channels and reloads count."""

    def states() -> dict[str, float]:
        found: Counter[str] = Counter(job.state for job in jobs.listed())
        return {state: found[state] for state in STATES}

    def build() -> dict[str, float]:
        return {package_version(): 1}

    def kept() -> dict[str, float]:
        found = desk.kept
        return {} if found is None else {"hit": found.hits, "miss": found.misses, "shared": found.shared}

    desk = served.desk
    metrics.register("advisor_build_info", "The version that runs, for each server.", build, label="version")
    metrics.register("advisor_worker_losses", "Workers that had to be replaced.", lambda: desk.losses, counts=True)
    metrics.register(
        "advisor_plain_answers", "Questions answered by the plain evaluator because their worker was lost.",
        lambda: desk.plain_answers, counts=True,
    )  # fmt: skip
    metrics.register(
        "advisor_late_questions", "Questions given up since they took too long.", lambda: desk.late, counts=True
    )
    metrics.register(
        "advisor_busy_refusals", "Questions refused since no worker was free in time.", lambda: desk.refused,
        counts=True,
    )  # fmt: skip
    metrics.register(
        "advisor_kept_answers", "Answers looked for among those kept, by outcome.", kept, counts=True, label="outcome"
    )
    metrics.register("advisor_jobs", "Jobs that are remembered, by state.", states, label="state")
    metrics.register("advisor_live_subscribers", "Subscribers of live channels.", lambda: hub.subscribers)
    metrics.register("advisor_live_channels", "Live channels that somebody watches.", lambda: hub.rooms)
    metrics.register(
        "advisor_live_dropped", "Subscribers dropped since they fell behind.", lambda: hub.dropped, counts=True
    )
    metrics.register(
        "advisor_live_events", "Events handed to subscribers.", lambda: hub.events, counts=True
    )
    metrics.register(
        "advisor_reloads", "Reloads of packs and rules, by outcome.", lambda: dict(served.reloads), counts=True,
        label="outcome",
    )  # fmt: skip

"""The routes on the state of the service: ready or not, and the metrics."""

from __future__ import annotations

from typing import Any

import msgspec
from litestar import Request, Response, get
from litestar.di import NamedDependency

from advisor.errors import STATUS
from advisor.service.operations import READ_ERRORS, Operations
from advisor.service.problems import PROBLEM, TITLES
from advisor.service.seen.metrics import Metrics
from advisor.service.seen.readiness import Readiness, Ready, Unready
from advisor.service.weighing.work import JSON

__all__ = ["HEALTH", "metrics_route"]

NOT_READY = "not-ready"


@get(
    "/v1/health/ready",
    operation_id="ready",
    summary="The service is ready",
    description="Whether it can answer now: workers, packs, the store and Redis when they are used.",
    opt={"needs": "none"},
)
async def ready(readiness: NamedDependency[Readiness]) -> Response[bytes]:
    """Readiness, part by part."""
    parts = await readiness.parts()
    down = [part for part in parts if part.state == "down"]
    if not down:
        return Response(msgspec.json.encode(Ready(status="ready", parts=parts)), media_type=JSON)
    problem = Unready(
        type=f"/problems/{NOT_READY}", title=TITLES[NOT_READY], status=STATUS[NOT_READY], code=NOT_READY,
        detail="; ".join(f"{part.name}: {part.detail}" for part in down), help="try again in a moment", parts=parts,
    )  # fmt: skip
    return Response(msgspec.json.encode(problem), status_code=problem.status, media_type=PROBLEM)


def _any_form(_: Request[Any, Any, Any]) -> None:
    """Whoever collects metrics takes what is offered."""


@get("/metrics", include_in_schema=False, sync_to_thread=True, opt={"needs": "admin"}, before_request=_any_form)
def metrics_route(request: Request[Any, Any, Any], metrics: NamedDependency[Metrics]) -> Response[bytes]:
    """The metrics, in the text form of Prometheus or of OpenMetrics."""
    body, media_type = metrics.shown(request.headers.get("accept", ""))
    return Response(body, headers={"Content-Type": media_type, "Cache-Control": "no-store"})


HEALTH = Operations(
    routes=(ready,),
    types=(Ready, Unready),
    done={"ready": "It is ready."},
    errors={"ready": {**READ_ERRORS, "503": "A part that is used is down: `parts` says which."}},
    problems={("ready", "503"): Unready},
    answers={"ready": {JSON: Ready}},
)
"""Readiness."""


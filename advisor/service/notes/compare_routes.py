"""The route that compares two versions of a pack."""

from __future__ import annotations

from typing import Any

import msgspec
from litestar import Request, Response, post
from litestar.di import NamedDependency

from advisor.service.asking.media_types import check_media_type
from advisor.service.asking.reading import decode
from advisor.service.asking.spelling import words_of
from advisor.service.notes.errands import CompareErrand
from advisor.service.notes.errands_at import send
from advisor.service.notes.store import address_of
from advisor.service.notes.wire import COMPARE_EXAMPLE, CompareGiven
from advisor.service.operations import BODY_ERRORS, Body, Operations
from advisor.service.running.served import Served
from advisor.service.weighing.work import JSON, Desk
from advisor.versions import Comparison

__all__ = ["COMPARING"]

_DECODER = msgspec.json.Decoder(CompareGiven)


@post(
    "/v1/compare",
    operation_id="compareVersions",
    summary="Two versions of a pack, and what follows from their difference",
    description="Punishes that appeared or vanished, strings that now have gaps, saved answers that flipped, ranked by "
    "how much they matter; then every property. A version is a loaded pack, or its files in the body.",
    status_code=200,
    opt={"needs": "read", "large": True},
)
async def compare_versions(
    request: Request[Any, Any, Any], desk: NamedDependency[Desk], served: NamedDependency[Served]
) -> Response[bytes]:
    """Compare."""
    check_media_type(request.headers.get("content-type", ""))
    given = decode(await request.body(), _DECODER, words_of(CompareGiven))
    settings = served.holding.settings
    return (
        await send(
            desk, "compare", CompareErrand(notebook=address_of(settings), engine=settings.engine, given=given)
        )
    ).response()


COMPARING = Operations(
    routes=(compare_versions,),
    done={"compareVersions": "What changed, the weightiest first."},
    errors={
        "compareVersions": {
            **BODY_ERRORS, "404": "A pack, the character, the distance or the study set is not known.",
            "422": "The files of a version are faulty: the problem names every fault.",
            "503": "No worker is free, or it takes too long.",
        }
    },
    headers={("compareVersions", "503"): {"Retry-After": ("Seconds after which to try again.", "integer")}},
    bodies={
        "compareVersions": Body(
            type=CompareGiven, description="Both versions, and what to look at.", summary="A pack with itself",
            example=COMPARE_EXAMPLE,
        )
    },
    answers={"compareVersions": {JSON: Comparison}},
)  # fmt: skip
"""The comparison."""

"""Sending an errand to the desk, under the bounds that questions have."""

from __future__ import annotations

from typing import NamedTuple

import msgspec
from litestar import Response
from msgspec import Struct

from advisor.service.problems import RETRY_AFTER
from advisor.service.weighing.work import Desk

__all__ = ["Sent", "send"]


class Sent(NamedTuple):
    """Status, media type and body of what came back."""

    status: int
    media_type: str
    body: bytes

    def response(self) -> Response[bytes]:
        """The response of a route."""
        headers = {"Retry-After": str(RETRY_AFTER)} if self.status == 503 else {}
        return Response(self.body, status_code=self.status, media_type=self.media_type, headers=headers)


async def send(desk: Desk, errand: str, request: Struct) -> Sent:
    """What a worker makes of the errand; nothing of it is kept. Errors: as ``Desk.weigh``."""
    status, media_type, body, _ = await desk.errand(errand, msgspec.json.encode(request))
    return Sent(status, media_type, body)

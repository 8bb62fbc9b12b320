"""What has to hold before the service starts."""

from __future__ import annotations

from advisor.errors import QuestionError
from advisor.service.settings import Settings

__all__ = ["check_live"]


def check_live(settings: Settings) -> None:
    """Errors: ``QuestionError`` where several servers would each have channels of their own."""
    if settings.servers > 1 and settings.redis is None:
        raise QuestionError(
            "value-invalid",
            f"`ADVISOR_SERVERS` is `{settings.servers}` while `ADVISOR_REDIS` is not set: a live channel of one server "
            "would not be seen on the others",
            help="set `ADVISOR_REDIS` to the address of a Redis server (`redis://127.0.0.1:6379/0`), or use one server",
        )

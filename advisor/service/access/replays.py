"""Signed bodies of late, so that none counts twice; over several servers by Redis where it is set."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from advisor.service.bot.signed import Seen

__all__ = ["Replays"]


class Replays:
    """Remembers marks for as long as a signature is good; opened when the first one comes."""

    def __init__(self, address: str | None) -> None:
        self._address = address
        self._seen: Seen | None = None

    async def first(self, mark: bytes, stamp: int, now: float) -> bool:
        """Whether the mark (of something signed at ``stamp``, seconds since 1970) comes for the first time."""
        if self._seen is None:
            from advisor.service.bot.signed import Seen  # its libraries cost nobody anything who has no webhook

            self._seen = Seen(self._address)
        return await self._seen.first(mark, stamp, now)

    async def close(self) -> None:
        """Let go of the connections."""
        if self._seen is not None:
            await self._seen.close()

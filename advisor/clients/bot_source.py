"""What the study bot asks when its answers come from another service, over REST."""

from __future__ import annotations

import time

import msgspec

from advisor.clients.api import ApiError, AsyncAdvisor, ProblemError
from advisor.errors import STATUS, AdvisorError
from advisor.notebook.next_lab import NextLab
from advisor.pictures.offers import PNG
from advisor.service.bot.names import Named, Names
from advisor.service.problems import PROBLEM, encode_problem
from advisor.service.weighing.work import JSON, Answer
from advisor.service.wire import PackPage

__all__ = ["Remote"]

FRESH = 300.0
"""Seconds for which the names of a pack are kept."""
PAGE = 400


class Remote:
    """The source of a bot whose packs another service has; see ``advisor.service.bot.source.Source``."""

    def __init__(self, advisor: AsyncAdvisor) -> None:
        self._advisor = advisor
        self._page: tuple[float, PackPage] | None = None
        self._names: dict[str, tuple[float, Names]] = {}

    async def ask(self, task: str, body: bytes, media_type: str) -> Answer:
        """The response to one request. Errors: ``AdvisorError`` when none comes."""
        try:
            if media_type == PNG:
                drawn = await self._advisor.picture(task, msgspec.json.decode(body), "png")
                return Answer(200, PNG, drawn)
            return Answer(200, JSON, await self._advisor.submit(task, body))
        except ProblemError as error:
            return Answer(error.status, PROBLEM, encode_problem(error.problem))
        except ApiError as error:
            raise _down(error) from None

    async def packs(self) -> list[Named]:
        """The packs of the service."""
        return [Named(one.id, one.name) for one in (await self._packs()).packs]

    async def names(self, pack: str | None) -> Names:
        """What a pack names; the service does not list knockdown states, so none are suggested."""
        wanted = pack or next(one.id for one in (await self._packs()).packs if one.default)
        kept = self._names.get(wanted)
        if kept and time.monotonic() - kept[0] < FRESH:
            return kept[1]
        try:
            found = await self._read(wanted)
        except ApiError as error:
            raise _down(error) from None
        self._names[wanted] = (time.monotonic(), found)
        return found

    async def lab(self, name: str, tries: int) -> NextLab:
        """Errors: ``AdvisorError``: the service has no such route."""
        del name, tries
        raise AdvisorError(
            "question-impossible", "the lab notebook is not at hand here",
            help="run the bot where the notebook is: without `--url`, or in the service",
        )  # fmt: skip

    async def sets(self) -> list[Named]:
        """None, as for ``lab``."""
        return []

    async def _packs(self) -> PackPage:
        if self._page is None or time.monotonic() - self._page[0] > FRESH:
            try:
                self._page = (time.monotonic(), await self._advisor.list_packs())
            except ApiError as error:
                raise _down(error) from None
        return self._page[1]

    async def _read(self, pack: str) -> Names:
        info = await self._advisor.get_pack(pack)
        page = await self._advisor.list_characters(pack)
        moves = {one.id: await self._moves(pack, one.id) for one in page.characters}
        return Names(
            pack=pack, characters=tuple(Named(one.id, one.name) for one in page.characters), moves=moves,
            system=tuple(Named(one) for one in info.system), distances=tuple(Named(one) for one in info.distances),
            knockdowns=(),
        )  # fmt: skip

    async def _moves(self, pack: str, character: str) -> tuple[Named, ...]:
        found: list[Named] = []
        while True:
            wanted = {"limit": PAGE, "offset": len(found)}
            page = await self._advisor.list_moves(pack, character, wanted)
            found += [Named(one.id, one.name, one.input or "") for one in page.moves]
            if not page.moves or len(found) >= page.total:
                return tuple(found)


def _down(error: ApiError) -> AdvisorError:
    """The error in our own words; a code that only a newer service has becomes a plain one."""
    if isinstance(error, ProblemError):
        code = error.code if error.code in STATUS else "fault"
        return AdvisorError(code, error.detail, help=error.help, pointer=error.pointer or f"/{error.parameter}")
    return AdvisorError("fault", "the service does not answer", help="try again later")

"""Which language an answer's sentences are in: what the caller likes best of those that there are."""

from __future__ import annotations

from contextlib import nullcontext
from functools import cache
from typing import Any

from advisor.sentences import better_of, languages, speaking, spoken
from advisor.service.seen.about import ABOUT, About

__all__ = ["Speaking"]


STREAM = b"text/event-stream"
"""What holds answers in the languages of those who showed them."""


class Speaking:
    """An ASGI layer: within it the language of the request is spoken (RFC 9110, 12.5.4), ``usual`` without a wish.

    Answers say which it is (``Content-Language``), and that it hangs on the request (``Vary``). Problems are
    in English.
    """

    def __init__(self, app: Any, usual: str) -> None:
        self._app = app
        self._usual = usual

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One connection, as ASGI has it."""
        wish = next((value for name, value in scope["headers"] if name == b"accept-language"), b"")
        language = better_of(wish.decode("latin-1"), self._usual) if wish else self._usual

        async def answer(message: Any) -> None:
            # A 304 says what the whole answer would (RFC 9110, 15.4.5): caches take it over.
            if message["type"] == "http.response.start" and (message["status"] < 300 or message["status"] == 304):
                there = message["headers"]
                if not any(name.lower() == b"content-language" or value == STREAM for name, value in there):
                    message["headers"] = [*there, *_told(language)]
            await send(message)

        about = ABOUT.get()
        if about is None or about.language != language:
            # Worker processes are told with the request.
            ABOUT.set(About("", None, language) if about is None else about._replace(language=language))
        with nullcontext() if spoken() == language else speaking(language):
            await self._app(scope, receive, answer if len(languages()) > 1 else send)


@cache
def _told(language: str) -> tuple[tuple[bytes, bytes], ...]:
    return (b"content-language", language.encode()), (b"vary", b"Accept-Language")

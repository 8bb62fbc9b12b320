"""Pictures of an answer beside its JSON, by study and media type.

How it works: a caller of ``POST /v1/<study>`` names a media type in ``Accept``; the service looks it up here,
the worker answers the request as ever and hands answer and request to the function, and what that returns is
the body. So a drawing never holds up the server's own process. Without such an ``Accept`` the answer is JSON,
what is neither is refused with 406, errors are problem details whatever was asked for. The contract
lists the media types.

To offer a picture: write ``draw(answer, request, *, theme="light") -> bytes`` in a module of this package and add it
to ``OFFERS`` under the study's name and the media type. Import a heavy library inside the function: this module
is read wherever the service or a command starts. ``clients/picturing.py`` has the options for the command.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, Protocol

from advisor.pictures.answers import coverage_drawn, guess_drawn, round_drawn
from advisor.pictures.replay_dots import replay_png
from advisor.pictures.replay_strip import replay_svg

__all__ = ["OFFERS", "PNG", "SVG", "Draw", "offers"]


class Draw(Protocol):
    """``(answer, request) -> bytes`` of one picture; ``theme`` is light or dark."""

    def __call__(self, answer: Any, request: Any, *, theme: str = "light") -> bytes:
        """Draw it. Errors: ``QuestionError``, ``Unanswerable``."""


SVG = "image/svg+xml"
PNG = "image/png"


def _both(drawn: Callable[[str, Any, Any, str], bytes]) -> dict[str, Draw]:
    """The two forms of a picture that ``drawn(form, answer, request, theme)`` draws."""

    def svg(answer: Any, request: Any, *, theme: str = "light") -> bytes:
        return drawn("svg", answer, request, theme)

    def png(answer: Any, request: Any, *, theme: str = "light") -> bytes:
        return drawn("png", answer, request, theme)

    return {SVG: svg, PNG: png}


OFFERS: dict[str, dict[str, Draw]] = {
    "coverage": _both(coverage_drawn),
    "replay": {SVG: replay_svg, PNG: replay_png},
    "guess": _both(guess_drawn),
    "round": _both(round_drawn),
}


def offers(study: str) -> Mapping[str, Draw]:
    """The pictures of a study by media type; none for one that has no picture."""
    return MappingProxyType(OFFERS.get(study, {}))

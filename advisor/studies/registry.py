"""Every study by name."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any

from advisor.studies.baits import STUDY as BAITS
from advisor.studies.beats import STUDY as BEATS
from advisor.studies.coverage import STUDY as COVERAGE
from advisor.studies.defence import STUDY as DEFENCE
from advisor.studies.exposed import STUDY as EXPOSED
from advisor.studies.gaps_in_data import STUDY as LAB_LIST
from advisor.studies.guess_model import Guess, GuessAnswer
from advisor.studies.parries import STUDY as PARRIES
from advisor.studies.replay import STUDY as REPLAY
from advisor.studies.round_answer import Round, RoundAnswer
from advisor.studies.setups import STUDY as SETUPS
from advisor.studies.strings import STUDY as STRINGS
from advisor.studies.study import Study

__all__ = ["STUDIES"]


def _on_first_call(module: str, part: str) -> Callable[..., Any]:
    """The function ``part`` of a module that is loaded, and the solver's libraries with it, on the first call."""

    def call(*given: Any) -> Any:
        return getattr(import_module(module), part)(*given)

    return call


GUESS = Study(
    name="guess",
    request=Guess,
    answer=GuessAnswer,
    run=_on_first_call("advisor.studies.guess", "guess"),
    summary="How often to do what, where nothing is guaranteed",
    description=(
        "The payoffs of a situation as a matrix (damage for less damage against, and what is left), both best mixes "
        "with the value and its certificate, what each option loses, which never belong in the mix, what a read "
        "changes and what it risks, and what my own execution does to it."
    ),
    example={
        "me": {"character": "marl"}, "them": {"character": "wenna"},
        "moment": {"kind": "advantage", "frames": 4, "held": "blockstun"}, "distance": "close", "limit": 6,
        "read": {"kind": "counts", "counts": {"stand_guard": 6, "backdash": 1}}, "risk": 1.0,
    },
)  # fmt: skip

ROUND = Study(
    name="round",
    request=Round,
    answer=RoundAnswer,
    run=_on_first_call("advisor.studies.round", "round_study"),
    long=_on_first_call("advisor.studies.round", "round_study"),
    check=_on_first_call("advisor.studies.round", "refuse"),
    summary="What a situation is worth near the end of a round",
    description=(
        "The round as a game over situations and both healths: the chance to win from each, as a certified bracket, "
        "the mix at these healths, and the healths at which a hit ends the round or the comeback rule begins."
    ),
    example={
        "me": {"character": "marl", "health": 60}, "them": {"character": "wenna", "health": 40},
        "distance": "close", "steps": 5, "options": 3,
    },
)  # fmt: skip

STUDIES: dict[str, Study] = {
    study.name: study
    for study in (
        COVERAGE, REPLAY, STRINGS, DEFENCE, PARRIES, BEATS, EXPOSED, LAB_LIST, SETUPS, BAITS, GUESS, ROUND,
    )
}  # fmt: skip
"""The studies by name, in the order in which they are documented."""

"""Which picture belongs to the answer of a study: ``(form, answer, request, theme) -> bytes``; form is svg or png.

Errors: ``QuestionError`` for a picture too large to draw, ``Unanswerable`` for a row that is not there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from advisor.pictures.coverage_map import coverage_picture
from advisor.pictures.mix_bars import Bar, mix_picture
from advisor.pictures.win_chance import win_picture
from advisor.pictures.windows_strip import windows_picture
from advisor.rules.wording import word_said
from advisor.sentences import in_words, say
from advisor.studies.coverage_answer import CoverageAnswer
from advisor.studies.guess_model import Guess, GuessAnswer, Option
from advisor.studies.round_answer import Round, RoundAnswer

if TYPE_CHECKING:
    from advisor.studies.coverage import Coverage

__all__ = ["coverage_drawn", "guess_drawn", "round_drawn"]


def coverage_drawn(form: str, answer: CoverageAnswer, request: Coverage, theme: str) -> bytes:
    """The table, or the timing of one row, the best one when none is named; without rows the empty table."""
    if request.picture == "timing" and answer.rows:
        return windows_picture(answer, request.row or answer.rows[0].option, form, theme=theme)
    return coverage_picture(answer, form, theme=theme)


def guess_drawn(form: str, answer: GuessAnswer, request: Guess, theme: str) -> bytes:
    """Both mixes with what each option loses."""
    del request
    me, them = answer.situation.me, answer.situation.them
    labels = (say("{me} (me)", me=me), say("{them} (them)", them=them))
    share = answer.unit == "win_chance"
    times = 100 if share else 1
    unit = in_words("% of rounds") if share else in_words("points")
    return mix_picture(
        labels, _bars(answer.mine, times), _bars(answer.theirs, times), answer.value * times,
        unit, form, title=answer.situation.sentence, theme=theme,
    )  # fmt: skip


def _bars(options: list[Option], times: int) -> list[Bar]:
    return [(one.name, one.share, one.loss * times) for one in options]


def round_drawn(form: str, answer: RoundAnswer, request: Round, theme: str) -> bytes:
    """The chance to win over both healths in the situation that is shown."""
    del request
    stand = answer.stand
    situation = say(
        "{situation}, {me} against {them}",
        situation=word_said(stand.situation), me=answer.me, them=answer.them,
    )
    return win_picture(
        stand.lower, stand.upper, len(stand.lower), len(stand.lower[0]), answer.points_per_step, situation, form,
        theme=theme,
    )  # fmt: skip

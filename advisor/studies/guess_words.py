"""The mix in words: why an option belongs in it or does not, and what is dominated or alike."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from advisor.sentences import in_words, say
from advisor.solver.matrix import Equilibrium
from advisor.solver.structure import SideStructure, side_structure
from advisor.solver.structure import in_words as structured
from advisor.studies.guess_model import Option
from advisor.studies.guess_table import PLAYED, Plan, Table

__all__ = ["Chosen", "options_of", "remarks_of", "sides_of"]

class Chosen(Struct, frozen=True, kw_only=True):
    """The lines that are shown, of the whole table: indices of rows and columns, what is played first."""

    rows: list[int]
    columns: list[int]


def sides_of(table: Table, mix: Equilibrium, chosen: Chosen, noise: float) -> tuple[SideStructure, SideStructure]:
    """What is dominated and what may be mixed among the shown options of each side.

    ``table`` and ``mix`` are of the whole game: a shown option is compared with the other shown ones against all
    that the other side can do.
    """
    x, y = np.array(mix.rows), np.array(mix.columns)
    mine = side_structure(table.payoff[chosen.rows], x[chosen.rows], y, noise)
    theirs = side_structure(-table.payoff[:, chosen.columns].T, y[chosen.columns], x, noise)
    return mine, theirs


def remarks_of(mine: SideStructure, theirs: SideStructure, options: Sequence[Option], noise: float) -> list[str]:
    """Whether the mixes are the only ones, and what is as good as the mix within the noise."""
    out = []
    if not mine.unique:
        out.append(in_words("My best mix is not the only one: `least` and `most` say how far each share may go."))
    if not theirs.unique:
        out.append(in_words("Their best mix is not the only one."))
    near = [one.name for one in options if not one.share and one.loss <= noise]
    if near:
        names = ", ".join(near)
        out.append(say("Against their mix these earn the same within {noise:g}: {names}.", noise=noise, names=names))
    return out


def options_of(
    plans: Sequence[Plan],
    shares: NDArray[np.float64],
    losses: NDArray[np.float64],
    side: SideStructure,
    chances: Sequence[float | None] | None,
    other: str,
) -> list[Option]:
    """The options of one side with their share of the mix and why, in the order of the table."""
    names = [plan.name for plan in plans]
    bare = msgspec.structs.replace(side, alike=(), unique=True)
    said = {way.option: text for way, text in zip(bare.dominated, structured(bare, names, other=other), strict=False)}
    out = []
    for i, plan in enumerate(plans):
        share = float(shares[i]) if shares[i] > PLAYED else 0.0
        use = side.uses[i]
        loss = max(0.0, float(losses[i]))
        out.append(
            Option(
                option=plan.key, name=plan.name, share=share, least=use.least, most=use.most, loss=loss,
                delay=plan.delay, width=plan.width, chance=chances[i] if chances else None,
                sentence=_sentence(plan.name, share, loss, use.most, said.get(i)),
            )
        )  # fmt: skip
    return out


def _sentence(name: str, share: float, loss: float, most: float, dominated: str | None) -> str:
    if share > 0:
        return say("{name} is {share:.0%} of the mix.", name=name, share=share)
    if dominated is not None:
        return f"{dominated}."
    if most > PLAYED:
        return say("{name} may take up to {most:.0%} of another mix that is as good.", name=name, most=most)
    if round(loss, 2) == 0:
        return say("{name} is not in this mix, but loses nothing against the other side's.", name=name)
    return say("{name} is not in the mix: it loses {loss:.2f} against the other side's.", name=name, loss=loss)

"""What a matrix game says beyond one pair of mixes: what is dominated, what may be mixed, what is alike.

Everything is told for one side at a time, as its own payoffs: for the columns the game is turned
round (minus its transpose), so "earns" always means the side spoken of. Option i is dominated by a
mix w when w'A - A_i is nowhere negative; the best such w is itself the mix of a game, the one of the
differences. The optimal mixes of a side are the polytope {x: x'A >= value}, and the range of each
share (and of each loss) is two linear programs over it. The programs are accurate to about 1e-9 of
the spread of the payoffs: what differs by less than that counts as equal.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from advisor.sentences import in_words as translated
from advisor.sentences import mark, say
from advisor.solver.matrix import (
    TOLERANCE,
    Equilibrium,
    NotSolvable,
    certify,
    game_matrix,
    linear_solver,
    positive,
    solve,
)

__all__ = [
    "Alike",
    "Domination",
    "GameStructure",
    "SideStructure",
    "Use",
    "dominated",
    "in_words",
    "side_structure",
    "structure",
]

Array = NDArray[np.float64]

SHARE = 1e-7
_WHATEVER = {"they": mark("whatever they do"), "I": mark("whatever I do"), "you": mark("whatever you do")}
"""A share below this is none; the programs are accurate to about 1e-9."""


class Domination(Struct, frozen=True, kw_only=True):
    """An option that another, or a mix of others, makes needless. Units: payoffs of its side."""

    option: int
    by: tuple[int, ...]
    """One option, or those of the mix."""
    weights: tuple[float, ...]
    """Their shares, as long as ``by``; they sum to 1."""
    margin: float
    """What ``by`` earns more, at least, whatever the other side does; 0 when weak."""
    most: float
    """What it earns more at most."""
    strict: bool
    """Whether it earns more against everything, so that the option is in no optimal mix."""


class Use(Struct, frozen=True, kw_only=True):
    """How one option appears in the optimal mixes of its side, and what it loses against the other side's."""

    option: int
    least: float
    """The least share over all optimal mixes."""
    most: float
    """The largest share over all optimal mixes."""
    least_loss: float
    """The least it loses (value - what it earns) against an optimal mix of the other side."""
    most_loss: float
    """The most it loses against an optimal mix of the other side."""

    @property
    def belongs(self) -> str:
        """``always`` (in every optimal mix), ``some`` (in some of them) or ``never``."""
        if self.most <= SHARE:
            return "never"
        return "always" if self.least > SHARE else "some"


class Alike(Struct, frozen=True, kw_only=True):
    """Options whose losses against the given mix of the other side are within the tolerance of each other."""

    options: tuple[int, ...]
    spread: float
    """The largest difference between two of them, in payoffs."""


class SideStructure(Struct, frozen=True, kw_only=True):
    """All of it for one side."""

    uses: tuple[Use, ...]
    """One an option, in order."""
    unique: bool
    """Whether there is only one optimal mix."""
    dominated: tuple[Domination, ...]
    alike: tuple[Alike, ...]


class GameStructure(Struct, frozen=True, kw_only=True):
    """All of it for both sides; the rows are mine."""

    equilibrium: Equilibrium
    rows: SideStructure
    columns: SideStructure


def structure(payoff: object, *, noise: float = 0.0, found: Equilibrium | None = None) -> GameStructure:
    """Domination, the optimal mixes and the likeness of options. Shape: m x n, rows mine, I maximise.

    Args: ``noise`` in payoffs, options that differ by no more are alike; ``found``, the equilibrium
    if there is one already.
    Errors: NotSolvable for a matrix that is no game, a noise that is no amount, a ``found`` of another game.
    """
    if not 0 <= noise < np.inf:
        raise NotSolvable(f"the noise is `{noise}`", help="an amount of payoff, 0 or more")
    matrix = game_matrix(payoff)
    found = solve(matrix) if found is None else _checked(matrix, found)
    return GameStructure(
        equilibrium=found,
        rows=side_structure(matrix, np.array(found.rows), np.array(found.columns), noise),
        columns=side_structure(-matrix.T, np.array(found.columns), np.array(found.rows), noise),
    )


def _checked(matrix: Array, found: Equilibrium) -> Equilibrium:
    """The equilibrium handed in, if it is one of this game. Errors: NotSolvable."""
    if matrix.shape != (len(found.rows), len(found.columns)):
        raise NotSolvable(
            f"the mixes handed in are of a game of {len(found.rows)} x {len(found.columns)} options",
            help=f"this one is {matrix.shape[0]} x {matrix.shape[1]}",
        )
    gap = certify(matrix, np.array(found.rows), np.array(found.columns)).gap
    if not gap <= TOLERANCE * max(1.0, float(np.abs(matrix).max())):
        raise NotSolvable(f"the mixes handed in are no equilibrium of this game: a gap of {gap:.3g} is left")
    return found


def side_structure(matrix: Array, x: Array, y: Array, noise: float) -> SideStructure:
    """One side of a game alone. Shape: matrix m x n as that side's own payoffs, x and y a pair of best mixes."""
    uses = _uses(matrix, x, y)
    return SideStructure(
        uses=uses, unique=all(use.most - use.least <= SHARE for use in uses), dominated=dominated(matrix),
        alike=_alike(matrix @ y, noise),
    )  # fmt: skip


# --- domination ------------------------------------------------------------------------------


def dominated(payoff: object) -> tuple[Domination, ...]:
    """Every dominated row, each with the option or the mix that shows it most plainly.

    Shape: m x n, of the side spoken of (for the columns: minus the transpose). In this order, the
    first that is found: strictly by one option, strictly by a mix, weakly by one, weakly by a mix.
    Errors: NotSolvable.
    """
    matrix = game_matrix(payoff)
    ways = (_dominated(matrix, i) for i in range(len(matrix))) if len(matrix) > 1 else ()
    return tuple(way for way in ways if way is not None)


def _dominated(matrix: Array, option: int) -> Domination | None:
    others = np.delete(np.arange(len(matrix)), option)
    more = matrix[others] - matrix[option]
    # Differences below this are rounding: payoffs are sums and products of measured numbers.
    nothing = 1e-9 * float(matrix.max() - matrix.min())
    one = np.eye(len(others))[int(more.min(axis=1).argmax())]
    best = _beaten(option, others, one, more, nothing)
    if best is not None and best.strict:
        return best
    mixed = solve(more)
    if mixed.lower > nothing:
        return _beaten(option, others, np.array(mixed.rows), more, nothing)
    if mixed.upper < -nothing:
        return None
    return _weakly(option, others, more, nothing)


def _weakly(option: int, others: NDArray[np.intp], more: Array, nothing: float) -> Domination | None:
    """By the single option that earns most in sum, else by the mix that does, among those nowhere worse."""
    able = np.flatnonzero((more.min(axis=1) >= -nothing) & (more.max(axis=1) > nothing))
    if len(able):
        best = able[more[able].sum(axis=1).argmax()]
        return _beaten(option, others, np.eye(len(others))[best], more, nothing)
    largest = float(np.abs(more).max()) or 1.0
    weights = _Polytope(more / largest, 0.0).furthest((more / largest).sum(axis=1))
    return _beaten(option, others, weights, more, nothing)


def _beaten(
    option: int, others: NDArray[np.intp], weights: Array, more: Array, nothing: float
) -> Domination | None:
    used = weights > SHARE
    weights = weights[used] / weights[used].sum()
    earned = weights @ more[used]
    margin, most = float(earned.min()), float(earned.max())
    if margin < -nothing or most <= nothing:
        return None
    return Domination(
        option=option, by=tuple(others[used].tolist()), weights=tuple(weights.tolist()),
        margin=max(margin, 0.0), most=most, strict=margin > nothing,
    )  # fmt: skip


# --- all optimal mixes -----------------------------------------------------------------------


class _Polytope:
    """The mixes x with x'A >= floor, as a program whose aim can be changed. Shape of A: m x n, of size about 1."""

    def __init__(self, matrix: Array, floor: float) -> None:
        m, n = matrix.shape
        self.matrix, self.floor, self.count = matrix, floor, m
        entries = np.ones((m, n + 1))
        entries[:, :n] = matrix
        bounds = np.full(n + 1, floor), np.full(n + 1, np.inf)
        for bound in bounds:
            bound[n] = 1
        start = np.arange(0, m * (n + 1) + 1, n + 1, dtype=np.int32)
        index = np.tile(np.arange(n + 1, dtype=np.int32), m)
        self.highs = linear_solver()
        self.highs.passModel(
            m, n + 1, m * (n + 1), 1, 1, 0.0, np.zeros(m), np.zeros(m), np.ones(m), *bounds,
            start, index, entries.ravel(), np.zeros(m, dtype=np.int32),
        )  # fmt: skip

    def furthest(self, aim: Array) -> Array:
        """The mix of the polytope for which aim'x is largest. Shape: m. Errors: NotSolvable."""
        self.highs.changeColsCost(self.count, np.arange(self.count, dtype=np.int32), -np.asarray(aim))
        for attempt in (self._onward, self._afresh, self._slackened, self._primal):
            attempt()
            mix = self._found()
            if mix is not None:
                return mix
        raise NotSolvable("the set of optimal mixes could not be followed to its end")

    def _found(self) -> Array | None:
        """The mix that the solver stands at, if it says it is the best and the mix is of the polytope."""
        said = self.highs.modelStatusToString(self.highs.getModelStatus())
        shares = np.maximum(np.array(self.highs.getSolution().col_value), 0.0)
        if said != "Optimal" or not shares.sum() > 0:
            return None
        mix = np.asarray(shares / shares.sum())
        return mix if (mix @ self.matrix).min() >= self.floor - 1e-8 else None

    def _onward(self) -> None:
        self.highs.run()

    def _afresh(self) -> None:
        """Payoffs of very different sizes can lose the solver on the way from one aim to the next."""
        self.highs.clearSolver()
        self.highs.run()

    def _slackened(self) -> None:
        """A floor at the very value leaves a set without an inside; a little lower it has one."""
        n = self.matrix.shape[1]
        self.highs.clearSolver()
        self.highs.changeRowsBounds(
            n, np.arange(n, dtype=np.int32), np.full(n, self.floor - TOLERANCE), np.full(n, np.inf)
        )
        self.highs.run()

    def _primal(self) -> None:
        """The other simplex method, on the slackened set."""
        self.highs.clearSolver()
        self.highs.setOptionValue("simplex_strategy", 4)
        self.highs.run()
        self.highs.setOptionValue("simplex_strategy", 1)


def _uses(matrix: Array, x: Array, y: Array) -> tuple[Use, ...]:
    """The range of every share of this side, and of every loss against the other side's optimal mixes."""
    m = len(matrix)
    scaled = positive(matrix)
    scale = float(matrix.max() - matrix.min())
    kept = certify(scaled, x, y)
    if kept.gap > TOLERANCE:  # fine enough for the payoffs as such, not for their spread
        kept = solve(scaled)
    mine = _Polytope(scaled, kept.lower)
    ends = np.eye(m)
    least = [float(mine.furthest(-ends[i])[i]) for i in range(m)]
    most = [float(mine.furthest(ends[i])[i]) for i in range(m)]
    theirs = _Polytope(-scaled.T, -kept.upper)
    near = [kept.value - float(scaled[i] @ theirs.furthest(scaled[i])) for i in range(m)]
    far = [kept.value - float(scaled[i] @ theirs.furthest(-scaled[i])) for i in range(m)]
    return tuple(
        Use(
            option=i, least=_tidy(least[i]), most=max(_tidy(least[i]), _tidy(most[i])),
            least_loss=_tidy(near[i]) * scale, most_loss=max(_tidy(near[i]), _tidy(far[i])) * scale,
        )
        for i in range(m)
    )  # fmt: skip


def _tidy(number: float) -> float:
    """Without the dust of the program around 0 and 1."""
    if abs(number) <= 1e-9:
        return 0.0
    return 1.0 if abs(number - 1) <= 1e-9 else number


def _alike(earned: Array, noise: float) -> tuple[Alike, ...]:
    """Groups of neighbours by what they earn, best first, none wider than the noise."""
    order = np.argsort(-earned, kind="stable")
    dust = 1e-9 * max(1.0, float(np.abs(earned).max()))
    groups: list[list[int]] = []
    for i in order.tolist():
        if groups and earned[groups[-1][0]] - earned[i] <= noise + dust:
            groups[-1].append(i)
        else:
            groups.append([i])
    return tuple(
        Alike(options=tuple(sorted(group)), spread=max(0.0, float(earned[group[0]] - earned[group[-1]])))
        for group in groups
        if len(group) > 1
    )


# --- in words --------------------------------------------------------------------------------


def in_words(
    side: SideStructure, labels: Sequence[str], *, noise: float = 0.0, other: str = "they"
) -> tuple[str, ...]:
    """The structure of one side as sentences, in the order: dominated, outside the mix, not unique, alike.

    Args: ``labels``, one an option; ``noise``, the tolerance that ``structure`` was given; ``other``,
    how the other side is called (``they``, or ``I`` or ``you`` when the side is theirs).
    Errors: NotSolvable when the labels are not as many as the options.
    """
    if len(labels) != len(side.uses):
        raise NotSolvable(f"{len(labels)} label(s) for {len(side.uses)} option(s)", help="one label an option")
    shown = {way.option for way in side.dominated}
    said = [_domination_said(way, labels, other) for way in side.dominated]
    said += [_outside_said(use, labels) for use in side.uses if use.belongs == "never" and use.option not in shown]
    if not side.unique:
        free = [use for use in side.uses if use.most - use.least > SHARE]
        ranges = ", ".join(say("{labels} anywhere {use}", labels=labels[use.option], use=_between(use)) for use in free)
        said.append(say("the mix is not unique: {ranges}", ranges=ranges))
    for group in side.alike:
        names = _listed([labels[i] for i in group.options])
        within = say(" within {noise:g}", noise=noise) if noise > 0 else ""
        said.append(say("{names} earn the same{within} against the best mix", names=names, within=within))
    return tuple(said)


def _domination_said(way: Domination, labels: Sequence[str], other: str) -> str:
    named = zip(way.weights, way.by, strict=True)
    mixed = _listed([f"{_percent(w)} {labels[i]}" for w, i in named])
    by = labels[way.by[0]] if len(way.by) == 1 else say("a mix of {mixed}", mixed=mixed)
    whatever = translated(_WHATEVER[other])
    if way.strict:
        return say(
            "{labels} never belongs in the mix: {whatever}, {by} earns at least {margin:.3g} more",
            labels=labels[way.option], whatever=whatever, by=by, margin=way.margin,
        )  # fmt: skip
    return say(
        "{labels} is never needed: {whatever}, {by} earns at least as much, and up to {most:.3g} more",
        labels=labels[way.option], whatever=whatever, by=by, most=way.most,
    )  # fmt: skip


def _outside_said(use: Use, labels: Sequence[str]) -> str:
    if use.least_loss > 0:
        loss = say(
            "loses at least {least_loss:.3g} against every best mix of the other side",
            least_loss=use.least_loss,
        )
    else:
        loss = say("loses up to {most_loss:.3g} against best mixes of the other side", most_loss=use.most_loss)
    return say("{labels} is in no best mix: it {loss}", labels=labels[use.option], loss=loss)


def _between(use: Use) -> str:
    return say("between {least} and {most}", least=_percent(use.least), most=_percent(use.most))


def _percent(share: float) -> str:
    return f"{100 * share:.3g} %"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else say("{names} and {last}", names=", ".join(names[:-1]), last=names[-1])

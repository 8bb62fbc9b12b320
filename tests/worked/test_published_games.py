"""Matrix games with published answers, through both solvers: the value, and what each published mix guarantees.

Ferguson is T. S. Ferguson, Game Theory, UCLA lecture notes, part II, cited by section. Values were all
recomputed; "citation from memory" means that the place was not looked up again.
"""

from __future__ import annotations

import math
from itertools import product
from typing import Any, NamedTuple

import numpy as np
import pygambit
import pytest

from advisor.solver.batch import solve_many
from advisor.solver.matrix import certify, game_matrix, solve, solve_exactly
from advisor.solver.structure import SideStructure, structure

CLOSE = 1e-9
MEMORY = "value recomputed; citation from memory"


class Published(NamedTuple):
    """A game, its value and one optimal mix of each side, in their printed proportions."""

    name: str
    source: str
    payoff: list[list[float]]
    value: float
    rows: list[float]
    columns: list[float]


A, B, C = 2.0, 3.0, 7.0

PUBLISHED = [
    Published("odd or even", f"Ferguson 1.2; {MEMORY}", [[-2, 3], [3, -4]], 1 / 12, [7, 5], [7, 5]),
    Published("saddle trap", f"Ferguson 2.2; {MEMORY}", [[0, -10], [1, 2]], 1, [0, 1], [1, 0]),
    Published("domination", f"Ferguson 2.3; {MEMORY}",
              [[2, 0, 4], [1, 2, 3], [4, 1, 2]], 7 / 4, [0, 3, 1], [1, 3, 0]),
    Published("domination by a mix", f"Ferguson 2.3; {MEMORY}",
              [[0, 4, 6], [5, 7, 4], [9, 6, 3]], 9 / 2, [1, 0, 1], [1, 0, 3]),
    Published("two by four", f"Ferguson 2.4; {MEMORY}",
              [[2, 3, 1, 5], [4, 1, 6, 0]], 17 / 7, [5, 2], [0, 5, 2, 0]),
    Published("three by two, degenerate", f"Ferguson 2.4; {MEMORY}", [[1, 5], [4, 4], [6, 2]], 4, [0, 1, 0], [1, 2]),
    Published("Latin square", f"Ferguson 2.5; {MEMORY}",
              [[1, 2, 3, 3, 6], [2, 3, 3, 6, 1], [3, 3, 6, 1, 2], [3, 6, 1, 2, 3], [6, 1, 2, 3, 3]],
              3, [1] * 5, [1] * 5),
    Published("diagonal", f"Ferguson 3.3; {MEMORY}",
              [[1, 0, 0, 0], [0, 2, 0, 0], [0, 0, 3, 0], [0, 0, 0, 4]], 12 / 25, [12, 6, 4, 3], [12, 6, 4, 3]),
    Published("triangular", f"Ferguson 3.4; {MEMORY}",
              [[1, -2, 3, -1], [0, 1, -2, 3], [0, 0, 1, -2], [0, 0, 0, 1]], 1 / 9, [1, 3, 4, 1], [1, 4, 3, 1]),
    Published("Mendelsohn", f"Ferguson 3.5; {MEMORY}",
              [[0, -1, 2, 2, 2], [1, 0, -1, 2, 2], [-2, 1, 0, -1, 2], [-2, -2, 1, 0, -1], [-2, -2, -2, 1, 0]],
              0, [1, 2, 1, 0, 0], [1, 2, 1, 0, 0]),
    Published("Blotto, four against three", f"Ferguson 3.6; {MEMORY}",
              [[4, 2, 1, 0], [1, 3, 0, -1], [-2, 2, 2, -2], [-1, 0, 3, 1], [0, 1, 2, 4]],
              14 / 9, [4, 0, 1, 0, 4], [1, 8, 8, 1]),
    Published("three by three", f"Ferguson 4; {MEMORY}",
              [[2, -1, 6], [0, 1, -1], [-2, 2, 1]], 1 / 2, [1, 3, 0], [1, 1, 0]),
    Published("poker endgame", f"Ferguson 5; {MEMORY}",
              [[-1.5, 1], [0, -0.5], [-2, 1], [-0.5, -0.5]], -1 / 4, [1, 5, 0, 0], [1, 1]),
    Published("Moriarty and Holmes", f"von Neumann and Morgenstern, 18.4.4; {MEMORY}",
              [[100, 0], [-50, 100]], 40, [3, 2], [2, 3]),
    Published("two-finger Morra", f"common knowledge, no one source; {MEMORY}",
              [[0, 2, -3, 0], [-2, 0, 0, 3], [3, 0, 0, -4], [0, -3, 4, 0]], 0, [0, 4, 3, 0], [0, 3, 2, 0]),
    Published("campers", f"Williams 1954; {MEMORY}",
              [[7, 2, 5, 1], [2, 2, 3, 4], [5, 3, 4, 4], [3, 2, 1, 6]], 3, [0, 0, 1, 0], [0, 1, 0, 0]),
    Published("daiquiris", f"Williams 1954; {MEMORY}", [[55, 10], [10, 110]], 1190 / 29, [20, 9], [20, 9]),
    Published("biased rock, paper, scissors", "OpenSpiel, matrix_brps (matrix read from the package)",
              [[0, -25, 50], [25, 0, -5], [-50, 5, 0]], 0, [1, 10, 5], [1, 10, 5]),
    Published("weighted rock, paper, scissors", "identity: mixes (c, b, a); common practice, no published source",
              [[0, -A, B], [A, 0, -C], [-B, C, 0]], 0, [C, B, A], [C, B, A]),
    Published("rock, paper, scissors, lizard, Spock", "common practice, no published source",
              [[0, -1, 1, 1, -1], [1, 0, -1, -1, 1], [-1, 1, 0, 1, -1], [-1, 1, -1, 0, 1], [1, -1, 1, -1, 0]],
              0, [1] * 5, [1] * 5),
    Published("two by three", "textbook game, origin uncertain; value recomputed",
              [[2, 3, 11], [7, 5, 2]], 49 / 11, [3, 8], [0, 9, 2]),
    Published("Tripos", "Cambridge Tripos IB 2010, paper 3, section II E: the question read, the answer recomputed",
              [[2, 3, 4], [3, 4, -5], [4, -5, -6]], 57 / 25, [41, 4, 5], [41, 4, 5]),
]  # fmt: skip

SEVERAL = {
    "three by two, degenerate": "columns", "Blotto, four against three": "columns", "two-finger Morra": "rows columns",
}  # fmt: skip
"""The sides with more than one optimal mix; elsewhere the printed mix is the only one."""


def shares(proportions: list[float]) -> np.ndarray[Any, np.dtype[np.float64]]:
    return np.array(proportions) / sum(proportions)


def by_name(name: str) -> Published:
    return next(game for game in PUBLISHED if game.name == name)


@pytest.mark.parametrize("game", PUBLISHED, ids=lambda game: game.name)
def test_the_published_mixes_guarantee_the_published_value(game: Published) -> None:
    printed = certify(game_matrix(game.payoff), shares(game.rows), shares(game.columns))
    assert printed.lower == pytest.approx(game.value, abs=1e-12)
    assert printed.upper == pytest.approx(game.value, abs=1e-12)


@pytest.mark.parametrize("game", PUBLISHED, ids=lambda game: game.name)
def test_both_solvers_find_the_published_value(game: Published) -> None:
    scale = max(1.0, float(np.abs(game.payoff).max()))
    for found in (solve(game.payoff), solve_exactly(game.payoff)):
        assert found.value == pytest.approx(game.value, abs=CLOSE)
        assert found.gap <= 1e-9 * scale
    many = solve_many([game.payoff, game.payoff])
    assert many.values == pytest.approx([game.value] * 2, abs=CLOSE)
    assert (many.gaps <= 1e-9 * scale).all()


@pytest.mark.parametrize("game", PUBLISHED, ids=lambda game: game.name)
def test_a_mix_that_is_the_only_one_is_the_published_one(game: Published) -> None:
    found, many, several = structure(game.payoff), solve_many([game.payoff]), SEVERAL.get(game.name, "")
    assert found.rows.unique == ("rows" not in several)
    assert found.columns.unique == ("columns" not in several)
    if found.rows.unique:
        assert found.equilibrium.rows == pytest.approx(shares(game.rows), abs=1e-9)
        assert many.rows[0] == pytest.approx(shares(game.rows), abs=1e-9)
    if found.columns.unique:
        assert found.equilibrium.columns == pytest.approx(shares(game.columns), abs=1e-9)
        assert many.columns[0] == pytest.approx(shares(game.columns), abs=1e-9)


def ranges(side: SideStructure) -> list[tuple[float, float]]:
    return [(use.least, use.most) for use in side.uses]


def test_the_published_ends_of_a_segment_of_mixes_are_its_ends() -> None:
    degenerate = structure(by_name("three by two, degenerate").payoff)
    assert ranges(degenerate.columns)[0] == pytest.approx((1 / 4, 1 / 2), abs=1e-8)
    morra = structure(by_name("two-finger Morra").payoff)
    expected = [(0, 0), (4 / 7, 3 / 5), (2 / 5, 3 / 7), (0, 0)]
    for side in (morra.rows, morra.columns):
        assert np.array(ranges(side)) == pytest.approx(np.array(expected), abs=1e-8)
    blotto = structure(by_name("Blotto, four against three").payoff)
    one = [(1 / 30, 7 / 90), (16 / 45, 8 / 15)]  # the two ends mirror each other
    assert np.array(ranges(blotto.columns)) == pytest.approx(np.array([*one, *one[::-1]]), abs=1e-8)


def test_the_trap_of_the_two_by_two_formula_is_a_pure_saddle() -> None:
    """The formula for a mix gives a share of 12/11 here; the answer is pure."""
    found = solve(by_name("saddle trap").payoff)
    assert (found.rows, found.columns, found.gap) == ((0, 1), (1, 0), 0)


CATALOGUE = [
    # Myerson 1991, figure 2.1, as pygambit's catalogue holds it: behaviour (1, 0), (1/3, 2/3); column (2/3, 1/3).
    ("books/myerson1991/fig2_1", 1 / 3, [1 / 3, 2 / 3, 0, 0], [2 / 3, 1 / 3]),
    # von Stengel 2022, figure 10.1, same place; constant sum 16, payoffs 9 and 7; (1/2, 1/2), (0, 1); (1/4, 3/4).
    ("books/vonstengel2022/fig10.1", 9, [0, 1 / 2, 0, 1 / 2], [1 / 4, 3 / 4]),
]


@pytest.mark.parametrize(("name", "value", "rows", "columns"), CATALOGUE)
def test_games_of_a_catalogue(name: str, value: float, rows: list[float], columns: list[float]) -> None:
    payoff = np.array(pygambit.catalog.load(name).to_arrays(dtype=float)[0], dtype=float)
    printed = certify(payoff, np.array(rows), np.array(columns))
    assert (printed.lower, printed.upper) == pytest.approx((value, value), abs=1e-12)
    assert solve(payoff).value == pytest.approx(value, abs=CLOSE)
    assert solve_many(payoff[None]).values == pytest.approx([value], abs=CLOSE)


# --- Kuhn poker ------------------------------------------------------------------------------

FIRST = list(product(("bet", "fold", "call"), repeat=3))
"""A plan a card (jack, queen, king): bet, or check and then fold or call."""
SECOND = list(product(product(("fold", "call"), ("check", "bet")), repeat=3))
"""A plan a card: what to do against a bet, and against a check."""


def kuhn_deal(mine: int, theirs: int, plan: str, reply: tuple[str, str]) -> int:
    """What the first player wins; both have put in 1, a bet is 1 more."""
    better = 1 if mine > theirs else -1
    if plan == "bet":
        return 2 * better if reply[0] == "call" else 1
    if reply[1] == "check":
        return better
    return 2 * better if plan == "call" else -1


def kuhn() -> np.ndarray[Any, np.dtype[np.float64]]:
    deals = [(a, b) for a in range(3) for b in range(3) if a != b]
    return np.array(
        [[sum(kuhn_deal(a, b, x[a], y[b]) for a, b in deals) / 6 for y in SECOND] for x in FIRST], dtype=float
    )


def kuhn_first(alpha: float, call: float = 1 / 3) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Bet the jack with alpha and the king with 3 alpha, call with the queen with alpha + ``call``."""
    jack = {"bet": alpha, "fold": 1 - alpha, "call": 0.0}
    queen = {"bet": 0.0, "fold": 1 - alpha - call, "call": alpha + call}
    king = {"bet": 3 * alpha, "fold": 0.0, "call": 1 - 3 * alpha}
    return np.array([jack[a] * queen[b] * king[c] for a, b, c in FIRST])


def kuhn_second() -> np.ndarray[Any, np.dtype[np.float64]]:
    """Bluff with the jack 1/3, call with the queen 1/3, the king always."""
    jack = {("fold", "bet"): 1 / 3, ("fold", "check"): 2 / 3}
    queen = {("call", "check"): 1 / 3, ("fold", "check"): 2 / 3}
    king = {("call", "bet"): 1.0}
    return np.array([jack.get(a, 0) * queen.get(b, 0) * king.get(c, 0) for a, b, c in SECOND])


def test_kuhn_poker_is_worth_minus_an_eighteenth() -> None:
    """H. W. Kuhn, A simplified two-person poker, 1950, pp. 97-103."""
    game = kuhn()
    assert game.shape == (27, 64)
    for found in (solve(game).value, solve_many(game[None]).values[0]):
        assert found == pytest.approx(-1 / 18, abs=CLOSE)


@pytest.mark.parametrize("alpha", [0, 1 / 6, 1 / 3])
def test_kuhns_family_of_mixes_guarantees_it(alpha: float) -> None:
    """The same paper: every alpha from 0 to 1/3 is optimal, against one mix of the second player."""
    printed = certify(kuhn(), kuhn_first(alpha), kuhn_second())
    assert (printed.lower, printed.upper) == pytest.approx((-1 / 18, -1 / 18), abs=1e-12)


def test_a_mix_that_calls_less_than_kuhns_is_exploited() -> None:
    printed = certify(kuhn(), kuhn_first(1 / 3, call=0), kuhn_second())
    assert printed.lower < -1 / 18 - 0.05
    assert printed.upper == pytest.approx(-1 / 18, abs=1e-12)


# --- the inspection game ---------------------------------------------------------------------


def inspection(n: int, m: int, known: dict[tuple[int, int], float]) -> list[list[float]]:
    """Rows inspect or not, columns legal or illegal, ``n`` stages and ``m`` inspections left."""
    return [[known[n - 1, m - 1], 1], [known[n - 1, m], -1]]


@pytest.mark.parametrize("together", [False, True])
def test_the_inspection_game_by_recursion(together: bool) -> None:
    """Dresher 1962 (from memory), the model after von Stengel, Math. Oper. Res. 41(3), 2016, 935-952.

    I(n, m) = -C(n-1, m) / sum of C(n, i) for i up to m, all n below 12.
    """
    known = {(n, m): -1.0 if m == 0 and n > 0 else 0.0 for n in range(12) for m in range(12)}
    for n in range(2, 12):
        games = [inspection(n, m, known) for m in range(1, n)]
        values = solve_many(games).values.tolist() if together else [solve(game).value for game in games]
        known.update({(n, m): value for m, value in enumerate(values, 1)})
        for m in range(1, n):
            exact = -math.comb(n - 1, m) / sum(math.comb(n, i) for i in range(m + 1))
            assert known[n, m] == pytest.approx(exact, abs=1e-9)
    printed = {(2, 1): -1 / 3, (3, 1): -1 / 2, (4, 1): -3 / 5, (3, 2): -1 / 7, (5, 2): -3 / 8, (10, 3): -21 / 44}
    assert {at: known[at] for at in printed} == pytest.approx(printed, abs=1e-9)

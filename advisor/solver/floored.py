"""The mix that does best by one measure while it keeps a floor under every other: a linear program.

    most  x . c   with   (x A)_j >= floor for every j,  sum(x) = 1,  x >= 0.

Leaning towards a read and the search for the success rates at which an option enters the mix both are this.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from advisor.errors import Fault
from advisor.solver.matrix import linear_solver
from advisor.solver.mixes import Array

__all__ = ["FlooredMix"]


class FlooredMix:
    """The program for one A and c, for any number of floors.

    Shape: A m x n, c m. Units: c, A and the floor in payoffs.
    """

    def __init__(self, matrix: Array, measure: Array) -> None:
        # Payoffs are brought to a spread of 1 about 0, so that tolerances mean the same at every scale.
        self.centre = float(matrix.max()) / 2 + float(matrix.min()) / 2
        self.scale = float(np.abs(matrix - self.centre).max()) or 1.0
        flat = measure - measure.mean()
        self.program = _program((matrix - self.centre) / self.scale, flat / (float(np.abs(flat).max()) or 1.0))

    def best(self, floor: float) -> Array:
        """The best mix with this floor. Shape: m shares that sum to 1.

        The floor holds to about 1e-10 of the spread of A. Errors: Fault when no mix keeps the floor.
        """
        n = self.program.num_row_ - 1
        self.program.row_lower_ = np.append(np.full(n, (floor - self.centre) / self.scale), 1.0)
        highs = linear_solver()
        highs.passModel(self.program)
        highs.run()
        shares = np.maximum(np.array(highs.getSolution().col_value), 0.0)
        if highs.modelStatusToString(highs.getModelStatus()) != "Optimal" or not shares.sum() > 0:
            raise Fault("fault", f"no mix was found that earns at least {floor:g} against everything")
        return np.asarray(shares / shares.sum())


def _program(matrix: Array, measure: Array) -> Any:
    """Rows 0 to n - 1 of the program are the columns of A, row n is the sum."""
    import highspy

    m, n = matrix.shape
    program = highspy.HighsLp()
    program.num_col_, program.num_row_ = m, n + 1
    program.sense_ = highspy.ObjSense.kMaximize
    program.col_cost_, program.col_lower_, program.col_upper_ = measure, np.zeros(m), np.full(m, np.inf)
    program.row_upper_ = np.append(np.full(n, np.inf), 1.0)
    program.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    program.a_matrix_.start_ = np.arange(0, m * (n + 1) + 1, n + 1, dtype=np.int32)
    program.a_matrix_.index_ = np.tile(np.arange(n + 1, dtype=np.int32), m)
    program.a_matrix_.value_ = np.column_stack([matrix, np.ones(m)]).ravel()
    return program

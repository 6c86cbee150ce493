"""The worst cases: which targets were undersized most, and which oversized most."""

import numpy as np
import numpy.typing as npt

WORST = 3


def extremes(
    error: npt.NDArray[np.float64], most: int = WORST
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return rows of the most undersized and of the most oversized targets, worst first.

    Only errors below and above 0 count; at most `most` each; ties in the order of the rows.
    """
    order = np.argsort(error, kind="stable")
    under = tuple(int(i) for i in order[:most] if error[i] < 0.0)
    order = np.argsort(-error, kind="stable")
    over = tuple(int(i) for i in order[:most] if error[i] > 0.0)
    return under, over

"""Half a matrix by row and by column: two orders of its pairs, told apart by their numbers."""

import numpy as np
from numpy.typing import NDArray

from qualify.recording.record import half_pairs


def column_order(elements: int) -> NDArray[np.int64]:
    """Return where, in half a matrix by column, each pair (pairs,) of one by row lies.

    Pair (i, j) with i ≤ j, counted from 0, is number j(j+1)/2 + i by column.
    """
    transmit, receive = half_pairs(elements)
    return receive * (receive + 1) // 2 + transmit

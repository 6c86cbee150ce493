"""What missed and unsized targets could do to the sizing error.

They have no reported size, and errors of the others flatter. Two extreme ways to count them show
how much hangs on them: as reported with size 0 (undersized in full), and as reported with the
smallest size that is reported at all. Neither is an estimate of the error.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from qualify.sizing.error import sizing_error

CaseName = Literal["missed_as_zero", "unsized_as_zero", "as_smallest"]
CASE_WORDS: dict[CaseName, str] = {
    "missed_as_zero": "missed targets as size 0",
    "unsized_as_zero": "missed and unsized targets as size 0",
    "as_smallest": "missed and unsized targets as the smallest size reported",
}


@dataclass(frozen=True, slots=True)
class UnsizedCase:
    """Sizing error with targets without a size counted in.

    Attributes
    ----------
    case : how they are counted.
    n, counted_in : targets in all, and those of them without a reported size.
    bias, rmse, undersizing_bound, largest_undersizing : as of `SizingError`; None where n is too
        small. The bound takes errors to be normal, which these are not: it is a measure of how
        much hangs on them and no more.
    """

    case: CaseName
    n: int
    counted_in: int
    bias: float | None
    rmse: float | None
    undersizing_bound: float | None
    largest_undersizing: float | None


def unsized_cases(
    true: npt.ArrayLike,
    reported: npt.ArrayLike,
    missed: npt.ArrayLike,
    unsized: npt.ArrayLike,
    *,
    smallest: float | None = None,
    confidence: float = 0.95,
) -> tuple[UnsizedCase, ...]:
    """Count targets without a size in.

    Parameters
    ----------
    true, reported : (n,) of sized targets.
    missed, unsized : (k,), (m,) true sizes of targets not found, and found without a size.
    smallest : smallest size that is reported at all, if there is one.

    Returns
    -------
    A case each: missed as 0; missed and unsized as 0 where some are unsized; both as the
    smallest reported size where that is given. None where all targets are sized.

    Raises
    ------
    ValueError : for a `smallest` that is not above 0, and as `sizing_error`.
    """
    if smallest is not None and not smallest > 0.0:
        message = f"the smallest reported size {smallest} must be above 0"
        raise ValueError(message)
    a, b = np.asarray(true, dtype=float), np.asarray(reported, dtype=float)
    lost, left = np.asarray(missed, dtype=float), np.asarray(unsized, dtype=float)
    both = np.concatenate([lost, left])
    ways: list[tuple[CaseName, npt.NDArray[np.float64], float]] = []
    if lost.size:
        ways.append(("missed_as_zero", lost, 0.0))
    if left.size:
        ways.append(("unsized_as_zero", both, 0.0))
    if both.size and smallest is not None:
        ways.append(("as_smallest", both, smallest))
    out = []
    for case, counted, size in ways:
        found = sizing_error(
            np.concatenate([a, counted]),
            np.concatenate([b, np.full(counted.size, size)]),
            confidence=confidence,
        )
        out.append(
            UnsizedCase(
                case, found.n, counted.size, found.bias, found.rmse, found.undersizing_bound,
                found.largest_undersizing,
            )
        )  # fmt: skip
    return tuple(out)

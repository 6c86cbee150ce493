"""False calls by length, area or time: exact Poisson bounds, and whether calls cluster.

Sources: Garwood 1936, Biometrika 28, 437-442 (exact limits of a Poisson mean); Fisher 1950,
Biometrics 6, 17-24 (the index of dispersion given the total). From memory; checked in
`tests/pod` against scipy and tabled values.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from qualify.pod.false_calls import proportion_bounds

SIMULATIONS = 9_999
LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class CallRate:
    """False calls per unit of an amount (metre, square metre, hour).

    Attributes
    ----------
    calls, amount : what was counted, over how much.
    rate : calls / amount.
    lower, upper : exact one-sided bounds, each at the confidence by itself.
    """

    calls: int
    amount: float
    rate: float
    lower: float
    upper: float


@dataclass(frozen=True, slots=True)
class Dispersion:
    """Whether calls cluster in specimens.

    Attributes
    ----------
    index : sum of (calls - expected)^2 / expected over specimens, over its degrees of freedom;
        about 1 where calls fall at random.
    p_value : of an index at least so large, given all calls, by simulation; None without two
        specimens or calls.
    clustered : p below 0.05.
    specimens_called, specimens : with at least one call, of all.
    upper : exact upper bound of the share of specimens with a call.
    simulations, seed : behind p.
    """

    index: float | None
    p_value: float | None
    clustered: bool
    specimens_called: int
    specimens: int
    upper: float | None
    simulations: int
    seed: int


def call_rate(calls: int, amount: float, confidence: float = 0.95) -> CallRate:
    """Return calls per unit of an amount with exact bounds; 0 calls give -ln(1 - c) / amount.

    Raises
    ------
    ValueError : for negative calls, an amount of 0 or less, or a confidence out of range.
    """
    if calls < 0 or not amount > 0.0 or not 0.0 < confidence < 1.0:
        message = f"{calls} calls in {amount:g}; give 0 calls or more and an amount above 0"
        raise ValueError(message)
    lower = 0.0 if calls == 0 else 0.5 * float(stats.chi2.ppf(1.0 - confidence, 2 * calls))
    upper = 0.5 * float(stats.chi2.ppf(confidence, 2 * calls + 2))
    return CallRate(calls, amount, calls / amount, lower / amount, upper / amount)


def rate_of_cells(rate: float, cells: float) -> float:
    """Return the probability of a false call in so many like cells, each with a rate, independent.

    Raises
    ------
    ValueError : for a rate outside 0..1 or a negative number of cells.
    """
    if not 0.0 <= rate <= 1.0 or cells < 0.0:
        message = f"rate {rate:g} in {cells:g} cells; a rate lies in 0..1, cells are 0 or more"
        raise ValueError(message)
    return float(-np.expm1(cells * np.log1p(-rate))) if rate < 1.0 else float(cells > 0.0)


def dispersion(
    calls: npt.ArrayLike, amounts: npt.ArrayLike, *, seed: int = 1, confidence: float = 0.95
) -> Dispersion:
    """Test whether calls cluster in specimens of given amounts (units, metres).

    Parameters
    ----------
    calls, amounts : (specimens,).

    Raises
    ------
    ValueError : for lists of unequal length, negative calls or amounts of 0 or less.
    """
    k, a = np.asarray(calls, dtype=float), np.asarray(amounts, dtype=float)
    if k.shape != a.shape or k.ndim != 1 or np.any(k < 0.0) or np.any(a <= 0.0):
        message = "give calls of 0 or more and an amount above 0 for each specimen"
        raise ValueError(message)
    called = int(np.sum(k > 0.0))
    upper = proportion_bounds(called, k.size, confidence)[1]
    total = int(k.sum())
    if k.size < 2 or total < 2:
        return Dispersion(None, None, False, called, k.size, upper, 0, seed)
    expected = total * a / a.sum()
    index = float(((k - expected) ** 2 / expected).sum()) / (k.size - 1)
    rng = np.random.default_rng(np.random.SeedSequence([seed, *b"dispersion"]))
    drawn = rng.multinomial(total, a / a.sum(), SIMULATIONS)
    found = ((drawn - expected) ** 2 / expected).sum(axis=1) / (k.size - 1)
    p = (int(np.sum(found >= index * (1.0 - 1e-12))) + 1) / (SIMULATIONS + 1)
    return Dispersion(index, p, p <= LEVEL, called, k.size, upper, SIMULATIONS, seed)

"""Whether the scatter of the sizing error changes with true size.

Tested by the score test of Breusch and Pagan for SD proportional to a power of the size, on
errors about their straight line; its p is approximate (chi-square, one degree of freedom; our
own simulation: it rejects 2 to 3 % at 8 to 10 targets where 5 % is asked for, 4 to 5 % from 20 on).
The power is where the likelihood of those errors, held about that line, is largest.

A test of few targets sees little. How little is simulated, from a fixed seed: the smallest of a
few ratios of SD, at the largest size against the smallest, that it notices in 80 % of trials.

Source: Breusch and Pagan 1979, Econometrica 47, 1287-1294.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

Array = npt.NDArray[np.float64]

FEWEST = 5
TOO_FEW = f"a trend of the scatter needs at least {FEWEST} sized targets"
ONE_SIZE = "all true sizes are the same: no trend can be seen"
NO_SCATTER = "errors show no scatter about their line"
LEVEL, NOTICED = 0.05, 0.80
RATIOS = (1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0)
TRIALS, SEED = 2000, 1


@dataclass(frozen=True, slots=True)
class SpreadTrend:
    """Trend of the scatter with size.

    Attributes
    ----------
    power : SD goes as size to this power; 0: the same at all sizes.
    ratio : SD at the largest size over that at the smallest, by that power.
    statistic, p : of the test of power 0, chi-square with one degree of freedom.
    seen_ratio : smallest of `RATIOS` noticed at the 5 % level in 80 % of simulated trials of
        these sizes; None where even the largest is not.
    reason : why figures are None, else None.
    """

    power: float | None
    ratio: float | None
    statistic: float | None
    p: float | None
    seen_ratio: float | None
    reason: str | None


def spread_trend(true: Array, error: Array) -> SpreadTrend:
    """Test whether the scatter changes with size; arrays (n,) in one unit, true above 0."""
    none = (None,) * 5
    if true.size < FEWEST:
        return SpreadTrend(*none, reason=TOO_FEW)
    if np.ptp(true) == 0.0:
        return SpreadTrend(*none, reason=ONE_SIZE)
    residual = _residuals(true, error[None, :])[0]
    if np.abs(residual).max() <= 1e-12 * float(np.abs(error).max() + np.abs(true).max()):
        return SpreadTrend(*none, reason=NO_SCATTER)
    log_size = np.log(true) - np.log(true).mean()
    statistic = float(_statistic(log_size, residual[None, :])[0])
    power = _power(log_size, residual)
    return SpreadTrend(
        power=power,
        ratio=None if power is None else float(np.exp(power * np.ptp(log_size))),
        statistic=statistic,
        p=float(special.chdtrc(1.0, statistic)),
        seen_ratio=_seen(tuple(true.tolist())),
        reason=None,
    )


def _residuals(true: Array, errors: Array) -> Array:
    """Residuals (trials, n) of errors (trials, n) about their lines in size."""
    centred = true - true.mean()
    slopes = errors @ centred / (centred @ centred)
    return np.asarray(
        errors - errors.mean(axis=1, keepdims=True) - slopes[:, None] * centred[None, :]
    )


def _statistic(log_size: Array, residual: Array) -> Array:
    """Score statistic (trials,), 1/2 of the explained sum of squares of residual^2 / mean."""
    square = residual**2
    relative = square / square.mean(axis=1, keepdims=True)
    return np.asarray((relative @ log_size) ** 2 / (2.0 * (log_size @ log_size)))


def _power(log_size: Array, residual: Array) -> float | None:
    """Power of size that the SD goes with, by maximum likelihood; None beyond +-20.

    The weighted mean of log size, weights residual^2 size^(-2 power), is 0 there and falls.
    """

    def mean(power: float) -> float:
        weight = residual**2 * np.exp(-2.0 * power * log_size)
        return float(weight @ log_size / weight.sum())

    if not mean(-20.0) > 0.0 > mean(20.0):
        return None
    return float(optimize.brentq(mean, -20.0, 20.0, xtol=1e-13))


@lru_cache(maxsize=64)
def _seen(true: tuple[float, ...]) -> float | None:
    """Smallest ratio of `RATIOS` noticed in 80 % of simulated trials of these sizes."""
    sizes = np.asarray(true)
    log_size = np.log(sizes) - np.log(sizes).mean()
    normal = np.random.default_rng(SEED).standard_normal((TRIALS, sizes.size))
    critical = float(special.chdtri(1.0, LEVEL))
    for ratio in RATIOS:
        power = np.log(ratio) / np.ptp(log_size)
        residual = _residuals(sizes, normal * np.exp(power * log_size))
        if float((_statistic(log_size, residual) > critical).mean()) >= NOTICED:
            return ratio
    return None

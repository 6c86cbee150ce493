"""Exact binomial bounds: false-call rate on blanks, and yes/no demonstrations of POD.

Source: Clopper and Pearson 1934, Biometrika 26, 404-413: the one-sided bounds are quantiles
of beta distributions.
"""

from dataclasses import dataclass

from scipy import special

NO_BLANKS = "no blank grading unit was examined"


@dataclass(frozen=True, slots=True)
class FalseCallRate:
    """Share of blank grading units with at least one call.

    Attributes
    ----------
    blank_units, units_called : grading units without a target, and those of them called.
    calls : all calls on blanks; several may fall in one unit.
    rate : units_called / blank_units, or None.
    upper_95, lower_95 : exact one-sided 95 % bounds as fractions, each by itself, or None.
    reason : why there is no rate, or None.
    """

    blank_units: int
    units_called: int
    calls: int
    rate: float | None
    upper_95: float | None
    lower_95: float | None
    reason: str | None


def _check_counts(k: int, n: int) -> None:
    if n < 0 or not 0 <= k <= n:
        message = f"{k} of {n} is no proportion; counts must run from 0 to the number of trials"
        raise ValueError(message)


def _check_fraction(name: str, value: float) -> None:
    if not 0.0 < value < 1.0:
        message = f"{name} {value} must lie between 0 and 1, ends excluded"
        raise ValueError(message)


def proportion_bounds(
    k: int, n: int, confidence: float = 0.95
) -> tuple[float | None, float | None]:
    """Exact one-sided lower and upper bound of a proportion, each at `confidence` by itself.

    Parameters
    ----------
    k, n : successes and trials.
    confidence : of each bound, as a fraction.

    Returns
    -------
    tuple : (lower, upper), fractions; (None, None) when n is 0. With k = 0 the upper bound is
        1 - (1 - confidence)^(1/n), with k = n the lower bound is (1 - confidence)^(1/n).

    Raises
    ------
    ValueError : when k is outside 0..n or confidence outside 0..1.
    """
    _check_counts(k, n)
    _check_fraction("confidence", confidence)
    if n == 0:
        return None, None
    lower = 0.0 if k == 0 else float(special.betaincinv(k, n - k + 1, 1.0 - confidence))
    upper = 1.0 if k == n else float(special.betaincinv(k + 1, n - k, confidence))
    return lower, upper


def smallest_trial(misses: int, pod: float = 0.9, confidence: float = 0.95) -> int:
    """Fewest targets that, with so many missed, still show POD above `pod` at `confidence`.

    The smallest n with P(at most `misses` missed | POD = pod) <= 1 - confidence.

    Raises
    ------
    ValueError : for negative misses, or pod or confidence outside 0..1.
    """
    _check_fraction("pod", pod)
    _check_fraction("confidence", confidence)
    if misses < 0:
        message = f"misses {misses} must be 0 or more"
        raise ValueError(message)

    def enough(n: int) -> bool:
        return float(special.bdtr(misses, n, 1.0 - pod)) <= 1.0 - confidence

    high = misses + 1
    while not enough(high):
        high *= 2
    low = max(misses, high // 2)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def false_call_rate(blank_units: int, units_called: int, calls: int | None = None) -> FalseCallRate:
    """Rate of called blank grading units with exact one-sided 95 % bounds.

    Parameters
    ----------
    blank_units, units_called : counts of grading units.
    calls : all calls on them; taken as one per called unit when None.

    Raises
    ------
    ValueError : when the counts contradict each other.
    """
    _check_counts(units_called, blank_units)
    total = units_called if calls is None else calls
    if total < units_called or (units_called == 0 and total > 0):
        message = f"{total} calls on {units_called} called units; each called unit has one or more"
        raise ValueError(message)
    lower, upper = proportion_bounds(units_called, blank_units, 0.95)
    rate = units_called / blank_units if blank_units else None
    reason = None if blank_units else NO_BLANKS
    return FalseCallRate(blank_units, units_called, total, rate, upper, lower, reason)

"""A bound as a study reports it: rounded to the safe side, as far as its simulation supports."""

import math
from dataclasses import dataclass

from qualify.pod.problem import BOUND_WORDS, BoundValue

ERRORS_A_STEP = 5.0  # a step of rounding is at least so many simulation errors
LEADING = (1.0, 2.0, 5.0)


@dataclass(frozen=True, slots=True)
class ToldBound:
    """The value reported, in the unit of the bound, and how it was made."""

    value: float | None
    method: str


def step_for(error: float) -> float:
    """Return the smallest of 1, 2, 5, times a power of ten, that is 5 errors or more."""
    wanted = ERRORS_A_STEP * error
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(
        (lead * power for lead in LEADING if lead * power >= wanted * (1.0 - 1e-12)),
        10.0 * power,
    )


def told_bound(bound: BoundValue, seed: int, unit: str = "mm") -> ToldBound:
    """Return a bound as reported: an upper one rounded up, a lower one down.

    A bound that was not simulated is reported as it is. `unit` is that of the bound, for words.
    """
    words = f"{bound.method} bound: {BOUND_WORDS[bound.method]}"
    if bound.simulations is not None:
        words += f", {bound.simulations} simulated trials, seed {seed}"
    if bound.value is None or not bound.error:
        return ToldBound(bound.value, words)
    step = step_for(bound.error)
    turn = math.ceil if bound.side == "upper" else math.floor
    value = round(turn(bound.value / step) * step, 12)
    way = "up" if bound.side == "upper" else "down"
    return ToldBound(value, f"{words}, rounded {way} to {step:g} {unit}")

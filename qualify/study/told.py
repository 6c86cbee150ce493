"""A bound as a study reports it: rounded to the safe side, as far as its simulation supports."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from qualify.criteria.estimate import Estimate
from qualify.pod.problem import BOUND_WORDS, BoundValue
from qualify.study.notice import StudyNotice

ERRORS_A_STEP = 5.0  # a step of rounding is at least so many simulation errors
LEADING = (1.0, 2.0, 5.0)
FAR = 10.0  # a size so many times beyond the sizes tested is told in words; our own choice
TOO_FAR = "the size would lie more than ten times beyond those tested, so no number is told"
ERROR = "_simulation_error"  # of the size whose name stands before it; goes where that goes
OF_A_CURVE = ("a50", "a90", "large_from")
GIVES = {
    "coarse_simulation": "a90_95",
    "response_coarse_simulation": "response_a90_95",
    "naive_pooling": "a90_95_readings_as_targets",
}
"""Notices that give a number of a size: their code, and the size."""
FLAT = "a curve that hardly rises puts an a90 more than ten times beyond the sizes tested"


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


def is_far(value: float | None, tested: tuple[float, float]) -> bool:
    """Return whether a size lies so far beyond the tested ones that no number should be told."""
    return value is not None and not tested[0] / FAR <= value <= tested[1] * FAR


def told_size(
    value: float | None, reason: str | None, tested: tuple[float, float] | None
) -> tuple[float | None, str | None]:
    """Return a size and the reason why there is none; one that lies far beyond is not told."""
    far = tested is not None and is_far(value, tested)
    return (None, TOO_FAR) if far else (value, reason)


def told_sizes(
    estimates: Iterable[Estimate], tested: Mapping[str, tuple[float, float]]
) -> list[Estimate]:
    """Return estimates in which sizes of a curve that lie far beyond those tested are not told.

    With a size goes its simulation error.

    tested : smallest and largest size by kind of target.
    """
    held = tuple(estimates)
    far = {
        one.id
        for one in held
        if one.value is not None
        and one.unit == "mm"
        and any(part in one.statistic for part in OF_A_CURVE)
        and one.population in tested
        and is_far(float(one.value), tested[one.population])
    }
    if not far:
        return list(held)
    return [
        replace(one, value=None, reason=TOO_FAR, in_range=None)
        if one.value is not None and one.id.replace(ERROR, "") in far  # no error is far by itself
        else one
        for one in held
    ]


def told_notices(
    notices: Iterable[StudyNotice], estimates: Iterable[Estimate]
) -> list[StudyNotice]:
    """Return notices but those that give the number of a size that is not told."""
    far = {one.id for one in estimates if one.reason == TOO_FAR}

    def size_of(notice: StudyNotice) -> str:
        basis, _, cell = notice.about.partition("/")
        return f"{basis}/{GIVES.get(notice.code, '')}/{cell}"

    return [notice for notice in notices if size_of(notice) not in far]


def told_ratio(
    value: float | None, reason: str | None, *, far: bool
) -> tuple[float | None, str | None]:
    """Return a ratio of sizes and the reason why there is none.

    far : whether one of the sizes lies far beyond the tested ones.
    """
    beyond = value is not None and not 1.0 / FAR**2 <= value <= FAR**2
    return (None, FLAT) if far or beyond else (value, reason)

"""Responses against size, checked and brought on the axes of the model.

A row is one response of one target. It is *exact*, *left-censored* (at most its floor: lost in
noise, or missed, with nothing recorded) or *right-censored* (at least its ceiling: saturated).
Floors and ceilings belong to every row, also to the exact ones: from them the trial is repeated by
simulation. A missed target is left-censored, never left out and never given a made-up value.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.links import Array, Flags, Indices
from qualify.pod.observations import Scale, checked_scale, checked_sizes
from qualify.pod.response_kernels import LEFT, RIGHT, Codes

ResponseAxis: TypeAlias = Literal["log", "linear", "logit"]

RESPONSE_AXES: tuple[ResponseAxis, ...] = ("log", "linear", "logit")


@dataclass(frozen=True, slots=True)
class Responses:
    """Rows on the axes of the model, standardised.

    t = (x - centre) / spread, y = (axis value - axis value of the threshold) / unit.

    Attributes
    ----------
    size, response : (rows,), as given; response is nan where the target was missed.
    t, y : (rows,), y is the limit where the row is censored.
    low, high : (rows,), floor and ceiling on the axis of y, -inf and inf where there are none.
    code : (rows,), 0 exact, -1 left-censored, 1 right-censored.
    missed : (rows,), nothing was recorded.
    beyond : (rows,), 1 recorded above its ceiling, -1 below its floor, else 0.
    group : (rows,), number of the target from 0.
    scale, axis : of size and of response.
    threshold : in the caller's unit.
    centre, spread, unit : of the standardisation.
    """

    size: Array
    response: Array
    t: Array
    y: Array
    low: Array
    high: Array
    code: Codes
    missed: Flags
    beyond: Codes
    group: Indices
    scale: Scale
    axis: ResponseAxis
    threshold: float
    centre: float
    spread: float
    unit: float

    @property
    def rows(self) -> int:
        """Number of rows."""
        return int(self.t.size)

    @property
    def targets(self) -> int:
        """Number of targets."""
        return int(self.group.max()) + 1

    @property
    def repeated(self) -> bool:
        """Whether a target has more than one row."""
        return self.targets < self.rows

    @property
    def exact(self) -> Flags:
        """Rows that are exact."""
        return np.asarray(self.code == 0)

    def t_of(self, sizes: npt.ArrayLike) -> Array:
        """Standardised places of sizes."""
        a = np.asarray(sizes, dtype=float)
        return np.asarray(((np.log(a) if self.scale == "log" else a) - self.centre) / self.spread)

    def y_of(self, responses: npt.ArrayLike) -> Array:
        """Return responses on the axis of y."""
        start = on_axis(np.array([self.threshold]), self.axis)[0]
        given = on_axis(np.asarray(responses, dtype=float), self.axis)
        return np.asarray((given - start) / self.unit)

    def response_of(self, y: npt.ArrayLike) -> Array:
        """Return responses, in the caller's unit, of values on the axis of y."""
        start = on_axis(np.array([self.threshold]), self.axis)[0]
        value = start + self.unit * np.asarray(y, dtype=float)
        return off_axis(value, self.axis)


def on_axis(response: Array, axis: ResponseAxis) -> Array:
    """Responses on the axis of the model, unstandardised; nan stays nan."""
    if axis == "log":
        with np.errstate(divide="ignore"):
            return np.asarray(np.log(response))
    return np.asarray(special.logit(response) if axis == "logit" else response)


def off_axis(values: npt.ArrayLike, axis: ResponseAxis) -> Array:
    """Values of the axis in the unit of response; infinite ones stay infinite."""
    given = np.asarray(values, dtype=float)
    if axis == "linear":
        return given
    there = np.isfinite(given)
    known = np.where(there, given, 0.0)
    return np.where(there, np.exp(known) if axis == "log" else special.expit(known), given)


def _limit(name: str, value: npt.ArrayLike | None, n: int, default: float) -> Array:
    given = np.asarray(default if value is None else value, dtype=float)
    if given.ndim > 1 or (given.ndim == 1 and given.size != n):
        message = f"{given.size} {name}s for {n} responses; give one number, or one for each"
        raise ValueError(message)
    filled = np.broadcast_to(given, (n,)).astype(float)
    return np.where(np.isnan(filled), default, filled)


def _named(where: Flags) -> str:
    rows = [str(i + 1) for i in np.flatnonzero(where)[:5]]
    more = "" if where.sum() <= 5 else f" and {int(where.sum()) - 5} more"
    return f"in {'row' if where.sum() == 1 else 'rows'} {', '.join(rows)}{more} of the responses"


def _check_axis(response: Array, low: Array, high: Array, axis: ResponseAxis) -> None:
    """Refuse exact responses that have no place on the axis."""
    exact = np.isfinite(response) & (response > low) & (response < high)
    if axis == "log" and np.any(bad := exact & (response <= 0.0)):
        least = float(response[bad].min())
        message = (
            f"response {least:g} {_named(bad)} has no logarithm; amplitudes are above 0: give a "
            "floor, or a linear response axis where the responses are in decibels"
        )
        raise ValueError(message)
    if axis == "logit" and np.any(bad := exact & ((response <= 0.0) | (response >= 1.0))):
        value = float(response[bad][0])
        message = (
            f"coherence {value:g} {_named(bad)} has no logit; give a floor above 0 and a ceiling "
            "below 1, so that it counts as censored there"
        )
        raise ValueError(message)


def _check_limits(low: Array, high: Array, threshold: float, axis: ResponseAxis) -> None:
    if np.any(bad := low >= high):
        row = int(np.flatnonzero(bad)[0])
        message = f"floor {low[row]:g} is not below ceiling {high[row]:g}; swap or mend them"
        raise ValueError(message)
    if np.any(threshold < low):
        message = (
            f"threshold {threshold:g} lies below the floor {float(low.max()):g}: what lies under "
            "the floor was not recorded; give a threshold of at least the floor"
        )
        raise ValueError(message)
    if np.any(threshold >= high):
        message = (
            f"threshold {threshold:g} is not below the ceiling {float(high.min()):g}: what lies "
            "above the ceiling was not recorded; give a threshold below it"
        )
        raise ValueError(message)
    for name, value in (("floor", low), ("ceiling", high), ("threshold", np.array([threshold]))):
        if axis == "log" and np.any(np.isfinite(value) & (value <= 0.0)):
            message = f"{name} {float(value.min()):g} has no logarithm; give one above 0"
            raise ValueError(message)
        if axis == "logit" and np.any(np.isfinite(value) & ((value <= 0.0) | (value >= 1.0))):
            message = f"{name} outside 0 to 1 has no logit; coherence lies between them"
            raise ValueError(message)


def _floor_of_missed(response: Array, low: Array, threshold: float) -> Array:
    """Floors with that of missed rows filled in: without one it is the threshold, of all rows."""
    missed = np.isnan(response)
    if not np.any(missed & np.isinf(low)):
        return low
    under = ~missed & (response < threshold)
    if np.any(under):
        value = float(response[under].min())
        message = (
            f"a response of {value:g} below the threshold {threshold:g} is recorded {_named(under)}"
            f", and {int(missed.sum())} rows hold nothing; give the floor below which nothing was "
            "recorded"
        )
        raise ValueError(message)
    return np.where(np.isinf(low), threshold, low)


def _groups(targets: npt.ArrayLike | None, n: int, sizes: Array) -> Indices:
    if targets is None:
        return np.arange(n)
    names = np.asarray(targets).astype(str)
    if names.shape != (n,):
        message = f"{names.size} targets for {n} responses; give one for each"
        raise ValueError(message)
    _, first, group = np.unique(names, return_index=True, return_inverse=True)
    unlike = np.flatnonzero(sizes != sizes[first][group])
    if unlike.size:
        name = names[unlike[0]]
        several = sorted({f"{a:g}" for a in sizes[names == name]})
        message = f"target {name} has several sizes ({', '.join(several)}); give it one"
        raise ValueError(message)
    return np.asarray(np.argsort(np.argsort(first))[group])


def observe_responses(
    size: npt.ArrayLike,
    response: npt.ArrayLike,
    *,
    threshold: float,
    floor: npt.ArrayLike | None = None,
    ceiling: npt.ArrayLike | None = None,
    targets: npt.ArrayLike | None = None,
    scale: str = "log",
    axis: str = "log",
) -> Responses:
    """Check responses and bring them on the axes.

    Parameters
    ----------
    size : (rows,), any unit.
    response : (rows,), nan where nothing was recorded (a missed target).
    threshold : decision threshold, in the unit of responses.
    floor, ceiling : one number or (rows,), nan for none: a response at or below the floor is
        left-censored there, at or above the ceiling right-censored.
    targets : (rows,), ids; rows of one id are responses of one target.
    scale : `log` or `linear`, of size.
    axis : `log`, `linear` or `logit`, of response.

    Raises
    ------
    ValueError : with the fault in words: sizes without a place on the axis; a floor that is not
        below the ceiling; a threshold outside them; responses without a place on the axis; missed
        targets without a floor; one target of several sizes.
    """
    chosen = checked_scale(scale)
    a = checked_sizes(size, chosen)
    if axis not in RESPONSE_AXES:
        message = f"response axis {axis!r} is not known; use {', '.join(RESPONSE_AXES)}"
        raise ValueError(message)
    way: ResponseAxis = axis
    r = np.atleast_1d(np.asarray(response, dtype=float))
    if r.shape != a.shape or np.any(np.isinf(r)):
        message = f"{r.size} responses for {a.size} sizes; give one finite number for each"
        raise ValueError(message)
    if not np.isfinite(threshold):
        message = f"threshold {threshold} is no number; give the decision threshold"
        raise ValueError(message)
    low = _limit("floor", floor, r.size, -np.inf)
    high = _limit("ceiling", ceiling, r.size, np.inf)
    low = _floor_of_missed(r, low, threshold)
    _check_limits(low, high, threshold, way)
    _check_axis(r, low, high, way)
    missed = np.isnan(r)
    left, right = missed | (r <= low), ~missed & (r >= high)
    code = np.where(left, LEFT, np.where(right, RIGHT, 0)).astype(np.int8)
    held = np.where(left, low, np.where(right, high, r))
    return _standardised(a, r, held, low, high, code, _groups(targets, r.size, a), chosen, way,
                         threshold)  # fmt: skip


def _standardised(
    a: Array,
    r: Array,
    held: Array,
    low: Array,
    high: Array,
    code: Codes,
    group: Indices,
    scale: Scale,
    axis: ResponseAxis,
    threshold: float,
) -> Responses:
    x = np.log(a) if scale == "log" else a
    start = float(on_axis(np.array([threshold]), axis)[0])
    y = on_axis(held, axis) - start
    spread, unit = float(np.std(x)), float(np.std(y))
    spread, unit = spread if spread > 0.0 else 1.0, unit if unit > 0.0 else 1.0
    centre = float(x.mean())
    beyond = np.where(r > high, RIGHT, np.where(r < low, LEFT, 0)).astype(np.int8)
    return Responses(
        size=a, response=r,
        t=np.ascontiguousarray((x - centre) / spread), y=np.ascontiguousarray(y / unit),
        low=_limits_on_axis(low, axis, start, unit), high=_limits_on_axis(high, axis, start, unit),
        code=code, missed=np.isnan(r), beyond=beyond, group=group,
        scale=scale, axis=axis, threshold=threshold, centre=centre, spread=spread, unit=unit,
    )  # fmt: skip


def _limits_on_axis(limit: Array, axis: ResponseAxis, start: float, unit: float) -> Array:
    there = np.isfinite(limit)
    value = on_axis(np.where(there, limit, 0.5), axis)
    return np.ascontiguousarray(np.where(there, (value - start) / unit, limit))

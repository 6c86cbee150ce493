"""What a line of responses rests on, checked one by one, and what each failure does to the claim.

- *linearity*: lack of fit against targets of equal size where there are such and nothing is
  censored (F test), else a square of the size axis added (likelihood ratio, 1 degree of freedom);
- *constant spread*: a growth of the spread with size (likelihood ratio, 1 degree of freedom);
- *normal scatter*, above all its lower tail, which decides a90: `qualify.pod.response_tail`;
- *influence*: how far a90 moves when one target is left out; leverage of each;
- *axes*: the likelihood of the same responses on other axes, with the Jacobian.

Sources: Draper and Smith 1998, Applied Regression Analysis, chapter 2 (lack of fit) and 8
(influence); Cook and Weisberg 1983, Biometrika 70, 1-10 (spread). From memory.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import special, stats

from qualify.pod.links import Array
from qualify.pod.observations import Scale
from qualify.pod.response_bounds import likelihood_psi
from qualify.pod.response_curve import ResponseCurve, fit_curve
from qualify.pod.response_design import fit_censored
from qualify.pod.response_simulation import FEWEST_EXACT
from qualify.pod.response_tail import Scatter, residuals_of, scatter_of
from qualify.pod.responses import ResponseAxis, Responses, observe_responses
from qualify.pod.signal_response import ResponseFit, size_at_pod

LEVEL = 0.05  # below it a check fails
NEAR_AIC = 2.0  # as for hits and misses
POD = 0.9
AXES: dict[str, tuple[ResponseAxis, ...]] = {
    "db": ("linear",),
    "linear": ("log", "linear"),
    "coherence": ("linear", "logit"),
}


@dataclass(frozen=True, slots=True)
class Linearity:
    """Whether a straight line will do.

    Attributes
    ----------
    method : `lack_of_fit` (F test against targets of equal size) or `square` (likelihood ratio).
    statistic, p_value : of the test; None where neither can be made, with `reason`.
    bend : height of the square term, in standard deviations, between the middle of the sizes and
        their ends; positive: the line bends upwards.
    """

    method: str
    statistic: float | None
    p_value: float | None
    bend: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class SpreadCheck:
    """Whether the spread is constant.

    Attributes
    ----------
    statistic, p_value : likelihood ratio of the growth.
    ratio : spread at the largest size over that at the smallest.
    a90, a90_95 : with the spread that grows; a90_95 is its likelihood bound; None where absent.
    """

    statistic: float
    p_value: float
    ratio: float
    a90: float | None
    a90_95: float | None


@dataclass(frozen=True, slots=True)
class Influence:
    """What one target does to a90.

    Attributes
    ----------
    target : number of the target, in the order of its first row.
    size : of it.
    change : relative change of a90 when it is left out; None where a90 then does not exist.
    leverage : of its rows, as if nothing were censored; their mean is 2 / rows.
    """

    target: int
    size: float
    change: float | None
    leverage: float


@dataclass(frozen=True, slots=True)
class AxisChoice:
    """The same responses on other axes.

    Attributes
    ----------
    scale, axis : of size and of response.
    aic : comparable among axes (with the Jacobian); None where there is no line.
    a90 : None where there is none.
    primary, near : whether it is the one used; whether its AIC is within 2 of the best.
    reason : why there is no line.
    """

    scale: Scale
    axis: ResponseAxis
    aic: float | None
    a90: float | None
    primary: bool
    near: bool
    reason: str | None


@dataclass(frozen=True, slots=True)
class ResponseChecks:
    """All checks of a fitted line."""

    linearity: Linearity
    spread: SpreadCheck
    scatter: Scatter
    influence: tuple[Influence, ...]
    axes: tuple[AxisChoice, ...]


def check_response(fit: ResponseFit, *, seed: int = 1, unit: str = "linear") -> ResponseChecks:
    """Return all checks of a fitted line.

    `unit` of response (`db`, `linear`, `coherence`) says which axes make sense.

    Raises
    ------
    ValueError : where there is no line.
    """
    if fit.curve is None or fit.outcome != "fitted":
        message = f"there is no line to check: the outcome is {fit.outcome}"
        raise ValueError(message)
    return ResponseChecks(
        linearity=linearity(fit.curve),
        spread=spread_check(fit),
        scatter=scatter_of(fit.curve, seed=seed),
        influence=influence(fit),
        axes=axis_choices(fit, unit),
    )


def linearity(curve: ResponseCurve) -> Linearity:
    """Test whether a straight line will do."""
    data = curve.data
    bend, statistic, reason = _square(curve)
    places, where = np.unique(data.t, return_inverse=True)
    pure = data.rows - places.size
    if np.all(data.exact) and not data.repeated and pure >= 2 and places.size > 2:
        means = np.bincount(where, weights=data.y) / np.bincount(where)
        within = float(((data.y - means[where]) ** 2).sum())
        line = fit_censored(np.column_stack([np.ones_like(data.t), data.t]), data.y)
        assert line.residual_sum is not None
        if within > 0.0:
            between = (line.residual_sum - within) / (places.size - 2)
            f = between / (within / pure)
            p = float(stats.f.sf(f, places.size - 2, pure))
            return Linearity("lack_of_fit", float(f), p, bend, None)
    square = None if statistic is None else float(stats.chi2.sf(statistic, 1))
    return Linearity("square", statistic, square, bend, reason)


def _square(curve: ResponseCurve) -> tuple[float | None, float | None, str | None]:
    """Return the bend, the likelihood ratio of a square term, and why there is none."""
    data = curve.data
    exact = np.unique(data.t[data.exact])
    if exact.size < 3 or data.exact.sum() < FEWEST_EXACT + 1:
        return None, None, "uncensored responses at three sizes or more are needed"
    w = np.exp(-curve.growth * data.t)
    low, high = float(data.t.min()), float(data.t.max())
    u = (data.t - 0.5 * (low + high)) / (0.5 * (high - low))
    design = np.column_stack([np.ones_like(u), data.t, u**2]) * w[:, None]
    try:
        bent = fit_censored(design, data.y * w, data.code)
        straight = fit_censored(design[:, :2], data.y * w, data.code)
    except (ArithmeticError, np.linalg.LinAlgError):
        return None, None, "a bent line could not be fitted"
    if bent.log_likelihood is None or straight.log_likelihood is None:
        return None, None, "the responses have no scatter"
    gain = max(0.0, 2.0 * (bent.log_likelihood - straight.log_likelihood))
    return float(bent.coefficients[2] / bent.sigma), gain, None


def spread_check(fit: ResponseFit) -> SpreadCheck:
    """Test whether the spread is constant, and what follows if it is not."""
    assert fit.curve is not None
    data = fit.data
    constant, growing = fit_curve(data), fit_curve(data, growing=True)
    gain = max(0.0, 2.0 * (growing.height - constant.height))
    upper = likelihood_psi(growing, float(special.ndtri(POD)), fit.confidence, "upper")
    place = data.centre + data.spread * upper
    bound = None
    if math.isfinite(place):
        bound = math.exp(place) if data.scale == "log" else place
    reach = float(data.t.max() - data.t.min())
    return SpreadCheck(gain, float(stats.chi2.sf(gain, 1)), math.exp(growing.growth * reach),
                       size_at_pod(growing, POD), bound)  # fmt: skip


def influence(fit: ResponseFit) -> tuple[Influence, ...]:
    """Leave each target out in turn; the targets in the order of their first rows."""
    assert fit.curve is not None
    data, whole = fit.data, fit.a90
    mean = float(data.t.mean())
    leverage = 1.0 / data.rows + (data.t - mean) ** 2 / float(((data.t - mean) ** 2).sum())
    told = []
    for target in range(data.targets):
        rows = data.group == target
        a90 = _a90_without(fit.curve, data, rows)
        change = None if a90 is None or whole is None else a90 / whole - 1.0
        told.append(Influence(target, float(data.size[rows][0]), change,
                              float(leverage[rows].max())))  # fmt: skip
    return tuple(told)


def _a90_without(curve: ResponseCurve, data: Responses, rows: Array) -> float | None:
    rest = ~rows.astype(bool)
    part = replace(
        data, size=data.size[rest], response=data.response[rest], t=data.t[rest].copy(),
        y=data.y[rest].copy(), low=data.low[rest].copy(), high=data.high[rest].copy(),
        code=data.code[rest].copy(), missed=data.missed[rest], beyond=data.beyond[rest],
        group=data.group[rest],
    )  # fmt: skip
    if part.exact.sum() < FEWEST_EXACT or np.unique(part.t[part.exact]).size < 2:
        return None
    return size_at_pod(fit_curve(part, growing=curve.growing), POD)


def axis_choices(fit: ResponseFit, unit: str) -> tuple[AxisChoice, ...]:
    """Return the same responses on the axes that make sense for their unit, best AIC first."""
    axes = AXES.get(unit, AXES["linear"])
    scales: tuple[Scale, ...] = ("log", "linear")
    found = [_on(fit, scale, axis) for scale in scales for axis in axes]
    best = min((one.aic for one in found if one.aic is not None), default=0.0)
    marked = [
        replace(one, near=one.aic is not None and one.aic <= best + NEAR_AIC) for one in found
    ]
    return tuple(sorted(marked, key=lambda one: math.inf if one.aic is None else one.aic))


def _on(fit: ResponseFit, scale: Scale, axis: ResponseAxis) -> AxisChoice:
    data = fit.data
    primary = (scale, axis) == (data.scale, data.axis)
    low, high = (data.response_of(limit) for limit in (data.low, data.high))
    low = np.where(np.isfinite(data.low), low, -np.inf)
    high = np.where(np.isfinite(data.high), high, np.inf)
    try:
        # rows keep their code: a limit back from another axis may differ in its last digit
        given = np.where(data.exact, data.response, np.where(data.code < 0, low, high))
        moved = observe_responses(data.size, given, threshold=data.threshold, floor=low,
                                  ceiling=high, scale=scale, axis=axis)  # fmt: skip
    except ValueError as error:
        return AxisChoice(scale, axis, None, None, primary, False, str(error))
    curve = fit_curve(replace(moved, code=data.code, group=data.group),
                      growing=fit.curve is not None and fit.curve.growing)  # fmt: skip
    height = curve.log_likelihood + _log_jacobian(data.response[data.exact], axis)
    free = 4 if curve.growing else 3
    a90 = size_at_pod(curve, POD) if curve.slope > 0.0 else None
    return AxisChoice(scale, axis, 2.0 * free - 2.0 * height, a90, primary, False, None)


def _log_jacobian(exact: Array, axis: ResponseAxis) -> float:
    """Log of the derivative of the axis in the response, summed over exact rows."""
    if axis == "log":
        return -float(np.log(exact).sum())
    if axis == "logit":
        return -float(np.log(exact * (1.0 - exact)).sum())
    return 0.0


def trend(curve: ResponseCurve, points: int = 25) -> tuple[Array, Array]:
    """Sizes (points,) and a smooth of exact residuals there, by a normal kernel; for a figure."""
    data = curve.data
    t, z = data.t[data.exact], residuals_of(curve)[data.exact]
    grid = np.linspace(t.min(), t.max(), points)
    width = max(0.35 * float(np.std(t)), 1e-9)
    share = np.exp(-0.5 * ((grid[:, None] - t[None, :]) / width) ** 2)
    x = data.centre + data.spread * grid
    sizes = np.exp(x) if data.scale == "log" else x
    return np.asarray(sizes), np.asarray((share @ z) / share.sum(axis=1))

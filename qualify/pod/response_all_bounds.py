"""Every bound on a90 from responses, by name; and bounds on POD at a size."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.observations import size_of
from qualify.pod.problem import (
    BELOW_ZERO,
    NO_TREND,
    TOO_FAR,
    BoundName,
    BoundValue,
    Side,
    normal_quantile,
)
from qualify.pod.response_bounds import (
    exact_applies,
    exact_eta,
    exact_psi,
    likelihood_eta,
    likelihood_psi,
    wald_psi,
)
from qualify.pod.response_calibrated import calibrated_eta, calibrated_psi
from qualify.pod.response_curve import ResponseCurve, signed_root

ResponseBounds = dict[str, dict[str, BoundValue]]

RESPONSE_BOUNDS: tuple[BoundName, ...] = ("exact", "calibrated", "likelihood", "wald")
SIDES: tuple[Side, ...] = ("upper", "lower")
POD = 0.9
NOT_EXACT = (
    "the exact bound needs responses of which none is censored, one for each target, and a spread "
    "that is constant; use the calibrated bound"
)
NOT_WALD = "a delta-method bound is not given where the spread grows"
NO_LINE: dict[str, str] = {
    "decreasing": "responses do not rise with size: no size can be given",
    "all_censored": "every response is censored: there is no line",
    "too_few": "too few uncensored responses for a line and its spread",
    "no_scatter": "the uncensored responses lie on a line without scatter: they can't be measured",
    "not_settled": "no line of highest likelihood was found",
}


def no_bounds(outcome: str, names: Iterable[BoundName]) -> ResponseBounds:
    """Return for each name that there is no bound, and why."""
    reason = NO_LINE[outcome]
    return {name: {side: BoundValue(None, reason, name, side) for side in SIDES} for name in names}


def bounds_of(
    curve: ResponseCurve,
    names: Iterable[BoundName],
    confidence: float,
    seed: int,
    simulations: int,
    pod: float = POD,
) -> ResponseBounds:
    """Return bounds on the size with a POD, by name and side."""

    def one(name: BoundName, side: Side) -> BoundValue:
        return _bound(curve, name, side, pod, confidence, seed, simulations)

    return {name: {side: one(name, side) for side in SIDES} for name in names}


def _bound(
    curve: ResponseCurve,
    name: BoundName,
    side: Side,
    pod: float,
    confidence: float,
    seed: int,
    simulations: int,
) -> BoundValue:
    eta = float(special.ndtri(pod))
    if not math.isfinite(curve.psi(eta)):
        return BoundValue(None, NO_TREND, name, side)
    if name == "calibrated":
        found = calibrated_psi(curve, eta, confidence, side, seed=seed, simulations=simulations)
        if found is None:
            return BoundValue(None, NO_TREND, name, side, None, simulations)
        told = _as_size(curve, found.at, name, side)
        if told.value is None:
            return told
        error = found.error * curve.data.spread
        error *= told.value if curve.data.scale == "log" else 1.0
        return BoundValue(told.value, None, name, side, error, found.simulations)
    if name == "exact":
        if not exact_applies(curve):
            return BoundValue(None, NOT_EXACT, name, side)
        return _as_size(curve, exact_psi(curve, eta, confidence, side), name, side)
    if name == "wald":
        if curve.growing:
            return BoundValue(None, NOT_WALD, name, side)
        if signed_root(curve, math.inf, eta) <= normal_quantile(confidence):
            return BoundValue(None, NO_TREND, name, side)
        return _as_size(curve, wald_psi(curve, eta, confidence, side), name, side)
    return _as_size(curve, likelihood_psi(curve, eta, confidence, side), name, side)


def _as_size(curve: ResponseCurve, psi: float, name: BoundName, side: Side) -> BoundValue:
    if math.isnan(psi):
        return BoundValue(None, NO_TREND, name, side)
    data = curve.data
    size = size_of(data.centre + data.spread * psi, data.scale)
    if size is not None:
        return BoundValue(size, None, name, side)
    below = data.scale == "linear"
    return BoundValue(None, BELOW_ZERO if below else TOO_FAR, name, side)


@dataclass(frozen=True, slots=True)
class PodAt:
    """POD at a size.

    Attributes
    ----------
    size, pod : the size and the estimate.
    lower : one-sided lower bound, None where there is none.
    method, simulations : of the bound; simulations None where nothing was simulated.
    """

    size: float
    pod: float
    lower: float | None
    method: BoundName
    simulations: int | None


def pod_at_size(
    curve: ResponseCurve,
    size: float,
    *,
    method: BoundName,
    confidence: float,
    seed: int,
    simulations: int,
) -> PodAt:
    """Return POD at a size with its lower bound; `wald` is told as `likelihood`."""
    psi = float(curve.data.t_of(size))
    pod = float(special.ndtr(curve.eta(np.array([psi]))[0]))
    used: BoundName = "likelihood" if method == "wald" else method
    behind = None
    if used == "exact" and exact_applies(curve):
        eta = exact_eta(curve, psi, confidence)
    elif used == "likelihood":
        eta = likelihood_eta(curve, psi, confidence)
    else:
        used = "calibrated"
        found = calibrated_eta(curve, psi, confidence, seed=seed, simulations=simulations)
        eta = math.nan if found is None else found.at
        behind = simulations if found is None else found.simulations
    lower = None if math.isnan(eta) else float(special.ndtr(eta))
    return PodAt(size, pod, lower, used, behind)

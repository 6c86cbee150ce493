"""One-sided likelihood and delta-method bounds on a size with given POD, and on POD at a size.

- `likelihood`: r(psi) = z (upper) and r = -z (lower), z the normal quantile of the confidence. A
  bound exists if and only if twice the log-likelihood gained by the slope exceeds z^2: as psi
  goes to infinity the profile tends to the flat model.
- `wald`: estimate plus or minus z standard errors by the delta method on psi, from the
  expected information; multiplicative on the log scale. By itself it always gives a number,
  which is a defect; it serves as a cross-check and is not given where POD is not shown to rise.

Both hold less often than they say in small samples; `qualify.pod.calibrated` does not.

Source: see `qualify.pod.problem`; checked in `tests/published` against R and against 50-digit
arithmetic.
"""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np
from scipy.optimize import elementwise

from qualify.pod.links import Array, Indices, eta_of, pod_of
from qualify.pod.problem import (
    NO_TREND,
    BoundValue,
    FittedCurve,
    Side,
    SizedHits,
    normal_quantile,
    signed_root,
)

Residual: TypeAlias = Callable[..., Array]  # of positions (k,) and of Indices (k,)

MAX_DOUBLINGS = 60


def delta_error(curve: FittedCurve, psi: Array) -> Array:
    """Return the standard error (k,) of psi (k,) by the delta method."""
    v = curve.covariance
    variance = v[0, 0] + 2.0 * psi * v[0, 1] + psi**2 * v[1, 1]
    return np.asarray(np.sqrt(variance) / abs(curve.slope))


def psi_of(curve: FittedCurve, level: Array) -> Array:
    """Return where (k,) the fitted curve reaches each link value (k,)."""
    return np.asarray((level - curve.intercept) / curve.slope)


def bracketed_root(residual: Residual, start: Array, step: Array) -> Array:
    """Roots (k,) of a residual, negative at `start`, sought along `step`; nan where not found.

    The residual takes positions and the indices of the problems they belong to.
    """
    index = np.arange(len(start))
    near, far = start.copy(), start + step
    for _ in range(MAX_DOUBLINGS):
        short = residual(far, index) < 0.0
        if not short.any():
            break
        near = np.where(short, far, near)
        far = np.where(short, start + 2.0 * (far - start), far)
    roots = np.full(len(start), np.nan)
    (found,) = np.nonzero(residual(far, index) >= 0.0)
    if found.size:
        solved = elementwise.find_root(
            residual,
            (near[found], far[found]),
            args=(found,),
            tolerances={"xatol": 1e-14, "xrtol": 1e-14},
        )
        roots[found] = solved.x
    return roots


def start_and_step(data: SizedHits, level: Array, side: Side, z: float) -> tuple[Array, Array]:
    """Return where the search for a bound begins (k,) and its first step (k,), signed.

    Under separation the curve may reach the level anywhere in the gap: the search begins at its
    far end.
    """
    if isinstance(data, FittedCurve):
        start = psi_of(data, level)
        step = z * delta_error(data, start)
    else:
        end = data.smallest_hit if side == "upper" else data.largest_miss
        start, step = np.full(len(level), end), np.full(len(level), 0.25)
    return start, step if side == "upper" else -step


def likelihood_psi(data: SizedHits, pods: Array, confidence: float, side: Side) -> Array:
    """Likelihood bounds (k,) on psi for each POD (k,), standardised; nan where there is none."""
    level = eta_of(data.link, pods)
    z = normal_quantile(confidence)
    falling = isinstance(data, FittedCurve) and data.slope <= 0.0
    if falling or data.slope_lr <= z**2:
        return np.full(len(level), np.nan)

    def residual(psi: Array, index: Indices) -> Array:
        return np.abs(signed_root(data, psi, level[index])) - z

    return bracketed_root(residual, *start_and_step(data, level, side, z))


def likelihood_bound(data: SizedHits, pod: float, confidence: float, side: Side) -> BoundValue:
    """One-sided likelihood bound on the size where POD = `pod`, in the caller's unit."""
    if data.slope_lr <= normal_quantile(confidence) ** 2:
        return BoundValue(None, NO_TREND, "likelihood", side)
    psi = likelihood_psi(data, np.array([pod]), confidence, side)[0]
    return data.bound(float(psi), "likelihood", side)


def wald_bound(curve: FittedCurve, pod: float, confidence: float, side: Side) -> BoundValue:
    """One-sided delta-method bound on the size where POD = `pod`, in the caller's unit."""
    if curve.slope_lr <= normal_quantile(confidence) ** 2:
        return BoundValue(None, NO_TREND, "wald", side)
    z = normal_quantile(confidence) * (1.0 if side == "upper" else -1.0)
    psi = psi_of(curve, eta_of(curve.link, np.array([pod])))
    return curve.bound(float((psi + z * delta_error(curve, psi))[0]), "wald", side)


def pod_lower_bounds(curve: FittedCurve, psi: Array, confidence: float) -> Array:
    """One-sided lower likelihood bounds (k,) on POD at standardised sizes `psi` (k,).

    Always exist where hits and misses overlap: eta at a size is linear in the coefficients.
    """
    z = normal_quantile(confidence)
    eta = curve.intercept + curve.slope * psi
    error = delta_error(curve, psi) * abs(curve.slope)

    def residual(level: Array, index: Indices) -> Array:
        return np.abs(signed_root(curve, psi[index], level)) - z

    return pod_of(curve.link, bracketed_root(residual, eta, -z * error))

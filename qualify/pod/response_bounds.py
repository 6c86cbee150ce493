"""Bounds from responses in closed form: exact, likelihood and delta method.

- `exact`: where nothing is censored, the spread is constant and every target has one response,
  (mean line at psi - threshold) / (s h) is non-central t with n - 2 degrees of freedom and
  non-centrality z_p / h, h^2 = 1/n + t^2 sums, s with n - 2. The bound is the psi at which this
  statistic reaches its quantile; it holds exactly as often as it says, if the model is true.
- `likelihood`: r(psi) = z; exists if and only if responses change with size by as much.
- `wald`: estimate plus or minus z standard errors, on psi; a cross-check only.

Sources: Owen 1968, Technometrics 10, 445-478 (non-central t and tolerance bounds; from memory)
and the theory of calibration in Graybill 1976, chapter 8 (from memory); checked in
`tests/published` against R and, by counting, in `tests/recovery`.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

from qualify.pod.problem import Side, normal_quantile
from qualify.pod.response_calibrated import delta_error
from qualify.pod.response_curve import ResponseCurve, signed_root
from qualify.pod.responses import Responses

MOST_DOUBLINGS = 60


@dataclass(frozen=True, slots=True)
class LeastSquares:
    """Ordinary least squares of y on t, both standardised.

    Attributes
    ----------
    intercept, slope, s : s with n - 2 degrees of freedom.
    mean, sxx, n : of t.
    """

    intercept: float
    slope: float
    s: float
    mean: float
    sxx: float
    n: int

    def h(self, psi: float) -> float:
        """Return the standard error of the line at psi over s."""
        return math.sqrt(1.0 / self.n + (psi - self.mean) ** 2 / self.sxx)

    def statistic(self, psi: float) -> float:
        """Return the height of the line at psi over its standard error."""
        return (self.intercept + self.slope * psi) / (self.s * self.h(psi))


def least_squares(data: Responses) -> LeastSquares:
    """Return the ordinary least-squares line of responses of which none is censored."""
    t, y, n = data.t, data.y, data.rows
    mean = float(t.mean())
    sxx = float(((t - mean) ** 2).sum())
    slope = float(((t - mean) * y).sum() / sxx)
    intercept = float(y.mean()) - slope * mean
    left = y - intercept - slope * t
    return LeastSquares(intercept, slope, math.sqrt(float(left @ left) / (n - 2)), mean, sxx, n)


def exact_applies(curve: ResponseCurve) -> bool:
    """Whether the exact bound exists for these data and this model."""
    data = curve.data
    return bool(np.all(data.exact)) and not data.repeated and not curve.growing and data.rows > 2


def _quantile(q: float, df: int, shift: float) -> float:
    """Quantile of non-central t, polished so that its distribution function gives q."""
    first = float(stats.nct.ppf(q, df, shift))
    return float(optimize.newton(lambda x: stats.nct.cdf(x, df, shift) - q, first, tol=1e-13,
                                 disp=False))  # fmt: skip


def exact_psi(curve: ResponseCurve, eta: float, confidence: float, side: Side) -> float:
    """Exact bound on t where the probit of POD is `eta`; nan where none exists."""
    line, q = least_squares(curve.data), confidence if side == "upper" else 1.0 - confidence
    far = float(stats.t.ppf(confidence, line.n - 2))
    if line.slope * math.sqrt(line.sxx) / line.s <= far:
        return math.nan
    sign = 1.0 if side == "upper" else -1.0

    def gap(psi: float) -> float:
        quantile = _quantile(q, line.n - 2, eta / line.h(psi))
        return sign * (line.statistic(psi) - quantile)

    estimate = (eta * line.s - line.intercept) / line.slope
    return _outwards(gap, estimate, sign * max(delta_error(curve, eta), 1e-9))


def _outwards(gap: Callable[[float], float], start: float, step: float) -> float:
    """Return the root of a gap that is negative near `start`, sought along `step`; nan if none."""
    near, far = start - 0.25 * step, start + step
    for _ in range(MOST_DOUBLINGS):
        if gap(far) > 0.0:
            break
        near, far = far, start + 2.0 * (far - start)
    else:
        return math.nan
    while gap(near) > 0.0:  # in tiny samples the bound may lie on the near side of the estimate
        near -= abs(step) * (1.0 if step > 0 else -1.0)
        if abs(near - start) > 100.0 * abs(step):
            return math.nan
    return float(optimize.brentq(gap, near, far, xtol=1e-14, rtol=1e-14))


def exact_eta(curve: ResponseCurve, psi: float, confidence: float) -> float:
    """Exact lower bound on the probit of POD at a standardised size."""
    line = least_squares(curve.data)
    seen, h = line.statistic(psi), line.h(psi)

    def gap(eta: float) -> float:
        return float(stats.nct.cdf(seen, line.n - 2, eta / h)) - confidence

    low, high = seen * h - 1.0, seen * h
    while gap(low) < 0.0:
        low -= 2.0
    while gap(high) > 0.0:
        high += 1.0
    return float(optimize.brentq(gap, low, high, xtol=1e-13))


def likelihood_psi(curve: ResponseCurve, eta: float, confidence: float, side: Side) -> float:
    """Likelihood bound on t where the probit of POD is `eta`; nan where none exists."""
    z, sign = normal_quantile(confidence), 1.0 if side == "upper" else -1.0
    if signed_root(curve, math.inf, eta) <= z:
        return math.nan
    start = curve.psi(eta)
    return _outwards(lambda psi: sign * signed_root(curve, psi, eta) - z, start,
                     sign * z * max(delta_error(curve, eta), 1e-9))  # fmt: skip


def likelihood_eta(curve: ResponseCurve, psi: float, confidence: float) -> float:
    """Lower likelihood bound on the probit of POD at a standardised size."""
    z, top = normal_quantile(confidence), float(curve.eta(np.array([psi]))[0])
    return _outwards(lambda eta: signed_root(curve, psi, eta) - z, top, -0.5)


def wald_psi(curve: ResponseCurve, eta: float, confidence: float, side: Side) -> float:
    """Delta-method bound on t where the probit of POD is `eta`; the growth must be 0."""
    step = normal_quantile(confidence) * delta_error(curve, eta)
    return curve.psi(eta) + (step if side == "upper" else -step)

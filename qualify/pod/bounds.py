"""One-sided confidence bounds on the size with a given POD, and on the POD at a given size.

Let psi be the size (or log size) where POD = p, and c the link value of p.

- `likelihood`: the signed root of the profile likelihood ratio,
  r(psi) = sign(eta(psi) - c) sqrt(2 (highest - profile(psi))), solved for r = z (upper) and
  r = -z (lower), z the normal quantile of the confidence. With x shifted by psi the hypothesis
  reads 'intercept = c', which leaves one free slope and an exact, concave profile.
  A bound exists if and only if twice the log-likelihood gained by the slope exceeds z^2: as
  psi goes to infinity the profile tends to the flat model.
- `wald`: estimate plus or minus z standard errors by the delta method on psi, from the
  expected information; multiplicative on the log scale. It always gives a number, which is a
  defect, and serves as a cross-check only.

Source: McCullagh and Nelder 1989, section 7 and Cox and Hinkley 1974, section 9.3, for the
profile likelihood (from memory); checked in `tests/published` against R and against
40-digit arithmetic.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special
from scipy.optimize import elementwise

from qualify.pod.engine import fit_curves, fit_through, flat_log_likelihood
from qualify.pod.links import Array, LinkName, eta_of, pod_of
from qualify.pod.observations import Observations
from qualify.pod.outcome import Outcome

BoundName: TypeAlias = Literal["wald", "likelihood"]
Side: TypeAlias = Literal["upper", "lower"]
Indices: TypeAlias = npt.NDArray[np.intp]
Residual: TypeAlias = Callable[..., Array]  # of positions (k,) and of Indices (k,)

BOUND_NAMES: tuple[BoundName, ...] = ("wald", "likelihood")
MAX_DOUBLINGS = 60

NO_TREND = "the slope is too uncertain: POD is not shown to rise with size, so no bound exists"
BELOW_ZERO = "the bound falls below size 0, where there is nothing to find"
TOO_FAR = "the bound lies too far beyond the sizes tested to be given as a number"


NOT_FITTED: dict[Outcome, str] = {
    "separated": (
        "hits and misses do not overlap: "
        "the likelihood bound holds far less often than it says here"
    ),
    "quasi_separated": (
        "hits and misses meet at one size only: the likelihood bound holds far less often than "
        "it says here"
    ),
    "decreasing": "POD does not rise with size in these data: no size can be given",
    "all_hit": "every target was hit: no curve can be fitted",
    "all_missed": "every target was missed: no curve can be fitted",
    "too_few": "too few trials or too few distinct sizes for a curve",
}


@dataclass(frozen=True, slots=True)
class BoundValue:
    """A one-sided bound, or the reason why there is none.

    Attributes
    ----------
    value : in the caller's size unit, or None.
    reason : in words when there is no value, else None.
    method : `wald` or `likelihood`.
    side : `upper` or `lower`.
    """

    value: float | None
    reason: str | None
    method: BoundName
    side: Side


@dataclass(frozen=True, slots=True)
class FittedCurve:
    """A rising maximum-likelihood curve in centred and scaled sizes, t = (x - centre) / spread.

    Attributes
    ----------
    t, hits, trials : (distinct sizes,).
    link, scale : as in the fit.
    centre, spread : floats, of x.
    intercept, slope, log_likelihood, flat : floats in t; `flat` is the flat model's likelihood.
    covariance : (2, 2), inverse expected information in t.
    """

    t: Array
    hits: Array
    trials: Array
    link: LinkName
    scale: str
    centre: float
    spread: float
    intercept: float
    slope: float
    log_likelihood: float
    flat: float
    covariance: Array

    @property
    def slope_lr(self) -> float:
        """Twice the log-likelihood that the slope gains over the flat model."""
        return max(0.0, 2.0 * (self.log_likelihood - self.flat))

    def size_at(self, psi: float) -> float | None:
        """Size of a standardised psi, or None when it is no finite size of 0 or more."""
        x = self.centre + self.spread * psi
        if not np.isfinite(x) or (self.scale == "log" and abs(x) > 700.0):
            return None
        size = float(np.exp(x)) if self.scale == "log" else float(x)
        return size if size >= 0.0 else None


def fitted_curve(seen: Observations, link: LinkName) -> FittedCurve:
    """Fit the two-parameter curve to data whose hits and misses overlap.

    Raises
    ------
    ArithmeticError : when the iteration does not converge, which overlap rules out.
    """
    x = seen.x
    total = seen.trials.sum()
    centre = float((seen.trials * x).sum() / total)
    spread = float(np.sqrt((seen.trials * (x - centre) ** 2).sum() / total))
    t = (x - centre) / spread
    fit = fit_curves(t, seen.hits, seen.trials, link)
    if not bool(fit.converged[0]):
        message = "the fit did not converge although hits and misses overlap"
        raise ArithmeticError(message)
    return FittedCurve(
        t=t,
        hits=seen.hits,
        trials=seen.trials,
        link=link,
        scale=seen.scale,
        centre=centre,
        spread=spread,
        intercept=float(fit.intercept[0]),
        slope=float(fit.slope[0]),
        log_likelihood=float(fit.log_likelihood[0]),
        flat=float(flat_log_likelihood(seen.hits, seen.trials)[0]),
        covariance=np.linalg.inv(fit.expected_information[0]),
    )


def signed_root(curve: FittedCurve, psi: Array, level: Array) -> Array:
    """Signed root r (k,) of the likelihood ratio that eta = `level` (k,) at t = `psi` (k,)."""
    held = fit_through(curve.t, curve.hits, curve.trials, curve.link, psi, level)
    drop = np.maximum(0.0, 2.0 * (curve.log_likelihood - held.log_likelihood))
    return np.asarray(np.sign(curve.intercept + curve.slope * psi - level) * np.sqrt(drop))


def _delta_error(curve: FittedCurve, psi: Array) -> Array:
    """Return the standard error (k,) of psi (k,) by the delta method."""
    v = curve.covariance
    variance = v[0, 0] + 2.0 * psi * v[0, 1] + psi**2 * v[1, 1]
    return np.asarray(np.sqrt(variance) / abs(curve.slope))


def _bracketed_root(residual: Residual, start: Array, step: Array) -> Array:
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


def likelihood_psi(curve: FittedCurve, pods: Array, confidence: float, side: Side) -> Array:
    """Likelihood bounds (k,) on psi for each POD (k,), standardised; nan where there is none."""
    level = eta_of(curve.link, pods)
    z = normal_quantile(confidence)
    if curve.slope <= 0.0 or curve.slope_lr <= z**2:
        return np.full(len(level), np.nan)

    def residual(psi: Array, index: Indices) -> Array:
        return np.abs(signed_root(curve, psi, level[index])) - z

    estimate = (level - curve.intercept) / curve.slope
    step = z * _delta_error(curve, estimate)
    return _bracketed_root(residual, estimate, step if side == "upper" else -step)


def normal_quantile(confidence: float) -> float:
    """Return the normal quantile z of a one-sided confidence.

    Raises
    ------
    ValueError : unless confidence lies above 0.5 and below 1.
    """
    if not 0.5 < confidence < 1.0:
        message = f"confidence {confidence} must lie between 0.5 and 1, as 0.95"
        raise ValueError(message)
    return float(special.ndtri(confidence))


def _value(curve: FittedCurve, psi: float, method: BoundName, side: Side) -> BoundValue:
    size = curve.size_at(psi)
    if size is not None:
        return BoundValue(size, None, method, side)
    below_zero = curve.scale == "linear" and np.isfinite(psi)
    return BoundValue(None, BELOW_ZERO if below_zero else TOO_FAR, method, side)


def likelihood_bound(curve: FittedCurve, pod: float, confidence: float, side: Side) -> BoundValue:
    """One-sided likelihood bound on the size where POD = `pod`, in the caller's unit."""
    if curve.slope_lr <= normal_quantile(confidence) ** 2:
        return BoundValue(None, NO_TREND, "likelihood", side)
    psi = likelihood_psi(curve, np.array([pod]), confidence, side)[0]
    return _value(curve, float(psi), "likelihood", side)


def wald_bound(curve: FittedCurve, pod: float, confidence: float, side: Side) -> BoundValue:
    """One-sided delta-method bound on the size where POD = `pod`, in the caller's unit.

    By itself it always closes, also where POD is not shown to rise; there it is not given.
    """
    if curve.slope_lr <= normal_quantile(confidence) ** 2:
        return BoundValue(None, NO_TREND, "wald", side)
    z = normal_quantile(confidence) * (1.0 if side == "upper" else -1.0)
    psi = (eta_of(curve.link, np.array([pod])) - curve.intercept) / curve.slope
    return _value(curve, float((psi + z * _delta_error(curve, psi))[0]), "wald", side)


def pod_lower_bounds(curve: FittedCurve, psi: Array, confidence: float) -> Array:
    """One-sided lower likelihood bounds (k,) on POD at standardised sizes `psi` (k,).

    Always exist where hits and misses overlap: eta at a size is linear in the coefficients.
    """
    z = normal_quantile(confidence)
    eta = curve.intercept + curve.slope * psi
    error = _delta_error(curve, psi) * abs(curve.slope)

    def residual(level: Array, index: Indices) -> Array:
        return np.abs(signed_root(curve, psi[index], level)) - z

    return pod_of(curve.link, _bracketed_root(residual, eta, -z * error))

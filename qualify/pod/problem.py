"""Hits and misses made ready for bounds: standardised sizes, the curve, the profile likelihood.

A bound answers a statement of the form 'the curve runs through link value `level` at size
`psi`'. Held there, it has one free slope, and an exact, concave profile. The signed root of the
likelihood ratio is r = sign(best level - level) sqrt(2 (highest - profile)). It exists under
separation too: then the highest log-likelihood is a supremum, known from the data.

Source: McCullagh and Nelder 1989, section 7 and Cox and Hinkley 1974, section 9.3, for the
profile likelihood (from memory); checked in `tests/published`.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy import special

from qualify.pod.engine import fit_curves, flat_log_likelihood
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array, LinkName
from qualify.pod.observations import Observations, size_of
from qualify.pod.outcome import Outcome
from qualify.pod.simulation import away_from, hold, supremum
from qualify.threads import njit

BoundName: TypeAlias = Literal[
    "calibrated", "likelihood", "wald", "r_star", "firth", "cheng_iles", "bootstrap", "exact"
]
Side: TypeAlias = Literal["upper", "lower"]

BOUND_NAMES: tuple[BoundName, ...] = (
    "calibrated",
    "likelihood",
    "wald",
    "r_star",
    "firth",
    "cheng_iles",
    "bootstrap",
)
BESIDE: tuple[BoundName, ...] = ("r_star", "firth", "cheng_iles", "bootstrap")  # when asked for
BOUND_WORDS: dict[BoundName, str] = {
    "calibrated": "likelihood ratio, calibrated by simulation",
    "likelihood": "likelihood ratio",
    "wald": "delta method (Wald)",
    "r_star": "modified signed root r*",
    "firth": "profile of the penalised likelihood (Firth)",
    "cheng_iles": "whole-curve region (Cheng and Iles)",
    "bootstrap": "bootstrap of targets, percentile",
    "exact": "exact, from the non-central t distribution",
}

NO_TREND = "the slope is too uncertain: POD is not shown to rise with size, so no bound exists"
BELOW_ZERO = "the bound falls below size 0, where there is nothing to find"
TOO_FAR = "the bound lies too far beyond the sizes tested to be given as a number"
NO_OVERLAP = (
    "hits and misses do not overlap; a bound of this kind then holds far less often than it says "
    "and is not given"
)
NO_CURVE: dict[Outcome, str] = {
    "separated": NO_OVERLAP,
    "quasi_separated": (
        "hits and misses meet at one size only; a bound of this kind then holds far less often "
        "than it says and is not given"
    ),
    "decreasing": "POD does not rise with size in these data: no size can be given",
    "all_hit": "every target was hit: no curve can be fitted",
    "all_missed": "every target was missed: no curve can be fitted",
    "too_few": "too few trials or too few distinct sizes for a curve",
}
FINE = 1e-18


@dataclass(frozen=True, slots=True)
class BoundValue:
    """A one-sided bound, or the reason why there is none.

    Attributes
    ----------
    value : in the caller's size unit, or None.
    reason : in words when there is no value, else None.
    method : one of `BOUND_NAMES`.
    side : `upper` or `lower`.
    error : Monte-Carlo standard error of the value, None where nothing was simulated.
    simulations : simulated trials behind it, None where nothing was simulated.
    """

    value: float | None
    reason: str | None
    method: BoundName
    side: Side
    error: float | None = None
    simulations: int | None = None


@dataclass(frozen=True, slots=True)
class SizedHits:
    """Hits at centred and scaled sizes, t = (x - centre) / spread, with any overlap or none.

    Attributes
    ----------
    t, hits, trials : (distinct sizes,), t rising.
    link, scale : as in the fit.
    centre, spread : floats, of x.
    top, flat : highest log-likelihood of a curve (a supremum under separation), and that of one
        POD for all sizes.
    largest_miss, smallest_hit : in t.
    """

    t: Array
    hits: Array
    trials: Array
    link: LinkName
    scale: str
    centre: float
    spread: float
    top: float
    flat: float
    largest_miss: float
    smallest_hit: float

    @property
    def slope_lr(self) -> float:
        """Twice the log-likelihood that the slope gains over the flat model."""
        return max(0.0, 2.0 * (self.top - self.flat))

    def size_at(self, psi: float) -> float | None:
        """Size of a standardised psi, or None when it is no finite size of 0 or more."""
        return size_of(self.centre + self.spread * psi, self.scale)

    def psi_of(self, size: float) -> float:
        """Return the standardised place of a size."""
        return (float(np.log(size) if self.scale == "log" else size) - self.centre) / self.spread

    def bound(self, psi: float, method: BoundName, side: Side) -> BoundValue:
        """Return a bound at a standardised psi, as size or reason."""
        size = self.size_at(psi)
        if size is not None:
            return BoundValue(size, None, method, side)
        below_zero = self.scale == "linear" and np.isfinite(psi)
        return BoundValue(None, BELOW_ZERO if below_zero else TOO_FAR, method, side)


@dataclass(frozen=True, slots=True)
class FittedCurve(SizedHits):
    """Sized hits whose hits and misses overlap, with their maximum-likelihood curve.

    Attributes
    ----------
    intercept, slope : floats in t.
    covariance, observed : (2, 2), inverse expected and inverse observed information in t.
    """

    intercept: float
    slope: float
    covariance: Array
    observed: Array


def sized_hits(seen: Observations, link: LinkName) -> SizedHits:
    """Return the data in standardised sizes, with the curve where hits and misses overlap.

    An overlap so narrow that the iteration does not settle gives no curve; its highest
    log-likelihood is then that last reached.

    Raises
    ------
    ValueError : for data with hits only, with misses only or with one size only.
    """
    missed = seen.hits < seen.trials
    if not (np.any(seen.hits > 0) and np.any(missed) and seen.size.size > 1):
        message = "a bound needs hits, misses and two sizes"
        raise ValueError(message)
    x, total = seen.x, seen.trials.sum()
    centre = float((seen.trials * x).sum() / total)
    spread = float(np.sqrt((seen.trials * (x - centre) ** 2).sum() / total))
    t = np.ascontiguousarray((x - centre) / spread)
    top = float(supremum(seen.hits, seen.trials - seen.hits))
    flat = float(flat_log_likelihood(seen.hits, seen.trials)[0])
    ends = (float(t[missed][-1]), float(t[seen.hits > 0][0]))
    parts = (t, seen.hits, seen.trials, link, seen.scale, centre, spread)
    if top <= 0.0:
        return SizedHits(*parts, top, flat, *ends)
    fit = fit_curves(t, seen.hits, seen.trials, link)
    if not bool(fit.converged[0]):
        return SizedHits(*parts, float(fit.log_likelihood[0]), flat, *ends)
    return FittedCurve(
        *parts,
        float(fit.log_likelihood[0]),
        flat,
        *ends,
        intercept=float(fit.intercept[0]),
        slope=float(fit.slope[0]),
        covariance=np.linalg.inv(fit.expected_information[0]),
        observed=np.linalg.inv(fit.observed_information[0]),
    )


@njit(cache=True, nogil=True)
def _hold_each(
    link: int, t: Array, hits: Array, misses: Array, psi: Array, level: Array, out: Array
) -> None:
    for k in range(psi.size):
        away, reach = away_from(t, psi[k])
        slope, height, pull = hold(link, away, hits, misses, level[k], 0.0, FINE)
        out[k, 0], out[k, 1], out[k, 2] = slope / reach, height, pull


def held(data: SizedHits, psi: Array, level: Array) -> tuple[Array, Array, Array]:
    """Slope, log-likelihood and score of the level (k,) of the curve held at each psi, level."""
    at, to = np.broadcast_arrays(np.asarray(psi, dtype=float), np.asarray(level, dtype=float))
    out = np.empty((at.size, 3))
    lost = data.trials - data.hits
    at, to = np.ascontiguousarray(at), np.ascontiguousarray(to)
    _hold_each(LINK_NUMBERS[data.link], data.t, data.hits, lost, at, to, out)
    return out[:, 0], out[:, 1], out[:, 2]


def signed_root(data: SizedHits, psi: Array, level: Array) -> Array:
    """Signed root r (k,) of the likelihood ratio that eta = `level` (k,) at t = `psi` (k,)."""
    _, height, pull = held(data, psi, level)
    return np.asarray(np.sign(pull) * np.sqrt(np.maximum(0.0, 2.0 * (data.top - height))))


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

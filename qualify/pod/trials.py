"""Simulated trials of a design: the true curve, hits drawn from it, and their fitted curves."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.engine import CurveFits, fit_curves, flat_log_likelihood
from qualify.pod.links import Array, Flags, LinkName, eta_of, pod_of
from qualify.pod.outcome import ends_of
from qualify.pod.problem import normal_quantile

POD = 0.9
FINE = 1e-10


@dataclass(frozen=True, slots=True)
class Truth:
    """A true curve in standardised sizes: POD = plateau * F(intercept + slope * t)."""

    link: LinkName
    intercept: float
    slope: float
    plateau: float = 1.0

    def pod(self, t: Array) -> Array:
        """POD (k,) at standardised sizes (k,)."""
        return self.plateau * pod_of(self.link, self.intercept + self.slope * t)

    @property
    def a90(self) -> float:
        """Standardised size with POD 0.90."""
        return float((eta_of(self.link, POD / self.plateau) - self.intercept) / self.slope)


@dataclass(frozen=True, slots=True)
class Design:
    """Standardised sizes, rising, with their trials, and the model that will be fitted.

    Attributes
    ----------
    t : (sizes,) for all simulated trials, or (replicates, sizes), one row each.
    trials : (sizes,).
    """

    t: Array
    trials: Array
    link: LinkName


def simulated_hits(design: Design, truth: Truth, replicates: int, seed: int) -> Array:
    """Hits (replicates, sizes) of simulated trials of a design."""
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *b"trials"])))
    pods = np.broadcast_to(truth.pod(design.t), (replicates, design.t.shape[-1]))
    return rng.binomial(design.trials.astype(int), pods).astype(float)


def no_curve(design: Design, hits: Array) -> tuple[Flags, Flags]:
    """Which simulated trials (replicates,) have no overlap, and which could not have a bound."""
    ends = ends_of(design.t, hits, design.trials - hits)
    one_sided = np.isinf(ends.first_hit) | np.isinf(ends.first_miss)
    falling = ends.last_hit <= ends.first_miss
    never = one_sided | falling
    return ends.apart & ~never, never


@dataclass(frozen=True, slots=True)
class TrialFits:
    """Maximum-likelihood curves of simulated trials.

    Attributes
    ----------
    t, hits : (replicates, targets).
    rows : (k,), trials whose hits and misses overlap.
    fit : of these.
    rising : (k,), whether their slope is shown, so that a bound exists.
    """

    t: Array
    hits: Array
    rows: npt.NDArray[np.intp]
    fit: CurveFits
    rising: Flags

    @property
    def with_bound(self) -> Flags:
        """Which trials (replicates,) have bounds of the kinds that need a fitted curve."""
        out = np.zeros(len(self.hits), dtype=bool)
        out[self.rows] = self.rising
        return out


def trial_fits(design: Design, hits: Array, confidence: float) -> TrialFits:
    """Fit simulated trials (replicates, targets) of single opportunities."""
    t = np.ascontiguousarray(np.broadcast_to(design.t, hits.shape))
    separated, never = no_curve(design, hits)
    (rows,) = np.nonzero(~separated & ~never)
    fit = fit_curves(t[rows], hits[rows], design.trials, design.link, fine=FINE)
    gain = 2.0 * (fit.log_likelihood - flat_log_likelihood(hits[rows], design.trials))
    rising = (fit.slope > 0.0) & (gain > normal_quantile(confidence) ** 2)
    return TrialFits(t, hits, rows, fit, rising)


def delta_places(fits: TrialFits, level: float, wide: float) -> Array:
    """Estimate plus `wide` standard errors (replicates,), infinite without a bound."""
    fit, out = fits.fit, np.full(len(fits.hits), np.inf)
    slope = np.where(fits.rising, fit.slope, 1.0)
    psi = (level - fit.intercept) / slope
    v = np.linalg.inv(fit.expected_information)
    error = np.sqrt(v[:, 0, 0] + 2.0 * psi * v[:, 0, 1] + psi**2 * v[:, 1, 1]) / slope
    out[fits.rows] = np.where(fits.rising, psi + wide * error, np.inf)
    return out

"""What sets readings of one target apart: targets hard for all readers, and strict readers.

Readings are correlated by the share `rho` of hidden variance that belongs to the target, and
readers differ by offsets of their curves. Neither is known: the share is carried with all the
weight of its likelihood (flat before, in the angle whose squared sine it is), the offsets are
pulled to their mean, the spread of a class of readers is carried with the weight of the offsets'
likelihood (flat in the spread).

Sources: as in `qualify.pod.reader_kernels`; Gelman 2006, Bayesian Analysis 1: 515-534, for a
flat weight on a standard deviation of few groups (from memory). The pull, the grids and the
model as a whole are our own; how often the bounds hold is counted in `tests/recovery`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array, LinkName, eta_of, pod_of
from qualify.pod.reader_kernels import (
    SHRINK,
    fit_slope,
    fit_starts,
    set_quantiles,
    share_heights,
)
from qualify.pod.simulation import away_from

RHOS = np.sin(np.linspace(0.5, 15.5, 16) / 16.0 * np.pi / 2.0) ** 2
"""Shares that may belong to the target, even in angle: 0.002 to 0.998."""
NODES = np.linspace(-4.5, 4.5, 61)
WEIGHTS = np.exp(-0.5 * NODES**2) / np.exp(-0.5 * NODES**2).sum()
SPREADS = np.linspace(0.0, 3.0, 31)
"""Standard deviations of readers, in link units; 3 is far beyond any class of readers."""
FAINT = 0.05  # pull of the offsets from which the spread is judged
NORMAL_NODES, NORMAL_WEIGHTS = np.polynomial.hermite_e.hermegauss(60)
NORMAL_WEIGHTS = NORMAL_WEIGHTS / NORMAL_WEIGHTS.sum()


@dataclass(frozen=True, slots=True)
class ReadTargets:
    """Readings as a table of targets and readers, at standardised sizes.

    Attributes
    ----------
    where : (targets,), number of the target's size among the distinct sizes `t`.
    t : (sizes,), rising.
    hits, trials : (targets, readers), counts; 0 trials where a reader did not read a target.
    """

    where: npt.NDArray[np.int64]
    t: Array
    hits: Array
    trials: Array
    link: LinkName

    @property
    def misses(self) -> Array:
        """Readings that missed, (targets, readers)."""
        return np.asarray(self.trials - self.hits)

    @property
    def totals(self) -> Array:
        """Readings at each distinct size, (sizes,)."""
        return np.bincount(self.where, self.trials.sum(axis=1), self.t.size).astype(float)


@dataclass(frozen=True, slots=True)
class Effects:
    """What does not depend on the statement held: offsets, weights of the spread of readers.

    Attributes
    ----------
    offsets : (readers,), mean 0, in link units; pulled to their mean.
    slope : of the readers' curves, per standardised size.
    spread_weights : (spreads,), of `SPREADS`.
    """

    offsets: Array
    slope: float
    spread_weights: Array


@dataclass(frozen=True, slots=True)
class HeldReaders:
    """Curves of the readers held at a statement, and the shares of variance that fit them.

    Attributes
    ----------
    starts : (readers,), eta at the size held.
    slope : per unit of `away_from` the size held.
    rho_weights : (shares,), of `RHOS`.
    """

    starts: Array
    slope: float
    rho_weights: Array

    @property
    def rho(self) -> float:
        """Mean share of variance that belongs to the target."""
        return float(self.rho_weights @ RHOS)


def _weights(heights: Array) -> Array:
    w = np.exp(heights - heights.max())
    return np.asarray(w / w.sum())


def effects_of(data: ReadTargets) -> Effects:
    """Estimate the readers' offsets and weigh the spread of their class."""
    number, t = LINK_NUMBERS[data.link], data.t[data.where]
    starts, slope, _ = fit_starts(number, t, data.hits, data.misses, SHRINK)
    quantile = np.empty(data.hits.shape)
    set_quantiles(number, t, starts, slope, quantile)
    shares = _weights(share_heights(quantile, data.hits, data.misses, RHOS, NODES, WEIGHTS))
    free, _, information = fit_starts(number, t, data.hits, data.misses, FAINT)
    # the target's own share is common to all readers and does not set them apart
    variance = (1.0 - float(shares @ RHOS)) / np.maximum(information, 1e-9)
    return Effects(starts - starts.mean(), slope, _spread_weights(free, variance))


def _spread_weights(starts: Array, variance: Array) -> Array:
    """Weights (spreads,) by the restricted likelihood of starts about an unknown mean."""
    heights = []
    for spread in SPREADS:
        precision = 1.0 / (variance + spread**2)
        mean = (precision * starts).sum() / precision.sum()
        rest = (precision * (starts - mean) ** 2).sum()
        heights.append(0.5 * (np.log(precision).sum() - rest - np.log(precision.sum())))
    return _weights(np.array(heights))


def mean_level(link: LinkName, offsets: Array, pod: float) -> float:
    """Return the level at which the mean POD of curves with these offsets (k,) is `pod`."""
    return _level(link, offsets, np.full(offsets.size, 1.0 / offsets.size), pod)


def spread_levels(link: LinkName, pod: float) -> Array:
    """Return for each of `SPREADS` the level (spreads,) at which a class has mean POD `pod`."""
    return np.array([_level(link, s * NORMAL_NODES, NORMAL_WEIGHTS, pod) for s in SPREADS])


def _level(link: LinkName, offsets: Array, weights: Array, pod: float) -> float:
    middle = float(eta_of(link, pod))

    def excess(level: float) -> float:
        return float(weights @ pod_of(link, level + offsets)) - pod

    reach = float(np.abs(offsets).max()) + 1.0
    return float(optimize.brentq(excess, middle - reach, middle + reach, xtol=1e-12))


def held_readers(data: ReadTargets, effects: Effects, psi: float, pod: float) -> HeldReaders:
    """Return the readers' curves held so that their mean POD at `psi` is `pod`."""
    number = LINK_NUMBERS[data.link]
    away, reach = away_from(data.t, psi)
    far = away[data.where]
    starts = mean_level(data.link, effects.offsets, pod) + effects.offsets
    slope = fit_slope(number, far, reach, data.hits, data.misses, starts, effects.slope)
    quantile = np.empty(data.hits.shape)
    set_quantiles(number, far, starts, slope, quantile)
    heights = share_heights(quantile, data.hits, data.misses, RHOS, NODES, WEIGHTS)
    return HeldReaders(starts, slope, _weights(heights))

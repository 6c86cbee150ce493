"""Bounds along a fitted POD curve, for figures and criteria, each point by itself."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.bounds import likelihood_psi, pod_lower_bounds
from qualify.pod.calibrated import calibrated_bound, calibrated_pod_bound
from qualify.pod.hit_miss import HitMissFit, place_of_sizes, size_axis
from qualify.pod.links import Array
from qualify.pod.observations import observe
from qualify.pod.problem import FittedCurve, SizedHits, sized_hits

BAND_SIMULATIONS = 999  # a point of a band is a line in a figure, not a number in print


@dataclass(frozen=True, slots=True)
class Band:
    """Upper bounds on the size with each POD, point by point, or nothing where none exist.

    Attributes
    ----------
    pods : (k,), rising.
    sizes : (k,), None where the bound does not exist or is no finite size.
    method : `calibrated` or `likelihood`.
    """

    pods: tuple[float, ...]
    sizes: tuple[float | None, ...]
    method: str


def data_of(fit: HitMissFit) -> SizedHits:
    """Return the hits behind a fit, ready for bounds.

    Raises
    ------
    ValueError : for data with hits only, with misses only or with one size only.
    """
    return sized_hits(observe(fit.sizes, fit.hits_at, fit.trials_at, fit.scale), fit.link)


def pod_lower_bound_at(
    fit: HitMissFit,
    sizes: npt.ArrayLike,
    confidence: float | None = None,
    *,
    method: str = "calibrated",
    simulations: int = BAND_SIMULATIONS,
) -> Array:
    """One-sided lower bounds (k,) on POD at given sizes (k,), each by itself.

    `confidence` is that of the fit unless given; `method` is `calibrated`, which needs no overlap
    of hits and misses, or `likelihood`, which needs a curve.

    Raises
    ------
    ValueError : when there is no such bound, or for sizes off the axis.
    """
    apart = fit.outcome in ("separated", "quasi_separated") and method == "calibrated"
    x = place_of_sizes(fit, sizes) if apart else size_axis(fit, sizes)
    data = data_of(fit)
    psi = (x - data.centre) / data.spread
    level = fit.confidence if confidence is None else confidence
    if method == "likelihood":
        assert isinstance(data, FittedCurve)  # size_axis refuses what has no curve
        return pod_lower_bounds(data, psi, level)
    return np.array(
        [
            calibrated_pod_bound(data, float(p), level, seed=fit.seed, simulations=simulations)
            for p in psi
        ]
    )


def size_upper_bounds(
    fit: HitMissFit,
    pods: npt.ArrayLike,
    confidence: float | None = None,
    *,
    method: str = "calibrated",
    simulations: int = BAND_SIMULATIONS,
) -> Band:
    """One-sided upper bounds on the size with each POD (k,), each by itself.

    None where a bound does not exist or is no finite size. `confidence` is that of the fit unless
    given; `method` is `calibrated` or `likelihood`. For the bound curve of a figure.

    Raises
    ------
    ValueError : when there is no curve, or a POD lies outside 0..1.
    """
    size_axis(fit, fit.sizes)  # refuses a fit without a curve
    data = data_of(fit)
    asked = np.atleast_1d(np.asarray(pods, dtype=float))
    level = fit.confidence if confidence is None else confidence
    told = tuple(float(p) for p in asked)
    if method == "likelihood":
        psi = likelihood_psi(data, asked, level, "upper")
        return Band(told, tuple(data.size_at(float(p)) for p in psi), method)
    found = [
        calibrated_bound(data, p, level, "upper", seed=fit.seed, simulations=simulations).value
        for p in told
    ]
    return Band(told, tuple(found), method)

"""Likelihood bounds along a fitted POD curve, for figures and criteria."""

import numpy as np
import numpy.typing as npt

from qualify.pod.bounds import FittedCurve, fitted_curve, likelihood_psi, pod_lower_bounds
from qualify.pod.hit_miss import HitMissFit, size_axis
from qualify.pod.links import Array
from qualify.pod.observations import observe


def _curve_of(fit: HitMissFit) -> FittedCurve:
    return fitted_curve(observe(fit.sizes, fit.hits_at, fit.trials_at, fit.scale), fit.link)


def pod_lower_bound_at(
    fit: HitMissFit, sizes: npt.ArrayLike, confidence: float | None = None
) -> Array:
    """One-sided lower likelihood bounds (k,) on POD at given sizes (k,), each by itself.

    `confidence` is that of the fit unless given.

    Raises
    ------
    ValueError : when there is no curve, or for sizes off the axis.
    """
    x = size_axis(fit, sizes)
    held = _curve_of(fit)
    psi = (x - held.centre) / held.spread
    return pod_lower_bounds(held, psi, fit.confidence if confidence is None else confidence)


def size_upper_bounds(
    fit: HitMissFit, pods: npt.ArrayLike, confidence: float | None = None
) -> list[float | None]:
    """One-sided upper likelihood bounds on the size with each POD (k,), each by itself.

    None where a bound does not exist or is no finite size. `confidence` is that of the fit unless
    given. For the bound curve of a figure: POD against these sizes.

    Raises
    ------
    ValueError : when there is no curve, or a POD lies outside 0..1.
    """
    size_axis(fit, fit.sizes)  # refuses a fit without a curve
    held = _curve_of(fit)
    asked = np.atleast_1d(np.asarray(pods, dtype=float))
    psi = likelihood_psi(held, asked, fit.confidence if confidence is None else confidence, "upper")
    return [held.size_at(float(p)) for p in psi]

"""The lower bound of a POD curve as it is drawn: of the method, and through the number, reported.

A calibrated bound is simulated at a few POD and joined by a monotone curve, size against the link
value of POD. At POD 0.90 it runs through the a90/95 that is printed.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from qualify.pod.along import BAND_SIMULATIONS, data_of, size_upper_bounds
from qualify.pod.bounds import delta_error, psi_of
from qualify.pod.hit_miss import HitMissFit
from qualify.pod.links import eta_of
from qualify.pod.problem import FittedCurve, normal_quantile

POD = 0.90
PODS = (0.08, 0.2, 0.35, 0.5, 0.65, 0.77, 0.85, 0.94, 0.97)
"""Where a calibrated bound is simulated, beside 0.90."""
FEW_PODS = PODS[1::2]
LOWEST, HIGHEST, POINTS = 0.05, 0.98, 61


@dataclass(frozen=True, slots=True)
class BoundCurve:
    """Upper bounds (k,) on the size with each POD (k,), rising, and what they are."""

    sizes: tuple[float | None, ...]
    pods: tuple[float, ...]
    label: str


def bound_curve(fit: HitMissFit, reported: float | None, *, quick: bool = False) -> BoundCurve:
    """Return the bound of a fitted curve; `reported` is the a90/95 as printed.

    quick : whether a calibrated bound is simulated at fewer POD.

    Raises
    ------
    ValueError : when there is no curve.
    """
    words = "Wald" if fit.bound == "wald" else fit.bound
    label = f"lower bound of the curve, 95 % one-sided, point by point ({words})"
    made: dict[str, Callable[[], BoundCurve]] = {
        "calibrated": lambda: _calibrated(fit, reported, label, FEW_PODS if quick else PODS),
        "wald": lambda: _wald(fit, label),
    }
    return made.get(fit.bound, lambda: _likelihood(fit, label))()


def _calibrated(
    fit: HitMissFit, reported: float | None, label: str, at_pods: tuple[float, ...]
) -> BoundCurve:
    band = size_upper_bounds(fit, at_pods, method="calibrated", simulations=BAND_SIMULATIONS)
    known = {p: s for p, s in zip(band.pods, band.sizes, strict=True) if s is not None and s > 0.0}
    if reported is not None:
        known[POD] = reported
    pods = sorted(known)
    if len(pods) < 2:
        return BoundCurve((), (), label)
    log = fit.scale == "log"
    sizes = np.array([known[p] for p in pods])
    at = np.log(sizes) if log else sizes
    if reported is not None:  # simulation error must not bend the curve past what is printed
        own = at[pods.index(POD)]
        at = np.where(np.array(pods) < POD, np.minimum(at, own), np.maximum(at, own))
    at = np.maximum.accumulate(at)
    through = PchipInterpolator(eta_of(fit.link, np.array(pods)), at)
    drawn = np.union1d(np.linspace(pods[0], pods[-1], POINTS), pods)
    found = through(eta_of(fit.link, drawn))
    found = np.exp(found) if log else found
    return BoundCurve(tuple(found.tolist()), tuple(drawn.tolist()), label)


def _likelihood(fit: HitMissFit, label: str) -> BoundCurve:
    pods = np.linspace(LOWEST, HIGHEST, POINTS)
    sizes = size_upper_bounds(fit, pods, method="likelihood").sizes
    return BoundCurve(sizes, tuple(pods.tolist()), label)


def _wald(fit: HitMissFit, label: str) -> BoundCurve:
    data = data_of(fit)
    if not isinstance(data, FittedCurve) or fit.a90 is None:
        return BoundCurve((), (), label)
    pods = np.linspace(LOWEST, HIGHEST, POINTS)
    psi = psi_of(data, eta_of(fit.link, pods))
    psi = psi + normal_quantile(fit.confidence) * delta_error(data, psi)
    return BoundCurve(tuple(data.size_at(float(p)) for p in psi), tuple(pods.tolist()), label)

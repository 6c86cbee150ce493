"""Bounds that hold as often as they say: the likelihood ratio calibrated by simulation.

For a statement 'the curve runs through `level` at `psi`' the trial is repeated by simulation
from the curve held there (not from the fitted one), and the signed root r of the data is
compared with the simulated ones: p = (count of r* >= r, plus 1) / (simulations + 1). The bound is
the farthest size that is not rejected, the largest root of p(psi) = 1 - confidence, as p need
not fall monotonically. Every size uses the same random numbers, so that p changes smoothly. The
method needs no overlap of hits and misses. A bound exists if the statement 'the curve is flat'
(psi at infinity) is rejected. The search is in `qualify.pod.farthest`.

Sources: Beran 1987, Biometrika 74: 457-468 (prepivoting); DiCiccio, Martin and Stern 2001,
Canadian Journal of Statistics 29: 67-76 (simulation at the constrained fit); Davison and Hinkley
1997, section 4.2, for (count + 1) / (simulations + 1). From memory; how often it holds is
counted in `tests/recovery`.
"""

import numpy as np

from qualify.pod.bounds import delta_error, start_and_step
from qualify.pod.farthest import INFINITY, Walked, Way, affordable, farthest_kept
from qualify.pod.links import eta_of, pod_of
from qualify.pod.problem import (
    NO_TREND,
    BoundValue,
    FittedCurve,
    Side,
    SizedHits,
    normal_quantile,
)

SIMULATIONS = 19_999  # behind a bound that is reported
SEED = 1
HIGHEST = 1.0 - 1e-6  # where the search for a POD begins without an estimate
FARTHEST = 500.0  # link units below the estimate, as good as POD 0


def calibrated_bound(
    data: SizedHits,
    pod: float,
    confidence: float,
    side: Side,
    *,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> BoundValue:
    """One-sided calibrated bound on the size where POD = `pod`, in the caller's unit.

    Parameters
    ----------
    data : with overlap of hits and misses or without.
    pod, confidence : fractions.
    seed : whole number from 0, recorded by the caller.
    simulations : trials simulated for the size reported, fewer in very large trials.

    Returns
    -------
    BoundValue : with the Monte-Carlo standard error of the bound in the caller's unit, and the
        simulated trials behind it.

    Raises
    ------
    ValueError : for a pod or a confidence out of range.
    """
    level = eta_of(data.link, np.array([pod]))
    start, step = start_and_step(data, level, side, normal_quantile(confidence))
    origin, unit, fixed = float(start[0]), float(step[0]), float(level[0])

    def place(at: float) -> tuple[float, float]:
        return (np.copysign(INFINITY, unit) if np.isinf(at) else origin + at * unit), fixed

    way = Way(data, place, 1.0 if side == "upper" else -1.0, confidence, seed)
    repeats = affordable(simulations, float(data.trials.sum()))
    return bound_on_way(way, data, origin, unit, side, repeats)


def bound_on_way(
    way: Walked, data: SizedHits, origin: float, unit: float, side: Side, repeats: int
) -> BoundValue:
    """Return the bound at the farthest place kept of a way that leads by `unit` from `origin`."""
    found = None
    if data.slope_lr > normal_quantile(way.confidence) ** 2:
        found = farthest_kept(way, repeats)
    if found is None:
        return BoundValue(None, NO_TREND, "calibrated", side, None, repeats)
    psi = origin + found.at * unit
    told = data.bound(psi, "calibrated", side)
    if told.value is None:
        return BoundValue(None, told.reason, "calibrated", side, None, repeats)
    error = found.error * abs(unit) * data.spread
    error *= told.value if data.scale == "log" else 1.0
    return BoundValue(told.value, None, "calibrated", side, error, repeats)


def calibrated_pod_bound(
    data: SizedHits,
    psi: float,
    confidence: float,
    *,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> float:
    """One-sided lower calibrated bound on POD at the standardised size `psi`.

    0 where the data do not exclude any POD, however low.
    """
    if isinstance(data, FittedCurve):
        eta = data.intercept + data.slope * psi
        unit = abs(data.slope) * float(delta_error(data, np.array([psi]))[0])
        unit *= normal_quantile(confidence)
    else:  # no estimate: the highest POD that any curve through the data reaches there is 1
        eta, unit = float(eta_of(data.link, HIGHEST)), 1.0

    def place(at: float) -> tuple[float, float]:
        return psi, (eta - FARTHEST if np.isinf(at) else eta - at * unit)

    way = Way(data, place, 1.0, confidence, seed)
    found = farthest_kept(way, affordable(simulations, float(data.trials.sum())))
    if found is None:
        return 0.0
    return float(pod_of(data.link, np.array([eta - found.at * unit]))[0])


def p_value(
    data: SizedHits, psi: float, pod: float, *, seed: int = SEED, simulations: int = SIMULATIONS
) -> float:
    """Return p of the statement that POD at the standardised size `psi` is `pod` or less."""
    level = float(eta_of(data.link, pod))
    return Way(data, lambda _: (psi, level), 1.0, 0.95, seed).p_value(0.0, simulations)

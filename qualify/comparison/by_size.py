"""Where in size two modes differ: exact tests by class of size, and POD curves side by side.

A difference of rates over all sizes may sit in sizes nobody asks about. Classes are thirds by size,
unless declared; their exact p are adjusted for their number (Holm). Beside them, POD of b less POD
of a along size, with percentiles over draws of whole targets: pointwise, and a description rather
than a test.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.comparison.holm import holm
from qualify.comparison.kernels import ALL_HIT, ALL_MISSED, FITTED
from qualify.comparison.paired_counts import sign_test
from qualify.comparison.paired_targets import PairedTargets
from qualify.comparison.resampling import Draws, curves_of
from qualify.pod.links import Array, Flags, LinkName, pod_of


@dataclass(frozen=True, slots=True)
class SizeClass:
    """Targets of one class of size.

    Attributes
    ----------
    low, high : smallest and largest size in it.
    targets, readings : in it, and readings of them in each mode.
    hits_a, hits_b : of those readings.
    exact_p, holm_p : of the exact test by target, by itself and adjusted for the classes.
    """

    low: float
    high: float
    targets: int
    readings: int
    hits_a: int
    hits_b: int
    exact_p: float
    holm_p: float


@dataclass(frozen=True, slots=True)
class PodDifference:
    """POD of b less POD of a at one size; bounds are pointwise and two-sided."""

    size: float
    pod_a: float
    pod_b: float
    value: float
    low: float
    high: float


def by_class(data: PairedTargets, edges: Sequence[float] | None = None) -> tuple[SizeClass, ...]:
    """Return the classes of size that hold a target, smallest first.

    `edges` are declared sizes between classes, rising; a target at an edge lies in the class above
    it. Without them there are thirds.
    """
    if edges is None:
        numbers = np.searchsorted(data.thirds(), np.arange(data.n), side="right")
    else:
        numbers = np.digitize(data.size, np.asarray(edges, dtype=float))
    parts = [data.where(numbers == k) for k in np.unique(numbers)]
    p = [sign_test(part.steps).exact_p for part in parts]
    return tuple(
        SizeClass(
            low=float(part.size[0]), high=float(part.size[-1]), targets=part.n,
            readings=int(part.readings.sum()), hits_a=int(part.hits[0].sum()),
            hits_b=int(part.hits[1].sum()), exact_p=own, holm_p=1.0 if more is None else more,
        )
        for part, own, more in zip(parts, p, holm(p), strict=True)
    )  # fmt: skip


def pod_differences(
    data: PairedTargets,
    link: LinkName,
    draws: Draws,
    sizes: npt.ArrayLike,
    confidence: float = 0.95,
) -> tuple[PodDifference, ...]:
    """Return POD of both curves and their difference at sizes (k,), with percentiles over draws.

    Nothing where a mode has no fitted curve.
    """
    curves = curves_of(data, link)
    at = np.asarray(sizes, dtype=float)
    if np.any(curves[:, 3] != FITTED) or at.size == 0:
        return ()
    t = ((np.log(at) if data.scale == "log" else at) - data.centre) / data.spread
    fitted = pods_of(curves[None], link, t)[0]
    drawn = pods_of(draws.curves, link, t)
    steps = np.sort(drawn[:, 1] - drawn[:, 0], axis=0)
    n = steps.shape[0]
    share = 0.5 * (1.0 - confidence)
    low = steps[max(math.floor(share * (n + 1)), 1) - 1]
    high = steps[min(math.ceil((1.0 - share) * (n + 1)), n) - 1]
    return tuple(
        PodDifference(float(size), float(fitted[0, k]), float(fitted[1, k]),
                      float(fitted[1, k] - fitted[0, k]), float(low[k]), float(high[k]))
        for k, size in enumerate(at)
    )  # fmt: skip


def pods_of(curves: Array, link: LinkName, t: Array) -> Array:
    """POD (draws, 2, k) of curves (draws, 2, 4) at t (k,); a step where hits and misses part."""
    intercept, slope, place, state = (curves[:, :, j, None] for j in range(4))
    smooth: Flags = np.isfinite(slope) & (state != ALL_HIT) & (state != ALL_MISSED)
    eta = np.where(smooth, intercept, 0.0) + np.where(smooth, slope, 0.0) * t
    pods = np.asarray(pod_of(link, eta))
    step = np.where(slope > 0.0, t >= place, t < place).astype(float)
    pods = np.where(smooth, pods, step)
    pods = np.where(state == ALL_HIT, 1.0, pods)
    return np.where(state == ALL_MISSED, 0.0, pods)

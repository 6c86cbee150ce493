"""Whole targets drawn anew, each with all its readings: percentile bounds of the pooled a90.

Readings of a target stay together, so that what they share counts once. Targets are drawn with
replacement within each third of them by size, so that no resample lacks small or large ones. No
resample is dropped: one whose curve does not rise counts as infinite, one whose hits and misses
do not overlap counts with the far end of its gap.

A contrast, not the bound reported: at some 60 targets percentiles of the bootstrap hold less
often than they say.

Source: Davison and Hinkley 1997, Bootstrap Methods and their Application, sections 2.4, 3.8 (from
memory); with one reading a target and one stratum it is the bootstrap of `other_bounds`, which
the tests compare it with.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.clustered import numbered
from qualify.pod.contrast import Contrast
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array, Indices, LinkName, eta_of
from qualify.pod.observations import checked_scale, checked_sizes, observe, size_of
from qualify.pod.problem import (
    BELOW_ZERO,
    TOO_FAR,
    FittedCurve,
    Side,
    SizedHits,
    normal_quantile,
    sized_hits,
)
from qualify.pod.simulation import place_of
from qualify.threads import in_threads, njit

RESAMPLES = 1_999
SEED = 1
STRATA = 3
SMALL_BATCH = 64
TOO_MANY = "POD does not rise with size in too many resamples: the percentile is not finite"


@dataclass(frozen=True, slots=True)
class WholeTargetBootstrap:
    """Percentile bounds of a pooled a90 from resampled targets.

    Attributes
    ----------
    upper, lower : one-sided bounds, contrasts.
    resamples, seed : behind them.
    not_rising : share of resamples whose curve does not rise; they count as infinite.
    not_overlapping : share whose hits and misses do not overlap; they count with their gap's end.
    targets : how many were drawn from.
    """

    upper: Contrast
    lower: Contrast
    resamples: int
    seed: int
    not_rising: float
    not_overlapping: float
    targets: int


@njit(cache=True, nogil=True)
def _places_of_targets(
    link: int,
    t: Array,
    place: Indices,
    found: Array,
    lost: Array,
    drawn: Array,
    level: float,
    start: float,
    slope: float,
    out: Array,
) -> None:
    """Write place and fitted of each resample; `drawn` (resamples, targets) counts targets.

    `place` (targets,) is the index of a target's size in t; found, lost (targets,) its readings.
    """
    hits, misses = np.empty(t.size), np.empty(t.size)
    for s in range(drawn.shape[0]):
        hits[:] = 0.0
        misses[:] = 0.0
        for g in range(place.size):
            hits[place[g]] += drawn[s, g] * found[g]
            misses[place[g]] += drawn[s, g] * lost[g]
        where, fitted = place_of(link, t, hits, misses, level, start, slope)
        out[s, 0], out[s, 1] = where, 1.0 if fitted else 0.0


def whole_target_bootstrap(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    clusters: Sequence[Hashable] | npt.NDArray[np.generic],
    *,
    link: LinkName,
    scale: str,
    pod: float = 0.9,
    confidence: float = 0.95,
    resamples: int = RESAMPLES,
    seed: int = SEED,
    strata: int = STRATA,
) -> WholeTargetBootstrap:
    """Return percentile bounds on the size with POD `pod` of all readings pooled.

    Parameters
    ----------
    size, hits : (readings,); hits 0 or 1; the size is that of the target.
    clusters : (readings,), the target of each reading.
    strata : parts of the targets by size, of equal number, drawn apart.

    Raises
    ------
    ValueError : as `observe`, for a target with two sizes, for data with hits only, misses only
        or one size only.
    """
    seen = observe(size, hits, None, checked_scale(scale))
    data = sized_hits(seen, link)
    group, count = numbered(clusters, int(seen.total))
    place, found, trials = _targets(size, hits, group, count, scale)
    drawn = _drawn(place, seed, resamples, strata)
    level = float(eta_of(link, pod))
    curve = (data.intercept, data.slope) if isinstance(data, FittedCurve) else (0.0, 0.0)
    out = np.empty((resamples, 2))

    def work(first: int, last: int) -> None:
        part = slice(first, last)
        number, lost = LINK_NUMBERS[link], trials - found
        rows = drawn[part]
        _places_of_targets(number, data.t, place, found, lost, rows, level, *curve, out[part])

    in_threads(work, resamples, SMALL_BATCH)
    infinite = np.isinf(out[:, 0])
    return WholeTargetBootstrap(
        upper=_percentile(data, out[:, 0], confidence, "upper"),
        lower=_percentile(data, out[:, 0], confidence, "lower"),
        resamples=resamples,
        seed=seed,
        not_rising=float(infinite.mean()),
        not_overlapping=float(((out[:, 1] < 0.5) & ~infinite).mean()),
        targets=count,
    )


def _targets(
    size: npt.ArrayLike, hits: npt.ArrayLike, group: Indices, count: int, scale: str
) -> tuple[Indices, Array, Array]:
    """Return index of size, hits and readings of each target, (targets,) each."""
    sizes = checked_sizes(size, checked_scale(scale))
    own = np.empty(count)
    own[group] = sizes
    if np.any(own[group] != sizes):
        message = "a target has readings with two sizes; each target has one"
        raise ValueError(message)
    place = np.searchsorted(np.unique(sizes), own)
    found: Array = np.zeros(count)
    np.add.at(found, group, np.asarray(hits, dtype=float))
    return place, found, np.bincount(group, minlength=count).astype(float)


def _drawn(place: Indices, seed: int, resamples: int, strata: int) -> Array:
    """How often each target is drawn, (resamples, targets), by strata of size."""
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *b"whole targets"])))
    drawn = np.empty((resamples, len(place)))
    for part in np.array_split(np.argsort(place, kind="stable"), min(strata, len(place))):
        drawn[:, part] = rng.multinomial(len(part), np.full(len(part), 1 / len(part)), resamples)
    return drawn


def _percentile(data: SizedHits, psi: Array, confidence: float, side: Side) -> Contrast:
    normal_quantile(confidence)
    places = np.where((side == "lower") & np.isinf(psi), -np.inf, psi)
    rank = min(int(np.ceil(confidence * (len(psi) + 1))), len(psi)) - 1
    ordered = np.sort(places if side == "upper" else -places)
    value = float(ordered[rank]) * (1.0 if side == "upper" else -1.0)
    if np.isinf(value):
        return Contrast(None, TOO_MANY, "whole_target_bootstrap", side)
    told = size_of(data.centre + data.spread * value, data.scale)
    reason = None if told is not None else BELOW_ZERO if data.scale == "linear" else TOO_FAR
    return Contrast(told, reason, "whole_target_bootstrap", side)

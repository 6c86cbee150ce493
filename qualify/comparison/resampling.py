"""Whole targets drawn anew, both curves fitted to each draw: bounds that stand beside others.

All readings of a target, in both modes and by all readers, go together; targets are drawn within
thirds by size. A draw in which a curve does not rise is kept: as an endless ratio where it is the
candidate's, as none where it is the reference's, and against the bound where neither rises. Where
hits and misses of a draw do not overlap, the far end of the gap counts, its smallest hit.

Source: Efron 1981, Canadian Journal of Statistics 9, 139-172 (percentile, bias-corrected). From
memory.
"""

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from scipy import special

from qualify.comparison.kernels import curve_of, resampled
from qualify.comparison.paired_targets import PairedTargets
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array, LinkName, eta_of
from qualify.pod.response_simulation import stream
from qualify.threads import in_threads

RESAMPLES = 3999
THREADED = 200
FARTHEST_LOG = 700.0

Pair: TypeAlias = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Draws:
    """Both curves fitted to draws of whole targets.

    Attributes
    ----------
    curves : (draws, 2, 4), of a and b: intercept and slope in t, place of a90, state.
    seed : of the draws.
    """

    curves: Array
    seed: int


def curves_of(data: PairedTargets, link: LinkName) -> Array:
    """Return both curves (2, 4): intercept and slope in t, place of a90, state."""
    level, found = float(eta_of(link, 0.9)), np.empty((2, 4))
    hits, misses = _counts(data)
    for mode in range(2):
        found[mode] = curve_of(
            LINK_NUMBERS[link], data.t, hits[mode], misses[mode], level, 0.0, 0.0
        )
    return found


def draw_curves(
    data: PairedTargets, link: LinkName, *, seed: int = 1, resamples: int = RESAMPLES
) -> Draws:
    """Draw whole targets anew, within thirds by size, and fit both curves to each draw."""
    out = np.empty((resamples, 2, 4))
    hits, misses = _counts(data)
    starts = curves_of(data, link)[:, :2]
    starts = np.ascontiguousarray(np.where(np.isfinite(starts), starts, 0.0))
    level, strata, state = float(eta_of(link, 0.9)), data.thirds(), stream(seed, b"whole targets")

    def work(first: int, last: int) -> None:
        resampled(LINK_NUMBERS[link], data.t, hits, misses, level, starts, strata, state,
                  first, last, out)  # fmt: skip

    in_threads(work, resamples, THREADED)
    return Draws(out, seed)


def _counts(data: PairedTargets) -> tuple[Array, Array]:
    hits = data.hits
    return hits, np.ascontiguousarray(data.readings - hits)


def bounds_by_draws(
    data: PairedTargets, draws: Draws, estimate: float, confidence: float
) -> tuple[Pair, Pair]:
    """Return percentile and bias-corrected bounds, (lower, upper) each; an endless one is None."""
    log_ratios = log_ratios_of(data, draws)
    found: list[Pair] = []
    for corrected in (False, True):
        ends: list[float | None] = []
        for values, level in zip(log_ratios, (1.0 - confidence, confidence), strict=True):
            at = level
            if corrected:
                below = np.sum(values < estimate) + 0.5 * np.sum(values == estimate)
                share = float(np.clip(below / values.size, 0.5 / values.size,
                                      1.0 - 0.5 / values.size))  # fmt: skip
                at = float(special.ndtr(2.0 * special.ndtri(share) + special.ndtri(level)))
            rank = math.ceil(at * (values.size + 1)) if level > 0.5 else math.floor(
                at * (values.size + 1)
            )  # fmt: skip
            value = float(np.sort(values)[min(max(rank, 1), values.size) - 1])
            ends.append(math.exp(value) if abs(value) < FARTHEST_LOG else None)
        found.append((ends[0], ends[1]))
    return found[0], found[1]


def log_ratios_of(data: PairedTargets, draws: Draws) -> tuple[Array, Array]:
    """Return the log ratio (draws,) of each draw, for a lower and for an upper bound.

    They differ where a90 of a mode does not exist: such draws never favour the bound.
    """
    sizes = data.centre + data.spread * draws.curves[:, :, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        places = sizes if data.scale == "log" else np.log(sizes)
        step = places[:, 1] - places[:, 0]
    endless = ~np.isfinite(places)
    lower = np.where(endless[:, 0], -np.inf, np.where(endless[:, 1], np.inf, step))
    upper = np.where(endless[:, 1], np.inf, np.where(endless[:, 0], -np.inf, step))
    return lower, upper

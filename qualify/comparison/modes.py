"""Two modes compared on the same targets: everything that is said of one pair of modes.

The family of tests for which p is adjusted (Holm) is declared before the trial: by default the
exact test of hits and the exchange test of curves.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from qualify.comparison.by_size import PodDifference, SizeClass, by_class, pod_differences
from qualify.comparison.curve_difference import CurveDifference, curve_difference
from qualify.comparison.holm import holm
from qualify.comparison.paired_counts import (
    OddsRatio,
    PairedCounts,
    SignTest,
    counts_of,
    odds_ratio,
    sign_test,
)
from qualify.comparison.paired_targets import PairedTargets
from qualify.comparison.rate_difference import (
    RateDifference,
    rate_difference,
    rate_difference_by_target,
)
from qualify.comparison.ratio import A90Ratio, a90_ratio
from qualify.comparison.resampling import RESAMPLES, draw_curves
from qualify.pod.links import LinkName

Endpoint: TypeAlias = Literal["hits", "curves", "a90_ratio"]
ENDPOINTS: tuple[Endpoint, ...] = ("hits", "curves")
SEVERAL = "several readers of each target: no odds of independent pairs exist"
POINTS = 9


@dataclass(frozen=True, slots=True)
class Asked:
    """How two modes are to be compared; fixed beforehand.

    Attributes
    ----------
    link : of the curves.
    margin : ratio of a90 up to which b counts as not inferior, None if none was declared.
    family : tests among which p is adjusted.
    edges : sizes between classes of size, None for thirds.
    confidence : of bounds, one-sided, and of intervals, two-sided.
    names : of both modes, for reasons.
    seed, resamples : of exchanges, simulated trials and draws of targets.
    """

    link: LinkName = "logit"
    margin: float | None = None
    family: tuple[Endpoint, ...] = ENDPOINTS
    edges: tuple[float, ...] | None = None
    confidence: float = 0.95
    names: tuple[str, str] = ("of a", "of b")
    seed: int = 1
    resamples: int = RESAMPLES


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two modes on the same targets; a is the reference, b the candidate.

    Attributes
    ----------
    data, asked : what was compared, and how.
    counts : readings by what both modes made of them.
    test : exact test of hits; by target where there are several readers.
    odds : conditional odds ratio, None values for several readers.
    difference : of detection rates.
    curves : tests that the POD curves differ.
    ratio : of a90, with bounds.
    classes, pods : by class of size, and along size.
    p_values, holm_p : of the family, by endpoint.
    """

    data: PairedTargets
    asked: Asked
    counts: PairedCounts
    test: SignTest
    odds: OddsRatio
    difference: RateDifference
    curves: CurveDifference
    ratio: A90Ratio
    classes: tuple[SizeClass, ...]
    pods: tuple[PodDifference, ...]
    p_values: dict[Endpoint, float | None]
    holm_p: dict[Endpoint, float | None]


def compare_modes(data: PairedTargets, asked: Asked) -> Comparison:
    """Return the comparison of two modes.

    Raises
    ------
    ValueError : for a margin or a confidence out of range.
    """
    there = np.isfinite(data.a)
    counts = counts_of(data.a[there], data.b[there])
    test = sign_test(data.steps)
    if len(data.readers) > 1:
        a, b = data.hits
        difference = rate_difference_by_target(a, b, data.readings, asked.confidence)
        odds = OddsRatio(None, None, None, asked.confidence, SEVERAL)
    else:
        difference = rate_difference(counts, asked.confidence)
        odds = odds_ratio(counts, asked.confidence)
    curves = curve_difference(data, asked.link, seed=asked.seed)
    draws = draw_curves(data, asked.link, seed=asked.seed, resamples=asked.resamples)
    ratio = a90_ratio(data, asked.link, draws=draws, margin=asked.margin,
                      confidence=asked.confidence, seed=asked.seed, names=asked.names)  # fmt: skip
    known: dict[Endpoint, float | None] = {
        "hits": test.exact_p if counts.n else None,
        "curves": curves.exchange_p,
        "a90_ratio": ratio.inferior_p,
    }
    p = {name: known[name] for name in asked.family}
    return Comparison(
        data, asked, counts, test, odds, difference, curves, ratio,
        by_class(data, asked.edges),
        pod_differences(data, asked.link, draws, _sizes(data), asked.confidence),
        p, dict(zip(p, holm(list(p.values())), strict=True)),
    )  # fmt: skip


def _sizes(data: PairedTargets) -> Sequence[float]:
    """Sizes at which curves are held side by side, from the smallest to the largest tested."""
    low, high = float(data.size[0]), float(data.size[-1])
    way = np.geomspace if data.scale == "log" else np.linspace
    return [float(v) for v in np.unique(way(low, high, POINTS))]

"""How often a design shows that a candidate is not inferior, by simulated trials.

Each reader's reference curve stays as fitted; the candidate's is the same, moved to a true ratio of
a90. Trials of the same targets and readers are drawn, all readings of a target as alike as in the
trial, and each reader is judged as in the trial, with a quantile simulated for it. The design shows
it where every reader does. A trial in which a curve can't be fitted shows nothing.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qualify.comparison.kernels import FITTED
from qualify.comparison.paired_targets import PairedTargets
from qualify.comparison.ratio import first_limit
from qualify.comparison.ratio_simulation import RatioProblem, probits_of, ratio_problem
from qualify.comparison.resampling import curves_of
from qualify.comparison.score_kernels import related
from qualify.pod.links import Array, Indices, LinkName
from qualify.pod.response_simulation import normals, stream

TRIALS, SIMULATIONS = 100, 99


@dataclass(frozen=True, slots=True)
class _Reader:
    """One reader of the design: targets read (their indices), the problem, curves, probits."""

    targets: Indices
    problem: RatioProblem
    curves: Array
    probits: Array


def ratio_power(
    data: PairedTargets,
    link: LinkName,
    margin: float,
    true_ratio: float,
    *,
    confidence: float = 0.95,
    seed: int = 1,
    trials: int | None = None,
) -> float | None:
    """Share of simulated trials in which every reader's upper bound is at most `margin`.

    None where a reader's hits in the reference have no curve, or in the candidate.

    Raises
    ------
    ValueError : for a margin or a true ratio of 0 or less.
    """
    if not (margin > 0.0 and true_ratio > 0.0):
        message = f"margin {margin:g} and true ratio {true_ratio:g} must be above 0"
        raise ValueError(message)
    number = TRIALS if trials is None else trials
    readers = [_reader(data, k, link, true_ratio) for k in range(len(data.readers))]
    design = [reader for reader in readers if reader is not None]
    if len(design) < len(readers):
        return None
    rho, shown = _likeness(data, link, design), 0
    for k in range(number):
        state = stream(1_000_003 * seed + k, b"trials of the same design")
        drawn = np.empty(data.n * (1 + 2 * len(design)))
        normals(state, drawn)
        deviates = drawn.reshape(1 + 2 * len(design), data.n)
        shown += all(
            _shows(one, math.sqrt(rho) * deviates[0] + math.sqrt(1.0 - rho) * own, margin,
                   1.0 - confidence, seed)
            for one, own in zip(design, deviates[1:].reshape(len(design), 2, -1), strict=True)
        )  # fmt: skip
    return shown / number


def _reader(data: PairedTargets, k: int, link: LinkName, ratio: float) -> _Reader | None:
    """Return reader k of the design with the candidate's curve moved; None without curves."""
    read = np.isfinite(data.a[:, k])
    own = PairedTargets(
        names=tuple(n for n, r in zip(data.names, read, strict=True) if r),
        size=data.size[read], a=data.a[read, k : k + 1], b=data.b[read, k : k + 1],
        readers=data.readers[k : k + 1], scale=data.scale, centre=data.centre, spread=data.spread,
    )  # fmt: skip
    curves = curves_of(own, link)
    if np.any(curves[:, 3] != FITTED):
        return None
    problem = ratio_problem(own, link, curves)
    moved = _moved(problem, ratio)
    return _Reader(np.flatnonzero(read), problem, moved, probits_of(link, problem.t, moved))


def _likeness(data: PairedTargets, link: LinkName, design: Sequence[_Reader]) -> float:
    """Share of the effect of targets: of all readings, else the largest of a reader's own."""
    curves = curves_of(data, link)
    if np.all(curves[:, 3] == FITTED):
        return ratio_problem(data, link, curves).rho
    return max(one.problem.rho for one in design)


def _shows(one: _Reader, deviates: Array, margin: float, share: float, seed: int) -> bool:
    """Whether a reader's trial, from deviates (2, targets), shows a ratio of at most the margin."""
    hits = np.ascontiguousarray(deviates[:, one.targets] < one.probits, dtype=float)
    drawn = one.problem.of_hits(hits, one.curves)
    if drawn is None:
        return False
    _, at_limit = first_limit(drawn, share, True, one.targets.size, seed, SIMULATIONS)
    if at_limit is None or at_limit.size == 0:
        return False
    level = float(at_limit[max(math.floor(share * (at_limit.size + 1)), 1) - 1])
    return bool(drawn.lowest(math.log(margin)) <= min(level, 0.0))


def _moved(problem: RatioProblem, ratio: float) -> Array:
    """Return curves (2, 2) of the reference as fitted, and of one that lies a ratio further on."""
    shift, stretch = related(problem.axis, math.log(ratio))
    places = np.array([problem.places[0], shift + stretch * problem.places[0]])
    slopes = float(problem.slopes[0]) / np.array([1.0, stretch])
    return np.ascontiguousarray(np.column_stack([problem.level - slopes * places, slopes]))

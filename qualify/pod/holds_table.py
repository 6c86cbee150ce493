"""How often nominal 95 % bounds on a90 hold: a table of designs and methods, by simulation.

The true POD is a logit curve in log size with a90 at 3 and a50 at 1.5 (moderate) or 2.2 (steep).
Each simulated trial has sizes of its own: one drawn at random in each of n equal strata from 0.5
to 8, even in size (uniform) or in log size (loguniform). A trial without a bound claims nothing
and counts as one in which the bound holds; the share without a bound, and how often it holds where
there is one, stand beside it.

All that is simulated: it says how often a bound holds IF a curve of this form is the true one.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy import optimize

from qualify.pod.farthest import INFINITY
from qualify.pod.holds import SIMULATIONS, Holding, count_calibrated, holding_of, kept, seeds_of
from qualify.pod.holds_beside import (
    NEVER,
    bootstrap_places,
    firth_curves,
    firth_roots,
    signed_roots,
)
from qualify.pod.links import Array, Flags, eta_of
from qualify.pod.other_bounds import whole_curve_constant
from qualify.pod.problem import BOUND_NAMES, BoundName, normal_quantile
from qualify.pod.trials import POD, Design, Truth, delta_places, simulated_hits, trial_fits

Curve: TypeAlias = Literal["moderate", "steep"]
Ladder: TypeAlias = Literal["uniform", "loguniform"]
Roots: TypeAlias = Callable[[float], Array]

CONFIDENCE, RESAMPLES = 0.95, 299
A90 = 3.0
A50: dict[Curve, float] = {"moderate": 1.5, "steep": 2.2}
LADDERS: tuple[Ladder, ...] = ("uniform", "loguniform")
TARGETS = (30, 40, 60, 90, 120)
SMALLEST, LARGEST = 0.5, 8.0
CENTRE, SPREAD = 0.7, 0.8  # of log size, about those of the designs: keeps numbers near 1
FARTHEST = 1e4  # times a90: no median is sought beyond
NEAR_HALF, NARROW, MEDIAN_STEPS = 0.008, 2e-3, 10  # where the search for a median ends


@dataclass(frozen=True, slots=True)
class TableCell:
    """One design: a true curve, a ladder of sizes, a number of targets."""

    curve: Curve
    ladder: Ladder
    targets: int

    @property
    def name(self) -> str:
        """Name by which a cell is asked for."""
        return f"{self.curve}-{self.ladder}-{self.targets}"


CELLS = tuple(TableCell(c, ladder, n) for c in A50 for ladder in LADDERS for n in TARGETS)


@dataclass(frozen=True, slots=True)
class TableRow:
    """How often one bound held in one cell.

    Attributes
    ----------
    cell, method : which.
    holding : counts; see `qualify.pod.holds`.
    median_ratio : median of bound / true a90, a trial without a bound counting as infinite; None
        where more than half have none.
    """

    cell: TableCell
    method: BoundName
    holding: Holding
    median_ratio: float | None


def true_curve(curve: Curve) -> Truth:
    """Return the true curve in standardised sizes."""
    low, high = float(eta_of("logit", 0.5)), float(eta_of("logit", POD))
    slope = (high - low) / np.log(A90 / A50[curve])
    return Truth("logit", float(high + slope * (CENTRE - np.log(A90))), float(slope * SPREAD))


def seed_of(cell: TableCell, seed: int) -> int:
    """Return the seed of one cell: cells are independent and their order changes nothing."""
    state = np.random.SeedSequence([seed, *cell.name.encode()]).generate_state(1, np.uint32)
    return int(state[0])


def sizes_of(cell: TableCell, replicates: int, seed: int) -> Design:
    """Draw the sizes of each simulated trial, rising: one in each of n equal strata."""
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *b"sizes"])))
    n, in_log = cell.targets, cell.ladder == "loguniform"
    place = (np.arange(n) + rng.random((replicates, n))) / n
    low, high = (np.log(SMALLEST), np.log(LARGEST)) if in_log else (SMALLEST, LARGEST)
    x = low + place * (high - low)
    return Design(((x if in_log else np.log(x)) - CENTRE) / SPREAD, np.ones(n), "logit")


def count_cell(cell: TableCell, *, replicates: int, seed: int) -> list[TableRow]:
    """Count how often each bound holds in one cell, the same simulated trials for all.

    Parameters
    ----------
    replicates : simulated trials, 20 or more.
    seed : of the whole table.

    Raises
    ------
    ValueError : for fewer than 20 replicates.
    """
    if replicates < 20:
        message = f"{replicates} replicates are too few for a share: give 20 or more"
        raise ValueError(message)
    own = seed_of(cell, seed)
    design, truth = sizes_of(cell, replicates, own), true_curve(cell.curve)
    hits = simulated_hits(design, truth, replicates, own)
    rows = {}
    for method, roots in _statements(design, hits):
        rows[method] = _row_by_roots(cell, method, roots, truth.a90)
    for method, places in _places(design, hits, own):
        none = ~np.isfinite(places)
        median = float(np.median(places))
        held = holding_of(places < truth.a90, none)
        rows[method] = TableRow(cell, method, held, _ratio(median))
    held = count_calibrated(design, truth, replicates=replicates, seed=own)
    start = rows["r_star"].median_ratio or rows["likelihood"].median_ratio or 1.5
    ratio = None if held.no_bound >= 0.5 else _median_kept(design, hits, own, start)
    rows["calibrated"] = TableRow(cell, "calibrated", held, ratio)
    return [rows[method] for method in BOUND_NAMES]


def _statements(design: Design, hits: Array) -> Iterator[tuple[BoundName, Roots]]:
    """Give the signed root as a function of psi for each bound counted by its statistic."""
    level, z = float(eta_of("logit", POD)), normal_quantile(CONFIDENCE)
    fits = trial_fits(design, hits, CONFIDENCE)
    yield "likelihood", lambda psi: signed_roots(fits, psi, level)[0]
    yield "r_star", lambda psi: signed_roots(fits, psi, level)[1]
    curves = firth_curves(fits.t, hits)
    one_sided = (hits.sum(axis=1) == 0.0) | (hits.sum(axis=1) == design.trials.sum())
    open_ended = firth_roots(fits.t, hits, curves, INFINITY, level) <= z
    none = one_sided | open_ended | (curves[:, 1] <= 0.0)

    def firth(psi: float) -> Array:
        return np.where(none, NEVER, firth_roots(fits.t, hits, curves, psi, level))

    yield "firth", firth


def _places(design: Design, hits: Array, seed: int) -> Iterator[tuple[BoundName, Array]]:
    """Give the bounds (replicates,) of the kinds that are simply computed."""
    level = float(eta_of("logit", POD))
    fits = trial_fits(design, hits, CONFIDENCE)
    yield "wald", delta_places(fits, level, normal_quantile(CONFIDENCE))
    yield "cheng_iles", delta_places(fits, level, whole_curve_constant(CONFIDENCE) ** 0.5)
    seeds = seeds_of(seed + 2, len(hits))
    yield "bootstrap", bootstrap_places(fits, level, CONFIDENCE, seeds, RESAMPLES)


def _row_by_roots(cell: TableCell, method: BoundName, roots: Roots, a90: float) -> TableRow:
    z = normal_quantile(CONFIDENCE)
    at_truth = roots(a90)
    none: Flags = at_truth == NEVER
    held = holding_of(at_truth > z, none)
    if float(none.mean()) >= 0.5:
        return TableRow(cell, method, held, None)

    def gap(log_ratio: float) -> float:
        return float(np.median(roots(_psi(float(np.exp(log_ratio)))))) - z

    low, high = -1.0, 0.5
    while gap(high) < 0.0 and high < np.log(FARTHEST):
        low, high = high, 2.0 * high
    if gap(high) < 0.0:
        return TableRow(cell, method, held, None)
    root = float(optimize.brentq(gap, low, high, xtol=1e-4))
    return TableRow(cell, method, held, float(np.exp(root)))


def _median_kept(design: Design, hits: Array, seed: int, start: float) -> float | None:
    """Ratio to a90 at which half of the trials reject that size, from a first guess on."""

    def gap(log_ratio: float) -> float:
        psi = _psi(float(np.exp(log_ratio)))
        return float(kept(design, hits, psi, seed=seed, simulations=SIMULATIONS)[0].mean()) - 0.5

    step, at = 0.05, float(np.log(start))
    seen = gap(at)
    way = step if seen > 0.0 else -step
    other, other_seen = at, seen
    while seen * other_seen > 0.0 and abs(other) < np.log(FARTHEST):
        at, seen, way = other, other_seen, 2.0 * way
        other = at + 0.5 * way
        other_seen = gap(other)
    if seen * other_seen > 0.0:
        return None
    for _ in range(MEDIAN_STEPS):
        if min(abs(seen), abs(other_seen)) <= NEAR_HALF or abs(other - at) <= NARROW:
            break
        middle = at + (other - at) * min(max(seen / (seen - other_seen), 0.1), 0.9)
        middle_seen = gap(middle)
        if middle_seen * seen > 0.0:
            at, seen = middle, middle_seen
        else:
            other, other_seen = middle, middle_seen
    best = at if abs(seen) <= abs(other_seen) else other
    return float(np.exp(best))


def _psi(ratio: float) -> float:
    return float((np.log(A90 * ratio) - CENTRE) / SPREAD)


def _ratio(psi: float) -> float | None:
    return float(np.exp(CENTRE + SPREAD * psi)) / A90 if np.isfinite(psi) else None

"""Bounds on the pooled a90 of several readers, which hold as often as they say.

The statistic is the signed root of the likelihood ratio of one curve through all readings, as
if each reading were another target. It is not compared with the normal distribution, which it
does not follow here, but with the same root of simulated trials in which readings of one target
go together and readers differ, each held so that the mean POD at the size in question is 0.90.

Two questions, two bounds. *These readers*: the readers of the trial, as they are. *A new reader*
of the class from which they come: the readers of every simulated trial are drawn anew, with a
spread that is uncertain by itself; with few readers it often does not close.

Source: as in `qualify.pod.calibrated` and `qualify.pod.reader_effects`.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from qualify.pod.bounds import start_and_step
from qualify.pod.calibrated import bound_on_way
from qualify.pod.farthest import INFINITY, THREADED, margin_of
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array, eta_of
from qualify.pod.problem import BoundValue, Side, SizedHits, normal_quantile, signed_root
from qualify.pod.reader_effects import (
    RHOS,
    SPREADS,
    Effects,
    HeldReaders,
    ReadTargets,
    held_readers,
    spread_levels,
)
from qualify.pod.reader_kernels import reader_exceedances
from qualify.threads import in_threads

Estimand: TypeAlias = Literal["these_readers", "new_reader"]

SIMULATIONS = 6_999  # behind a bound that is reported; fewer in large trials
WORK = 1_750_000  # simulated readings behind a bound, at most; but LEAST trials in any case
LEAST = 1_999
NO_SPREADS: Array = np.empty(0)


def stream(seed: int) -> np.uint64:
    """Return the start of the generator of a recorded seed."""
    return np.uint64(np.random.SeedSequence([seed, *b"readers"]).generate_state(1, np.uint64)[0])


@dataclass(frozen=True, slots=True)
class ReaderWay:
    """Places from the pooled estimate outwards, each with its p from simulated trials.

    Attributes
    ----------
    data, pooled : the readings by target and reader, and all of them by size.
    effects : of the readings.
    origin, unit : standardised size at the start of the way, and its step, signed.
    pod : that of the statement, as 0.90.
    levels : (spreads,), of a class of readers; empty for these readers.
    """

    data: ReadTargets
    pooled: SizedHits
    effects: Effects
    origin: float
    unit: float
    pod: float
    levels: Array
    sign: float
    confidence: float
    seed: int

    @property
    def readings(self) -> float:
        """Readings of one simulated trial."""
        return float(self.pooled.trials.sum())

    def margin(self, at: float, simulations: int) -> float:
        """How far beyond rejection a place lies, in normal quantiles; 0 or less: kept."""
        return margin_of(self.p_value(at, simulations), self.confidence)

    def p_value(self, at: float, simulations: int) -> float:
        """Return p of the statement at one place, from so many simulated trials."""
        far = np.copysign(INFINITY, self.unit)
        psi = float(far if np.isinf(at) else self.origin + at * self.unit)
        level = float(eta_of(self.data.link, self.pod))
        root = float(signed_root(self.pooled, np.array([psi]), np.array([level]))[0])
        held = held_readers(self.data, self.effects, psi, self.pod)
        state, counts = stream(self.seed), []

        def work(first: int, last: int) -> None:
            counts.append(
                exceedances_of(self, held, psi, self.sign * root, state, first, last, last)
            )

        in_threads(work, simulations, least=1 + THREADED // int(self.readings))
        return float((sum(counts) + 1) / (simulations + 1))


def exceedances_of(
    way: ReaderWay,
    held: HeldReaders,
    psi: float,
    root: float,
    state: np.uint64,
    first: int,
    last: int,
    limit: int,
) -> int:
    """Count simulated trials first..last-1 whose root is at least `root`; stops at `limit`."""
    data, new = way.data, way.levels.size > 0
    return reader_exceedances(
        LINK_NUMBERS[data.link],
        data.t,
        data.totals,
        data.where,
        data.trials,
        psi,
        float(eta_of(data.link, way.pod)),
        held.slope,
        held.starts,
        RHOS,
        np.cumsum(held.rho_weights),
        SPREADS if new else NO_SPREADS,
        way.levels,
        np.cumsum(way.effects.spread_weights),
        root,
        way.sign,
        state,
        first,
        last,
        limit,
    )


def way_of(
    data: ReadTargets,
    pooled: SizedHits,
    effects: Effects,
    estimand: Estimand,
    side: Side,
    *,
    pod: float = 0.9,
    confidence: float = 0.95,
    seed: int = 1,
) -> ReaderWay:
    """Return the way along which a bound is sought."""
    level = eta_of(data.link, np.array([pod]))
    start, step = start_and_step(pooled, level, side, normal_quantile(confidence))
    levels = spread_levels(data.link, pod) if estimand == "new_reader" else NO_SPREADS
    sign = 1.0 if side == "upper" else -1.0
    origin, unit = float(start[0]), float(step[0])
    return ReaderWay(data, pooled, effects, origin, unit, pod, levels, sign, confidence, seed)


def reader_bound(way: ReaderWay, side: Side, *, simulations: int = SIMULATIONS) -> BoundValue:
    """One-sided bound on the size where the mean POD of the readers is that of the way.

    In the caller's unit, with the Monte-Carlo standard error of the bound; None with a reason
    where simulation does not exclude a flat curve.
    """
    repeats = int(min(simulations, max(LEAST, WORK // max(1.0, way.readings))))
    return bound_on_way(way, way.pooled, way.origin, way.unit, side, repeats)

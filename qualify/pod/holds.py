"""How often a bound on a90 holds, counted by simulation of the design at hand.

The design is the list of sizes with their trials. Trials are simulated from a true POD curve,
and a bound 'holds' in a simulated trial if it is not below the true a90, or if there is none (then
nothing is claimed). For the calibrated and likelihood bounds this is counted without solving
for them: a bound lies at or above the true a90 exactly if the statement 'a90 is this' is not
rejected. Wald bounds and the others are computed.

The count says how often the bound holds IF the true curve is the one simulated; so it is made
for several: the fitted curve, a steeper and a shallower one, each other link, and a curve that
levels off at 0.97.

Source: test inversion, Casella and Berger 2002, section 9.2 (from memory).
"""

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from qualify.pod.engine import SMALL_BATCH
from qualify.pod.farthest import INFINITY, stream
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import LINK_NAMES, Array, Flags, eta_of
from qualify.pod.problem import FittedCurve, SizedHits, held, normal_quantile
from qualify.pod.simulation import GAMMA, mixed, statements_kept
from qualify.pod.trials import (
    POD,
    Design,
    Truth,
    delta_places,
    no_curve,
    simulated_hits,
    trial_fits,
)
from qualify.threads import in_threads

REPLICATES, SIMULATIONS = 1_000, 299
STEEPER = 1.5  # factor on the slope, a90 kept; shallower by its inverse
PLATEAU = 0.97
STEEP_ENOUGH = 1.5  # a slope so far beyond z is no matter of calibration: a bound exists

Case: TypeAlias = Literal[
    "fit", "steeper", "shallower", "logit", "probit", "cloglog", "loglog", "plateau"
]
Counted: TypeAlias = Literal["calibrated", "likelihood", "wald"]


@dataclass(frozen=True, slots=True)
class Holding:
    """How often a bound held.

    Attributes
    ----------
    share : of simulated trials in which the bound held or did not exist.
    error : Monte-Carlo standard error of `share`.
    share_given : of those with a bound, None if none had one.
    no_bound : share of simulated trials without a bound.
    replicates : simulated trials.
    """

    share: float
    error: float
    share_given: float | None
    no_bound: float
    replicates: int


def seeds_of(seed: int, count: int) -> npt.NDArray[np.uint64]:
    """Return a generator state for each replicate."""
    first = stream(seed)
    with np.errstate(over="ignore"):
        states = [mixed(first + np.uint64(k) * GAMMA) for k in range(count)]
    return np.array(states, dtype=np.uint64)


def kept(
    design: Design,
    hits: Array,
    psi: float,
    *,
    seed: int,
    confidence: float = 0.95,
    simulations: int = SIMULATIONS,
    sure: float = np.inf,
) -> tuple[Flags, Array]:
    """Whether simulation keeps the statement that POD is 0.90 at `psi` (replicates,), and r.

    Simulating stops as soon as the answer is settled, which changes nothing in it. An r above
    `sure` is rejected unsimulated.
    """
    replicates = len(hits)
    sizes = np.broadcast_to(design.t, hits.shape)
    sizes = np.ascontiguousarray(sizes)
    limit = int((1.0 - confidence) * (simulations + 1) + 1e-9)
    states, level = seeds_of(seed, replicates), float(eta_of(design.link, POD))
    answer, roots = np.zeros(replicates, dtype=bool), np.empty(replicates)

    def work(first: int, last: int) -> None:
        p = slice(first, last)
        statements_kept(
            LINK_NUMBERS[design.link],
            sizes[p],
            hits[p],
            design.trials,
            psi,
            level,
            simulations,
            limit,
            sure,
            states[p],
            answer[p],
            roots[p],
        )

    in_threads(work, replicates, SMALL_BATCH)
    return answer, roots


def count_calibrated(
    design: Design, truth: Truth, *, replicates: int, seed: int, confidence: float = 0.95
) -> Holding:
    """Count how often the calibrated bound holds."""
    hits = simulated_hits(design, truth, replicates, seed)
    stays, _ = kept(design, hits, truth.a90, seed=seed, confidence=confidence)
    z = normal_quantile(confidence)
    open_ended, roots = kept(
        design, hits, INFINITY, seed=seed + 1, confidence=confidence, sure=z + STEEP_ENOUGH
    )
    none = no_curve(design, hits)[1] | open_ended | (roots <= z)
    return holding_of(~none & ~stays, none)


def count_likelihood(
    design: Design, truth: Truth, *, replicates: int, seed: int, confidence: float = 0.95
) -> Holding:
    """Count how often the likelihood bound holds; under separation none is given."""
    hits = simulated_hits(design, truth, replicates, seed)
    z = normal_quantile(confidence)
    _, at_truth = kept(design, hits, truth.a90, seed=seed, simulations=1)
    _, at_end = kept(design, hits, INFINITY, seed=seed, simulations=1)
    separated, never = no_curve(design, hits)
    none = never | separated | (at_end <= z)
    return holding_of(~none & (at_truth > z), none)


def count_wald(
    design: Design, truth: Truth, *, replicates: int, seed: int, confidence: float = 0.95
) -> Holding:
    """Count how often the Wald bound holds; none is given where POD is not shown to rise."""
    fits = trial_fits(design, simulated_hits(design, truth, replicates, seed), confidence)
    bounds = delta_places(fits, float(eta_of(design.link, POD)), normal_quantile(confidence))
    return holding_of(bounds < truth.a90, ~fits.with_bound)


def holding_of(fails: Flags, none: Flags) -> Holding:
    """Return how often a bound held, from which trials (replicates,) it failed in or had none."""
    n = len(fails)
    share, without = 1.0 - float(fails.mean()), float(none.mean())
    given = None if without == 1.0 else 1.0 - float(fails.mean()) / (1.0 - without)
    # at a share of 1 the error is that of one failure, so that it is never told as 0
    error = float(np.sqrt(max(share * (1.0 - share), (n - 1) / n**2) / n))
    return Holding(share, error, given, without, n)


COUNT = {"calibrated": count_calibrated, "likelihood": count_likelihood, "wald": count_wald}


def truths_of(data: SizedHits, psi: float | None = None) -> dict[Case, Truth]:
    """Return the true curves for which a bound is checked.

    The first is the fitted curve; without one (hits and misses do not overlap) the curve held at
    POD 0.90 at `psi`, the bound itself. Steeper and shallower ones share its a90, other links its
    a50 and a90.

    Raises
    ------
    ValueError : without a rising fitted curve and without `psi`.
    """
    if isinstance(data, FittedCurve) and data.slope > 0.0:
        first = Truth(data.link, data.intercept, data.slope)
    elif psi is None:
        message = "there is no rising curve to simulate from"
        raise ValueError(message)
    else:
        level = float(eta_of(data.link, POD))
        slope = float(held(data, np.array([psi]), np.array([level]))[0][0])
        first = Truth(data.link, level - slope * psi, slope)
    a90 = first.a90
    out: dict[Case, Truth] = {"fit": first}
    for case, factor in (("steeper", STEEPER), ("shallower", 1.0 / STEEPER)):
        slope = factor * first.slope
        out[case] = replace(  # type: ignore[index]
            first, slope=slope, intercept=float(eta_of(first.link, POD)) - slope * a90
        )
    a50 = (float(eta_of(first.link, 0.5)) - first.intercept) / first.slope
    for link in LINK_NAMES:
        if link != first.link:
            low, high = float(eta_of(link, 0.5)), float(eta_of(link, POD))
            slope = (high - low) / (a90 - a50)
            out[link] = Truth(link, high - slope * a90, slope)
    out["plateau"] = replace(first, plateau=PLATEAU)
    return out


def how_often(
    data: SizedHits,
    bound: Counted,
    *,
    psi: float | None = None,
    seed: int = 1,
    replicates: int = REPLICATES,
    confidence: float = 0.95,
) -> dict[Case, Holding]:
    """Count how often a bound holds in simulation of this design, for each true curve.

    Parameters
    ----------
    data : the trial whose sizes are the design.
    bound : `calibrated`, `likelihood` or `wald`.
    psi : standardised bound, to simulate from where hits and misses do not overlap.
    seed, replicates : of the simulation; recorded by the caller.

    Raises
    ------
    ValueError : without a rising fitted curve and without `psi`.
    """
    design = Design(data.t, data.trials, data.link)
    return {
        case: COUNT[bound](design, truth, replicates=replicates, seed=seed, confidence=confidence)
        for case, truth in truths_of(data, psi).items()
    }

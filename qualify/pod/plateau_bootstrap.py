"""Parametric bootstrap of the tests of a plateau of 1 and of a floor of 0.

Data are simulated from the fit that obeys the hypothesis, blanks included, and both fits are made
anew each time. Nothing is left out: a replicate in which hits and misses do not overlap, or all
targets are hit, has a statistic of its own, as the likelihood of infinitely steep curves is known
in closed form.

Source: Davison and Hinkley 1997, Bootstrap Methods and their Application, section 4.2.3:
p = (count + 1) / (replicates + 1).
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from qualify.pod.links import Array, pod_of
from qualify.pod.mixture import Counts
from qualify.pod.mixture_fits import best, two_parameter
from qualify.pod.observations import observe
from qualify.pod.outcome import ends_of
from qualify.pod.plateau import PlateauFit, climate_of
from qualify.pod.plateau_edges import LEAST_GAIN

Hypothesis: TypeAlias = Literal["plateau", "floor"]


@dataclass(frozen=True, slots=True)
class EdgeBootstrap:
    """Bootstrap p value of a test at an edge.

    Attributes
    ----------
    hypothesis : `plateau = 1` or `floor = 0`.
    statistic : of the data, or None.
    count, replicates : replicates whose statistic reached that of the data, and all of them.
    p_value : (count + 1) / (replicates + 1), or None.
    standard_error : Monte-Carlo standard error of the p value, or None.
    no_overlap : replicates whose hits and misses did not overlap; they are counted.
    seed : of the random numbers.
    reason : why there is no p value, else None.
    """

    hypothesis: str
    statistic: float | None
    count: int
    replicates: int
    p_value: float | None
    standard_error: float | None
    no_overlap: int
    seed: int
    reason: str | None


def _simulated(counts: Counts, p: Array, floor: float, sets: int, seed: int) -> Counts:
    rng = np.random.default_rng(seed)
    trials = (counts.hits + counts.misses)[0].astype(int)
    hits = rng.binomial(trials, p, size=(sets, trials.size)).astype(float)
    blanks = int(counts.called[0] + counts.quiet[0])
    called = rng.binomial(blanks, floor, size=sets).astype(float)
    return Counts(counts.t, hits, trials - hits, called, blanks - called)


def plateau_bootstrap(
    fit: PlateauFit, *, hypothesis: Hypothesis = "plateau", seed: int, replicates: int = 199
) -> EdgeBootstrap:
    """Parametric bootstrap of 'plateau = 1' or 'floor = 0'.

    Parameters
    ----------
    fit : from `fit_plateau`.
    hypothesis : `plateau` or `floor`.
    seed, replicates : of the simulation; 199 replicates give p values from 0.005 on.

    Raises
    ------
    ValueError : for an unknown hypothesis or fewer than 19 replicates.
    """
    if hypothesis not in ("plateau", "floor"):
        message = f"hypothesis {hypothesis!r} is not known; use plateau or floor"
        raise ValueError(message)
    if replicates < 19:
        message = f"{replicates} replicates are too few: at least 19 are needed for p = 0.05"
        raise ValueError(message)
    test = fit.plateau_test if hypothesis == "plateau" else fit.floor_test
    if test.statistic is None:
        none = (None, 0, replicates, None, None, 0, seed)
        return EdgeBootstrap(test.hypothesis, *none, test.reason)
    floor, plateau = (fit.floor_held, 1.0) if hypothesis == "plateau" else (0.0, None)
    seen = observe(fit.sizes, fit.hits_at, fit.trials_at, fit.scale)
    counts = climate_of(seen, fit.blank_units, fit.blank_called, fit.link).counts
    null = best(counts, fit.link, floor, plateau, two_parameter(counts, fit.link)).values[0]
    p = null[0] + (null[1] - null[0]) * pod_of(fit.link, null[2] + null[3] * counts.t)
    drawn = _simulated(counts, np.clip(p, 0.0, 1.0), float(null[0]), replicates, seed)
    curve = two_parameter(drawn, fit.link)
    free = best(drawn, fit.link, fit.floor_held, None, curve)
    held = best(drawn, fit.link, floor, plateau, curve)
    gains = 2.0 * (np.maximum(free.height, held.height) - held.height)
    count = int(np.sum(gains >= test.statistic - LEAST_GAIN))
    share = (count + 1) / (replicates + 1)
    error = float(np.sqrt(share * (1.0 - share) / replicates))
    done = (
        count,
        replicates,
        share,
        error,
        int(ends_of(drawn.t, drawn.hits, drawn.misses).apart.sum()),
        seed,
        None,
    )
    return EdgeBootstrap(test.hypothesis, test.statistic, *done)

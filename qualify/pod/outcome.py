"""What a set of hits and misses allows, decided from the data before anything is fitted.

Warnings and large coefficients of an iteration are no test for separation: an iteration on
separated data may stop and report success. For one size axis the test is exact: the
maximum-likelihood curve exists if and only if hits and misses overlap.

Source: Albert and Anderson 1984, Biometrika 71, 1-10 (from memory).
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from qualify.pod.links import Array, Flags
from qualify.pod.observations import Observations

Outcome: TypeAlias = Literal[
    "fitted", "separated", "quasi_separated", "decreasing", "all_hit", "all_missed", "too_few"
]

FEWEST_TRIALS = 5  # our own choice: below it a curve with two parameters describes nothing
FEWEST_SIZES = 2  # a slope needs two distinct sizes
SAME_SIZE = 1e-6  # of the range of sizes: an overlap narrower than this is one size


@dataclass(frozen=True, slots=True)
class Ends:
    """Sizes at which hits and misses of each set begin and end, (sets,) each.

    Without a hit, or without a miss, the first is +inf and the last -inf.
    """

    first_hit: Array
    last_hit: Array
    first_miss: Array
    last_miss: Array

    @property
    def apart(self) -> Flags:
        """Sets (sets,) that a step parts, rising or falling; one shared size is allowed.

        All hit and all missed count among them.
        """
        return np.asarray((self.last_miss <= self.first_hit) | (self.last_hit <= self.first_miss))


def ends_of(t: Array, hits: Array, misses: Array) -> Ends:
    """Return where hits and misses (sets, sizes) begin and end; t (sizes,) or (sets, sizes)."""
    hit, miss = hits > 0, misses > 0
    return Ends(
        first_hit=np.where(hit, t, np.inf).min(axis=1),
        last_hit=np.where(hit, t, -np.inf).max(axis=1),
        first_miss=np.where(miss, t, np.inf).min(axis=1),
        last_miss=np.where(miss, t, -np.inf).max(axis=1),
    )


@dataclass(frozen=True, slots=True)
class Overlap:
    """How hits and misses lie along the size axis.

    Attributes
    ----------
    outcome : the outcome settled by the data alone, or None when a curve can be fitted (it may
        still turn out to be `decreasing`).
    largest_miss, smallest_hit : sizes in the caller's unit, None where there is no miss or hit.
    """

    outcome: Outcome | None
    largest_miss: float | None
    smallest_hit: float | None


def overlap(seen: Observations) -> Overlap:
    """Decide the outcome from the data.

    In this order: `all_hit`, `all_missed`; `too_few` (fewer than 5 trials or 2 distinct sizes);
    `separated` (every miss is smaller than every hit); `quasi_separated` (largest miss and
    smallest hit share one size, or overlap by less than a millionth of the range of sizes, too
    little for a slope); `decreasing` (no hit is larger than any miss); else None.
    """
    with_hits = seen.size[seen.hits > 0]
    with_misses = seen.size[seen.hits < seen.trials]
    if with_misses.size == 0:
        return Overlap("all_hit", None, float(with_hits[0]))
    if with_hits.size == 0:
        return Overlap("all_missed", float(with_misses[-1]), None)
    largest_miss, smallest_hit = float(with_misses[-1]), float(with_hits[0])
    outcome: Outcome | None = None
    if seen.total < FEWEST_TRIALS or seen.size.size < FEWEST_SIZES:
        outcome = "too_few"
    elif largest_miss < smallest_hit:
        outcome = "separated"
    elif largest_miss - smallest_hit <= SAME_SIZE * float(seen.size[-1] - seen.size[0]):
        outcome = "quasi_separated"
    elif with_hits[-1] <= with_misses[0]:
        outcome = "decreasing"
    return Overlap(outcome, largest_miss, smallest_hit)

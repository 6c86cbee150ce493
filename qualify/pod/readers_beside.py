"""What other methods give for several readers, beside the bound reported; how far readers agree.

Cluster-robust Wald bound and bootstrap of whole targets know that targets are the sample, but hold
less often than they say. The random intercept tells the typical target from the average one: a
claim on POD is about the average.
"""

from dataclasses import dataclass

import numpy as np

from qualify.pod.clustered import clustered_fit, clustered_size_bound
from qualify.pod.consistency import BetweenReaders, between_readers
from qualify.pod.contrast import NO_RISE, Contrast
from qualify.pod.links import Array, LinkName
from qualify.pod.problem import NO_OVERLAP
from qualify.pod.random_intercepts import (
    OUTCOME_WORDS,
    average_size,
    fit_random_intercepts,
    typical_size,
)
from qualify.pod.readers import ReadersFit
from qualify.pod.readers_table import ReadingsTable
from qualify.pod.whole_target_bootstrap import whole_target_bootstrap

POD = 0.9


@dataclass(frozen=True, slots=True)
class ReadersBeside:
    """Contrasts and agreement.

    Attributes
    ----------
    clustered, bootstrap : upper bounds on the pooled a90, for comparison only.
    typical_a90, average_a90 : of the fit with a random intercept of the target; None without one.
    target_spread : standard deviation between targets of that fit, in link units.
    spread_words : what that fit says of targets of one size.
    agreement : between readers, of the targets that every one of them read once; None without.
    """

    clustered: Contrast
    bootstrap: Contrast
    typical_a90: float | None
    average_a90: float | None
    target_spread: float | None
    spread_words: str
    agreement: BetweenReaders | None


def beside_readers(
    table: ReadingsTable,
    fit: ReadersFit,
    link: LinkName,
    examined: ReadingsTable | None = None,
) -> ReadersBeside:
    """Return what stands beside a fit of several readers; the fit must have hits and misses.

    `examined` holds the readings of which agreement is told, where not all of them.
    """
    size, hits, group = _rows(table)
    x = np.log(size) if fit.scale == "log" else size
    design = np.column_stack([np.ones_like(x), x])
    clustered = Contrast(None, NO_OVERLAP, "clustered_wald", "upper")
    if fit.outcome == "fitted":
        robust = clustered_fit(design, hits, group, link)
        clustered = clustered_size_bound(robust, link, fit.scale, confidence=fit.confidence)
    resampled = whole_target_bootstrap(
        size, hits, group, link=link, scale=fit.scale, confidence=fit.confidence, seed=fit.seed
    ).upper
    mixed = fit_random_intercepts(design, hits, 1, group, link)
    rises = fit.a90 is not None
    nothing = Contrast(None, NO_RISE, "clustered_wald", "upper")
    return ReadersBeside(
        clustered=clustered if rises or clustered.value is None else nothing,
        bootstrap=resampled,
        typical_a90=typical_size(mixed, POD, fit.scale) if rises else None,
        average_a90=average_size(mixed, POD, fit.scale) if rises else None,
        target_spread=mixed.sd,
        spread_words=OUTCOME_WORDS[mixed.outcome],
        agreement=_agreement(table if examined is None else examined, fit.confidence),
    )


def _rows(table: ReadingsTable) -> tuple[Array, Array, list[int]]:
    """Return size, hit and target of every reading."""
    size, hits, group = [], [], []
    for i, row in enumerate(table.trials):
        for j, read in enumerate(row):
            found = int(table.hits[i, j])
            hits += [1.0] * found + [0.0] * (int(read) - found)
            size += [float(table.size[i])] * int(read)
            group += [i] * int(read)
    return np.array(size), np.array(hits), group


def _agreement(table: ReadingsTable, confidence: float) -> BetweenReaders | None:
    once = np.all(table.trials == 1.0, axis=1)
    if not once.any():
        return None
    calls = {name: table.hits[once, j] for j, name in enumerate(table.readers)}
    return between_readers(calls, confidence=confidence)

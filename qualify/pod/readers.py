"""One POD curve of several readers who read the same targets.

Readings of one target by several readers are not further targets. The curve is that of the mean
POD of the readers. Its bound on a90 comes from `qualify.pod.reader_bounds`, once for these
readers and once for a new reader of their class; what other methods give stands beside it in
`qualify.pod.readers_beside`, for comparison only.
"""

from dataclasses import dataclass

import numpy as np

from qualify.pod.bounds import likelihood_bound
from qualify.pod.calibrated import SEED
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.pod.links import link_named
from qualify.pod.notices import Notice, beyond_notices, count
from qualify.pod.observations import observe
from qualify.pod.outcome import Outcome
from qualify.pod.problem import NO_CURVE, BoundValue, Side, normal_quantile, sized_hits
from qualify.pod.reader_bounds import SIMULATIONS, Estimand, reader_bound, way_of
from qualify.pod.reader_effects import SPREADS, Effects, ReadTargets, effects_of, held_readers
from qualify.pod.readers_table import ReadingsTable

POD = 0.9
LEAST_READ = 0.5  # of the targets: who read fewer tells little of a class; house rule, no source
FEWEST_READERS = 3  # two readers show no spread of a class
FEW_READERS = 5  # below it the spread of a class rests on little: house rule, no source
SIDES: tuple[Side, ...] = ("upper", "lower")
WITH_BOUNDS = ("fitted", "separated", "quasi_separated")
OPEN_ENDED = (
    "not demonstrated: readings that go together leave the rise of POD with size too uncertain for "
    "a bound"
)


@dataclass(frozen=True, slots=True)
class ReadersFit:
    """The mean POD curve of several readers, and its bounds.

    Attributes
    ----------
    readers : names.
    targets, readings, hits : numbers; targets are the sample size.
    outcome : of all readings together.
    link, scale, confidence, seed, simulations : as asked for.
    curve : the pooled curve, with `a50`, `a90` and the sizes tested; its own bounds take each
        reading for a target and are no bounds of several readers.
    these : bounds on the a90 of these readers, by side.
    new : bounds on the a90 of a new reader of the class, by side.
    naive : upper likelihood bound that takes each reading for a target; a warning, no bound.
    target_share : share of the hidden variance of a reading that belongs to the target, weighed
        by its likelihood; None without a curve.
    offsets : of the readers' curves in link units, mean 0, pulled to it; above 0 finds more.
    reader_spread : weighed standard deviation of a class of such readers, link units; None where
        they called all alike.
    extrapolated : whether a90 or the upper bound for these readers lies outside the sizes
        tested; None without either.
    notices : remarks that belong beside the numbers.
    """

    readers: tuple[str, ...]
    targets: int
    readings: int
    hits: int
    outcome: Outcome
    link: str
    scale: str
    confidence: float
    seed: int
    simulations: int
    curve: HitMissFit
    these: dict[Side, BoundValue]
    new: dict[Side, BoundValue]
    naive: BoundValue
    target_share: float | None
    offsets: tuple[float, ...] | None
    reader_spread: float | None
    extrapolated: bool | None
    notices: tuple[Notice, ...]

    @property
    def a90(self) -> float | None:
        """Size at which the mean POD of the readers is 0.90."""
        return self.curve.a90

    @property
    def a90_95(self) -> float | None:
        """Upper bound on the a90 of these readers."""
        return self.these["upper"].value


def fit_readers(
    table: ReadingsTable,
    *,
    link: str = "logit",
    scale: str = "log",
    confidence: float = 0.95,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> ReadersFit:
    """Fit the mean POD curve of several readers, with bounds in which targets are the sample.

    Parameters
    ----------
    table : readings by target and reader.
    link, scale, confidence, seed : as in `qualify.pod.hit_miss.fit_hit_miss`.
    simulations : simulated trials behind each bound.

    Raises
    ------
    ValueError : as `fit_hit_miss`.
    """
    hits, trials = table.hits.sum(axis=1), table.trials.sum(axis=1)
    curve = fit_hit_miss(
        table.size, hits, trials, link=link, scale=scale, confidence=confidence, bound="likelihood"
    )
    seen = observe(table.size, hits, trials, scale)
    if curve.outcome not in WITH_BOUNDS:
        return _without_bounds(table, curve, seed, simulations)
    pooled = sized_hits(seen, link_named(link))
    where = np.searchsorted(seen.size, table.size).astype(np.int64)
    data = ReadTargets(where, pooled.t, table.hits, table.trials, pooled.link)
    effects = effects_of(data)
    bounds: dict[Estimand, dict[Side, BoundValue]] = {"these_readers": {}, "new_reader": {}}
    alike = _all_alike(table)
    for estimand, found in bounds.items():
        for side in SIDES:
            reason = _no_class(table) if estimand == "new_reader" else None
            if estimand == "these_readers" and alike:
                found[side] = _of_one(table, curve, side, seed)
                continue
            if reason is not None:
                found[side] = BoundValue(None, reason, "calibrated", side)
                continue
            way = way_of(
                data, pooled, effects, estimand, side, pod=POD, confidence=confidence, seed=seed
            )
            found[side] = _told(reader_bound(way, side, simulations=simulations), curve)
    place = pooled.psi_of(curve.a90) if curve.a90 is not None else 0.0
    pod = POD if curve.a90 is not None else float(hits.sum() / trials.sum())
    share = held_readers(data, effects, place, pod).rho
    naive = likelihood_bound(pooled, POD, confidence, "upper")
    return _assembled(table, curve, bounds, naive, share, effects, seed, simulations)


def _all_alike(table: ReadingsTable) -> bool:
    """Whether all readers called every target alike."""
    return np.array_equal(table.hits.min(axis=1), table.hits.max(axis=1))


def _of_one(table: ReadingsTable, curve: HitMissFit, side: Side, seed: int) -> BoundValue:
    """Return the bound of one of several readers who are copies of each other."""
    hits = (table.hits.max(axis=1) > 0).astype(float)
    one = fit_hit_miss(
        table.size, hits, link=curve.link, scale=curve.scale, confidence=curve.confidence, seed=seed
    )
    return one.bounds["calibrated"][side]


def _no_class(table: ReadingsTable) -> str | None:
    """Say why these readings tell nothing of a class of readers; None where they do."""
    if _all_alike(table):
        return (
            "not demonstrated: the readers called every target alike, and nothing is learnt of how "
            "much readers of a class differ"
        )
    read = np.sum(table.trials > 0, axis=0) >= LEAST_READ * len(table.targets)
    if int(read.sum()) >= FEWEST_READERS:
        return None
    return (
        f"not demonstrated: {count(int(read.sum()), 'reader')} who read half of the targets or "
        f"more do not show how much readers of a class differ; {FEWEST_READERS} are the least, "
        f"{FEW_READERS} or more are wanted"
    )


def _told(bound: BoundValue, curve: HitMissFit) -> BoundValue:
    """Say why a bound is open where the curve rises if each reading is taken for a target."""
    rises = curve.slope_lr is None or curve.slope_lr > normal_quantile(curve.confidence) ** 2
    if bound.value is not None or not rises or bound.reason is None:
        return bound
    return BoundValue(None, OPEN_ENDED, bound.method, bound.side, None, bound.simulations)


def _without_bounds(
    table: ReadingsTable, curve: HitMissFit, seed: int, simulations: int
) -> ReadersFit:
    none = {side: BoundValue(None, NO_CURVE[curve.outcome], "calibrated", side) for side in SIDES}
    return ReadersFit(
        *_counts(table),
        curve.outcome,
        curve.link,
        curve.scale,
        curve.confidence,
        seed,
        simulations,
        curve,
        none,
        none,
        BoundValue(None, NO_CURVE[curve.outcome], "likelihood", "upper"),
        None,
        None,
        None,
        None,
        (),
    )


def _counts(table: ReadingsTable) -> tuple[tuple[str, ...], int, int, int]:
    return table.readers, len(table.targets), int(table.trials.sum()), int(table.hits.sum())


def _assembled(
    table: ReadingsTable,
    curve: HitMissFit,
    bounds: dict[Estimand, dict[Side, BoundValue]],
    naive: BoundValue,
    share: float,
    effects: Effects,
    seed: int,
    simulations: int,
) -> ReadersFit:
    these, new = bounds["these_readers"], bounds["new_reader"]
    low, high = curve.tested_range
    told = [v for v in (curve.a90, these["upper"].value) if v is not None]
    return ReadersFit(
        *_counts(table),
        outcome=curve.outcome,
        link=curve.link,
        scale=curve.scale,
        confidence=curve.confidence,
        seed=seed,
        simulations=simulations,
        curve=curve,
        these=these,
        new=new,
        naive=naive,
        target_share=share,
        offsets=tuple(float(v) for v in effects.offsets),
        reader_spread=None if _all_alike(table) else float(effects.spread_weights @ SPREADS),
        extrapolated=any(v < low or v > high for v in told) if told else None,
        notices=_notices(table, curve, these, new, naive),
    )


def _notices(
    table: ReadingsTable,
    curve: HitMissFit,
    these: dict[Side, BoundValue],
    new: dict[Side, BoundValue],
    naive: BoundValue,
) -> tuple[Notice, ...]:
    out = []
    upper = these["upper"].value
    if upper is None:
        text = f"No upper bound on the a90 of these readers together: {these['upper'].reason}."
        out.append(Notice("no_upper_bound", text))
    if naive.value is not None:
        text = (
            f"Warning example: with the {int(table.trials.sum())} readings taken for as many "
            f"targets, the bound would read {naive.value:.4g}. It is no bound: the "
            f"{count(len(table.targets), 'target')} are the sample, and readings of one target "
            "go together."
        )
        out.append(Notice("naive_pooling", text))
    if new["upper"].value is not None and len(table.readers) < FEW_READERS:
        text = (
            f"The bound for a new reader rests on {count(len(table.readers), 'reader')}; "
            f"{FEW_READERS} or more are wanted for a claim about a class of readers (house rule, "
            "no source), and they must have been drawn from that class."
        )
        out.append(Notice("few_readers", text))
    few = [
        f"{name} {int(n)} of {len(table.targets)}"
        for name, n in zip(table.readers, np.sum(table.trials > 0, axis=0), strict=True)
        if n < len(table.targets)
    ]
    if few:
        text = f"Not every reader read every target: {', '.join(few)}."
        out.append(Notice("unequal_readings", text))
    return (*out, *beyond_notices((curve.a90, upper), *curve.tested_range))

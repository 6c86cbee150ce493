"""All readers of a mode together: the mean curve, its bounds, contrasts, and how far they agree."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qualify.criteria.estimate import Basis
from qualify.criteria.words import ALL_READERS, NEW_READER
from qualify.effort import is_whole, trials
from qualify.pod.clustered import clustered_fit, clustered_size_bound
from qualify.pod.consistency import Agreement, agreement
from qualify.pod.holds import Holding
from qualify.pod.links import eta_of, link_named
from qualify.pod.observations import size_of
from qualify.pod.problem import NO_OVERLAP
from qualify.pod.reader_bounds import SIMULATIONS
from qualify.pod.reader_holds import count_readers, truth_of
from qualify.pod.readers import POD, ReadersFit, fit_readers
from qualify.pod.readers_beside import ReadersBeside, beside_readers
from qualify.pod.readers_table import ReadingsTable, readings_table
from qualify.reading.tables import BLANK, Tables
from qualify.study.curve_checks import Cell
from qualify.study.plan import Plan
from qualify.study.sensitivity_rows import Told

ALL, NEW = ALL_READERS, NEW_READER
"""In place of a reader's name: these readers together, and a new reader of their class."""
REPLICATES, READINGS = 200, 50_000
"""Simulated trials behind 'how often the bound holds', and readings in all of them at most."""
FEWEST = 50
WIDER = 2.0  # by which readers, or targets, differ more in a second count
CASES = {
    "fit": "as fitted",
    "readers": "readers differ twice as much",
    "targets": "targets of one size differ twice as much",
}
BASES: tuple[Basis, ...] = ("as_found", "after_remedy")
PASS = ["specimen", "grading_unit", "target"]


@dataclass(frozen=True, slots=True)
class ReadersResult:
    """What all readers of one mode come to on one kind of target.

    Attributes
    ----------
    fit : the pooled curve.
    beside : contrasts and agreement, only on the basis of the claim box; None without a curve.
    not_examined : largest share of targets that one reader did not examine.
    holds : by case of `CASES`, how often the bound for these readers holds in simulation of
        this design, and that of readings taken for targets; only on the basis of the claim box.
    """

    fit: ReadersFit
    beside: ReadersBeside | None
    not_examined: float
    holds: Mapping[str, tuple[Holding, Holding]]


@dataclass(frozen=True, slots=True)
class Repeats:
    """First readings of one reader against re-readings of the same units."""

    mode: str
    reader: str
    targets: Agreement | None
    blanks: Agreement | None


def readers_results(views: Mapping[Basis, Tables], plan: Plan) -> dict[Cell, ReadersResult]:
    """Return the pooled analysis of every kind and mode that two readers or more have read.

    As found and after remedy; what leaving out the units not examined does stands among the
    choices that results hang on.
    """
    out: dict[Cell, ReadersResult] = {}
    same: dict[tuple[object, ...], ReadersResult] = {}
    for basis in BASES:
        tables = views[basis]
        for mode in plan.modes:
            for population in plan.populations:
                rows = tables.opportunities
                rows = rows[(rows["mode"] == mode.id) & (rows["kind"] == population.kind)]
                if rows["reader"].nunique() < 2 or rows["target"].nunique() < 2:
                    continue
                table = table_of(rows, plan.analysis.scale)
                key = (table.targets, table.readers, table.hits.tobytes(), table.trials.tobytes())
                if key not in same:
                    same[key] = _result(table, rows, plan)
                out[(basis, population.kind, mode.id, ALL)] = same[key]
    return out


def table_of(rows: pd.DataFrame, scale: str) -> ReadingsTable:
    """Return opportunities of flawed units as a table of targets and readers."""
    names = list(rows[["specimen", "target"]].itertuples(index=False, name=None))
    hits = rows["hit"].to_numpy(dtype=float)
    return readings_table(rows["size_mm"], hits, names, list(rows["reader"]), scale=scale)


def _result(table: ReadingsTable, rows: pd.DataFrame, plan: Plan) -> ReadersResult:
    chosen = plan.analysis
    fit = fit_readers(
        table,
        link=chosen.link,
        scale=chosen.scale,
        seed=chosen.seed,
        simulations=trials(SIMULATIONS),
    )
    lost = (rows["examined"] == 0).groupby(rows["reader"]).mean()
    return ReadersResult(fit, None, float(lost.max()), {})


def told_together(rows: pd.DataFrame, plan: Plan) -> Told:
    """Return all readers under one variation, by the cluster-robust bound, which is quick.

    Of the opportunities (rows) of one kind and mode.
    """
    n, hits = len(rows), int(rows["hit"].sum())
    if rows["reader"].nunique() < 2:
        return Told(ALL, n, hits, None, None, "fewer than two readers", None)
    link, size = link_named(plan.analysis.link), rows["size_mm"].to_numpy(dtype=float)
    x = np.log(size) if plan.analysis.scale == "log" else size
    names = list(rows[["specimen", "target"]].itertuples(index=False, name=None))
    try:
        design = np.column_stack([np.ones_like(x), x])
        fit = clustered_fit(design, rows["hit"].to_numpy(dtype=float), names, link)
    except ValueError:
        return Told(ALL, n, hits, None, None, NO_OVERLAP, None)
    bound = clustered_size_bound(fit, link, plan.analysis.scale)
    place = float((eta_of(link, POD) - fit.coef[0]) / fit.coef[1]) if fit.coef[1] > 0.0 else None
    upper = bound.value
    a90 = size_of(place, plan.analysis.scale)
    told = Told(ALL, n, hits, a90, upper, bound.reason, None)
    return told.within((float(size.min()), float(size.max())))


def with_checks(
    results: Mapping[Cell, ReadersResult], views: Mapping[Basis, Tables], plan: Plan, basis: Basis
) -> dict[Cell, ReadersResult]:
    """Return the results with contrasts and how often their bounds hold, on one basis."""
    out = dict(results)
    for cell, found in results.items():
        if cell[0] != basis:
            continue
        rows = views[basis].opportunities
        rows = rows[(rows["mode"] == cell[2]) & (rows["kind"] == cell[1])]
        table, fit = table_of(rows, plan.analysis.scale), found.fit
        with_both = 0 < fit.hits < fit.readings and is_whole()
        beside = None
        if with_both:
            looked = rows[rows["examined"] == 1]
            seen = table_of(looked, fit.scale) if looked["reader"].nunique() > 1 else None
            beside = beside_readers(table, fit, link_named(fit.link), seen)
        out[cell] = replace(found, beside=beside, holds=_holds(fit, table.size))
    return out


def _holds(fit: ReadersFit, sizes: np.ndarray) -> Mapping[str, tuple[Holding, Holding]]:
    truth = truth_of(fit)
    if truth is None or fit.a90_95 is None or not is_whole():
        return {}
    replicates = min(REPLICATES, max(FEWEST, READINGS // fit.readings))
    x = np.log(sizes) if fit.scale == "log" else sizes
    wider = {
        "fit": truth,
        "readers": replace(truth, reader_spread=WIDER * truth.reader_spread),
        "targets": replace(truth, flaw_spread=WIDER * truth.flaw_spread),
    }
    return {
        case: count_readers(
            x, len(fit.readers), one, "these_readers", replicates=replicates, seed=fit.seed
        )
        for case, one in wider.items()
    }


def repeats_of(tables: Tables, view: Tables, plan: Plan) -> tuple[Repeats, ...]:
    """Return how first readings and re-readings of the same units agree, by mode and reader.

    Of units that count in the view and were examined both times.
    """
    frame = tables.opportunities
    frame = frame[(frame["examined"] == 1) & (frame["repeat"] == 1)]
    first, again = (frame[frame["reading"] == name] for name in ("first", "re-reading"))
    counts = view.opportunities[["specimen", "grading_unit"]].drop_duplicates()
    again = again.merge(counts, on=["specimen", "grading_unit"])
    both = first.merge(again, on=[*PASS, "kind", "mode", "reader"], suffixes=("", "_again"))
    out = []
    for mode in plan.modes:
        for reader in sorted(set(both["reader"])):
            rows = both[(both["mode"] == mode.id) & (both["reader"] == reader)]
            blank = rows["kind"] == BLANK
            if len(rows):
                out.append(Repeats(mode.id, reader, _agree(rows[~blank]), _agree(rows[blank])))
    return tuple(out)


def _agree(rows: pd.DataFrame) -> Agreement | None:
    if rows.empty:
        return None
    return agreement(rows["hit"].to_numpy(dtype=float), rows["hit_again"].to_numpy(dtype=float))

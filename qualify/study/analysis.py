"""Estimates of a study: detection, false calls and sizing, per kind, mode and reader."""

from collections.abc import Mapping, Sequence

import pandas as pd

from qualify.criteria.estimate import Basis
from qualify.pod.false_calls import false_call_rate, proportion_bounds
from qualify.pod.hit_miss import HitMissFit
from qualify.reading.tables import BLANK, Tables
from qualify.study.gathered import Analysis, simulations_of
from qualify.study.notice import StudyNotice
from qualify.study.plan import Plan, Population
from qualify.study.sizing_estimates import sizing_estimates
from qualify.study.sizing_result import sizing_result
from qualify.study.told import told_bound
from qualify.study.where import Where

BLANK_UNITS, FLAWED_UNITS, STUDY = "blank_units", "flawed_units", "study"
LAPSE = 1.5
"""From this multiple of a90 on a miss is a lapse, unless the unit was not examined."""
EXACT = "exact binomial (Clopper and Pearson 1934), one-sided 95 %"


def analyse(views: Mapping[Basis, Tables], plan: Plan, readers: Sequence[str]) -> Analysis:
    """Return all estimates that rest on the three tables, on every basis."""
    read = {
        (mode, reader)
        for tables in views.values()
        for mode, reader in zip(
            tables.opportunities["mode"], tables.opportunities["reader"], strict=True
        )
    }
    out = Analysis(simulations=simulations_of(len(read) * len(plan.populations)))
    for basis, tables in views.items():
        for mode in plan.modes:
            for reader in readers:
                frame = _of(tables.opportunities, mode.id, reader)
                if frame.empty:
                    continue
                for population in plan.populations:
                    _detection(out, basis, frame, population, plan, mode.id, reader)
                    if population.sized:
                        sizes = _of(tables.measurements, mode.id, reader)
                        _sizing(out, basis, sizes, frame, population, mode.id, reader)
                _false_calls(out, basis, frame, _of(tables.calls, mode.id, reader), mode.id, reader)
    return out


def _of(table: pd.DataFrame, mode: str, reader: str) -> pd.DataFrame:
    return table[(table["mode"] == mode) & (table["reader"] == reader)]


def _detection(
    out: Analysis,
    basis: Basis,
    frame: pd.DataFrame,
    population: Population,
    plan: Plan,
    mode: str,
    reader: str,
) -> None:
    rows = frame[frame["kind"] == population.kind]
    where = Where(out.estimates, basis, population.kind, mode, reader, len(rows))
    n, hits, lost = len(rows), int(rows["hit"].sum()), int((rows["examined"] == 0).sum())
    lower, upper = proportion_bounds(hits, n)
    none = None if n else "no target of this kind in the trial"
    where.add("targets", n, "count")
    where.add("hits", hits, "count")
    where.add("not_examined", lost, "count")
    where.add("not_examined_fraction", lost / n if n else None, "fraction", reason=none)
    where.add("detection_rate", hits / n if n else None, "fraction", reason=none)
    where.add("detection_rate_lower", lower, "fraction", method=EXACT, side="lower", reason=none)
    where.add("detection_rate_upper", upper, "fraction", method=EXACT, side="upper", reason=none)
    if not n:
        return
    fit = out.fit(rows, plan)
    out.fits[(basis, population.kind, mode, reader)] = fit
    missed = rows[(rows["hit"] == 0) & (rows["examined"] == 1)]
    _curve(where, fit, float(missed["size_mm"].max()) if len(missed) else None)
    about = f"{basis}/{population.kind}/{mode}/{reader}"
    lapsed = fit.a90 is not None and bool((missed["size_mm"] >= LAPSE * fit.a90).any())
    out.notices.extend(
        StudyNotice(n.code, n.text, about) for n in fit.notices if n.code != "lapses" or lapsed
    )


def _curve(where: Where, fit: HitMissFit, largest_miss: float | None) -> None:
    """Add the estimates of a POD curve: sizes, bounds, parameters."""
    low, high = fit.tested_range
    model = f"{fit.link} on {fit.scale} size, maximum likelihood"
    none = None if fit.outcome == "fitted" else OUTCOME_WORDS[fit.outcome]

    def inside(value: float | None) -> bool | None:
        return None if value is None else low <= value <= high

    flat = "detection is not shown to rise with size"
    for name, value in (("a50", fit.a50), ("a90", fit.a90)):
        reason = none or (flat if value is None else None)
        where.add(name, value, "mm", method=model, reason=reason, in_range=inside(value))
    for method, bounds in sorted(fit.bounds.items()):
        for name, side in (("a90_95", "upper"), ("a90_lower_95", "lower")):
            told = told_bound(bounds[side], fit.seed)
            where.add(
                name if method == fit.bound else f"{name}_{method}",
                told.value,
                "mm",
                method=f"{told.method}; {model}",
                side=bounds[side].side,
                reason=bounds[side].reason,
                in_range=inside(told.value),
            )
            if bounds[side].error is not None:
                error = f"{name}_simulation_error"
                where.add(error, bounds[side].error, "mm", method="standard error of simulation")
    where.add("smallest_size", low, "mm", method="as built")
    where.add("largest_size", high, "mm", method="as built")
    for name, value in (("largest_miss", largest_miss), ("smallest_hit", fit.smallest_hit)):
        absent = "no target examined was missed" if name == "largest_miss" else "no target was hit"
        reason = absent if value is None else None
        where.add(name, value, "mm", method="as built", reason=reason)
    covariance = fit.covariance
    parameters = {
        "pod_intercept": fit.intercept,
        "pod_slope": fit.slope,
        "pod_intercept_variance": None if covariance is None else covariance[0][0],
        "pod_covariance": None if covariance is None else covariance[0][1],
        "pod_slope_variance": None if covariance is None else covariance[1][1],
        "pod_log_likelihood": fit.log_likelihood,
        "pod_slope_likelihood_ratio": fit.slope_lr,
    }
    for name, value in parameters.items():
        reason = none or "not computed for these data" if value is None else None
        where.add(name, value, "1", method=model, reason=reason)


OUTCOME_WORDS = {
    "separated": "every missed target is smaller than every hit one: no curve can be fitted",
    "quasi_separated": "hits and misses meet at one size only: no curve can be fitted",
    "decreasing": "detection does not rise with size",
    "all_hit": "every target was hit: no curve can be fitted",
    "all_missed": "every target was missed: no curve can be fitted",
    "too_few": "too few targets for a curve",
}


def _false_calls(
    out: Analysis,
    basis: Basis,
    frame: pd.DataFrame,
    calls: pd.DataFrame,
    mode: str,
    reader: str,
) -> None:
    blanks = frame[frame["kind"] == BLANK]
    examined = blanks[blanks["examined"] == 1]
    where = Where(out.estimates, basis, BLANK_UNITS, mode, reader, len(blanks))
    on_blanks = calls[calls["match"] == "false_call_blank"]
    lost = len(blanks) - len(examined)
    where.add("blank_units", len(examined), "count")
    where.add("not_examined", lost, "count")
    none = None if len(blanks) else "no blank unit in the trial"
    share = lost / len(blanks) if len(blanks) else None
    where.add("not_examined_fraction", share, "fraction", reason=none)
    rate = false_call_rate(len(examined), int(examined["hit"].sum()), len(on_blanks))
    where.add("units_called", rate.units_called, "count")
    where.add("false_calls", rate.calls, "count")
    _rate(where, "false_call_rate", rate.rate, rate.upper_95, rate.lower_95, rate.reason)
    units = on_blanks[["specimen", "grading_unit", "cause"]].drop_duplicates()
    for cause, part in units.groupby("cause", sort=True):
        called = min(len(part), len(examined))
        one = false_call_rate(len(examined), called, called)
        name = f"false_call_rate_{str(cause) or 'no_cause_given'}"
        where.add(f"{name}_units", called, "count")
        _rate(where, name, one.rate, one.upper_95, one.lower_95, one.reason)
    other = Where(out.estimates, basis, FLAWED_UNITS, mode, reader, len(frame) - len(blanks))
    other.add("false_calls", int((calls["match"] == "false_call_flawed").sum()), "count")
    other.add("false_calls_outside", int((calls["match"] == "false_call_outside").sum()), "count")


def _rate(
    where: Where,
    name: str,
    rate: float | None,
    upper: float | None,
    lower: float | None,
    reason: str | None,
) -> None:
    where.add(name, rate, "fraction", method="units called / blank units", reason=reason)
    where.add(f"{name}_upper", upper, "fraction", method=EXACT, side="upper", reason=reason)
    where.add(f"{name}_lower", lower, "fraction", method=EXACT, side="lower", reason=reason)


def _sizing(
    out: Analysis,
    basis: Basis,
    sizes: pd.DataFrame,
    frame: pd.DataFrame,
    population: Population,
    mode: str,
    reader: str,
) -> None:
    found = sizing_result(sizes, frame, population)
    out.sizings[(basis, population.kind, mode, reader)] = found
    sized = found.report.error.n
    sizing_estimates(Where(out.estimates, basis, population.kind, mode, reader, sized), found)
    about = f"{basis}/{population.kind}/{mode}/{reader}"
    out.notices.extend(StudyNotice(f"sizing_{n.code}", n.text, about) for n in found.report.notices)

"""The rest of the checks of POD curves as estimates: models one by one, power, no bound, worst.

With `check_estimates` they make every number of chapter 9 a number of `results.json`.
"""

from collections.abc import Iterator, Mapping
from typing import cast

from qualify.criteria.estimate import Basis, Estimate, Side
from qualify.pod.covariates import CovariateResult
from qualify.pod.hit_miss import HitMissFit
from qualify.study.curve_checks import Cell, CurveCheck

NONE = "the data do not support one"
Row = tuple[str, float | int | None, str, Side, str, str | None]
"""Statistic, value, unit, side, method, why there is no value."""


def model_estimates(
    checks: Mapping[Cell, CurveCheck], fits: Mapping[Cell, HitMissFit]
) -> list[Estimate]:
    """Return the numbers of the checks that `check_estimates` leaves out."""
    out = []
    for cell, check in checks.items():
        low, high = fits[cell].tested_range
        for statistic, value, unit, side, method, reason in _rows(check):
            sized = unit == "mm" and not statistic.endswith("_worst")  # a depth is no size
            inside = low <= value <= high if sized and value is not None else None
            out.append(
                Estimate(
                    basis=cast("Basis", cell[0]),
                    statistic=statistic,
                    population=cell[1],
                    mode=cell[2],
                    reader=cell[3],
                    side=side,
                    method=method,
                    value=value,
                    unit=unit,
                    reason=(reason or NONE) if value is None else None,
                    rows=fits[cell].n,
                    in_range=inside,
                )
            )
    return out


def _rows(check: CurveCheck) -> Iterator[Row]:
    yield from _models(check)
    for case, held in check.holds.items():
        method = "share of simulated trials of this design without a bound"
        yield f"holds_{case}_no_bound", held.no_bound, "fraction", "none", method, None
    for power in check.goodness.powers:
        method = f"share of {power.trials} simulated trials in which the test notices {power.words}"
        yield f"curvature_power_{power.fault}", power.curvature, "fraction", "none", method, None
        yield f"squares_power_{power.fault}", power.squares, "fraction", "none", method, None
    lapses = check.lapses
    method = "targets of 1.5 times a90 or more"
    yield "large_from", lapses.from_size, "mm", "none", method, lapses.reason
    further = f"further such targets, all hit, that would show 0.90; {method}"
    yield "large_further", lapses.further, "count", "none", further, lapses.reason
    for found in check.covariates:
        yield from _worst(found)


def _models(check: CurveCheck) -> Iterator[Row]:
    for row in check.models.rows:
        name, method = f"model_{row.link}_{row.scale}", f"{row.name}, maximum likelihood"
        yield f"{name}_aic_above_best", row.aic_above_best, "1", "none", method, row.reason
        yield f"{name}_a90", row.a90, "mm", "none", method, row.reason
        bound = f"{method}, likelihood bound"
        yield f"{name}_a90_95", row.a90_95, "mm", "upper", bound, row.reason
    method = "larger over smaller a90/95 of the plan's link in log size and in size, less 1"
    reason = "one of them has no likelihood bound"
    difference = check.models.scale_difference
    yield "model_scale_difference", difference, "fraction", "none", method, reason


def _worst(found: CovariateResult) -> Iterator[Row]:
    """Yield a90 and its bound at that of the values asked for where the bound is largest."""
    worst = found.worst
    if worst is None or isinstance(worst.value, str):
        return
    name, method = f"covariate_{found.name}_worst", f"curves of one slope, {found.name} beside size"
    unit = "mm" if found.name == "depth" else "deg"
    yield name, float(worst.value), unit, "none", method, None
    yield f"{name}_a90", worst.a90, "mm", "none", method, worst.reason
    bound = f"{method}, likelihood bound"
    yield f"{name}_a90_95", worst.upper, "mm", "upper", bound, worst.reason

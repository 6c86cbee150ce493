"""The checks of POD curves as estimates, so that `results.json` holds every number in print."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from qualify.criteria.estimate import Basis, Estimate, Side
from qualify.pod.hit_miss import HitMissFit
from qualify.pod.holds import Case, Holding
from qualify.pod.problem import BOUND_WORDS
from qualify.study.curve_checks import Cell, CurveCheck

NONE = "the data do not support one"
CASE_WORDS: dict[Case, str] = {
    "fit": "the fitted curve",
    "steeper": "a curve 1.5 times as steep with the same a90",
    "shallower": "a curve 1.5 times as shallow with the same a90",
    "logit": "a logit curve with the same a50 and a90",
    "probit": "a probit curve with the same a50 and a90",
    "cloglog": "a complementary log-log curve with the same a50 and a90",
    "loglog": "a log-log curve with the same a50 and a90",
    "plateau": "the fitted curve levelling off at 0.97",
}


@dataclass(frozen=True, slots=True)
class _Row:
    """One number of a check: name, value, unit, side, method, why there is none."""

    name: str
    value: float | None
    unit: str
    method: str
    side: Side = "none"
    reason: str | None = None


def check_estimates(
    checks: Mapping[Cell, CurveCheck], fits: Mapping[Cell, HitMissFit]
) -> list[Estimate]:
    """Return the numbers of all checks of these curves."""
    out = []
    for cell, check in checks.items():
        for row in _rows(check):
            low, high = fits[cell].tested_range
            out.append(
                Estimate(
                    basis=_basis(cell[0]),
                    statistic=row.name,
                    population=cell[1],
                    mode=cell[2],
                    reader=cell[3],
                    side=row.side,
                    method=row.method,
                    value=row.value,
                    unit=row.unit,
                    reason=(row.reason or NONE) if row.value is None else None,
                    rows=fits[cell].n,
                    in_range=_inside(row, low, high),
                )
            )
    return out


def _inside(row: _Row, low: float, high: float) -> bool | None:
    return low <= row.value <= high if row.unit == "mm" and row.value is not None else None


def _basis(name: str) -> Basis:
    assert name in ("as_found", "after_remedy", "examined_only")
    return name  # type: ignore[return-value]


def _rows(check: CurveCheck) -> Iterator[_Row]:
    yield from _holds(check)
    yield from _models(check)
    for kind, bound in check.beside.items():
        method = f"{kind} bound: {BOUND_WORDS[kind]}"
        yield _Row(f"a90_95_{kind}", bound.value, "mm", method, "upper", bound.reason)
    yield from _plateau(check)
    yield from _fit(check)
    for found in check.covariates:
        tests = {"": found.covariate_test, "_slope": found.interaction_test}
        for ending, test in tests.items():
            method = f"likelihood-ratio test of {found.name} beside size"
            name = f"covariate_{found.name}{ending}_p"
            yield _Row(name, test.p_value, "1", method, reason=test.reason)


def _holds(check: CurveCheck) -> Iterator[_Row]:
    for case, words in CASE_WORDS.items():
        if check.holds and case not in check.holds:
            continue
        held: Holding | None = check.holds.get(case)
        method = f"share of simulated trials of this design whose bound holds, if {words} is true"
        value = None if held is None else held.share
        yield _Row(f"holds_{case}", value, "fraction", method, reason=check.holds_reason)
        error = None if held is None else held.error
        told = "standard error of simulation"
        yield _Row(f"holds_{case}_error", error, "fraction", told, reason=check.holds_reason)


def _models(check: CurveCheck) -> Iterator[_Row]:
    method = "likelihood bound over the models within 2 AIC units of the best"
    for size, spread in (("a90", check.models.a90), ("a90_95", check.models.a90_95)):
        side: Side = "upper" if size == "a90_95" else "none"
        reason = f"{spread.without} of {spread.models} such models have none"
        for end, value in (("smallest", spread.smallest), ("largest", spread.largest)):
            yield _Row(f"{size}_models_{end}", value, "mm", method, side, reason)
    yield _Row("near_equal_models", check.models.a90.models, "count", method)


def _plateau(check: CurveCheck) -> Iterator[_Row]:
    fit, method = check.plateau, "maximum likelihood, curve with a plateau"
    yield _Row("plateau", fit.plateau, "fraction", method, reason=fit.reason)
    lower = fit.plateau_lower_95
    yield _Row("plateau_lower", lower.value, "fraction", method, "lower", lower.reason)
    yield _Row("plateau_a90", fit.a90.value, "mm", method, reason=fit.a90.reason)
    upper = fit.a90_95
    yield _Row("plateau_a90_95", upper.value, "mm", method, "upper", upper.reason)
    test = check.plateau_test
    p, why = (None, fit.reason) if test is None else (test.p_value, test.reason)
    yield _Row("plateau_p", p, "1", "bootstrap test of 'plateau = 1'", reason=why)


def _fit(check: CurveCheck) -> Iterator[_Row]:
    lapses, good = check.lapses, check.goodness
    method = "targets of 1.5 times a90 or more"
    yield _Row("large_targets", lapses.targets, "count", method)
    yield _Row("large_hits", lapses.hits, "count", method)
    exact = "exact binomial, one-sided 95 %"
    yield _Row("large_lower", lapses.lower_bound, "fraction", exact, "lower", lapses.reason)
    how = "bootstrap from the fitted curve"
    yield _Row("curvature_p", good.curvature_p, "1", how, reason=good.reason)
    yield _Row("squares_p", good.squares_p, "1", how, reason=good.reason)

"""Estimates of sizing in a study: which targets count, and that criteria can be held to them."""

import pandas as pd
import pytest

from qualify.criteria.estimate import Estimates
from qualify.criteria.rules import RULES, Criterion
from qualify.criteria.verdict import judge
from qualify.evidence.comparison import EXACT, ITERATED, SIMULATED, tolerance_of
from qualify.sizing.report import sizing_report
from qualify.study.plan import Population
from qualify.study.sizing_estimates import sizing_estimates
from qualify.study.sizing_result import sizing_result
from qualify.study.where import Where
from tests.study.sizes import KIND, error_of, outcome, size_tables, true_of

SLOTS = Population(kind=KIND, size_quantity="extent_mm", size_in_words="extent", sized=True)


def estimated(tables):
    found = sizing_result(tables.measurements, tables.opportunities, SLOTS)
    out = []
    sizing_estimates(Where(out, "as_found", KIND, "linear", "R1", 1), found)
    return found, {item.statistic: item for item in out}


@pytest.fixture(scope="module")
def both():
    return estimated(size_tables())


def test_targets_not_examined_are_neither_missed_nor_counted_in(both):
    """33 slots: 24 sized; 3 each missed, unsized and not examined."""
    found, told = both
    names = ("sized", "unsized", "sizing_missed", "sizing_not_examined", "missed_not_sized")
    assert [told[name].value for name in names] == [24, 3, 3, 3, 6]
    assert told["sizing_missed_as_zero_targets"].value == 3
    assert told["sizing_unsized_as_zero_targets"].value == 6
    lost = {true_of(i) for i in range(33) if outcome(i) == "missed"}
    assert set(found.missed) == lost


def test_estimates_are_those_of_the_report(both):
    found, told = both
    rows = [i for i in range(33) if outcome(i) == "sized"]
    true = [true_of(i) for i in rows]
    report = sizing_report(
        true, [t + error_of(i) for t, i in zip(true, rows, strict=True)], true_u=[0.05] * 24,
        missed=found.missed, unsized=found.unsized,
    )  # fmt: skip
    wanted = {
        "sizing_rmse_low": report.error.rmse_ci[0],
        "sizing_rmse_upper": report.error.rmse_upper,
        "sizing_rmse_lower": report.error.rmse_lower,
        "undersizing_95_95": -report.error.undersizing_bound,
        "undersizing_95_95_lower": -report.error.undersizing_counter,
        "largest_oversizing": report.error.largest_oversizing,
        "sizing_agreement_low": report.agreement.limits[0],
        "sizing_agreement_high_high": report.agreement.high_ci[1],
        "sizing_trend": report.trend.slope,
        "sizing_trend_high": report.trend.slope_ci[1],
        "sizing_spread_p": report.spread.p,
        "sizing_line_slope": report.line.slope,
        "sizing_line_slope_high": report.line.slope_ci[1],
        "sizing_attenuation": report.line.attenuation,
        "sizing_method_sd": report.method.sd,
        "sizing_method_sd_high": report.method.sd_ci[1],
        "sizing_missed_as_zero_rmse": report.cases[0].rmse,
        "sizing_unsized_as_zero_bound": report.cases[1].undersizing_bound,
    }
    for name, value in wanted.items():
        assert told[name].value == pytest.approx(value, rel=1e-9), name
    names = [found.targets[i] for i in found.report.undersized]
    errors = dict(zip(found.targets, (error_of(i) for i in rows), strict=True))
    assert names == sorted(errors, key=errors.get)[:3]


def test_tilts_are_told_apart_as_built():
    """14 and 31 degrees as built stand about 15 and 30; each slot in one of them."""
    found, told = estimated(size_tables())
    assert [part.tilt_deg for part in found.tilts] == [0, 15, 30]
    assert sum(told[f"sizing_tilt_{t}_sized"].value for t in (0, 15, 30)) == 24
    assert sum(told[f"sizing_tilt_{t}_missed"].value for t in (0, 15, 30)) == 3
    alike, _ = estimated(size_tables(tilts=(1.0, 2.0)))
    assert alike.tilts == ()


def test_what_does_not_exist_has_its_reason():
    tables = size_tables(true_u=None)
    told = estimated(tables)[1]
    for name in ("sizing_line_slope", "sizing_method_sd", "sizing_true_u"):
        assert told[name].value is None
        assert "no uncertainty of the true sizes was given" in told[name].reason
    assert "at least 59" in told["sizing_order_lower"].reason
    rows = tables.measurements.assign(reported=pd.Series([float("nan")] * 33))
    none = sizing_result(rows, tables.opportunities, SLOTS)
    assert none.report.error.reason == "no target was sized"
    out = []
    sizing_estimates(Where(out, "as_found", KIND, "linear", "R1", 1), none)
    assert all(e.reason for e in out if e.value is None)
    assert {e.statistic: e.value for e in out}["sized"] == 0


@pytest.mark.parametrize(
    ("statistic", "limit", "unit", "status"),
    [
        ("sized", 24, "count", "met"),
        ("sized", 25, "count", "not met"),
        ("undersizing_95_95", 1.2, "mm", "met"),
        ("undersizing_95_95", 0.7, "mm", "not demonstrated"),
        ("undersizing_95_95", 0.3, "mm", "not met"),
        ("sizing_rmse_upper", 0.6, "mm", "met"),
        ("sizing_rmse_upper", 0.35, "mm", "not demonstrated"),
        ("sizing_rmse_upper", 0.2, "mm", "not met"),
    ],
)
def test_criteria_are_held_against_these_estimates(both, statistic, limit, unit, status):
    criterion = Criterion(
        id="C1", statement="invented", statistic=statistic, population=KIND, mode="linear",
        reader="worst", limit=limit, unit=unit, source="invented", verified=True,
    )  # fmt: skip
    estimates = Estimates(tuple(both[1].values()))
    (verdict,) = judge([criterion], estimates, "as_found", unexamined_limit=1.0, readers=["R1"])
    assert verdict.status == status, verdict.reason
    rule = RULES[statistic]
    for name in (rule.observed, rule.claim_bound, rule.counter_bound):
        assert name is None or name in both[1]


def test_each_statistic_has_its_tolerance():
    assert tolerance_of("sizing_rmse", "mm") == 1e-10
    for name in ("sizing_rmse_upper", "sizing_line_slope_low", "sizing_spread_p"):
        assert tolerance_of(name, "1") == ITERATED
    assert tolerance_of("sizing_spread_seen", "1") == SIMULATED
    assert tolerance_of("sizing_missed_as_zero_targets", "count") == EXACT

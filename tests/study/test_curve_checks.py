"""What stands beside a curve: the same numbers as the methods give, each as an Estimate."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.pod.along import data_of
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.holds import how_often
from qualify.pod.model_choice import model_table
from qualify.pod.plateau import fit_plateau
from qualify.pod.problem import BoundValue
from qualify.reading.tables import MatchedCallRow, MeasurementRow, OpportunityRow, Tables, frame
from qualify.study.check_estimates import check_estimates
from qualify.study.curve_checks import check_curves
from qualify.study.told import step_for, told_bound
from tests.study.small import make_plan

CELL = ("after_remedy", "side_drilled_hole", "linear", "R1")
SIZES = [round(0.3 * 1.045**i, 4) for i in range(60)]
HITS = [int((s > 1.0) != (i % 7 == 0 and 0.6 < s < 1.6)) for i, s in enumerate(SIZES)]
BLANKS = 40


def row(i, **more):
    return OpportunityRow(
        specimen="plate",
        set="blind",
        grading_unit=f"U{i}",
        mode="linear",
        reader="R1",
        signal="measured",
        read_by="person",
        **{"examined": 1, **more},
    )


def tables(hits=HITS, depth=lambda i: 5.0 + i % 20, lost=()):
    holes = [
        row(
            i,
            target=f"H{i}",
            kind="side_drilled_hole",
            size_mm=size,
            hit=hit * (i not in lost),
            examined=int(i not in lost),
            depth_mm=depth(i),
            tilt_deg=0.0,
        )
        for i, (size, hit) in enumerate(zip(SIZES, hits, strict=True))
    ]
    blanks = [row(100 + i, target=None, kind="blank", hit=int(i < 2)) for i in range(BLANKS)]
    return Tables(
        frame([*holes, *blanks], OpportunityRow),
        frame([], MatchedCallRow),
        frame([], MeasurementRow),
    )


def checked(plan, given=None):
    view = tables() if given is None else given
    holes = view.opportunities[view.opportunities["kind"] == "side_drilled_hole"]
    fit = fit_hit_miss(holes["size_mm"], holes["hit"], bound=plan.analysis.bound)
    checks = check_curves({CELL: fit}, view, plan, "after_remedy")
    return fit, checks[CELL], check_estimates(checks, {CELL: fit})


def test_every_number_is_that_of_its_method():
    fit, check, estimates = checked(make_plan())
    told = {e.statistic: e for e in estimates}
    data = data_of(fit)
    psi = (np.log(fit.a90_95) - data.centre) / data.spread
    held = how_often(data, "calibrated", psi=psi, seed=1)
    assert {case: one.share for case, one in held.items()} == {
        case: told[f"holds_{case}"].value for case in held
    }
    assert set(held) == {"fit", "steeper", "shallower", "probit", "cloglog", "loglog", "plateau"}
    models = model_table(SIZES, HITS, primary_link="logit", primary_scale="log")
    assert told["a90_95_models_largest"].value == models.a90_95.largest
    plateau = fit_plateau(SIZES, HITS, floor="none")
    assert told["plateau"].value == plateau.plateau
    assert told["plateau_a90_95"].value == plateau.a90_95.value
    firth = fit_hit_miss(SIZES, HITS, bound="firth")
    assert told["a90_95_firth"].value == firth.a90_95
    assert all((e.value is None) == (e.reason is not None) for e in estimates)
    assert len({e.id for e in estimates}) == len(estimates)
    assert check.holds_reason is None


def test_a_floor_is_taken_from_blanks_only_where_any_call_in_a_unit_is_a_hit():
    """With a box a false call must fall beside the target: the rate per unit says nothing."""
    _, boxed, _ = checked(make_plan())
    assert boxed.plateau.floor_held == 0.0
    unit = make_plan(matching={"rule": "grading_unit", "derivation": "invented"})
    _, loose, _ = checked(unit)
    assert (loose.plateau.blank_units, loose.plateau.blank_called) == (BLANKS, 2)
    assert loose.plateau.floor_held is None


def test_a_covariate_is_looked_at_where_it_varies():
    """Depth takes twenty values here, tilt one."""
    _, check, estimates = checked(make_plan())
    assert [c.name for c in check.covariates] == ["depth"]
    names = {e.statistic for e in estimates}
    assert {"covariate_depth_p", "covariate_depth_slope_p"} <= names
    _, same, _ = checked(make_plan(), tables(depth=lambda _: 20.0))
    assert same.covariates == ()


def test_a_target_not_examined_says_nothing_of_the_shape_of_the_curve():
    """Three of the largest were not examined: counted as missed in a90/95, no plateau, no lapse."""
    lost = (55, 57, 59)
    seen = [i for i in range(60) if i not in lost]
    fit, check, estimates = checked(make_plan(), tables(lost=lost))
    told = {e.statistic: e.value for e in estimates}
    assert fit.n == 60
    assert check.examined == 57
    apart = fit_plateau([SIZES[i] for i in seen], [HITS[i] for i in seen], floor="none")
    assert told["plateau"] == apart.plateau == pytest.approx(1.0, abs=1e-6)
    assert told["large_hits"] == told["large_targets"] > 0
    assert check.covariates[0].n == 57
    counted = fit_plateau(SIZES, [HITS[i] * (i in seen) for i in range(60)], floor="none")
    assert counted.plateau < 0.95  # what it would look like otherwise


def test_without_overlap_the_bound_is_checked_from_the_curve_held_at_it():
    fit, check, estimates = checked(make_plan(), tables(hits=[int(s > 1.0) for s in SIZES]))
    assert fit.outcome == "separated"
    assert fit.a90_95 > fit.smallest_hit
    assert check.holds["fit"].share > 0.9
    told = {e.statistic: e for e in estimates}
    assert told["a90_95_r_star"].value is None
    assert told["a90_95_firth"].value > fit.smallest_hit
    assert told["curvature_p"].value is None


def test_without_a_bound_nothing_can_hold():
    fit, check, estimates = checked(make_plan(), tables(hits=[i % 2 for i in range(60)]))
    assert fit.a90_95 is None
    assert check.holds == {}
    told = {e.statistic: e for e in estimates}
    assert told["holds_fit"].value is None
    assert "not shown to rise" in told["holds_fit"].reason


@pytest.mark.parametrize("bound", ["likelihood", "wald"])
def test_the_bound_of_the_plan_is_the_one_checked(bound):
    plan = make_plan(analysis={"reason": "asked for", "bound": bound})
    fit, check, _ = checked(plan)
    assert fit.bound == bound
    held = how_often(data_of(fit), bound, seed=1)
    assert check.holds["fit"] == held["fit"]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(1e-3, 1e3), st.floats(1e-4, 0.2), st.sampled_from(["upper", "lower"]))
def test_a_simulated_bound_is_told_on_the_safe_side(value, share, side):
    """Rounded outwards by a step of 5 to 12.5 simulation errors, never inwards."""
    error = share * value
    told = told_bound(BoundValue(value, None, "calibrated", side, error, 999), 4)
    step = step_for(error)
    assert 5.0 * error * (1 - 1e-9) <= step <= 12.5 * error * (1 + 1e-9)
    gap = told.value - value if side == "upper" else value - told.value
    assert -1e-9 * value <= gap <= step * (1 + 1e-9)
    assert "999 simulated trials, seed 4" in told.method
    assert f"rounded {'up' if side == 'upper' else 'down'}" in told.method


def test_a_bound_that_was_not_simulated_is_told_as_it_is():
    told = told_bound(BoundValue(1.2345678, None, "likelihood", "upper"), 1)
    assert told.value == 1.2345678
    assert "rounded" not in told.method

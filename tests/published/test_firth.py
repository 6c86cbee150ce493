"""Firth's penalised likelihood against R and against published figures, also under separation.

Data sets and fits made in R stand in `data/firth_r.json` and `data/hit_miss_sets.json`.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize

from qualify.pod.firth import (
    firth_profile_interval,
    firth_size_bound,
    firth_test,
    fit_firth,
)
from qualify.pod.observations import observe

DATA = Path(__file__).parent / "data"
SETS = json.loads((DATA / "hit_miss_sets.json").read_text())
R = json.loads((DATA / "firth_r.json").read_text())
ONE_AXIS = [name for name in R if name.startswith("invented")]
ALL = ["vaso", "endometrial", *ONE_AXIS]


def data(name):
    """Design, intercept first, and hits."""
    if name == "endometrial":
        one = R["endometrial_set"]
        columns, hits = [one["NV"], one["PI"], one["EH"]], one["HG"]
    elif name == "vaso":
        columns = [np.log(SETS["vaso_volume"]["size"]), np.log(SETS["vaso_rate"]["size"])]
        hits = SETS["vaso_rate"]["hits"]
    else:
        columns, hits = [np.log(SETS[name]["size"])], SETS[name]["hits"]
    return np.column_stack([np.ones(len(hits)), *columns]), np.array(hits, dtype=float)


def seen(name, unit=1.0, scale="log"):
    return observe(unit * np.array(SETS[name]["size"]), SETS[name]["hits"], None, scale)


@pytest.mark.parametrize("name", ALL)
def test_fits_agree_with_r(name):
    """Measured: penalised likelihood 3e-15, coefficients 7e-12, covariances 2e-11 at most."""
    fit, known = fit_firth(*data(name)), R[name]
    np.testing.assert_allclose(fit.coef, known["coef"], rtol=1e-10)
    np.testing.assert_allclose(fit.covariance, known["vcov"], rtol=1e-9)
    assert fit.penalised_log_likelihood == pytest.approx(known["penalised_loglik"], rel=1e-10)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-10)
    assert fit.score < 1e-12


@pytest.mark.parametrize("name", ALL)
def test_profile_intervals_and_tests_agree_with_r(name):
    """Intervals to 1e-8 (measured 3e-10: R's root finder), statistics through p to 1e-10."""
    design, hits = data(name)
    for index, (ends, p_value) in enumerate(
        zip(R[name]["profile_ci95"], R[name]["plr_pvalues"], strict=True)
    ):
        found = firth_profile_interval(design, hits, 1, index)
        assert found.reason is None
        np.testing.assert_allclose((found.lower, found.upper), ends, rtol=1e-8)
        assert firth_test(design, hits, 1, index).p_value == pytest.approx(p_value, rel=1e-10)


@pytest.mark.parametrize("name", [n for n in ONE_AXIS if n != "invented_flat"])
def test_size_bound_agrees_with_r(name):
    """log a90 and its one-sided 95 % bound, separated sets included; measured 1e-11 at most."""
    found, known = firth_size_bound(seen(name)), R[name]["log_size"]
    assert found.reason is None
    assert np.log(found.estimate) == pytest.approx(known["theta90"], rel=1e-10)
    assert found.slope_lr == pytest.approx(known["plr_slope"], rel=1e-10)
    assert found.value == pytest.approx(np.exp(known["theta90_upper95_plr"]), rel=1e-9)


@pytest.mark.parametrize("side", ["upper", "lower"])
def test_no_bound_where_pod_is_not_shown_to_rise(side):
    """R: penalised slope statistic 0.0059, far below 2.706; its bound does not close."""
    found, known = firth_size_bound(seen("invented_flat"), side=side), R["invented_flat"]
    assert known["log_size"]["theta90_upper95_plr"] is None
    assert found.slope_lr == pytest.approx(known["log_size"]["plr_slope"], rel=1e-9)
    assert (found.value, found.estimate) == (None, None)
    assert "not shown to rise" in found.reason


def test_endometrial_figures_as_published():
    """Heinze and Schemper 2002, table of the example (from memory), to the digits printed."""
    design, hits = data("endometrial")
    printed = {1: (2.93, 0.61, 7.85), 2: (-0.03, -0.12, 0.04), 3: (-2.60, -4.37, -1.23)}
    coef = fit_firth(design, hits).coef
    for index, (estimate, lower, upper) in printed.items():
        ends = firth_profile_interval(design, hits, 1, index)
        assert (coef[index], ends.lower, ends.upper) == pytest.approx(
            (estimate, lower, upper), abs=0.0051
        )


@pytest.mark.parametrize("name", ["invented_separated", "invented_n60"])
@pytest.mark.parametrize("side", ["upper", "lower"])
def test_at_the_bound_a_separate_profile_has_dropped_by_z_squared(name, side):
    """Textbook penalised likelihood by scipy's scalar minimiser, apart from our iteration."""
    design, hits = data(name)
    x, level = design[:, 1], np.log(9.0)

    def height(intercept, slope):
        eta = intercept + slope * x
        weight = 1.0 / ((1.0 + np.exp(eta)) * (1.0 + np.exp(-eta)))
        plain = (hits * eta - np.log1p(np.exp(eta))).sum()
        return plain + 0.5 * np.log(weight.sum() * (weight * x * x).sum() - (weight @ x) ** 2)

    psi = np.log(firth_size_bound(seen(name), side=side).value)
    best = optimize.minimize(
        lambda v: -height(*v), [0.0, 1.0], method="Nelder-Mead", options={"xatol": 1e-9}
    )
    held = optimize.minimize_scalar(
        lambda slope: -height(level - slope * psi, slope), bounds=(0.01, 40.0), method="bounded"
    )
    # 2.705543...: square of the normal quantile of 0.95 in any table
    assert 2.0 * (held.fun - best.fun) == pytest.approx(2.7055434540954, abs=1e-6)


def test_other_units_give_the_same_bound():
    for scale in ("log", "linear"):
        here = firth_size_bound(seen("invented_separated", scale=scale))
        there = firth_size_bound(seen("invented_separated", unit=1e3, scale=scale))
        assert there.value == pytest.approx(1e3 * here.value, rel=1e-10)


@pytest.mark.parametrize("hits", [[1] * 8, [0] * 8])
def test_all_hit_or_all_missed_gives_finite_figures_and_no_bound(hits):
    sizes = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0])
    design = np.column_stack([np.ones(8), np.log(sizes)])
    fit = fit_firth(design, hits)
    assert np.isfinite([*fit.coef, fit.penalised_log_likelihood]).all()
    found = firth_size_bound(observe(sizes, hits, None, "log"))
    assert found.value is None
    assert found.reason


def test_ties_rows_and_trials_tell_the_same():
    """Eight rows at four sizes, or four rows of two trials; a missing slope has a reason."""
    sizes, hits = np.repeat([1.0, 2.0, 3.0, 4.0], 2), [0, 0, 0, 1, 1, 0, 1, 1]
    rows = np.column_stack([np.ones(8), sizes])
    single, grouped = fit_firth(rows, hits), fit_firth(rows[::2], [0, 1, 1, 2], 2)
    np.testing.assert_allclose(single.coef, grouped.coef, rtol=1e-12)
    np.testing.assert_allclose(single.covariance, grouped.covariance, rtol=1e-12)
    found = firth_size_bound(observe([2.0] * 6, [0, 1, 1, 1, 0, 1], None, "log"))
    assert found.value is None
    assert "two distinct sizes" in found.reason


def test_faults_are_refused_in_words():
    design, hits = data("invented_n60")
    with pytest.raises(ValueError, match="not independent"):
        fit_firth(np.column_stack([design, design[:, 1]]), hits)
    with pytest.raises(ValueError, match="between 0 and 1"):
        firth_profile_interval(design, hits, 1, 1, confidence=95)
    with pytest.raises(ValueError, match=r"between 0\.5 and 1"):
        firth_size_bound(seen("invented_n60"), confidence=0.05)
    with pytest.raises(ValueError, match="ends excluded"):
        firth_size_bound(seen("invented_n60"), pod=1.0)

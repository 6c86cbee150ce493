"""Hit/miss fits against R and against 50-digit arithmetic: four links on two size scales.

Sources of the data sets stand in `data/hit_miss_sets.json`, how R was used in
`data/hit_miss_r.json`, how the 50-digit bounds were made in `polish_bounds.py`.
"""

import json
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, special

from qualify.pod.along import pod_lower_bound_at
from qualify.pod.engine import fit_curves
from qualify.pod.hit_miss import fit_hit_miss

DATA = Path(__file__).parent / "data"
SETS = json.loads((DATA / "hit_miss_sets.json").read_text())
R = json.loads((DATA / "hit_miss_r.json").read_text())
FIFTY_DIGITS = json.loads((DATA / "likelihood_bounds_50_digits.json").read_text())
SCALES = {"x": "linear", "logx": "log"}
CASES = [(name, key) for name in R if name.startswith(("b", "m", "v")) for key in R[name]]
CASES += [(name, key) for name in ("invented_n60", "invented_n120") for key in R[name]]
FLAT = [("invented_flat", key) for key in R["invented_flat"]]
TIGHT = {"rtol": 1e-10, "atol": 0.0}  # R's figures agree to about 1e-14; 1e-10 leaves room


def fitted(name, key, bound="likelihood", **more):
    scale, link = key.split(".")
    one = SETS[name]
    return fit_hit_miss(
        one["size"], one["hits"], one["trials"], link=link, scale=SCALES[scale], bound=bound, **more
    )


@pytest.mark.parametrize(("name", "key"), CASES + FLAT)
def test_coefficients_covariance_and_likelihood_agree_with_r(name, key):
    fit, known = fitted(name, key), R[name][key]
    assert fit.outcome == "fitted"
    np.testing.assert_allclose((fit.intercept, fit.slope), known["coef"], **TIGHT)
    np.testing.assert_allclose(fit.covariance, known["vcov_expected"], **TIGHT)
    np.testing.assert_allclose(fit.log_likelihood, known["loglik"], **TIGHT)
    np.testing.assert_allclose(fit.deviance, known["deviance"], **TIGHT)
    np.testing.assert_allclose(fit.aic, known["aic"], **TIGHT)
    np.testing.assert_allclose(fit.slope_lr, known["lr_slope"], **TIGHT)


@pytest.mark.parametrize(("name", "key"), CASES)
def test_sizes_and_wald_bound_agree_with_r(name, key):
    fit, known = fitted(name, key), R[name][key]
    np.testing.assert_allclose((fit.a50, fit.a90), (known["ed50"], known["ed90"]), **TIGHT)
    wald = fit.bounds["wald"]["upper"].value
    np.testing.assert_allclose(wald, known["ed90_upper95_wald_expected"], **TIGHT)


@pytest.mark.parametrize(("name", "key"), CASES)
def test_likelihood_bound_agrees_with_r_and_with_50_digits(name, key):
    """R to 1e-8: its root finder stops near 1e-11 or sooner. 50 digits: to 1e-12."""
    bound = fitted(name, key).a90_95
    assert bound == pytest.approx(R[name][key]["ed90_upper95_lr"], rel=1e-8)
    assert bound == pytest.approx(FIFTY_DIGITS[name][key], rel=1e-12)


@pytest.mark.parametrize(("name", "key"), CASES)
def test_observed_information_agrees_with_r_and_the_score_vanishes(name, key):
    """Observed and expected information differ for all links but the logit."""
    scale, link = key.split(".")
    one = SETS[name]
    x = np.log(one["size"]) if scale == "logx" else np.array(one["size"])
    trials = np.array(one["trials"] or np.ones(len(x)), dtype=float)
    fit = fit_curves(x, np.array(one["hits"]), trials, link)
    observed = fitted(name, key).covariance_observed
    np.testing.assert_allclose(observed, R[name][key]["vcov_observed"], **TIGHT)
    assert fit.converged.all()
    assert np.abs(fit.score).max() < 1e-11 * trials.sum()


@pytest.mark.parametrize("key", list(R["invented_flat"]))
def test_no_likelihood_bound_where_pod_is_not_shown_to_rise(key):
    """R finds no crossing either; slope statistic 0.006 to 0.04, below 2.706."""
    fit = fitted("invented_flat", key)
    assert fit.a90_95 is None
    assert fit.a90_lower_95 is None
    assert R["invented_flat"][key]["ed90_upper95_lr"] is None
    assert "not shown to rise" in fit.bounds["likelihood"]["upper"].reason
    assert {"slope_not_shown", "no_upper_bound"} <= {notice.code for notice in fit.notices}


def test_beetles_reproduce_the_published_figures():
    """Dobson's Generalized Linear Models on Bliss 1935 (from memory), to the digits printed."""
    assert fitted("beetles", "x.cloglog").deviance == pytest.approx(3.4464, abs=5e-5)
    logit = fitted("beetles", "x.logit")
    assert logit.intercept == pytest.approx(-60.717, abs=5e-4)
    assert logit.slope == pytest.approx(34.270, abs=5e-4)
    assert logit.deviance == pytest.approx(11.232, abs=5e-4)


@pytest.mark.parametrize(("name", "key"), [("invented_n60", "logx.logit"), ("beetles", "x.probit")])
@pytest.mark.parametrize("side", ["upper", "lower"])
def test_at_the_bound_a_separate_profile_has_dropped_by_z_squared(name, key, side):
    """Profile by scipy's scalar minimiser on the textbook likelihood, apart from our engine."""
    scale, link = key.split(".")
    one, fit = SETS[name], fitted(name, key)
    axis = np.log if scale == "logx" else np.asarray
    x, hits = axis(np.array(one["size"])), np.array(one["hits"])
    trials = np.array(one["trials"] or np.ones(len(x)))
    curve = special.expit if link == "logit" else special.ndtr
    level = np.log(9) if link == "logit" else special.ndtri(0.9)
    psi = float(axis(fit.bounds["likelihood"][side].value))

    def loss(slope):
        eta = level + slope * (x - psi)
        return -(hits * np.log(curve(eta)) + (trials - hits) * np.log(curve(-eta))).sum()

    low, high = fit.slope / 4, fit.slope * 4
    held = optimize.minimize_scalar(loss, bounds=(low, high), options={"xatol": 1e-9})
    full = fit.intercept + fit.slope * x
    best = (hits * np.log(curve(full)) + (trials - hits) * np.log(curve(-full))).sum()
    # 2.705543...: square of the normal quantile of 0.95 in any table
    assert 2 * (best + held.fun) == pytest.approx(2.7055434540954, abs=1e-8)


def test_pod_bound_and_size_bound_are_one_and_the_same_statement():
    """POD is above 0.90 at a90/95 with just 95 % confidence."""
    fit = fitted("invented_n120", "logx.cloglog")
    assert pod_lower_bound_at(fit, [fit.a90_95], method="likelihood")[0] == pytest.approx(
        0.9, abs=1e-10
    )


@pytest.mark.parametrize(("name", "key"), [("menarche", "x.logit"), ("vaso_rate", "logx.probit")])
def test_statsmodels_agrees_as_a_second_look(name, key):
    """GLM of statsmodels, iterated far; Fisher covariance."""
    scale, link = key.split(".")
    one, fit = SETS[name], fitted(name, key)
    x = np.log(one["size"]) if scale == "logx" else np.array(one["size"])
    hits = np.array(one["hits"])
    trials = np.array(one["trials"] or np.ones(len(x)))
    links = {"logit": sm.families.links.Logit(), "probit": sm.families.links.Probit()}
    family = sm.families.Binomial(link=links[link])
    other = sm.GLM(np.column_stack([hits, trials - hits]), sm.add_constant(x), family=family)
    result = other.fit(tol=1e-14, tol_criterion="params", maxiter=200)
    np.testing.assert_allclose((fit.intercept, fit.slope), result.params, rtol=1e-9)
    np.testing.assert_allclose(fit.covariance, result.cov_params(), rtol=1e-8)


def test_a_set_with_lapses_says_that_its_a90_is_doubtful():
    """R: two-parameter a90 3.79 where the curve with a plateau gives 2.60."""
    fit = fitted("invented_lapses_n400", "logx.logit")
    known = R["invented_lapses_n400"]["two_parameter_logit_log"]
    assert fit.a90 == pytest.approx(known["ed90"], rel=1e-7)  # R by optim, not polished
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-10)
    far = np.array(SETS["invented_lapses_n400"]["size"]) >= 1.5 * fit.a90
    missed = int((1 - np.array(SETS["invented_lapses_n400"]["hits"]))[far].sum())
    (text,) = [notice.text for notice in fit.notices if notice.code == "lapses"]
    assert missed > 0
    assert text.startswith(f"{missed} of {far.sum()} targets")

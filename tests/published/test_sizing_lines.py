"""Lines, limits and tests of sizing errors against published values, R and statsmodels."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.special import stdtrit
from statsmodels.stats.diagnostic import het_breuschpagan

from qualify.sizing.agreement import limits_of_agreement
from qualify.sizing.error import sizing_error
from qualify.sizing.normality import normality
from qualify.sizing.order_tolerance import fewest
from qualify.sizing.spread import spread_trend
from qualify.sizing.trend import error_trend
from qualify.sizing.york import york_line

DATA = Path(__file__).parent / "data"
R = json.loads((DATA / "sizing_lines_r.json").read_text())
SIZES = json.loads((DATA / "sizing_r.json").read_text())
TRUE, REPORTED = (np.array(SIZES["invented_n40"][name]) for name in ("true", "reported"))
NINE = {"rel": 1e-9}


def same_line(found, known):
    names = {
        "slope": "slope", "intercept": "intercept", "slope_se": "se_slope",
        "intercept_se": "se_intercept", "chi2": "chi2", "reduced_chi2": "reduced_chi2",
    }  # fmt: skip
    for ours, theirs in names.items():
        assert getattr(found, ours) == pytest.approx(known[theirs], **NINE), ours


def test_pearsons_data_with_yorks_weights():
    """York 1966, 2004: slope -0.4805, intercept 5.4799; digits beyond from R."""
    known = R["pearson_york"]
    ux, uy = (np.array(known[f"weight_{axis}"]) ** -0.5 for axis in "xy")
    found = york_line(known["x"], known["y"], ux, uy)
    assert (round(found.slope, 4), round(found.intercept, 4)) == (-0.4805, 5.4799)
    same_line(found, known)


def test_forty_invented_notches_with_uncertainty_in_both_sizes():
    known = R["invented_n40"]
    u, v = np.full(40, known["true_u"]), np.full(40, known["reported_u"])
    found = york_line(TRUE, REPORTED, u, v)
    same_line(found, known["york"])
    assert found.plain_slope == pytest.approx(known["ols"]["coef"][1], **NINE)
    assert found.plain_intercept == pytest.approx(known["ols"]["coef"][0], **NINE)


def test_trend_of_the_error_and_its_law_agree_with_r():
    """R's lm of reported on true size: its slope less 1, the same standard error."""
    known = R["invented_n40"]
    found = error_trend(TRUE, REPORTED - TRUE)
    assert found.slope + 1.0 == pytest.approx(known["ols"]["coef"][1], **NINE)
    assert found.intercept == pytest.approx(known["ols"]["coef"][0], **NINE)
    assert found.se**2 == pytest.approx(known["ols"]["vcov"][1][1], **NINE)
    assert found.residual_sd == pytest.approx(known["ols"]["sigma"], **NINE)
    law = normality(REPORTED - TRUE)
    assert law.w == pytest.approx(known["shapiro_w"], **NINE)
    assert law.p == pytest.approx(known["shapiro_p"], rel=1e-7)  # both from a series in W


def test_limits_of_agreement_of_bland_and_altman_1986():
    """Limits agree with R; published: SE of a limit 16.3 l/min, limits of 2 SD.

    Published intervals, from memory -114.3 to -45.1 and 40.9 to 110.1: limit -+ t SE. The exact
    ones are further out, by up to 12 l/min for 17 pairs.
    """
    known, limits = SIZES["bland_altman"], R["bland_altman_limits"]
    error = sizing_error(known["mini"], known["large"])
    found = limits_of_agreement(error.n, error.bias, error.sd)
    assert found.limits == pytest.approx(limits["loa"], **NINE)
    assert round(found.approximate_se, 1) == 16.3
    reach = stdtrit(16, 0.975) * found.approximate_se
    low, high = limits["loa_2sd"]
    assert (low - reach, low + reach) == pytest.approx((-114.3, -45.1), abs=0.2)
    assert (high - reach, high + reach) == pytest.approx((40.9, 110.1), abs=0.2)
    low, high = limits["loa"]
    assert -12.0 < found.low_ci[0] - (low - reach) < 0.0
    assert 0.0 < found.high_ci[1] - (high + reach) < 12.0


@pytest.mark.parametrize(
    ("share", "sides", "needed"), [(0.95, 1, 59), (0.95, 2, 93), (0.90, 1, 29), (0.90, 2, 46)]
)
def test_values_needed_for_a_limit_without_a_law(share, sides, needed):
    """Wilks 1941, widely published: 59 and 93 for 95/95, 29 and 46 for 90/95."""
    assert fewest(sides, share=share, confidence=0.95) == needed


def test_trend_of_the_scatter_agrees_with_statsmodels():
    """Score test of Breusch and Pagan 1979 in statsmodels, residuals and log size given."""
    line = error_trend(TRUE, REPORTED - TRUE)
    residual = REPORTED - TRUE - line.intercept - line.slope * TRUE
    exog = np.column_stack([np.ones(40), np.log(TRUE)])
    statistic, p, *_ = het_breuschpagan(residual, exog, robust=False)
    found = spread_trend(TRUE, REPORTED - TRUE)
    assert found.statistic == pytest.approx(statistic, **NINE)
    assert found.p == pytest.approx(p, **NINE)

"""What is told beside a sizing error, and what is not told where the data do not support it."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from qualify.sizing.extremes import extremes
from qualify.sizing.metrology import method_scatter
from qualify.sizing.order_tolerance import left_out, order_tolerance
from qualify.sizing.report import sizing_report
from qualify.sizing.rmse import rmse_bound, rmse_probability
from qualify.sizing.spread import spread_trend
from qualify.sizing.york import york_line

TRUE = np.linspace(1.0, 9.0, 25)
WAVES = np.sin(7.0 * np.arange(25.0))


def codes(report):
    return {notice.code for notice in report.notices}


def test_a_line_without_uncertainty_of_true_sizes_is_ordinary_least_squares():
    """scipy's linregress: slope, intercept and their standard errors, scatter from the data."""
    reported = 0.3 + 0.9 * TRUE + 0.2 * WAVES
    known = stats.linregress(TRUE, reported)
    found = york_line(TRUE, reported, np.zeros(25), None)
    assert found.slope == pytest.approx(known.slope, rel=1e-9)
    assert found.intercept == pytest.approx(known.intercept, rel=1e-9)
    assert found.slope_se == pytest.approx(known.stderr, rel=1e-9)
    assert found.intercept_se == pytest.approx(known.intercept_stderr, rel=1e-9)
    assert found.attenuation == 1.0


def test_a_line_is_turned_about_when_its_sizes_are():
    """York's line of x on y is the inverse of that of y on x; ordinary least squares is not."""
    reported = 0.3 + 0.9 * TRUE + 0.2 * WAVES
    one = york_line(TRUE, reported, np.full(25, 0.2), np.full(25, 0.1))
    other = york_line(reported, TRUE, np.full(25, 0.1), np.full(25, 0.2))
    assert other.slope == pytest.approx(1.0 / one.slope, rel=1e-9)
    assert other.chi2 == pytest.approx(one.chi2, rel=1e-9)


def test_york_is_the_least_sum_of_squares_over_both_uncertainties():
    """Minimised by a general optimiser over slope, intercept and every adjusted size."""
    true, reported = TRUE[:8], (0.3 + 0.9 * TRUE + 0.2 * WAVES)[:8]
    ux, uy = np.linspace(0.1, 0.3, 8), np.linspace(0.4, 0.1, 8)

    def gaps(at):
        return np.concatenate([(true - at[2:]) / ux, (reported - at[0] - at[1] * at[2:]) / uy])

    least = optimize.least_squares(gaps, np.concatenate([[0.0, 1.0], true]), xtol=1e-15, ftol=1e-15)
    found = york_line(true, reported, ux, uy)
    assert found.slope == pytest.approx(least.x[1], rel=1e-6)
    assert found.chi2 == pytest.approx(2.0 * least.cost, rel=1e-9)


@pytest.mark.parametrize(
    ("sizes", "u", "reason"),
    [
        (([1, 2], [1, 2]), ([0.1, 0.1], [0.1, 0.1]), "at least 3"),
        (([2, 2, 2], [1, 2, 3]), ([0.1] * 3, [0.1] * 3), "no line"),
        (([1, 2, 3], [1, 2, 4]), ([0.0] * 3, [0.0] * 3), "both exact"),
        (([1, 2, 3], [1.5, 2.5, 3.5]), ([0.1] * 3, None), "no scatter"),
    ],
)  # fmt: skip
def test_where_there_is_no_line_it_says_why(sizes, u, reason):
    found = york_line(*sizes, *u)
    assert (found.slope, found.intercept, found.slope_ci) == (None, None, None)
    assert reason in found.reason


def test_negative_uncertainty_is_refused():
    with pytest.raises(ValueError, match="negative"):
        york_line([1, 2, 3], [1, 2, 4], [0.1, -0.1, 0.1], None)


def test_rmse_bound_without_bias_is_that_of_a_sum_of_squares():
    """Closed form: RMSE sqrt(n / chi-square quantile) where the mean is 0, any n."""
    for n in (4, 12, 40):
        known = 0.7 * np.sqrt(n / stats.chi2.ppf(0.05, n))
        assert rmse_bound(n, 0.0, 0.7, 0.05) == pytest.approx(known, rel=1e-9)
    assert rmse_bound(12, 0.5, 0.7, 0.05) < rmse_bound(12, 0.0, 0.7, 0.05)


def test_rmse_probability_is_that_of_the_most_likely_law_of_its_rmse():
    """The mean is found by a grid over the normal likelihood; ncx2 in scipy does the rest."""
    n, bias, rmse, true = 15, 0.4, 0.6, 0.8
    means = np.linspace(0.0, 0.7999, 400_001)
    variance = true**2 - means**2
    log_likelihood = -np.log(variance) - (rmse**2 - bias**2 + (bias - means) ** 2) / variance
    mean = means[log_likelihood.argmax()]
    sigma2 = true**2 - mean**2
    known = stats.ncx2.cdf(n * rmse**2 / sigma2, n, n * mean**2 / sigma2)
    assert rmse_probability(n, bias, rmse, true) == pytest.approx(known, rel=1e-4)
    assert rmse_probability(n, -bias, rmse, true) == rmse_probability(n, bias, rmse, true)


def test_method_sd_takes_the_uncertainty_of_true_sizes_off():
    found = method_scatter(0.5, (0.4, 0.7), np.array([0.3, 0.3]))
    assert (found.sd, found.true_u) == pytest.approx((0.4, 0.3))
    assert found.sd_ci == pytest.approx((np.sqrt(0.07), np.sqrt(0.4)))
    low = method_scatter(0.25, (0.2, 0.35), np.array([0.3, 0.3]))
    assert low.sd is None
    assert low.sd_ci == pytest.approx((0.0, np.sqrt(0.35**2 - 0.09)))
    assert "stated too large" in low.reason


def test_limits_without_a_law_are_the_ordered_errors():
    """59 values: the smallest. 93: the second smallest, or both extremes; binomial beyond."""
    errors = np.arange(93.0)[::-1] - 40.0
    found = order_tolerance(errors)
    assert (found.lower, found.interval) == (-39.0, (-40.0, 52.0))
    few = order_tolerance(errors[:58])
    assert (few.lower, few.interval) == (None, None)
    assert "at least 59 sized targets" in few.lower_reason
    assert "at least 93" in few.interval_reason
    assert order_tolerance(errors[:59]).lower == errors[:59].min()
    for n in (59, 100, 500):
        r = left_out(n, 0.95, 0.95)
        assert stats.binom.sf(r - 1, n, 0.05) >= 0.95 > stats.binom.sf(r, n, 0.05)


def test_power_of_the_scatter_is_found():
    """Errors of alternating sign that grow as size to the 0.8: SD grows so."""
    error = 0.1 * TRUE**0.8 * np.where(np.arange(25) % 2, 1.0, -1.0)
    found = spread_trend(TRUE, error)
    assert found.power == pytest.approx(0.8, abs=0.05)
    assert found.ratio == pytest.approx(9.0**found.power)
    few = spread_trend(TRUE[::8], error[::8])
    assert few.p is None
    assert "at least 5" in few.reason


def test_worst_cases_are_in_order_and_only_on_their_own_side():
    under, over = extremes(np.array([0.1, -0.5, 0.0, -0.9, 0.3, -0.2, -0.1]))
    assert (under, over) == ((3, 1, 5), (4, 0))


def test_missed_targets_count_as_size_zero_and_as_the_smallest_reported():
    report = sizing_report([2.0, 3.0], [2.5, 3.5], missed=[1.0], unsized=[2.0], smallest=0.8)
    cases = {case.case: case for case in report.cases}
    assert cases["missed_as_zero"].bias == pytest.approx((0.5 + 0.5 - 1.0) / 3)
    assert cases["missed_as_zero"].rmse == pytest.approx(np.sqrt((0.25 + 0.25 + 1.0) / 3))
    assert cases["unsized_as_zero"].bias == pytest.approx((0.5 + 0.5 - 1.0 - 2.0) / 4)
    assert cases["as_smallest"].bias == pytest.approx((0.5 + 0.5 - 0.2 - 1.2) / 4)
    assert cases["as_smallest"].largest_undersizing == pytest.approx(-1.2)
    assert sizing_report([2.0, 3.0], [2.5, 3.5]).cases == ()
    assert "without_size" in codes(report)


def test_regression_to_the_mean_is_told_only_with_evidence():
    flat = sizing_report(
        TRUE, 1.5 + 0.7 * TRUE + 0.1 * WAVES, true_u=np.full(25, 0.05), reported_u=np.full(25, 0.1)
    )
    (words,) = [n.text for n in flat.notices if n.code == "regression_to_mean"]
    assert "Small ones come out too large and large ones too small" in words
    assert flat.line.slope_ci[1] < 1.0
    low = sizing_report(TRUE, 0.7 * TRUE + 0.05 * WAVES)
    (words,) = [n.text for n in low.notices if n.code == "regression_to_mean"]
    assert "Large ones come out smaller, by comparison" in words
    fit = sm.OLS(-0.3 * TRUE + 0.05 * WAVES, sm.add_constant(TRUE)).fit()
    for size in (TRUE.min(), TRUE.max()):  # the interval of the line, against statsmodels
        ends = fit.get_prediction([[1.0, size]]).conf_int()[0]
        assert f"({ends[0]:+.3g} to {ends[1]:+.3g})" in words
    straight = sizing_report(TRUE, 0.1 + TRUE + 0.3 * WAVES, true_u=np.full(25, 0.05))
    assert straight.line.slope_ci[0] < 1.0 < straight.line.slope_ci[1]
    assert not codes(straight) & {"regression_to_mean", "grows_with_size"}
    steep = sizing_report(TRUE, 1.2 * TRUE + 0.1 * WAVES)
    assert steep.line.reason == "no uncertainty of the true sizes was given"
    assert "grows_with_size" in codes(steep)


def test_partly_stated_uncertainties_count_as_not_given():
    u = np.full(25, 0.05)
    u[3] = np.nan
    found = sizing_report(TRUE, TRUE + 0.1 * WAVES, true_u=u)
    assert found.method is None
    assert (
        found.line.reason == found.method_reason == "1 of 25 true sizes have no stated uncertainty"
    )


def test_stated_uncertainties_are_held_against_the_scatter():
    reported = TRUE + 0.3 * WAVES
    for u, code in ((0.05, "uncertainty_too_small"), (2.0, "uncertainty_too_large")):
        told = codes(sizing_report(TRUE, reported, true_u=[0.01] * 25, reported_u=[u] * 25))
        assert code in told
    assert "method_sd_negative" in codes(sizing_report(TRUE, reported, true_u=[0.5] * 25))


def test_errors_that_are_not_normal_are_told():
    error = np.where(np.arange(25) % 5 == 0, 2.0, 0.1 * WAVES)
    assert "not_normal" in codes(sizing_report(TRUE, TRUE + error))


@pytest.mark.parametrize("n", [0, 1, 2, 3, 4])
def test_few_or_no_sizes_give_reasons_and_no_number(n):
    found = sizing_report(TRUE[:n], TRUE[:n] + 0.1 * WAVES[:n], true_u=[0.01] * n, unsized=[1.0])
    assert found.error.n == n
    assert found.spread.p is None
    assert found.spread.reason
    if n < 3:
        assert found.line.slope is None
        assert found.trend.reason
        assert found.line.reason
    if n < 2:
        assert found.error.rmse_ci is None
        assert found.agreement.reason

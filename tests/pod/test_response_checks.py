"""Checks of a line through responses: their error on sound data, and planted faults found."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import optimize, special, stats
from statsmodels.duration.survfunc import SurvfuncRight

from qualify.pod.response_agreement import agreement, hits_of
from qualify.pod.response_checks import (
    axis_choices,
    check_response,
    influence,
    linearity,
    spread_check,
)
from qualify.pod.response_curve import fit_curve
from qualify.pod.response_rate import OUT_OF_REACH, at_threshold, line_draws
from qualify.pod.response_tail import residuals_of, scatter_of, self_consistent
from qualify.pod.responses import observe_responses
from qualify.pod.signal_response import fit_response

SETS, ROWS = 150, 40
CENSORING = {"none": (None, None), "two_sided": (4.5, 30.0)}


def made(seed, rows=ROWS, bend=0.0, growth=0.0, law=None, limits=(None, None)):
    """Invented responses about 5 a^1.1; faults in standard deviations, from end to middle."""
    rng = np.random.default_rng([20261127, seed])
    u = np.linspace(-1.0, 1.0, rows)
    e = rng.standard_normal(rows) if law is None else law(rng, rows)
    y = 1.1 * np.log(4.0) * u + 0.35 * (bend * u * u + np.exp(growth * u) * e)
    return observe_responses(2.0 * 4.0**u, 10.7 * np.exp(y), threshold=9.0, floor=limits[0],
                             ceiling=limits[1])  # fmt: skip


def line_of(seed, **more):
    return fit_curve(made(seed, **more))


def fit_of(seed, **more):
    data = made(seed, **more)
    (floor, ceiling) = more.get("limits", (None, None))
    return fit_response(data.size, data.response, threshold=9.0, floor=floor, ceiling=ceiling,
                        bound="wald")  # fmt: skip


ANY = fit_of(0)


def spread_of(curve):
    """Check of the spread; of a fit it takes the line alone."""
    return spread_check(replace(ANY, data=curve.data, curve=curve))


def lower_tail(rng, rows):
    """One in eight lies four standard deviations lower: poor coupling, say."""
    return rng.standard_normal(rows) - 4.0 * (rng.random(rows) < 0.125)


@cache
def sound(censoring):
    return [line_of(seed, limits=CENSORING[censoring]) for seed in range(SETS)]


def share_below(p_values, level=0.05):
    return np.mean(np.array(p_values) < level)


@pytest.mark.parametrize("censoring", list(CENSORING))
def test_sound_data_fail_linearity_and_spread_about_once_in_twenty(censoring):
    """150 sets of 40: .05 +- .018; likelihood ratios of so few reject a little oftener (.065)."""
    curves = sound(censoring)
    assert 0.01 <= share_below([linearity(curve).p_value for curve in curves]) <= 0.11
    assert 0.01 <= share_below([spread_of(curve).p_value for curve in curves]) <= 0.11


@pytest.mark.parametrize("censoring", list(CENSORING))
def test_a_bend_is_found_and_so_is_its_sense(censoring):
    curves = [line_of(seed, bend=-2.5, limits=CENSORING[censoring]) for seed in range(40)]
    found = [linearity(curve) for curve in curves]
    assert share_below([one.p_value for one in found]) > 0.7
    assert np.all(np.array([one.bend for one in found]) < 0.0)
    large = linearity(line_of(1, rows=1000, bend=-2.5, limits=CENSORING[censoring]))
    assert large.bend == pytest.approx(-2.5, abs=0.4)  # three standard errors or more


@pytest.mark.parametrize("censoring", list(CENSORING))
def test_a_growing_spread_is_found_and_measured(censoring):
    """exp(2 x 0.9) = 6 times as wide at the largest size."""
    curves = [line_of(seed, growth=0.9, limits=CENSORING[censoring]) for seed in range(40)]
    found = [spread_of(curve) for curve in curves]
    assert share_below([one.p_value for one in found]) > 0.7
    assert np.median([one.ratio for one in found]) == pytest.approx(np.exp(1.8), rel=0.35)


def test_lack_of_fit_is_the_textbook_f_test():
    """Sums of squares between and within the targets of one size, by analysis of variance."""
    rng = np.random.default_rng(3)
    size = np.repeat([0.5, 1.0, 2.0, 4.0, 8.0], 6)
    response = 10.7 * np.exp(np.log(size) + 0.3 * rng.standard_normal(30))
    found = linearity(fit_response(size, response, threshold=9.0, bound="wald").curve)
    x, y = np.log(size), np.log(response)
    whole = ((y - np.polyval(np.polyfit(x, y, 1), x)) ** 2).sum()
    within = sum(((y[x == at] - y[x == at].mean()) ** 2).sum() for at in np.unique(x))
    f = ((whole - within) / 3) / (within / 25)
    assert found.method == "lack_of_fit"
    assert found.statistic == pytest.approx(f, rel=1e-9)
    assert found.p_value == pytest.approx(stats.f.sf(f, 3, 25), rel=1e-9)


def scatter_p(curves):
    """p of the whole distribution and of its tail (sets, 2), from 39 simulated sets each."""
    told = [scatter_of(curve, seed=2, simulations=39) for curve in curves]
    return np.array([(one.p_value, one.tail_p_value) for one in told])


@pytest.mark.parametrize(("censoring", "sets", "most"), [("none", 100, 0.13),
                                                         ("two_sided", 20, 0.26)])  # fmt: skip
def test_sound_scatter_fails_about_once_in_twenty(censoring, sets, most):
    """p of 39 simulated sets is at most .05 with probability .05 if all are alike."""
    p = scatter_p(sound(censoring)[:sets])
    rejected = np.mean(p <= 0.0501, axis=0)
    assert np.all(rejected <= most)
    assert np.any(rejected > 0.0)
    assert np.mean(p, axis=0) == pytest.approx(0.5, abs=3.5 * 0.29 / np.sqrt(sets))


def test_a_low_tail_is_found():
    p = scatter_p([line_of(seed, rows=60, law=lower_tail) for seed in range(30)])
    assert np.mean(p <= 0.0501, axis=0).min() > 0.7


def test_a_low_tail_moves_a90_and_the_tenth_percentile_says_where_to():
    """Its own tenth percentile, by a root of the mixture's distribution function."""
    fit = fit_of(1, rows=3000, law=lower_tail)
    scatter = scatter_of(fit.curve, simulations=19)
    z = residuals_of(fit.curve)
    assert scatter.tenth == pytest.approx(np.quantile(z, 0.1), abs=0.05)
    true = optimize.brentq(
        lambda e: 0.875 * special.ndtr(e) + 0.125 * special.ndtr(e + 4.0) - 0.1, -5.0, 0.0
    )
    t = (np.log(9.0 / 10.7) - 0.35 * true) / 1.1
    assert scatter.a90 == pytest.approx(2.0 * np.exp(t), rel=0.1)
    assert scatter.tail_p_value == pytest.approx(0.05)
    assert fit.curve.psi(-scatter.tenth) * fit.data.spread + fit.data.centre == pytest.approx(
        np.log(scatter.a90)
    )


@pytest.mark.parametrize("side", [1, -1])
def test_one_sided_censoring_gives_the_product_limit_estimate(side):
    """Kaplan and Meier 1958, by statsmodels; left-censored data are turned round.

    The last is exact there: mass beyond the last exact residual belongs to none.
    """
    rng = np.random.default_rng(9)
    z, limit = rng.standard_normal(60), rng.normal(0.3, 1.0, 60)
    limit[np.argmax(z)] = 9.0
    seen, code = np.minimum(z, limit), np.where(z < limit, 0, side).astype(np.int8)
    assert np.sum(code != 0) > 10
    points, share = self_consistent(side * seen, code)
    survival = SurvfuncRight(seen + 10.0, (code == 0).astype(int))
    points, share = (side * points, share) if side > 0 else (-points[::-1], share[::-1])
    assert points + 10.0 == pytest.approx(survival.surv_times)
    assert 1.0 - np.cumsum(share) == pytest.approx(survival.surv_prob, abs=1e-6)


def test_influence_is_what_a_fit_without_the_target_says():
    fit = fit_of(4, rows=15, limits=CENSORING["two_sided"])
    told = influence(fit)
    x = np.log(fit.data.size)
    hat = 1.0 / 15 + (x - x.mean()) ** 2 / ((x - x.mean()) ** 2).sum()
    assert [one.leverage for one in told] == pytest.approx(hat)
    for target in (0, 7, 14):
        rest = np.arange(15) != target
        other = fit_response(fit.data.size[rest], fit.data.response[rest], threshold=9.0,
                             floor=4.5, ceiling=30.0, bound="wald")  # fmt: skip
        assert told[target].change == pytest.approx(other.a90 / fit.a90 - 1.0, abs=1e-9)


def test_axes_are_compared_on_the_scale_of_the_response_itself():
    """AIC with the Jacobian: of log-normal responses it is that of scipy's lognorm."""
    fit = fit_of(5)
    choices = {(one.scale, one.axis): one for one in axis_choices(fit, "linear")}
    mean = fit.intercept + fit.slope * np.log(fit.data.size)
    height = stats.lognorm.logpdf(fit.data.response, fit.sigma, scale=np.exp(mean)).sum()
    assert choices["log", "log"].aic == pytest.approx(6.0 - 2.0 * height, rel=1e-10)
    x, y = np.log(fit.data.size), fit.data.response
    left = y - np.polyval(np.polyfit(x, y, 1), x)
    plain = stats.norm.logpdf(left, 0.0, np.sqrt(np.mean(left**2))).sum()
    assert choices["log", "linear"].aic == pytest.approx(6.0 - 2.0 * plain, rel=1e-10)
    assert axis_choices(fit, "linear")[0].primary  # log-log made them


@pytest.mark.parametrize("unit", ["db", "coherence"])
def test_axes_that_make_sense_are_those_of_the_unit(unit):
    u = np.linspace(-1.0, 1.0, 20)
    y = u + 0.2 * np.random.default_rng(6).standard_normal(20)
    response, axis = (special.expit(y), "logit") if unit == "coherence" else (20 * y, "linear")
    fit = fit_response(2.0 * 4.0**u, response, threshold=0.5 if axis == "logit" else 0.0, axis=axis,
                       bound="wald")  # fmt: skip
    found = check_response(fit, unit=unit).axes
    wanted = {"db": {"linear"}, "coherence": {"linear", "logit"}}[unit]
    assert {one.axis for one in found} == wanted
    assert [one.primary for one in found if one.scale == "log" and one.axis == axis] == [True]


def test_hits_agree_with_the_line_that_made_them_and_not_with_a_bent_one():
    """The statistic is smaller than chi-square, as both curves come from the same responses."""
    sound_ones = [agreement(line_of(seed, rows=60), simulations=9) for seed in range(40)]
    assert share_below([one.p_value for one in sound_ones if one.p_value is not None]) <= 0.05
    assert np.mean([one.p_value is not None for one in sound_ones]) > 0.5
    bent = [agreement(line_of(seed, rows=300, bend=7.0), simulations=9) for seed in range(10)]
    assert share_below([one.p_value for one in bent if one.p_value is not None]) > 0.7
    fit = fit_of(1, limits=(9.0, 20.0))
    assert hits_of(fit.data).tolist() == (fit.data.response >= 9.0).astype(float).tolist()


@pytest.mark.parametrize("threshold", [9.0, 12.0])
def test_fiducial_draws_of_an_uncensored_line_give_the_exact_bound(threshold):
    """Exact for the line fitted with that threshold; Monte-Carlo error below .4 % of 4000 draws."""
    fit = fit_of(6)
    draws = line_draws(fit.curve, seed=3, simulations=3_999)
    told = at_threshold(fit.curve, draws, threshold, np.full(3_999, threshold), sizes=[2.0, 4.0])
    other = fit_response(fit.data.size, fit.data.response, threshold=threshold, bound="exact")
    assert (told.a50, told.a90) == pytest.approx((other.a50, other.a90), rel=1e-9)
    assert told.a90_95 == told.a90_95_known == pytest.approx(other.a90_95, rel=0.015)
    law = stats.norm(fit.intercept + fit.slope * np.log([2.0, 4.0]), fit.sigma)
    assert told.pods == pytest.approx(law.sf(np.log(threshold)), rel=1e-9)
    below = at_threshold(fit.curve, draws, threshold, np.full(3_999, threshold),
                         sizes=[other.a90_95])  # fmt: skip
    assert below.lowers[0] == pytest.approx(0.9, abs=0.01)


def test_an_uncertain_threshold_moves_the_bound_outwards_and_an_endless_one_gives_none():
    fit = fit_of(7)
    draws = line_draws(fit.curve, seed=3, simulations=999)
    rng = np.random.default_rng(1)
    thresholds = 9.0 * np.exp(0.2 * rng.standard_normal(999))
    told = at_threshold(fit.curve, draws, 9.0, thresholds)
    assert told.a90_95 > 1.05 * told.a90_95_known
    thresholds[:60] = np.inf
    told = at_threshold(fit.curve, draws, 9.0, thresholds)
    assert told.a90_95 is None
    assert "does not close" in told.reason


def test_a_threshold_where_nothing_was_recorded_gets_no_pod():
    fit = fit_of(8, limits=CENSORING["two_sided"])
    draws = line_draws(fit.curve, seed=3, simulations=99)
    for threshold in (4.0, 31.0):
        told = at_threshold(fit.curve, draws, threshold, np.full(99, threshold), sizes=[2.0])
        assert told.a50 is told.a90 is told.a90_95 is None
        assert told.pods == told.lowers == ()
        assert told.reason == OUT_OF_REACH


def test_there_is_nothing_to_check_without_a_line():
    fit = fit_response([1, 2, 3], [1.0, 1.0, 70.0], threshold=9.0, floor=2.0, ceiling=60.0)
    with pytest.raises(ValueError, match="the outcome is all_censored"):
        check_response(fit)

"""Whether a covariate matters beside size, and a90 at its values: checks and bad cases."""

import json
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, stats

from qualify.pod.covariates import covariate_test, curve_at

DATA = Path(__file__).parents[1] / "published" / "data"
SETS = json.loads((DATA / "hit_miss_sets.json").read_text())
R = json.loads((DATA / "regression_r.json").read_text())


def invented(seed=11, n=120, effect=-0.04, noise=False):
    """Sizes, hits and depths; the curve shifts by `effect` a millimetre of depth. Invented."""
    rng = np.random.default_rng(seed)
    size, depth = np.exp(rng.uniform(-1.0, 2.0, n)), rng.uniform(2.0, 60.0, n)
    eta = -1.0 + 2.2 * np.log(size) + effect * (depth - 30.0)
    hits = (rng.random(n) < 1.0 / (1.0 + np.exp(-eta))).astype(int)
    return size, hits, rng.normal(size=n) if noise else depth


def codes(result):
    return {notice.code for notice in result.notices}


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
def test_two_covariate_fit_agrees_with_r(link):
    """Finney 1947, rate as the covariate. R stopped early, see tests/published/test_regression."""
    one, known = SETS["vaso_volume"], R[link]
    rate = np.log(SETS["vaso_rate"]["size"])
    result = covariate_test(one["size"], one["hits"], rate, numeric=True, link=link, name="rate")
    fit = result.with_covariate
    assert fit.terms == ("intercept", "size", "rate")
    np.testing.assert_allclose(fit.coefficients, known["coef"], rtol=1e-8)
    np.testing.assert_allclose(fit.covariance, known["vcov_expected"], rtol=1e-7)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-10)
    assert fit.aic == pytest.approx(known["aic"], rel=1e-10)
    assert "covariate_matters" in codes(result)


def test_statsmodels_agrees_on_tests_of_categories():
    """Likelihood-ratio tests of three modes and of their interaction with size, to 1e-8."""
    size, hits, depth = invented()
    mode = np.where(depth < 15, "near", np.where(depth < 40, "middle", "far"))
    result = covariate_test(size, hits, mode, numeric=False)
    columns = [np.ones(len(size)), np.log(size), mode == "middle", mode == "near"]
    products = [c * columns[1] for c in columns[2:]]
    heights = [
        sm.GLM(hits, np.column_stack(part), family=sm.families.Binomial()).fit(tol=1e-12).llf
        for part in (columns[:2], columns, columns + products, [columns[0], *columns[2:]])
    ]
    for test, gain, degrees in (
        (result.covariate_test, heights[1] - heights[0], 2),
        (result.interaction_test, heights[2] - heights[1], 2),
        (result.size_test, heights[1] - heights[3], 1),
    ):
        assert test.degrees == degrees
        assert test.statistic == pytest.approx(2 * gain, rel=1e-8)
        assert test.p_value == pytest.approx(stats.chi2.sf(2 * gain, degrees), rel=1e-7)
    assert [one.value for one in result.a90] == ["far", "middle", "near"]
    assert result.worst == result.a90[0]


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog", "loglog"])
def test_at_the_bound_a_separate_profile_has_dropped_by_z_squared(link):
    """Held fit by a general minimiser with the constraint put in by hand; POD there is 0.90."""
    size, hits, depth = invented()
    result = covariate_test(size, hits, depth, numeric=True, link=link, at=[50.0])
    (at,) = result.a90
    family = {"logit": "Logit", "probit": "Probit", "cloglog": "CLogLog", "loglog": "LogLog"}
    curve = getattr(sm.families.links, family[link])()
    level, psi = float(curve(np.array([0.9]))[0]), np.log(at.upper)

    def loss(free):
        eta = level + free[0] * (np.log(size) - psi) + free[1] * (depth - 50.0) / 10.0
        pod = np.clip(curve.inverse(eta), 1e-300, 1.0 - 1e-16)
        return -(hits * np.log(pod) + (1 - hits) * np.log1p(-pod)).sum()

    held = optimize.minimize(loss, [1.5, -0.3], method="Nelder-Mead", options={"xatol": 1e-8})
    drop = 2 * (result.with_covariate.log_likelihood + held.fun)
    # 2.705543...: square of the normal quantile of 0.95 in any table
    assert drop == pytest.approx(2.7055434540954, abs=1e-6)
    np.testing.assert_allclose(curve_at(result, 50.0, [at.a90]), [0.9], rtol=1e-12)
    assert at.a90 < at.upper


def test_units_origin_and_order_of_rows_do_not_matter():
    size, hits, depth = invented()
    here = covariate_test(size, hits, depth, numeric=True, at=[10.0, 50.0])
    turned = slice(None, None, -1)
    there = covariate_test(
        1e3 * size[turned],
        hits[turned],
        depth[turned] / 25.4 + 100.0,
        numeric=True,
        at=[10.0 / 25.4 + 100.0, 50.0 / 25.4 + 100.0],
    )
    for name in ("covariate_test", "interaction_test", "size_test"):
        assert getattr(there, name).statistic == pytest.approx(
            getattr(here, name).statistic, rel=1e-9
        )
    for ours, other in zip(here.a90, there.a90, strict=True):
        assert other.a90 == pytest.approx(1e3 * ours.a90, rel=1e-9)
        assert other.upper == pytest.approx(1e3 * ours.upper, rel=1e-9)


def test_two_categories_and_a_number_of_two_values_are_the_same_model():
    size, hits, depth = invented()
    deep = (depth > 30).astype(int)
    number = covariate_test(size, hits, deep, numeric=True, at=[0, 1])
    label = covariate_test(size, hits, deep, numeric=False)
    assert number.covariate_test.statistic == pytest.approx(label.covariate_test.statistic)
    for ours, other in zip(number.a90, label.a90, strict=True):
        assert ours.upper == pytest.approx(other.upper, rel=1e-10)


def test_a_covariate_of_pure_noise_is_called_an_effect_in_5_of_100_sets():
    """400 seeded sets: 20 expected at the 5 % level; 7 to 33 is three standard deviations."""
    shown = sum(
        covariate_test(*invented(seed, noise=True), numeric=True, at=()).covariate_test.p_value
        <= 0.05
        for seed in range(400)
    )
    assert 7 <= shown <= 33


def test_what_an_effect_means_for_the_claim_is_said():
    size, hits, depth = invented(effect=-0.08)
    result = covariate_test(size, hits, depth, numeric=True, name="depth", at=[5.0, 55.0])
    (text,) = [n.text for n in result.notices if n.code == "covariate_matters"]
    assert result.worst.value == 55.0
    assert "the worst of them" in text
    assert f"depth 55, with an upper bound on a90 of {result.worst.upper:.4g}" in text


def test_no_effect_shown_is_not_called_no_effect():
    result = covariate_test(*invented(noise=True), numeric=True, name="tilt")
    (text,) = [n.text for n in result.notices if n.code == "covariate_not_shown"]
    assert "no proof" in text
    assert "120 readings" in text


@pytest.mark.parametrize("value", [0, 1])
def test_all_hit_or_all_missed_gives_no_test_and_no_curve(value):
    size, _, depth = invented()
    result = covariate_test(size, [value] * len(size), depth, numeric=True)
    assert result.size_only.coefficients is None
    assert result.covariate_test.statistic is None
    assert "all readings are hits, or all are misses" in result.covariate_test.reason
    assert (result.a90, result.worst) == ((), None)
    with pytest.raises(ValueError, match="no curve"):
        curve_at(result, depth[0], [1.0])


def test_one_value_and_small_categories_give_the_reason_and_keep_the_size_model():
    size, hits, _depth = invented()
    for numeric in (True, False):
        result = covariate_test(size, hits, [3.0] * len(size), numeric=numeric)
        assert result.size_only.coefficients is not None
        assert "one value only" in result.covariate_test.reason
    mode = np.where(np.arange(len(size)) < 4, "rare", "usual")
    result = covariate_test(size, hits, mode, numeric=False)
    assert "category rare has 4 readings" in result.covariate_test.reason
    assert "not_tested" in codes(result)


def test_a_covariate_that_separates_gives_no_number():
    size, hits, _depth = invented()
    result = covariate_test(size, hits, np.where(hits == 1, "a", "b"), numeric=False)
    assert "separate hits from misses" in result.with_covariate.reason
    assert result.covariate_test.statistic is None
    assert result.size_only.coefficients is not None
    always = np.where((np.arange(len(size)) % 9 == 0) & (hits == 1), "always", "else")
    quasi = covariate_test(size, hits, always, numeric=False)
    assert quasi.covariate_test.statistic is None


def test_a_covariate_that_is_the_size_itself_gives_no_number():
    size, hits, _ = invented()
    result = covariate_test(size, hits, np.log(size) * 2.0 + 1.0, numeric=True)
    assert "not independent" in result.covariate_test.reason


def test_no_a90_where_pod_is_not_shown_to_rise_with_size():
    one = SETS["invented_flat"]
    depth = np.tile([5.0, 20.0, 35.0, 50.0], 10)
    result = covariate_test(one["size"], one["hits"], depth, numeric=True)
    assert [(at.a90, at.upper) for at in result.a90] == [(None, None)] * 3
    assert "no_a90" in codes(result)


def test_a_bound_below_size_0_is_not_the_worst():
    """On the linear scale an easy value of the covariate may need no size at all."""
    rng = np.random.default_rng(4)
    size, tilt = rng.uniform(0.1, 5.0, 600), np.tile([0.0, 10.0, 20.0], 200)
    hits = (rng.random(600) < 1 / (1 + np.exp(-4.0 - size + 0.25 * tilt))).astype(int)
    result = covariate_test(size, hits, tilt, numeric=True, scale="linear", at=[0.0, 20.0])
    assert "below size 0" in result.a90[0].reason
    assert result.worst == result.a90[1]
    assert result.worst.upper is not None


def test_ties_change_nothing():
    """Five sizes, each many times, and depths of two values."""
    rng = np.random.default_rng(2)
    size, depth = np.repeat([1.0, 2.0, 3.0, 4.0, 6.0], 16), np.tile([10.0, 40.0], 40)
    hits = (rng.random(80) < 1 / (1 + np.exp(2.5 - 1.2 * size + 0.02 * depth))).astype(int)
    result = covariate_test(size, hits, depth, numeric=True, scale="linear")
    assert result.interaction_test.statistic is not None
    assert [at.value for at in result.a90] == [10.0, 25.0, 40.0]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"at": [61.0]}, "outside the values tested"),
        ({"covariate": [1.0]}, "1 values of the covariate for 120"),
        ({"covariate": ["deep"] * 120}, "is no number"),
        ({"covariate": [np.nan] * 120}, "missing"),
        ({"covariate": [None] * 120, "numeric": False}, "missing"),
        ({"numeric": False, "covariate": ["a", "b"] * 60, "at": ["c"]}, "was not tested"),
        ({"confidence": 95}, "between"),
        ({"link": "identity"}, "not known"),
    ],
)
def test_faults_are_refused_in_words(change, words):
    size, hits, depth = invented()
    given = {"covariate": depth, "numeric": True, **change}
    covariate = given.pop("covariate")
    with pytest.raises(ValueError, match=words):
        covariate_test(size, hits, covariate, **given)

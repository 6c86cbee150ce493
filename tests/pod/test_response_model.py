"""Laws that a line through responses obeys whatever the data, and what it refuses and tells."""

from unittest import mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from qualify.pod.response_all_bounds import pod_at_size
from qualify.pod.response_calibrated import calibrated_eta, calibrated_psi, p_value
from qualify.pod.response_curve import fit_curve
from qualify.pod.response_simulation import deviates, normals, stream
from qualify.pod.response_targets import group_log_likelihood, shared_variance
from qualify.pod.responses import observe_responses
from qualify.pod.signal_response import fit_response, response_pod

ETA90 = special.ndtri(0.9)
SEEDS = st.integers(0, 10_000)
FEW = settings(max_examples=15, deadline=None)


def made(seed, n=30, slope=1.1, sigma=0.35):
    """Invented sizes 0.5 to 8 and responses, log-normal about a line; threshold 9 beside them."""
    rng = np.random.default_rng(seed)
    size = np.exp(rng.uniform(np.log(0.5), np.log(8.0), n))
    return size, np.exp(np.log(5.0) + slope * np.log(size) + sigma * rng.standard_normal(n))


def fitted(size, response, floor=4.0, ceiling=30.0, threshold=9.0, **more):
    settings = {"bound": "likelihood", **more}
    return fit_response(size, response, threshold=threshold, floor=floor, ceiling=ceiling,
                        **settings)  # fmt: skip


def sizes_told(fit):
    """a50, a90 and both sides of every bound."""
    bounds = [v.value for one in fit.bounds.values() for v in one.values()]
    return np.array([fit.a50, fit.a90, *bounds])


@FEW
@given(seed=SEEDS, size_unit=st.floats(1e-3, 1e3), response_unit=st.floats(1e-3, 1e3))
def test_units_of_size_and_response_change_no_pod(seed, size_unit, response_unit):
    size, response = made(seed)
    for limits in ((4.0, 30.0), (None, None)):
        one = fitted(size, response, *limits)
        moved = [None if v is None else v * response_unit for v in limits]
        other = fitted(size * size_unit, response * response_unit, *moved, 9.0 * response_unit)
        np.testing.assert_allclose(sizes_told(other), sizes_told(one) * size_unit, rtol=1e-7)
        places = np.array([0.7, 1.5, 4.0])
        np.testing.assert_allclose(
            response_pod(other, places * size_unit), response_pod(one, places), atol=1e-9
        )


@FEW
@given(seed=SEEDS)
def test_order_of_rows_and_limits_far_away_change_nothing(seed):
    size, response = made(seed)
    order = np.random.default_rng(seed).permutation(size.size)
    one = fitted(size, response)
    np.testing.assert_allclose(
        sizes_told(fitted(size[order], response[order])), sizes_told(one), rtol=1e-8
    )
    free, far = fitted(size, response, None, None), fitted(size, response, 1e-6, 1e9)
    assert sizes_told(far) == pytest.approx(sizes_told(free), rel=1e-12)
    assert far.left == far.right == 0


@FEW
@given(seed=SEEDS, n=st.integers(12, 60))
def test_bounds_enclose_a90_and_the_exact_one_asks_for_more(seed, n):
    """Exact lies beyond likelihood in such samples, likelihood beyond Wald above a90."""
    for limits in ((None, None), (4.0, 30.0)):
        fit = fitted(*made(seed, n), *limits)
        if fit.a90 is None or fit.a90_95 is None:
            continue
        for bound in fit.bounds.values():
            assert bound["lower"].value < fit.a90 < bound["upper"].value
        upper = [fit.bounds[k]["upper"].value for k in ("wald", "likelihood", "exact")
                 if k in fit.bounds]  # fmt: skip
        assert upper == sorted(upper)


@pytest.mark.parametrize(("n", "seed"), [(8, 1), (20, 2), (60, 3)])
def test_without_censoring_the_calibrated_bound_is_the_exact_one(n, seed):
    """Within 4 of its told errors of simulation, on both sides; so is the bound on POD."""
    fit = fitted(*made(seed, n), None, None, bound="calibrated", simulations=3_999)
    for side in ("upper", "lower"):
        found, exact = fit.bounds["calibrated"][side], fit.bounds["exact"][side]
        assert found.error < 0.1 * exact.value
        assert found.value == pytest.approx(exact.value, abs=4.0 * found.error)
    psi = fit.curve.psi(2.0)
    found = calibrated_eta(fit.curve, psi, 0.95, simulations=3_999)
    one = pod_at_size(fit.curve, float(np.exp(fit.data.centre + fit.data.spread * psi)),
                      method="exact", confidence=0.95, seed=1, simulations=99)  # fmt: skip
    assert found.at == pytest.approx(special.ndtri(one.lower), abs=4.0 * found.error)


def test_p_value_crosses_five_per_cent_at_the_calibrated_bound():
    curve = fitted(*made(4)).curve
    found = calibrated_psi(curve, ETA90, 0.95, "upper", simulations=1_999)
    assert p_value(curve, found.at, ETA90, seed=20261125, simulations=1_999) == pytest.approx(
        0.05, abs=0.02
    )
    near, far = (p_value(curve, curve.psi(ETA90) + share * (found.at - curve.psi(ETA90)), ETA90,
                         seed=1, simulations=499) for share in (0.3, 2.0))  # fmt: skip
    assert near > 0.1
    assert far < 0.01


def test_same_seed_same_numbers_whatever_the_number_of_threads():
    """Chunks of 8 in a pool, against one piece; another seed gives other numbers."""
    size, response = made(5)
    told = fitted(size, response, bound="calibrated", simulations=999, seed=3)
    with mock.patch("qualify.pod.response_calibrated.THREADED", 1):
        again = fitted(size, response, bound="calibrated", simulations=999, seed=3)
    assert again == told
    other = fitted(size, response, bound="calibrated", simulations=999, seed=4)
    assert other.a90_95 != told.a90_95


def test_deviates_are_normal_and_share_variance_within_targets():
    """Kolmogorov and Smirnov on 100,000; correlation within a target .3 +- 4 standard errors."""
    out = np.empty(100_001)
    normals(stream(1, b"test"), out)
    assert stats.kstest(out, "norm").pvalue > 1e-3
    assert abs(np.corrcoef(out[:-1], out[1:])[0, 1]) < 4.0 / np.sqrt(out.size)
    group, store = np.array([0, 1, 0]), np.empty(5)
    drawn = np.empty((10_000, 3))
    for trial in range(10_000):
        deviates(stream(2, b"test"), trial, 0.3, group, store)
        drawn[trial] = store[:3]
    wanted = np.array([[1.0, 0.0, 0.3], [0.0, 1.0, 0.0], [0.3, 0.0, 1.0]])
    np.testing.assert_allclose(np.cov(drawn.T), wanted, atol=4.0 * 1.5 / 100.0)


@pytest.mark.parametrize("codes", [(0, 0, 0), (-1, -1, 1), (-1, 0, 0), (-1, 1, 0), (1,)])
@pytest.mark.parametrize("rho", [0.0, 0.2, 0.6])
def test_likelihood_of_a_target_agrees_with_scipys_multivariate_normal(codes, rho):
    """Density of exact rows times the probability of the censored ones given them.

    scipy integrates the latter to about 1e-6 (up to three rows here).
    """
    z, code = np.array([-0.4, 0.9, 0.3])[: len(codes)], np.array(codes, dtype=np.int8)
    found = group_log_likelihood(z, code, [np.arange(z.size)], rho)
    v = (1.0 - rho) * np.eye(z.size) + rho
    exact, hidden, wanted = code == 0, code != 0, 0.0
    mean, cov = np.zeros(hidden.sum()), v[np.ix_(hidden, hidden)]
    if exact.any():
        given = v[np.ix_(hidden, exact)] @ np.linalg.inv(v[np.ix_(exact, exact)])
        mean, cov = given @ z[exact], cov - given @ v[np.ix_(exact, hidden)]
        wanted += stats.multivariate_normal.logpdf(
            z[exact], np.zeros(exact.sum()), v[np.ix_(exact, exact)]
        )
    if hidden.any():
        side = np.where(code[hidden] < 0, 1.0, -1.0)
        wanted += np.log(stats.multivariate_normal.cdf(
            side * z[hidden], side * mean, cov * np.outer(side, side), abseps=1e-9, releps=1e-9
        ))  # fmt: skip
    assert found == pytest.approx(wanted, abs=1e-10 if exact.all() else 2e-6)


@pytest.mark.parametrize("rho", [0.0, 0.5])
def test_shared_variance_recovers_what_was_put_in(rho):
    """120 targets of 3, a third censored: standard error .06 or less; three of them."""
    rng = np.random.default_rng(7)
    size = np.repeat(np.exp(rng.uniform(np.log(0.5), np.log(8.0), 120)), 3)
    shared = np.repeat(rng.standard_normal(120), 3)
    e = np.sqrt(rho) * shared + np.sqrt(1.0 - rho) * rng.standard_normal(360)
    response = np.exp(np.log(5.0) + 1.1 * np.log(size) + 0.35 * e)
    data = observe_responses(size, response, threshold=9.0, floor=5.0, ceiling=30.0,
                             targets=np.repeat(np.arange(120), 3))  # fmt: skip
    assert data.targets == 120
    assert 0.2 < np.mean(data.code != 0) < 0.5
    assert shared_variance(data, *fit_curve(data).line[:4]) == pytest.approx(rho, abs=0.18)


def test_repeated_targets_widen_the_calibrated_bound():
    """Three like responses of a target tell less than three targets: the targets are the sample."""
    rng = np.random.default_rng(8)
    size = np.repeat(made(8, 20)[0], 3)
    e = 0.9 * np.repeat(rng.standard_normal(20), 3) + np.sqrt(0.19) * rng.standard_normal(60)
    response = np.exp(np.log(5.0) + 1.1 * np.log(size) + 0.35 * e)
    names = np.repeat([f"T{i}" for i in range(20)], 3)
    told = fitted(size, response, targets=names, bound="auto", simulations=999)
    alone = fitted(size, response, bound="calibrated", simulations=999)
    assert (told.bound, told.targets, told.rows) == ("calibrated", 20, 60)
    assert 0.6 < told.shared < 0.95
    assert told.a90 == pytest.approx(alone.a90)
    assert told.a90_95 / told.a90 - 1.0 > 1.2 * (alone.a90_95 / alone.a90 - 1.0)
    assert "repeated_targets" in {notice.code for notice in told.notices}


SIZE = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
RESPONSE = np.array([3.0, 8.0, 9.0, 20.0, 18.0, 40.0])


@pytest.mark.parametrize(("words", "changed"), [
    ("floor 30 is not below ceiling 20", {"floor": 30.0, "ceiling": 20.0}),
    ("threshold 10 lies below the floor 12", {"floor": 12.0}),
    ("threshold 10 is not below the ceiling 10", {"ceiling": 10.0}),
    ("threshold 10 is not below the ceiling 8", {"ceiling": 8.0}),
    ("floor -1 has no logarithm", {"floor": -1.0}),
    ("threshold nan is no number", {"threshold": np.nan}),
    ("2 floors for 6 responses", {"floor": [1.0, 2.0]}),
    ("6 sizes|5 responses for 6 sizes", {"response": RESPONSE[:5]}),
    ("response -2 in row 1 of the responses has no logarithm",
     {"response": [-2.0, *RESPONSE[1:]]}),
    ("a response of 8 below the threshold 10 is recorded .* and 1 rows hold nothing",
     {"response": [np.nan, *RESPONSE[1:]]}),
    ("coherence 1 in row 6 .* has no logit",
     {"response": [0.1, 0.2, 0.4, 0.5, 0.7, 1.0], "axis": "logit", "threshold": 0.3}),
    ("target B has several sizes \\(2, 3\\)", {"targets": list("ABBCDE")}),
    ("3 targets for 6 responses", {"targets": list("ABC")}),
    ("response axis 'root' is not known", {"axis": "root"}),
    ("bound 'best' is not known", {"bound": "best"}),
])  # fmt: skip
def test_what_makes_no_sense_is_refused_in_words(words, changed):
    with pytest.raises(ValueError, match=words):
        fit_response(**{"size": SIZE, "response": RESPONSE, "threshold": 10.0, **changed})


def no_number(fit):
    assert sizes_told(fit).tolist() == [None] * sizes_told(fit).size
    assert fit.a90_95 is None
    assert fit.extrapolated is None
    assert all(v.reason for one in fit.bounds.values() for v in one.values())
    return {notice.code for notice in fit.notices}


@pytest.mark.parametrize(("outcome", "response"), [
    ("all_censored", [np.nan, 1.0, 2.0, 70.0, 80.0, 90.0]),
    ("too_few", [np.nan, 1.0, 2.0, 20.0, 80.0, 90.0]),
    ("no_scatter", 5.0 * SIZE**1.2),
    ("decreasing", RESPONSE[::-1]),
])  # fmt: skip
def test_without_a_rising_line_there_is_no_number(outcome, response):
    fit = fit_response(SIZE, response, threshold=10.0, floor=2.5, ceiling=60.0, simulations=99)
    assert fit.outcome == outcome
    assert outcome in no_number(fit)
    if outcome != "decreasing":
        assert fit.slope is fit.sigma is fit.covariance is fit.log_likelihood is None
    with pytest.raises(ValueError, match=f"the outcome is {outcome}"):
        response_pod(fit, [1.0])


def test_a_rise_that_is_not_shown_gives_no_number_but_a_reason():
    size = np.exp(np.linspace(0.0, 2.0, 12))
    response = np.exp(2.0 + 0.35 * np.log(size) + 0.5 * np.tile([1.0, -1.0, 0.7, -0.7], 3))
    fit = fit_response(size, response, threshold=9.0, bound="calibrated", simulations=499)
    assert fit.outcome == "fitted"
    assert 0.0 < fit.slope_root < 1.645
    assert {"slope_not_shown", "no_upper_bound"} <= no_number(fit)


def test_responses_beyond_limits_and_missed_targets_count_as_censored_and_are_told():
    response = np.array([np.nan, 8.0, 9.0, 20.0, 18.0, 70.0, 12.0, 15.0])
    size = np.append(SIZE, [2.5, 3.5])
    fit = fit_response(size, response, threshold=10.0, floor=5.0, ceiling=60.0, simulations=99)
    assert (fit.missed, fit.left, fit.right, fit.exact) == (1, 1, 1, 6)
    texts = {notice.code: notice.text for notice in fit.notices}
    assert texts["above_ceiling"].startswith("1 response stood above the ceiling and counts")
    assert texts["missed"].startswith("1 target was missed")
    at_limit = np.where(np.isnan(response), 5.0, np.minimum(response, 60.0))
    same = fit_response(size, at_limit, threshold=10.0, floor=5.0, ceiling=60.0, simulations=99)
    assert same.a90_95 == fit.a90_95
    assert same.missed == 0


def test_without_a_floor_missed_targets_lie_below_the_threshold():
    """Only where nothing below the threshold was recorded: what was recorded is a call sheet."""
    response = np.array([np.nan, np.nan, 12.0, 20.0, 18.0, 40.0, 35.0])
    size = np.append(SIZE, 7.0)
    fit = fit_response(size, response, threshold=10.0, simulations=99)
    same = fit_response(size, response, threshold=10.0, floor=10.0, simulations=99)
    assert (fit.left, fit.exact) == (2, 5)
    assert fit.a90_95 == same.a90_95

"""The engine: it equals its plain numpy form; a batch equals its sets; held fits nest in free."""

import numpy as np
import pytest

from qualify.pod.engine import fit_curves, fit_through, flat_log_likelihood
from qualify.pod.kernels import LINK_NUMBERS, climb_at, expected_at, pod_at
from qualify.pod.links import LINK_NAMES, log_likelihood, pod_of, terms
from qualify.pod.simulation import hold, supremum
from tests.pod import plain_engine

X = np.log(np.linspace(0.4, 6.0, 50))


def simulated(sets):
    rng = np.random.default_rng(20260111)
    return (rng.random((sets, 50)) < 1 / (1 + np.exp(-(2.5 * X - 1.2)))).astype(float)


@pytest.mark.parametrize("link", LINK_NAMES)
def test_a_batch_equals_its_sets_one_by_one(link):
    hits = simulated(20)
    together = fit_curves(X, hits, 1.0, link)
    assert together.converged.all()
    for i, row in enumerate(hits):
        alone = fit_curves(X, row, 1.0, link)
        np.testing.assert_allclose(together.slope[i], alone.slope[0], rtol=1e-12)
        np.testing.assert_allclose(together.log_likelihood[i], alone.log_likelihood[0], rtol=1e-13)
        np.testing.assert_allclose(
            together.expected_information[i], alone.expected_information[0], rtol=1e-11
        )


@pytest.mark.parametrize("link", LINK_NAMES)
def test_holding_the_curve_where_it_already_runs_changes_nothing(link):
    hits = simulated(5)
    free = fit_curves(X, hits, 1.0, link)
    psi = np.array([0.3, -0.2, 0.9, 50.0, -1e3])
    held = fit_through(X, hits, 1.0, link, psi, free.intercept + free.slope * psi)
    np.testing.assert_allclose(held.slope, free.slope, rtol=1e-8)
    np.testing.assert_allclose(held.log_likelihood, free.log_likelihood, rtol=1e-11)


@pytest.mark.parametrize("link", LINK_NAMES)
def test_far_away_the_held_fit_tends_to_the_flat_model(link):
    """The reason why a bound exists only when the slope gains more than z^2 / 2."""
    hits = simulated(4)
    held = fit_through(X, hits, 1.0, link, np.full(4, 1e9), np.full(4, 2.0))
    np.testing.assert_allclose(held.log_likelihood, flat_log_likelihood(hits, 1.0), rtol=1e-6)


def test_no_nearby_curve_is_more_likely():
    (hits,) = simulated(1)
    fit = fit_curves(X, hits, 1.0, "cloglog")
    for da, db in ((1e-3, 0), (-1e-3, 0), (0, 1e-3), (0, -1e-3)):
        eta = fit.intercept[0] + da + (fit.slope[0] + db) * X
        assert log_likelihood("cloglog", eta, hits, 1 - hits) < fit.log_likelihood[0]


@pytest.mark.parametrize("link", LINK_NAMES)
def test_far_outlying_sizes_do_not_stop_the_iteration(link):
    """Sizes over six decades on a linear axis: one far target pulls the scale, not the curve."""
    rng = np.random.default_rng(5)
    sizes = np.exp(rng.normal(0.0, 3.0, 80))
    hits = (rng.random(80) < 1 / (1 + np.exp(-2.0 * np.log(sizes)))).astype(float)
    fit = fit_curves(sizes, hits, 1.0, link)
    assert fit.converged.all()
    assert np.abs(fit.score).max() < 1e-9


ETA = np.concatenate([np.linspace(-40, 40, 401), [-700.0, -200.0, -31.0, -29.9, 90.0, 300.0]])


@pytest.mark.parametrize("link", LINK_NAMES)
def test_compiled_terms_equal_the_plain_ones_far_into_both_tails(link):
    """One hit, or one miss, at each eta: log-likelihood, score, information."""
    at, number, one = terms(link, ETA), LINK_NUMBERS[link], np.ones(1)
    for hit, height, slope, bend in (
        (1.0, at.log_hit, at.hit_slope, at.hit_bend),
        (0.0, at.log_miss, at.miss_slope, at.miss_bend),
    ):
        found = [climb_at(number, e, 0.0, 0 * one, hit * one, (1 - hit) * one) for e in ETA]
        got = np.array(found)
        np.testing.assert_allclose(got[:, 0], height, rtol=1e-11, atol=1e-15)
        np.testing.assert_allclose(got[:, 1], slope, rtol=1e-11, atol=1e-15)
        # second derivatives far out are differences of near-equal numbers in either form
        np.testing.assert_allclose(got[:, 3], -bend, rtol=1e-8, atol=1e-12)
    expected = [expected_at(number, e, 0.0, 0 * one, one)[0] for e in ETA]
    np.testing.assert_allclose(expected, at.expected_weight(), rtol=1e-10, atol=1e-15)
    np.testing.assert_allclose(
        [pod_at(number, e) for e in ETA], pod_of(link, ETA), rtol=1e-12, atol=1e-300
    )


@pytest.mark.parametrize("link", LINK_NAMES)
@pytest.mark.parametrize("grouped", [False, True])
def test_the_compiled_engine_equals_its_plain_form(link, grouped):
    """300 sets of 25 sizes, free and held; those without overlap left to the rule for them."""
    rng = np.random.default_rng(20261125)
    x = np.sort(rng.normal(0.3, 0.9, 25))
    trials = rng.integers(1, 5, 25).astype(float) if grouped else np.ones(25)
    pod = 1 / (1 + np.exp(-2.0 * x))
    hits = rng.binomial(trials.astype(int), pod, (300, 25)).astype(float)
    overlap = np.array([supremum(row, trials - row) > 0.5 for row in hits])
    assert overlap.sum() > 250
    fast = fit_curves(x, hits[overlap], trials, link)
    plain = plain_engine.fit_curves(x, hits[overlap], trials, link)
    done = fast.converged & plain.converged
    assert done.mean() > 0.99
    for name in ("intercept", "slope", "log_likelihood", "expected_information"):
        np.testing.assert_allclose(
            getattr(fast, name)[done], getattr(plain, name)[done], rtol=1e-7, atol=1e-9
        )
    psi, level = rng.normal(0.0, 1.0, done.sum()), rng.normal(0.5, 1.0, done.sum())
    own = hits[overlap][done]
    fast_held = fit_through(x, own, trials, link, psi, level)
    plain_held = plain_engine.fit_through(x, own, trials, link, psi, level)
    np.testing.assert_allclose(fast_held.log_likelihood, plain_held.log_likelihood, rtol=1e-10)


@pytest.mark.parametrize(
    ("hits", "trials", "top"),
    [
        ([0, 0, 1, 1], [1, 1, 1, 1], 0.0),
        ([1, 1, 0, 0], [1, 1, 1, 1], 0.0),
        ([1, 1, 1, 1], [1, 1, 1, 1], 0.0),
        ([0, 0, 0, 0], [1, 1, 1, 1], 0.0),
        # the shared size alone has both: 2 of 4 and 1 of 3 by hand
        ([0, 2, 5, 1], [5, 4, 5, 1], 4 * np.log(0.5)),
        ([3, 1, 0, 0], [3, 3, 5, 1], np.log(1 / 3) + 2 * np.log(2 / 3)),
        ([0, 1, 0, 1], [1, 1, 1, 1], 1.0),
    ],
)
def test_the_supremum_without_overlap(hits, trials, top):
    """0 where a step explains all, the entropy of the shared size where one is shared."""
    h, t = np.array(hits, dtype=float), np.array(trials, dtype=float)
    assert supremum(h, t - h) == pytest.approx(top, rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("link", LINK_NAMES)
def test_a_held_curve_without_a_maximum_has_a_boundless_slope(link):
    """All hits beyond the size held, all misses before it: the likelihood tends to 1."""
    away = np.array([-1.0, -0.5, 0.5, 1.0])
    hits = np.array([0.0, 0.0, 1.0, 1.0])
    slope, height, pull = hold(LINK_NUMBERS[link], away, hits, 1 - hits, 1.0, 0.0, 1e-12)
    assert (slope, height, pull) == (np.inf, 0.0, 0.0)
    slope, _, _ = hold(LINK_NUMBERS[link], away, 1 - hits, hits, 1.0, 0.0, 1e-12)
    assert slope == -np.inf

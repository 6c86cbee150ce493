"""The engine: a batch equals its data sets one by one; held fits nest in free ones."""

import numpy as np
import pytest

from qualify.pod.engine import fit_curves, fit_through, flat_log_likelihood
from qualify.pod.links import LINK_NAMES, log_likelihood

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

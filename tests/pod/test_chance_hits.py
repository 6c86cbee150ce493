"""Hits of which some came by chance: P(hit) = share + (1 - share) POD."""

import numpy as np
import pytest
from scipy import optimize, special

from qualify.pod.chance_hits import fit_chance_hits, hit_probability, pod_behind_hits
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.links import pod_of

Z2 = 2.7055434540954  # square of the normal quantile of 0.95, any table


def invented(seed, n, plateau, floor=0.0, a90_slope=4.0):
    rng = np.random.default_rng(seed)
    size = np.exp(rng.uniform(np.log(0.5), np.log(8.0), n))
    pod = floor + (plateau - floor) * special.expit(a90_slope * (np.log(size) - np.log(1.5)))
    return size, (rng.random(n) < pod).astype(int)


def joint(v, x, hits, curve=special.expit):
    """Textbook log-likelihood apart from our engine; v = floor, plateau, intercept, slope."""
    p = np.clip(v[0] + (v[1] - v[0]) * curve(v[2] + v[3] * x), 1e-12, 1 - 1e-12)
    return float((hits * np.log(p) + (1 - hits) * np.log(1 - p)).sum())


def test_chance_hits_are_taken_out_of_the_curve():
    """P(hit) = share + (1 - share) POD; with share 0 the plain curve comes back."""
    size, hits = invented(31, 300, 1.0, 0.2)
    plain = fit_hit_miss(size, hits, bound="likelihood")
    none = fit_chance_hits(size, hits, alpha_box=0.0)
    assert none.a90.value == pytest.approx(plain.a90, rel=1e-9)
    assert none.a90_95.value == pytest.approx(plain.a90_95, rel=1e-8)
    freed = fit_chance_hits(size, hits, alpha_box=0.2)
    assert freed.a90.value == pytest.approx(1.5 * 9**0.25, rel=0.15)  # logit 9 over slope 4
    pods = pod_of("logit", freed.intercept + freed.slope * np.log(size))
    own = joint((0.2, 1.0, freed.intercept, freed.slope), np.log(size), hits)
    assert own == pytest.approx(freed.log_likelihood, abs=1e-8)
    np.testing.assert_allclose(pod_behind_hits(hit_probability(pods, 0.2), 0.2), pods, atol=1e-12)
    assert pod_behind_hits([0.1], 0.2)[0] == 0.0


def test_chance_hit_bound_is_where_a_separate_profile_has_dropped_by_z_squared():
    size, hits = invented(32, 200, 1.0, 0.1)
    fit, x = fit_chance_hits(size, hits, alpha_box=0.1), np.log(size)
    at = np.log(fit.a90_95.value)

    def loss(slope):
        return -joint((0.1, 1.0, np.log(9) - slope * at, slope), x, hits)

    held = optimize.minimize_scalar(loss, bounds=(0.5, 20), options={"xatol": 1e-9})
    assert 2 * (fit.log_likelihood + held.fun) == pytest.approx(Z2, abs=1e-7)


@pytest.mark.parametrize("share", [-0.1, 1.0])
def test_a_share_out_of_range_is_refused(share):
    with pytest.raises(ValueError, match="alpha_box"):
        fit_chance_hits([1, 2, 3, 4, 5], [0, 1, 0, 1, 1], alpha_box=share)

"""The ratio of two a90: its score, its bounds, and what must not change them."""

import math

import numpy as np
import pytest
from scipy import optimize, special

from qualify.comparison.modes import Asked, compare_modes
from qualify.comparison.paired_targets import paired_targets
from qualify.comparison.ratio import a90_ratio
from qualify.comparison.ratio_simulation import alike, ratio_problem
from qualify.comparison.resampling import curves_of, draw_curves


def trial(seed=1, n=60, readers=2, ratio=1.3, slope=3.2):
    """Invented: two modes, readings of a target alike."""
    rng = np.random.default_rng(seed)
    size = np.exp(np.linspace(math.log(0.3), math.log(4.0), n))
    shared = rng.standard_normal((n, 1))
    out = []
    for a90 in (1.0, ratio):
        pod = special.expit(math.log(9.0) + slope * np.log(size / a90))
        mine = 0.7 * shared + math.sqrt(0.51) * rng.standard_normal((n, readers))
        out.append((special.ndtr(mine) < pod[:, None]).astype(float))
    return [f"T{i:02d}" for i in range(n)], size, *out


def paired(*parts, scale="log"):
    names, size, a, b = parts
    readers = [f"R{k}" for k in range(a.shape[1])]
    return paired_targets(names, size, a, b, readers=readers, scale=scale)


@pytest.mark.parametrize("link", ["logit", "cloglog"])
@pytest.mark.parametrize("scale", ["log", "linear"])
def test_the_score_is_that_of_the_likelihood_held_by_scipy(link, scale):
    """Sum of scores = slope of the constrained maximum in log ratio, over its information; 1e-4.

    The held maximum is climbed by scipy; its derivative along log ratio is the plain score, so the
    studentised statistic has its sign and vanishes where the free maximum lies.
    """
    data = paired(*trial(), scale=scale)
    problem = ratio_problem(data, link, curves_of(data, link))
    assert problem.statistic(problem.estimate) == pytest.approx(0.0, abs=1e-4)
    number = {"logit": special.expit, "cloglog": lambda e: -np.expm1(-np.exp(e))}[link]
    level = {"logit": math.log(9.0), "cloglog": math.log(math.log(10.0))}[link]
    x, hits, n = data.x, data.hits, data.readings

    def held(log_ratio):
        def lost(p):
            a90_a = p[0]
            a90_b = a90_a + log_ratio if scale == "log" else a90_a * math.exp(log_ratio)
            total = 0.0
            for k, place in enumerate((a90_a, a90_b)):
                pod = np.clip(number(level + math.exp(p[1 + k]) * (x - place)), 1e-12, 1 - 1e-12)
                total -= (hits[k] * np.log(pod) + (n - hits[k]) * np.log1p(-pod)).sum()
            return total

        start = [data.centre, math.log(2.0), math.log(2.0)]
        fine = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 9000}
        return -optimize.minimize(lost, start, method="Nelder-Mead", options=fine).fun

    at = problem.estimate + 0.25
    slope = (held(at + 1e-3) - held(at - 1e-3)) / 2e-3
    assert slope < 0.0
    assert problem.statistic(at) < -0.5
    further = (held(at + 0.2 + 1e-3) - held(at + 0.2 - 1e-3)) / 2e-3
    assert further < slope
    assert problem.statistic(at + 0.2) < problem.statistic(at)


def test_bounds_lie_where_the_statistic_reaches_its_quantile():
    data = paired(*trial())
    problem = ratio_problem(data, "logit", curves_of(data, "logit"))
    for wanted in (1.7, -1.7):
        assert problem.statistic(problem.edge(wanted)) == pytest.approx(wanted, abs=1e-6)
    found = a90_ratio(data, "logit", margin=math.exp(problem.edge(-1.0)))
    assert found.lower < found.ratio < found.upper
    assert found.interval[0] <= found.lower
    assert found.interval[1] >= found.upper
    assert 0.08 < found.inferior_p < 0.3  # normal: 0.16


def test_exchanged_modes_give_the_inverse_ratio_and_bounds():
    """Invariant: lower and upper bound change places and are turned over, but for simulation."""
    names, size, a, b = trial()
    found = a90_ratio(paired(names, size, a, b), "logit")
    other = a90_ratio(paired(names, size, b, a), "logit")
    assert other.ratio == pytest.approx(1.0 / found.ratio, rel=1e-6)
    assert other.upper == pytest.approx(1.0 / found.lower, rel=0.06)
    assert other.lower == pytest.approx(1.0 / found.upper, rel=0.06)


def test_units_order_and_names_change_nothing():
    names, size, a, b = trial()
    found = a90_ratio(paired(names, size, a, b), "logit", margin=1.5)
    turned = np.random.default_rng(3).permutation(len(names))
    other = a90_ratio(paired([names[i] for i in turned], size[turned] / 25.4, a[turned],
                             b[turned]), "logit", margin=1.5)  # fmt: skip
    for name in ("ratio", "upper", "lower", "inferior_p"):
        assert getattr(other, name) == pytest.approx(getattr(found, name), rel=1e-6), name


def test_a_reader_copied_adds_nothing():
    """Three readers who all say the same are one reader: same ratio, nearly the same bounds.

    A reading more of a target is no target more; bounds from independent readings would shrink by
    the root of three.
    """
    names, size, a, b = trial(readers=1)
    one = a90_ratio(paired(names, size, a, b), "logit")
    three = a90_ratio(paired(names, size, np.repeat(a, 3, 1), np.repeat(b, 3, 1)), "logit")
    assert three.ratio == pytest.approx(one.ratio, rel=1e-6)
    assert math.log(three.upper / three.ratio) == pytest.approx(
        math.log(one.upper / one.ratio), rel=0.15
    )


def test_how_alike_readings_are_is_found_again():
    """Readings simulated with a shared part of 0.5 give 0.5, on average of 40 trials; 0.08."""
    found = []
    for seed in range(40):
        data = paired(*trial(seed=100 + seed, readers=3))
        pods = special.expit(math.log(9.0) + 3.2 * (data.x - np.log([[1.0], [1.3]])))
        found.append(alike(special.ndtri(pods), data.hits, data.readings))
    assert np.mean(found) == pytest.approx(0.49, abs=0.08)


def test_modes_that_cannot_be_fitted_give_reasons_not_numbers():
    names, size, a, _ = trial(readers=1)
    step = (size > 1.0).astype(float)[:, None]
    found = compare_modes(
        paired(names, size, a, step), Asked(resamples=199, names=("in x", "in y"))
    )
    assert found.ratio.ratio is None
    assert found.ratio.upper is None
    assert found.ratio.reason.startswith("no a90 in y: every missed target is smaller")
    assert found.curves.wald is None or found.curves.wald > 0
    assert found.curves.exchange_p is not None
    same = compare_modes(paired(names, size, a, a), Asked(resamples=199))
    assert same.test.exact_p == 1.0
    assert same.odds.value is None
    assert same.curves.exchange_p is None
    assert "no slope to compare" in same.curves.reason
    assert same.difference.value == 0.0


def test_draws_keep_targets_whole():
    """In each draw both modes see the same targets: with b equal to a the ratio is 1 in all."""
    names, size, a, _ = trial()
    draws = draw_curves(paired(names, size, a, a), "logit", seed=5, resamples=500).curves
    assert np.array_equal(draws[:, 0], draws[:, 1])
    assert np.unique(draws[:, 0, 2]).size > 400

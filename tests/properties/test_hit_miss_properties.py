"""What must hold for any set of hits and misses."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from qualify.pod.along import pod_lower_bound_at, size_upper_bounds
from qualify.pod.false_calls import proportion_bounds
from qualify.pod.hit_miss import curve
from qualify.pod.hit_miss import fit_hit_miss as fit_with
from qualify.pod.links import LINK_NAMES
from qualify.sizing.error import sizing_error

FEW = settings(max_examples=40, deadline=None, derandomize=True)
LINKS = st.sampled_from(LINK_NAMES)
SCALES = st.sampled_from(["log", "linear"])
BOUNDS = st.sampled_from(["likelihood", "wald"])


def fit_hit_miss(*data, **more):
    """With the likelihood bound, which needs no simulation."""
    return fit_with(*data, **{"bound": "likelihood", **more})


@st.composite
def trials(draw):
    """8 to 60 sizes on a grid, hit with a chance that mostly rises with size."""
    seed = draw(st.integers(0, 2**32 - 1))
    n = draw(st.integers(8, 60))
    slope = draw(st.floats(-1.0, 5.0))
    rng = np.random.default_rng(seed)
    sizes = np.round(rng.uniform(0.3, 6.0, n), 1)
    hits = (rng.random(n) < 1 / (1 + np.exp(-slope * (np.log(sizes) - 0.5)))).astype(int)
    return sizes, hits


def figures(fit):
    return [fit.a50, fit.a90] + [
        fit.bounds[kind][side].value for kind in fit.bounds for side in ("upper", "lower")
    ]


def assert_same(first, second, factor=1.0, rel=1e-9):
    assert [v is None for v in first] == [v is None for v in second]
    for a, b in zip(first, second, strict=True):
        if a is not None:
            assert b == pytest.approx(factor * a, rel=rel, abs=1e-9 * factor)


@FEW
@given(trials(), LINKS, SCALES)
def test_bounds_lie_on_their_own_side(data, link, scale):
    fit = fit_hit_miss(*data, link=link, scale=scale)
    for pair in fit.bounds.values():
        for side in ("upper", "lower"):
            assert (pair[side].value is None) != (pair[side].reason is None)
        if pair["upper"].value is not None:
            assert pair["upper"].value > fit.a90
            assert fit.a50 is None or fit.a90 > fit.a50  # a50 may lie below size 0
        if pair["lower"].value is not None:
            assert pair["lower"].value < fit.a90


@FEW
@given(trials(), LINKS, SCALES)
def test_a_higher_confidence_gives_a_farther_bound_and_a_rising_slope_a_bound(data, link, scale):
    fits = [fit_hit_miss(*data, link=link, scale=scale, confidence=c) for c in (0.9, 0.95)]
    assume(fits[0].outcome == "fitted")
    z_squared = 2.7055434540954  # table: 1.6449 squared
    far = fits[1].bounds["likelihood"]["upper"]
    assert (far.value is not None) == (fits[1].slope_lr > z_squared) or "too far" in far.reason
    if far.value is not None:
        assert fits[0].a90_95 < far.value


@FEW
@given(trials(), LINKS, SCALES, st.sampled_from([1 / 25.4, 25.4, 1000.0, 2.0**-4]))
def test_a_change_of_unit_scales_the_sizes_and_nothing_else(data, link, scale, factor):
    sizes, hits = data
    one = fit_hit_miss(sizes, hits, link=link, scale=scale)
    other = fit_hit_miss(sizes * factor, hits, link=link, scale=scale)
    assert one.outcome == other.outcome
    assume(one.slope_lr is not None and one.slope_lr > 1e-3)
    assert_same(figures(one), figures(other), factor)
    assert one.slope_lr == pytest.approx(other.slope_lr, rel=1e-9)


@FEW
@given(trials(), LINKS, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(data, link, random):
    sizes, hits = data
    order = list(range(len(sizes)))
    random.shuffle(order)
    one, other = (
        fit_hit_miss(sizes, hits, link=link),
        fit_hit_miss(sizes[order], hits[order], link=link),
    )
    assert one == other


@FEW
@given(trials(), LINKS, SCALES)
def test_grouped_rows_give_the_same_curve_as_single_trials(data, link, scale):
    sizes, hits = data
    distinct, where = np.unique(sizes, return_inverse=True)
    found, total = np.bincount(where, weights=hits), np.bincount(where)
    one = fit_hit_miss(sizes, hits, link=link, scale=scale)
    other = fit_hit_miss(distinct, found, total, link=link, scale=scale)
    assert (one.outcome, one.n, one.hits) == (other.outcome, other.n, other.hits)
    assert (one.intercept, one.slope, one.bounds) == (other.intercept, other.slope, other.bounds)
    if one.log_likelihood is not None:
        assert other.log_likelihood >= one.log_likelihood
        assert other.deviance <= one.deviance + 1e-9


@FEW
@given(trials(), LINKS)
def test_the_bound_curve_lies_below_the_curve_and_inverts(data, link):
    fit = fit_hit_miss(*data, link=link)
    assume(fit.outcome == "fitted" and fit.slope_lr > 3.0)
    sizes = np.array([0.5, 1.5, 5.0])
    lower = pod_lower_bound_at(fit, sizes, method="likelihood")
    assert np.all(lower <= curve(fit, sizes))
    assert lower[1] < curve(fit, sizes)[1]
    pods = [0.3, 0.6, 0.9]
    bounds = size_upper_bounds(fit, pods, method="likelihood").sizes
    for pod, size in zip(pods, bounds, strict=True):
        if size is not None:
            back = pod_lower_bound_at(fit, [size], method="likelihood")[0]
            assert back == pytest.approx(pod, abs=1e-7)
    if all(size is not None for size in bounds):
        assert list(bounds) == sorted(bounds)


@FEW
@given(st.integers(1, 300), st.data(), st.floats(0.5, 0.999))
def test_proportion_bounds_enclose_the_share_and_mirror(n, data, confidence):
    k = data.draw(st.integers(0, n))
    lower, upper = proportion_bounds(k, n, confidence)
    mirror_lower, mirror_upper = proportion_bounds(n - k, n, confidence)
    assert lower <= k / n <= upper
    assert (lower, upper) == pytest.approx((1 - mirror_upper, 1 - mirror_lower), abs=1e-12)


@FEW
@given(st.lists(st.floats(-5, 5), min_size=2, max_size=30), st.floats(-3, 3))
def test_sizing_error_follows_a_shift_and_keeps_its_order(errors, shift):
    true = np.linspace(10.0, 20.0, len(errors))
    one = sizing_error(true, true + errors)
    other = sizing_error(true, true + errors + shift)
    assert other.bias == pytest.approx(one.bias + shift, abs=1e-9)
    assert other.sd == pytest.approx(one.sd, abs=1e-9)
    assert other.undersizing_bound == pytest.approx(one.undersizing_bound + shift, abs=1e-6)
    assert one.tolerance[0] <= one.undersizing_bound <= one.bias <= one.tolerance[1]
    assert one.rmse**2 == pytest.approx(one.bias**2 + one.sd**2 * (one.n - 1) / one.n, abs=1e-9)

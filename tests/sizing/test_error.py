"""Sizing error: signs, extremes, and what too few sized targets give."""

import numpy as np
import pytest
from scipy import stats

from qualify.sizing.error import sizing_error
from qualify.sizing.tolerance import one_sided_factor, two_sided_factor


def test_undersized_is_negative_and_extremes_name_their_rows():
    found = sizing_error([5.0, 6.0, 7.0, 8.0], [5.5, 4.0, 7.0, 8.25])
    assert (found.largest_undersizing, found.largest_undersizing_index) == (-2.0, 1)
    assert (found.largest_oversizing, found.largest_oversizing_index) == (0.5, 0)
    assert found.bias < 0


def test_one_sized_target_has_an_error_but_no_scatter():
    found = sizing_error([5.0], [5.5], unsized=4)
    assert (found.n, found.bias, found.rmse, found.unsized) == (1, 0.5, 0.5, 4)
    assert (found.sd, found.bias_ci, found.tolerance, found.undersizing_bound) == (None,) * 4
    assert "at least 2" in found.reason


def test_no_sized_target_gives_no_figure():
    found = sizing_error([], [], unsized=4)
    assert (found.n, found.bias, found.rmse, found.largest_undersizing) == (0, None, None, None)
    assert found.reason == "no target was sized"


@pytest.mark.parametrize(
    ("true", "reported", "more", "words"),
    [
        ([1, 2], [1], {}, "two lists of one length"),
        ([1, 2], [1, float("nan")], {}, "count missed targets as unsized"),
        ([1, 2], [1, 2], {"confidence": 95}, "must lie in 0..1"),
        ([1, 2], [1, 2], {"unsized": -1}, "be 0 or more"),
    ],
)
def test_bad_input_is_refused_in_words(true, reported, more, words):
    with pytest.raises(ValueError, match=words):
        sizing_error(true, reported, **more)


def test_tolerance_intervals_hold_as_often_as_they_say():
    """20,000 normal samples of 8, seed fixed; share within 4 standard errors of 0.95."""
    draws = np.random.default_rng(7).standard_normal((20000, 8))
    mean, sd = draws.mean(axis=1), draws.std(axis=1, ddof=1)
    k = two_sided_factor(8, share=0.9)
    held = stats.norm.cdf(mean + k * sd) - stats.norm.cdf(mean - k * sd)
    allowed = 4 * np.sqrt(0.95 * 0.05 / 20000)
    assert np.mean(held >= 0.9) == pytest.approx(0.95, abs=allowed)
    k = one_sided_factor(8, share=0.9)
    assert np.mean(stats.norm.sf(mean - k * sd) >= 0.9) == pytest.approx(0.95, abs=allowed)


@pytest.mark.parametrize("factor", [one_sided_factor, two_sided_factor])
def test_factors_need_two_values(factor):
    with pytest.raises(ValueError, match="at least 2 values, 1 given"):
        factor(1)

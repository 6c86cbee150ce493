"""Sizes of the same targets in two modes: against scipy's paired tests."""

import numpy as np
import pytest
from scipy import stats

from qualify.comparison.paired_sizes import paired_sizes

TRUE = np.array([1.2, 2.0, 2.9, 3.4, 4.4, 5.1, 6.3, 7.7])
A = np.array([1.3, 2.1, 2.7, 3.6, 4.3, 5.4, 6.0, 7.9])
B = np.array([1.05, 1.4, 2.2, 2.1, 3.6, 3.8, 5.1, 6.15])


def test_mean_difference_and_magnitudes_are_those_of_scipy():
    """Paired t interval and Wilcoxon's signed-rank test, scipy.stats: 1e-12."""
    found = paired_sizes(TRUE, A, B)
    wanted = stats.ttest_rel(B - TRUE, A - TRUE)
    low, high = wanted.confidence_interval(0.95)
    assert found.n == 8
    assert found.difference == pytest.approx(float((B - A).mean()), rel=1e-12)
    assert found.interval == pytest.approx((low, high), rel=1e-12)
    signed = stats.wilcoxon(np.abs(B - TRUE), np.abs(A - TRUE))
    assert found.magnitude_p == pytest.approx(signed.pvalue, rel=1e-12)
    assert found.rmse_b > found.rmse_a


def test_modes_turned_round_turn_the_sign():
    one, other = paired_sizes(TRUE, A, B), paired_sizes(TRUE, B, A)
    assert one.difference == pytest.approx(-other.difference)
    assert one.magnitude_p == pytest.approx(other.magnitude_p)
    assert (one.rmse_a, one.rmse_b) == (other.rmse_b, other.rmse_a)


def test_one_target_tells_nothing_and_equal_sizes_no_difference():
    assert paired_sizes([1.0], [1.1], [0.9]).difference is None
    assert paired_sizes(TRUE, A, A).magnitude_p == 1.0
    with pytest.raises(ValueError, match="as many are wanted"):
        paired_sizes(TRUE, A, B[:3])

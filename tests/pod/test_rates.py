"""False calls per length, area or time, and their clusters. Garwood: `tests/published`."""

import itertools
import math

import numpy as np
import pytest

from qualify.pod.rates import call_rate, dispersion, exposure_for_zero, units_for_zero


def exact_p(calls, share):
    """Share of multinomial outcomes, all listed, whose index is as large as the one seen."""
    n = sum(calls)
    expected = n * np.asarray(share)

    def index(k):
        return float(np.sum((np.asarray(k) - expected) ** 2 / expected))

    total = 0.0
    for k in itertools.product(range(n + 1), repeat=len(calls)):
        if sum(k) == n and index(k) >= index(calls) - 1e-9:
            ways = math.factorial(n) / math.prod(math.factorial(c) for c in k)
            total += ways * float(np.prod(np.asarray(share) ** k))
    return total


@pytest.mark.parametrize(
    ("calls", "exposures"),
    [((5, 0, 0), None), ((3, 1, 1), None), ((2, 3, 0), (1.0, 2.0, 1.0)), ((0, 4), (3.0, 1.0))],
)
def test_p_agrees_with_all_outcomes_listed(calls, exposures):
    """Monte-Carlo error of 9,999 simulations: 0.005 at most; tolerance three of them."""
    found = dispersion(calls, exposures, seed=2)
    share = np.ones(len(calls)) if exposures is None else np.array(exposures)
    share = share / share.sum()
    expected = sum(calls) * share
    own = np.sum((np.array(calls) - expected) ** 2 / expected) / (len(calls) - 1)
    assert found.index == pytest.approx(own, rel=1e-12)
    assert found.p == pytest.approx(exact_p(calls, share), abs=0.015)


def test_index_of_like_specimens_is_variance_over_mean():
    calls = [0, 1, 0, 7, 0, 2]
    found = dispersion(calls, seed=1)
    assert found.index == pytest.approx(np.var(calls, ddof=1) / np.mean(calls), rel=1e-12)


def test_clusters_are_told_with_counts_and_a_bound_over_specimens():
    found = dispersion([0, 0, 9, 0, 0, 1, 0, 0], seed=1)
    assert found.p < 0.001
    (notice,) = found.notices
    assert notice.code == "calls_cluster"
    assert "0, 0, 9, 0, 0, 1, 0, 0" in notice.text
    assert "too small here" in notice.text
    # exact binomial, 2 of 8: P(2 or fewer of 8) = 5 % at the upper bound
    u = found.share_upper
    assert sum(math.comb(8, i) * u**i * (1 - u) ** (8 - i) for i in range(3)) == pytest.approx(0.05)
    assert found.specimens_called == 2


def test_calls_in_proportion_to_length_are_no_clusters():
    found = dispersion([2, 8, 4], [1.0, 4.0, 2.0], seed=1)
    assert (found.index, found.notices) == (0.0, ())
    assert found.p == 1.0


def test_the_same_seed_gives_the_same_p():
    assert dispersion([4, 1, 0], seed=1) == dispersion([4, 1, 0], seed=1)


@pytest.mark.parametrize("calls", [[3], [0, 1, 0], [0, 0]])
def test_too_little_to_see_clusters(calls):
    found = dispersion(calls, seed=1)
    assert (found.index, found.p, found.notices) == (None, None, ())
    assert found.reason == f"clusters need two specimens and two calls; here {len(calls)} and " + (
        str(sum(calls))
    )


def test_no_exposure_gives_no_rate_but_a_reason():
    found = call_rate(0, 0.0, "h")
    assert (found.rate, found.lower, found.upper) == (None, None, None)
    assert found.reason == "no blank material was examined"


def test_rates_of_zero_are_dual_to_the_bound():
    assert call_rate(0, exposure_for_zero(0.2)).upper == pytest.approx(0.2, rel=1e-12)
    n = units_for_zero(0.035)
    assert (1 - 0.05 ** (1 / n)) <= 0.035 < (1 - 0.05 ** (1 / (n - 1)))
    assert units_for_zero(0.5, 0.75) == 2  # 0.5² = 0.25 exactly


@pytest.mark.parametrize(
    ("function", "arguments", "message"),
    [
        (call_rate, (-1, 2.0), "0 or more"),
        (call_rate, (1, 0.0), "calls need exposure"),
        (call_rate, (1, math.inf), "0 or more"),
        (call_rate, (1, 1.0, "m", 1.0), "confidence"),
        (exposure_for_zero, (0.0,), "above 0"),
        (units_for_zero, (1.0,), "between 0 and 1"),
    ],
)
def test_what_is_refused(function, arguments, message):
    with pytest.raises(ValueError, match=message):
        function(*arguments)


@pytest.mark.parametrize(
    ("calls", "exposures", "message"),
    [
        ([], None, "one for each specimen"),
        ([1, 2], [1.0], "one for each specimen"),
        ([1, -1], None, "whole numbers"),
        ([1, 0.5], None, "whole numbers"),
        ([1, 2], [1.0, 0.0], "above 0"),
    ],
)
def test_specimens_that_are_refused(calls, exposures, message):
    with pytest.raises(ValueError, match=message):
        dispersion(calls, exposures, seed=1)

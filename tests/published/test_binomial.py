"""Exact binomial bounds against R, closed forms and tables of the trade."""

import json
from pathlib import Path

import pytest

from qualify.pod.false_calls import false_call_rate, proportion_bounds, smallest_trial

R = json.loads((Path(__file__).parent / "data" / "binomial_r.json").read_text())
# 90/95 demonstrations with 0 to 15 misses. Each n also follows from exact bounds in R
# (`demonstrations_90_95` in data/binomial_r.json); 29, 46, 61 are common practice.
TABLE_90_95 = [29, 46, 61, 76, 89, 103, 116, 129, 142, 154, 167, 179, 191, 203, 215, 227]
# Zero calls on n blanks, upper 95 % bound in per cent: 1 - 0.05^(1/n), rounded as printed.
ZERO_CALLS = [(20, 14, 0), (29, 9.8, 1), (40, 7.2, 1), (60, 4.9, 1), (84, 3.5, 1), (120, 2.5, 1)]
ZERO_CALLS += [(144, 2.1, 1), (180, 1.7, 1)]
THREE_CALLS = [(60, 12.4), (120, 6.3), (180, 4.3)]  # 3 of n, same table


def test_smallest_demonstrations_of_90_95():
    assert [smallest_trial(misses) for misses in range(16)] == TABLE_90_95


@pytest.mark.parametrize("case", R["demonstrations_90_95"])
def test_a_demonstration_passes_at_n_and_fails_with_one_fewer(case):
    n, misses = case["n"], case["misses"]
    assert smallest_trial(misses) == n
    assert proportion_bounds(n - misses, n)[0] == pytest.approx(case["lower"], rel=1e-12)
    fewer = proportion_bounds(n - 1 - misses, n - 1)[0]
    assert fewer == pytest.approx(case["lower_with_one_fewer"], rel=1e-12)
    assert fewer < 0.9 <= case["lower"]


@pytest.mark.parametrize("case", R["cases"])
def test_bounds_agree_with_r(case):
    lower, upper = proportion_bounds(case["k"], case["n"])
    assert lower == pytest.approx(case["lower"], rel=1e-12)
    assert upper == pytest.approx(case["upper"], rel=1e-12)


@pytest.mark.parametrize(("n", "per_cent", "digits"), ZERO_CALLS)
def test_rule_of_zero(n, per_cent, digits):
    found = false_call_rate(n, 0)
    assert found.rate == 0.0
    assert found.lower_95 == 0.0
    assert found.upper_95 == pytest.approx(1 - 0.05 ** (1 / n), rel=1e-12)
    assert round(100 * found.upper_95, digits) == per_cent


@pytest.mark.parametrize(("n", "per_cent"), THREE_CALLS)
def test_three_calls(n, per_cent):
    assert round(100 * false_call_rate(n, 3).upper_95, 1) == per_cent


def test_twelve_of_twelve_shows_77_9_per_cent():
    """Closed form: 0.05^(1/12) = 0.7791."""
    assert round(100 * proportion_bounds(12, 12)[0], 1) == 77.9


def test_other_shares_and_confidences():
    """Common practice: 59 of 59 for 95/95; 22 of 22 for 90/90. Closed form log(1-c)/log(p)."""
    assert smallest_trial(0, pod=0.95) == 59
    assert smallest_trial(0, confidence=0.9) == 22


def test_no_blanks_give_no_number_but_a_reason():
    found = false_call_rate(0, 0)
    assert (found.rate, found.upper_95, found.lower_95) == (None, None, None)
    assert found.reason == "no blank grading unit was examined"


def test_calls_may_outnumber_called_units():
    found = false_call_rate(40, 2, calls=5)
    assert (found.rate, found.calls) == (0.05, 5)


@pytest.mark.parametrize("counts", [(10, 11), (10, -1), (-1, 0)])
def test_impossible_counts_are_refused(counts):
    with pytest.raises(ValueError, match="is no proportion"):
        false_call_rate(*counts)


@pytest.mark.parametrize(("called", "calls"), [(2, 1), (0, 3)])
def test_calls_must_agree_with_called_units(called, calls):
    with pytest.raises(ValueError, match="each called unit has one or more"):
        false_call_rate(10, called, calls)

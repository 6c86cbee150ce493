"""Large targets: exact bound of the share hit, and how many more would show a POD above 0.90."""

import numpy as np
import pytest

from qualify.pod.false_calls import proportion_bounds
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.lapses import large_target_lapses


def trial(large, missed=0):
    """A curve about size 2 whose a90 stays below 10, with `large` targets at size 40."""
    size = np.concatenate([np.repeat(np.linspace(1, 4, 13), 6), np.full(large, 40.0)])
    hits = np.concatenate([np.tile([0, 0, 0, 0, 0, 1], 4), np.tile([1, 1, 0, 1, 1, 0], 5)])
    hits = np.concatenate([hits, np.ones(24), np.ones(large)])
    hits[len(hits) - missed :] = 0
    return fit_hit_miss(size, hits, bound="likelihood")


@pytest.mark.parametrize("targets", [1, 5, 14, 28, 29, 45])
def test_all_hit_of_m_gives_005_to_the_power_1_over_m(targets):
    """Clopper and Pearson 1934 in closed form; 29 of 29 is the trade's 90/95."""
    found = large_target_lapses(trial(targets))
    assert (found.targets, found.hits) == (targets, targets)
    assert found.lower_bound == pytest.approx(0.05 ** (1 / targets), rel=1e-10)
    assert found.further == max(0, 29 - targets)
    excluded = "excludes a plateau of POD at or below 0.90" in found.sentences[1]
    assert excluded == (targets >= 29)


@pytest.mark.parametrize(("missed", "needed"), [(0, 29), (1, 46), (2, 61), (3, 76)])
def test_targets_needed_are_the_demonstration_table_s(missed, needed):
    """29, 46, 61, 76 targets for 90/95 with 0 to 3 misses: the table of binomial demonstrations."""
    found = large_target_lapses(trial(20, missed))
    assert found.targets - found.hits == missed
    assert found.further == needed - 20
    total = found.targets + found.further
    assert proportion_bounds(total - missed, total)[0] >= 0.9
    assert proportion_bounds(total - missed - 1, total - 1)[0] < 0.9
    assert f"{needed - 20} more such targets, all hit" in found.sentences[1]


def test_the_rule_says_that_it_is_our_own_and_what_the_bound_rests_on():
    found = large_target_lapses(trial(10, 1))
    assert found.from_size == pytest.approx(1.5 * trial(10, 1).a90)
    assert "our own rule, no source" in found.sentences[-1]
    assert "exact only for a size fixed beforehand" in found.sentences[-1]
    assert any("1 of them was missed" in said for said in found.sentences)


def test_no_large_target_shows_nothing():
    found = large_target_lapses(trial(0))
    assert (found.targets, found.lower_bound, found.further) == (0, None, 29)
    assert "nothing is shown" in found.sentences[0]
    assert found.reason


def test_without_a90_nothing_is_large():
    fit = fit_hit_miss(np.arange(1, 11), [0] * 5 + [1] * 5, bound="likelihood")
    found = large_target_lapses(fit)
    assert (found.from_size, found.lower_bound, found.further) == (None, None, None)
    assert "no a90" in found.reason


@pytest.mark.parametrize(("multiple", "confidence"), [(0.5, 0.95), (float("inf"), 0.95), (2, 1.0)])
def test_out_of_range_is_refused(multiple, confidence):
    with pytest.raises(ValueError, match="must"):
        large_target_lapses(trial(5), multiple, confidence)

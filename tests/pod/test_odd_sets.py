"""Sets that trials really give and that break fits: the right outcome, a sentence, no warning.

RuntimeWarning is an error in this project's tests; other warnings are made one here.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from qualify.pod.along import data_of
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.holds import how_often

pytestmark = pytest.mark.filterwarnings("error")

SETS = Path(__file__).parents[1] / "published" / "data" / "hit_miss_sets.json"
FLAT = json.loads(SETS.read_text())["invented_flat"]
LADDER = [0.5, 0.7, 1.0, 1.4, 2.0, 2.8, 4.0]
FIVE = np.repeat([0.5, 1.0, 1.5, 2.0, 3.0], 12)
TIED = np.concatenate([[0] * 12, [1] * 3 + [0] * 9, [1] * 7 + [0] * 5, [1] * 11 + [0], [1] * 12])


def decades(n=60):
    rng = np.random.default_rng(11)
    sizes = np.geomspace(1e-3, 1e3, n)
    return sizes, (rng.random(n) < 1 / (1 + np.exp(-1.5 * np.log(sizes)))).astype(int)


def many(n=10_000):
    rng = np.random.default_rng(12)
    sizes = np.exp(rng.uniform(np.log(0.3), np.log(6.0), n))
    return sizes, (rng.random(n) < 1 / (1 + np.exp(-3.0 * np.log(sizes / 1.5)))).astype(int)


# name, sizes, hits, outcome, whether a bound exists, words that a practitioner can act on
CASES = [
    ("separated", LADDER, [0, 0, 0, 1, 1, 1, 1], "separated", True, "More targets between these"),
    ("quasi", [*LADDER, 1.4], [0, 0, 0, 1, 1, 1, 1, 0], "quasi_separated", True, "around this"),
    ("decreasing", LADDER, [1, 1, 1, 0, 1, 0, 0], "decreasing", False, "Check the labels"),
    ("flat", FLAT["size"], FLAT["hits"], "fitted", False, "not shown to rise"),
    ("all hit", LADDER, [1] * 7, "all_hit", False, "Exact one-sided lower bound"),
    ("all missed", LADDER, [0] * 7, "all_missed", False, "No curve can be fitted"),
    ("one target", [2.0], [1], "all_hit", False, "All 1 of 1 were hit"),
    ("one size", [2.0] * 9, [1] * 6 + [0] * 3, "too_few", False, "at least 5 trials and 2 sizes"),
    (
        "two sizes",
        [1.0] * 20 + [3.0] * 20,
        [1, 0, 0, 0] * 5 + [1] * 18 + [0] * 2,
        "fitted",
        True,
        "",
    ),
    ("ties", FIVE, TIED, "fitted", True, ""),
    ("six decades", *decades(), "fitted", True, ""),
]


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog", "loglog"])
@pytest.mark.parametrize(
    ("name", "sizes", "hits", "outcome", "bounded", "words"), CASES, ids=[c[0] for c in CASES]
)
def test_right_outcome_and_a_sentence(name, sizes, hits, outcome, bounded, words, link, recwarn):
    fit = fit_hit_miss(sizes, hits, link=link, also=("firth", "bootstrap"), simulations=999)
    assert fit.outcome == outcome
    assert (fit.a90_95 is not None) is bounded
    if not bounded:
        assert fit.bounds["calibrated"]["upper"].reason
    assert words in " ".join(notice.text for notice in fit.notices)
    if fit.a90 is not None:
        assert fit.a90_lower_95 < fit.a90 < fit.a90_95
    assert not recwarn.list


def test_a_very_large_trial_is_bounded_in_good_time():
    """10,000 targets: 999 simulated trials give a bound known to a part in a thousand."""
    fit = fit_hit_miss(*many())
    bound = fit.bounds["calibrated"]["upper"]
    assert bound.simulations == 999
    assert bound.error < 2e-3 * bound.value
    assert bound.value == pytest.approx(fit.bounds["likelihood"]["upper"].value, rel=5e-3)
    # truth: logit(0.9) / 3 above ln 1.5
    assert fit.a90 == pytest.approx(1.5 * np.exp(np.log(9.0) / 3.0), rel=0.05)


def test_sizes_over_six_decades_on_a_linear_axis():
    """One far target pulls the scale, not the curve."""
    sizes, hits = decades()
    fit = fit_hit_miss(sizes, hits, scale="linear", simulations=999)
    assert fit.outcome == "fitted"
    assert fit.a90_95 is None or fit.a90_95 > fit.a90


@pytest.mark.parametrize("name", ["separated", "two sizes", "ties"])
def test_how_often_the_bound_holds_can_be_asked_of_odd_sets_too(name):
    _, sizes, hits, *_ = next(case for case in CASES if case[0] == name)
    fit = fit_hit_miss(sizes, hits, simulations=999)
    data = data_of(fit)
    psi = (np.log(fit.a90_95) - data.centre) / data.spread
    held = how_often(data, "calibrated", psi=psi, replicates=500)
    assert all(0.85 < one.share <= 1.0 for one in held.values())
    assert all(one.error > 0.0 for one in held.values())

"""The second contract: numbers agree within the tolerance declared for their statistic."""

import copy

import pytest

from qualify.evidence.comparison import compare_results, tolerance_of


def estimate(statistic: str, value: float | None, unit: str = "mm") -> dict:
    return {
        "id": f"after_remedy/{statistic}/side_drilled_hole/coherence/R1",
        "statistic": statistic,
        "value": value,
        "unit": unit,
        "reason": None if value is not None else "the slope is not shown",
    }


RESULTS = {
    "estimates": [
        estimate("a90_95_likelihood", 0.912345678901),
        estimate("hits", 41, "count"),
        estimate("false_call_rate_upper", 0.0612345678, "fraction"),
        estimate("a90_ratio_upper", None, "ratio"),
        estimate("a90_95", 1.9),
    ],
    "verdicts": [{"criterion": "C1", "status": "met", "reason": "a90/95 0.91 mm is at most 1.00."}],
    "notices": [{"code": "few_targets", "text": "40 trials: fewer than 60."}],
}


def changed(**how) -> dict:
    copy_ = copy.deepcopy(RESULTS)
    for place, value in how.items():
        part, index, key = place.split("__")
        copy_[part][int(index)][key] = value
    return copy_


def test_a_run_agrees_with_itself():
    assert compare_results(RESULTS, copy.deepcopy(RESULTS)) == []


@pytest.mark.parametrize(
    ("how", "differs"),
    [
        ({"estimates__0__value": 0.912345678901 * (1 + 5e-8)}, False),
        ({"estimates__0__value": 0.912345678901 * (1 + 2e-7)}, True),
        ({"estimates__0__value": None}, True),
        ({"estimates__1__value": 42}, True),
        ({"estimates__2__value": 0.0612345678 * (1 + 5e-11)}, False),
        ({"estimates__2__value": 0.0612345678 * (1 + 5e-10)}, True),
        ({"estimates__3__reason": "too few targets"}, True),
        ({"estimates__4__value": 1.95}, False),  # one step of a simulated bound's rounding
        ({"estimates__4__value": 2.2}, True),
        ({"verdicts__0__status": "not demonstrated"}, True),
        ({"verdicts__0__reason": "a90/95 0.92 mm is at most 1.00."}, False),
        ({"verdicts__0__reason": "a90/95 0.93 mm is at most 1.00."}, True),
        ({"notices__0__text": "41 trials: fewer than 60."}, True),
    ],
)
def test_each_statistic_has_its_tolerance(how, differs):
    assert bool(compare_results(RESULTS, changed(**how))) is differs
    assert bool(compare_results(changed(**how), RESULTS)) is differs


def test_an_estimate_that_is_gone_is_a_difference():
    less = copy.deepcopy(RESULTS)
    del less["estimates"][1]
    assert [d.second for d in compare_results(RESULTS, less)] == ["absent"]


def test_counts_are_exact_and_bounds_of_curves_are_not():
    assert tolerance_of("targets", "count") == 0
    assert tolerance_of("a90_lower_95_wald", "mm") == 1e-7
    assert tolerance_of("sizing_rmse", "mm") == 1e-10

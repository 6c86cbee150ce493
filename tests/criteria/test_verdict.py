"""Verdicts: met, not met, not demonstrated, on the right side and inside the tested sizes."""

import pytest
from pydantic import ValidationError

from qualify.criteria.estimate import Estimate, Estimates
from qualify.criteria.rules import Criterion
from qualify.criteria.verdict import combined, judge


def criterion(statistic="a90_95", limit=1.0, unit="mm", **more) -> Criterion:
    base = {
        "id": "C1",
        "statement": "holes of 1 mm are found",
        "statistic": statistic,
        "population": "side_drilled_hole",
        "mode": "coherence",
        "reader": "worst",
        "limit": limit,
        "unit": unit,
        "source": "invented",
        "verified": True,
    }
    return Criterion.model_validate({**base, **more})


def estimate(statistic, value, reader="R1", *, in_range=None, reason=None, **more) -> Estimate:
    base = {
        "basis": "as_found",
        "statistic": statistic,
        "population": "side_drilled_hole",
        "mode": "coherence",
        "reader": reader,
        "side": "none",
        "method": "m",
        "value": value,
        "unit": "mm",
        "reason": reason,
        "rows": 60,
        "in_range": in_range,
    }
    return Estimate(**{**base, **more})


def status(criteria, estimates, readers=("R1",)):
    verdicts = judge(
        criteria, Estimates(tuple(estimates)), "as_found", unexamined_limit=0.05, readers=readers
    )
    return combined(verdicts, criteria[0].id, "as_found"), verdicts


@pytest.mark.parametrize(
    ("upper", "lower", "in_range", "expected"),
    [
        (0.98, 0.70, True, "met"),
        (1.00, 0.70, True, "met"),
        (1.02, 0.70, True, "not demonstrated"),
        (1.60, 1.01, True, "not met"),
        (None, 0.70, None, "not demonstrated"),
        (None, 1.01, None, "not met"),
        (0.98, 0.70, False, "not demonstrated"),
    ],
)
def test_a90_95_against_its_limit(upper, lower, in_range, expected):
    """One-sided: met by the upper bound, not met by the lower one, in the tested range only."""
    found, verdicts = status(
        [criterion()],
        [
            estimate(
                "a90_95", upper, in_range=in_range, reason="no bound" if upper is None else None
            ),
            estimate("a90_lower_95", lower, in_range=True),
        ],
    )
    assert found == expected
    assert verdicts[0].reason
    assert verdicts[0].would_decide


def test_the_worst_reader_governs():
    good = [estimate("a90_95", 0.8, "R1", in_range=True), estimate("a90_lower_95", 0.5, "R1")]
    poor = [estimate("a90_95", 1.3, "R2", in_range=True), estimate("a90_lower_95", 0.6, "R2")]
    found, verdicts = status([criterion()], good + poor, ("R1", "R2"))
    assert found == "not demonstrated"
    assert verdicts[0].governing.endswith("/R2")


def test_of_two_that_meet_it_the_worse_is_named():
    pairs = [(0.8, "R1"), (0.95, "R2"), (0.7, "R3")]
    estimates = [estimate("a90_95", v, r, in_range=True) for v, r in pairs]
    _, verdicts = status([criterion()], estimates, ("R1", "R2", "R3"))
    assert verdicts[0].status == "met"
    assert verdicts[0].value == 0.95


def test_a_reader_without_a_number_demonstrates_nothing():
    found, _ = status([criterion()], [estimate("a90_95", 0.8, in_range=True)], ("R1", "R2"))
    assert found == "not demonstrated"


def test_every_reader_without_a_number_is_named_with_the_reason():
    """Those of one reason together: a client must see that it is not one reader's misfortune."""
    reasons = {"R1": "no curve rises", "R2": "too few misses", "R3": "no curve rises"}
    estimates = [
        estimate(name, None, reader, reason=why)
        for reader, why in reasons.items()
        for name in ("a90_95", "a90_lower_95")
    ]
    _, (verdict,) = status([criterion()], estimates, tuple(reasons))
    assert verdict.status == "not demonstrated"
    assert "R1, R3: no curve rises; R2: too few misses" in verdict.reason


def test_too_much_left_unexamined():
    lost = estimate("not_examined_fraction", 0.06, unit="fraction")
    found, verdicts = status([criterion()], [estimate("a90_95", 0.8, in_range=True), lost])
    assert found == "not demonstrated"
    assert "6.0 %" in verdicts[0].reason
    just = estimate("not_examined_fraction", 0.05, unit="fraction")
    assert status([criterion()], [estimate("a90_95", 0.8, in_range=True), just])[0] == "met"


def test_clauses_are_judged_together():
    """Observed rate at most 5 % and its bound at most 10 %: 3 of 60 fails the second only."""
    blank = {"population": "blank_units", "unit": "fraction"}
    clauses = [
        criterion("false_call_rate", 0.05, "fraction", population="blank_units"),
        criterion("false_call_rate_upper", 0.10, "fraction", population="blank_units"),
    ]
    estimates = [
        estimate("false_call_rate", 0.05, **blank),
        estimate("false_call_rate_upper", 0.1246, **blank),
        estimate("false_call_rate_lower", 0.0138, **blank),
    ]
    found, verdicts = status(clauses, estimates)
    assert [v.status for v in verdicts] == ["met", "not demonstrated"]
    assert found == "not demonstrated"


def test_bias_counts_by_its_size():
    found, _ = status([criterion("sizing_bias", 0.5)], [estimate("sizing_bias", -0.6)])
    assert found == "not met"
    found, _ = status([criterion("sizing_bias", 0.5)], [estimate("sizing_bias", -0.4)])
    assert found == "met"


@pytest.mark.parametrize(
    ("statistic", "names", "limit", "values", "expected"),
    [
        ("undersizing_95_95", ("undersizing_95_95", "undersizing_95_95_lower"), 1.0,
         (0.9, 0.4), "met"),
        ("undersizing_95_95", ("undersizing_95_95", "undersizing_95_95_lower"), 1.0,
         (1.1, 0.4), "not demonstrated"),
        ("undersizing_95_95", ("undersizing_95_95", "undersizing_95_95_lower"), 1.0,
         (1.9, 1.1), "not met"),
        ("sizing_rmse_upper", ("sizing_rmse_upper", "sizing_rmse_lower"), 0.5,
         (0.5, 0.3), "met"),
        ("sizing_rmse_upper", ("sizing_rmse_upper", "sizing_rmse_lower"), 0.5,
         (0.6, 0.3), "not demonstrated"),
        ("sizing_rmse_upper", ("sizing_rmse_upper", "sizing_rmse_lower"), 0.5,
         (0.9, 0.6), "not met"),
        ("sizing_rmse_upper", ("sizing_rmse_upper", "sizing_rmse_lower"), 0.5,
         (None, None), "not demonstrated"),
    ],
)  # fmt: skip
def test_bounds_on_sizing_are_held_by_their_far_and_near_side(
    statistic, names, limit, values, expected
):
    told = [estimate(n, v, reason=None if v else "few") for n, v in zip(names, values, strict=True)]
    assert status([criterion(statistic, limit)], told)[0] == expected


@pytest.mark.parametrize(("count", "expected"), [(10, "met"), (9, "not met")])
def test_a_smallest_number_of_sized_targets(count, expected):
    """The reader who sized fewest governs."""
    sized = [estimate("sized", n, r, unit="count") for n, r in ((count, "R1"), (15, "R2"))]
    found, verdicts = status([criterion("sized", 10, "count")], sized, ("R1", "R2"))
    assert found == expected
    assert verdicts[0].governing.endswith("/R1")


def test_a_recalled_clause_is_not_judged_and_shows_no_limit():
    recalled = criterion("sizing_rmse", 3.2, verified=False)
    found, verdicts = status([recalled], [estimate("sizing_rmse", 1.0)])
    assert found == "not judged"
    assert "3.2" not in verdicts[0].reason + verdicts[0].would_decide


def test_what_was_not_analysed_is_not_demonstrated():
    ratio = criterion("a90_ratio", 1.15, "ratio")
    assert status([ratio], [])[0] == "not demonstrated"
    pooled = criterion(reader="pooled")
    assert status([pooled], [estimate("a90_95", 0.5, in_range=True)])[0] == "not demonstrated"


@pytest.mark.parametrize(
    ("asked", "name"), [("pooled", "all_readers"), ("new_reader", "new_reader")]
)
def test_readers_together_are_judged_by_their_own_bound(asked, name):
    """Not by that of one reader, better or worse."""
    told = [
        estimate("a90_95", 0.9, "R1", in_range=True),
        estimate("a90_95", 0.5, name, in_range=True),
    ]
    found, verdicts = status([criterion(limit=0.8, reader=asked)], told, ("R1", "R2"))
    assert found == "met"
    assert verdicts[0].governing.endswith(name)


@pytest.mark.parametrize(
    "wrong",
    [
        {"population": "blank_units"},
        {"population": None},
        {"mode": None},
        {"reader": None},
        {"statistic": "set_overlap"},
        {"statistic": "false_call_rate"},
        {"statistic": "a95_95"},
        {"limit": float("nan")},
    ],
)
def test_a_criterion_that_does_not_fit_its_statistic_is_refused(wrong):
    with pytest.raises(ValidationError):
        criterion(**wrong)

"""Sizes far beyond those tested are told in words: 10 times is our own choice, no source."""

import pytest

from qualify.criteria.estimate import Estimate
from qualify.study.notice import StudyNotice
from qualify.study.told import TOO_FAR, told_notices, told_sizes

TESTED = {"side_drilled_hole": (0.2, 2.0)}


def number(statistic, value, unit="mm", population="side_drilled_hole", in_range=False):
    where = ("side", "made", value, unit, None, 1, in_range)
    return Estimate("as_found", statistic, population, "linear", "R1", *where)


@pytest.mark.parametrize(
    ("value", "told"),
    [(20.0, True), (20.1, False), (0.02, True), (0.0199, False), (1.0, True), (1e52, False)],
)
def test_ten_times_beyond_is_told_and_more_is_not(value, told):
    (one,) = told_sizes([number("a90_95", value)], TESTED)
    assert (one.value, one.reason) == ((value, None) if told else (None, TOO_FAR))
    assert one.in_range is (False if told else None)


def test_a_small_simulation_error_is_no_small_size():
    sizes = [number("a90_95", 1.5), number("a90_95_simulation_error", 0.004)]
    assert told_sizes(sizes, TESTED) == sizes


def test_with_a_size_goes_its_simulation_error():
    sizes = [number("a90_95", 1e9), number("a90_95_simulation_error", 4e7)]
    assert [one.value for one in told_sizes(sizes, TESTED)] == [None, None]


@pytest.mark.parametrize(
    "other",
    [
        number("sizing_rmse", 400.0),
        number("a90_ratio", 400.0, unit="ratio"),
        number("a90", 400.0, population="crack"),
    ],
)
def test_other_numbers_and_kinds_without_sizes_stay(other):
    assert told_sizes([other], TESTED) == [other]


def test_a_notice_does_not_give_the_number_that_is_not_told():
    about = "as_found/side_drilled_hole/linear/R1"
    notices = [StudyNotice("coarse_simulation", "known to 4e7 only", about),
               StudyNotice("few_targets", "fewer than 60", about)]  # fmt: skip
    far = told_sizes([number("a90_95", 1e9)], TESTED)
    assert told_notices(notices, far) == notices[1:]
    near = told_sizes([number("a90_95", 1.5)], TESTED)
    assert told_notices(notices, near) == notices

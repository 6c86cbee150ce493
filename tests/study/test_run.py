"""Deviations, remedies, and the two results they lead to, on a study small enough to count."""

import pytest

from qualify.study.run import run_study
from tests.study.small import (
    make_declaration,
    make_inputs,
    make_plan,
    make_sets,
    remedy,
    study_criterion,
    whole_look,
)

HIT_1 = {"x_mm": 60.5, "z_mm": 20.5, "size_mm": 0.6, "size_method": "6 dB drop"}
HIT_2 = {"x_mm": 180.0, "z_mm": 30.0, "size_mm": 0.8, "size_method": "6 dB drop"}
CALLS = whole_look({1: HIT_1, 3: HIT_2, 2: {"x_mm": 110, "z_mm": 9, "cause": "grain"}})
CRITERIA = [
    study_criterion("C5", "set_overlap", 0),
    study_criterion("C6", "software_revisions", 1),
]


def value(
    result, statistic, population="side_drilled_hole", *, basis="after_remedy", mode="linear"
):
    return result.estimates.value(basis, statistic, population, mode, "R1")


def test_counts_by_hand():
    result = run_study(make_inputs(CALLS))
    assert value(result, "targets") == 2
    assert value(result, "hits") == 2
    assert value(result, "blank_units", "blank_units") == 2
    assert value(result, "units_called", "blank_units") == 1
    assert value(result, "false_call_rate", "blank_units") == 0.5
    assert value(result, "false_call_rate_grain_units", "blank_units") == 1
    assert value(result, "sizing_bias") == pytest.approx((0.1 - 0.2) / 2)
    assert value(result, "largest_undersizing") == pytest.approx(0.2)
    assert not result.deviations
    assert result.headline == "after_remedy"


def overlap_study(*signers, action="removed", with_remedy=True):
    """H1 also stands in the open set, on another block, before the trial ends."""
    declaration = make_declaration(
        remedies=[remedy("set_overlap", action, *signers)] if with_remedy else []
    )
    sets = make_sets(("H1", "other", "open", "2026-02-01"))
    plan = make_plan(criteria=CRITERIA)
    return run_study(make_inputs(CALLS, plan=plan, declaration=declaration, sets=sets))


def statuses(result, criterion):
    return {v.basis: v.status for v in result.verdicts if v.criterion == criterion}


def test_a_target_of_two_sets_is_removed_with_its_unit():
    result = overlap_study("C-1")
    assert [(d.kind, d.subject, d.independent) for d in result.deviations] == [
        ("set_overlap", "H1", True)
    ]
    assert value(result, "targets", basis="as_found") == 2
    assert value(result, "targets") == 1
    assert value(result, "sized") == 1
    assert statuses(result, "C5") == {"as_found": "not met", "after_remedy": "met"}
    assert result.headline == "after_remedy"


def test_a_remedy_that_improves_needs_an_independent_signatory():
    """Signed by the developer, or by the reader alone: the claim box stands as found."""
    for signer in ("B-1", "C-2", "X-9"):
        result = overlap_study(signer)
        assert result.headline == "as_found"
        assert "independent" in result.headline_reason


def test_acceptance_leaves_the_count_as_it_is():
    result = overlap_study("C-1", "C-3", action="accepted")
    assert statuses(result, "C5") == {"as_found": "not met", "after_remedy": "not met"}


def test_without_a_remedy_results_stand_as_found():
    result = overlap_study(with_remedy=False)
    assert result.headline == "as_found"


def test_sets_are_tested_at_the_time_of_use():
    """A blind target that became open after the trial is no overlap."""
    sets = make_sets(("H1", "other", "open", "2026-03-21"))
    assert not run_study(make_inputs(CALLS, sets=sets)).deviations
    on_last_day = make_sets(("H1", "other", "open", "2026-03-20"))
    assert run_study(make_inputs(CALLS, sets=on_last_day)).deviations


def test_no_history_of_sets_demonstrates_nothing():
    result = run_study(make_inputs(CALLS, sets=(), plan=make_plan(criteria=CRITERIA)))
    assert statuses(result, "C5")["as_found"] == "not demonstrated"
    assert statuses(result, "C6")["as_found"] == "not demonstrated"


SOFTWARE = [{"stage": stage, "name": "imaging", "revision": "1.0"} for stage in ("set-up", "trial")]


def test_units_read_under_another_revision_are_read_again():
    """First reading: a miss of H1 under 1.1. Re-reading under 1.0 finds it, and replaces it."""
    calls = [
        *whole_look({3: HIT_2}, software="1.1"),
        *(c for c in whole_look({1: HIT_1}, software="1.0", re_reading=True) if c.row.unit < 3),
    ]
    declaration = make_declaration(
        software=SOFTWARE, remedies=[remedy("software_revision", "re-read", "C-1")]
    )
    result = run_study(
        make_inputs(calls, declaration=declaration, plan=make_plan(criteria=CRITERIA))
    )
    assert [d.subject for d in result.deviations] == ["R1/linear"]
    assert value(result, "hits", basis="as_found") == 1
    assert value(result, "hits") == 2
    assert statuses(result, "C6")["as_found"] == "not met"
    assert statuses(result, "C6")["after_remedy"] == "not met"  # units 3 and 4 were not read again


def test_all_units_read_again_mend_the_revision():
    calls = [
        *whole_look({3: HIT_2}, software="1.1"),
        *whole_look({1: HIT_1}, software="1.0", re_reading=True),
    ]
    declaration = make_declaration(
        software=SOFTWARE, remedies=[remedy("software_revision", "re-read", "C-1")]
    )
    result = run_study(
        make_inputs(calls, declaration=declaration, plan=make_plan(criteria=CRITERIA))
    )
    assert statuses(result, "C6") == {"as_found": "not met", "after_remedy": "met"}
    assert value(result, "hits") == 1


def test_a_call_over_two_units_and_a_call_beside_its_unit():
    calls = whole_look(
        {1: {"x_mm": 90, "z_mm": 40, "length_x_mm": 34}, 4: {"x_mm": 190, "z_mm": 30}}
    )
    kinds = [d.kind for d in run_study(make_inputs(calls)).deviations]
    assert kinds == ["call_over_two_units", "call_unit_mismatch"]


def test_one_person_in_two_roles_and_a_late_freeze():
    roles = [
        {"role": role, "person": "B-1", "party": "B", "knew_truth": "all"}
        for role in ("developer", "truth_custodian")
    ]
    events = [
        {"kind": "truth_opened", "on": "2026-02-27", "by": "B-1"},
        {"kind": "threshold_frozen", "on": "2026-02-28", "by": "B-1"},
    ]
    declaration = make_declaration(roles=roles, events=events)
    found = run_study(make_inputs(CALLS, declaration=declaration)).deviations
    assert [(d.kind, d.subject) for d in found] == [
        ("person_in_two_roles", "B-1"),
        ("frozen_after_opening", "plan_frozen"),
        ("frozen_after_opening", "threshold_frozen"),
    ]


def test_events_nobody_declared_are_not_recorded():
    events = run_study(make_inputs(CALLS)).events
    assert {event.status for event in events} == {"not recorded"}
    assert "truth_sealed" in [event.kind for event in events]


def test_a_flawed_unit_not_examined_is_a_miss_and_left_out_in_the_sensitivity():
    calls = whole_look({1: {"verdict": "not_examined"}, 3: HIT_2})
    result = run_study(make_inputs(calls))
    assert (value(result, "hits"), value(result, "targets")) == (1, 2)
    assert value(result, "not_examined_fraction") == 0.5
    assert value(result, "targets", basis="examined_only") == 1
    assert value(result, "missed_not_sized", basis="examined_only") == 0
    excluded = make_plan(not_examined={"flawed": "excluded"})
    assert value(run_study(make_inputs(calls, plan=excluded)), "targets") == 1


def test_a_blank_unit_not_examined_leaves_the_denominator():
    calls = whole_look({2: {"verdict": "not_examined"}})
    result = run_study(make_inputs(calls))
    assert value(result, "blank_units", "blank_units") == 1
    assert value(result, "false_call_rate_upper", "blank_units") == pytest.approx(0.95)


def test_repeats_are_not_counted_as_targets():
    again = whole_look({1: HIT_1}, repeat=2)
    result = run_study(make_inputs([*CALLS, *again]))
    assert value(result, "targets") == 2
    assert "repeats_not_counted" in [n.code for n in result.notices]


def test_each_reader_stands_alone():
    other = whole_look({}, reader="R2")
    result = run_study(make_inputs([*CALLS, *other]))
    assert result.readers == ("R1", "R2")
    assert result.estimates.value("as_found", "hits", "side_drilled_hole", "linear", "R2") == 0
    assert value(result, "hits") == 2


def test_acceptance_needs_two_signatures():
    alone = overlap_study("C-1", action="accepted").deviations[0]
    both = overlap_study("C-1", "C-3", action="accepted").deviations[0]
    assert (alone.independent, both.independent) == (False, True)


def test_where_nothing_is_undersized_the_largest_undersizing_is_zero():
    only_over = {**HIT_1, "size_mm": 0.9}
    result = run_study(make_inputs(whole_look({1: only_over})))
    assert value(result, "largest_undersizing") == 0
    assert value(result, "sizing_bias") == pytest.approx(0.4)


def test_largest_miss_leaves_out_what_was_not_examined():
    """H2 of 1.0 mm was not examined, H1 of 0.5 mm was looked at and missed."""
    result = run_study(make_inputs(whole_look({3: {"verdict": "not_examined"}})))
    assert value(result, "hits") == 0
    assert value(result, "largest_miss") == 0.5


def identical(result):
    return [n for n in result.notices if n.code == "identical_readers"]


def test_readers_who_found_exactly_the_same_are_noticed():
    alike = [*whole_look({1: HIT_1}), *whole_look({1: HIT_1}, reader="R2")]
    (notice,) = identical(run_study(make_inputs(alike)))
    assert "R1, R2 found exactly the same 1 targets" in notice.text
    apart = [*whole_look({1: HIT_1}), *whole_look({3: HIT_2}, reader="R2")]
    assert not identical(run_study(make_inputs(apart)))


def test_a_remedy_that_makes_a_figure_worse_says_so():
    """The largest undersizing grows from 0.20 to 0.30 mm by the re-reading."""
    criterion = study_criterion("C4", "largest_undersizing", 1) | {
        "population": "side_drilled_hole",
        "mode": "linear",
        "reader": "worst",
        "unit": "mm",
    }
    smaller = {**HIT_2, "size_mm": 0.7}
    calls = [
        *whole_look({3: HIT_2}, software="1.1"),
        *whole_look({3: smaller}, software="1.0", re_reading=True),
    ]
    declaration = make_declaration(
        software=SOFTWARE, remedies=[remedy("software_revision", "re-read", "C-1")]
    )
    plan = make_plan(criteria=[*CRITERIA, criterion])
    result = run_study(make_inputs(calls, declaration=declaration, plan=plan))
    assert "make worse: C4 largest undersizing 0.20 mm to 0.30 mm" in result.headline_reason
    better = [
        *whole_look({3: smaller}, software="1.1"),
        *whole_look({3: HIT_2}, software="1.0", re_reading=True),
    ]
    result = run_study(make_inputs(better, declaration=declaration, plan=plan))
    assert "worse" not in result.headline_reason

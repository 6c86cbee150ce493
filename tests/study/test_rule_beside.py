"""A rule beside readers: told by the same analysis, and never counted with them."""

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "dossier"))
from made_study import inputs_of

from qualify.dossier.rule_answer import rule_answer
from qualify.dossier.rule_views import as_study, modes_read, size_depth_view
from qualify.dossier.style import register_fonts
from qualify.study.rule_analysis import against, parted
from tests.quick import run_quickly

SAME = ("hits", "targets", "a50", "a90", "a90_95_likelihood", "units_called",
        "false_call_rate_upper", "sizing_rmse", "largest_miss")  # fmt: skip


@pytest.fixture(scope="module")
def inputs():
    return inputs_of(pieces=3)


@pytest.fixture(scope="module")
def alone(inputs):
    return run_quickly(inputs, 199, 20)


@pytest.fixture(scope="module")
def beside(inputs):
    """The same study, with the calls of R1 written once more by a rule."""
    copied = tuple(
        replace(call, row=call.row.model_copy(update={"reader": "rule"}))
        for call in inputs.calls
        if call.row.reader == "R1"
    )
    plan = inputs.plan.model_copy(update={"rule_readers": ("rule",)})
    return run_quickly(replace(inputs, plan=plan, calls=(*inputs.calls, *copied)), 199, 20)


def test_a_rule_changes_no_number_of_the_readers(alone, beside):
    told = {e.id: e for e in beside.estimates.items if not _of_rule(e)}
    assert {e.id: e for e in alone.estimates.items} == told
    assert beside.readers == alone.readers
    assert [v.status for v in beside.verdicts] == [v.status for v in alone.verdicts]


def _of_rule(estimate):
    return estimate.reader == "rule"


def test_a_rule_that_calls_as_a_reader_gets_that_reader_s_numbers(beside):
    checked = 0
    for one in beside.estimates.items:
        if one.reader == "R1" and one.statistic in SAME:
            own = beside.estimates.get(one.basis, one.statistic, one.population, one.mode, "rule")
            assert (own.value, own.reason) == (one.value, one.reason), one.id
            checked += 1
    assert checked > 40


def test_tables_hold_both_and_tell_them_apart(beside):
    frame = beside.all_tables.opportunities
    assert set(frame.loc[frame["read_by"] == "rule", "reader"]) == {"rule"}
    assert "rule" not in set(beside.tables.opportunities["reader"])
    own, ruled = parted(beside.all_tables, ("rule",))
    assert len(own.opportunities) + len(ruled.opportunities) == len(frame)
    assert parted(own, ()) == (own, None)


def test_page_1_has_the_table_of_the_rule_and_every_target_stands_in_its_figure(alone, beside):
    register_fonts()
    assert rule_answer(alone) == []
    assert len(rule_answer(beside)) >= 2
    own = as_study(beside)
    population = beside.inputs.plan.populations[0]
    view = size_depth_view(own, population)
    assert [mode.name for mode in view.modes] == modes_read(own)
    rows = beside.rule.views[beside.headline].opportunities
    for mode in view.modes:
        mine = rows[(rows["mode"] == mode.name) & (rows["kind"] == population.kind)]
        seen = [target.seen for target in mode.targets]
        assert seen.count("hit") == int(mine["hit"].sum())
        assert len(seen) == len(mine)


def test_the_candidate_against_a_third_mode_has_names_of_its_own():
    assert against("coherence", "total_focusing") == "coherence against total_focusing"

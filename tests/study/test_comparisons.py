"""Candidate against reference in a study: which targets count, margins, and what is refused."""

import pandas as pd
import pytest

from qualify.comparison.holm import holm
from qualify.study.comparison_estimates import comparison_estimates
from qualify.study.comparisons import compare_all, margin_of, pairs_of
from qualify.study.plan import ComparisonPlan
from qualify.study.template import template_study

PLAN = template_study().plan
MODES = (PLAN.modes[0], PLAN.modes[0].model_copy(update={"id": "old", "status": "accepted"}))
CLAIM = PLAN.claim.model_copy(update={"candidate_mode": "new", "reference_mode": "old"})
PLAN = PLAN.model_copy(update={"modes": MODES, "claim": CLAIM, "criteria": ()})


def rows(reader="R1", n=30):
    """Invented: 'new' hits all of size 1 and more, 'old' all of 1.6 and more, with lapses."""
    out = []
    for k in range(n):
        size = round(0.4 + 0.08 * k, 3)
        for mode, edge, lapse in (("old", 1.6, 9), ("new", 1.0, 11)):
            out.append({
                "specimen": "S1", "target": f"T{k:02d}", "kind": "side_drilled_hole",
                "size_mm": size, "mode": mode, "reader": reader, "examined": 1,
                "hit": int((size >= edge) != (k % lapse == 4)), "response": float("nan"),
                "grading_unit": f"U{k}",
            })  # fmt: skip
    return pd.DataFrame(out)


def test_targets_count_where_both_modes_read_them_and_others_are_named():
    frame = rows()
    gone = frame[~((frame["target"] == "T03") & (frame["mode"] == "old"))]
    data, left_out, reason = pairs_of(gone, PLAN, ("R1",))
    assert reason is None
    assert data.n == 29
    assert left_out == ("T03",)


def test_other_truth_or_no_second_mode_is_refused_with_words():
    frame = rows()
    frame.loc[0, "size_mm"] = 9.9
    assert pairs_of(frame, PLAN, ("R1",))[2] == "targets have another size in another mode: S1/T00"
    alone = rows()
    alone = alone[alone["mode"] == "new"]
    assert pairs_of(alone, PLAN, ("R1",))[2] == "nobody read these targets in mode old"


def test_readers_apart_and_together_and_the_same_data_once():
    """Two readers alike: together as many targets as alone, twice the readings."""
    frame = pd.concat([rows("R1"), rows("R2")], ignore_index=True)
    sizes = frame.assign(quantity="diameter_mm", true=frame["size_mm"])
    sizes["reported"] = sizes["true"] + 0.1 * (sizes["mode"] == "new")
    view = type("View", (), {"opportunities": frame, "measurements": sizes})()
    found = compare_all({"as_found": view, "after_remedy": view}, PLAN, ("R1", "R2"))
    cells = {cell[3] for cell in found.modes}
    assert cells == {"R1", "R2", "all_readers"}
    sized = found.sizes[("as_found", "side_drilled_hole", "new", "R1")]
    assert (sized.n, sized.difference) == (30, pytest.approx(0.1))
    own = found.modes[("as_found", "side_drilled_hole", "new", "R1")]
    both = found.modes[("as_found", "side_drilled_hole", "new", "all_readers")]
    assert both.found.data.n == own.found.data.n == 30
    assert both.found.counts.n == 60
    assert both.found.test.exact_p == pytest.approx(own.found.test.exact_p)
    other = found.modes[("after_remedy", "side_drilled_hole", "new", "R1")]
    assert other.found is own.found
    estimates = {e.id: e for e in comparison_estimates(found)}
    upper = estimates["as_found/a90_ratio_upper/side_drilled_hole/new/R1"]
    assert upper.side == "upper"
    assert upper.value == own.found.ratio.upper
    adjusted = holm([own.found.test.exact_p, own.found.curves.exchange_p])
    told = [estimates[f"as_found/{n}_holm_p/side_drilled_hole/new/R1"].value
            for n in ("mcnemar", "curve_difference")]  # fmt: skip
    assert told == adjusted


def test_a_declared_margin_goes_before_that_of_a_criterion():
    assert margin_of(PLAN, "side_drilled_hole") is None
    own = ComparisonPlan(recordings="same", margin=1.3, family="hits")
    assert margin_of(PLAN.model_copy(update={"comparison": own}), "side_drilled_hole") == 1.3

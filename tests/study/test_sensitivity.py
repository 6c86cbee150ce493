"""What results hang on: each choice made otherwise is the analysis of the rows so chosen."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

from qualify.criteria.estimate import Estimates
from qualify.dossier.chapters_sensitivity import _lacking, sensitivity_chapter
from qualify.dossier.sensitivity_words import matching_words, moved_most, verdict_words
from qualify.dossier.style import register_fonts
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.model_choice import model_table
from qualify.pod.size_uncertainty import size_uncertainty
from qualify.reading.tables import MatchedCallRow, MeasurementRow, OpportunityRow, Tables, frame
from qualify.study.readers_analysis import told_together
from qualify.study.sensitivity import sensitivity_of
from qualify.study.sensitivity_estimates import sensitivity_estimates
from qualify.study.sensitivity_rows import Row, Told
from qualify.study.variations import variations
from tests.study.small import make_plan

HOLE, BASIS, THRESHOLD = "side_drilled_hole", "as_found", 13.0
PLACE = (HOLE, "linear")
SIZES = np.round(np.geomspace(0.4, 4.0, 60), 4)
READERS = ("R1", "R2")


def heard(reader):
    """Responses in dB that rise with log size, another scatter for each reader."""
    rng = np.random.default_rng([7, *reader.encode()])
    return np.round(13.0 + 9.0 * np.log(SIZES / 1.2) + rng.normal(0, 2.5, SIZES.size), 2)


def opportunity(reader, i, response, **more):
    """Return one row; without a response it is no hit."""
    base = {
        "specimen": "plate", "set": "blind", "grading_unit": f"U{i}", "mode": "linear",
        "reader": reader, "signal": "measured", "read_by": "person", "examined": 1,
        "hit": int(response is not None and response >= THRESHOLD), "response": response,
        "response_unit": "db", "threshold": THRESHOLD,
    }  # fmt: skip
    return OpportunityRow(**{**base, **more})


def made(lost=(3, 50)):
    """Two readers; R1 did not examine two targets; 30 blank units with peaks about 10 dB."""
    rows = []
    for reader in READERS:
        for i, (size, response) in enumerate(zip(SIZES, heard(reader), strict=True)):
            gone = reader == "R1" and i in lost
            more = {"examined": 0, "hit": 0, "response": None} if gone else {}
            target = {"target": f"H{i}", "kind": HOLE, "size_mm": size, "size_u_mm": 0.05 * size}
            rows.append(opportunity(reader, i, **{"response": float(response), **target, **more}))
        peaks = np.linspace(8.0, 12.9, 30)
        rows += [opportunity(reader, 100 + i, float(p), kind="blank") for i, p in enumerate(peaks)]
    return Tables(frame(rows, OpportunityRow), frame([], MatchedCallRow), frame([], MeasurementRow))


def the_plan(limit=2.0, flawed="miss"):
    criterion = {
        "id": "C1", "statement": "a90/95 of holes", "statistic": "a90_95", "population": HOLE,
        "mode": "linear", "reader": "worst", "limit": limit, "unit": "mm", "source": "invented",
        "verified": True,
    }  # fmt: skip
    mode = {"id": "linear", "name": "linear", "status": "candidate", "reading_rule": "13 dB"}
    mode |= {"set_up_by": "B", "threshold": THRESHOLD, "threshold_unit": "db"}
    return make_plan(
        criteria=[criterion],
        modes=[mode],
        claim={"candidate_mode": "linear", "flaws": "f", "region": "r", "question": "q"},
        not_examined={"flawed": flawed, "limit_fraction": 0.5},
    )


def counted(tables, plan, rescore=None):
    planned = tables
    if plan.not_examined.flawed == "excluded":
        seen = tables.opportunities
        planned = Tables(seen[seen["examined"] == 1], tables.calls, tables.measurements)
    table = model_table(SIZES, heard("R2") >= THRESHOLD, primary_link="logit", primary_scale="log")
    checks = {(BASIS, *PLACE, "R2"): SimpleNamespace(models=table)}
    varied = variations(tables, plan, (), BASIS, planned, rescore)
    return sensitivity_of(planned, plan, BASIS, READERS, checks, varied)[PLACE], table


@pytest.fixture(scope="module")
def held():
    return counted(made(), the_plan())


def of(sensitivity, key, reader="R2"):
    row = next(row for row in sensitivity.rows if row.key == key)
    return next(told for told in row.readers if told.reader == reader)


@pytest.mark.parametrize(("key", "at"), [("threshold_higher", 15.0), ("threshold_lower", 11.0)])
def test_another_threshold_is_the_fit_of_hits_at_it(held, key, at):
    """Hits counted from the responses; likelihood bound of `fit_hit_miss` on them; blanks too."""
    found, hits = of(held[0], key), heard("R2") >= at
    fit = fit_hit_miss(SIZES, hits, bound="likelihood")
    assert (found.hits, found.targets) == (int(hits.sum()), 60)
    assert (found.a90, found.a90_95) == pytest.approx((fit.a90, fit.a90_95), rel=1e-9)
    tables = made()
    moved = next(v for v in variations(tables, the_plan(), (), BASIS, tables, None) if v.key == key)
    rows = moved.tables.opportunities
    assert rows[rows["kind"] == "blank"]["hit"].sum() == 2 * np.sum(np.linspace(8, 12.9, 30) >= at)


def test_units_not_examined_are_counted_either_way(held):
    """Left out instead of missed, and back under a plan that leaves them out."""
    known = heard("R1") >= THRESHOLD
    known[[3, 50]] = False
    seen = np.delete(np.arange(60), [3, 50])
    out = of(held[0], "not_examined_otherwise", "R1")
    assert (out.hits, out.targets) == (int(known.sum()), 58)
    fit = fit_hit_miss(SIZES[seen], known[seen], bound="likelihood")
    assert out.a90_95 == pytest.approx(fit.a90_95, rel=1e-9)
    other, _ = counted(made(), the_plan(flawed="excluded"))
    assert of(other, "not_examined_otherwise", "R1") == of(held[0], "as_planned", "R1")
    assert of(other, "as_planned", "R1").a90_95 == pytest.approx(out.a90_95, rel=1e-9)
    none, _ = counted(made(lost=()), the_plan())
    row = next(row for row in none.rows if row.key == "not_examined_otherwise")
    assert row.absent == "every target was examined"


def test_calls_taken_for_no_flaw_are_left_out_of_hits_and_false_calls_alike():
    """A target that is hit by a call of grain alone is missed; one hit by a flaw too stays hit."""
    tables = made()
    blank = tables.opportunities["kind"] == "blank"
    tables.opportunities.loc[blank, "hit"] = 1
    rows = tables.opportunities[tables.opportunities["hit"] == 1]
    match = np.where(rows["kind"] == "blank", "false_call_blank", "hit")
    calls = rows.assign(match=match, cause="flaw").reindex(columns=tables.calls.columns)
    assert set(match) == {"hit", "false_call_blank"}
    grain = (np.arange(len(calls)) % 3 == 0) & (calls["reader"] == "R2").to_numpy()
    calls.loc[grain, "cause"] = "grain"
    again = calls[grain].head(1).assign(cause="unclear")
    told = Tables(tables.opportunities, pd.concat([calls, again]), tables.measurements)
    found = next(v for v in variations(told, the_plan(), (), BASIS, told, None)
                 if v.key == "flaws_only")  # fmt: skip
    lost = tables.opportunities["hit"].sum() - found.tables.opportunities["hit"].sum()
    assert lost == grain.sum() - 1
    assert not (found.tables.calls["cause"] == "grain").any()
    kept = found.tables.opportunities
    for kind in ("blank", HOLE):
        hits = kept[(kept["kind"] == kind) & (kept["reader"] == "R2")]["hit"].sum()
        assert hits < rows[(rows["kind"] == kind) & (rows["reader"] == "R2")]["hit"].sum()
    none = Tables(tables.opportunities, calls.assign(cause="flaw"), tables.measurements)
    none = next(v for v in variations(none, the_plan(), (), BASIS, none, None)
                if v.key == "flaws_only")  # fmt: skip
    assert none.tables is None
    assert none.absent == {"linear": "no call was given a cause other than a flaw"}


def test_models_and_uncertainty_of_sizes_are_those_of_their_modules(held):
    sensitivity, table = held
    near = [row for row in table.rows if row.near_equal]
    smallest, largest = (of(sensitivity, f"models_{which}") for which in ("smallest", "largest"))
    assert smallest.a90_95 == min(row.a90_95 for row in near)
    assert largest.a90_95 == max(row.a90_95 for row in near)
    known = size_uncertainty(SIZES, heard("R2") >= THRESHOLD, 0.05 * SIZES)
    assert of(sensitivity, "size_uncertainty").a90_95 == known.a90_95_integrated


def test_a_verdict_that_changes_is_told_with_the_choice(held):
    """A limit between the worst reader's bound and that of the other reader."""
    planned = held[0].planned
    worst = planned.worst
    better = min(told.a90_95 for told in planned.readers)
    plan = the_plan(limit=0.5 * (worst.a90_95 + better))
    found, _ = counted(made(), plan)
    assert found.clauses == (("C1", 1, "C1 a90/95", "not demonstrated"),)
    rows = {row.key: row for row in found.rows}
    assert rows[f"without_{worst.reader}"].changed == (("C1 a90/95", "not demonstrated", "met"),)
    other = next(reader for reader in READERS if reader != worst.reader)
    assert rows[f"without_{other}"].changed == ()
    assert rows[f"without_{worst.reader}"].worst.a90_95 == better
    result = SimpleNamespace(sensitivity={PLACE: found})
    words = verdict_words(result)
    assert "C1 a90/95 becomes met: " in words
    assert f"without reader {worst.reader}" in words
    assert f"without reader {other}" not in words
    hopeless, _ = counted(made(), the_plan(limit=0.01))
    assert not any(row.changed for row in hopeless.rows)
    result = SimpleNamespace(sensitivity={PLACE: hopeless})
    assert verdict_words(result) == "verdicts hold in all choices that could be shown"


def test_the_box_is_scaled_and_calls_are_matched_again(held):
    """Half widths 1.5 and 4.5 of 3 mm; the rows so matched are analysed; none without calls."""
    asked = []

    def rescore(plan):
        asked.append((plan.matching.x_mm, plan.matching.z_mm))
        tables = made()
        if plan.matching.x_mm < 3:
            tables.opportunities.loc[tables.opportunities["size_mm"] < 1.0, "hit"] = 0
        return tables

    found, _ = counted(made(), the_plan(), rescore)
    assert asked == [(1.5, 1.5), (4.5, 4.5)]
    hits = (heard("R2") >= THRESHOLD) & (SIZES >= 1.0)
    assert of(found, "box_smaller").hits == hits.sum() < of(found, "as_planned").hits
    assert of(found, "box_larger") == of(found, "as_planned")
    assert "50 % smaller" in matching_words(SimpleNamespace(sensitivity={PLACE: found}))
    assert matching_words(SimpleNamespace(sensitivity={PLACE: held[0]})) is None
    assert {r.absent for r in held[0].rows if r.key.startswith("box")} == {
        "the study entered with finished tables: calls can't be matched again"
    }


def test_every_number_in_print_is_an_estimate(held):
    """The chapter's sizes and changes, read from its tables, all stand among the estimates."""
    register_fonts()
    plan = the_plan()
    made_up = sensitivity_estimates({PLACE: held[0]}, BASIS)
    result = SimpleNamespace(
        sensitivity={PLACE: held[0]},
        inputs=SimpleNamespace(plan=plan),
        estimates=Estimates(tuple(made_up)),
        headline=BASIS,
        readers=READERS,
        verdicts=(),
        fits={},
    )
    known = {f"{e.value:.2f}" for e in made_up if e.unit == "mm" and e.value is not None}
    printed = set()
    for flowable in sensitivity_chapter(result):
        for row in getattr(flowable, "_cellvalues", [])[2:]:
            for cell in row[1:]:
                text = cell.getPlainText() if hasattr(cell, "getPlainText") else str(cell)
                printed |= {
                    w.rstrip("*") for w in text.split() if w.count(".") == 1 and "%" not in w
                }
    sizes = {text for text in printed if text.replace(".", "").isdigit() and len(text) == 4}
    assert len(sizes) > 10
    assert sizes <= known
    assert moved_most(held[0]).startswith("The largest a90/95 of the readers moves")


def test_readers_together_are_told_by_the_cluster_robust_bound_of_statsmodels():
    """Hits of both readers by a logit GEE on working independence, clusters the targets: 1e-6."""
    tables, plan = made(), the_plan()
    rows = tables.opportunities[tables.opportunities["kind"] == HOLE]
    held = sensitivity_of(
        tables, plan, BASIS, READERS, {}, [], lambda frame: told_together(frame, plan)
    )[PLACE]
    told = next(one for one in held.planned.readers if one.reader == "all_readers")
    design = sm.add_constant(np.log(rows["size_mm"].to_numpy()))
    groups = rows["target"].to_numpy()
    hits = rows["hit"].to_numpy(dtype=float)
    fit = sm.GEE(hits, design, groups, family=sm.families.Binomial()).fit(ctol=1e-12)
    (b0, b1), cov = fit.params, fit.cov_robust * 60 / 59
    psi = (np.log(9.0) - b0) / b1
    slope = np.array([1.0, psi]) / b1
    want = np.exp(psi + stats.t.ppf(0.95, 59) * np.sqrt(slope @ cov @ slope))
    assert told.a90 == pytest.approx(np.exp(psi), rel=1e-6)
    assert told.a90_95 == pytest.approx(want, rel=1e-6)
    one = next(row for row in held.rows if row.key == "without_R2")
    assert [t.a90_95 for t in one.readers if t.reader == "all_readers"] == [None]
    assert held.planned.worst.reader in READERS


def test_why_there_is_no_bound_is_told_once_for_each_reason():
    def told(reader, reason):
        return Told(reader, 40, 20, None, 2.0 if reason is None else None, reason, None)

    rows = [
        Row("as_planned", "as planned", None, (told("R1", "flat"), told("R2", None)), ()),
        Row("box", "box larger", None, (told("R1", "flat"), told("R2", "few")), ()),
        Row("apart", "flaws only", None, (told("R1", "flat"), told("all_readers", "flat")), ()),
    ]
    assert _lacking(rows) == [
        "no bound: R1, all, cluster-robust under every choice: flat",
        "no bound: R2 under 'box larger': few",
    ]

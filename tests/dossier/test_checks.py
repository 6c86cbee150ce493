"""Chapter 9 against the estimates: each number in its tables, and what the curves drawn show."""

import sys
from pathlib import Path

import numpy as np
import pytest
from reportlab.platypus import Table

from qualify.dossier.bound_curve import bound_curve
from qualify.dossier.checks_bounds import holds_table, methods_table
from qualify.dossier.checks_fit import covariate_table, fit_table
from qualify.dossier.checks_level import level_table
from qualify.dossier.checks_models import model_tables
from qualify.dossier.checks_parts import checked
from qualify.dossier.claim_sure import LevelOff, _own, level_stop, level_words, levels_off
from qualify.dossier.detection_notices import reader_spread
from qualify.dossier.detection_objections import objections, simulated
from qualify.dossier.lookup import worst_reader
from qualify.dossier.pod_views import _at_values, _model_pod
from qualify.dossier.questions import questions
from qualify.dossier.style import register_fonts
from qualify.pod.along import size_upper_bounds
from qualify.pod.hit_miss import curve, fit_hit_miss
from qualify.study.model_estimates import model_estimates
from qualify.study.told import told_sizes
from tests.flowables import cells, parts, words

sys.path.insert(0, str(Path(__file__).parent))
from made_study import made

HOLES = "side_drilled_hole"
KINDS = (HOLES, "embedded_slot")


@pytest.fixture(scope="module")
def study():
    register_fonts()
    return made(pieces=5)


@pytest.fixture(scope="module")
def separated():
    """Return a study whose every miss is smaller than every hit."""
    register_fonts()
    return made(pieces=5, clean=True, steps=True)


def bare(cells_):
    """Cells without the mark of a size outside those tested."""
    return [cell.removesuffix("*") for cell in cells_]


def told(study, row, statistic, kind, form):
    value = study.estimates.value(study.headline, statistic, kind, row[0], row[1].split()[0])
    return "none" if value is None else form(value)


def share(value):
    return f"{100 * value:.1f} %"


def size(value):
    return f"{value:.2f}"


def count(value):
    return f"{value:.0f}"


def probability(value):
    return "< 0.001" if value < 5e-4 else f"{value:.3f}"


@pytest.mark.parametrize("kind", KINDS)
def test_the_shares_that_hold_are_the_estimates(study, kind):
    rows = cells(holds_table(checked(study, kind)))
    names = ("fit", "steeper", "shallower", "probit", "cloglog", "loglog", "plateau")
    assert len(rows) == 6
    for row in rows:
        assert row[2:9] == [told(study, row, f"holds_{n}", kind, share) for n in names]
        errors = [told(study, row, f"holds_{n}_error", kind, float) for n in names]
        known = [e for e in errors if e != "none"]
        assert row[9] == (share(max(known)) if known else "none")


@pytest.mark.parametrize("kind", KINDS)
def test_the_bounds_of_other_methods_are_the_estimates(study, kind):
    names = ("likelihood", "wald", "r_star", "firth", "bootstrap", "cheng_iles")
    for row in cells(methods_table(checked(study, kind))):
        wanted = [told(study, row, "a90_95", kind, size)]
        wanted += [told(study, row, f"a90_95_{n}", kind, size) for n in names]
        assert [cell.rstrip("*") for cell in row[2:]] == wanted


@pytest.mark.parametrize("kind", KINDS)
def test_eight_models_are_shown_and_the_plans_is_marked(study, kind):
    tables = [f for f in parts(model_tables(checked(study, kind))) if isinstance(f, Table)]
    eight, spread = ([[c.getPlainText() for c in r] for r in t._cellvalues[1:]] for t in tables)
    assert len(eight) == 8
    assert [row[0] for row in eight if "fixed in the plan" in row[0]] == [
        "logit in log size, fixed in the plan"
    ]
    for row in spread:
        assert row[2] == told(study, row, "near_equal_models", kind, count)
        ends = [f"{s}_models_{e}" for s in ("a90", "a90_95") for e in ("smallest", "largest")]
        assert bare(row[3:7]) == [told(study, row, name, kind, size) for name in ends]


def test_the_plans_reason_answers_why_a_log_model(study):
    text = words(model_tables(checked(study, HOLES)))
    assert f"'{study.inputs.plan.analysis.reason}'" in text
    assert "Why a log model?" in text


@pytest.mark.parametrize("kind", KINDS)
def test_plateau_and_large_targets_are_the_estimates(study, kind):
    for row in cells(level_table(checked(study, kind))):
        for place, name, form in (
            (2, "plateau", share), (3, "plateau_lower", share), (4, "plateau_p", probability),
            (5, "plateau_a90", size), (6, "plateau_a90_95", size), (9, "large_lower", share),
        ):  # fmt: skip
            assert bare([row[place]]) == [told(study, row, name, kind, form)]
        hits, targets = (told(study, row, f"large_{n}", kind, count) for n in ("hits", "targets"))
        assert row[8] == f"{hits}/{targets}"


@pytest.mark.parametrize("kind", KINDS)
def test_tests_of_fit_and_of_covariates_are_the_estimates(study, kind):
    for row in cells(fit_table(checked(study, kind))):
        assert row[2] == told(study, row, "curvature_p", kind, probability)
        assert row[5] == told(study, row, "squares_p", kind, probability)
        assert row[8] in ("does not fit", "not tested") or row[8].startswith("no misfit noticed; ")
    names = ("depth", "tilt") if kind == "embedded_slot" else ("depth",)
    for row in cells(covariate_table(checked(study, kind))):
        for k, name in enumerate(names):
            assert row[2 + 5 * k : 4 + 5 * k] == [
                told(study, row, f"covariate_{name}{end}_p", kind, probability)
                for end in ("", "_slope")
            ]


@pytest.mark.parametrize("kind", KINDS)
def test_models_powers_and_worst_values_are_those_of_the_checks(study, kind):
    """Against the numbers that `model_estimates` makes of the same checks, far ones not told."""
    frame = study.views["as_found"].opportunities
    true = frame[frame["kind"] == kind]["size_mm"]
    made_of_checks = model_estimates(study.checks, study.fits)
    found = {e.id: e for e in told_sizes(made_of_checks, {kind: (true.min(), true.max())})}
    assert len(found) > 400

    def of(mode, reader, statistic, form):
        value = found[f"{study.headline}/{statistic}/{kind}/{mode}/{reader}"].value
        return "none" if value is None else form(value)

    rows = checked(study, kind)
    worst = {mode: worst_reader(study, kind, mode) for mode in ("coherence", "linear")}
    for row in cells(model_tables(rows)):
        link, scale = row[0].split()[0], "log" if "in log size" in row[0] else "linear"
        name = f"model_{link}_{scale}"
        wanted = []
        for mode, reader in worst.items():
            wanted += [of(mode, reader, f"{name}_aic_above_best", lambda v: f"{v:.1f}")]
            wanted += [of(mode, reader, f"{name}_{s}", size) for s in ("a90", "a90_95")]
        assert bare(row[1:]) == wanted
    for row, seen in zip(cells(fit_table(rows)), rows, strict=True):
        if seen.check.goodness.powers:
            names = [
                f"{t}_power_{f}" for t in ("curvature", "squares") for f in ("plateau", "link")
            ]
            powers = [of(row[0], seen.reader, n, lambda v: f"{100 * v:.0f} %") for n in names]
            assert [*row[3:5], *row[6:8]] == powers
    for row, seen in zip(cells(covariate_table(rows)), rows, strict=True):
        if any(c.name == "depth" and c.worst for c in seen.check.covariates):
            wanted = [of(row[0], seen.reader, f"covariate_depth_worst{e}", size)
                      for e in ("_a90", "_a90_95")]  # fmt: skip
            assert bare(row[5:7]) == wanted
    for row, seen in zip(cells(level_table(rows)), rows, strict=True):
        assert bare(row[7:8]) == [of(row[0], seen.reader, "large_from", size)]
        assert row[10] == of(row[0], seen.reader, "large_further", count)


def test_curves_drawn_at_values_of_depth_cross_090_at_their_own_a90(study):
    """Against the table: the curve drawn for a value has POD 0.90 at the a90 told for it."""
    seen = 0
    for cell, fit in study.fits.items():
        for found in study.checks[cell].covariates if cell in study.checks else ():
            for drawn in _at_values(found, fit):
                if drawn.sizes[0] < drawn.a90 < drawn.sizes[-1]:
                    at = np.interp(drawn.a90, drawn.sizes, drawn.pod)
                    assert at == pytest.approx(0.9, abs=2e-3)
                    seen += 1
    assert seen


def test_seed_and_numbers_of_simulated_trials_are_told_once(study):
    (text,) = simulated(study)
    fit = next(iter(study.fits.values()))
    assert f"seed {study.inputs.plan.analysis.seed}" in text
    assert f"{fit.bounds['calibrated']['upper'].simulations} behind each calibrated bound" in text


def test_each_objection_has_an_answer_and_a_place(study):
    rows = cells(objections(study))
    assert len(rows) == 10
    assert all(answer and place for _, answer, place in rows)


def test_questions_on_model_and_plateau_are_answered_from_the_checks(study):
    asked = {question.number: question for question in questions(study)}
    assert "Eight models were fitted" in asked[11].answer
    assert "A plateau at or below 0.90 is excluded for" in asked[12].answer
    assert "the bound holds in" in asked[9].answer


def test_the_bound_that_is_drawn_runs_through_the_a90_95_that_is_printed(study):
    cell = next(c for c, f in study.fits.items() if f.outcome == "fitted" and f.a90_95)
    fit = study.fits[cell]
    reported = study.estimates.value(cell[0], "a90_95", *cell[1:])
    drawn = bound_curve(fit, reported)
    at = dict(zip(drawn.pods, drawn.sizes, strict=True))
    assert at[0.9] == pytest.approx(reported, rel=1e-12)
    assert list(drawn.sizes) == sorted(drawn.sizes)
    (half,) = size_upper_bounds(fit, [0.5], method="calibrated").sizes
    assert at[0.5] == pytest.approx(half, rel=1e-12)
    assert drawn.label.endswith("point by point (calibrated)")


@pytest.mark.parametrize("bound", ["likelihood", "wald"])
def test_another_bound_is_drawn_as_planned(bound):
    """Sizes 1 to 8; the curve drawn meets the bound reported at POD 0.90."""
    sizes = np.geomspace(1, 8, 60)
    hits = (np.arange(60) * 7 % 10 / 10) < 1 / (1 + (2.5 / sizes) ** 4)
    fit = fit_hit_miss(sizes, hits, bound=bound)
    drawn = bound_curve(fit, fit.a90_95)
    assert np.interp(0.9, drawn.pods, drawn.sizes) == pytest.approx(fit.a90_95, rel=2e-3)
    assert f"({bound})" in drawn.label.lower()


def test_a_model_drawn_from_its_a50_and_a90_is_the_model_fitted(study):
    cell = next(c for c, f in study.fits.items() if f.outcome == "fitted" and f.a90_95)
    fit, rows = study.fits[cell], study.checks[cell].models.rows
    size_of = np.repeat(fit.sizes, fit.trials_at)
    hit = np.concatenate(
        [[1] * h + [0] * (t - h) for h, t in zip(fit.hits_at, fit.trials_at, strict=True)]
    )
    grid = np.geomspace(*fit.tested_range, 9)
    for row in rows:
        if row.a90 is not None:
            own = fit_hit_miss(size_of, hit, link=row.link, scale=row.scale, bound="likelihood")
            np.testing.assert_allclose(_model_pod(row, grid), curve(own, grid), atol=1e-6)


@pytest.mark.parametrize(
    ("one", "wanted"),
    [
        (LevelOff("R1", 0.883, True, None, None), "under such a curve no size is found 90 of 100"),
        (LevelOff("R1", 0.97, True, 1.2, None), "a level below 90 % is not excluded"),
        (LevelOff("R1", 0.97, True, 1.2, 1.9), "under such a curve the a90/95 is 1.90 mm"),
        (LevelOff("R1", 0.89, False, None, None), "levels off at 89.0 %, so that no size"),
    ],
)
def test_levelling_off_is_told_in_plain_words(one, wanted):
    assert one.in_question
    assert wanted in _own(one)


def test_the_claim_names_each_reader_whose_data_speak_for_levelling_off(study):
    for kind in KINDS:
        for mode in ("coherence", "linear"):
            text = level_words(study, kind, mode)
            for one in levels_off(study, kind, mode):
                assert (f"{100 * one.top:.1f} %" in text) >= one.in_question
            assert level_stop(study, kind, mode) is None or "levels off" in text


def test_readers_far_apart_are_noticed(study):
    """Invented a50 of R1 and R3 differ by a factor of 1.39; a90 here by more than a quarter."""
    for line in reader_spread(study):
        assert "more than a quarter apart" in line
    known = [
        a90
        for r in study.readers
        if (a90 := study.estimates.value(study.headline, "a90", HOLES, "coherence", r))
    ]
    noticed = any("side-drilled holes, coherence" in line for line in reader_spread(study))
    assert noticed == (max(known) > 1.25 * min(known))


def test_without_overlap_the_tables_stand_without_a_curve(separated):
    rows = checked(separated, HOLES)
    assert {row.fit.outcome for row in rows} == {"separated"}
    for row in cells(methods_table(rows)):
        assert row[2] == told(separated, row, "a90_95", HOLES, size) != "none"
        assert row[3] == row[4] == "none"
    assert "No curve was fitted for coherence R1, R2, R3" in words(holds_table(rows))
    told_objections = " ".join(row[1] for row in cells(objections(separated)))
    assert "no levelling off can be judged" in told_objections
    assert "Not tested: no curve was fitted" in told_objections

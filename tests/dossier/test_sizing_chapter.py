"""Chapter 11 against the estimates: every number of its tables, its figures and objections."""

from dataclasses import replace

import numpy as np
import pytest

from qualify.criteria.estimate import Estimates
from qualify.dossier.chapters_sizing import sizing_chapter
from qualify.dossier.pictures import Pictures, Places
from qualify.dossier.sizing_objections import sizing_objections
from qualify.dossier.sizing_parts import sized
from qualify.dossier.sizing_tables import (
    error_table,
    limit_table,
    tilt_table,
    trend_table,
    unsized_table,
    worst_table,
)
from qualify.dossier.sizing_views import sizing_error_panels
from qualify.dossier.style import register_fonts
from qualify.figures.sizing_error import sizing_error_alt_text, sizing_error_figure
from qualify.study.sizing_estimates import sizing_estimates
from qualify.study.sizing_result import sizing_result
from qualify.study.where import Where
from tests.flowables import cells, words
from tests.quick import run_quickly
from tests.study.sizes import KIND, size_tables
from tests.study.small import make_inputs, make_plan, whole_look

READERS = ("R1", "R2")


def study_of(tables):
    """Return a small study with these sizes in place of its own."""
    register_fonts()
    kinds = [{"kind": KIND, "size_quantity": "extent_mm", "size_in_words": "extent", "sized": True}]
    inputs = make_inputs(whole_look({}), plan=make_plan(populations=kinds))
    result, out, sizings = run_quickly(inputs), [], {}
    for reader in READERS:
        rows = tables.measurements[tables.measurements["reader"] == reader]
        looked = tables.opportunities[tables.opportunities["reader"] == reader]
        found = sizing_result(rows, looked, inputs.plan.populations[0])
        sizings[(result.headline, KIND, "linear", reader)] = found
        sizing_estimates(Where(out, result.headline, KIND, "linear", reader, 1), found)
    return replace(result, sizings=sizings, readers=READERS, estimates=Estimates(tuple(out)))


@pytest.fixture(scope="module")
def study():
    return study_of(size_tables(readers=READERS))


@pytest.fixture(scope="module")
def rows(study):
    return sized(study, KIND)


def numbers(study, reader, names):
    """Numbers of estimates as the tables print them: two decimals, a true minus."""
    values = [study.estimates.value(study.headline, n, KIND, "linear", reader) for n in names]
    return [f"{v:.2f}".replace("-", "−") for v in values]


def bare(cells_):
    return [part.removeprefix("+") for cell in cells_ for part in cell.split(" to ")]


def test_errors_limits_and_trends_are_the_estimates(study, rows):
    wanted = {
        error_table: (6, 13, (
            "sizing_bias", "sizing_bias_low", "sizing_bias_high", "sizing_sd", "sizing_method_sd",
            "sizing_rmse", "sizing_rmse_low", "sizing_rmse_high", "sizing_rmse_upper")),
        limit_table: (2, 6, (
            "sizing_agreement_low", "sizing_agreement_high", "sizing_agreement_low_low",
            "sizing_agreement_low_high", "sizing_agreement_high_low", "sizing_agreement_high_high",
            "sizing_tolerance_low", "sizing_tolerance_high")),
        trend_table: (2, 4, ("sizing_trend", "sizing_trend_low", "sizing_trend_high")),
    }  # fmt: skip
    for table, (first, last, names) in wanted.items():
        for row in cells(table(rows)):
            assert bare(row[first:last]) == numbers(study, row[1], names), table.__name__
    for row in cells(trend_table(rows)):
        names = ("sizing_line_slope", "sizing_line_slope_low", "sizing_line_slope_high")
        assert bare(row[5:7]) == numbers(study, row[1], names)
    for row in cells(limit_table(rows)):
        assert row[7] == numbers(study, row[1], ["undersizing_95_95"])[0]
    notes = words(limit_table(rows))
    assert "at least 93 sized targets are needed" in notes
    assert "at least 59 sized targets are needed" in notes


def test_worst_cases_missed_targets_and_tilts_are_told(study, rows):
    for row, seen in zip(cells(worst_table(rows)), rows, strict=True):
        under = seen.sizes.report.undersized
        assert len(under) == 3
        for i in under:
            assert f"{seen.sizes.targets[i]}: {seen.sizes.true[i]:g} as" in row[3]
    told = cells(unsized_table(rows))
    assert len(told) == 6
    for row, reader in ((told[1], "R1"), (told[4], "R2")):
        assert row[2:4] == ["missed targets as size 0", "3"]
        names = [f"sizing_missed_as_zero_{what}" for what in ("bias", "rmse", "bound")]
        assert bare(row[4:]) == numbers(study, reader, names)
    tilts = cells(tilt_table(rows))
    assert [row[2] for row in tilts] == ["0°", "15°", "30°"] * 2
    assert bare(tilts[1][5:]) == numbers(
        study, "R1", [f"sizing_tilt_15_{what}" for what in ("bias", "sd", "rmse")]
    )


def test_each_objection_is_answered(study, rows):
    told = cells(sizing_objections(study, {KIND: rows}))
    assert len(told) == 7
    assert all(answer and place for _, answer, place in told)
    text = " ".join(answer for _, answer, _ in told)
    assert "48 sizes; 6 found but not sized, 6 missed, 6 not examined" in text
    assert "The error falls with size for embedded slots: linear R1, R2" in text
    assert "entered with finished tables" in text
    chapter = words(sizing_chapter(study, Pictures({}, {}, b"", {}, {}, Places())))
    assert "on the line" in chapter
    assert "rarely the easy ones" not in chapter


def test_errors_are_drawn_where_they_are(study):
    panels = sizing_error_panels(study, study.inputs.plan.populations[0], "linear")
    figure = sizing_error_figure(panels)
    for k, (panel, row) in enumerate(zip(panels, sized(study, KIND), strict=True)):
        drawn = {a.get_gid(): a.get_xydata() for axes in figure.axes for a in axes.lines}
        at = drawn[f"sizing-error-{k}-errors"]
        np.testing.assert_allclose(at[:, 0], row.sizes.true)
        np.testing.assert_allclose(at[:, 0] + at[:, 1], row.sizes.reported)
        line = drawn[f"sizing-error-{k}-trend"]
        slope = (line[1, 1] - line[0, 1]) / (line[1, 0] - line[0, 0])
        assert slope == pytest.approx(row.value("sizing_trend"), rel=1e-9)
        assert f"slope of the error {slope:.2f}".replace("-", "−") in sizing_error_alt_text(
            (panel,)
        )


def test_nothing_sized_is_told_in_words():
    tables = size_tables(readers=READERS)
    empty = tables.measurements.assign(reported=float("nan"))
    study = study_of(replace(tables, measurements=empty))
    chapter = words(sizing_chapter(study, Pictures({}, {}, b"", {}, {}, Places())))
    assert "No SD of the method for linear R1, R2" in chapter
    panels = sizing_error_panels(study, study.inputs.plan.populations[0], "linear")
    assert "No target was sized." in sizing_error_alt_text(panels)
    assert sizing_error_figure(panels).axes
    assert sizing_error_alt_text(()).startswith("No sizing errors to show")

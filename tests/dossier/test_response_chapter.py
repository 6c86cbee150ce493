"""Recorded responses in a dossier: lines, checks, noise and trade; and what stops them."""

import csv
import io
import json
import shutil
import subprocess

import pytest

from qualify.dossier.build import build_dossier
from qualify.dossier.response_views import trade_panels
from qualify.errors import InputError
from qualify.study.example_responses import example_response_files
from qualify.study.load import load_study
from qualify.study.response_analysis import response_results
from tests.quick import run_quickly


def written(folder, files):
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder / "study"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    return written(tmp_path_factory.mktemp("responses"), example_response_files())


@pytest.fixture(scope="module")
def result(study):
    return run_quickly(load_study(study))


@pytest.fixture(scope="module")
def files(result):
    return build_dossier(result)


def test_numbers_of_responses_stand_in_the_results(result):
    get = result.estimates.value
    for mode in ("amplitude", "coherence"):
        where = ("as_found", "response_a90", "side_drilled_hole", mode, "rule")
        a90 = get(*where)
        upper = get("as_found", "response_a90_95", *where[2:])
        at_rate = get("as_found", "at_rate_a90_95", *where[2:])
        hits = get("as_found", "response_hits_a90_95", *where[2:])
        assert a90 < upper < at_rate
        assert upper < hits  # a response tells more than a hit
        assert get("as_found", "noise_rate_upper", "blank_units", mode, "rule") < 0.06
        fit = get("as_found", "response_holds_fit", *where[2:])
        bent = get("as_found", "response_holds_bent_up", *where[2:])
        assert 0.88 <= fit <= 1.0  # of 100 trials
        held = result.responses[("as_found", *where[2:])].holds
        for one in held:  # the bound reported is the calibrated one
            assert get("as_found", f"response_holds_{one.case}", *where[2:]) == one.calibrated
        assert any(one.likelihood != one.calibrated for one in held)
        assert bent < fit
        error = get("as_found", "noise_threshold_error", "blank_units", mode, "rule")
        assert error > 0.0


def test_figures(files):
    for name in ("response-1-1", "response-checks-1-2", "noise-1", "trade-1-2"):
        assert f"figures/{name}.svg" in files
        assert json.loads(files["figures/alt_texts.json"])[name]


def test_no_bound_of_the_trade_stands_where_a_check_speaks_against_the_line(result):
    """One of the two invented lines fails its own checks, the other does not."""
    (holes,) = result.inputs.plan.populations
    bounds = {}
    for mode in ("amplitude", "coherence"):
        line = result.responses[("as_found", "side_drilled_hole", mode, "rule")]
        (panel,) = trade_panels(result, holes, mode)
        (shown,) = panel.lines
        bounds[bool(line.failed())] = any(b is not None for b in shown.bound)
        assert ("does not fit" in panel.title) == bool(line.failed())
        assert len(shown.pod) > 3
    assert bounds == {True: False, False: True}


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_pages(files):
    run = subprocess.run(["pdftotext", "-enc", "UTF-8", "-", "-"], input=files["dossier.pdf"],
                         capture_output=True, check=True)  # fmt: skip
    text = " ".join(run.stdout.decode().split())
    for words in ("Signal response: side-drilled holes", "Noise of blank units", "SYNTHETIC",
                  "no value is made up"):  # fmt: skip
        assert words in text


def changed(folder, column, value, *, hit="1"):
    """Give a column of the called holes of the amplitude another value."""
    files = example_response_files()
    rows = list(csv.DictReader(io.StringIO(files["study/opportunities.csv"].decode())))
    for row in rows:
        if row["mode"] == "amplitude" and row["hit"] == hit and row["target"]:
            row[column] = value
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return written(folder, {**files, "study/opportunities.csv": text.getvalue().encode()})


def results_of(study):
    inputs = load_study(study)
    return response_results({"as_found": inputs.finished}, inputs.plan, ("rule",))


def lines_of(study):
    return results_of(study)[0]


CELL = ("as_found", "side_drilled_hole", "amplitude", "rule")


def test_hits_without_a_response_give_no_line(tmp_path):
    found = lines_of(changed(tmp_path, "response", ""))[CELL]
    assert found.fit is None
    assert "hits without a recorded response" in found.reason


def test_targets_not_examined_are_left_out_of_the_line_and_counted(tmp_path):
    found = lines_of(changed(tmp_path, "examined", "0", hit="0"))[CELL]
    assert found.not_examined == 60 - found.fit.rows > 0


def test_a_foreign_unit_is_refused_with_its_row(tmp_path):
    study = changed(tmp_path, "response_unit", "linear")
    with pytest.raises(InputError, match=r"opportunities: row \d+: response_unit: 'linear'"):
        load_study(study)


def test_a_missed_target_of_a_call_sheet_lies_below_the_threshold_not_below_the_floor(tmp_path):
    """Only calls were recorded: nothing between floor and threshold is known of the missed."""
    files = example_response_files()
    rows = list(csv.DictReader(io.StringIO(files["study/opportunities.csv"].decode())))
    for row in rows:
        if row["target"] and row["hit"] == "0":
            row |= {"response": "", "response_unit": "", "censored": "left"}
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    files["study/opportunities.csv"] = text.getvalue().encode()
    fit = lines_of(written(tmp_path, files))[CELL].fit
    assert fit.missed > 0
    limits = fit.data.response_of(fit.data.low[fit.data.missed])
    assert limits == pytest.approx(13.0)  # the threshold; the plan's floor is 12


def test_a_blank_of_a_call_sheet_lies_below_the_threshold(tmp_path):
    """Nothing below the threshold was recorded of blanks: their peaks are at most the threshold."""
    files = example_response_files()
    rows = list(csv.DictReader(io.StringIO(files["study/opportunities.csv"].decode())))
    for row in rows:
        if not row["target"]:
            row |= {"response": "", "response_unit": "", "censored": "left"}
    text = io.StringIO()
    writer = csv.DictWriter(text, rows[0], lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    files["study/opportunities.csv"] = text.getvalue().encode()
    noise = results_of(written(tmp_path, files))[1][("as_found", "blank", "amplitude", "rule")]
    assert noise.fit.outcome == "all_censored"
    assert set(noise.fit.peaks) == {13.0}

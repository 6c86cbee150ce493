"""The commands `set-up` and `model`: tables of set-up blocks, and the check of the model."""

import csv
import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

import qualify.study.model_check as model_check
from qualify.cli.app import app
from qualify.simulation import face_checks
from qualify.study.model_file import load_model_check

RUN = CliRunner()


def run(*given):
    return RUN.invoke(app, list(map(str, given)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The shipped studies of the set-up blocks, with fewer places and a coarser grid."""
    out = tmp_path_factory.mktemp("set-up") / "studies"
    assert run("example", "setup", "--out", out).exit_code == 0
    for study in (out / "near_surface", out / "depth_ladder"):
        imaging = study / "imaging.toml"
        text = imaging.read_text(encoding="utf-8")
        imaging.write_text(re.sub(r"step_mm = [0-9.]+", "step_mm = 0.3", text), encoding="utf-8")
    return out


@pytest.mark.parametrize("block", ["near_surface", "depth_ladder"])
def test_tables_of_a_set_up_block(folder, tmp_path, block):
    """A row a target and mode, the flaw-free twin beside it, ring-down a mode, SIMULATED said.

    Total focusing is known to be sharper than a scan of 20 elements across at every depth: its
    aperture is three times as long (λF/D).
    """
    study = folder / block
    result = run("set-up", study, "--imaging", study / "imaging.toml", "--out", tmp_path / "out")
    assert result.exit_code == 0, result.output
    assert "SIMULATED: set-up blocks" in result.output
    with (tmp_path / "out" / "set_up.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (tmp_path / "out" / "modes.csv").open(encoding="utf-8", newline="") as file:
        modes = {row["mode"]: row for row in csv.DictReader(file)}
    targets = {row["target"] for row in rows}
    assert len(rows) == len(targets) * len(modes)
    deep = {row["mode"]: row for row in rows if row["target"] == sorted(targets)[-1]}
    assert deep["total_focusing"]["seen"] == "True"
    sharp, wide = (float(deep[m]["width_x_mm"]) for m in ("total_focusing", "linear"))
    assert sharp < 0.6 * wide
    assert abs(float(deep["total_focusing"]["depth_error_mm"])) < 0.4
    assert 0.5 < float(modes["linear"]["ring_down_mm"]) < 4.0
    assert modes["total_focusing"]["ring_down_mm"] == ""
    assert "the level is reached nowhere" in modes["total_focusing"]["reason"]
    assert all(row["signal"] == "simulated" for row in rows)
    assert all(row["excess_db"] == "" for row in rows if row["unit"] == "coherence")
    assert all(row["depth_error_mm"] == "" for row in rows if row["seen"] != "True")
    assert all(row["depth_error_mm"] == "" for row in rows if row["unit"] == "coherence")
    assert "lateral and surface waves are not in the model" in result.output
    document = json.loads((tmp_path / "out" / "set_up.json").read_text(encoding="utf-8"))
    assert document["signal"] == "simulated"
    assert document["left_out"]


def test_targets_before_the_far_wall_are_seen_by_every_mode(folder, tmp_path):
    """From face B the holes lie 1 to 15 mm before the wall: the wall's echo is not taken for
    theirs, so that amplitudes see what coherence sees."""
    study = folder / "near_surface_from_b"
    run("set-up", study, "--imaging", study / "imaging.toml", "--out", tmp_path / "out")
    with (tmp_path / "out" / "modes.csv").open(encoding="utf-8", newline="") as file:
        seen = {row["mode"]: (row["seen"], row["targets"]) for row in csv.DictReader(file)}
    assert set(seen.values()) == {("8", "8")}


def test_a_study_without_a_target_under_the_array_is_refused(folder, tmp_path):
    """Places beside all targets: no table, exit 2, nothing written."""
    study = folder / "near_surface"
    text = (study / "simulation.toml").read_text(encoding="utf-8")
    beside = study / "beside.toml"
    beside.write_text(text.replace('targets = "each"', "x_mm = [100.0]"), encoding="utf-8")
    result = run("set-up", beside, "--imaging", study / "imaging.toml", "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert "no target stands under the middle of the array" in result.output
    assert not (tmp_path / "out").exists()


@pytest.fixture(scope="module")
def checked(folder, tmp_path_factory):
    """A check of the model with few draws, for what is written rather than its numbers."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(model_check, "SEEDS", 2)
        patch.setattr(model_check, "PLACES", 3)
        patch.setattr(face_checks, "EXTENT_WAVES", (0.4, 1.0))
        out = tmp_path_factory.mktemp("model") / "model"
        result = run("model", folder / "near_surface", "--out", out)
    assert result.exit_code == 0, result.output
    return out, result


def test_the_model_is_checked_and_the_answer_told(checked):
    """Every comparison in words and as a document; a PDF beside it; SIMULATED said first."""
    out, result = checked
    assert "SIMULATED: " in result.output
    assert "0 fail" in result.output
    document = json.loads((out / "model.json").read_text(encoding="utf-8"))
    assert document["signal"] == "simulated"
    assert all(row["holds"] for row in document["checks"])
    assert {row["mode"] for row in document["grain"]} == {"linear", "sectorial", "total_focusing"}
    assert (out / "model.pdf").read_bytes().startswith(b"%PDF")


def test_the_sample_is_of_this_model():
    """The check kept as a sample reads, is of this version of the model, and holds."""
    sample = Path(__file__).parents[2] / "output" / "sample" / "model.json"
    assert all(check.holds for check in load_model_check(sample).checks)


def test_a_study_takes_the_check_and_no_other_file(checked, tmp_path):
    """model.json comes back as it was; another JSON file, or of another model, is refused."""
    from qualify.errors import InputError

    path = checked[0] / "model.json"
    found = load_model_check(path)
    assert found.faces[0].extent_waves == 0.4
    assert found.study == "near_surface"
    for text, message in (
        ("{}", "is no check of a model"),
        (path.read_text(encoding="utf-8").replace("version 1", "version 0"), "check again"),
        ("[1", "is not JSON"),
    ):
        bad = tmp_path / "bad.json"
        bad.write_text(text, encoding="utf-8")
        with pytest.raises(InputError) as caught:
            load_model_check(bad)
        assert message in str(caught.value)
        assert Path(str(caught.value).split(":")[0]).name == "bad.json"

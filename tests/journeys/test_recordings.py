"""The way of a recording through the command line: example, record, check, reject, count."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.files import write_whole
from qualify.recording.archive import recording_bytes, recording_from_bytes
from qualify.recording.gate import GateLimits
from qualify.study.recordings import load_limits, pair_maps
from tests.recording.made import mat73_bytes

RUN = CliRunner()


def run(*arguments, code: int = 0):
    result = RUN.invoke(app, [str(part) for part in arguments])
    assert result.exit_code == code, result.output
    return result


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("example") / "new"
    run("example", "recording", "--out", folder)
    return folder


def spoiled(written: Path, name: str, change) -> Path:
    """Write a recording with changed samples beside the good one's folder."""
    good = recording_from_bytes((written / "recording.h5").read_bytes(), "r")
    samples = good.samples.copy()
    change(samples)
    path = written.parent / name
    write_whole(path, recording_bytes(replace(good, samples=samples)))
    return path


def test_the_example_passes_and_says_that_it_is_invented(written):
    assert sorted(path.name for path in written.iterdir()) == [
        "flaw_free.h5", "imaging.toml", "matrix.npy", "recording.h5", "recording.toml",
    ]  # fmt: skip
    result = run("check", written / "recording.toml", written / "recording.h5")
    assert result.stdout.count("gate: accepted") == 2
    assert result.stdout.count("simulated; 32 elements, full matrix, 640 samples") == 2
    assert result.stdout.endswith("recordings: 2 accepted, 0 rejected\n")


def test_keys_of_the_document(written):
    """People script against them."""
    document = json.loads(run("check", written / "recording.h5", "--json").stdout)
    assert set(document) == {"checked", "recordings"}
    assert set(document["recordings"]) == {"accepted", "rejected", "by_reason"}
    one = document["checked"][0]
    assert set(one) == {
        "path", "what", "signal", "source", "block", "samples_sha256", "examination", "gate",
    }  # fmt: skip
    assert "invented" in one["source"]
    assert set(one["gate"]) == {"accepted", "reasons", "not_shown"}
    assert set(one["examination"]) == {
        "elements", "sample_count", "is_half", "signal", "peak", "rms", "figures",
    }  # fmt: skip
    figures = one["examination"]["figures"]
    assert {part: set(values) for part, values in figures.items()} == {
        "order": {
            "band_fraction", "white_fraction", "other_axis", "other_band_fraction",
            "alike_fraction", "other_alike_fraction", "other_order",
        },
        "reciprocity": {"residual_db", "noise_db", "worst_element", "worst_db", "reason"},
        "clipping": {"limit", "samples_fraction", "pairs_fraction"},
        "levels": {
            "transmit_db", "receive_db", "transmit_beside_db", "receive_beside_db", "told_apart",
            "reason",
        },
        "offset": {
            "offset_fraction", "worst_fraction", "worst_pair", "full_scale_fraction",
        },
        "wall": {
            "expected_us", "level_db", "coherence_fraction", "start_offset_us", "period_us",
            "reason",
        },
    }  # fmt: skip


def test_the_side_car_printed_is_the_one_written(written):
    printed = run("example", "recording").stdout
    assert printed.strip() == (written / "recording.toml").read_text(encoding="utf-8").strip()


def test_record_writes_the_same_bytes_as_the_example(written, tmp_path):
    result = run("record", written / "recording.toml", "--out", tmp_path / "r.h5")
    assert (tmp_path / "r.h5").read_bytes() == (written / "recording.h5").read_bytes()
    assert "gate: accepted" in result.stdout
    assert result.stderr.endswith(f"next: qualify check {tmp_path / 'r.h5'}\n")


def test_record_overwrites_nothing(written, tmp_path):
    """A MAT-file of version 7.3 is HDF5 too, and may end in .h5: it is nobody's to overwrite."""
    array = np.load(written / "matrix.npy")
    (tmp_path / "data.h5").write_bytes(mat73_bytes("fmc", array))
    car = (written / "recording.toml").read_text(encoding="utf-8")
    car = car.replace('array_format = "npy"', 'array_format = "mat"\nvariable = "fmc"')
    (tmp_path / "side.toml").write_text(car.replace("matrix.npy", "data.h5"), encoding="utf-8")
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    refused = run("record", tmp_path / "side.toml", "--out", tmp_path / "data.h5", code=2)
    assert "data.h5: is there already and holds something else; give another" in refused.stderr
    assert "nothing was written" in refused.stderr
    (tmp_path / "link.h5").symlink_to(tmp_path / "side.toml")
    run("record", tmp_path / "side.toml", "--out", tmp_path / "link.h5", code=2)
    (tmp_path / "link.h5").unlink()
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before
    run("record", tmp_path / "side.toml", "--out", tmp_path / "a b.h5")
    again = run("record", tmp_path / "side.toml", "--out", tmp_path / "a b.h5")
    assert "a b.h5 holds it already" in again.stderr
    assert again.stderr.endswith(f"next: qualify check '{tmp_path / 'a b.h5'}'\n")


def test_the_noise_of_the_example_is_that_of_its_seed(written):
    """Rebuilt from the words of the side-car: seed and rms, the rest of the matrix being smooth."""
    array = np.load(written / "matrix.npy")
    rng = np.random.default_rng(np.random.SeedSequence([5120310742716448821, *b"noise"]))
    noise = rng.standard_normal(array.shape)
    quiet = array[:, :, :60].astype(np.float64) / 32767
    np.testing.assert_allclose(quiet, 0.01 * noise[:, :, :60], atol=2e-5)


def test_rejected_recordings_are_no_input_error_and_are_counted(written):
    """Exit code 0; totals by reason, one recording under both of its reasons."""

    def dead(samples):
        samples[4], samples[:, 4] = 0.0, 0.0

    def clipped_and_dead(samples):
        dead(samples)
        np.clip(samples, -9000.0, 9000.0, out=samples)
        samples *= 32767 / 9000

    paths = [
        written / "recording.h5",
        spoiled(written, "dead.h5", dead),
        spoiled(written, "both.h5", clipped_and_dead),
    ]
    result = run("check", *paths, "--json")
    document = json.loads(result.stdout)
    gates = [one["gate"] for one in document["checked"]]
    assert [gate["accepted"] for gate in gates] == [True, False, False]
    assert [reason["code"] for reason in gates[2]["reasons"]] == ["clipping", "dead_elements"]
    assert document["recordings"] == {
        "accepted": 1, "rejected": 2, "by_reason": {"clipping": 1, "dead_elements": 2},
    }  # fmt: skip
    words = run("check", *paths)
    assert words.stdout.splitlines()[-1] == (
        "recordings: 1 accepted, 2 rejected (clipping 1, dead elements 2; a recording may have "
        "several)"
    )
    assert "rejected ones are counted" in words.stderr


def test_limits_come_from_a_file(written, tmp_path):
    limits = tmp_path / "limits.toml"
    limits.write_text("wall_db_least = 80\n", encoding="utf-8")
    result = run("check", written / "recording.h5", "--limits", limits)
    assert "back wall: no back wall around 10.17 µs: 5" in result.stdout
    limits.write_text(run("example", "limits").stdout, encoding="utf-8")
    assert load_limits(limits) == load_limits(None) == GateLimits()
    limits.write_text("weak_db = true\n", encoding="utf-8")
    refused = run("check", written / "recording.h5", "--limits", limits, code=2)
    assert "limits.toml: weak_db: found true; give a number" in refused.stderr
    limits.write_text("wall_db = 80\nweak_db = 'low'\n", encoding="utf-8")
    refused = run("check", written / "recording.h5", "--limits", limits, code=2)
    assert "limits.toml: wall_db: is not a known key" in refused.stderr
    assert refused.stderr.count("error: ") == 2


@pytest.mark.parametrize("name", ["matrix.npy", "a.npz", "b.mat"])
def test_a_bare_array_is_told_to_get_a_side_car(written, tmp_path, name):
    path = tmp_path / name
    path.write_bytes(b"x")
    refused = run("check", path, code=2)
    assert "write a side-car beside it" in refused.stderr
    assert "qualify example recording shows one" in refused.stderr


def test_what_else_is_refused(written, tmp_path):
    block = tmp_path / "block.toml"
    block.write_text(run("example", "block").stdout, encoding="utf-8")
    both = run("check", block, written / "recording.h5", "--json")
    assert [one["what"] for one in json.loads(both.stdout)["checked"]] == ["block", "recording"]
    assert "no such file" in run("check", tmp_path / "gone.h5", code=2).stderr
    assert "is not an HDF5 file" in run("check", _text(tmp_path / "t.h5"), code=2).stderr
    made = written / "recording.toml"
    assert "end it in .h5" in run("record", made, "--out", tmp_path / "r.txt", code=2).stderr
    already = run("record", written / "recording.h5", "--out", tmp_path / "r.h5", code=2)
    assert "is a recording already; give a side-car" in already.stderr
    assert (
        "sampling_mhz: is missing"
        in run("record", block, "--out", tmp_path / "r.h5", code=2).stderr
    )
    assert "is there already" in run("example", "recording", "--out", written, code=2).stderr
    assert (
        "give it with recording, "
        in run("example", "block", "--out", tmp_path / "n", code=2).stderr
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["block.toml", "t.h5"]


def test_faults_of_several_files_are_told_together(written, tmp_path):
    result = run(
        "check", tmp_path / "gone.h5", written / "recording.h5", _text(tmp_path / "t.h5"), code=2
    )
    assert result.stdout == ""
    assert result.stderr.count("error: ") == 2
    assert "gone.h5: no such file" in result.stderr
    assert "t.h5: is not an HDF5 file" in result.stderr


def _text(path: Path) -> Path:
    path.write_text("words", encoding="utf-8")
    return path


def test_the_figure_is_of_one_recording(written, tmp_path):
    one, out = written / "recording.h5", tmp_path / "r.svg"
    assert "wrote" in run("check", one, "--figure", out).stderr
    assert out.read_bytes().startswith(b"<?xml")
    two = run("check", one, written / "recording.toml", "--figure", tmp_path / "x.png", code=2)
    assert "give one recording alone" in two.stderr
    assert "end it in .png" in run("check", one, "--figure", tmp_path / "x.bmp", code=2).stderr
    assert [path.name for path in tmp_path.iterdir()] == ["r.svg"]


def test_the_maps_show_which_pair_is_at_fault(written):
    """Element 5 dead as receiver: its 31 pairs of 496 differ by their whole power, the mean of
    all being less by half of theirs. Nothing is clipped."""

    def deaf(samples):
        samples[:, 4] = 0.0

    recording = recording_from_bytes(spoiled(written, "deaf.h5", deaf).read_bytes(), "r")
    residual, clipped, reason = pair_maps(recording)
    assert (reason, clipped.any()) == ("", False)
    assert np.isnan(np.diagonal(residual)).all()
    np.testing.assert_array_equal(residual, residual.T)
    at_fault = np.delete(residual[4], 4)
    np.testing.assert_allclose(at_fault, 10 * np.log10(496 / (496 - 31 / 2)), atol=0.2)
    assert np.nanmax(np.delete(np.delete(residual, 4, 0), 4, 1)) < -20.0

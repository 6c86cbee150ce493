"""The command `image`: what it writes, tells, refuses, and does when it is stopped."""

import csv
import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "imaging"))
from made import noisy, probe

import qualify.figures.images as figures
import qualify.study.imaging as imaging
from qualify.cli.app import app
from qualify.figures.images import modes_figure
from qualify.imaging.image_archive import images_from_bytes
from qualify.recording.archive import recording_bytes
from qualify.recording.points import record_points
from qualify.recording.probe import Medium
from qualify.recording.record import full_matrix

RUN = CliRunner()
PLAN = """
format = 1
[region]
x_from_mm = -4
x_to_mm = 4
z_from_mm = 8
z_to_mm = 24
step_mm = 0.4
[noise]
x_from_mm = -4
x_to_mm = -1
z_from_mm = 17
z_to_mm = 23
[[looked_at]]
name = "place"
x_from_mm = -1
x_to_mm = 1
z_from_mm = 13
z_to_mm = 15
[[modes]]
name = "linear"
focusing = "linear"
aperture_elements = 6
threshold = -30
[[modes]]
name = "total_focusing"
focusing = "total_focusing"
[[modes]]
name = "coherence"
focusing = "total_focusing"
show = "coherence"
measure = "vector_coherence"
"""


def recording(points=((0.0, 14.0),), seed=1, sizes=0.3):
    made = record_points(
        probe(16), points, sizes, medium=Medium(longitudinal_m_per_s=5900.0), samples=700
    )
    return noisy(made, 0.01, seed)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "flawed.h5").write_bytes(recording_bytes(recording()))
    (tmp_path / "blank.h5").write_bytes(recording_bytes(recording([(3.5, 10.0)], 2, 0.1)))
    return tmp_path


def run(folder, *names, options=(), plan="plan.toml"):
    arguments = [*(str(folder / name) for name in names), "--imaging", str(folder / plan)]
    return RUN.invoke(app, ["image", *arguments, "--out", str(folder / "out"), *options])


FAST, MODES = ("--figures", "none"), ("--figures", "modes")


def test_images_and_figures_hold_the_same_numbers(folder):
    result = run(folder, "flawed.h5", options=["--twin", str(folder / "blank.h5"), "--json"])
    assert result.exit_code == 0, result.output
    assert result.stderr.splitlines()[-1].startswith("next: ")
    (told,) = json.loads(result.stdout)["images"]
    written = json.loads((folder / "out/flawed/images.json").read_bytes())
    assert {k: told[k] for k in written} == written
    images = images_from_bytes((folder / "out/flawed/images.h5").read_bytes(), "images.h5")
    for image, mode in zip(images, told["modes"], strict=True):
        shown = np.where(image.covered, image.values, -np.inf)
        row, column = np.unravel_index(shown.argmax(), shown.shape)
        assert mode["largest"]["value"] == pytest.approx(float(shown.max()))
        assert mode["largest"]["x_mm"] == pytest.approx(image.grid.x_mm()[column])
        assert mode["largest"]["z_mm"] == pytest.approx(image.grid.z_mm()[row])
        assert mode["covered_fraction"] == pytest.approx(float(image.covered.mean()))
    linear, total, coherence = told["modes"]
    assert abs(total["largest"]["z_mm"] - 14.0) < 0.4
    assert total["looked_at"][0]["excess_db"] > 20.0 > linear["looked_at"][0]["twin_snr_db"]
    assert coherence["looked_at"][0]["peak"]["value"] > 0.9
    assert coherence["random_level"] < coherence["random_99"] < 0.3
    assert set(written["files"]) | {"images.json"} == {
        p.name for p in (folder / "out/flawed").iterdir()
    }
    assert {"modes.png", "coverage.png", "mode-coherence.svg", "images.h5"} <= set(written["files"])


def test_without_a_twin_no_signal_to_noise_is_told(folder):
    (told,) = json.loads(run(folder, "flawed.h5", options=[*FAST, "--json"]).stdout)["images"]
    for mode in told["modes"][:2]:
        assert mode["looked_at"][0]["snr_db"] is None
        assert "twin" in mode["looked_at"][0]["reason"]
    assert "SIMULATED" in run(folder, "flawed.h5", options=FAST).stdout


def test_a_rejected_twin_is_told_and_not_used(folder):
    """White noise alone: the gate sees no signal of the probe in it."""
    (folder / "noise.h5").write_bytes(recording_bytes(recording(sizes=0.0, seed=4)))
    options = [*FAST, "--twin", str(folder / "noise.h5")]
    (told,) = json.loads(run(folder, "flawed.h5", options=[*options, "--json"]).stdout)["images"]
    assert told["twin"]["accepted"] is False
    assert told["modes"][0]["looked_at"][0]["excess_db"] is None
    assert "the TWIN is rejected" in run(folder, "flawed.h5", options=options).stdout


def test_what_a_setting_makes_of_an_image_is_told(folder):
    """Coarse beams, a threshold below chance, a weighted amplitude, a full scale not told."""
    plan = PLAN.replace(
        'measure = "vector_coherence"', 'measure = "vector_coherence"\nthreshold = 0.05'
    )
    plan += """[[modes]]
name = "coarse"
focusing = "sectorial"
angle_from_deg = -20
angle_to_deg = 20
angle_step_deg = 20
[[modes]]
name = "weighted"
focusing = "total_focusing"
show = "weighted_amplitude"
measure = "coherence_factor"
corrections = { window = "hann" }
"""
    (folder / "plan.toml").write_text(plan, encoding="utf-8")
    (folder / "unknown.h5").write_bytes(recording_bytes(replace(recording(), full_scale=None)))
    (told,) = json.loads(run(folder, "unknown.h5", options=[*FAST, "--json"]).stdout)["images"]
    modes = {mode["mode"]: mode for mode in told["modes"]}
    remarks = {name: " ".join(mode["remarks"]) for name, mode in modes.items()}
    assert "full scale is not told" in remarks["total_focusing"]
    assert "full scale is not told" not in remarks["coherence"]
    assert "below the 99 % level of random phases" in remarks["coherence"]
    # 16 elements of 0.6 mm: 2 asin(0.4429 · 1.18 / 9.6) = 6.2°, physics of a rectangle, two-way
    assert "beams stand 20° apart and are 6.2° wide" in remarks["coarse"]
    assert "no amplitude" in remarks["weighted"]
    assert "hann window" in modes["weighted"]["method"]


def test_a_twin_has_to_be_recorded_as_the_recording_was(folder):
    made = recording(sizes=0.0, seed=3)
    changed = replace(
        made,
        gain_db=20.0,
        sampling_mhz=40.0,
        probe=made.probe.model_copy(update={"centre_mhz": 2.25}),
        medium=Medium(longitudinal_m_per_s=3200.0),
    )
    (folder / "other.h5").write_bytes(recording_bytes(changed))
    result = run(folder, "flawed.h5", options=[*FAST, "--twin", str(folder / "other.h5")])
    assert result.exit_code == 2
    for name in ("gain_db", "sampling_mhz", "probe.centre_mhz", "medium.longitudinal_m_per_s"):
        assert f"--twin: {name}: found " in result.stderr
    assert "--twin: probe.elements" not in result.stderr
    result = run(folder, "flawed.h5", options=[*FAST, "--twin", str(folder / "flawed.h5")])
    assert "is the recording itself" in result.stderr
    for name, changed, wanted in (
        ("late", replace(made, start_us=0.5), "start_us: found 0.5, and the recording has 0.0"),
        (
            "short",
            replace(made, samples=made.samples[:, :600]),
            "samples of a signal: found 600, and the recording has 700",
        ),
    ):
        (folder / f"{name}.h5").write_bytes(recording_bytes(changed))
        result = run(folder, "flawed.h5", options=[*FAST, "--twin", str(folder / f"{name}.h5")])
        assert result.exit_code == 2
        assert f"--twin: {wanted}" in result.stderr
    full = replace(made, samples=full_matrix(made.samples))
    (folder / "full.h5").write_bytes(recording_bytes(full))
    result = run(folder, "flawed.h5", options=[*FAST, "--twin", str(folder / "full.h5")])
    assert "--twin: matrix: found full, and the recording has half" in result.stderr
    assert not (folder / "out").exists()
    # the second of two is refused before the first is imaged
    options = [*FAST, "--twin", str(folder / "blank.h5")]
    result = run(folder, "flawed.h5", "blank.h5", options=options)
    assert result.exit_code == 2
    assert "blank.h5: --twin: is the recording itself" in result.stderr
    assert "nothing was written" in result.stderr
    assert not (folder / "out").exists()


def test_same_inputs_give_the_same_bytes_and_are_not_made_twice(folder):
    assert run(folder, "flawed.h5", options=MODES).exit_code == 0
    first = {p.name: p.read_bytes() for p in (folder / "out/flawed").iterdir()}
    again = run(folder, "flawed.h5", options=MODES)
    assert "as it was" in again.stderr
    (folder / "out").rename(folder / "before")
    assert run(folder, "flawed.h5", options=MODES).exit_code == 0
    assert first == {p.name: p.read_bytes() for p in (folder / "out/flawed").iterdir()}
    (folder / "plan.toml").write_text(PLAN.replace("-30", "-29"), encoding="utf-8")
    assert ", imaged" in run(folder, "flawed.h5", options=FAST).stderr


def test_a_file_that_is_gone_is_made_again(folder):
    assert run(folder, "flawed.h5", options=FAST).exit_code == 0
    (folder / "out/flawed/images.h5").unlink()
    assert ", imaged" in run(folder, "flawed.h5", options=FAST).stderr
    assert (folder / "out/flawed/images.h5").is_file()


def test_a_file_that_was_damaged_is_made_again(folder):
    """One byte in the middle of the pixels: the file is there, and is not what was written."""
    assert run(folder, "flawed.h5", options=FAST).exit_code == 0
    path = folder / "out/flawed/images.h5"
    good = path.read_bytes()
    path.write_bytes(good[:-2000] + bytes([good[-2000] ^ 1]) + good[-1999:])
    assert ", imaged" in run(folder, "flawed.h5", options=FAST).stderr
    assert path.read_bytes() == good
    assert "as it was" in run(folder, "flawed.h5", options=FAST).stderr


def test_faults_of_all_files_are_told_before_anything_is_imaged(folder):
    """A bad plan, a missing recording, a damaged one, the same matrix under two names."""
    (folder / "again.h5").write_bytes(
        recording_bytes(replace(recording(), block="another", position_mm=3.0))
    )
    (folder / "damaged.h5").write_bytes((folder / "flawed.h5").read_bytes()[:-100])
    changed = PLAN.replace("aperture_elements = 6", "aperture_elements = 99")
    (folder / "plan.toml").write_text(changed.replace("= -30", "= 3"), encoding="utf-8")
    names = ("flawed.h5", "gone.h5", "damaged.h5", "again.h5", "blank.h5")
    options = [*FAST, "--twin", str(folder / "blank.h5")]
    result = run(folder, *names, options=options)
    assert result.exit_code == 2
    told = result.stderr.replace(str(folder) + "/", "").splitlines()
    assert told[0].startswith("error: plan.toml: modes.1: mode linear: aperture_elements: 99 elem")
    assert told[1] == (
        "error: plan.toml: modes.1: mode linear: threshold: 3 dB re full scale, which no "
        "amplitude reaches; give one below 0 dB"
    )
    assert told[2].startswith("error: gone.h5: no such file")
    assert told[3].startswith("error: damaged.h5: is damaged")
    assert told[4] == "error: again.h5: holds the same matrix as flawed.h5; give each one once"
    assert told[5].startswith("error: blank.h5: --twin: is the recording itself")
    assert told[6:] == ["nothing was written"]
    assert not (folder / "out").exists()
    # above 1 in the unit of the samples there are amplitudes, where no full scale is told
    (folder / "plan.toml").write_text(PLAN.replace("= -30", "= 3"), encoding="utf-8")
    (folder / "unknown.h5").write_bytes(recording_bytes(replace(recording(), full_scale=None)))
    assert run(folder, "unknown.h5", options=FAST).exit_code == 0


def test_pictures_of_the_twin_say_so(folder, monkeypatch):
    drawn = []
    monkeypatch.setattr(
        figures, "modes_figure", lambda panels: drawn.append(panels) or real(panels)
    )
    real = modes_figure
    (folder / "noise.h5").write_bytes(recording_bytes(recording(sizes=0.0, seed=4)))
    options = [*MODES, "--twin", str(folder / "noise.h5")]
    assert run(folder, "flawed.h5", options=options).exit_code == 0
    own, twins = drawn
    assert [panel.mode for panel in own] == ["linear", "total_focusing", "coherence"]
    assert [panel.mode for panel in twins] == [f"flaw-free TWIN: {panel.mode}" for panel in own]
    assert all("band" in " ".join(panel.rejected) for panel in twins), "the gate rejects noise"
    assert not any(panel.rejected for panel in own)


def test_a_coarse_scan_loses_the_point_between_its_beams(folder):
    """A grid that keeps the peak in total focusing; beams 6° apart that do not."""
    more = (
        PLAN.replace("step_mm = 0.4", "step_mm = 0.2")
        + """[[modes]]
name = "sectorial"
focusing = "sectorial"
focus_mm = 14
angle_from_deg = -30
angle_to_deg = 30
angle_step_deg = 6
[[fidelity_points]]
x_mm = 0
z_mm = 14
[control]
depth_mm = 14
x_from_mm = -2
x_to_mm = 2
search_mm = 3
limit_mm = 2
least_db = 6
least_coherence = 0.5
"""
    )
    (folder / "plan.toml").write_text(more, encoding="utf-8")
    result = run(folder, "flawed.h5", options=[*FAST, "--json"])
    modes = {m["mode"]: m for m in json.loads(result.stdout)["images"][0]["modes"]}
    assert modes["total_focusing"]["grid"][0]["loss"]["kept"]
    assert not modes["sectorial"]["grid"][0]["loss"]["kept"]
    assert modes["coherence"]["grid"] == []
    # above full scale nothing is found; the coherence of the echo is
    found = {name: mode["control_found"] for name, mode in modes.items()}
    assert found == {
        "linear": False, "total_focusing": False, "sectorial": False, "coherence": True
    }  # fmt: skip


def test_a_stopped_run_keeps_what_is_finished_and_goes_on(folder, monkeypatch):
    names, real = ("flawed.h5", "blank.h5"), imaging.Imager.image
    seen = []

    def stopped(self, one):
        seen.append(one)
        if len(seen) == 2:
            raise KeyboardInterrupt
        return real(self, one)

    monkeypatch.setattr(imaging.Imager, "image", stopped)
    result = run(folder, *names, options=FAST)
    assert result.exit_code == 130
    assert "stopped; 1 of 2 recordings stand" in result.stderr
    assert [p.name for p in (folder / "out").iterdir()] == ["flawed"]
    result = run(folder, *names, options=FAST)
    assert result.exit_code == 0
    assert "1 of 2" in result.stderr
    assert "as it was" in result.stderr.splitlines()[0]
    assert len(seen) == 3


def test_a_rejected_recording_is_imaged_marked_and_counted(folder):
    """Every fourth element dead: the gate rejects, the images are made all the same."""
    made = recording()
    pairs = np.triu_indices(16)
    dead = (pairs[0] % 4 == 0) | (pairs[1] % 4 == 0)
    samples = np.where(dead[:, None], np.float32(0.0), made.samples).astype(np.float32)
    (folder / "dead.h5").write_bytes(recording_bytes(replace(made, samples=samples)))
    result = run(folder, "dead.h5", "flawed.h5", options=[*FAST, "--json"])
    assert result.exit_code == 0
    told = json.loads(result.stdout)
    assert (told["recordings"], told["accepted"], told["rejected"]) == (2, 1, 1)
    assert not told["images"][0]["accepted"]
    assert "dead" in " ".join(told["images"][0]["rejected_because"])
    assert "REJECTED" in run(folder, "dead.h5", options=FAST).stdout


FINE = """[[modes]]
name = "fine"
focusing = "sectorial"
angle_from_deg = -20
angle_to_deg = 20
angle_step_deg = 0.001
"""
POINT = "[[fidelity_points]]\nx_mm = 0\nz_mm = 25\n"
CONTROL = (
    "[control]\ndepth_mm = 25\nx_from_mm = -2\nx_to_mm = 2\nsearch_mm = 3\nlimit_mm = 2\n"
    "least_db = -40\nleast_coherence = 0.5\n"
)
NEAR = "[near_surface]\nsearch_to_mm = 20\nclear_mm = 2\nx_from_mm = 0.25\n"


def test_a_table_across_recordings_holds_what_stands_in_each(folder):
    """A row for each recording, mode and place; the numbers are those of `images.json`."""
    options = [*FAST, "--twin", str(folder / "third.h5"), "--json"]
    (folder / "third.h5").write_bytes(recording_bytes(recording([(3.5, 10.0)], 5, 0.1)))
    names = ("flawed.h5", "blank.h5")
    assert json.loads(run(folder, "flawed.h5", options=options).stdout)["table"] is None
    assert not (folder / "out/images.csv").exists()
    told = json.loads(run(folder, *names, options=options).stdout)
    assert told["table"] == str(folder / "out/images.csv")
    with (folder / "out/images.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    pairs = [(one, mode) for one in told["images"] for mode in one["modes"]]
    assert len(rows) == len(pairs) == 6
    for row, (one, mode) in zip(rows, pairs, strict=True):
        place = mode["looked_at"][0]
        assert (row["recording"], row["mode"]) == (one["recording"], mode["mode"])
        assert (row["accepted"], row["place"]) == ("yes", "place")
        assert float(row["level"]) == place["peak"]["value"]
        if mode["unit"] == "db":
            assert float(row["noise_db"]) == place["noise"]["rms_db"]
            assert float(row["excess_db"]) == place["excess_db"]
            assert row["twin_largest"] == row["control_found"] == ""
        else:
            assert float(row["twin_largest"]) == place["twin_largest"]
            assert row["noise_db"] == row["excess_db"] == ""
    # a table of ours is replaced, a file of somebody else's is not
    assert run(folder, *names, options=options).exit_code == 0
    (folder / "out/images.csv").write_text("my notes", encoding="utf-8")
    refused = run(folder, *names, options=options)
    assert refused.exit_code == 2
    assert "images.csv: is there already, and is no table of this command" in refused.stderr
    assert (folder / "out/images.csv").read_text(encoding="utf-8") == "my notes"


@pytest.mark.parametrize(
    ("old", "new", "wanted"),
    [
        ("format = 1", "format = 2", "plan.toml: format"),
        ("step_mm = 0.4", "step_mm = 0", "plan.toml: region.step_mm"),
        ("step_mm = 0.4", "step_mm = 0.001", "give at most 4000000 in all"),
        ("x_to_mm = 4\nz_from_mm = 8", "x_to_mm = -5\nz_from_mm = 8", "x_to_mm is not beyond"),
        ("format = 1", "format = 1\nscale_bar_mm = 9", "is longer than the region"),
        ("aperture_elements = 6", "", "has no aperture; give aperture_elements"),
        ("aperture_elements = 6", "aperture_elements = 99", "99 elements, and the array has 16"),
        ('"total_focusing"\n[[', '"total"\n[[', "plan.toml: modes.2.focusing"),
        ('name = "coherence"', 'name = "linear"', "holds 'linear' twice"),
        ('measure = "vector_coherence"', "", "names no measure"),
        ('measure = "vector_coherence"', 'measure = "vector_coherence"\nthreshold = 3', "0 and 1"),
        ("[noise]", "[noises]", "plan.toml: noises: is not a known key"),
        ('name = "coherence"', 'name = "a/b"', "plan.toml: modes.3.name"),
        ("[region]", "[[region]]", "plan.toml: region"),
        ("step_mm = 0.4", 'step_mm = "0.4"', "region.step_mm: found '0.4'; give a number without"),
        ("z_to_mm = 15", "z_to_mm = true", "plan.toml: looked_at.1.z_to_mm: found true; give a n"),
        (
            '"linear"\nfocusing',
            '"linear"\ncorrections = { spreading = "no" }\nfocusing',
            "plan.toml: modes.1.corrections.spreading: found 'no'; give true or false",
        ),
        ("[[modes]]", f"{FINE}[[modes]]", "modes.1: angle_step_deg 0.001 makes 4e+04 beams; give"),
        (
            "z_from_mm = 17",
            "z_from_mm = 15",
            "plan.toml: the noise region, x -4 to -1 mm, z 15 to 23 mm, meets looked_at 'place'; "
            "noise is taken where no flaw is looked for",
        ),
        ("z_to_mm = 23", "z_to_mm = 26", "plan.toml: noise lies not wholly within the region, x"),
        ("x_from_mm = -1\n", "x_from_mm = -5\n", "looked_at 'place' lies not wholly within"),
        ("[noise]", f"{POINT}[noise]", "plan.toml: fidelity_points.1 lies not wholly within"),
        ("[noise]", f"{CONTROL}[noise]", "z 8 to 24 mm; move what lies outside, or widen the"),
        ("[noise]", f"{NEAR}x_to_mm = 9\n[noise]", "plan.toml: near_surface lies not wholly"),
        ("[noise]", f"{NEAR}x_to_mm = 0.35\n[noise]", "holds no pixel of the region; widen it"),
        ("[noise]", f"{NEAR}x_to_mm = 0.2\n[noise]", "near_surface: x_to_mm is not beyond x_from"),
    ],
)
def test_what_the_plan_may_not_say(folder, old, new, wanted):
    (folder / "plan.toml").write_text(
        PLAN.replace(old, new, 1) if old == "[[modes]]" else PLAN.replace(old, new),
        encoding="utf-8",
    )
    result = run(folder, "flawed.h5", options=FAST)
    assert result.exit_code == 2, result.output
    assert wanted in result.stderr
    assert "nothing was written" in result.stderr
    assert not (folder / "out").exists()


def test_recordings_of_one_name_and_files_of_ours_are_refused(folder):
    (folder / "more").mkdir()
    (folder / "more/flawed.h5").write_bytes((folder / "flawed.h5").read_bytes())
    result = run(folder, "flawed.h5", "more/flawed.h5", options=FAST)
    assert result.exit_code == 2
    assert "two recordings are named 'flawed'" in result.stderr
    (folder / "out/blank").mkdir(parents=True)
    (folder / "out/blank/letter.txt").write_text("kept", encoding="utf-8")
    result = run(folder, "blank.h5", options=FAST)
    assert result.exit_code == 2
    assert "files that are not ours" in result.stderr
    (folder / "array.npy").write_bytes(b"x")
    assert "write a side-car" in run(folder, "array.npy", options=FAST).stderr


LADDER = Path(__file__).parents[2] / "reference_blocks/depth_ladder.toml"


def test_targets_are_drawn_only_where_their_truth_is_said_to_be_open(folder):
    """A hole of the depth ladder, 14.95 mm deep: its mark stands on the echo recorded there."""
    made = replace(recording([(0.0, 14.95)]), block="depth_ladder", position_mm=85.05)
    (folder / "ladder.h5").write_bytes(recording_bytes(made))
    asked = ["--targets", str(LADDER)]
    sealed = run(folder, "ladder.h5", options=[*FAST, *asked])
    assert sealed.exit_code == 2
    assert "its targets are truth" in sealed.stderr
    assert not (folder / "out").exists()
    shown = run(folder, "ladder.h5", options=[*MODES, *asked, "--truth-open", "--json"])
    assert shown.exit_code == 0, shown.output
    (told,) = json.loads(shown.stdout)["images"]
    assert told["truth_shown"] == "depth_ladder A"
    with_marks = (folder / "out/ladder/modes.png").read_bytes()
    again = run(folder, "ladder.h5", options=[*MODES, "--json"])
    assert json.loads(again.stdout)["images"][0]["truth_shown"] is None
    assert (folder / "out/ladder/modes.png").read_bytes() != with_marks
    nothing = run(folder, "ladder.h5", options=[*FAST, "--truth-open"])
    assert nothing.exit_code == 2
    assert "--truth-open: is given without --targets, so that it opens nothing" in nothing.stderr
    other = run(folder, "flawed.h5", options=[*FAST, *asked, "--truth-open"])
    assert other.exit_code == 2
    assert "flawed.h5: names no block" in other.stderr
    second = run(folder, "ladder.h5", "flawed.h5", options=[*FAST, *asked, "--truth-open"])
    assert second.exit_code == 2
    assert "flawed.h5: names no block" in second.stderr
    assert "nothing was written" in second.stderr

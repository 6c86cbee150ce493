"""Images of a whole trial: the same bytes however they are made, kept or made anew."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pytest

from qualify.errors import InputError
from qualify.files import validated
from qualify.imaging.focus import make_images
from qualify.study.imaging_plan import ImagingPlan
from qualify.study.simulation import load_simulation
from qualify.study.simulation_run import make_recording, simulator_of
from qualify.study.template import example_text
from qualify.study.trial_images import FOLDER, MARK, load_trial_image, make_trial_images

POSITIONS = """
[[positions]]
block = "EX-01"
x_mm = [60.0, 80.0]
y_mm = 15.0
twins = true

[[positions]]
block = "EX-01"
x_mm = [100.0]
y_mm = 15.0
loss_db = 60.0
"""
PLAN = {
    "format": 1,
    "region": {
        "x_from_mm": -4.0, "x_to_mm": 4.0, "z_from_mm": 2.0, "z_to_mm": 42.0, "step_mm": 0.5,
    },
    "modes": [
        {"name": "total", "focusing": "total_focusing", "threshold": -40.0},
        {"name": "coherence", "focusing": "total_focusing", "show": "coherence",
         "measure": "vector_coherence"},
        {"name": "linear", "focusing": "linear", "aperture_elements": 6},
    ],
    "control": {
        "depth_mm": 40.0, "x_from_mm": -2.0, "x_to_mm": 2.0, "search_mm": 1.5, "limit_mm": 0.5,
        "least_db": -40.0, "least_coherence": 0.5,
    },
}  # fmt: skip


def plan(**changed):
    return validated(ImagingPlan, PLAN | changed, "plan")


def study_in(folder, change=("", "")):
    (folder / "blocks").mkdir(parents=True)
    (folder / "blocks" / "example_block.toml").write_text(example_text("block"), encoding="utf-8")
    text = example_text("simulation").split("[[positions]]")[0] + POSITIONS
    for old, new in (
        ("elements = 60", "elements = 12"),
        ("samples = 1024", "samples = 600"),
        (r"points_per_mm2 = \S+", "points_per_mm2 = 2.0"),
        change,
    ):
        text, count = re.subn(old, new, text, count=1)
        assert count == 1
    (folder / "simulation.toml").write_text(text, encoding="utf-8")
    return load_simulation(folder)


def made(study, imaging, folder, **given):
    told = []
    entries = make_trial_images(
        study, imaging, folder, lambda done, job, kept: told.append((done, job.name, kept)), **given
    )
    assert [done for done, *_ in told] == list(range(1, len(entries) + 1))
    return entries


def contents(folder):
    return {path.name: path.read_bytes() for path in (folder / FOLDER).iterdir()}


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    """The study, its folder, what was made of it by one process."""
    folder = tmp_path_factory.mktemp("trial")
    study = study_in(folder / "study")
    return study, folder, made(study, plan(), folder, workers=1)


def test_two_processes_give_the_same_bytes(trial, tmp_path):
    """Five jobs over two processes, beside one process: every file byte by byte."""
    study, folder, entries = trial
    assert made(study, plan(), tmp_path, workers=2) == entries
    assert contents(tmp_path) == contents(folder)
    assert len(entries) == len(study.jobs) == 5
    assert not any(entry.kept for entry in entries)


def test_a_file_holds_what_imaging_the_recording_gives(trial):
    """Values, masks and words of every mode, to the bit; the echo of the wall is found."""
    study, folder, entries = trial
    job, entry = study.jobs[0], entries[0]
    recording = make_recording(study, job, simulator_of(study, job.block))
    images = make_images(recording, plan().modes, plan().region.grid())
    found = load_trial_image(folder / entry.file)
    for image, other in zip(images, found.images, strict=True):
        for part in ("values", "covered", "recorded"):
            np.testing.assert_array_equal(getattr(image, part), getattr(other, part))
        apart = dict.fromkeys(("values", "covered", "recorded"))
        assert replace(image, **apart) == replace(other, **apart)
    assert found.samples_sha256 == entry.samples_sha256 == images[0].recording
    assert (found.name, found.x_mm, found.twin) == ("EX-01-x60", 60.0, False)
    assert [control.found for control in found.controls] == [True] * 3


def test_a_dry_probe_sees_no_wall(trial):
    """60 dB lost on each way: 120 dB off the wall in every signal, below the noise; the twins of
    the other places, and they, are as without that key."""
    study, folder, entries = trial
    wet, dry = (load_trial_image(folder / entries[k].file) for k in (0, 4))
    assert (wet.loss_db, dry.loss_db) == (0.0, 60.0)
    assert not any(control.found for control in dry.controls)
    assert dry.controls[0].level < wet.controls[0].level - 40.0
    job = study.jobs[4]
    assert study.inputs(job) != study.inputs(replace(job, loss_db=0.0))
    simulator = simulator_of(study, job.block)
    scene = study.section(job).scene
    signals = [simulator.signals(scene, job.place, loss_db=loss) for loss in (0.0, 60.0)]
    np.testing.assert_allclose(signals[1], signals[0] * 1e-6, rtol=1e-4, atol=1e-12)


def test_what_is_whole_is_kept_and_what_is_not_is_made_anew(trial, tmp_path):
    """A threshold changes no image; a byte, an end cut off, a file removed, what a killed run left
    behind: the same folder again. Another region, and all are made anew."""
    study, folder, _ = trial
    shutil.copytree(folder / FOLDER, tmp_path / FOLDER)
    names = [f"{job.name}.h5" for job in study.jobs]
    paths = [tmp_path / FOLDER / name for name in names]
    content = bytearray(paths[0].read_bytes())
    content[len(content) // 2] ^= 1
    paths[0].write_bytes(content)
    paths[1].write_bytes(paths[1].read_bytes()[:3000])
    paths[2].unlink()
    (tmp_path / FOLDER / f".{names[2]}.left").write_bytes(b"half")
    with pytest.raises(InputError, match="damaged"):
        load_trial_image(paths[0])
    calm = plan(modes=[PLAN["modes"][0] | {"threshold": -30.0}, *PLAN["modes"][1:]])
    entries = made(study, calm, tmp_path, workers=1)
    assert [entry.kept for entry in entries] == [False, False, False, True, True]
    assert contents(tmp_path) == contents(folder)
    fewer = plan(region=PLAN["region"] | {"z_from_mm": 3.0})
    anew = made(study, fewer, tmp_path, workers=1)
    assert [(entry.name, entry.kept) for entry in anew] == [(job.name, False) for job in study.jobs]
    other = contents(tmp_path)
    assert {n for n, held in contents(folder).items() if other[n] != held} == set(names)


def test_a_folder_of_others_is_left_alone(trial, tmp_path):
    """Another file, another seed, another mode that does not fit: refused, nothing changed."""
    study, folder, _ = trial
    before = contents(folder)
    other = study_in(tmp_path / "study", ("seed = 1", "seed = 2"))
    with pytest.raises(InputError, match="holds images of study 'example-simulation', made with"):
        made(other, plan(), folder)
    wide = plan(modes=[{"name": "wide", "focusing": "linear", "aperture_elements": 13}])
    with pytest.raises(InputError, match="13 elements, and the array has 12"):
        made(study, wide, folder)
    (tmp_path / FOLDER).mkdir()
    (tmp_path / FOLDER / "EX-02-x60.h5").write_bytes(b"")
    with pytest.raises(InputError, match=r"also holds EX-02-x60\.h5"):
        made(study, plan(), tmp_path)
    assert contents(folder) == before
    assert MARK in before

"""A trial from its folder by commands: any entry, only what changed, bad input, kills."""

import csv
import json
import os
import shutil
import signal
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.recording.record import full_matrix, half_matrix
from qualify.study.trial_image_file import trial_image_bytes
from qualify.study.trial_images import load_trial_image
from qualify.study.trial_pictures import images_digest
from qualify.study.trial_run import image_recordings, image_trial, read_trial, set_open_thresholds
from qualify.threads import do_without_threads
from tests.study import small_trial as small

RUN = CliRunner()
QUIET = {"progress": lambda *_: None}


def run(*given):
    return RUN.invoke(app, [*map(str, given)])


def contents(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def rows(folder, sheet="rule_total"):
    with (folder / "call_sheets" / f"{sheet}.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def changed(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert text.count(old) >= 1, old
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The trial imaged, its thresholds set, read: never changed."""
    folder = small.written(tmp_path_factory.mktemp("trial") / "study")
    image_trial(folder, lambda *_: None, workers=1)
    set_open_thresholds(folder, **QUIET)
    read_trial(folder, **QUIET)
    return folder


@pytest.fixture
def trial(whole, tmp_path):
    """A copy, to be spoiled."""
    return Path(shutil.copytree(whole, tmp_path / "study"))


@pytest.fixture(scope="module")
def matrices(whole):
    """The recordings of the trial by name, BLOCK-UNIT."""
    return small.recordings(whole)


def as_it_lay(recording):
    """Return a recording as a probe takes it on the piece turned end for end."""
    turned = half_matrix(np.ascontiguousarray(full_matrix(recording.samples)[::-1, ::-1]))
    assert not np.array_equal(turned, recording.samples)
    return replace(recording, samples=turned, block=None, position_mm=None)


def coded(matrices):
    """Return the recordings with those of the blind block under its code, as the piece lay."""
    last = len(small.SPOTS[small.BLIND])
    names = {f"{small.BLIND}-U{n}": f"{small.CODE}-{last + 1 - n}" for n in range(1, last + 1)}
    return {
        names.get(name, name): as_it_lay(held) if name in names else held
        for name, held in matrices.items()
    }


def recorded(matrices, folder):
    small.stored(matrices, small.written(folder, simulated=False) / "recordings")
    return folder


@pytest.fixture(scope="module")
def lying(matrices, tmp_path_factory):
    """The trial from recordings, those of the blind block under its code; never changed."""
    folder = recorded(coded(matrices), tmp_path_factory.mktemp("lying") / "study")
    result = run("image", folder)
    assert result.exit_code == 0, result.output
    return folder


def test_coded_recordings_of_a_turned_piece_give_the_same_call_sheet(whole, lying, tmp_path):
    """Recordings named by code and number, elements reversed as on a piece that lies turned with
    its datum 2 mm off: the call sheets are those of images in the frame of the block, to a pixel;
    the hole, 90 mm along a block of 360, stands 268 mm from the presented datum."""
    folder = Path(shutil.copytree(lying, tmp_path / "study"))
    for given in (("read", folder, "--open"), ("read", folder)):
        result = run(*given)
        assert result.exit_code == 0, result.output
    for sheet in ("rule_total", "rule_coherence"):
        ours, theirs = rows(folder, sheet), rows(whole, sheet)
        assert [(r["unit"], r["verdict"]) for r in ours] == [
            (r["unit"], r["verdict"]) for r in theirs
        ]
        called = [pair for pair in zip(ours, theirs, strict=True) if pair[0]["x_mm"]]
        for one, beside in called:
            for column in ("x_mm", "z_mm", "length_x_mm", "size_mm"):
                assert abs(float(one[column]) - float(beside[column])) <= 0.5
            assert abs(float(one["response"]) - float(beside["response"])) < 0.05
        hole = max((one for one, _ in called), key=lambda row: float(row["response"]))
        assert hole["unit"] == "2"
        assert abs(float(hole["x_mm"]) - (360.0 - 90.0 - small.OFFSET_MM)) <= 0.5


def test_recordings_in_the_frame_of_the_block_give_the_images_of_the_simulation(
    whole, matrices, tmp_path
):
    """Values and masks to the bit; beside a simulation.toml they have to be asked for; images of
    the two are not put into one folder."""
    blind = {name: held for name, held in matrices.items() if name.startswith(small.BLIND)}
    folder = recorded(blind, tmp_path / "study")
    shutil.copy(whole / "simulation.toml", folder)
    result = run("image", folder, "--recordings", folder / "recordings", "--json")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert (document["places"], document["rejected"], document["signal"]) == (3, 0, "simulated")
    for path in sorted((folder / "images").glob("*.h5")):
        one, other = (load_trial_image(at / "images" / path.name) for at in (whole, folder))
        assert (one.rejected, other.rejected) == (None, ())
        for ours, theirs in zip(one.images, other.images, strict=True):
            np.testing.assert_array_equal(ours.values, theirs.values)
            np.testing.assert_array_equal(ours.covered, theirs.covered)
        assert (one.x_mm, one.controls) == (other.x_mm, other.controls)
    before = contents(folder)
    again = run("image", folder, "--recordings", folder / "recordings")
    assert ", 3 kept" in again.output
    for given, words in (
        (("image", folder), "holds images of recordings that were given"),
        (("image", whole, "--recordings", folder / "recordings"), "not made from recordings given"),
    ):
        refused = run(*given)
        assert refused.exit_code == 2
        assert words in refused.output
    assert contents(folder) == before


def test_a_rejected_recording_is_imaged_and_its_unit_not_examined(lying, matrices, tmp_path):
    """An element of a blind unit and of a blank without a signal: the gate rejects both; both are
    imaged and counted; the unit stands in the sheet as not examined, with the gate's reason, and
    the blank among those that thresholds do not rest on."""
    folder, spoiled = Path(shutil.copytree(lying, tmp_path / "study")), coded(matrices)
    for name in (f"{small.CODE}-2", f"{small.OPEN}-U1"):
        full = full_matrix(spoiled[name].samples).copy()
        full[4], full[:, 4] = 0.0, 0.0
        dead = replace(spoiled[name], samples=half_matrix(full))
        small.stored({name: dead}, folder / "recordings")
    result = run("image", folder, "--json")
    document = json.loads(result.stdout)
    assert [document[key] for key in ("kept", "accepted", "rejected")] == [13, 13, 2]
    told = {one["file"]: one["rejected_because"] for one in document["images"]}
    assert "dead" in told[f"images/{small.CODE}-2.h5"][0]
    assert len(list((folder / "images").glob("*.h5"))) == 15
    opened = json.loads(run("read", folder, "--open", "--json").stdout)
    assert [mode["not_examined"] for mode in opened["modes"]] == [1, 1]
    result = run("read", folder)
    assert "1 of 3 units: recording rejected by the gate, not examined" in result.output
    found = next(row for row in rows(folder) if row["unit"] == "2")
    assert found["verdict"] == "not_examined"
    assert found["comment"].startswith("recording rejected by the gate: dead, ")


def test_faults_of_recordings_are_told_together_before_one_is_imaged(matrices, tmp_path):
    """A name twice, another probe, another gain, a name without a unit, another block than its
    name says, the same matrix twice: six messages, no image."""
    one, *more = [f"{small.OPEN}-U{n}" for n in range(1, 8)]
    held = {name: matrices[name] for name in (one, *more)}
    held |= {
        more[0]: replace(held[more[0]], gain_db=12.0),
        more[1]: replace(
            held[more[1]], probe=held[more[1]].probe.model_copy(update={"pitch_mm": 0.6})
        ),
        "QKZT-9": matrices[f"{small.BLIND}-U1"],
        "nameless": replace(matrices[f"{small.BLIND}-U2"], block=None),
        f"{small.OPEN}-U9": held[more[2]],
    }
    folder = recorded(held, tmp_path / "study")
    shutil.copy(folder / "recordings" / f"{one}.h5", folder / "recordings" / f"{one}.hdf5")
    result = run("image", folder)
    assert result.exit_code == 2
    for words in (
        f"{one}.hdf5: has the name of {one}.h5",
        f"{more[0]}.h5: gain_db: found 12.0, and {one} has 16.9",
        f"{more[1]}.h5: probe.pitch_mm: found 0.6, and {one} has 0.62",
        "QKZT-9.h5: it tells block 'BL-01', its name another",
        "nameless.h5: its name tells no unit; name it BLOCK-UNIT",
        f"{small.OPEN}-U9.h5: holds the same matrix as {more[2]}.h5",
    ):
        assert words in result.output, words
    assert not (folder / "images").exists()
    empty = run("image", folder, "--recordings", tmp_path / "none")
    assert (empty.exit_code, "no such folder" in empty.output) == (2, True)


def test_a_reading_is_kept_until_something_changes(trial, monkeypatch):
    """Nothing changed: no image is read, every byte stays. A comment changes nothing, a rule
    does: a group of pixels wider, and the sheets are made anew; a mode left out, and its sheet is
    taken away."""
    before = contents(trial)
    changed(trial / "reading.toml", "format = 1", "# a remark\nformat = 1")
    with monkeypatch.context() as patched:
        patched.setattr("qualify.study.reading_stage.load_trial_image", None)
        opened, blind = run("read", trial, "--open"), run("read", trial)
    assert (opened.exit_code, blind.exit_code) == (0, 0), opened.output + blind.output
    assert "thresholds.json is as it was" in opened.output
    assert "as it was, nothing changed; --anew computes it again" in blind.output
    after = contents(trial)
    assert {n for n in after if after[n] != before[n]} == {"reading.toml"}
    again = run("read", trial, "--anew")
    assert "as it was" not in again.output
    assert contents(trial) == after
    changed(trial / "reading.toml", "group_x_mm = 4.0", "group_x_mm = 3.0")
    result = run("read", trial)
    assert (result.exit_code, "as it was" in result.output) == (0, False)
    text = (trial / "reading.toml").read_text(encoding="utf-8")
    start = text.index("[[modes]]", text.index("[[modes]]") + 1)
    end = text.index("# models of readers")
    (trial / "reading.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    result = run("read", trial)
    assert "took away call_sheets/rule_coherence.csv" in result.output
    assert [p.name for p in (trial / "call_sheets").iterdir()] == ["rule_total.csv"]


@pytest.mark.parametrize("with_record", [True, False])
def test_a_call_sheet_changed_by_hand_is_not_overwritten(trial, with_record):
    """Nor is one that somebody wrote before any record: exit 2, the sheet as it was; --anew
    overwrites it, and moved away it is made again."""
    sheet = trial / "call_sheets" / "rule_total.csv"
    written = sheet.read_bytes()
    changed(sheet, "nothing_found", "not_examined")
    mended = sheet.read_bytes()
    if not with_record:
        (trial / "readings.json").unlink()
    before = contents(trial)
    result = run("read", trial)
    assert result.exit_code == 2
    assert "call_sheets/rule_total.csv: was changed after it was written" in result.output
    assert "move it away, or give --anew" in result.output
    assert contents(trial) == before
    assert run("read", trial, "--anew").exit_code == 0
    assert sheet.read_bytes() == written != mended
    sheet.rename(trial / "mine.csv")
    assert run("read", trial).exit_code == 0
    assert sheet.read_bytes() == written


def test_images_behind_the_pictures_of_a_dossier_have_a_digest(trial, lying):
    """It goes with what each was made from; None while one is missing, and of recordings given."""
    first = images_digest(trial)
    path = trial / "images" / f"{small.BLIND}-U2.h5"
    held = load_trial_image(path)
    path.write_bytes(trial_image_bytes(replace(held, inputs_sha256="0" * 64)))
    assert images_digest(trial) not in (None, first)
    path.write_bytes(trial_image_bytes(held))
    assert images_digest(trial) == first
    path.unlink()
    assert images_digest(trial) is None
    shutil.copy(trial / "simulation.toml", lying)
    assert images_digest(lying) is None
    (lying / "simulation.toml").unlink()


def missing(folder):
    (folder / "images" / f"{small.BLIND}-U2.h5").unlink()


def damaged(folder):
    path = folder / "images" / f"{small.BLIND}-U2.h5"
    content = bytearray(path.read_bytes())
    content[-500] ^= 1
    path.write_bytes(bytes(content))


def twice(folder):
    name = folder / "images" / f"{small.BLIND}-U2.h5"
    shutil.copy(name, folder / "images" / f"{small.CODE}-2.h5")


def elsewhere(folder):
    changed(folder / "blocks" / f"{small.BLIND}.toml", "x_to_mm = 240.0", "x_to_mm = 229.0")


def presented(folder):
    words = "reader,mode,code\nR1,total,XXXX\n"
    (folder / "presentation.csv").write_text(words, encoding="utf-8")


def another_rate(folder):
    path = folder / "thresholds.json"
    held = json.loads(path.read_bytes())
    path.write_text(json.dumps(held | {"declared_rate": 0.01}), encoding="utf-8")


def without_mode(folder):
    path = folder / "thresholds.json"
    held = json.loads(path.read_bytes())
    path.write_text(json.dumps(held | {"modes": held["modes"][:1]}), encoding="utf-8")


def in_file(name, old, new):
    return lambda folder: changed(folder / name, old, new)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (missing, "images/BL-01-U2.h5 or QKZT-2.h5: is not there; image the trial first"),
        (damaged, "images/BL-01-U2.h5: is damaged"),
        (twice, "images/QKZT-2.h5: is of the same unit as BL-01-U2.h5; keep one of them"),
        (elsewhere, "tells the array at 230 mm, and its unit lies at 220 to 229 mm"),
        (
            in_file("imaging.toml", "x_from_mm = -6.0", "x_from_mm = -5.5"),
            "images/BL-01-U3.h5, BL-01-U2.h5, BL-01-U1.h5: is on another region than that of "
            "imaging.toml; image the trial anew",
        ),
        (
            in_file("imaging.toml", 'focusing = "total_focusing"', 'focusing = "total_focusing"\n'
                    "largest_angle_deg = 20.0"),
            "was made with mode 'total' otherwise than imaging.toml says",
        ),
        (in_file("imaging.toml", 'name = "coherence"', 'name = "other"'),
         "reading.toml: modes 'coherence': is no mode of imaging.toml; give one of total, other"),
        (presented, "presentation.csv: row 2: code: 'XXXX' is not in the key"),
        (another_rate, "thresholds.json: is of study 'small' at a rate of 0.01; reading.toml says"),
        (without_mode, "thresholds.json: holds none of mode 'coherence', which reading.toml reads"),
        (
            in_file("reading.toml", "z_from_mm = 8.0\n# last depth\nz_to_mm = 34.0",
                    "z_from_mm = 50.0\nz_to_mm = 60.0"),
            "reading.toml: region: holds no pixel of the images, whose region imaging.toml gives",
        ),
        (in_file("key.csv", "QKZT,BL-01", "OP-01,BL-01"),
         "key: code OP-01: is also the id of a block"),
    ],
)  # fmt: skip
def test_bad_input_of_a_reading_is_one_message(trial, spoil, words):
    """File, what was found, what is wanted; exit 2, nothing written."""
    spoil(trial)
    before = contents(trial)
    result = run("read", trial, "--anew")
    assert result.exit_code == 2, result.output
    assert words in result.output
    assert result.output.count("error: ") == 1
    assert "nothing was written" in result.output
    assert contents(trial) == before


def test_open_blocks_without_a_blank_set_no_threshold(trial):
    """The one open block holds targets in every unit: told before an image is looked for."""
    file = trial / "blocks" / f"{small.BLIND}.toml"
    text = file.read_text(encoding="utf-8")
    low, high = text.index("[[grading_units]]"), text.index("# ", text.index('id = "U3"'))
    assert low < high
    units = '[[grading_units]]\nid = "U1"\nx_from_mm = 80.0\nx_to_mm = 100.0\n\n'
    file.write_text(text[:low] + units + text[high:], encoding="utf-8")
    changed(trial / "reading.toml", f'"{small.OPEN}"', f'"{small.BLIND}"')
    before = contents(trial)
    result = run("read", trial, "--open")
    assert result.exit_code == 2
    assert "reading.toml: open_blocks: hold no blank unit; thresholds come from" in result.output
    assert contents(trial) == before


def test_a_mode_that_no_image_has(trial):
    """Imaging file and rule name it, the images were made before it: twelve files, one message."""
    for name in ("imaging.toml", "reading.toml"):
        changed(trial / name, 'name = "coherence"', 'name = "other"')
    before = contents(trial)
    result = run("read", trial, "--open")
    assert result.exit_code == 2
    assert (
        "images/OP-01-U1.h5, OP-01-U2.h5, OP-01-U3.h5 and 9 more: has no mode 'other', which "
        "reading.toml reads; image the trial anew"
    ) in result.output
    assert contents(trial) == before


def test_simulated_images_are_not_read_for_a_plan_of_measured_ones(trial):
    """plan.toml says measured, the images are simulated: refused, for else nothing would say so."""
    from qualify.study.template import example_text

    (trial / "plan.toml").write_text(example_text("plan"), encoding="utf-8")
    result = run("read", trial, "--anew")
    assert result.exit_code == 2
    assert "of simulated signals; plan.toml says signal = 'measured'" in result.output


def killed(work, moment):
    """Do the work in a child that is killed (SIGKILL) as it is to put its so-manieth file."""
    child = os.fork()
    if child == 0:
        try:
            do_without_threads()  # threads do not come along
            put, count = Path.replace, iter(range(1, moment + 1))

            def last(self, target):
                if next(count) == moment:
                    os.kill(os.getpid(), signal.SIGKILL)
                return put(self, target)

            Path.replace = last
            work()
        finally:
            os._exit(1)
    assert os.WIFSIGNALED(os.waitpid(child, 0)[1]), moment


needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")


@needs_fork
def test_a_killed_reading_goes_on_to_the_same_bytes(trial, tmp_path):
    """Call sheets of another rule stand; the reading with the new one is killed before its first
    write and after each, and run again: no sheet is taken for one changed by hand, and the folder
    is that of a run that nobody disturbed."""
    changed(trial / "reading.toml", "z_from_mm = 8.0", "z_from_mm = 26.0")
    calm = Path(shutil.copytree(trial, tmp_path / "calm"))
    before = contents(trial)
    assert run("read", calm).exit_code == 0
    wanted = contents(calm)
    sheets = ["call_sheets/rule_coherence.csv", "call_sheets/rule_total.csv"]
    assert [n for n in wanted if wanted[n] != before[n]] == [*sheets, "readings.json", "sizes.csv"]
    for moment in (1, 2, 3, 3, 3):  # record, sheet, sheet, sizes, record: one more stands each time
        killed(lambda: read_trial(trial, **QUIET), moment)
        assert contents(trial) != wanted
    result = run("read", trial)
    assert result.exit_code == 0, result.output
    assert contents(trial) == wanted


@needs_fork
@pytest.mark.parametrize("entry", ["simulated", "recorded"])
def test_killed_imaging_goes_on_to_the_same_bytes(whole, lying, tmp_path, entry):
    """Killed as it is to put its mark, its first image, the next but one: run again, the images of
    an undisturbed run, and nothing half-written beside them."""
    source = whole if entry == "simulated" else lying
    left = shutil.ignore_patterns("images")
    folder = Path(shutil.copytree(source, tmp_path / "study", ignore=left))

    def work():
        if entry == "simulated":
            image_trial(folder, lambda *_: None, workers=1)
        else:
            image_recordings(folder, None, lambda *_: None)

    for moment in (1, 2, 3):
        killed(work, moment)
    assert any(path.name.startswith(".") for path in (folder / "images").iterdir())
    work()
    assert contents(folder / "images") == contents(source / "images")

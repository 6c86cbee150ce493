"""The command `simulate`: what it writes, and that a killed run goes on to the same bytes."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.errors import refuse
from qualify.recording.archive import recording_from_bytes
from qualify.study import simulation_run
from qualify.study.template import example_text

RUN = CliRunner()
STUDY = re.sub(
    r"units = \[[^]]*]",
    "x_mm = [60.0, 80.0, 100.0, 120.0, 140.0, 160.0]",
    example_text("simulation"),
)
STUDY = STUDY.replace("elements = 60", "elements = 12").replace("samples = 1024", "samples = 700")


def study(folder):
    (folder / "blocks").mkdir(parents=True)
    (folder / "blocks" / "example_block.toml").write_text(example_text("block"), encoding="utf-8")
    (folder / "simulation.toml").write_text(STUDY, encoding="utf-8")
    return folder


def run(*given):
    return RUN.invoke(app, ["simulate", *map(str, given)])


def contents(folder):
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """The study's folder and all bytes of an undisturbed run."""
    folder = study(tmp_path_factory.mktemp("whole") / "study")
    result = run(folder, "--json")
    assert result.exit_code == 0, result.output
    return folder, contents(folder / "recordings"), result


def test_one_file_a_place_and_a_manifest(whole):
    """Twelve recordings, half of them twins; the manifest lists seed, digests, what is left out."""
    folder, files, _ = whole
    manifest = json.loads(files["simulation.json"])
    assert manifest["complete"] is True
    assert manifest["signal"] == "simulated"
    assert manifest["left_out"]
    assert sorted(one["file"] for one in manifest["recordings"]) == sorted(
        name for name in files if name.endswith(".h5")
    )
    assert len(manifest["recordings"]) == 12
    first = recording_from_bytes(files["EX-01-x60.h5"], "one")
    assert first.provenance.signal == "simulated"
    assert first.provenance.seed == 1
    assert set(manifest["left_out"]) == set(first.provenance.left_out)
    assert first.block == "EX-01"
    assert first.position_mm == 60.0
    assert folder.name == "study"


def test_the_answer_says_simulated(whole, tmp_path):
    """On the first line for people, and in the document."""
    folder, _, result = whole
    assert '"signal": "simulated"' in result.stdout
    again = run(folder)
    assert again.output.count("as it was") == 12
    assert "SIMULATED: 12 recordings" in again.output
    assert "left out: multiple scattering" in again.output
    assert "keep twins from readers" in again.output


def test_the_same_seed_gives_the_same_bytes_and_another_does_not(whole, tmp_path):
    """Another folder, the same bytes; another seed, other signals."""
    folder = study(tmp_path / "again")
    assert run(folder, "--out", tmp_path / "out").exit_code == 0
    assert contents(tmp_path / "out") == whole[1]
    text = STUDY.replace("seed = 1", "seed = 2")
    (folder / "simulation.toml").write_text(text, encoding="utf-8")
    assert run(folder, "--out", tmp_path / "other").exit_code == 0
    other = contents(tmp_path / "other")
    assert all(other[name] != whole[1][name] for name in other)


def test_a_damaged_file_is_made_anew_and_whole_ones_are_kept(whole, tmp_path):
    """One byte changed, one file cut short, one removed: the same folder again. A file is put in
    the place of another whole, never written over it: a second link still holds the old bytes."""
    folder = study(tmp_path / "damaged")
    out = tmp_path / "out"
    run(folder, "--out", out)
    bad = out / "EX-01-x80.h5"
    content = bytearray(bad.read_bytes())
    content[-500] ^= 1
    bad.write_bytes(bytes(content))
    (out / "EX-01-x120.h5").write_bytes(whole[1]["EX-01-x120.h5"][:5000])
    (out / "EX-01-x140-twin.h5").unlink()
    kept = (out / "EX-01-x60.h5").stat()
    os.link(bad, tmp_path / "link.h5")
    result = run(folder, "--out", out)
    assert result.output.count(", made") == 3
    assert (tmp_path / "link.h5").read_bytes() == bytes(content)
    assert contents(out) == whole[1]
    assert (out / "EX-01-x60.h5").stat().st_mtime_ns == kept.st_mtime_ns


def test_examples_are_written_with_all_they_need(tmp_path):
    """The example and the three set-up studies pass the check as they are written; the next line
    of a run names recording, twin and the imaging file beside. A folder that is there is not
    overwritten."""
    for what in ("simulation", "setup"):
        result = RUN.invoke(app, ["example", what, "--out", str(tmp_path / what)])
        assert result.exit_code == 0, result.output
        assert RUN.invoke(app, ["example", what, "--out", str(tmp_path / what)]).exit_code == 2
        files = sorted((tmp_path / what).rglob("simulation.toml"))
        assert len(files) == (1 if what == "simulation" else 3)
        assert RUN.invoke(app, ["check", *map(str, files)]).exit_code == 0
    assert RUN.invoke(app, ["example", "setup"]).exit_code == 2
    near = tmp_path / "setup" / "near_surface"
    file = near / "simulation.toml"
    words = file.read_text(encoding="utf-8").replace("elements = 60", "elements = 8")
    file.write_text(words.replace("samples = 1024", "samples = 256"), encoding="utf-8")
    (told,) = [line for line in run(near).output.splitlines() if line.startswith("next: ")]
    first = near / "recordings" / "near_surface-x35.04"
    assert told.startswith(f"next: qualify image {first}.h5 --twin {first}-twin.h5 --imaging ")


def test_what_a_recording_was_made_from_decides_whether_it_is_kept(tmp_path):
    """Another name of the study or one more place: all are kept. Another grain, or another target
    in the block: all are made anew, to the bytes of a run in a new folder."""
    folder, out = study(tmp_path / "study"), tmp_path / "out"
    file, sheet = folder / "simulation.toml", folder / "blocks" / "example_block.toml"
    words, block = file.read_text(encoding="utf-8"), sheet.read_text(encoding="utf-8")
    few = words.replace("x_mm = [60.0, 80.0, 100.0, 120.0, 140.0, 160.0]", "x_mm = [80.0]")
    more = few.replace("example-simulation", "other").replace("[80.0]", "[80.0, 100.0]")
    coarse = more.replace("backscatter_db = -40.0", "backscatter_db = -35.0")
    assert len({words, few, more, coarse}) == 4
    wider = block.replace("measured = 2.02", "measured = 2.12")
    for text, target, made, kept in (
        (few, block, 2, 0),
        (more, block, 2, 2),
        (more, wider, 4, 0),
    ):
        file.write_text(text, encoding="utf-8")
        sheet.write_text(target, encoding="utf-8")
        result = run(folder, "--out", out)
        assert (result.output.count(", made"), result.output.count("as it was")) == (made, kept)
    run(folder, "--out", tmp_path / "new")
    assert contents(out) == contents(tmp_path / "new")
    file.write_text(coarse, encoding="utf-8")
    assert run(folder, "--out", out).exit_code == 2
    assert contents(out) == contents(tmp_path / "new")


def test_a_twin_is_the_same_place_without_its_targets(whole):
    """The hole at x = 90 mm is seen from 80: recording and twin differ after its arrival and not
    before; at 160, where nothing is seen, they are the same."""
    signals = {
        name: recording_from_bytes(content, name).samples
        for name, content in whole[1].items()
        if name.endswith(".h5")
    }
    differ = signals["EX-01-x80.h5"] - signals["EX-01-x80-twin.h5"]
    first = int(2 * (20.0 - 1.01) / 5.92 * 40.0)
    assert np.abs(differ).max() > 0.01
    assert np.abs(differ[:, : first - 40]).max() < 0.01 * np.abs(differ).max()
    assert np.array_equal(signals["EX-01-x160.h5"], signals["EX-01-x160-twin.h5"])


def test_a_second_placing_of_the_probe_has_noise_and_coupling_of_its_own(whole, tmp_path):
    """The first of two is what it is alone; the second differs a little all over."""
    folder, out = study(tmp_path / "repeats"), tmp_path / "out"
    file = folder / "simulation.toml"
    words = file.read_text(encoding="utf-8")
    file.write_text(words.replace("repeats = 1", "repeats = 2"), encoding="utf-8")
    assert run(folder, "--out", out).exit_code == 0
    files = contents(out)
    assert len(files) == 25
    assert files["EX-01-x80.h5"] == whole[1]["EX-01-x80.h5"]
    first, second = (
        recording_from_bytes(files[f"EX-01-x80{name}.h5"], name).samples for name in ("", "-r2")
    )
    differ = np.abs(first - second)
    assert np.median(differ.max(axis=1)) > 1e-4
    assert differ.max() < 0.5 * np.abs(first).max()


def test_what_a_killed_run_left_half_written_is_taken_away(whole, tmp_path):
    """Partial files of our own names go; the folder is then as if nothing had happened."""
    folder, out = study(tmp_path / "partial"), tmp_path / "out"
    out.mkdir()
    for name, content in whole[1].items():
        (out / name).write_bytes(content)
    (out / ".EX-01-x60.h5.ab12cd34").write_bytes(b"half")
    (out / ".simulation.json.ab12cd34").write_bytes(b"{")
    assert run(folder, "--out", out).exit_code == 0
    assert contents(out) == whole[1]


def test_recordings_of_another_plan_are_not_overwritten(whole, tmp_path):
    """Another seed, or other conditions, into the same folder: exit 2, every byte as it was."""
    folder = study(tmp_path / "first")
    out = tmp_path / "out"
    run(folder, "--out", out)
    before = contents(out)
    for old, new in (("seed = 1", "seed = 2"), ("noise_db = -70.0", "noise_db = -60.0")):
        assert old in STUDY
        (folder / "simulation.toml").write_text(STUDY.replace(old, new), encoding="utf-8")
        result = run(folder, "--out", out)
        assert result.exit_code == 2
        assert "holds recordings of study 'example-simulation'" in result.output
        assert contents(out) == before


def test_foreign_files_are_refused(whole, tmp_path):
    """A folder that holds something else is left alone: exit 2, nothing written."""
    folder = study(tmp_path / "foreign")
    out = tmp_path / "out"
    out.mkdir()
    (out / "notes.txt").write_text("mine", encoding="utf-8")
    result = run(folder, "--out", out)
    assert result.exit_code == 2
    assert "notes.txt, which this study does not make" in result.output
    assert list(out.iterdir()) == [out / "notes.txt"]


def test_one_block_alone(tmp_path):
    """--only makes the recordings of one block; what stands of the others stays in the manifest,
    which is complete once all are there. A block that no position names is refused."""
    folder, out = study(tmp_path / "only"), tmp_path / "out"
    other = example_text("block").replace('id = "EX-01"', 'id = "EX-02"', 1)
    (folder / "blocks" / "other.toml").write_text(other, encoding="utf-8")
    text = STUDY.replace('example_block.toml",', 'example_block.toml",\n"blocks/other.toml",')
    place = '\n[[positions]]\nblock = "EX-02"\nx_mm = [60.0]\ny_mm = 15.0\n'
    (folder / "simulation.toml").write_text(text + place, encoding="utf-8")
    for name, complete, count in (("EX-02", False, 1), ("EX-01", True, 13), ("EX-02", True, 13)):
        result = run(folder, "--only", name, "--out", out)
        assert result.exit_code == 0, result.output
        manifest = json.loads((out / "simulation.json").read_bytes())
        assert (manifest["complete"], len(manifest["recordings"])) == (complete, count)
    result = run(folder, "--only", "EX-09", "--out", tmp_path / "out")
    assert result.exit_code == 2
    assert "'EX-09' is none of the blocks" in result.output


@pytest.mark.parametrize(
    ("trouble", "code", "words"),
    [
        (KeyboardInterrupt(), 130, "stopped; 3 of 12 recordings stand, the same command goes on"),
        (refuse("disk", "is full", "make room"), 2, "3 of 12 recordings stand"),
    ],
)
def test_a_stopped_run_tells_what_stands(whole, tmp_path, monkeypatch, trouble, code, words):
    """Ctrl-C, or no more room, at the fourth recording: three stand, and the next run makes nine;
    the manifest does not say complete."""
    folder, out = study(tmp_path / "stopped"), tmp_path / "out"
    write = simulation_run.write_whole
    writes = iter(range(100))

    def stopped(path, content):
        if next(writes) == 4:  # the manifest, then three recordings
            raise trouble
        write(path, content)

    with monkeypatch.context() as patched:
        patched.setattr(simulation_run, "write_whole", stopped)
        result = run(folder, "--out", out)
    assert result.exit_code == code
    assert words in result.output
    assert "nothing was written" not in result.output
    assert json.loads((out / "simulation.json").read_bytes())["complete"] is False
    again = run(folder, "--out", out)
    assert (again.output.count(", made"), again.output.count("as it was")) == (9, 3)
    assert contents(out) == whole[1]


KILLER = """
import os, signal, sys, time
from pathlib import Path
import qualify.study.simulation_run
from qualify.cli.app import app
folder, out, whole = sys.argv[1:]
killed = 0
for number in range(10):
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        os.dup2(write, 2)
        app(["simulate", folder, "--out", out])
    os.close(write)
    with os.fdopen(read) as told:
        for _ in range(number + 1):
            if not told.readline():
                break
        time.sleep(0.004 * number)
        os.kill(child, signal.SIGKILL)
    killed += os.WIFSIGNALED(os.waitpid(child, 0)[1])
    for path in Path(out).glob("*.h5"):
        assert path.read_bytes() == (Path(whole) / path.name).read_bytes(), path.name
print(killed)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork on this system")
def test_killed_at_ten_moments_a_run_goes_on_to_the_same_bytes(whole, tmp_path):
    """SIGKILL after one, two ... ten recordings and a growing wait: each time what stands is whole,
    and the last run ends with the bytes of an undisturbed one. The ten are children of a process
    that has imported everything, so that they start at once."""
    folder, out = study(tmp_path / "killed"), tmp_path / "out"
    given = map(str, (folder, out, whole[0] / "recordings"))
    result = subprocess.run(
        [sys.executable, "-c", KILLER, *given],
        stdout=subprocess.PIPE,
        text=True,
        check=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert int(result.stdout.split()[-1]) >= 8
    assert run(folder, "--out", out).exit_code == 0
    assert contents(out) == whole[1]

"""`qualify bench` runs and prints its ratios; how fast a machine is, is claimed from the command.

No time is asserted: a busy machine would fail it. Run `qualify bench` for the figures.
"""

import json
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.cli.bench import bench_lines

TINY = ["bench", "--refits", "400", "--loop", "10", "--simulations", "199", "--replicates", "100"]
TINY += ["--pixels", "48"]


@pytest.fixture(scope="module")
def found():
    result = CliRunner().invoke(app, [*TINY, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_bench_runs_and_prints_a_ratio_above_one(found):
    assert set(found) == {
        "machine", "refits", "bound", "holds", "images", "simulation", "import_imaging_s"
    }  # fmt: skip
    assert found["refits"]["ratio"] > 1.0
    assert found["refits"]["loop_refits"] == 10
    # the two engines fitted the same curves: statsmodels GLM stops at a gain of 1e-8
    assert found["refits"]["largest_slope_difference"] < 1e-5
    assert found["bound"]["seconds"] > 0.0
    assert found["bound"]["value"] > 1.5
    assert 0.8 <= found["holds"]["share"] <= 1.0
    (images,) = found["images"]
    assert images["ratio"] > 1.0
    # both made the same image, but for linear interpolation at ten samples a period: 4.9 % at most
    assert images["apart_from_numpy_db"] < -26.0
    assert images["share_of_fetch_limit"] > 0.0  # of an image this small it may exceed 1


def test_bench_tells_people_what_was_scaled(found):
    told = "\n".join(bench_lines(found))
    assert "scaled from 10 fits" in told
    assert "ratio: " in told
    assert "if the model is true" in told


def test_compiled_loops_are_kept_for_the_next_process():
    """A second interpreter finds the compiled loop and compiles nothing."""
    code = (
        "from qualify.cli.bench_images import _grid, _images, _modes, _recording\n"
        "from qualify.imaging.kernels import sum_pairs\n"
        "from qualify.imaging.signals import prepare\n"
        "recording = _recording()\n"
        "_images(recording, _grid(16), prepare(recording), _modes()[:1], False)\n"
        "print(len(sum_pairs.stats.cache_hits), len(sum_pairs.stats.cache_misses))\n"
    )
    told = [
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
        for _ in range(2)
    ]
    assert told[1].stdout.split() == ["1", "0"]


@pytest.mark.skipif(sys.platform == "win32", reason="resident memory is read by resource")
def test_a_large_recording_is_imaged_within_a_gigabyte_and_a_half():
    """128 elements, 2048 samples, 1024 × 1024 pixels: the bar is 1.5 GB resident at most."""
    code = (
        "import resource\n"
        "from qualify.imaging.focus import make_images\n"
        "from qualify.imaging.grid import Grid\n"
        "from qualify.imaging.modes import Mode\n"
        "from qualify.recording.points import record_points\n"
        "from qualify.recording.probe import Probe\n"
        "probe = Probe(name='p', elements=128, pitch_mm=0.5, element_width_mm=0.45,\n"
        "    passive_width_mm=10, centre_mhz=5, bandwidth_fraction=0.7)\n"
        "recording = record_points(probe, [[0.0, 30.0]])\n"
        "mode = Mode(name='m', focusing='total_focusing')\n"
        "(image,) = make_images(recording, [mode], Grid(-25.6, 5, 0.05, 0.05, 1024, 1024))\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, image.values.max())\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    most, largest = map(float, done.stdout.split())
    unit = 1 if sys.platform == "darwin" else 1024
    assert most * unit < 1.5e9
    assert largest > -0.05

"""The two contracts of reproducibility, on a quick run of the demonstration."""

import io
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pikepdf
import pytest

from qualify.evidence.comparison import compare_results

SAMPLE = Path(__file__).parents[2] / "output" / "sample"


def run_demo(folder: Path, *, zone: str, seed: str) -> int:
    """Run the demonstration in its own process."""
    folder.mkdir()
    environment = {**os.environ, "TZ": zone, "PYTHONHASHSEED": seed}
    code = "from qualify.cli.app import main; main()"
    command = [sys.executable, "-c", code, "demo", "--quick", "--out", "made"]
    quiet = subprocess.DEVNULL
    return subprocess.run(
        command, cwd=folder, env=environment, stdout=quiet, stderr=quiet, check=False
    ).returncode


def files_of(folder: Path) -> dict[str, bytes]:
    """Return every file that a demonstration wrote."""
    made = folder / "made"
    return {p.relative_to(made).as_posix(): p.read_bytes() for p in made.rglob("*") if p.is_file()}


@pytest.fixture(scope="module")
def two_runs(tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs")
    one, other = folder / "one", folder / "another folder"
    assert run_demo(one, zone="Pacific/Chatham", seed="1") == 0  # the second loads what it compiled
    assert run_demo(other, zone="America/St_Johns", seed="4321") == 0
    return files_of(one), files_of(other)


def test_same_environment_same_bytes(two_runs):
    one, other = two_runs
    assert one.keys() == other.keys()
    assert [name for name in one if one[name] != other[name]] == []
    assert {"dossier/dossier.pdf", "dossier/results.json", "study/plan.toml"} <= one.keys()


def test_another_machine_same_numbers(two_runs):
    """The results kept as a sample were made on another machine or day."""
    kept = json.loads((SAMPLE / "quick_results.json").read_text(encoding="utf-8"))
    made = json.loads(two_runs[0]["dossier/results.json"])
    assert compare_results(kept, made) == []


def test_a_quick_run_counts_as_a_whole_one_and_finds_the_same_curves(two_runs):
    """Of what is not simulated, quick and whole runs tell the same: counts, curves, verdicts."""
    whole = json.loads((SAMPLE / "results.json").read_text(encoding="utf-8"))
    quick = json.loads(two_runs[0]["dossier/results.json"])
    told = {one["id"]: one["value"] for one in whole["estimates"]}
    same = ("/hits/", "/targets/", "/units_called/", "/a50/", "/a90/", "/sizing_rmse/")
    checked = [one for one in quick["estimates"] if any(part in one["id"] for part in same)]
    assert len(checked) > 200
    for one in checked:
        known = told[one["id"]]
        assert (one["value"] is None) == (known is None), one["id"]
        assert known is None or one["value"] == pytest.approx(known, rel=1e-9), one["id"]


def test_quick_run_stands_on_every_page(two_runs):
    with pikepdf.open(io.BytesIO(two_runs[0]["dossier/dossier.pdf"])) as pdf:
        pages = len(pdf.pages)
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    run = subprocess.run(
        ["pdftotext", "-enc", "UTF-8", "-", "-"],
        input=two_runs[0]["dossier/dossier.pdf"],
        capture_output=True,
        check=True,
    )
    told = [page.count("QUICK RUN") for page in run.stdout.decode().split("\f")[:-1]]
    assert len(told) == pages
    assert min(told) >= 1


def test_the_dossier_is_small(two_runs):
    assert len(two_runs[0]["dossier/dossier.pdf"]) <= 2_000_000

"""The way from a new study to a dossier that shows who knew what when, by the commands."""

import io
import json
import shutil
import subprocess

import pikepdf
import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.evidence.events import read_log
from qualify.files import digest
from tests.quick import few_simulations, one_figure, readers_apart

RUN = CliRunner()


def told(*arguments, code=0):
    result = RUN.invoke(app, [str(a) for a in arguments])
    assert result.exit_code == code, result.output
    return result


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """A new study, frozen, sealed, opened by the clock of this machine; then its box is widened."""
    folder = tmp_path_factory.mktemp("journey") / "a study"
    told("new", folder)
    text = (folder / "study.toml").read_text("utf-8")
    head, *parts = text.split("[[")
    kept = [part for part in parts if not part.startswith("events]]")]
    (folder / "study.toml").write_text("[[".join([head, *kept]), "utf-8")
    documents = [
        json.loads(told(*arguments, "--json").stdout)
        for arguments in (
            ("freeze", folder, "--by", "C-2"),
            ("seal", folder, "--by", "C-1"),
            ("unseal", folder, "--study", "EXAMPLE-01", "--by", "C-1", "--by", "C-2"),
        )
    ]
    plan = (folder / "plan.toml").read_text("utf-8")
    (folder / "plan.toml").write_text(plan.replace("z_mm = 3.0", "z_mm = 9.0"), "utf-8")
    return folder, documents


def test_each_command_says_what_it_added_to_the_log(opened):
    folder, documents = opened
    content = (folder / "events.jsonl").read_bytes()
    log = read_log(content)
    assert log.breaks == ()
    assert [d["kind"] for d in documents] == ["freeze", "seal", "unseal"]
    for document, entry, line in zip(
        documents, log.entries, content.splitlines(keepends=True), strict=True
    ):
        assert (document["entry"], document["at"]) == (entry.number, entry.at)
        assert document["what"] == entry.what
        assert document["log_sha256"] == digest(line)
    salt = (folder / "truth.salt").read_text("ascii").strip()
    assert documents[2]["what"]["salt"] == salt
    assert len(bytes.fromhex(salt)) == 32
    assert any("nothing changed since the freeze" in words for words in documents[2]["remarks"])


def test_refusals_end_with_exit_code_2_and_write_nothing(opened, tmp_path):
    folder = shutil.copytree(opened[0], tmp_path / "copy")
    before = (folder / "events.jsonl").read_bytes()
    again = told("unseal", folder, "--study", "EXAMPLE-01", "--by", "C-1", "--by", "C-2", code=2)
    assert "opened" in again.stderr
    assert "nothing was written" in again.stderr
    told("seal", folder, "--by", "C-1", code=2)
    told("freeze", folder, "--by", "nobody", code=2)
    assert (folder / "events.jsonl").read_bytes() == before
    late = told("freeze", folder, "--by", "C-2")
    assert "TOO LATE, DOES NOT COUNT" in late.stdout
    assert late.stderr.splitlines()[-1].startswith("next: ")


@pytest.fixture(scope="module")
def dossier(opened, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "dossier"
    with few_simulations(499, 20), readers_apart(), one_figure():
        told("dossier", opened[0], "--out", out)
    return out


def test_the_dossier_shows_what_was_recorded_and_what_changed(opened, dossier):
    folder, documents = opened
    results = json.loads((dossier / "results.json").read_text("utf-8"))
    recorded = {e["kind"]: e for e in results["events"] if e["status"] == "recorded"}
    assert set(recorded) == {
        "plan_frozen", "threshold_frozen", "truth_sealed", "calls_committed", "truth_opened",
    }  # fmt: skip
    assert recorded["truth_opened"]["on"] == documents[2]["at"]
    changed = [d for d in results["deviations"] if d["kind"] == "changed_after_freezing"]
    assert [d["subject"] for d in changed] == ["matching"]
    assert (dossier / "events.jsonl").read_bytes() == (folder / "events.jsonl").read_bytes()
    manifest = json.loads((dossier / "manifest.json").read_text("utf-8"))
    log = digest((folder / "events.jsonl").read_bytes())
    assert {"name": "events.jsonl", "sha256": log} in manifest["inputs"]
    words = json.loads((dossier / "figures/alt_texts.json").read_text("utf-8"))["order-of-events"]
    assert "Against the order" in words
    assert "the matching rule" in words
    assert "(recorded, truth open from here on)" in words


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_the_order_stands_on_the_first_two_pages_in_words(opened, dossier):
    pdf = (dossier / "dossier.pdf").read_bytes()
    run = subprocess.run(
        ["pdftotext", "-l", "2", "-", "-"], input=pdf, capture_output=True, check=True
    )
    text = " ".join(run.stdout.decode().split())
    assert "truth opened, by C-1 and C-2" in text
    assert "recorded in the log" in text
    assert "Changed after it was frozen: the matching rule." in text
    whole = subprocess.run(["pdftotext", "-", "-"], input=pdf, capture_output=True, check=True)
    assert opened[1][2]["log_sha256"] in "".join(whole.stdout.decode().split())
    assert len(pikepdf.open(io.BytesIO(pdf)).pages) > 10

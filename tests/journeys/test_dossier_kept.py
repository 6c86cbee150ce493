"""The command `dossier` on a study that has not changed: nothing is computed, the same is told."""

import json
import shutil
from types import SimpleNamespace
from unittest import mock

import pytest
from typer.testing import CliRunner

from qualify.cli import dossier as command
from qualify.cli.app import app
from qualify.dossier.manifest import made_from
from qualify.dossier.results import outcome_from
from qualify.errors import refuse
from qualify.study.load import load_study
from qualify.study.totals import outcome_lines, outcome_of
from tests.quick import few_simulations, one_figure, readers_apart

RUN = CliRunner()
WORDS = "as it was, nothing changed; --anew computes it again"


def run(folder, *given):
    return RUN.invoke(app, ["dossier", str(folder / "study"), "--out", str(folder / "out"), *given])


def contents(folder):
    return {
        path.relative_to(folder).as_posix(): (path.read_bytes(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A study with its dossier, what was told of it, and what of its result; never changed."""
    folder = tmp_path_factory.mktemp("kept")
    assert RUN.invoke(app, ["new", str(folder / "study")]).exit_code == 0
    kept = []
    noted = mock.patch(
        "qualify.study.totals.outcome_of", lambda result: kept.append(outcome_of(result)) or kept[0]
    )
    with few_simulations(99, 10), readers_apart(), one_figure(), noted:
        result = run(folder, "--json")
    assert result.exit_code == 0, result.output
    return folder, result, kept[0]


@pytest.fixture
def again(whole, tmp_path, monkeypatch):
    """A copy, and no way to compute it: who tries is refused."""

    def refused(*_given, **_more):
        raise refuse("run_study", "was asked", "nothing to compute")

    monkeypatch.setattr("qualify.study.run.run_study", refused)
    for name in ("study", "out"):
        shutil.copytree(whole[0] / name, tmp_path / name)
    return tmp_path


def test_nothing_is_computed_where_nothing_changed(whole, again):
    """The document is the one of the run that computed it, but for its folder; exit 0, no file is
    written; lines for people come from the same numbers."""
    before = contents(again / "out")
    result = run(again, "--json")
    assert result.exit_code == 0, result.output
    assert WORDS in result.stderr
    told, first = json.loads(result.stdout), json.loads(whole[1].stdout)
    assert told.pop("dossier") == str(again / "out" / "dossier.pdf")
    assert first.pop("dossier") == str(whole[0] / "out" / "dossier.pdf")
    assert told == first
    lines = run(again).stdout.splitlines()
    assert lines[0] == f"dossier: {again / 'out' / 'dossier.pdf'}"
    assert any(line.startswith("a90/95 in ") for line in lines)
    assert contents(again / "out") == before


def test_lines_for_people_are_those_of_the_run_that_computed_it(whole, again):
    """Word for word, as they are told of the result itself."""
    folder, first, outcome = whole
    assert first.exit_code == 0
    assert outcome.verdicts
    assert run(again).stdout.splitlines() == outcome_lines(outcome, again / "out" / "dossier.pdf")
    read = outcome_from((folder / "out" / "results.json").read_bytes(), outcome.plan)
    assert read.estimates.items == outcome.estimates.items
    assert read.verdicts == outcome.verdicts


def an_input(folder):
    path = folder / "study" / "plan.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# a remark\n", encoding="utf-8")


def an_output(folder):
    path = folder / "out" / "trials.csv"
    path.write_bytes(path.read_bytes() + b"\n")


def results(folder):
    path = folder / "out" / "results.json"
    path.write_bytes(path.read_bytes().replace(b'"format":1', b'"format": 1'))


def no_output(folder):
    (folder / "out" / "dossier.pdf").unlink()


def manifest(folder):
    (folder / "out" / "manifest.json").write_bytes(b"{")


@pytest.mark.parametrize("change", [an_input, an_output, results, no_output, manifest])
def test_what_changed_is_computed_again(again, change):
    """A file of the study, of the dossier, or none: it is computed, or here refused."""
    change(again)
    result = run(again)
    assert result.exit_code == 2
    assert "run_study: was asked" in result.output


def test_other_software_a_quick_run_and_anew_are_computed_again(again, monkeypatch):
    """Whole and quick runs are never taken for one another."""
    assert "run_study: was asked" in run(again, "--anew").output
    inputs = load_study(again / "study")
    held = [made_from(inputs, quick=quick, images=None) for quick in (False, True)]
    found = [command._as_it_was(again / "out", told) for told in held]
    assert (found[0] is not None, found[1]) == (True, None)
    other = SimpleNamespace(version="0.0.0", sha256="0" * 64)
    monkeypatch.setattr("qualify.dossier.manifest.program", lambda: other)
    assert "run_study: was asked" in run(again).output

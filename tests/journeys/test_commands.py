"""The commands as scripts use them: JSON on stdout alone, documented keys, exit codes."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from qualify.cli.app import app

RUN = CliRunner()
SETS = json.loads(
    (Path(__file__).parents[1] / "published/data/hit_miss_sets.json").read_text(encoding="utf-8")
)
POD_KEYS = {
    "outcome", "n", "hits", "unit", "link", "scale", "confidence", "coefficients", "covariance",
    "log_likelihood", "aic", "deviance", "a50", "a90", "a90_95", "a90_lower_95", "bound", "bounds",
    "tested_range", "extrapolated", "notices",
}  # fmt: skip


def document(*arguments, code: int = 0) -> dict:
    result = RUN.invoke(app, [*map(str, arguments), "--json"])
    assert result.exit_code == code, result.output
    assert result.stderr.splitlines()[-1].startswith("next: ")
    return json.loads(result.stdout)


@pytest.fixture
def hit_miss(tmp_path):
    """`pod hit-miss` on an invented set of tests/published, as its JSON document."""

    def run(name: str, code: int = 0) -> dict:
        held = SETS[name]
        rows = zip(held["size"], held["hits"], strict=True)
        table = tmp_path / f"{name}.csv"
        text = "".join(f"{size!r},{int(hit)}\n" for size, hit in rows)
        table.write_text("size_mm,hit\n" + text, encoding="utf-8")
        return document("pod", "hit-miss", table, "--size", "size_mm", "--hit", "hit", code=code)

    return run


def test_hit_miss_keys_and_numbers(hit_miss):
    """60 invented targets; reference made with R 4.2.2 (glm, profile likelihood by uniroot)."""
    found = hit_miss("invented_n60")
    assert set(found) == POD_KEYS
    assert found["outcome"] == "fitted"
    assert found["coefficients"]["intercept"] == pytest.approx(-1.20055791461008, rel=1e-10)
    assert found["coefficients"]["slope"] == pytest.approx(3.61813387310284, rel=1e-10)
    assert found["covariance"][0][0] == pytest.approx(0.281786928373142, rel=1e-10)
    assert found["a90"] == pytest.approx(2.5576735032066, rel=1e-9)
    assert found["a90_95"] == pytest.approx(3.745385699596, rel=1e-8)
    assert found["bounds"]["wald"] == pytest.approx(3.4961622019061, rel=1e-8)
    assert found["log_likelihood"] == pytest.approx(-17.7187402589593, rel=1e-10)


@pytest.mark.parametrize(
    ("name", "outcome"),
    [
        ("invented_separated", "separated"),
        ("invented_quasi_separated", "quasi_separated"),
        ("invented_flat", "fitted"),
    ],
)
def test_no_number_where_the_data_support_none(name, outcome, hit_miss):
    found = hit_miss(name, code=3)
    assert found["outcome"] == outcome
    assert found["a90"] is None
    assert found["a90_95"] is None
    assert set(found["bounds"].values()) == {None}
    codes = {notice["code"] for notice in found["notices"]}
    assert {"no_likelihood_bound", "no_wald_bound"} <= codes


def test_each_reader_apart_and_the_worst_on_top(tmp_path):
    table = tmp_path / "hits.csv"
    rows = [
        (reader, target, size, int(size > edge) if target % 4 else int(size <= edge))
        for reader, edge in (("R1", 1.0), ("R2", 2.0))
        for target, size in enumerate([0.4 + 0.1 * i for i in range(40)])
    ]
    lines = "".join(f"{r},{t},{s:.1f},{h}\n" for r, t, s, h in rows)
    table.write_text("reader,target,size_mm,hit\n" + lines, encoding="utf-8")
    base = ["pod", "hit-miss", table, "--size", "size_mm", "--hit", "hit", "--target", "target"]
    pooled = RUN.invoke(app, [*map(str, base), "--json"])
    assert "repeated_targets" in pooled.stdout
    result = RUN.invoke(app, [*map(str, base), "--reader", "reader", "--json"])
    found = json.loads(result.stdout)
    assert set(found["readers"]) == {"R1", "R2"}
    assert found["n"] == 40


def test_false_calls_and_sizing_documents(tmp_path):
    blanks = tmp_path / "blanks.csv"
    blanks.write_text("kind,called\n" + "blank,no\n" * 29 + "hole,yes\n", encoding="utf-8")
    found = document("false-calls", blanks, "--called", "called", "--kind", "kind")
    assert found["blank_units"] == 29
    assert found["upper_95"] == pytest.approx(1 - 0.05 ** (1 / 29))  # rule of zero: 9.8 %
    sizes = tmp_path / "sizes.csv"
    sizes.write_text("true_mm,said\n1,1.2\n2,1.9\n3,\n4,4.3\n", encoding="utf-8")
    found = document("sizing", sizes, "--true", "true_mm", "--reported", "said")
    assert (found["n"], found["unsized"], found["unit"]) == (3, 1, "mm")
    assert found["bias"] == pytest.approx(0.4 / 3)
    assert found["largest_undersizing_row"] == 3


def test_check_tells_nothing_of_the_truth(pristine):
    found = document("check", pristine)["checked"][0]["totals"]
    assert found["units"] == 252
    assert found["coded_pieces"] == 18
    words = json.dumps(found)
    assert not any(secret in words for secret in ("target", "hit", "blank", "flawed"))


def test_new_study_passes_its_own_check(tmp_path):
    for more, name in (([], "."), (["--workbook"], "study.xlsx")):
        folder = tmp_path / f"study{len(more)}"
        result = RUN.invoke(app, ["new", str(folder), *more])
        assert result.exit_code == 0, result.output
        assert document("check", folder / name)["checked"][0]["what"] == "study"
        again = RUN.invoke(app, ["new", str(folder), *more])
        assert again.exit_code == 2


@pytest.mark.parametrize("what", ["block", "study", "calls", "tables"])
def test_examples_are_printed(what):
    result = RUN.invoke(app, ["example", what])
    assert result.exit_code == 0, result.output
    assert len(result.stdout.splitlines()) >= 3


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_drawing_is_written(kind, pristine, tmp_path):
    out = tmp_path / f"ladder.{kind}"
    block = pristine / "blocks" / "depth_ladder.toml"
    result = RUN.invoke(app, ["draw", str(block), "--out", str(out)])
    assert result.exit_code == 0, result.output
    magic = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
    assert out.read_bytes().startswith(magic[kind])


def test_help_loads_no_heavy_library():
    """Quick help is a matter of what is imported, and that is what is tested."""
    code = (
        "import sys, qualify.cli.app as a, typer.testing as t;"
        "r = t.CliRunner().invoke(a.app, ['--help']); assert r.exit_code == 0;"
        "heavy = ('numpy', 'pandas', 'scipy', 'matplotlib', 'pydantic');"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

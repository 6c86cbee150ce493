"""The commands as scripts use them: JSON on stdout alone, documented keys, exit codes."""

import json
import re
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from qualify.cli.app import app

RUN = CliRunner()
DATA = Path(__file__).parents[1] / "published/data"
SETS = json.loads((DATA / "hit_miss_sets.json").read_text(encoding="utf-8"))
FIRTH = json.loads((DATA / "firth_r.json").read_text(encoding="utf-8"))
POD_KEYS = {
    "outcome", "n", "hits", "unit", "link", "scale", "confidence", "coefficients", "covariance",
    "covariance_observed", "log_likelihood", "aic", "deviance", "a50", "a90", "a90_95",
    "a90_lower_95", "bound", "bounds", "seed", "simulations", "simulation_error", "tested_range",
    "extrapolated", "goodness", "pod_at", "models", "plateau", "covariate", "size_uncertainty",
    "holds", "notices",
}  # fmt: skip


def document(*arguments, code: int = 0) -> dict:
    result = RUN.invoke(app, [*map(str, arguments), "--json"])
    assert result.exit_code == code, result.output
    assert result.stderr.splitlines()[-1].startswith("next: ")
    return json.loads(result.stdout)


COLUMNS = ["--size", "size_mm", "--hit", "hit"]
ALL = ["--all-bounds", "--models", "--plateau", "--at", "2", "--at", "6"]


def write_hits(table: Path, sizes, hits) -> Path:
    """Write a table with sizes, hits, and two columns of no effect."""
    rows = [
        f"{size!r},{int(hit)},{(7 * k) % 20 + 3},{'rolled' if k % 3 else 'ground'}\n"
        for k, (size, hit) in enumerate(zip(sizes, hits, strict=True))
    ]
    table.write_text("size_mm,hit,depth_mm,face\n" + "".join(rows), encoding="utf-8")
    return table


@pytest.fixture
def hit_miss(tmp_path):
    """`pod hit-miss` on an invented set of tests/published, as its JSON document."""

    def run(name: str, *more, code: int = 0) -> dict:
        table = write_hits(tmp_path / f"{name}.csv", SETS[name]["size"], SETS[name]["hits"])
        return document("pod", "hit-miss", table, *COLUMNS, *more, code=code)

    return run


def test_hit_miss_keys_and_numbers(hit_miss):
    """60 invented targets; reference made with R 4.2.2 (glm, profile likelihood by uniroot)."""
    found = hit_miss("invented_n60")
    assert set(found) == POD_KEYS
    assert found["outcome"] == "fitted"
    assert found["coefficients"]["intercept"] == pytest.approx(-1.20055791461008, rel=1e-10)
    assert found["coefficients"]["slope"] == pytest.approx(3.61813387310284, rel=1e-10)
    assert found["covariance"][0][0] == pytest.approx(0.281786928373142, rel=1e-10)
    assert found["covariance_observed"][0][0] == pytest.approx(0.281786928373142, rel=1e-9)
    assert found["a90"] == pytest.approx(2.5576735032066, rel=1e-9)
    assert found["bounds"]["likelihood"] == pytest.approx(3.745385699596, rel=1e-8)
    assert found["bounds"]["wald"] == pytest.approx(3.4961622019061, rel=1e-8)
    assert found["log_likelihood"] == pytest.approx(-17.7187402589593, rel=1e-10)


def test_the_calibrated_bound_is_the_default(hit_miss):
    """Larger than the likelihood bound, as that holds too seldom; with seed and error."""
    found = hit_miss("invented_n60")
    assert found["bound"] == "calibrated"
    assert set(found["bounds"]) == {"wald", "likelihood", "calibrated"}
    assert found["a90_95"] == found["bounds"]["calibrated"]
    assert found["bounds"]["likelihood"] < found["a90_95"] < 4.2
    assert (found["seed"], found["simulations"]) == (1, 19999)
    assert 0.0 < found["simulation_error"] < 0.01 * found["a90_95"]
    plain = hit_miss("invented_n60", "--bound", "likelihood")
    assert plain["a90_95"] == pytest.approx(3.745385699596, rel=1e-8)
    assert plain["simulations"] is None
    assert plain["simulation_error"] is None
    assert plain["bounds"] == found["bounds"]


def test_same_seed_same_json_and_another_seed_within_its_error(hit_miss):
    first, again = (hit_miss("invented_n60", "--seed", "7", *ALL) for _ in range(2))
    assert json.dumps(first) == json.dumps(again)
    other = hit_miss("invented_n60", "--seed", "8")
    assert other["seed"] == 8
    apart = abs(other["a90_95"] - first["a90_95"])
    assert 0.0 < apart < 5.0 * (first["simulation_error"] + other["simulation_error"])


def test_what_is_asked_beside_the_curve(hit_miss):
    found = hit_miss("invented_n60", *ALL, "--blank-units", "60", "--blank-called", "3")
    assert set(found["bounds"]) == {
        "wald", "likelihood", "calibrated", "r_star", "firth", "cheng_iles", "bootstrap"
    }  # fmt: skip
    models = found["models"]
    assert len(models["rows"]) == 8
    (primary,) = (row for row in models["rows"] if row["primary"])
    assert (primary["link"], primary["scale"]) == ("logit", "log")
    assert primary["a90_95"] == pytest.approx(found["bounds"]["likelihood"], rel=1e-9)
    assert models["near_equal"] == sum(row["near_equal"] for row in models["rows"])
    # R, logistf: tests/published/data/firth_r.json, the set of this name
    known = FIRTH["invented_n60"]
    assert list(models["firth"]["coefficients"].values()) == pytest.approx(known["coef"], rel=1e-9)
    ends = [known["log_size"]["theta90"], known["log_size"]["theta90_upper95_plr"]]
    assert np.log([models["firth"]["a90"], models["firth"]["a90_95"]]) == pytest.approx(ends)
    level = found["plateau"]
    assert (level["blank_units"], level["blank_called"]) == (60, 3)
    assert 0.0 < level["floor"] < 0.15
    assert level["plateau_lower_95"] <= level["plateau"] <= 1.0
    small, large = found["pod_at"]
    assert (small["size"], large["size"]) == (2.0, 6.0)
    assert 0.0 < small["lower_95"] < small["pod"] < large["pod"]
    assert (small["in_range"], large["in_range"]) == (True, True)
    assert 0.0 < found["goodness"]["curvature_p"] <= 1.0
    assert {power["fault"] for power in found["goodness"]["power"]} == {"plateau", "link"}


def test_a_pod_bound_at_the_size_bound_is_090(hit_miss):
    """Both bounds answer one question from two sides: POD at a90/95 is at least 0.90."""
    upper = hit_miss("invented_n60")["a90_95"]
    (at,) = hit_miss("invented_n60", "--at", repr(upper))["pod_at"]
    assert at["lower_95"] == pytest.approx(0.9, abs=0.003)


def test_how_often_the_bound_holds(hit_miss):
    """Simulated at the fit the calibrated bound holds in 95 %; the Wald bound in fewer."""
    ours = hit_miss("invented_n60", "--check-bound", "--replicates", "500")["holds"]
    assert (ours["bound"], ours["seed"], ours["replicates"]) == ("calibrated", 1, 500)
    names = {"fit", "steeper", "shallower", "probit", "cloglog", "loglog", "plateau"}
    assert set(ours["cases"]) == names
    fit = ours["cases"]["fit"]
    assert set(fit) == {"share", "error", "share_given_a_bound", "no_bound"}
    assert fit["share"] == pytest.approx(0.95, abs=4.0 * 0.00975)  # sqrt(.95 .05 / 500)
    more = ["--check-bound", "--replicates", "500", "--bound", "wald"]
    wald = hit_miss("invented_n60", *more)["holds"]
    assert wald["bound"] == "wald"
    assert wald["cases"]["fit"]["share"] < fit["share"]
    assert hit_miss("invented_n60")["holds"] is None


def test_the_check_is_worded_as_simulated(tmp_path):
    table = write_hits(
        tmp_path / "t.csv", SETS["invented_n60"]["size"], SETS["invented_n60"]["hits"]
    )
    more = ["--check-bound", "--replicates", "200", "--seed", "3"]
    told = RUN.invoke(app, ["pod", "hit-miss", str(table), *COLUMNS, *more]).stdout
    lines = [line for line in told.splitlines() if line.startswith("simulated: holds in ")]
    assert len(lines) == 5  # fit, steeper, shallower, the lowest other link, plateau
    assert all(" of such trials if " in line and "is true" in line for line in lines)
    assert "if the fitted curve is true" in lines[0]
    assert "the lowest of 3 other links" in told
    assert "actual" not in told


def test_people_read_the_bound_rounded_up_and_scripts_all_digits(tmp_path):
    table = write_hits(
        tmp_path / "t.csv", SETS["invented_n60"]["size"], SETS["invented_n60"]["hits"]
    )
    arguments = ["pod", "hit-miss", str(table), *COLUMNS]
    full = document(*arguments)["a90_95"]
    told = RUN.invoke(app, arguments).stdout
    line = next(line for line in told.splitlines() if line.startswith("a90/95 "))
    shown = float(line.split()[1])
    assert full <= shown <= full + 0.1001
    assert "its simulation error is" in told


@pytest.mark.parametrize(("name", "outcome"), [
    ("invented_separated", "separated"),
    ("invented_quasi_separated", "quasi_separated"),
])  # fmt: skip
def test_without_overlap_there_is_a_bound_but_no_estimate(name, outcome, hit_miss):
    found = hit_miss(name, "--check-bound", "--replicates", "200", "--at", "2")
    assert found["outcome"] == outcome
    assert found["a90"] is None
    assert found["a90_95"] == found["bounds"]["calibrated"] > 2.0
    assert found["bounds"]["likelihood"] is None
    assert found["bounds"]["wald"] is None
    codes = {notice["code"] for notice in found["notices"]}
    assert {"bound_without_estimate", "no_likelihood_bound", "no_wald_bound", outcome} <= codes
    assert found["holds"]["cases"]["fit"]["share"] > 0.9
    assert found["pod_at"][0]["pod"] is None
    assert 0.0 <= found["pod_at"][0]["lower_95"] < 0.9
    asked = hit_miss(name, "--bound", "likelihood", code=3)
    assert asked["a90_95"] is None
    assert asked["bounds"]["calibrated"] == found["a90_95"]


SIZES = [0.5 + 0.1 * k for k in range(40)]
POOR = {
    # name: sizes, hits, outcome, exit code, words that say what to do
    "separated": (SIZES[:20], [0] * 10 + [1] * 10, "separated", 0, "More targets between"),
    "quasi": (
        [*SIZES[:20], SIZES[9]],
        [0] * 10 + [1] * 11,
        "quasi_separated",
        0,
        "more targets around this size would decide it",
    ),
    "decreasing": (SIZES[:20], [1] * 10 + [0] * 10, "decreasing", 3, "Check the labels"),
    "falling": (SIZES[:20], [1, 1, 1, 0] * 3 + [0] * 7 + [1], "decreasing", 3, "coding of hits"),
    "flat": (SIZES, [0, 1] * 20, "fitted", 0, "More targets, spread over the sizes"),
    "all_hit": (SIZES, [1] * 40, "all_hit", 3, "Smaller targets"),
    "all_missed": (SIZES, [0] * 40, "all_missed", 3, "Check the coding of hits"),
    "two_sizes": ([1.0] * 20 + [3.0] * 20, [0] * 15 + [1] * 23 + [0] * 2, "fitted", 0, "a90/95"),
    "two_sizes_apart": (
        [1.0] * 10 + [3.0] * 10, [0] * 10 + [1] * 10, "separated", 0, "More targets between"
    ),
    "one_target": ([2.0], [1], "all_hit", 3, "Smaller targets"),
    "one_missed": ([2.0], [0], "all_missed", 3, "larger targets"),
    "too_few": ([1.0, 2.0, 3.0], [0, 1, 1], "too_few", 3, "Add targets"),
}  # fmt: skip


@pytest.mark.parametrize("name", POOR)
def test_poor_tables_get_a_right_answer_and_no_noise(name, tmp_path):
    """Every option at once: outcome, exit code, a sentence to act on, no warning of a library."""
    sizes, hits, outcome, code, words = POOR[name]
    table = write_hits(tmp_path / "t.csv", sizes, hits)
    arguments = ["pod", "hit-miss", str(table), *COLUMNS, *ALL]
    arguments += ["--check-bound", "--replicates", "100", "--covariate", "depth_mm"]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        result = RUN.invoke(app, arguments)
        found = document(*arguments, code=code)
    assert result.exit_code == code, result.output
    assert found["outcome"] == outcome
    lacks = code == 3 or name == "flat"  # a flat table has a POD at 2 mm, but no a90/95
    assert (found["a90_95"] is None) == lacks
    assert words in result.stdout
    *before, last = result.stderr.splitlines()
    assert last.startswith("next: ")
    assert all(line.startswith(("simulating ", "  still simulating")) for line in before)
    assert bool(before) != lacks
    assert not re.search(r"\b(nan|inf|None(?! of))\b", result.stdout)
    assert (found["holds"] is None) == lacks
    assert ("no_check" in {notice["code"] for notice in found["notices"]}) == lacks


def test_a_separated_table_leaves_stderr_to_us(tmp_path):
    """In a process of its own: libraries that write to stderr themselves would show."""
    table = write_hits(tmp_path / "t.csv", *POOR["separated"][:2])
    code = "from qualify.cli.app import main; main()"
    done = subprocess.run(
        [sys.executable, "-W", "always", "-c", code, "pod", "hit-miss", str(table), *COLUMNS, *ALL],
        capture_output=True,
        text=True,
        check=True,
    )
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith("next: ")


@pytest.mark.parametrize(("more", "words"), [
    (["--blank-units", "60"], "give both"),
    (["--plateau", "--blank-units", "6", "--blank-called", "7"], "7 called of 6"),
    (["--blank-units", "60", "--blank-called", "3"], "give --plateau too"),
    (["--at", "0"], "give a size above 0"),
    (["--replicates", "200"], "give --check-bound too"),
    (["--covariate", "gone"], "column 'gone' is missing"),
    (["--size-u", "face"], "give a number, 0 or more"),
    (["--size-u", "depth_mm"], "row 5: depth_mm: an uncertainty of"),
])  # fmt: skip
def test_options_that_do_not_go_together_are_refused(more, words, tmp_path):
    table = write_hits(tmp_path / "t.csv", SIZES, [0, 1] * 20)
    result = RUN.invoke(app, ["pod", "hit-miss", str(table), *COLUMNS, *more])
    assert result.exit_code == 2
    assert words in result.stderr
    assert result.stdout == ""


def test_a_covariate_may_be_numbers_or_names(tmp_path):
    held = SETS["invented_n60"]
    table = write_hits(tmp_path / "t.csv", held["size"], held["hits"])
    found = document("pod", "hit-miss", table, *COLUMNS, "--covariate", "depth_mm")["covariate"]
    assert found["numeric"]
    assert [one["value"] for one in found["a90"]] == [3.0, 12.5, 22.0]
    assert 0.0 < found["covariate_test"]["p_value"] <= 1.0
    found = document("pod", "hit-miss", table, *COLUMNS, "--covariate", "face")["covariate"]
    assert not found["numeric"]
    assert [one["value"] for one in found["a90"]] == ["ground", "rolled"]


def test_uncertainty_of_sizes_is_integrated_over(tmp_path):
    """A tenth of the size in log size: a90 and bound fall; README's keys; a unit that differs."""
    held = SETS["invented_n60"]
    rows = zip(held["size"], held["hits"], strict=True)
    table = tmp_path / "t.csv"
    lines = [f"{size},{hit},{0.1 * size:.4f},0.01" for size, hit in rows]
    table.write_text("\n".join(["size_mm,hit,u_mm,u_in", *lines]), encoding="utf-8")
    found = document("pod", "hit-miss", table, *COLUMNS, "--size-u", "u_mm")
    one = found["size_uncertainty"]
    assert one["a90_95"] == pytest.approx(found["bounds"]["likelihood"], rel=1e-9)
    assert one["a90_integrated"] < one["a90"] == pytest.approx(found["a90"], rel=1e-9)
    assert one["a90_95_integrated"] < one["a90_95"]
    assert one["largest"] == pytest.approx(0.1, rel=0.05)
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    told = readme.split("- `size_uncertainty` (")[1].split("`pod holds-table`")[0]
    assert all(f"`{key}`" in told for key in one)
    result = RUN.invoke(app, ["pod", "hit-miss", str(table), *COLUMNS, "--size-u", "u_in"])
    assert result.exit_code == 2
    assert "give both in one unit" in result.stderr


def test_the_table_of_how_often_bounds_hold_is_written_whole(tmp_path):
    out = tmp_path / "holds.md"
    arguments = ["pod", "holds-table", "--out", str(out), "--replicates", "100", "--seed", "3"]
    result = RUN.invoke(app, [*arguments, "--cells", "moderate-*-60"])
    assert result.exit_code == 0, result.output
    assert result.stdout == ""
    assert "1 of 2: moderate-uniform-60" in result.stderr
    text = out.read_text(encoding="utf-8")
    assert "Simulated, if the model is true" in text
    assert "--replicates 100 --seed 3 --cells 'moderate-*-60'" in text
    assert text.count("| moderate | even in size | 60 |") == 4
    assert "steep |" not in text
    refused = RUN.invoke(app, [*arguments, "--cells", "gentle-*"])
    assert refused.exit_code == 2
    assert "no cell is named 'gentle-*'" in refused.stderr
    assert out.read_text(encoding="utf-8") == text


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


@pytest.fixture
def three_readers(tmp_path):
    """A with an a90/95; B and C, who missed nothing, without."""
    held = SETS["invented_n60"]
    rows = [("A", s, int(h)) for s, h in zip(held["size"], held["hits"], strict=True)]
    rows += [("B", 1.0 + 0.1 * k, 1) for k in range(20)] + [("C", 2.0, 1)]
    table = tmp_path / "readers.csv"
    lines = "".join(f"{reader},{size!r},{hit}\n" for reader, size, hit in rows)
    table.write_text("Reader,size_mm,hit\n" + lines, encoding="utf-8")
    return table


def lines_of(*arguments, code: int = 0) -> list[str]:
    result = RUN.invoke(app, ["pod", "hit-miss", *map(str, arguments)])
    assert result.exit_code == code, result.output
    return result.stdout.splitlines()


def faults_of(*arguments) -> list[str]:
    result = RUN.invoke(app, [*map(str, arguments)])
    assert (result.exit_code, result.stdout) == (2, "")
    assert "nothing was written" not in result.stderr  # nothing was to be written
    return result.stderr.splitlines()


def test_a_reader_who_missed_nothing_is_not_called_the_worst(three_readers):
    lines = lines_of(three_readers, *COLUMNS, "--reader", "Reader")
    assert lines[0].startswith("reader A: 35 of 60 hit; fitted; a90/95 4 mm")
    assert lines[1].startswith("reader B: 20 of 20 hit; all hit; no a90/95: every target was hit")
    assert lines[2].startswith("reader C: 1 of 1 hit; all hit; no a90/95: ")
    told = "no a90/95 for B and C: the worst reader can't be told; the largest of those with one"
    assert lines[3] == f"{told} is A, 4 mm"
    arguments = ["pod", "hit-miss", three_readers, *COLUMNS, "--reader", "Reader"]
    found = document(*arguments)
    assert set(found) == POD_KEYS | {"reader", "readers"}
    assert (found["reader"], found["a90_95"]) == ("B", None)
    (notice,) = (n["text"] for n in found["notices"] if n["code"] == "worst_reader")
    assert told in notice


def test_readers_pooled_unasked_are_told_first(three_readers, tmp_path):
    first = lines_of(three_readers, *COLUMNS)[0]
    assert first.startswith("note: Column Reader is there and not used: all rows are pooled")
    assert "give --reader Reader" in first
    found = document("pod", "hit-miss", three_readers, *COLUMNS)
    assert found["notices"][0]["code"] == "pooled_readers"
    table = tmp_path / "ids.csv"
    rows = "".join(f"T{k % 30},{0.5 + 0.1 * (k % 30):.1f},{int(k % 7 > 2)}\n" for k in range(60))
    table.write_text("Target,size_mm,hit\n" + rows, encoding="utf-8")
    for more in ([], ["--target", "Target"]):
        first = lines_of(table, *COLUMNS, *more, code=3)[0]
        assert ("Column Target is there and not used" in first) == (not more)
        assert "30 of 60 rows are further readings of a target already counted" in first


def test_trials_are_not_silently_targets(tmp_path):
    table = tmp_path / "grouped.csv"
    rows = "".join(f"{k},{hits},10\n" for k, hits in enumerate((1, 2, 5, 7, 9, 10, 10, 10), 1))
    table.write_text("size_mm,hits,looks\n" + rows, encoding="utf-8")
    first = lines_of(table, "--size", "size_mm", "--hit", "hits", "--trials", "looks")[0]
    assert "80 trials at 8 sizes are counted as 80 different targets" in first
    assert "8 targets, fewer than the 60" in first


def test_every_faulty_row_of_trials_is_named_at_once(tmp_path):
    table = tmp_path / "grouped.csv"
    table.write_text("size_mm,hits,looks\n1,9,8\n2,0,0\n-3,1,2\n4,1,1\n5,3,2\n", encoding="utf-8")
    grouped = ["--size", "size_mm", "--hit", "hits", "--trials", "looks"]
    faults = faults_of("pod", "hit-miss", table, *grouped)
    assert len(faults) == 4
    assert "row 2: hits: 9 hits of 8 trials" in faults[0]
    assert "row 3: looks: found" in faults[1]
    assert "row 4: size_mm: found" in faults[2]
    assert "row 6: hits: 3 hits of 2 trials" in faults[3]


def test_no_pod_is_told_where_nothing_was_tested(hit_miss, tmp_path):
    (at,) = hit_miss("invented_n60", "--at", "20")["pod_at"]
    assert (at["in_range"], at["pod"], at["lower_95"]) == (False, None, None)
    assert "nothing was tested there" in at["reason"]
    lines = lines_of(tmp_path / "invented_n60.csv", *COLUMNS, "--at", "20")
    assert "POD at 20 mm: not told, nothing was tested there" in lines


def test_a_curve_that_does_not_fit_is_told(tmp_path):
    """A miss at a size of 400, which is a wrong size or a wrong hit."""
    sizes = [*(0.5 + 0.05 * k for k in range(80)), 400.0]
    hits = [*(int(size > 2.0) for size in sizes[:80]), 0]
    lines = lines_of(write_hits(tmp_path / "t.csv", sizes, hits), *COLUMNS)
    (note,) = (line for line in lines if "The curve does not fit these data (p = 0.0" in line)
    assert "largest size 400, next 4.45" in note
    two = lines_of(write_hits(tmp_path / "two.csv", *POOR["two_sizes"][:2]), *COLUMNS)
    assert "fit: with two sizes every curve fits: its shape is assumed" in two


def test_a_test_of_fit_that_sees_nothing_says_so(hit_miss, tmp_path):
    power = hit_miss("invented_n60")["goodness"]["power"]
    assert max(max(p["curvature"], p["squares"]) for p in power) < 0.3
    lines = lines_of(tmp_path / "invented_n60.csv", *COLUMNS)
    assert "fit: this check sees almost nothing with 60 targets" in lines


def test_a_long_simulation_is_announced(hit_miss, tmp_path):
    hit_miss("invented_n60")
    arguments = ["pod", "hit-miss", str(tmp_path / "invented_n60.csv"), *COLUMNS]
    result = RUN.invoke(app, [*arguments, "--check-bound", "--replicates", "100"])
    first = result.stderr.splitlines()[0]
    assert first == "simulating 100 trials for each of 7 true curves"


@pytest.mark.parametrize(("column", "given", "unit"), [
    ("size_mm", None, "mm"),
    ("size_in", None, "in"),
    ("size_inch", None, "in"),
    ("size_in", "in", "in"),
    ("size_mm", "in", None),
    ("size_inch", "mm", None),
])  # fmt: skip
def test_the_unit_of_a_name_is_not_talked_over(column, given, unit, tmp_path):
    table = tmp_path / "t.csv"
    rows = "".join(f"{size!r},{int(size > 1.5)}\n" for size in SIZES)
    table.write_text(f"{column},hit\n{rows}", encoding="utf-8")
    arguments = ["pod", "hit-miss", table, "--size", column, "--hit", "hit"]
    arguments += [] if given is None else ["--size-unit", given]
    if unit is None:
        assert f"--size-unit says {given}" in faults_of(*arguments)[0]
    else:
        assert document(*arguments)["unit"] == unit


def test_exit_code_3_only_where_nothing_asked_for_exists(tmp_path):
    table = write_hits(tmp_path / "flat.csv", SIZES, [0, 1] * 20)
    arguments = ["pod", "hit-miss", table, *COLUMNS]
    assert document(*arguments, code=3)["a90_95"] is None
    assert document(*arguments, "--at", "2")["pod_at"][0]["lower_95"] > 0.0
    document(*arguments, "--at", "20", code=3)


def test_the_reader_with_the_largest_bound_of_false_calls_is_not_called_the_worst(tmp_path):
    table = tmp_path / "blanks.csv"
    table.write_text("reader,called\nR1,no\n" + "R2,no\n" * 29 + "R2,yes\n", encoding="utf-8")
    arguments = ["false-calls", str(table), "--called", "called", "--reader", "reader"]
    lines = RUN.invoke(app, arguments).stdout.splitlines()
    assert lines[0] == "reader R1: 0 of 1 blank unit called (0 calls)"
    assert lines[1] == "reader R2: 1 of 30 blank units called (1 call)"
    assert lines[2] == "R1 has the largest upper bound, and governs:"
    assert not any("worst" in line for line in lines)


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


@pytest.mark.parametrize("what", ["block", "study", "calls", "tables", "reading"])
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
        "heavy = ('numpy', 'numba', 'pandas', 'scipy', 'statsmodels', 'matplotlib', 'pydantic');"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

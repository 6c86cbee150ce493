"""`qualify compare` the way a user goes: a row with both modes, a row a mode, readers, refusals."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_linear_model import GLM
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.raw_tables import read_table

RUN = CliRunner()
ROOT = Path(__file__).parents[2]
WIDE = ["--target", "target", "--size", "size_mm", "--hit-a", "old", "--hit-b", "new"]
LONG = ["--target", "target", "--size", "size_mm", "--mode", "mode", "--hit", "hit"]
LONG += ["--a", "linear", "--b", "coherence"]


def rows(n=40):
    """Invented: the new mode finds smaller targets."""
    sizes = [round(0.4 + 0.08 * k, 3) for k in range(n)]
    return [
        (f"T{k:02d}", size, int((size > 1.6) != (k % 9 == 4)), int((size > 1.1) != (k % 11 == 5)))
        for k, size in enumerate(sizes)
    ]


def table(folder, head, lines, name="t.csv"):
    path = folder / name
    text = "\n".join([head, *(",".join(str(cell) for cell in line) for line in lines)])
    path.write_text(text + "\n", encoding="utf-8")
    return str(path)


def document(*arguments):
    result = RUN.invoke(app, ["compare", *arguments, "--json"])
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def refused(*arguments):
    result = RUN.invoke(app, ["compare", *arguments])
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    return result.stderr


def described():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    part = text.split("<details><summary>Keys of the JSON documents", 1)[1]
    return set(re.findall(r"`([a-z0-9_]+)`", part.split("`compare`:", 1)[1].split("\n\n", 1)[0]))


def keys(value):
    if isinstance(value, dict):
        return set(value).union(*(keys(v) for v in value.values()))
    return set().union(*(keys(v) for v in value)) if isinstance(value, list) else set()


def test_a_row_with_both_modes_and_a_row_a_mode_say_the_same(tmp_path):
    """Round trip: the same hits in either form, and every key is in the README."""
    wide = document(table(tmp_path, "target,size_mm,old,new", rows()), *WIDE, "--margin", "1.15")
    lines = [(t, s, m, h) for t, s, a, b in rows() for m, h in (("linear", a), ("coherence", b))]
    lines += [("T00", 0.4, "other", 1), ("X", 0.4, "other", 0)]
    long = document(table(tmp_path, "target,size_mm,mode,hit", lines[::-1]), *LONG,
                    "--margin", "1.15")  # fmt: skip
    assert wide.pop("names") == ["old", "new"]
    assert long.pop("names") == ["linear", "coherence"]
    assert wide == long
    assert keys(wide) - {"code", "text"} <= described()
    pairs = np.array(rows(), dtype=object)[:, 2:].astype(int)
    assert wide["a_only"] == int(np.sum(pairs[:, 0] > pairs[:, 1]))
    both = stats.binomtest(wide["a_only"], wide["a_only"] + wide["b_only"]).pvalue
    assert wide["mcnemar_exact_p"] == pytest.approx(both, rel=1e-12)
    assert wide["a90_ratio_lower_95"] < wide["a90_ratio"] < wide["a90_ratio_upper_95"]


def test_blanks_noise_and_readers_stand_beside(tmp_path):
    blanks = table(tmp_path, "old,new", [(k % 11 == 0, k % 7 == 0) for k in range(80)], "b.csv")
    rng = np.random.default_rng(2)
    noise = table(tmp_path, "old_db,new_db", rng.gumbel(6.0, 1.0, (80, 2)).round(3), "n.csv")
    shared = rng.normal(size=60)
    heights = [
        (f"T{k}", round(0.4 * 1.04**k, 4), 1, 1,
         *(round(12 + 9 * np.log(0.4 * 1.04**k) + gain + shared[k] + rng.normal(), 3)
           for gain in (0.0, 2.0)))
        for k in range(60)
    ]  # fmt: skip
    heights = [(*row[:2], int(row[4] > 12), int(row[5] > 12), *row[4:]) for row in heights]
    path = table(tmp_path, "target,size_mm,old,new,old_db,new_db", heights)
    more = ["--blanks", blanks, "--called-a", "old", "--called-b", "new", "--noise", noise]
    more += ["--response-a", "old_db", "--response-b", "new_db", "--rate", "0.02"]
    found = document(path, *WIDE, *more)
    assert keys(found) - {"code", "text"} <= described()
    assert found["false_calls"]["rate_a"] == pytest.approx(8 / 80)
    assert found["false_calls"]["rate_b"] == pytest.approx(12 / 80)
    told = found["responses"]
    # 2 dB of 9 dB per e-fold: exp(-2/9) = 0.80, the thresholds alike but for their noise
    assert told["a90_ratio_lower_95"] < 0.80 < told["a90_ratio_upper_95"]
    assert told["a90_ratio"] == pytest.approx(0.80, abs=0.08)
    assert RUN.invoke(app, ["compare", path, *WIDE, *more]).exit_code == 0
    lines = [(*row, reader) for reader in ("R1", "R2") for row in rows()]
    by = document(table(tmp_path, "target,size_mm,old,new,who", lines, "r.csv"), *WIDE,
                  "--reader", "who")  # fmt: skip
    assert set(by["readers"]) == {"R1", "R2"}
    assert by["all_readers"]["n"] == 40
    assert by["all_readers"]["readings"] == 80
    assert by["all_readers"]["mcnemar_exact_p"] == pytest.approx(by["mcnemar_exact_p"])


def test_blank_units_are_counted_by_reader_and_never_pooled_unsaid(tmp_path):
    """30 units read by two are no 60: each reader apart, or a note that they are pooled."""
    lines = [(*row, reader) for reader in ("R1", "R2") for row in rows()]
    path = table(tmp_path, "target,size_mm,old,new,who", lines, "r.csv")
    called = [(k % 10 == 0, k % 6 == 0, "R1") for k in range(30)]
    called += [(1, 1, "R2") for _ in range(30)]
    blanks = table(tmp_path, "old,new,who", called, "b.csv")
    more = ["--blanks", blanks, "--called-a", "old", "--called-b", "new"]
    found = document(path, *WIDE, "--reader", "who", *more)
    by = {name: one["false_calls"] for name, one in found["readers"].items()}
    assert [by["R1"][k] for k in ("blank_units", "rate_a", "rate_b")] == [30, 0.1, 5 / 30]
    upper = stats.beta.ppf(0.95, 4, 27)  # exact: 3 of 30
    assert by["R1"]["upper_95_a"] == pytest.approx(upper, rel=1e-9)
    assert by["R2"]["rate_a"] == 1.0
    assert found["false_calls"] == by[found["reader"]]
    assert "blanks_of_others" not in {notice["code"] for notice in found["notices"]}
    others = table(tmp_path, "old,new,who", [(0, 1, "R3"), (0, 0, "R1")], "o.csv")
    part = document(path, *WIDE, "--reader", "who", "--blanks", others, *more[2:])
    told = [n["text"] for n in part["notices"] if n["code"] == "blanks_of_others"]
    assert told == ["In one of the two tables only, targets or blank units: R2 and R3."]
    named = table(tmp_path, "old,new,reader", called, "n.csv")
    pooled = document(table(tmp_path, "target,size_mm,old,new", rows()), *WIDE, "--blanks", named,
                      "--called-a", "old", "--called-b", "new")  # fmt: skip
    assert "pooled_readers" in {notice["code"] for notice in pooled["notices"]}


def test_targets_are_no_blank_units_and_a_filter_may_name_a_column_in_use(tmp_path):
    lines = [(*row, reader) for reader in ("R1", "R2") for row in rows()]
    path = table(tmp_path, "target,size_mm,old,new,who", lines)
    said = refused(path, *WIDE, "--reader", "who", "--blanks", path, "--called-a", "old",
                   "--called-b", "new")  # fmt: skip
    assert "--blanks is the table of targets" in said
    found = document(path, *WIDE, "--reader", "who", "--only", "who=R1")
    assert set(found["readers"]) == {"R1"}


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ([("A", 1, 0, 1), ("A", 1, 1, 1)], ("stands twice: A (row 3)", "or give --reader")),
        ([("A", 1, 0, 1), ("A", 2, 1, 1)], ("target A has size 2, 1 elsewhere",)),
        ([("A", 1, 0, 2)], ("row 2: new", "give 1/0")),
        ([("A", -1, 0, 1)], ("row 2: size_mm", "give a number above 0")),
        ([("A", 1, "", 1)], ("row 2: old", "the cell is empty")),
    ],
)
def test_rows_that_cannot_be_taken_are_named(lines, words, tmp_path):
    said = refused(table(tmp_path, "target,size_mm,old,new", lines), *WIDE)
    assert all(word in said for word in words), said


def test_what_does_not_go_together_is_refused(tmp_path):
    path = table(tmp_path, "target,size_mm,old,new", rows())
    assert "are the same column 'old'" in refused(path, *WIDE[:-1], "old")
    assert "--hit-a or --hit-b is missing" in refused(path, *WIDE[:-2])
    assert "not all given" in refused(path, *WIDE, "--called-a", "old")
    assert "give COLUMN=VALUE" in refused(path, *WIDE, "--only", "kind")
    assert "column 'kind' is missing" in refused(path, *WIDE, "--only", "kind=notch")
    lines = [("A", 1, "linear", 1), ("A", 1, "coherence", 1), ("B", 2, "linear", 0)]
    long = table(tmp_path, "target,size_mm,mode,hit", lines, "l.csv")
    assert "read in mode linear but not in mode coherence: B" in refused(long, *LONG)
    assert "the modes are coherence, linear" in refused(long, *LONG[:-1], "vector")


def test_modes_that_agree_in_all_give_exit_3(tmp_path):
    lines = [(t, s, b, b) for t, s, _, b in [(f"T{k}", 1 + k, 0, int(k > 9)) for k in range(20)]]
    result = RUN.invoke(app, ["compare", table(tmp_path, "target,size_mm,old,new", lines), *WIDE])
    assert result.exit_code == 3
    assert "every missed target is smaller than every hit one" in result.stdout


def test_the_demonstration_is_derived_again_from_its_trials():
    """trials.csv of the demonstration by statsmodels and scipy alone; 1e-6."""
    path = ROOT / "output" / "sample" / "trials.csv"
    only = [
        row.cells
        for row in read_table(path).rows
        if row.cells["kind"] == "side_drilled_hole" and row.cells["reading"] == "first"
    ]
    arguments = [
        "--reader",
        "reader",
        "--only",
        "kind=side_drilled_hole",
        "--only",
        "reading=first",
    ]
    found = document(str(path), *LONG, *arguments)
    for reader, told in found["readers"].items():
        hits, a90 = {}, {}
        for mode in ("linear", "coherence"):
            mine = sorted((r["target"], float(r["size_mm"]), int(r["hit"])) for r in only
                          if (r["mode"], r["reader"]) == (mode, reader))  # fmt: skip
            hits[mode] = np.array([hit for *_, hit in mine])
            x = np.log([size for _, size, _ in mine])
            fit = GLM(hits[mode], np.column_stack([np.ones_like(x), x]), family=Binomial()).fit()
            a90[mode] = np.exp((np.log(9.0) - fit.params[0]) / fit.params[1])
        a_only, b_only = (int(np.sum(hits[m] > hits[o])) for m, o in
                          (("linear", "coherence"), ("coherence", "linear")))  # fmt: skip
        assert (told["a_only"], told["b_only"]) == (a_only, b_only)
        p = stats.binomtest(a_only, a_only + b_only).pvalue
        assert told["mcnemar_exact_p"] == pytest.approx(p, rel=1e-10)
        assert told["a90_ratio"] == pytest.approx(a90["coherence"] / a90["linear"], rel=1e-6)

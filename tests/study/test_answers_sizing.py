"""`sizing` on one table: numbers of the report, readers apart, and what is refused."""

import json

import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.errors import InputError
from qualify.raw_tables import read_table
from qualify.sizing.report import sizing_report
from qualify.study.answers_sizing import SizingAsked, answer
from qualify.study.answers_sizing_words import sizing_lines

TRUE = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
SAID = [1.4, 2.1, 3.2, 3.6, 4.9, 5.3]
HEAD = "flaw,who,true_mm,u_mm,said_mm,v_mm,found\n"
ROWS = [f"F{i},R1,{t},0.05,{s},0.2,1\n" for i, (t, s) in enumerate(zip(TRUE, SAID, strict=True))]
LOST = ["F6,R1,0.8,0.05,,,0\n", "F7,R1,2.2,0.05,,,yes\n"]
SECOND = ["F0,R2,1.0,0.05,1.2,0.2,1\n", "F1,R2,2.0,0.05,2.3,0.2,1\n"]
EVERY = {"true_u": "u_mm", "reported_u": "v_mm", "target": "flaw", "found": "found"}


@pytest.fixture
def table(tmp_path):
    def made(rows, head=HEAD):
        path = tmp_path / "t.csv"
        path.write_text(head + "".join(rows), encoding="utf-8")
        return path

    return made


def asked(**more):
    return SizingAsked("true_mm", "said_mm", **more)


def test_the_document_is_the_report_of_its_rows(table):
    found = answer(read_table(table(ROWS + LOST)), asked(**EVERY, smallest=0.7, confidence=0.9))
    report = sizing_report(
        TRUE, SAID, true_u=[0.05] * 6, reported_u=[0.2] * 6, missed=[0.8], unsized=[2.2],
        smallest=0.7, confidence=0.9,
    )  # fmt: skip
    assert (found["n"], found["missed"], found["unsized"]) == (6, 1, 1)
    assert found["rmse_ci"] == pytest.approx(report.error.rmse_ci)
    assert found["rmse_upper"] == pytest.approx(report.error.rmse_upper)
    assert (found["slope"], found["intercept"]) == (report.line.slope, report.line.intercept)
    assert found["line"]["chi2"] == report.line.chi2
    assert found["method"]["sd"] == report.method.sd
    assert found["agreement"]["low_ci"] == list(report.agreement.low_ci)
    assert found["ordered"]["undersizing_needs"] == report.order.lower_needed
    assert [case["rmse"] for case in found["counted_in"]] == [c.rmse for c in report.cases]
    assert [case["target"] for case in found["worst"]["undersized"]] == ["F5", "F3", "F4"]
    assert found["worst"]["undersized"][0]["row"] == found["largest_undersizing_row"] == 7
    assert found["confidence"] == 0.9


def test_without_uncertainties_there_is_no_line_and_it_says_why(table):
    found = answer(read_table(table(ROWS)), asked())
    assert (found["slope"], found["intercept"], found["method"]["sd"]) == (None, None, None)
    for part in ("line", "method"):
        assert found[part]["reason"] == "no uncertainty of the true sizes was given"
    assert found["trend"]["slope"] < 0
    with_one = answer(read_table(table(ROWS)), asked(true_u="u_mm"))
    assert with_one["slope"] is not None
    assert with_one["line"]["scatter"] > 0


def test_readers_are_told_apart_and_the_worst_governs(table):
    nobody = ["F0,R3,1.0,0.05,,,no\n"]
    found = answer(read_table(table(ROWS + LOST + SECOND + nobody)), asked(**EVERY, reader="who"))
    assert found["reader"] == "R1"
    assert {name: one["n"] for name, one in found["readers"].items()} == {"R1": 6, "R2": 2, "R3": 0}
    assert found["rmse"] == max(one["rmse"] or 0.0 for one in found["readers"].values())
    (told,) = [n["text"] for n in found["notices"] if n["code"] == "worst_reader"]
    assert told.startswith("No sizing error for R3: no size was reported.")
    lines = sizing_lines(found)
    assert lines[0].startswith("reader R1: 6 sized, 1 found but not sized, 1 missed")
    assert "R1 governs:" in lines
    assert "repeated_targets" not in {n["code"] for n in found["notices"]}


def test_rows_that_are_no_further_targets_are_noticed(table):
    rows = read_table(table(ROWS + SECOND, HEAD.replace("who", "Reader")))
    codes = {n["code"] for n in answer(rows, asked(target="flaw"))["notices"]}
    assert {"pooled_readers", "repeated_targets"} <= codes


def test_people_read_counts_limits_and_worst_cases(table):
    found = answer(read_table(table(ROWS + LOST)), asked(**EVERY))
    text = "\n".join(sizing_lines(found))
    for words in (
        "6 sized, 1 found but not sized, 1 missed",
        "reported minus true: negative is undersized",
        "if they are normal (tolerance interval)",
        "needs 59 sized targets on one side, 93 on two",
        "most undersized, true as reported: F5 6 as 5.3 (-0.7)",
        "missed targets as size 0 (1 counted in)",
        "note: Large ones come out smaller, by comparison, than small ones",
        "at the smallest, -0.561 mm (-0.995 to -0.126) at the largest",
    ):
        assert words in text


@pytest.mark.parametrize(
    ("old", "new", "more", "words"),
    [
        ("F0,R1,1.0,0.05", "F0,R1,1.0,-0.05", EVERY, "row 2: u_mm: found '-0.05'; give a standard"),
        ("F1,R1,2.0,0.05", "F1,R1,2.0,", EVERY, "row 3: u_mm: the cell is empty"),
        ("F6,R1,0.8,0.05,,,0", "F6,R1,0.8,0.05,1,0.2,0", EVERY, "row 8: said_mm: a size of a tar"),
        ("F7,R1,2.2,0.05,,,yes", "F7,R1,2.2,0.05,,,maybe", EVERY, "row 9: found: found 'maybe'"),
        ("said_mm", "said_in", {"reported": "said_in"}, "its name says in, true sizes are in mm"),
        ("u_mm", "u_in", {"true_u": "u_in"}, "column 'u_in': its name says in"),
        ("", "", {"true_u": "wrong"}, "column 'wrong' is missing"),
        ("", "", {"reported_u": "v_mm"}, "--reported-u without --true-u"),
        ("F1,R1,2.0", "F0,R1,2.0", EVERY, "row 3: true_mm: target F0 is 2 here and 1 in row 2"),
        ("u_mm", "u_um", {"true_u": "u_um"}, "column 'u_um': its name says um"),
        ("", "", {"true": "said_mm"}, "column 'said_mm' was given for two things"),
        ("", "", {"smallest": 0.0}, "--smallest 0; give a size above 0, in mm"),
    ],
)
def test_what_is_refused(table, old, new, more, words):
    text = "".join(ROWS + LOST).replace(old, new) if old else "".join(ROWS + LOST)
    head = HEAD.replace(old, new) if old else HEAD
    options = SizingAsked(**{"true": "true_mm", "reported": "said_mm", **more})
    with pytest.raises(InputError) as refused:
        answer(read_table(table([text], head)), options)
    assert words in str(refused.value)


def test_faults_of_several_columns_are_told_together(table):
    rows = "".join(ROWS + LOST).replace("1.0,0.05,1.4", "one,-1,zero")
    with pytest.raises(InputError) as refused:
        answer(read_table(table([rows])), asked(**EVERY))
    assert len(refused.value.faults) == 3


def test_nothing_sized_exits_with_no_number(table):
    path = str(table(LOST))
    options = ["--true", "true_mm", "--reported", "said_mm", "--found", "found"]
    run = CliRunner().invoke(app, ["sizing", path, *options, "--json"])
    assert run.exit_code == 3
    assert json.loads(run.stdout)["reason"] == "no target was sized"
    lines = CliRunner().invoke(app, ["sizing", path, *options]).stdout
    assert "no sizing error: no target was sized" in lines

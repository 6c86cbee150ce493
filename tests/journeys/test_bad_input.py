"""Bad input: one clear error for each fault, exit code 2, and nothing half-written."""

import errno
from dataclasses import make_dataclass as made_dataclass
from pathlib import Path

import pytest
from typer.testing import CliRunner

from qualify.cli.app import app
from qualify.errors import InputError
from qualify.files import write_folder

RUN = CliRunner()
SHEET = "call_sheets/R1_linear.csv"


def refused(*arguments) -> str:
    """Run a command that must end with exit code 2; return its messages."""
    result = RUN.invoke(app, [str(a) for a in arguments])
    assert result.exit_code == 2, result.output
    assert result.stdout == ""
    writes = arguments[0] in ("dossier", "demo", "new", "draw")
    assert ("nothing was written" in result.stderr) == writes
    return result.stderr


def edit(path: Path, old: str, new: str, count: int = 1) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, count), encoding="utf-8")


def call_row(study: Path, words: str = ",indication,") -> str:
    lines = (study / SHEET).read_text(encoding="utf-8").splitlines()
    return next(line for line in lines[1:] if words in line)


def spoil_duplicate_row(study):
    row = call_row(study)
    edit(study / SHEET, row, f"{row}\n{row}")
    return "the same indication as in call_sheets/R1_linear.csv: row"


def spoil_two_calls_without_correction(study):
    row = call_row(study, ",nothing_found,")
    reader, mode, code, unit = row.split(",")[:4]
    more = row.count(",") - 6
    edit(study / SHEET, row, f"{row}\n{reader},{mode},{code},{unit},indication,9,9{',' * more}")
    return "keep one, or mark the later one as a correction"


def spoil_unknown_code(study):
    row = call_row(study)
    edit(study / SHEET, row, row.replace(row.split(",")[2], "ZZZZ"))
    return "code: 'ZZZZ' is not in the key"


def spoil_unknown_unit(study):
    row = call_row(study)
    cells = row.split(",")
    cells[3] = "15"
    edit(study / SHEET, row, ",".join(cells))
    return "it has units 1 to 14"


def spoil_unknown_target(study):
    edit(study / "sets.csv", "\nH01,", "\nH99,")
    return "has no target 'H99'"


def spoil_block_not_there(study):
    edit(study / "data.toml", "blocks/near_surface.toml", "blocks/gone.toml")
    return "blocks/gone.toml: no such file"


def spoil_key_to_no_block(study):
    edit(study / "key.csv", "lug_coupon_blind_01", "lug_coupon_blind_99")
    return "block 'lug_coupon_blind_99' is not there"


def spoil_decimal_comma(study):
    row = call_row(study)
    edit(
        study / SHEET,
        row,
        row.replace(row.split(",")[5], f'"{row.split(",")[5].replace(".", ",")}"'),
    )
    return "found '"


def spoil_decimal_comma_unquoted(study):
    row = call_row(study)
    edit(study / SHEET, row, row.replace(row.split(",")[5], row.split(",")[5].replace(".", ",")))
    return "a decimal comma splits a number in two"


def spoil_negative_size(study):
    sheet = "call_sheets/R1_coherence.csv"
    lines = (study / sheet).read_text(encoding="utf-8").splitlines()
    row = next(line for line in lines if line.split(",")[8:9] > ["0"] and "indication" in line)
    cells = row.split(",")
    cells[8] = f"-{cells[8]}"
    edit(study / sheet, row, ",".join(cells))
    return "size_mm: found '-"


def spoil_nan(study):
    row = call_row(study)
    edit(study / SHEET, row, row.replace(row.split(",")[5], "nan"))
    return "x_mm: found 'nan'"


def spoil_missing_column(study):
    edit(study / SHEET, ",verdict,", ",judgement,")
    return "column 'verdict' is missing"


def spoil_empty_file(study):
    (study / SHEET).write_text("", encoding="utf-8")
    return "call_sheets/R1_linear.csv: the file is empty"


def spoil_header_only(study):
    text = (study / SHEET).read_text(encoding="utf-8")
    (study / SHEET).write_text(text.splitlines()[0] + "\n", encoding="utf-8")
    return "has a header but no rows"


def spoil_folder_for_file(study):
    (study / SHEET).unlink()
    (study / SHEET).mkdir()
    return "is a folder; give a file"


def spoil_latin_1(study):
    text = (study / SHEET).read_text(encoding="utf-8")
    (study / SHEET).write_bytes((text + "R1,linear,ä\n").encode("latin-1"))
    return "bytes that are not UTF-8"


def spoil_semicolons(study):
    text = (study / SHEET).read_text(encoding="utf-8")
    (study / SHEET).write_text(text.replace(",", ";"), encoding="utf-8")
    return "fields separated by semicolons"


def spoil_target_outside(study):
    edit(study / "blocks/near_surface.toml", "thickness_mm = 50", "thickness_mm = 5")
    return "keep it inside 0 to 5 mm"


def spoil_unknown_key(study):
    edit(study / "plan.toml", "[matching]", "[matching]\nshape = 'ellipsoid'")
    return "plan.toml: matching.shape: is not a known key"


def spoil_toml(study):
    edit(study / "plan.toml", "[matching]", "[matching")
    return "plan.toml: is not TOML"


def spoil_two_studies(study):
    edit(study / "study.toml", 'study = "', 'study = "other-')
    return "give both the same id"


def spoil_undeclared_reader(study):
    row = call_row(study)
    edit(study / SHEET, row, "R9" + row[2:])
    return "'R9' is not declared"


def spoil_mode_not_in_plan(study):
    row = call_row(study)
    edit(study / SHEET, row, row.replace("linear", "sectorial"))
    return "'sectorial' is not in the plan"


def spoil_position_far_off(study):
    row = call_row(study)
    edit(study / SHEET, row, row.replace(row.split(",")[5], "2104"))
    return "mm outside piece"


def spoil_trial_backwards(study):
    edit(study / "study.toml", "trial_until = 2026", "trial_until = 2025")
    return "before it begins; swap the two days"


def spoil_size_quantity(study):
    edit(study / "plan.toml", 'size_quantity = "diameter_mm"', 'size_quantity = "dia_mm"')
    return "its quantities are diameter_mm"


SPOILS = [value for name, value in sorted(globals().items()) if name.startswith("spoil_")]


@pytest.mark.parametrize("spoil", SPOILS, ids=lambda s: s.__name__.removeprefix("spoil_"))
def test_a_spoiled_study_is_refused(spoil, study, tmp_path):
    words = spoil(study)
    out = tmp_path / "out"
    messages = refused("dossier", study, "--out", out)
    assert words in messages
    assert not list(tmp_path.glob("*out*"))


def test_all_faults_of_a_file_are_told_in_one_go(study):
    edit(study / "plan.toml", 'link = "logit"', 'link = "cauchit"')
    edit(study / "plan.toml", 'rule = "box"', 'rule = "sphere"')
    messages = refused("check", study)
    assert "plan.toml: analysis.link: found 'cauchit'" in messages
    assert "plan.toml: matching.rule: found 'sphere'" in messages


TABLES = {
    "size 0": ("size_mm,hit\n0,1\n1,0\n", "row 2: size_mm: found '0'; give a number above 0"),
    "negative": ("size_mm,hit\n-1,1\n", "row 2: size_mm: found '-1'"),
    "NaN": ("size_mm,hit\nnan,1\n", "row 2: size_mm: found 'nan'"),
    "decimal comma": ('size_mm,hit\n"1,5",1\n', "write the decimal point as '.'"),
    "empty hit": ("size_mm,hit\n1,1\n2,\n", "row 3: hit: the cell is empty"),
    "no hit": ("size_mm,hit\n1,perhaps\n", "give 1/0, true/false, yes/no or hit/miss"),
    "missing column": ("size_mm,found\n1,1\n", "column 'hit' is missing"),
    "double column": ("size_mm,hit,hit\n1,1,1\n", "column 'hit' stands twice"),
    "empty": ("", "the file is empty"),
}


@pytest.mark.parametrize("case", TABLES)
def test_a_bad_table_is_refused(case, tmp_path):
    content, words = TABLES[case]
    table = tmp_path / "hits.csv"
    table.write_text(content, encoding="utf-8")
    assert words in refused("pod", "hit-miss", table, "--size", "size_mm", "--hit", "hit")


def test_one_mistake_in_many_rows_is_told_in_few_lines(tmp_path):
    table = tmp_path / "hits.csv"
    rows = "".join(f"{s},1\n" for s in ["small", *["large"] * 99])
    table.write_text("size_mm,hit\n" + rows + "1,perhaps\n", encoding="utf-8")
    told = refused("pod", "hit-miss", table, "--size", "size_mm", "--hit", "hit").splitlines()
    faults = [line for line in told if line.startswith("error: ")]
    assert len(faults) == 7
    assert "row 2: size_mm: found 'small'" in faults[0]
    assert "row 102: hit: found 'perhaps'" in faults[5]
    assert "row 101: size_mm: the last of 95 more like those above; give a number" in faults[6]


def test_the_unit_of_sizes_must_be_known(tmp_path):
    table = tmp_path / "hits.csv"
    table.write_text("size,hit\n1,1\n2,0\n", encoding="utf-8")
    assert "say --size-unit" in refused("pod", "hit-miss", table, "--size", "size", "--hit", "hit")


def test_a_byte_order_mark_and_names_beyond_ascii_are_taken(tmp_path):
    table = tmp_path / "Prüfkörper.csv"
    rows = "".join(f"{s},{h}\n" for s, h in [(1, "miss"), (2, "hit"), (3, "miss"), (4, "hit")] * 3)
    table.write_text("größe_mm,treffer\n" + rows, encoding="utf-8-sig")
    command = ["pod", "hit-miss", str(table), "--size", "größe_mm", "--hit", "treffer", "--json"]
    result = RUN.invoke(app, command)
    assert result.exit_code in (0, 3), result.output
    assert '"n": 12' in result.stdout


def test_a_file_that_may_not_be_read(study, monkeypatch):
    def no_right(self):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", no_right)
    assert "can't be read (Permission denied)" in refused("check", study)


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES], ids=["no space", "no right"])
def test_a_disk_that_does_not_take_the_dossier(code, study, tmp_path, monkeypatch):
    def fails(self, content):
        raise OSError(code, "No space left on device" if code == errno.ENOSPC else "denied")

    out = tmp_path / "out"
    result = made_dataclass("Result", [("rule", object), ("images", object)])
    monkeypatch.setattr("qualify.study.run.run_study", lambda *_, **__: result(None, None))
    monkeypatch.setattr("qualify.dossier.build.build_dossier", lambda _: {"results.json": b"{}"})
    monkeypatch.setattr(Path, "write_bytes", fails)
    assert "can't be written" in refused("dossier", study, "--out", out)
    assert not list(tmp_path.glob("*out*"))


def test_a_folder_with_other_files_is_not_replaced(study, tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    assert "holds files that are not ours" in refused("dossier", study, "--out", out)
    assert (out / "mine.txt").read_text(encoding="utf-8") == "mine"


def test_a_file_put_beside_an_earlier_dossier_is_not_deleted(tmp_path):
    out = tmp_path / "out"
    write_folder(out, {"results.json": b"{}"}, mark="results.json")
    (out / "note.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"note\.txt, which this run would delete"):
        write_folder(out, {"results.json": b"[]"}, mark="results.json")
    assert (out / "results.json").read_bytes() == b"{}"


def test_a_file_of_an_earlier_run_gives_way(tmp_path):
    out = tmp_path / "out"
    manifest = b'{"outputs":[{"name":"results.json"},{"name":"figures/old.png"}]}'
    old = {"results.json": b"{}", "figures/old.png": b"x", "manifest.json": manifest}
    write_folder(out, old, mark="results.json")
    write_folder(out, {"results.json": b"[]"}, mark="results.json")
    assert [p.name for p in out.rglob("*")] == ["results.json"]


@pytest.mark.parametrize("unit", ["%", "percent", "in", "mm"])
def test_a_limit_in_another_unit_is_refused(unit, study):
    """A rate of 33 % held against '10 %' must not read 0.33 at most 10."""
    edit(study / "plan.toml", 'unit = "fraction"', f'unit = "{unit}"')
    assert "plan.toml: criteria" in refused("check", study)

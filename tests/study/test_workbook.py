"""A study in a workbook comes back the same, and what is wrong in it is named by its place."""

import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from qualify.blocks.targets import KINDS
from qualify.errors import InputError
from qualify.raw_tables import read_workbook
from qualify.study.load import load_study
from qualify.study.sheets import all_sheets, sheet_of
from qualify.study.template import template_study, template_workbook
from qualify.study.workbook import WorkbookStudy, read_workbook_study, write_workbook

STUDY = template_study()
TEMPLATE = template_workbook()


def written(study: WorkbookStudy) -> bytes:
    return write_workbook(
        study.plan, study.declaration, study.blocks, study.sets, study.key, study.calls
    )


def read(content: bytes, folder: Path) -> WorkbookStudy:
    path = folder / "study.xlsx"
    path.write_bytes(content)
    return read_workbook_study(read_workbook(path, "study.xlsx"), "study.xlsx")


def changed(change: Callable[[Workbook], None]) -> bytes:
    """Return the template's workbook after `change`, as a spreadsheet program saves it."""
    book = openpyxl.load_workbook(io.BytesIO(TEMPLATE))
    change(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def cell(page: Worksheet, column: str, row: int) -> Any:
    titles = [head.value for head in page[1]]
    return page.cell(row, titles.index(column) + 1)


def key_cell(page: Worksheet, key: str) -> Any:
    row = next(i for i in range(2, page.max_row + 1) if page.cell(i, 1).value == key)
    return page.cell(row, 2)


def faults(content: bytes, folder: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(content, folder)
    return [str(fault) for fault in caught.value.faults]


def test_the_template_comes_back_the_same(tmp_path: Path) -> None:
    back = read(TEMPLATE, tmp_path)
    assert (back.plan, back.declaration) == (STUDY.plan, STUDY.declaration)
    assert (back.blocks, back.sets, back.key) == (STUDY.blocks, STUDY.sets, STUDY.key)
    assert [c.row for c in back.calls] == [c.row for c in STUDY.calls]
    assert back.calls[3].place == "study.xlsx: sheet 'calls': row 5"
    assert read(written(back), tmp_path) == back


def test_the_template_loads_as_a_study(tmp_path: Path) -> None:
    (tmp_path / "study.xlsx").write_bytes(TEMPLATE)
    inputs = load_study(tmp_path / "study.xlsx")
    assert len(inputs.calls) == len(STUDY.calls) == 12


def test_two_writes_give_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    import openpyxl.writer.excel as excel

    class Later(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:
            return datetime(2031, 5, 17, 3, 4, 5, tzinfo=tz)

    monkeypatch.setattr(excel.datetime, "datetime", Later)
    assert template_workbook() == TEMPLATE


TEXTS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn")), min_size=1, max_size=30
).filter(str.strip)
AWKWARD = st.sampled_from(
    ["=1+1", "#N/A", "007", "1.10", "2026-03-01", "true", "-", "'quoted'", "Ø 2,5 µm; “ß”", "a\nb"]
)
SIZES = st.floats(min_value=5e-324, max_value=1e300, allow_subnormal=True)


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    texts=st.lists(TEXTS | AWKWARD, min_size=6, max_size=6),
    x_mm=st.floats(allow_nan=False, allow_infinity=False),
    size_mm=SIZES,
    day=st.dates(),
    again=st.booleans(),
)
def test_texts_numbers_and_days_come_back_to_the_last_digit(
    tmp_path: Path, texts: list[str], x_mm: float, size_mm: float, day: date, again: bool
) -> None:
    call = STUDY.calls[1]
    row = call.row.model_copy(
        update={"x_mm": x_mm, "size_mm": size_mm, "read_on": day, "comment": texts[0].strip()}
    )
    limits = tuple(text.strip() for text in texts[1:3])
    scope = STUDY.declaration.scope.model_copy(update={"surface": texts[3].strip()})
    update = {"limitations": limits, "scope": scope, "title": texts[4].strip()}
    update |= {"trial_from": day, "trial_until": day}
    study = WorkbookStudy(
        STUDY.plan,
        STUDY.declaration.model_copy(update=update),
        STUDY.blocks,
        STUDY.sets,
        STUDY.key,
        [type(call)(row, "a.csv", None, 2, again)],
    )
    back = read(written(study), tmp_path)
    assert back.declaration == study.declaration
    assert back.calls[0].row == row
    assert repr(back.calls[0].row.x_mm) == repr(x_mm)  # bit by bit, the sign of zero too
    assert back.calls[0].re_reading is again


def test_a_number_needs_all_of_its_digits(tmp_path: Path) -> None:
    call = STUDY.calls[1]
    row = call.row.model_copy(update={"x_mm": 0.1 + 0.2})  # 16 digits would give 0.3
    calls = [type(call)(row, "a.csv", None, 2, False)]
    study = WorkbookStudy(STUDY.plan, STUDY.declaration, STUDY.blocks, (), (), calls)
    assert read(written(study), tmp_path).calls[0].row.x_mm == 0.1 + 0.2


def test_a_text_that_a_workbook_cannot_hold_is_refused() -> None:
    declaration = STUDY.declaration.model_copy(update={"title": "bell \x07"})
    with pytest.raises(InputError, match="study: title: holds"):
        write_workbook(STUDY.plan, declaration, (), (), (), ())
    long = STUDY.declaration.model_copy(update={"limitations": ("x" * 32768,)})
    with pytest.raises(InputError, match="limitations: row 2: text: holds 32768 characters"):
        write_workbook(STUDY.plan, long, (), (), (), ())


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        *[("yes", True), ("No", False), ("TRUE", True), ("false", False), ("0", False)],
        *[(1, True), (0, False), (1.0, True), (True, True), (False, False)],
    ],
)
def test_yes_and_no_in_all_spellings(tmp_path: Path, typed: Any, wanted: bool) -> None:
    def type_it(book: Workbook) -> None:
        cell(book["key"], "flipped", 2).value = typed

    assert read(changed(type_it), tmp_path).key[0].flipped is wanted


def test_what_spreadsheet_programs_make_of_texts_and_days(tmp_path: Path) -> None:
    def type_it(book: Workbook) -> None:
        cell(book["software"], "revision", 2).value = 2.4
        cell(book["software"], "revision", 3).value = 3
        cell(book["equipment"], "serial", 2).value = date(2026, 3, 1)
        cell(book["equipment"], "checked_on", 2).value = "2026-03-05"
        key_cell(book["plan"], "frozen_on").value = date(2026, 3, 3)
        cell(book["calls"], "x_mm", 3).value = "90.25"

    back = read(changed(type_it), tmp_path)
    assert [row.revision for row in back.declaration.software[:2]] == ["2.4", "3"]
    assert back.declaration.equipment[0].serial == "2026-03-01"
    assert back.declaration.equipment[0].checked_on == date(2026, 3, 5)
    assert back.plan.frozen_on == date(2026, 3, 3)
    assert back.calls[1].row.x_mm == 90.25


def test_optional_lists_may_be_empty_or_absent_and_own_notes_are_skipped(tmp_path: Path) -> None:
    def thin_out(book: Workbook) -> None:
        book["remedies"].delete_rows(2, 5)
        del book["worst cases"], book["transfer"], book["limitations"]
        for column in ("nominal", "measured", "u", "U", "k", "tolerance", "method"):
            titles = [head.value for head in book["targets"][1]]
            place = titles.index(f"areal_fraction.{column}") + 1
            book["targets"].delete_cols(place)
        book.create_sheet("read me too")["A1"] = "a note"
        key_cell(book["plan"], "matching.y_mm").value = None

    back = read(changed(thin_out), tmp_path)
    declared = back.declaration
    assert (declared.remedies, declared.worst_cases, declared.transfer) == ((), (), ())
    assert back.blocks == STUDY.blocks


def test_before_the_trial_there_are_no_calls(tmp_path: Path) -> None:
    empty = WorkbookStudy(STUDY.plan, STUDY.declaration, (), (), (), ())
    assert read(written(empty), tmp_path) == empty


WRONG: list[tuple[str, str, int, Any, str]] = [
    ("calls", "unit", 4, "three", "row 4: unit: found 'three'"),
    ("calls", "verdict", 4, "found", "row 4: verdict: found 'found'"),
    ("calls", "verdict", 3, "nothing_found", "row 3: verdict 'nothing_found' with a position"),
    ("calls", "x_mm", 3, date(2026, 5, 1), "row 3: x_mm: found the date or time 2026-05-01"),
    ("calls", "x_mm", 3, True, "row 3: x_mm: found TRUE; give a number"),
    ("calls", "x_mm", 3, "90,6", "row 3: x_mm: found '90,6'"),
    ("calls", "read_on", 3, "46091", "row 3: read_on: found '46091'; give a day"),
    ("calls", "read_on", 3, "10.3.26", "row 3: read_on: found '10.3.26'; give a day"),
    ("calls", "re_reading", 3, "perhaps", "row 3: re_reading: found 'perhaps'; give yes or no"),
    ("calls", "reader", 3, None, "row 3: reader: is missing"),
    ("key", "flipped", 2, 2, "row 2: flipped: found 2; give yes or no"),
    ("targets", "diameter_mm.measured", 2, "?", "row 2: diameter_mm.measured: found '?'"),
    ("targets", "diameter_mm.nominal", 2, None, "row 2: diameter_mm.nominal: is missing"),
    ("targets", "diameter_mm.U", 2, 0.1, "row 2: diameter_mm: U and k belong together"),
    ("targets", "height_mm.nominal", 2, 3.0, "row 2: height_mm.nominal: found '3', but a side-"),
    ("targets", "kind", 2, "crack", "row 2: kind: found 'crack'; give one of side_drilled_hole"),
    ("targets", "block", 3, "EX-02", "row 3: block: found 'EX-02'; give the id of a block"),
    ("grading units", "x_to_mm", 5, None, "row 5: x_to_mm: is missing"),
    ("blocks", "outline.length_mm", 2, -1, "row 2: outline.length_mm: found -1"),
    ("criteria", "statistic", 2, "pod", "row 2: statistic: found 'pod'"),
    ("criteria", "population", 2, None, "row 2: criterion C1 (a90_95) names no kind"),
    ("limitations", "text", 2, False, "row 2: text: found FALSE"),
]


@pytest.mark.parametrize(("sheet", "column", "row", "typed", "message"), WRONG)
def test_a_wrong_cell_is_named_by_sheet_row_and_column(
    tmp_path: Path, sheet: str, column: str, row: int, typed: Any, message: str
) -> None:
    def type_it(book: Workbook) -> None:
        cell(book[sheet], column, row).value = typed

    found = faults(changed(type_it), tmp_path)
    assert len(found) == 1, found
    assert found[0].startswith(f"study.xlsx: sheet '{sheet}': {message}")


def test_faults_of_keys_are_named_by_sheet_row_and_key(tmp_path: Path) -> None:
    def type_it(book: Workbook) -> None:
        plan = book["plan"]
        key_cell(plan, "claim.question").value = None
        key_cell(plan, "matching.x_mm").value = -4
        last = plan.max_row
        plan.cell(last + 1, 1).value, plan.cell(last + 1, 2).value = "claim.price", 3
        plan.cell(last + 2, 1).value, plan.cell(last + 2, 2).value = "revision", "2"
        plan.cell(last + 3, 2).value = "stray"

    book = openpyxl.load_workbook(io.BytesIO(TEMPLATE))
    rows = {row[0].value: row[0].row for row in book["plan"].iter_rows()}
    last = book["plan"].max_row
    found = faults(changed(type_it), tmp_path)
    place = "study.xlsx: sheet 'plan': row"
    wanted = [
        f"{place} {last + 1}: claim.price: is not a known key",
        f"{place} {last + 2}: revision: stands twice, first in row {rows['revision']}",
        f"{place} {last + 3}: a row without key",
        f"{place} {rows['claim.question']}: claim.question: is missing",
        f"{place} {rows['matching.x_mm']}: matching.x_mm: found -4",
    ]
    assert len(found) == len(wanted)
    for line in wanted:
        assert sum(message.startswith(line) for message in found) == 1, (line, found)


def test_missing_and_unknown_sheets_and_columns(tmp_path: Path) -> None:
    def spoil(book: Workbook) -> None:
        del book["modes"], book["key"]
        book["populations"].delete_rows(2, 9)
        book.create_sheet("costs")["A1"] = "price"
        cell(book["sets"], "from_date", 1).value = "since"

    found = faults(changed(spoil), tmp_path)
    for line in (
        "sheet 'costs': is not a known sheet",
        "sheet 'modes': is missing or empty",
        "sheet 'key': is missing or empty",
        "sheet 'populations': has a header but no rows",
        "sheet 'sets': row 1: from_date: the column is missing",
        "sheet 'sets': row 1: since: is not a known column",
    ):
        assert sum(message.startswith(f"study.xlsx: {line}") for message in found) == 1, found
    assert len(found) == 6, found


def test_a_fault_between_sheets_names_the_plan(tmp_path: Path) -> None:
    def type_it(book: Workbook) -> None:
        key_cell(book["plan"], "claim.candidate_mode").value = "other"

    found = faults(changed(type_it), tmp_path)
    assert found == [
        "study.xlsx: sheet 'plan': mode 'other' is named but not listed; the modes are new"
    ]


def test_two_blocks_of_one_id_are_refused(tmp_path: Path) -> None:
    twice = WorkbookStudy(STUDY.plan, STUDY.declaration, STUDY.blocks * 2, (), (), ())
    assert "study.xlsx: sheet 'blocks': row 3: id: 'EX-01' stands twice" in "\n".join(
        faults(written(twice), tmp_path)
    )


@contextmanager
def opened(content: bytes) -> Iterator[Workbook]:
    yield openpyxl.load_workbook(io.BytesIO(content))


def test_every_column_is_explained_and_choices_drop_down() -> None:
    with opened(TEMPLATE) as book:
        assert book.sheetnames == ["read me", *(sheet.title for sheet in all_sheets())]
        for sheet in all_sheets():
            page = book[sheet.title]
            assert all(column.description for column in sheet.columns), sheet.title
            lists = [g for g in page.data_validations.dataValidation if g.type == "list"]
            assert len(lists) == sum(column.choices is not None for column in sheet.columns)
            if sheet.keyed:
                continue
            for head, column in zip(page[1], sheet.columns, strict=True):
                assert head.comment.text.startswith(column.description)
                assert head.font.bold
                assert head.font.italic is not column.required
            assert page.freeze_panes.endswith("2")


def test_the_kinds_of_target_on_the_list_are_all_kinds() -> None:
    kind = next(column for column in sheet_of("targets").columns if column.name == "kind")
    assert set(kind.choices or ()) == set(KINDS)


def test_a_day_that_lost_its_format_is_a_fault_and_no_guess(tmp_path: Path) -> None:
    def type_it(book: Workbook) -> None:
        spoilt = cell(book["sets"], "from_date", 2)
        spoilt.value, spoilt.number_format = 46091, "General"

    assert faults(changed(type_it), tmp_path) == [
        "study.xlsx: sheet 'sets': row 2: from_date: found 46091; give a day, as 2026-03-31"
    ]

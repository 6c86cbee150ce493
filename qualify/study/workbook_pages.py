"""Writing the study workbook: a sheet for each list, explained cell by cell.

The bytes depend on the study alone: no clock, and the archive carries fixed dates.
"""

import io
import re
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from math import ceil
from typing import Any

from openpyxl import Workbook
from openpyxl.cell.cell import Cell
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from qualify.blocks.definition import Block
from qualify.errors import Fault, InputError
from qualify.reading.call_sheet import Call
from qualify.reading.key import KeyRow, SetRow
from qualify.study.declaration import Declaration
from qualify.study.flat import Column, flatten
from qualify.study.plan import Plan
from qualify.study.read_me import LEGEND, read_me_lines
from qualify.study.sheets import Sheet, all_sheets

FIRST_DAY = date(1901, 1, 1)
"""Earlier days are written as text: spreadsheet programs disagree about them."""
LONGEST_TEXT = 32767
LONGEST_MESSAGE = 255
FORBIDDEN = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff\ud800-\udfff]|_x[0-9A-Fa-f]{4}_")
FORMATS = {"text": "@", "choice": "@", "yes or no": "@", "date": "yyyy-mm-dd"}
ROWS_READY = {"calls": 20000, "targets": 2000, "grading units": 2000, "sets": 4000}
DARK, PALE, INK = "1F3A4D", "E3E9ED", "111111"
Rows = Sequence[Mapping[str, Any]]


def write_workbook(
    plan: Plan,
    declaration: Declaration,
    blocks: Sequence[Block],
    sets: Sequence[SetRow],
    key: Sequence[KeyRow],
    calls: Sequence[Call],
) -> bytes:
    """Return the workbook of a study; the same study gives the same bytes.

    Raises
    ------
    InputError : naming each text that a workbook can't hold (control characters, or longer
        than 32767 characters).
    """
    rows = {
        "blocks": [flatten(block) for block in blocks],
        "grading units": _of_blocks(blocks, "grading_units"),
        "targets": _of_blocks(blocks, "targets"),
        "sets": [flatten(row) for row in sets],
        "key": [flatten(row) for row in key],
        "calls": [{**flatten(call.row), "re_reading": call.re_reading} for call in calls],
    }
    book = Workbook()
    front = book.active
    assert isinstance(front, Worksheet)
    _write_read_me(front)
    faults: list[Fault] = []
    for sheet in all_sheets():
        page = book.create_sheet(sheet.title)
        part = plan if sheet.part == "plan" else declaration
        if sheet.keyed:
            faults += _write_keyed(page, sheet, flatten(part))
        else:
            held = rows[sheet.title] if sheet.part == "data" else _of_list(part, sheet)
            faults += _write_table(page, sheet, held)
        _set_paper(page)
    if faults:
        raise InputError(faults)
    return _fixed_bytes(book)


def _of_blocks(blocks: Sequence[Block], name: str) -> Rows:
    return [{"block": b.id, **flatten(item)} for b in blocks for item in getattr(b, name)]


def _of_list(part: Plan | Declaration, sheet: Sheet) -> Rows:
    items = getattr(part, sheet.field)
    return [{"text": item} if isinstance(item, str) else flatten(item) for item in items]


def _write_read_me(page: Worksheet) -> None:
    page.title = "read me"
    page.column_dimensions["A"].width = 110
    for number, (style, line) in enumerate(read_me_lines(), start=1):
        cell = _at(page, number, 1)
        _put(cell, line)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        _set_height(page, number, [(line, 110)])
        if style == "title":
            cell.font = _bold(cell, size=14)
            page.row_dimensions[number].height = 22
        elif style == "heading":
            cell.font = _bold(cell)
        elif style in LEGEND:
            _set_header(cell, required=style == "required")
    page.sheet_view.showGridLines = False
    _set_paper(page)


def _write_keyed(page: Worksheet, sheet: Sheet, cells: Mapping[str, Any]) -> list[Fault]:
    faults = []
    for number, (title, width) in enumerate((("key", 34), ("value", 60), ("what it means", 80))):
        head = _at(page, 1, number + 1)
        _put(head, title)
        _set_header(head, required=number < 2)
        page.column_dimensions[get_column_letter(number + 1)].width = width
    for number, column in enumerate(sheet.columns, start=2):
        name, value, meaning = (_at(page, number, i) for i in (1, 2, 3))
        _put(name, column.name)
        _set_header(name, required=column.required)
        _put(meaning, column.description)
        faults += _fill(value, column, cells.get(column.name), f"{sheet.title}: {column.name}")
        value.alignment = Alignment(wrap_text=True, vertical="top", horizontal="left")
        meaning.alignment = Alignment(wrap_text=True, vertical="top")
        _set_height(page, number, [(cells.get(column.name), 60), (column.description, 80)])
        _guide(page, column, f"B{number}")
    page.freeze_panes = "B2"
    return faults


def _write_table(page: Worksheet, sheet: Sheet, rows: Rows) -> list[Fault]:
    faults = []
    last = max(ROWS_READY.get(sheet.title, 500), 2 * len(rows)) + 1
    for number, column in enumerate(sheet.columns, start=1):
        letter = get_column_letter(number)
        head = _at(page, 1, number)
        _put(head, column.name)
        _set_header(head, required=column.required)
        head.comment = _comment(column)
        dimension = page.column_dimensions[letter]
        dimension.width = _width(column, [row.get(column.name) for row in rows])
        dimension.number_format = FORMATS.get(column.wants, "General")
        _guide(page, column, f"{letter}2:{letter}{last}")
        for line, row in enumerate(rows, start=2):
            place = f"{sheet.title}: row {line}: {column.name}"
            faults += _fill(_at(page, line, number), column, row.get(column.name), place)
    widths = [
        page.column_dimensions[get_column_letter(i + 1)].width for i in range(len(sheet.columns))
    ]
    for line, row in enumerate(rows, start=2):
        held = (row.get(column.name) for column in sheet.columns)
        _set_height(page, line, list(zip(held, widths, strict=True)))
    first_free = 4 if sheet.title == "targets" else 2
    page.freeze_panes = f"{get_column_letter(first_free) if len(sheet.columns) > 3 else 'A'}2"
    return faults


def _at(page: Worksheet, row: int, column: int) -> Cell:
    cell = page.cell(row, column)
    assert isinstance(cell, Cell)
    return cell


def _fill(cell: Cell, column: Column, value: Any, place: str) -> list[Fault]:
    """Write a value with its format; return a fault if a workbook can't hold it."""
    cell.number_format = FORMATS.get(column.wants, "General")
    cell.alignment = Alignment(wrap_text=column.wants in ("text", "choice"), vertical="top")
    if isinstance(value, str):
        odd = FORBIDDEN.search(value)
        if odd or len(value) > LONGEST_TEXT:
            found = f"holds {odd[0]!r}" if odd else f"holds {len(value)} characters"
            return [Fault(place, found, "change the text; a workbook can't hold it")]
    if value is not None:
        _put(cell, value)
    return []


def _put(cell: Cell, value: Any) -> None:
    """Write a value so that it reads back the same.

    Texts stay texts even where they look like formulas; numbers are written with all the
    digits that tell them apart (17 where needed).
    """
    if isinstance(value, bool):
        value = "yes" if value else "no"
    if isinstance(value, date) and value < FIRST_DAY:
        value = value.isoformat()
    if isinstance(value, float):
        cell.value = repr(value)
        cell.data_type = "n"
        return
    cell.value = value
    if isinstance(value, str):
        cell.data_type = "s"
        cell.quotePrefix = value[:1] in ("=", "+", "-", "@", "'")


def _set_height(page: Worksheet, row: int, held: Sequence[tuple[Any, float]]) -> None:
    """Make a row as high as its longest wrapped text; not every program does so by itself."""
    lines = max(ceil(len(str(value)) / (width - 1)) for value, width in held if value is not None)
    if lines > 1:
        page.row_dimensions[row].height = 15 * lines


def _bold(cell: Cell, *, color: str = INK, italic: bool = False, size: float = 11) -> Font:
    return Font(name=cell.font.name, bold=True, color=color, italic=italic, size=size)


def _set_header(cell: Cell, *, required: bool) -> None:
    cell.font = _bold(cell, color="FFFFFF" if required else INK, italic=not required)
    cell.fill = PatternFill("solid", fgColor=DARK if required else PALE)
    cell.alignment = Alignment(vertical="top", wrap_text=False)
    cell.border = Border(right=Side(style="thin", color="FFFFFF"))


def _comment(column: Column) -> Comment:
    lines = [column.description, "Required." if column.required else "May stay empty."]
    if column.choices:
        lines.append(f"One of: {', '.join(column.choices)}.")
    text = "\n".join(lines)
    return Comment(text, "qualify", height=40 + 18 * (1 + len(text) // 38), width=300)


def _width(column: Column, values: Iterable[Any]) -> float:
    longest = max((len(str(value)) for value in values if value is not None), default=0)
    return max(len(column.name) + 3, min(longest + 2, 46), 12)


def _guide(page: Worksheet, column: Column, cells: str) -> None:
    """Lay a message, and where only some values may stand a drop-down list, on cells."""
    guide = DataValidation(allow_blank=True, showInputMessage=True)
    guide.promptTitle = column.name[:32]
    guide.prompt = _short(column.description or column.wants)
    if column.choices:
        guide.type = "list"
        guide.formula1 = f'"{",".join(column.choices)}"'
        assert len(guide.formula1) <= LONGEST_MESSAGE, column.name
        guide.showErrorMessage = True
        guide.errorStyle = "warning" if column.wants == "yes or no" else "stop"
        guide.error = _short(f"One of: {', '.join(column.choices)}")
    guide.add(cells)
    page.add_data_validation(guide)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_MESSAGE else text[: LONGEST_MESSAGE - 1] + "…"


def _set_paper(page: Worksheet) -> None:
    page.page_setup.orientation = "landscape"
    page.page_setup.paperSize = 9  # A4
    page.page_setup.fitToWidth, page.page_setup.fitToHeight = 1, 0
    page.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)


def _fixed_bytes(book: Workbook) -> bytes:
    """Save a workbook without the clock: fixed dates in its properties and its archive."""
    stamp = datetime(2000, 1, 1)  # noqa: DTZ001  (the format has no time zones)
    book.properties.creator = "qualify"
    book.properties.created = stamp
    raw, out = io.BytesIO(), io.BytesIO()
    book.save(raw)
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(out, "w") as target:
        for name in sorted(source.namelist(), key=lambda n: (n != "[Content_Types].xml", n)):
            content = source.read(name)
            if name == "docProps/core.xml":
                content = re.sub(
                    rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", content
                )
            elif name == "docProps/app.xml":
                content = re.sub(rb"(<Application>)[^<]*", rb"\g<1>qualify", content)
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, 3
            target.writestr(entry, content)
    return out.getvalue()

"""Tables as they stand in files: CSV and `.xlsx`, each row with its number."""

import csv
import io
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from qualify.errors import Fault, InputError, refuse
from qualify.files import faults_of, read_bytes, read_text

Cell = Any
Model = TypeVar("Model", bound=BaseModel)


@dataclass(frozen=True, slots=True)
class RawRow:
    """One row of a table as it stands in the file; `number` counts from 1, header included."""

    number: int
    cells: Mapping[str, Cell]


@dataclass(frozen=True, slots=True)
class RawTable:
    """A table as read: `file` is its name for messages, `sheet` is None for a CSV file."""

    file: str
    sheet: str | None
    columns: Sequence[str]
    rows: Sequence[RawRow]

    @property
    def place(self) -> str:
        """File and sheet as they are named in messages."""
        return self.file if self.sheet is None else f"{self.file}: sheet '{self.sheet}'"


def read_table(path: Path, name: str | None = None, sheet: str | None = None) -> RawTable:
    """Read a CSV file (comma, UTF-8) or one sheet of an `.xlsx` workbook.

    The first row holds the column names. Empty rows are skipped, their numbers kept. An
    empty cell is an absent key. Raises `InputError` for an empty file, double or empty
    column names, rows longer than the header, and fields separated by semicolons.
    """
    name = name or str(path)
    if path.suffix.lower() == ".xlsx":
        return read_workbook(path, name, only=sheet)[0]
    text = read_text(path, name)
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except csv.Error as error:
        raise refuse(name, f"is not CSV: {error}", "mend the quotes") from None
    if len(lines[0]) == 1 and ";" in lines[0][0]:
        wanted = "save it as .xlsx, or with decimal points and commas between fields"
        raise refuse(f"{name}: row 1", "fields separated by semicolons", wanted)
    return _table(name, None, lines)


def read_workbook(path: Path, name: str | None = None, only: str | None = None) -> list[RawTable]:
    """Read the sheets of an `.xlsx` workbook as tables; `only` names one sheet.

    Without `only`, empty sheets and sheets whose name starts with 'read me' are skipped.
    """
    import openpyxl

    name = name or str(path)
    content = read_bytes(path, name)
    try:
        book = openpyxl.load_workbook(io.BytesIO(content), read_only=False, data_only=True)
    except (zipfile.BadZipFile, KeyError, ValueError, OSError):
        raise refuse(name, "is not an .xlsx workbook", "save it as .xlsx") from None
    names = book.sheetnames
    if only is not None and only not in names:
        raise refuse(name, f"has no sheet '{only}'", f"it has {', '.join(names)}")
    wanted = [only] if only else [n for n in names if not n.lower().startswith("read me")]
    tables = []
    for title in wanted:
        lines = [list(row) for row in book[title].iter_rows(values_only=True)]
        if any(_filled(cell) for line in lines for cell in line):
            tables.append(_table(name, title, lines))
    if not tables:
        raise refuse(name, "no sheet has any content", "fill in the sheets")
    return tables


def _filled(cell: Cell) -> bool:
    return cell is not None and (not isinstance(cell, str) or cell.strip() != "")


def _table(file: str, sheet: str | None, lines: Sequence[Sequence[Cell]]) -> RawTable:
    place = file if sheet is None else f"{file}: sheet '{sheet}'"
    header = [str(cell).strip() if _filled(cell) else "" for cell in lines[0]]
    while header and not header[-1]:
        header.pop()
    faults = [
        Fault(f"{place}: row 1", f"column {i} has no name", "name every column")
        for i, column in enumerate(header, start=1)
        if not column
    ]
    faults += [
        Fault(f"{place}: row 1", f"column '{c}' stands twice", "keep one of them")
        for c in sorted({c for c in header if c and header.count(c) > 1})
    ]
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(_filled(cell) for cell in line):
            continue
        if len(line) > len(lines[0]) or any(_filled(cell) for cell in line[len(header) :]):
            faults.append(
                Fault(
                    f"{place}: row {number}",
                    f"{len(line)} cells under {len(header)} columns",
                    "one cell for each column (a decimal comma splits a number in two)",
                )
            )
        cells = {
            column: cell.strip() if isinstance(cell, str) else cell
            for column, cell in zip(header, line, strict=False)
            if _filled(cell)
        }
        rows.append(RawRow(number, cells))
    if faults:
        raise InputError(faults)
    return RawTable(file, sheet, tuple(header), tuple(rows))


def parse_rows(
    table: RawTable, model: type[Model], *, allow_extra: bool = False
) -> list[tuple[int, Model]]:
    """Return (row number, row) for each row, validated; all faults of the table in one go.

    A missing required column, an unknown column, and a table without rows are faults.
    """
    fields = model.model_fields
    required = [name for name, field in fields.items() if field.is_required()]
    faults = [
        Fault(
            f"{table.place}: row 1",
            f"column '{name}' is missing",
            f"the columns are {', '.join(fields)}",
        )
        for name in required
        if name not in table.columns
    ]
    if not allow_extra:
        faults += [
            Fault(
                f"{table.place}: row 1",
                f"column '{name}' is not known",
                f"the columns are {', '.join(fields)}",
            )
            for name in table.columns
            if name not in fields
        ]
    if faults:
        raise InputError(faults)
    if not table.rows:
        raise refuse(table.place, "has a header but no rows", "give at least one row")
    parsed = []
    for row in table.rows:
        cells = {k: v for k, v in row.cells.items() if k in fields}
        try:
            parsed.append((row.number, model.model_validate(cells)))
        except ValidationError as error:
            faults += faults_of(error, f"{table.place}: row {row.number}")
    if faults:
        raise InputError(faults)
    return parsed

"""A study in one workbook: from its sheets to plan, declaration, blocks, key and calls.

`write_workbook` (in `qualify.study.workbook_pages`) writes what this module reads; what is
written and read back is the same study, to the last digit.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from qualify.blocks.definition import Block, GradingUnit
from qualify.blocks.targets import KINDS
from qualify.errors import Fault, InputError
from qualify.files import faults_of
from qualify.raw_tables import RawTable
from qualify.reading.call_sheet import Call, CallRow
from qualify.reading.key import KeyRow, SetRow
from qualify.study.cells import as_wanted
from qualify.study.declaration import Declaration
from qualify.study.flat import columns_of, unflatten
from qualify.study.plan import Plan
from qualify.study.sheets import FIXED, Sheet, all_sheets, sheet_of
from qualify.study.workbook_pages import write_workbook

__all__ = ["WorkbookStudy", "read_workbook_study", "write_workbook"]

Model = TypeVar("Model", bound=BaseModel)
Cells = dict[str, Any]
KEY, VALUE, MEANING = "key", "value", "what it means"


@dataclass(frozen=True, slots=True)
class WorkbookStudy:
    """What a workbook holds; any of the sequences may be empty, e.g. before the trial."""

    plan: Plan
    declaration: Declaration
    blocks: Sequence[Block]
    sets: Sequence[SetRow]
    key: Sequence[KeyRow]
    calls: Sequence[Call]


@dataclass(slots=True)
class _Reading:
    """A workbook being read: its tables by sheet, and the faults found so far."""

    file: str
    tables: Mapping[str, RawTable]
    faults: list[Fault] = field(default_factory=list)

    def place(self, title: str) -> str:
        return f"{self.file}: sheet '{title}'"

    def blame(self, faults: Sequence[Fault]) -> None:
        """Take faults in, one for each place."""
        places = {fault.place for fault in self.faults}
        self.faults += [fault for fault in faults if fault.place not in places]


def read_workbook_study(tables: Sequence[RawTable], file: str) -> WorkbookStudy:
    """Read the study from the tables of a workbook (see `qualify.files.read_workbook`).

    Sheets of optional lists may be empty or absent. `file` is its name for messages.

    Raises
    ------
    InputError : with every fault: sheets missing or unknown, keys missing, unknown or double,
        values missing or wrong; each with its sheet, its row or key, and its column.
    """
    reading = _Reading(file, {table.sheet or "": table for table in tables})
    _check_titles(reading)
    plan = _whole(reading, Plan, "plan")
    declaration = _whole(reading, Declaration, "study")
    blocks = _blocks(reading)
    sets = _rows(reading, sheet_of("sets"), SetRow)
    key = _rows(reading, sheet_of("key"), KeyRow)
    calls = _calls(reading)
    if reading.faults or plan is None or declaration is None:
        raise InputError(reading.faults)
    return WorkbookStudy(
        plan,
        declaration,
        tuple(blocks),
        tuple(row for _, row in sets),
        tuple(row for _, row in key),
        tuple(calls),
    )


def _check_titles(reading: _Reading) -> None:
    known = [sheet.title for sheet in all_sheets()]
    for title in reading.tables:
        if title not in known:
            wanted = (
                f"the sheets are {', '.join(known)}; "
                "for notes of your own begin the name with 'read me'"
            )
            reading.blame([Fault(reading.place(title), "is not a known sheet", wanted)])
    for sheet in all_sheets():
        if sheet.must_exist and sheet.title not in reading.tables:
            reading.blame(
                [Fault(reading.place(sheet.title), "is missing or empty", f"give {sheet.what}")]
            )
        elif sheet.must_have_rows and not reading.tables[sheet.title].rows:
            reading.blame(
                [
                    Fault(
                        reading.place(sheet.title),
                        "has a header but no rows",
                        "give at least one row",
                    )
                ]
            )


def _whole(reading: _Reading, model: type[Model], title: str) -> Model | None:
    """Return plan or declaration from its key-and-value sheet and the sheets of its lists."""
    place = reading.place(title)
    lists = [sheet for sheet in all_sheets() if sheet.part == title and not sheet.keyed]
    before = len(reading.faults)
    items: Cells = {sheet.field: _list(reading, sheet) for sheet in lists}
    lists_are_whole = len(reading.faults) == before
    if title not in reading.tables:
        return None
    cells, numbers = _keyed_cells(reading, sheet_of(title))
    try:
        return model.model_validate({**unflatten(cells, model), **items})
    except ValidationError as error:
        for fault in faults_of(error, place):
            path = fault.place.removeprefix(place).removeprefix(": ")
            told_already = path.split(".")[0] in items or (path == "" and not lists_are_whole)
            if told_already and reading.faults:
                continue
            row = f"row {numbers[path]}: " if path in numbers else ""
            where = f"{place}: {row}{path}" if path else place
            reading.blame([Fault(where, fault.found, fault.wanted)])
        return None


def _list(reading: _Reading, sheet: Sheet) -> tuple[Any, ...]:
    if sheet.model is None:
        return tuple(cells.get("text") for _, cells in _cells(reading, sheet))
    return tuple(row for _, row in _rows(reading, sheet, sheet.model))


def _keyed_cells(reading: _Reading, sheet: Sheet) -> tuple[Cells, dict[str, int]]:
    """Return the filled values by key, and the row numbers of all keys."""
    table, place = reading.tables[sheet.title], reading.place(sheet.title)
    columns = {column.name: column for column in sheet.columns}
    cells: Cells = {}
    numbers: dict[str, int] = {}
    if not _has_columns(reading, table, required=(KEY, VALUE), known=(KEY, VALUE, MEANING)):
        return cells, numbers
    for row in table.rows:
        key, where = str(row.cells.get(KEY, "")), f"{place}: row {row.number}"
        if not key:
            fault = Fault(where, "a row without key", "write the key or empty the row")
        elif key not in columns:
            fault = Fault(f"{where}: {key}", "is not a known key", "check its spelling")
        elif key in numbers:
            found = f"stands twice, first in row {numbers[key]}"
            fault = Fault(f"{where}: {key}", found, "keep one of them")
        else:
            numbers[key] = row.number
            if VALUE in row.cells:
                value = as_wanted(columns[key], row.cells[VALUE], f"{where}: {key}")
                if not isinstance(value, Fault):
                    cells[key] = value
                    continue
                reading.blame([value])
            continue
        reading.blame([fault])
    return cells, numbers


def _has_columns(
    reading: _Reading, table: RawTable, *, required: Sequence[str], known: Sequence[str]
) -> bool:
    wanted, faults = f"the columns are {', '.join(known)}", []
    for name in required:
        if name not in table.columns:
            faults.append(Fault(f"{table.place}: row 1: {name}", "the column is missing", wanted))
    for name in table.columns:
        if name not in known:
            faults.append(Fault(f"{table.place}: row 1: {name}", "is not a known column", wanted))
    reading.blame(faults)
    return not faults


def _cells(reading: _Reading, sheet: Sheet) -> list[tuple[int, Cells]]:
    """Return (row number, filled cells) of a table, each as its column wants it."""
    table = reading.tables.get(sheet.title)
    if table is None:
        return []
    columns = {column.name: column for column in sheet.columns}
    required = [column.name for column in sheet.columns if column.required]
    if not _has_columns(reading, table, required=required, known=list(columns)):
        return []
    rows = []
    for row in table.rows:
        cells = {}
        for name, typed in row.cells.items():
            value = as_wanted(columns[name], typed, f"{table.place}: row {row.number}: {name}")
            if isinstance(value, Fault):
                reading.blame([value])
            else:
                cells[name] = value
        rows.append((row.number, cells))
    return rows


def _rows(reading: _Reading, sheet: Sheet, model: type[Model]) -> list[tuple[int, Model]]:
    """Return (row number, row) for each row that is right."""
    rows = []
    for number, cells in _cells(reading, sheet):
        row = _row(reading, f"{reading.place(sheet.title)}: row {number}", cells, model)
        if row is not None:
            rows.append((number, row))
    return rows


def _row(reading: _Reading, place: str, cells: Cells, model: type[Model]) -> Model | None:
    try:
        return model.model_validate(unflatten(cells, model))
    except ValidationError as error:
        reading.blame(faults_of(error, place))
        return None


def _calls(reading: _Reading) -> list[Call]:
    calls, sheet = [], sheet_of("calls")
    for number, cells in _cells(reading, sheet):
        again = bool(cells.pop("re_reading", False))
        place = f"{reading.place(sheet.title)}: row {number}"
        row = _row(reading, place, cells, CallRow)
        if row is not None:
            calls.append(Call(row, reading.file, sheet.title, number, again))
    return calls


def _blocks(reading: _Reading) -> list[Block]:
    rows = _cells(reading, sheet_of("blocks"))
    ids = [str(cells.get("id", "")) for _, cells in rows]
    place = reading.place("blocks")
    for (number, _), id_, before in zip(rows, ids, range(len(ids)), strict=True):
        if id_ in ids[:before]:
            where = f"{place}: row {number}: id"
            reading.blame([Fault(where, f"'{id_}' stands twice", "give every block its own id")])
    units = _by_block(reading, "grading units", ids)
    targets = _by_block(reading, "targets", ids)
    blocks = []
    for (number, cells), id_ in zip(rows, ids, strict=True):
        whole = {**unflatten(cells, Block), "format": FIXED}
        try:
            parts = {"grading_units": units[id_], "targets": targets[id_]}
            blocks.append(Block.model_validate({**whole, **parts}))
        except ValidationError as error:
            reading.blame(faults_of(error, f"{place}: row {number}"))
    return blocks


def _by_block(
    reading: _Reading, title: str, blocks: Sequence[str]
) -> dict[str, tuple[BaseModel, ...]]:
    """Return the rows of grading units or targets of each block."""
    held: dict[str, list[BaseModel]] = {block: [] for block in blocks}
    for number, cells in _cells(reading, sheet_of(title)):
        place = f"{reading.place(title)}: row {number}"
        block = str(cells.pop("block", ""))
        if not block:
            reading.blame([Fault(f"{place}: block", "is missing", "give a value")])
        elif block not in held:
            wanted = "give the id of a block in the sheet 'blocks'"
            reading.blame([Fault(f"{place}: block", f"found '{block}'", wanted)])
        row = (
            _target(reading, place, cells)
            if title == "targets"
            else _row(reading, place, cells, GradingUnit)
        )
        if row is not None and block in held:
            held[block].append(row)
    return {block: tuple(rows) for block, rows in held.items()}


def _target(reading: _Reading, place: str, cells: Cells) -> BaseModel | None:
    kind = cells.get("kind")
    if kind not in KINDS:
        found = "is missing" if kind is None else f"found '{kind}'"
        reading.blame([Fault(f"{place}: kind", found, f"give one of {', '.join(KINDS)}")])
        return None
    model = KINDS[str(kind)]
    own = [column.name for column in columns_of(model)]
    foreign = [name for name in cells if name not in own]
    for name in foreign:
        found = f"found '{cells[name]}', but a {model.kind_in_words} has no such value"
        reading.blame([Fault(f"{place}: {name}", found, "leave it empty or mend the kind")])
    return _row(reading, place, {n: v for n, v in cells.items() if n in own}, model)

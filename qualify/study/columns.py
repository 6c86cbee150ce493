"""Columns of a user's table read as sizes, counts, hits or names."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from qualify.errors import Fault, InputError, refuse
from qualify.raw_tables import Cell, RawRow, RawTable

Value = TypeVar("Value")
YES = {"1", "1.0", "true", "yes", "hit"}
NO = {"0", "0.0", "false", "no", "miss"}


def check_columns(table: RawTable, wanted: Sequence[str]) -> None:
    """Raise an `InputError` for columns that are not there and for a table without rows."""
    faults = [
        Fault(
            f"{table.place}: row 1",
            f"column '{column}' is missing",
            f"the columns are {', '.join(table.columns)}",
        )
        for column in wanted
        if column not in table.columns
    ]
    if faults:
        raise InputError(faults)
    if not table.rows:
        raise refuse(table.place, "has a header but no rows", "give at least one row")


def unit_of(table: RawTable, column: str, given: str | None) -> str:
    """Return the unit of a size column: mm where its name ends in `_mm`, else as given."""
    if given is not None:
        return given
    if column.endswith("_mm"):
        return "mm"
    raise refuse(
        f"{table.place}: column '{column}'",
        "its unit is not known (the name does not end in _mm)",
        "say --size-unit mm or --size-unit in",
    )


def cells(table: RawTable, column: str, read: Callable[[Cell], Value]) -> list[Value]:
    """Return a column through `read`, which says `found; wanted` in a ValueError."""
    values, faults = [], []
    for row in table.rows:
        try:
            values.append(read(_cell(row, column)))
        except ValueError as error:
            found, wanted = str(error).split("; ", 1)
            faults.append(Fault(f"{table.place}: row {row.number}: {column}", found, wanted))
    if faults:
        raise InputError(faults)
    return values


def _cell(row: RawRow, column: str) -> Cell:
    if column not in row.cells:
        msg = "the cell is empty; fill it in"
        raise ValueError(msg)
    return row.cells[column]


def number(cell: Cell) -> float:
    """Read a number above 0."""
    try:
        value = float(cell)
    except (TypeError, ValueError):
        hint = "write the decimal point as '.'" if "," in str(cell) else "give a number"
        msg = f"found {cell!r}; {hint}"
        raise ValueError(msg) from None
    if not value > 0 or value == float("inf"):
        msg = f"found {cell!r}; give a number above 0"
        raise ValueError(msg)
    return value


def count(cell: Cell) -> float:
    """Read a whole number, 0 or more."""
    try:
        value = float(cell)
    except (TypeError, ValueError):
        value = -1.0
    if value < 0 or value != int(value):
        msg = f"found {cell!r}; give a whole number, 0 or more"
        raise ValueError(msg)
    return value


def yes(cell: Cell) -> float:
    """Read yes or no as 1.0 or 0.0."""
    word = str(cell).strip().lower()
    if word in YES:
        return 1.0
    if word in NO:
        return 0.0
    msg = f"found {cell!r}; give 1/0, true/false, yes/no or hit/miss"
    raise ValueError(msg)


def text(cell: Cell) -> str:
    """Read a name."""
    return str(cell).strip()

"""Columns of a user's table read as sizes, counts, hits or names."""

from collections.abc import Callable, Sequence
from typing import TypeVar

from qualify.errors import Fault, InputError, refuse
from qualify.raw_tables import Cell, RawRow, RawTable

Value = TypeVar("Value")
YES = {"1", "1.0", "true", "yes", "y", "hit"}
NO = {"0", "0.0", "false", "no", "n", "miss"}
ENDINGS = {"_mm": "mm", "_in": "in", "_inch": "in", "_inches": "in"}
NOT_TAKEN = {"_um": "um", "_µm": "µm", "_micron": "um", "_microns": "um", "_cm": "cm", "_m": "m",
             "_mil": "mil", "_mils": "mil", "_thou": "thou"}  # fmt: skip


def check_columns(table: RawTable, wanted: Sequence[str]) -> None:
    """Raise an `InputError` for columns not there or named twice, and for a table without rows."""
    faults = [
        Fault(
            f"{table.place}: row 1",
            f"column '{column}' was given for two things",
            "give each its own column",
        )
        for column in dict.fromkeys(wanted)
        if wanted.count(column) > 1
    ]
    faults += [
        Fault(
            f"{table.place}: row 1",
            f"column '{column}' is missing",
            f"the columns are {', '.join(table.columns)}",
        )
        for column in dict.fromkeys(wanted)
        if column not in table.columns
    ]
    if faults:
        raise InputError(faults)
    if not table.rows:
        raise refuse(table.place, "has a header but no rows", "give at least one row")


def named_unit(column: str) -> str | None:
    """Return the unit that a column's name ends in: mm, in, one that is not taken, or None."""
    every = {**ENDINGS, **NOT_TAKEN}
    return next((u for end, u in every.items() if column.lower().endswith(end)), None)


def unit_of(table: RawTable, column: str, given: str | None) -> str:
    """Return the unit of a size column: that its name ends in, else as given.

    Raises
    ------
    InputError : name and given unit differ, or neither tells the unit.
    """
    named, place = named_unit(column), f"{table.place}: column '{column}'"
    if named in NOT_TAKEN.values():
        raise refuse(place, f"its name says {named}", "give sizes in mm or in inches")
    if named is not None and given is not None and named != given:
        raise refuse(
            place,
            f"its name says {named} and --size-unit says {given}",
            "leave --size-unit out, or rename the column if its name is wrong",
        )
    unit = given or named
    if unit is None:
        raise refuse(
            place,
            "its unit is not known (the name does not end in _mm, _in or _inch)",
            "say --size-unit mm or --size-unit in",
        )
    return unit


def same_unit(table: RawTable, column: str, beside: str) -> None:
    """Raise an `InputError` where the names of two columns end in different units."""
    one, other = named_unit(column), named_unit(beside)
    if one is not None and other is not None and one != other:
        raise refuse(
            f"{table.place}: column '{beside}'",
            f"its name says {other} and that of '{column}' says {one}",
            "give both in one unit",
        )


def cells(table: RawTable, column: str, read: Callable[[Cell], Value]) -> list[Value]:
    """Return a column through `read`, which says `found; wanted` in a ValueError.

    Raises
    ------
    InputError : with every cell of the column that can't be read.
    """
    faults: list[Fault] = []
    values = cells_or_none(table, column, read, faults)
    if faults:
        raise InputError(faults)
    return [value for value in values if value is not None]


def cells_or_none(
    table: RawTable, column: str, read: Callable[[Cell], Value], faults: list[Fault]
) -> list[Value | None]:
    """Return a column through `read`; a cell that can't be read is None and joins the faults."""
    values: list[Value | None] = []
    for row in table.rows:
        try:
            values.append(read(_cell(row, column)))
        except ValueError as error:
            found, wanted = str(error).split("; ", 1)
            faults.append(Fault(f"{table.place}: row {row.number}: {column}", found, wanted))
            values.append(None)
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


def not_negative(cell: Cell) -> float:
    """Read a number, 0 or more."""
    try:
        if float(cell) == 0.0:
            return 0.0
        return number(cell)
    except (TypeError, ValueError):
        msg = f"found {cell!r}; give a number, 0 or more"
        raise ValueError(msg) from None


def uncertainty(cell: Cell) -> float:
    """Read a standard uncertainty, 0 or more."""
    try:
        value = float(cell)
    except (TypeError, ValueError):
        hint = "write the decimal point as '.'" if "," in str(cell) else "give a number"
        msg = f"found {cell!r}; {hint}"
        raise ValueError(msg) from None
    if not 0.0 <= value < float("inf"):
        msg = f"found {cell!r}; give a standard uncertainty, 0 or more"
        raise ValueError(msg)
    return value


def count(cell: Cell) -> float:
    """Read a whole number, 0 or more."""
    value = _whole(cell)
    if value < 0:
        msg = f"found {cell!r}; give a whole number, 0 or more"
        raise ValueError(msg)
    return value


def one_or_more(cell: Cell) -> float:
    """Read a whole number, 1 or more."""
    value = _whole(cell)
    if value < 1:
        msg = f"found {cell!r}; give a whole number, 1 or more"
        raise ValueError(msg)
    return value


def _whole(cell: Cell) -> float:
    """Return a whole number, -1 for anything else."""
    try:
        value = float(cell)
    except (TypeError, ValueError):
        return -1.0
    return value if value.is_integer() else -1.0


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

"""The rows of a table of responses, read and checked for their unit."""

from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from qualify.errors import Fault, InputError, refuse
from qualify.pod.observations import Scale
from qualify.pod.responses import ResponseAxis
from qualify.raw_tables import Cell, RawTable
from qualify.study.answers_readings import TARGET_NAMES
from qualify.study.columns import cells_or_none, check_columns, number, text

Document = dict[str, Any]
ResponseUnit: TypeAlias = Literal["db", "linear", "coherence"]
Axes: TypeAlias = tuple[Scale, ResponseAxis]

UNITS: tuple[ResponseUnit, ...] = ("db", "linear", "coherence")
UNIT_WORDS: dict[str, str] = {
    "db": "decibels",
    "linear": "linear amplitude",
    "coherence": "coherence (0 to 1)",
}
SCALES: dict[str, tuple[Scale, ResponseAxis]] = {
    "log-log": ("log", "log"),
    "log-linear": ("log", "linear"),
    "linear-log": ("linear", "log"),
    "linear-linear": ("linear", "linear"),
    "log-logit": ("log", "logit"),
    "linear-logit": ("linear", "logit"),
}
USUAL_SCALE = {"db": "log-linear", "linear": "log-log"}
MOST_DB = 200.0  # of range: no receiver has more; common practice, no source
LEAST_RANGE, SIZES_RANGE = 3.0, 3.0  # amplitudes that span less, over sizes that span more


@dataclass(frozen=True, slots=True)
class ResponseColumns:
    """Columns and limits that `pod response` was told of; None where not told."""

    size: str
    response: str
    target: str | None = None
    reader: str | None = None
    floors: str | None = None
    ceilings: str | None = None
    floor: float | None = None
    ceiling: float | None = None

    def told(self) -> list[str]:
        """Return the columns that were told."""
        every = (self.size, self.response, self.target, self.reader, self.floors, self.ceilings)
        return [column for column in every if column is not None]


@dataclass(frozen=True, slots=True)
class ResponseRows:
    """Columns of one reader's rows; response is nan where the cell is empty."""

    size: np.ndarray
    response: np.ndarray
    floor: np.ndarray | None
    ceiling: np.ndarray | None
    targets: list[str] | None
    numbers: tuple[int, ...]


def finite(cell: Cell) -> float:
    """Read a number of any sign."""
    try:
        value = float(cell)
    except (TypeError, ValueError):
        hint = "write the decimal point as '.'" if "," in str(cell) else "give a number"
        message = f"found {cell!r}; {hint}"
        raise ValueError(message) from None
    if not np.isfinite(value):
        message = f"found {cell!r}; give a finite number, or leave the cell empty"
        raise ValueError(message)
    return value


def unit_of_response(table: RawTable, column: str, given: str | None) -> ResponseUnit:
    """Return the unit of responses: that its column's name ends in, else as given, else linear.

    Raises
    ------
    InputError : where name and given unit differ.
    """
    name = column.lower()
    named: ResponseUnit | None = None
    if name.endswith("_db"):
        named = "db"
    elif name == "coherence" or name.endswith("_coherence"):
        named = "coherence"
    told = next((unit for unit in UNITS if unit == given), None)
    if named is not None and told is not None and named != told:
        raise refuse(
            f"{table.place}: column '{column}'",
            f"its name says {UNIT_WORDS[named]} and --response-unit says {UNIT_WORDS[told]}",
            "leave --response-unit out, or rename the column if its name is wrong",
        )
    return told or named or "linear"


def same_unit(noise: str, response: str, unit: ResponseUnit) -> None:
    """Refuse peaks whose column does not tell the unit that the column of responses tells.

    Raises
    ------
    InputError : the names of the columns tell different units, or only one of them tells any.
    """
    names = [name.lower().endswith(("_db", "coherence")) for name in (noise, response)]
    if names[0] != names[1]:
        raise refuse(
            f"column '{noise}' of --noise",
            f"its name does not tell the unit that '{response}' tells ({UNIT_WORDS[unit]})",
            "rename it, or say --response-unit for both",
        )


def scale_of(unit: ResponseUnit, given: str | None, ceiling: bool, place: str) -> Axes:
    """Return the axes of size and response.

    Raises
    ------
    InputError : a coherence without a stated axis, or with an axis that ignores its ceiling; a
        logarithm of decibels; a logit of what is no coherence.
    """
    if given is None and unit == "coherence":
        found = "coherence is bounded by 1, and no axis is stated"
        wanted = "say --scale log-logit, or --scale log-linear with --ceiling where it saturates"
        raise refuse(place, found, wanted)
    chosen = given or USUAL_SCALE[unit]
    axes = SCALES[chosen]
    if unit == "db" and axes[1] != "linear":
        raise refuse(place, f"--scale {chosen} of decibels, which are a logarithm already",
                     "say --scale log-linear or linear-linear")  # fmt: skip
    if (unit == "coherence") != (axes[1] == "logit") and axes[1] != "linear":
        found = f"--scale {chosen} of a response in {UNIT_WORDS[unit]}"
        raise refuse(place, found, "logit is for coherence, log for linear amplitude")
    if unit == "coherence" and axes[1] == "linear" and not ceiling:
        raise refuse(place, f"--scale {chosen} of coherence without a ceiling",
                     "give --ceiling, where it saturates, or say --scale log-logit")  # fmt: skip
    return axes


def rows_by_reader(
    table: RawTable, columns: ResponseColumns, unit: ResponseUnit, axis: str
) -> dict[str, ResponseRows]:
    """Return the rows of each reader by name; all under one name without a reader column.

    Raises
    ------
    InputError : with every cell that can't be read or has no place on the axis.
    """
    check_columns(table, columns.told())
    faults: list[Fault] = []
    sizes = cells_or_none(table, columns.size, number, faults)
    responses = _maybe_empty(table, columns.response, faults)
    floors, ceilings = (
        None if name is None else _maybe_empty(table, name, faults)
        for name in (columns.floors, columns.ceilings)
    )
    names, targets = (
        None if name is None else cells_or_none(table, name, text, faults)
        for name in (columns.reader, columns.target)
    )
    faults += _out_of_unit(table, columns, unit, axis, responses, floors)
    if faults:
        raise InputError(faults)
    each = names or ["all"] * len(sizes)
    out = {}
    for name in sorted({n for n in each if n is not None}):
        rows = [i for i, other in enumerate(each) if other == name]
        out[name] = ResponseRows(
            np.array([sizes[i] for i in rows], dtype=float),
            np.array([responses[i] for i in rows]),
            _limits(floors, columns.floor, rows),
            _limits(ceilings, columns.ceiling, rows),
            None if targets is None else [str(targets[i]) for i in rows],
            tuple(table.rows[i].number for i in rows),
        )
    return out


def _limits(column: list[float] | None, one: float | None, rows: list[int]) -> np.ndarray | None:
    if column is not None:
        return np.array([column[i] for i in rows])
    return None if one is None else np.full(len(rows), one)


def _maybe_empty(table: RawTable, column: str, faults: list[Fault]) -> list[float]:
    """Return a column of numbers, nan where a cell is empty."""
    values = []
    for row in table.rows:
        value = np.nan
        if column in row.cells:
            try:
                value = finite(row.cells[column])
            except ValueError as error:
                found, wanted = str(error).split("; ", 1)
                faults.append(Fault(f"{table.place}: row {row.number}: {column}", found, wanted))
        values.append(float(value))
    return values


def _out_of_unit(
    table: RawTable,
    columns: ResponseColumns,
    unit: ResponseUnit,
    axis: str,
    responses: list[float],
    floors: list[float] | None,
) -> list[Fault]:
    """Tell of responses that are none in their unit, or have no place on the axis."""
    faults = []
    for i, (row, value) in enumerate(zip(table.rows, responses, strict=True)):
        place = f"{table.place}: row {row.number}: {columns.response}"
        low = columns.floor if floors is None else floors[i]
        if unit == "coherence" and (value < 0.0 or value > 1.0):
            faults.append(Fault(place, f"coherence {value:g}", "coherence runs from 0 to 1"))
        elif unit == "linear" and axis == "log" and value <= (0.0 if low is None else min(low, 0)):
            wanted = "an amplitude is above 0; say --response-unit db if these are decibels"
            faults.append(Fault(place, f"amplitude {value:g} has no logarithm", wanted))
    return faults


def suspicions(rows: ResponseRows, unit: ResponseUnit, *, stated: bool) -> list[Document]:
    """Return what the range of responses makes doubtful in their unit."""
    known = rows.response[np.isfinite(rows.response)]
    notices = []
    if not stated:
        words = (
            "The unit of response was not told: linear amplitude is assumed. Decibels, linear "
            "amplitude and coherence are different responses; say --response-unit."
        )
        notices.append({"code": "unit_assumed", "text": words})
    if known.size < 2:
        return notices
    low, high = float(known.min()), float(known.max())
    sizes = float(rows.size.max() / rows.size.min())
    if unit == "linear" and low > 0.0 and high > 10.0 and high / low < LEAST_RANGE < sizes:
        words = (
            f"Amplitudes run from {low:g} to {high:g} only, over sizes that span a factor of "
            f"{sizes:.1f}: are these decibels? Then say --response-unit db (our own rule, no "
            "source)."
        )
        notices.append({"code": "db_suspected", "text": words})
    if unit == "db" and high - low > MOST_DB:
        words = (
            f"Responses run over {high - low:.0f} dB, more than any receiver: are these linear "
            "amplitudes? (Common practice, no source.)"
        )
        notices.append({"code": "linear_suspected", "text": words})
    if unit == "db" and low >= 0.0 and high <= 1.0:
        words = "All responses lie from 0 to 1: are these coherences, and no decibels?"
        notices.append({"code": "coherence_suspected", "text": words})
    return notices


def unused_targets(table: RawTable, columns: ResponseColumns) -> list[Document]:
    """Tell of a column of targets that is not used although targets come more than once."""
    if columns.target is not None:
        return []
    name = next((c for c in table.columns if c.strip().lower() in TARGET_NAMES), None)
    if name is None:
        return []
    given = [(row.cells.get(columns.reader) if columns.reader else None, row.cells[name])
             for row in table.rows if name in row.cells]  # fmt: skip
    again = len(given) - len(set(given))
    if not again:
        return []
    words = (
        f"Column {name} is there and not used: {again} of {len(given)} rows are further responses "
        "of a target already counted. They are no further targets, and the bound is too small: "
        f"give --target {name}."
    )
    return [{"code": "repeated_targets", "text": words}]

"""The rows of a table of hits and misses, by reader, and how they were pooled."""

from dataclasses import dataclass
from typing import Any, TypeVar

from qualify.errors import Fault, InputError
from qualify.pod.size_uncertainty import TOO_ROUGH
from qualify.raw_tables import RawTable
from qualify.study.answers_told import counted, joined
from qualify.study.columns import cells_or_none, count, not_negative, number, one_or_more, text, yes

Document = dict[str, Any]
Value = TypeVar("Value")
READER_NAMES = {"reader", "readers", "inspector", "reader_id", "inspector_id"}
TARGET_NAMES = {"target", "target_id", "targets", "flaw", "flaw_id"}
MODE_NAMES = {"mode", "modes", "method", "technique", "procedure"}
SAME = "the same flaws read again are not more flaws, and the bound is too small"
FEWEST = 60  # as in `qualify.pod.notices`


@dataclass(frozen=True, slots=True)
class Columns:
    """Names of the columns that `pod hit-miss` was told of; None where not told."""

    size: str
    hit: str
    trials: str | None
    target: str | None
    reader: str | None
    covariate: str | None
    size_u: str | None = None

    def told(self) -> list[str]:
        """Return the columns that were told."""
        names = (self.trials, self.target, self.reader, self.covariate, self.size_u)
        every = (self.size, self.hit, *names)
        return [column for column in every if column is not None]


@dataclass(frozen=True, slots=True)
class Readings:
    """Columns of one reader's rows; covariate and targets as text."""

    size: list[float]
    hits: list[float]
    trials: list[float] | None
    covariate: list[str] | None
    targets: list[str] | None = None
    size_u: list[float] | None = None


def readings_by_reader(table: RawTable, columns: Columns) -> dict[str, Readings]:
    """Return the rows of each reader, by name; all under one name without a reader column.

    Raises
    ------
    InputError : with every cell that can't be read and every row with more hits than trials.
    """
    faults: list[Fault] = []
    grouped = columns.trials is not None
    sizes = cells_or_none(table, columns.size, number, faults)
    hits = cells_or_none(table, columns.hit, count if grouped else yes, faults)
    totals = None
    if columns.trials is not None:
        totals = cells_or_none(table, columns.trials, one_or_more, faults)
        faults += _too_many(table, columns.hit, hits, totals)
    others = [
        None if name is None else cells_or_none(table, name, text, faults)
        for name in (columns.reader, columns.covariate, columns.target)
    ]
    spreads = None
    if columns.size_u is not None:
        spreads = cells_or_none(table, columns.size_u, not_negative, faults)
    if faults:
        raise InputError(sorted(faults, key=lambda fault: _row(table, fault)))
    names = others[0] or ["all"] * len(sizes)
    out = {}
    for name in sorted({name for name in names if name is not None}):
        rows = [i for i, other in enumerate(names) if other == name]
        out[name] = Readings(
            _picked(sizes, rows),
            _picked(hits, rows),
            None if totals is None else _picked(totals, rows),
            None if others[1] is None else _picked(others[1], rows),
            None if others[2] is None else _picked(others[2], rows),
            None if spreads is None else _picked(spreads, rows),
        )
    return out


def check_uncertainties(table: RawTable, columns: Columns, *, log: bool) -> None:
    """Raise an `InputError` for every uncertainty of its size, on a log axis of half of it."""
    assert columns.size_u is not None
    faults = [
        Fault(
            f"{table.place}: row {row.number}: {columns.size_u}",
            f"an uncertainty of {u:g} of a size of {size:g}",
            "mend it (is it in micrometres?)" + ("" if u >= size else ", or take --scale linear"),
        )
        for row in table.rows
        for size, u in [(float(row.cells[columns.size]), float(row.cells[columns.size_u]))]
        if u >= (TOO_ROUGH if log else 1.0) * size
    ]
    if faults:
        raise InputError(faults)


def _picked(values: list[Value | None], rows: list[int]) -> list[Value]:
    return [value for i in rows if (value := values[i]) is not None]


def _row(table: RawTable, fault: Fault) -> int:
    return int(fault.place.removeprefix(f"{table.place}: row ").split(":", 1)[0])


def _too_many(
    table: RawTable, column: str, hits: list[float | None], totals: list[float | None]
) -> list[Fault]:
    return [
        Fault(
            f"{table.place}: row {row.number}: {column}",
            f"{counted(int(hit), 'hit')} of {counted(int(total), 'trial')}",
            "hits are at most as many as trials",
        )
        for row, hit, total in zip(table.rows, hits, totals, strict=True)
        if hit is not None and total is not None and hit > total
    ]


def pooling_notices(
    table: RawTable, columns: Columns, readers: dict[str, Readings]
) -> list[Document]:
    """Return what to know of rows that are counted as targets although they may be none."""
    found = [
        _alike_names(readers),
        _all_hit(readers),
        _unused_reader(table, columns),
        _unused_target(table, columns),
        _repeats(table, columns, readers),
        *(_grouped(mine) for mine in list(readers.values())[:1] if len(readers) == 1),
    ]
    return [notice for notice in found if notice is not None]


def _unused(table: RawTable, columns: Columns, names: set[str]) -> str | None:
    """Return a column that goes by one of the names and was not told of."""
    told = columns.told()
    return next(
        (c for c in table.columns if plain_name(c) in names and c not in told),
        None,
    )


def plain_name(column: str) -> str:
    """Return a column's name as lists of usual names have it."""
    return column.strip().lower().replace(" ", "_").replace("-", "_")


def _unused_reader(table: RawTable, columns: Columns) -> Document | None:
    if columns.reader is not None:
        return None
    column = _unused(table, columns, READER_NAMES)
    several = 0 if column is None else len({str(row.cells.get(column)) for row in table.rows})
    if column is None or several < 2:
        return None
    words = (
        f"Column {column} is there and not used: all rows are pooled as if each were another "
        f"target. It names {several}; if they looked at the same targets, these are not more "
        f"targets, and the bound is too small: give --reader {_quoted(column)}."
    )
    return {"code": "pooled_readers", "text": words}


def _unused_target(table: RawTable, columns: Columns) -> Document | None:
    """Tell of targets that are not used although readers share them."""
    if columns.reader is None or columns.target is not None or columns.trials is not None:
        return None
    column = _unused(table, columns, TARGET_NAMES)
    if column is None:
        return None
    words = (
        f"Column {column} is there and not used: with --target {_quoted(column)} sizes are held "
        "against each other by target, and all readers are told together."
    )
    return {"code": "unused_targets", "text": words}


def _all_hit(readers: dict[str, Readings]) -> Document | None:
    """Tell of readers, among several, who hit every target."""
    every = [name for name, mine in readers.items() if sum(mine.hits) == _looks(mine)]
    if not every or len(readers) == 1:
        return None
    words = (
        f"Every target was hit by {joined(every)}: whoever calls everything finds everything. See "
        "the false calls by the same rule before these hits count."
    )
    return {"code": "all_hit", "text": words}


def _looks(mine: Readings) -> float:
    return float(len(mine.size)) if mine.trials is None else sum(mine.trials)


def _alike_names(readers: dict[str, Readings]) -> Document | None:
    """Tell of names of readers that differ in capitals only."""
    by: dict[str, list[str]] = {}
    for name in readers:
        by.setdefault(name.casefold(), []).append(name)
    alike = [" and ".join(names) for names in by.values() if len(names) > 1]
    if not alike:
        return None
    words = f"Readers {'; '.join(alike)} differ in capitals only: if they are one, mend the table."
    return {"code": "alike_names", "text": words}


def _quoted(column: str) -> str:
    return f"'{column}'" if " " in column else column


def _repeats(table: RawTable, columns: Columns, readers: dict[str, Readings]) -> Document | None:
    """Tell of targets read more than once by one reader, named as an option or found by name."""
    column, unused = columns.target, ""
    if column is None:
        column = _unused(table, columns, TARGET_NAMES)
        unused = f"Column {column} is there and not used: "
    if column is None:
        return None
    pairs = [
        (row.cells.get(columns.reader) if columns.reader else None, str(row.cells[column]).strip())
        for row in table.rows
        if column in row.cells
    ]
    several = len(pairs) - len(set(pairs))
    if not several:
        return None
    are = "is a further reading" if several == 1 else "are further readings"
    of = " by the same reader" if len(readers) > 1 else ""
    remedy = (
        "Keep one reading of each target by each reader."
        if columns.reader is not None
        else "Give --reader, or keep one reading of each target."
    )
    mode = _unused(table, columns, MODE_NAMES)
    modes = set() if mode is None else {str(row.cells.get(mode)).strip() for row in table.rows}
    if len(modes) > 1:
        remedy += f" Column {mode} names {len(modes)}: keep the rows of one, or see compare."
    pooled = "all rows are pooled as if each were another target. " if unused else ""
    words = (
        f"{unused}{pooled}{several} of {counted(len(pairs), 'row')} {are} of a target already "
        f"counted{of}: {SAME}. {remedy}"
    )
    return {"code": "repeated_targets", "text": words}


def _grouped(mine: Readings) -> Document | None:
    if mine.trials is None or sum(mine.trials) <= len(set(mine.size)):
        return None
    trials, sizes = int(sum(mine.trials)), len(set(mine.size))
    words = (
        f"{counted(trials, 'trial')} at {counted(sizes, 'size')} are counted as {trials} different "
        "targets. If they are repeated looks at the same targets, the bound is too small"
    )
    if sizes < FEWEST:
        words += (
            f": one target at each size would be {counted(sizes, 'target')}, fewer than the "
            f"{FEWEST} of MIL-HDBK-1823A (figure recalled from memory, not verified)"
        )
    return {"code": "trials_as_targets", "text": words + "."}

"""The rows of a table in which two modes read the same targets: one row a target, or one a mode."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from qualify.comparison.paired_targets import PairedTargets, paired_targets
from qualify.errors import Fault, InputError, refuse
from qualify.raw_tables import RawRow, RawTable
from qualify.study.answers_response_rows import finite
from qualify.study.answers_told import joined
from qualify.study.columns import check_columns, number, text, yes

SHOWN = 8  # names told of targets that are wrong in the same way


@dataclass(frozen=True, slots=True)
class CompareColumns:
    """Names of the columns that `compare` was told of; None where not told.

    Wide: `hit_a` and `hit_b`, a row a target and reader. Long: `mode`, `hit`, and the names of both
    modes, a row a target, mode and reader. `only` keeps rows by the text of a cell.
    """

    target: str
    size: str
    hit_a: str | None = None
    hit_b: str | None = None
    mode: str | None = None
    hit: str | None = None
    a: str | None = None
    b: str | None = None
    reader: str | None = None
    response_a: str | None = None
    response_b: str | None = None
    only: tuple[tuple[str, str], ...] = ()

    @property
    def wide(self) -> bool:
        """Whether both modes stand in one row."""
        return self.mode is None

    def told(self) -> list[str]:
        """Return the columns that were told."""
        every = (self.target, self.size, self.hit_a, self.hit_b, self.mode, self.hit, self.reader,
                 self.response_a, self.response_b)  # fmt: skip
        told = [c for c in every if c is not None]
        return [*told, *dict.fromkeys(name for name, _ in self.only if name not in told)]


@dataclass(frozen=True, slots=True)
class CompareRows:
    """What a table says of two modes.

    Attributes
    ----------
    size : by target.
    hits : by (target, reader), hit in a and in b.
    responses : by target, response in a and in b, nan where empty; empty without such columns.
    readers : sorted; one nameless reader without a column of them.
    """

    size: Mapping[str, float]
    hits: Mapping[tuple[str, str], tuple[float, float]]
    responses: Mapping[str, tuple[float, float]]
    readers: tuple[str, ...]

    def paired(self, readers: tuple[str, ...], scale: str) -> PairedTargets:
        """Return the targets of these readers; a ValueError where sizes have no place."""
        names = [t for t in self.size if any((t, r) in self.hits for r in readers)]
        none = (np.nan, np.nan)
        table = np.array([[self.hits.get((t, r), none) for r in readers] for t in names])
        sizes = [self.size[t] for t in names]
        return paired_targets(names, sizes, table[:, :, 0], table[:, :, 1], readers=readers,
                              scale=scale)  # fmt: skip


def check_told(columns: CompareColumns) -> None:
    """Refuse columns that do not go together.

    Raises
    ------
    InputError : neither form is whole, or both modes are one.
    """
    place, faults = "compare", []
    wide = (columns.hit_a, columns.hit_b)
    long = (columns.hit, columns.a, columns.b)
    if columns.wide:
        if None in wide:
            faults.append(Fault(place, "--hit-a or --hit-b is missing",
                                "give both, or --mode, --a, --b and --hit"))  # fmt: skip
        elif columns.hit_a == columns.hit_b:
            faults.append(Fault(place, f"--hit-a and --hit-b are the same column '{wide[0]}'",
                                "give a column for each mode"))  # fmt: skip
        if any(v is not None for v in long):
            faults.append(Fault(place, "--a, --b or --hit without --mode", "give --mode too"))
    else:
        if None in long:
            faults.append(Fault(place, "--mode without --a, --b and --hit", "give all of them"))
        elif columns.a == columns.b:
            faults.append(Fault(place, f"--a and --b are the same mode '{columns.a}'",
                                "name two modes"))  # fmt: skip
        if any(v is not None for v in (*wide, columns.response_a, columns.response_b)):
            faults.append(Fault(place, "--mode with columns of a row that holds both modes",
                                "give --hit and the names of both modes"))  # fmt: skip
    if (columns.response_a is None) != (columns.response_b is None):
        faults.append(Fault(place, "--response-a without --response-b, or the other way round",
                            "give both"))  # fmt: skip
    elif columns.response_a is not None and columns.response_a == columns.response_b:
        faults.append(Fault(place, "--response-a and --response-b are the same column",
                            "give a column for each mode"))  # fmt: skip
    if faults:
        raise InputError(faults)


def compare_rows(table: RawTable, columns: CompareColumns) -> CompareRows:
    """Read a table of two modes on the same targets.

    Raises
    ------
    InputError : with every cell that can't be read; a target twice for one reader and mode; several
        sizes of a target; targets read in one mode only.
    """
    check_told(columns)
    check_columns(table, columns.told())
    rows = _kept(table, columns)
    faults: list[Fault] = []
    size: dict[str, float] = {}
    seen: dict[tuple[str, str, str], float] = {}
    responses: dict[str, tuple[float, float]] = {}
    twice: list[tuple[int, str]] = []
    for row in rows:
        try:
            if again := _read(row, columns, size, seen, responses):
                twice.append((row.number, again))
        except ValueError as error:
            place, found, wanted = str(error).split("; ", 2)
            faults.append(Fault(f"{table.place}: row {row.number}: {place}", found, wanted))
    if twice:
        faults.append(_twice(table, columns, twice))
    if faults:
        raise InputError(faults)
    _same_targets(table, columns, seen)
    cells = {(t, r) for t, r, _ in seen}
    hits = {(t, r): (seen[(t, r, "a")], seen[(t, r, "b")]) for t, r in cells}
    return CompareRows(size, hits, responses, tuple(sorted({r for _, r in cells})))


def _kept(table: RawTable, columns: CompareColumns) -> list[RawRow]:
    rows = [
        row
        for row in table.rows
        if all(str(row.cells.get(name, "")).strip() == value for name, value in columns.only)
    ]
    if columns.mode is not None:
        modes = {columns.a, columns.b}
        there = {str(row.cells.get(columns.mode, "")).strip() for row in rows}
        if lacking := sorted(str(m) for m in modes - there):
            raise refuse(f"{table.place}: column '{columns.mode}'",
                         f"no row of mode {joined(lacking)}",
                         f"the modes are {', '.join(sorted(there))}")  # fmt: skip
        rows = [row for row in rows if str(row.cells.get(columns.mode, "")).strip() in modes]
    if not rows:
        told = ", ".join(f"{name}={value}" for name, value in columns.only)
        raise refuse(table.place, f"no row has {told}", "give --only as a cell stands in the table")
    return rows


def _cell(row: RawRow, column: str, read: object) -> float | str:
    if column not in row.cells:
        message = f"{column}; the cell is empty; fill it in"
        raise ValueError(message)
    try:
        value: float | str = read(row.cells[column])  # type: ignore[operator]
    except ValueError as error:
        message = f"{column}; {error}"
        raise ValueError(message) from None
    return value


def _read(
    row: RawRow,
    columns: CompareColumns,
    size: dict[str, float],
    seen: dict[tuple[str, str, str], float],
    responses: dict[str, tuple[float, float]],
) -> str:
    """Take one row in; a ValueError says `column; found; wanted`.

    Returns the target in words where it was read before, else nothing.
    """
    target = str(_cell(row, columns.target, text))
    reader = "" if columns.reader is None else str(_cell(row, columns.reader, text))
    own = float(_cell(row, columns.size, number))
    if size.setdefault(target, own) != own:
        message = f"{columns.size}; target {target} has size {own:g}, {size[target]:g} elsewhere; "
        raise ValueError(message + "give a target one size")
    if columns.wide:
        found = {"a": str(columns.hit_a), "b": str(columns.hit_b)}
    else:
        side = "a" if str(row.cells.get(str(columns.mode), "")).strip() == columns.a else "b"
        found = {side: str(columns.hit)}
    for side, column in found.items():
        if (target, reader, side) in seen:
            who = f" by reader {reader}" if reader else ""
            which = "" if columns.wide else f" in mode {columns.a if side == 'a' else columns.b}"
            return f"{target}{which}{who}"
        seen[(target, reader, side)] = float(_cell(row, column, yes))
    if columns.response_a is not None and columns.response_b is not None:
        pair = [
            float(_cell(row, name, finite)) if name in row.cells else float("nan")
            for name in (columns.response_a, columns.response_b)
        ]
        responses[target] = (pair[0], pair[1])
    return ""


def _twice(table: RawTable, columns: CompareColumns, twice: list[tuple[int, str]]) -> Fault:
    told = [f"{words} (row {number})" for number, words in twice[:SHOWN]]
    more = f" and {len(twice) - SHOWN} more" if len(twice) > SHOWN else ""
    hint = "" if columns.reader else ", or give --reader, or --only to pick rows"
    place = f"{table.place}: column '{columns.target}'"
    found = f"stands twice: {', '.join(told)}{more}"
    return Fault(place, found, f"keep one row of each{hint}")


def _same_targets(
    table: RawTable, columns: CompareColumns, seen: Mapping[tuple[str, str, str], float]
) -> None:
    """Refuse targets that a reader read in one mode only, by name."""
    faults = []
    for side, mode, other in (("a", columns.a, columns.b), ("b", columns.b, columns.a)):
        back = "b" if side == "a" else "a"
        alone = sorted((r, t) for t, r, s in seen if s == side and (t, r, back) not in seen)
        if not alone:
            continue
        names = [f"{t} (reader {r})" if r else t for r, t in alone]
        more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
        faults.append(
            Fault(f"{table.place}: column '{columns.target}'",
                  f"read in mode {mode} but not in mode {other}: {', '.join(names[:SHOWN])}{more}",
                  "modes are compared on the same targets: give both readings, or leave the target "
                  "out of both")
        )  # fmt: skip
    if faults:
        raise InputError(faults)

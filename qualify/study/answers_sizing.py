"""The answer of `sizing` on one table, as a JSON-ready document; its keys stand in README.md."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from qualify.errors import Fault, InputError
from qualify.raw_tables import Cell, RawTable
from qualify.sizing.report import SizingReport, sizing_report
from qualify.study.answers_readings import READER_NAMES, plain_name
from qualify.study.answers_told import counted, joined, pair
from qualify.study.columns import (
    cells_or_none,
    check_columns,
    named_unit,
    number,
    text,
    uncertainty,
    unit_of,
    yes,
)

Document = dict[str, Any]
FOUND_NAMES = {"found", "hit", "detected"}


@dataclass(frozen=True, slots=True)
class SizingAsked:
    """Names of columns, None where not told, and how they are to be taken."""

    true: str
    reported: str
    true_u: str | None = None
    reported_u: str | None = None
    target: str | None = None
    reader: str | None = None
    found: str | None = None
    smallest: float | None = None
    confidence: float = 0.95
    size_unit: str | None = None

    def told(self) -> list[str]:
        """Return the columns that were told."""
        every = (self.true, self.reported, self.true_u, self.reported_u, self.target, self.reader,
                 self.found)  # fmt: skip
        return [column for column in every if column is not None]


@dataclass(frozen=True, slots=True)
class _Row:
    """One target as read; `reported` None where it was not sized."""

    number: int
    true: float
    reported: float | None
    true_u: float | None
    reported_u: float | None
    target: str | None
    reader: str
    found: bool


def answer(table: RawTable, asked: SizingAsked) -> Document:
    """Return the sizing error of a table; an empty reported cell is a target not sized.

    With a column of readers each is told apart, and the one with the largest RMSE governs.

    Raises
    ------
    InputError : a column is not there, units differ, options do not go together, or with every
        cell that is not what its column holds.
    """
    unit = _check(table, asked)
    rows = _read(table, asked)
    notices = _pooled(table, asked, rows)
    if asked.reader is None:
        return _document(rows, asked, unit, notices)
    names = sorted({row.reader for row in rows})
    readers = {
        name: _document([row for row in rows if row.reader == name], asked, unit, [])
        for name in names
    }
    worst = max(names, key=lambda name: (readers[name]["rmse"] or -1.0, name))
    own = readers[worst]
    notices.append(_governing(readers, worst))
    return {**own, "notices": own["notices"] + notices, "reader": worst, "readers": readers}


def _governing(readers: dict[str, Document], worst: str) -> Document:
    none = [name for name, document in readers.items() if document["rmse"] is None]
    words = f"Each reader was told apart: {worst} has the largest RMSE, and governs. Sizes of one "
    words += "target by several readers are not further targets."
    if none:
        words = f"No sizing error for {joined(none)}: no size was reported. {words}"
    return {"code": "worst_reader", "text": words}


def _check(table: RawTable, asked: SizingAsked) -> str:
    """Return the unit of sizes; refuse columns and options that do not go together."""
    check_columns(table, asked.told())
    unit = unit_of(table, asked.true, asked.size_unit)
    faults = []
    for column in (asked.reported, asked.true_u, asked.reported_u):
        if column is not None and (other := named_unit(column)) not in (None, unit):
            place = f"{table.place}: column '{column}'"
            found = f"its name says {other}, true sizes are in {unit}"
            faults.append(Fault(place, found, "give both in one"))
    if asked.reported_u is not None and asked.true_u is None:
        faults.append(
            Fault("sizing", "--reported-u without --true-u", "give the column of --true-u too")
        )
    if asked.smallest is not None and not 0.0 < asked.smallest < float("inf"):
        faults.append(
            Fault("sizing", f"--smallest {asked.smallest:g}", f"give a size above 0, in {unit}")
        )
    if faults:
        raise InputError(faults)
    return unit


def _read(table: RawTable, asked: SizingAsked) -> list[_Row]:
    """Return the rows, with all faults told at once."""
    faults: list[Fault] = []
    filled = [row for row in table.rows if asked.reported in row.cells]
    sized = RawTable(table.file, table.sheet, table.columns, tuple(filled))

    def column(name: str | None, read: Callable[[Cell], Any], part: RawTable) -> dict[int, Any]:
        if name is None:
            return {}
        values = cells_or_none(part, name, read, faults)
        return {row.number: value for row, value in zip(part.rows, values, strict=True)}

    true, reported = column(asked.true, number, table), column(asked.reported, number, sized)
    true_u = column(asked.true_u, uncertainty, sized)
    reported_u = column(asked.reported_u, uncertainty, sized)
    targets, readers = column(asked.target, text, table), column(asked.reader, text, table)
    found = column(asked.found, yes, table)
    for row in filled:
        size, u = true.get(row.number), true_u.get(row.number)
        if size is not None and u is not None and u >= size:
            place = f"{table.place}: row {row.number}: {asked.true_u}"
            words = f"an uncertainty of {u:g} of a size of {size:g}"
            faults.append(Fault(place, words, "mend it (is it in micrometres?)"))
        if found.get(row.number) == 0.0:
            place = f"{table.place}: row {row.number}: {asked.reported}"
            words = f"a size of a target that {asked.found} says was not found"
            faults.append(Fault(place, words, "mend one of them"))
    if faults:
        raise InputError(faults)
    sizes: dict[str, tuple[int, float]] = {}
    for n, name in targets.items():
        first, size = sizes.setdefault(name, (n, true[n]))
        if size != true[n]:
            place = f"{table.place}: row {n}: {asked.true}"
            words = f"target {name} is {true[n]:g} here and {size:g} in row {first}"
            faults.append(Fault(place, words, "one true size a target"))
    if faults:
        raise InputError(faults)
    return [
        _Row(
            n, true[n], reported.get(n), true_u.get(n), reported_u.get(n), targets.get(n),
            readers.get(n, "all"), found.get(n) != 0.0,
        )
        for n in (row.number for row in table.rows)
    ]  # fmt: skip


def _pooled(table: RawTable, asked: SizingAsked, rows: Sequence[_Row]) -> list[Document]:
    """Return what to know of rows that are counted as targets although they may be none."""
    out = []
    if asked.reader is None:
        for column in table.columns:
            names = {str(row.cells.get(column)) for row in table.rows}
            if plain_name(column) in READER_NAMES and column not in asked.told() and len(names) > 1:
                words = (
                    f"Column {column} is there and not used: all rows are pooled as if each were "
                    "another target. Sizes of one target by several readers are not more targets, "
                    f"and intervals are too narrow: give --reader '{column}'."
                )
                out.append({"code": "pooled_readers", "text": words})
    found = next((c for c in table.columns if c.strip().lower() in FOUND_NAMES), None)
    if asked.found is None and found is not None and found not in asked.told():
        words = f"Column {found} is there and not used: give --found {found}, so that targets that "
        out.append({"code": "unused_found", "text": words + "were missed count as missed."})
    named = [(row.reader, row.target) for row in rows if row.target is not None]
    again = len(named) - len(set(named))
    if again:
        words = (
            f"{again} of {counted(len(named), 'row')} name a target already counted: the same "
            "flaws sized again are not more flaws, and intervals are too narrow."
        )
        out.append({"code": "repeated_targets", "text": words})
    return out


def _document(
    rows: Sequence[_Row], asked: SizingAsked, unit: str, notices: Sequence[Document]
) -> Document:
    """Return what is told of the rows of one reader."""
    sized = [row for row in rows if row.reported is not None]
    report = sizing_report(
        [row.true for row in sized],
        [row.reported for row in sized if row.reported is not None],
        true_u=_uncertainties([row.true_u for row in sized]),
        reported_u=_uncertainties([row.reported_u for row in sized]),
        missed=[row.true for row in rows if not row.found],
        unsized=[row.true for row in rows if row.found and row.reported is None],
        smallest=asked.smallest,
        confidence=asked.confidence,
        unit=unit,
    )
    told = [{"code": notice.code, "text": notice.text} for notice in report.notices]
    return {**_numbers(report, sized, unit), "notices": [*told, *notices]}


def _uncertainties(values: Sequence[float | None]) -> list[float] | None:
    known = [value for value in values if value is not None]
    return known if known else None


def _numbers(report: SizingReport, sized: Sequence[_Row], unit: str) -> Document:
    error, line, method = report.error, report.line, report.method
    worst = error.largest_undersizing_index
    return {
        "n": error.n,
        "unit": unit,
        "confidence": error.confidence,
        "bias": error.bias,
        "bias_ci": pair(error.bias_ci),
        "sd": error.sd,
        "sd_ci": pair(error.sd_ci),
        "rmse": error.rmse,
        "rmse_ci": pair(error.rmse_ci),
        "rmse_upper": error.rmse_upper,
        "tolerance": pair(error.tolerance),
        "undersizing_bound": error.undersizing_bound,
        "largest_undersizing": error.largest_undersizing,
        "largest_undersizing_row": None if worst is None else sized[worst].number,
        "unsized": error.unsized,
        "missed": report.missed,
        "slope": line.slope,
        "intercept": line.intercept,
        "line": _lists(
            {k: v for k, v in asdict(line).items() if k not in ("n", "slope", "intercept")}
        ),
        "method": _lists({
            "sd": None if method is None else method.sd,
            "sd_ci": None if method is None else method.sd_ci,
            "true_u": None if method is None else method.true_u,
            "reason": report.method_reason,
        }),
        "trend": _lists(asdict(report.trend)),
        "spread": asdict(report.spread),
        "normality": asdict(report.normality),
        "agreement": _lists(asdict(report.agreement)),
        "ordered": {
            "undersizing_bound": report.order.lower,
            "undersizing_needs": report.order.lower_needed,
            "tolerance": pair(report.order.interval),
            "tolerance_needs": report.order.interval_needed,
        },
        "worst": {
            "undersized": [_case(sized[i]) for i in report.undersized],
            "oversized": [_case(sized[i]) for i in report.oversized],
        },
        "counted_in": [
            {
                "case": case.case,
                "n": case.n,
                "counted_in": case.counted_in,
                "bias": case.bias,
                "rmse": case.rmse,
                "undersizing_bound": case.undersizing_bound,
                "largest_undersizing": case.largest_undersizing,
            }
            for case in report.cases
        ],
        "reason": error.reason,
    }  # fmt: skip


def _case(row: _Row) -> Document:
    assert row.reported is not None
    return {
        "row": row.number, "target": row.target, "true": row.true, "reported": row.reported,
        "error": row.reported - row.true,
    }  # fmt: skip


def _lists(document: Document) -> Document:
    """Return a document with its pairs as lists, as JSON has them."""
    return {k: list(v) if isinstance(v, tuple) else v for k, v in document.items()}

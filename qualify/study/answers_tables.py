"""Answers of `false-calls` and `sizing` on one table, as JSON-ready documents and lines.

The keys are documented in README.md and tested.
"""

from typing import Any

from qualify.errors import refuse
from qualify.pod.false_calls import false_call_rate
from qualify.raw_tables import RawTable
from qualify.sizing.error import sizing_error
from qualify.study.answers_rates import NOTHING_MORE, More, more_document, more_lines, read_more
from qualify.study.answers_told import counted
from qualify.study.columns import (
    cells,
    check_columns,
    count,
    named_unit,
    number,
    text,
    unit_of,
    yes,
)

Document = dict[str, Any]


def false_calls(
    table: RawTable,
    *,
    called: str,
    calls: str | None = None,
    kind: str | None = None,
    examined: str | None = None,
    reader: str | None = None,
    more: More = NOTHING_MORE,
) -> Document:
    """Return the false-call rate of a table with one row per blank unit.

    `kind` names a column in which only the rows that say `blank` count; rows whose `examined`
    is no leave the count; with `reader` each reader is told apart and the one
    with the largest upper bound governs. `more` names columns of length, area, cause, specimen.

    Raises
    ------
    InputError : a column is not there, or a cell is empty or not what its column holds.
    """
    wanted = [c for c in (called, calls, kind, examined, reader, *more.told()) if c is not None]
    check_columns(table, wanted)
    rows = list(table.rows)
    if kind is not None:
        rows = [row for row in rows if str(row.cells.get(kind, "")).lower() == "blank"]
    blanks = RawTable(table.file, table.sheet, table.columns, tuple(rows))
    if examined is not None:
        looked = cells(blanks, examined, yes)
        rows = [row for row, yes in zip(rows, looked, strict=True) if yes]
        blanks = RawTable(table.file, table.sheet, table.columns, tuple(rows))
    hits = cells(blanks, called, yes)
    counts = hits if calls is None else cells(blanks, calls, count)
    names = ["all"] * len(rows) if reader is None else cells(blanks, reader, text)
    columns = read_more(blanks, more, hits)

    def rate(name: str) -> Document:
        mine = [i for i, other in enumerate(names) if other == name]
        result = false_call_rate(
            len(mine), int(sum(hits[i] for i in mine)), int(sum(counts[i] for i in mine))
        )
        told = {
            "blank_units": result.blank_units,
            "units_called": result.units_called,
            "calls": result.calls,
            "rate": result.rate,
            "upper_95": result.upper_95,
            "reason": result.reason,
        }
        return {**told, **more_document(columns, mine, hits, counts)}

    if reader is None:
        return rate("all")
    readers = {name: rate(name) for name in sorted(set(names))}
    if not readers:
        return rate("all")
    worst = max(readers, key=lambda name: (readers[name]["upper_95"] or 0.0, name))
    return {**readers[worst], "reader": worst, "readers": readers}


def sizing(table: RawTable, *, true: str, reported: str, size_unit: str | None = None) -> Document:
    """Return the sizing error of a table; an empty reported cell is a target not sized.

    Raises
    ------
    InputError : a column is not there, or a cell is no number above 0.
    """
    check_columns(table, [true, reported])
    unit = unit_of(table, true, size_unit)
    if (other := named_unit(reported)) not in (None, unit):
        place = f"{table.place}: column '{reported}'"
        raise refuse(place, f"its name says {other}, true sizes are in {unit}", "give both in one")
    truths = cells(table, true, number)
    sized = [i for i, row in enumerate(table.rows) if reported in row.cells]
    rows = tuple(table.rows[i] for i in sized)
    values = cells(RawTable(table.file, table.sheet, table.columns, rows), reported, number)
    result = sizing_error([truths[i] for i in sized], values, unsized=len(truths) - len(sized))
    worst = result.largest_undersizing_index
    return {
        "n": result.n,
        "unit": unit,
        "bias": result.bias,
        "bias_ci": None if result.bias_ci is None else list(result.bias_ci),
        "sd": result.sd,
        "rmse": result.rmse,
        "tolerance": None if result.tolerance is None else list(result.tolerance),
        "undersizing_bound": result.undersizing_bound,
        "largest_undersizing": result.largest_undersizing,
        "largest_undersizing_row": None if worst is None else rows[worst].number,
        "unsized": result.unsized,
        "reason": result.reason,
    }


def false_call_lines(document: Document) -> list[str]:
    """Return the lines that `false-calls` prints for people."""
    if document["rate"] is None:
        return [f"no rate: {document['reason']}"]
    lines = [
        _called(document),
        f"rate {100 * document['rate']:.1f} %, upper 95 % bound {100 * document['upper_95']:.1f} %",
    ]
    if document["units_called"] == 0:
        lines.append("no call is no proof of none: the upper bound is what these units show")
    if "reader" in document:
        each = [f"reader {name}: {_called(d)}" for name, d in document["readers"].items()]
        name = document["reader"]
        lines = [*each, f"{name} has the largest upper bound, and governs:", *lines]
    return [*lines, *more_lines(document)]


def _called(document: Document) -> str:
    units = counted(document["blank_units"], "blank unit")
    return f"{document['units_called']} of {units} called ({counted(document['calls'], 'call')})"


def sizing_lines(document: Document) -> list[str]:
    """Return the lines that `sizing` prints for people."""
    unit = document["unit"]
    lines = [f"{document['n']} sized, {document['unsized']} found but not sized"]
    if document["bias"] is None:
        return [*lines, f"no sizing error: {document['reason']}"]
    lines.append(
        f"bias {document['bias']:+.3g} {unit}, RMSE {document['rmse']:.3g} {unit} "
        "(reported minus true)"
    )
    if document["tolerance"] is not None:
        low, high = document["tolerance"]
        lines.append(f"95 % of errors lie between {low:+.3g} and {high:+.3g} {unit} (95/95)")
    row = document["largest_undersizing_row"]
    lines.append(f"most negative error {document['largest_undersizing']:+.3g} {unit}, row {row}")
    return lines

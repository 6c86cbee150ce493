"""Counts on blank units of one table, as a JSON-ready document and lines: for `false-calls`.

The keys are documented in README.md and tested.
"""

from typing import Any

from qualify.pod.false_calls import false_call_rate
from qualify.raw_tables import RawTable
from qualify.study.answers_rates import NOTHING_MORE, More, more_document, more_lines, read_more
from qualify.study.answers_told import counted
from qualify.study.columns import (
    cells,
    check_columns,
    count,
    text,
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

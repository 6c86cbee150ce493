"""The answer of `false-calls`: counts on blank units, and what their noise says of a threshold."""

from dataclasses import dataclass
from typing import Any

from qualify.errors import Fault, InputError, refuse
from qualify.pod.noise import NoiseFamily
from qualify.pod.responses import ResponseAxis
from qualify.raw_tables import RawTable
from qualify.study.answers_blanks import pooled_blanks
from qualify.study.answers_noise import blanks_of, noise_document
from qualify.study.answers_noise_words import noise_lines
from qualify.study.answers_rates import NOTHING_MORE, More
from qualify.study.answers_tables import false_call_lines, false_calls
from qualify.study.columns import YES

Document = dict[str, Any]
NO_CALLS = "no column of calls was told"


@dataclass(frozen=True, slots=True)
class FalseCallsAsked:
    """What is asked of a table of blank units; see `false_calls` and `blanks_of`."""

    called: str | None = None
    calls: str | None = None
    kind: str | None = None
    examined: str | None = None
    reader: str | None = None
    more: More = NOTHING_MORE
    response: str | None = None
    threshold: float | None = None
    rate: float | None = None
    law: NoiseFamily = "gumbel"
    response_unit: str | None = None
    axis: ResponseAxis = "linear"
    floor: float | None = None
    confidence: float = 0.95
    seed: int = 1


def answer(table: RawTable, asked: FalseCallsAsked) -> Document:
    """Return counts on blank units, and under `noise` what their peaks say, as README.md lists.

    Raises
    ------
    InputError : neither calls nor peaks are told, options do not go together, a cell is wrong.
    """
    _check(asked)
    document: Document = {
        "blank_units": None, "units_called": None, "calls": None, "rate": None, "upper_95": None,
        "reason": NO_CALLS, "per_metre": None, "per_square_metre": None, "causes": None,
        "clusters": None,
    }  # fmt: skip
    if asked.called is not None:
        document = false_calls(
            table,
            called=asked.called,
            calls=asked.calls,
            kind=asked.kind,
            examined=asked.examined,
            reader=asked.reader,
            more=asked.more,
        )
    told = [c for c in (asked.called, asked.calls, asked.reader, *asked.more.told()) if c]
    document["noise"] = None
    notices = [] if asked.called is None else pooled_blanks(table, told)
    if asked.response is not None:
        document["noise"], more = _noise(table, asked, asked.response)
        notices = [*notices, *more]
    document["notices"] = notices
    return document


def _check(asked: FalseCallsAsked) -> None:
    faults = []
    if asked.called is None and asked.response is None:
        faults.append(("neither --called nor --response", "give one of them, or both"))
    noise = (asked.threshold, asked.rate, asked.floor)
    if asked.response is None and any(value is not None for value in noise):
        faults.append(("--threshold, --rate or --floor without --response", "give --response"))
    if asked.called is None and (asked.more.told() or asked.calls or asked.reader):
        faults.append(("columns of calls without --called", "give --called too"))
    if faults:
        raise InputError(Fault("false-calls", *fault) for fault in faults)


def _noise(table: RawTable, asked: FalseCallsAsked, column: str) -> tuple[Document, list[Document]]:
    """Return what the peaks of examined blank units say."""
    rows = list(table.rows)
    if asked.kind is not None:
        rows = [r for r in rows if str(r.cells.get(asked.kind, "")).lower() == "blank"]
    if asked.examined is not None:
        rows = [r for r in rows if str(r.cells.get(asked.examined, "")).lower() in YES]
    part = RawTable(table.file, table.sheet, table.columns, tuple(rows))
    if column not in table.columns:
        columns = ", ".join(table.columns)
        raise refuse(f"{table.place}: row 1", f"column '{column}' is missing",
                     f"the columns are {columns}")  # fmt: skip
    blanks = blanks_of(part, column, unit=asked.response_unit, floor=asked.floor, law=asked.law,
                       rate=asked.rate)  # fmt: skip
    told, notices, _, _ = noise_document(blanks, asked.axis, asked.threshold, asked.confidence,
                                         asked.seed)  # fmt: skip
    return told, notices


def lines(document: Document) -> list[str]:
    """Return the lines that `false-calls` prints for people."""
    told = [] if document["reason"] == NO_CALLS else false_call_lines(document)
    if document["noise"] is not None:
        told += noise_lines(document["noise"])
    return [*told, *(f"note: {notice['text']}" for notice in document["notices"])]

"""Blank units read in both modes, as the answer of `compare` tells them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from qualify.comparison.false_calls import PairedFalseCalls, paired_false_calls
from qualify.errors import refuse
from qualify.raw_tables import RawTable
from qualify.study.answers_readings import READER_NAMES, plain_name
from qualify.study.answers_told import joined, pair
from qualify.study.columns import cells, check_columns, text, yes

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Blanks:
    """A table of blank units, and the columns that say which were called in each mode."""

    table: RawTable
    called_a: str
    called_b: str


def with_blanks(
    table: RawTable, document: Document, blanks: Blanks, reader: str | None, confidence: float
) -> None:
    """Put the false calls of both modes into a document, of each reader where both tables do.

    Raises
    ------
    InputError : one column for both modes, the table of targets itself, cells not yes or no.
    """
    rows, told = blanks.table, [blanks.called_a, blanks.called_b]
    if blanks.called_a == blanks.called_b:
        found = f"--called-a and --called-b are the same column '{blanks.called_a}'"
        raise refuse("compare", found, "give a column for each mode")
    if (rows.file, rows.sheet) == (table.file, table.sheet):
        raise refuse("compare", f"--blanks is the table of targets, {table.place}",
                     "give a table of units without a flaw")  # fmt: skip
    named = reader is not None and reader in rows.columns
    check_columns(rows, [*told, reader] if named and reader is not None else told)
    if not named:
        document["false_calls"] = _false_calls(rows, blanks, confidence)
        document["notices"] += pooled_blanks(rows, told)
        return
    names = cells(rows, str(reader), text)
    unlike = sorted(set(names) ^ set(document["readers"]))
    if unlike:
        words = f"In one of the two tables only, targets or blank units: {joined(unlike)}."
        document["notices"].append({"code": "blanks_of_others", "text": words})
    for name, one in document["readers"].items():
        own = tuple(r for r, who in zip(rows.rows, names, strict=True) if who == name)
        mine = replace(rows, rows=own)
        one["false_calls"] = _false_calls(mine, blanks, confidence) if own else None
    document["false_calls"] = document["readers"][document["reader"]]["false_calls"]


def pooled_blanks(table: RawTable, told: Sequence[str]) -> list[Document]:
    """Tell of a column of readers that is not used, so that readings pass for blank units."""
    for column in table.columns:
        several = len({str(row.cells.get(column)).strip() for row in table.rows})
        if plain_name(column) in READER_NAMES and column not in told and several > 1:
            words = (
                f"Column {column} of blank units is there and not used: it names {several}, and "
                "each of their readings counts as a blank unit of its own. The same units read "
                f"again are not more units, and bounds are too small: give --reader {column}."
            )
            return [{"code": "pooled_readers", "text": words}]
    return []


def _false_calls(table: RawTable, blanks: Blanks, confidence: float) -> Document:
    a, b = (cells(table, name, yes) for name in (blanks.called_a, blanks.called_b))
    return false_calls_document(paired_false_calls(a, b, confidence))


def false_calls_document(found: PairedFalseCalls) -> Document:
    """Return paired false calls as a document."""
    difference = found.difference
    return {
        "blank_units": found.counts.n, "called_both": found.counts.both,
        "called_a_only": found.counts.a_only, "called_b_only": found.counts.b_only,
        "called_neither": found.counts.neither,
        "rate_a": found.a.rate, "rate_b": found.b.rate,
        "upper_95_a": found.a.upper_95, "upper_95_b": found.b.upper_95,
        "mcnemar_exact_p": found.test.exact_p, "rate_difference": difference.value,
        "newcombe_ci": pair(difference.newcombe), "tango_ci": pair(difference.tango),
        "reason": difference.reason,
    }  # fmt: skip

"""Sizes of the rule's indications by every method asked for, as a table beside the sheets."""

import csv
import io
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields
from pathlib import Path

from qualify.raw_tables import read_table

FILE = "sizes.csv"


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One indication sized by one method; empty with a reason where it can't be.

    `sheet` and `row` are the call sheet, without ending, and the row of the indication.
    """

    sheet: str
    row: int
    method: str
    size_mm: float | None
    reason: str


def sizes_bytes(rows: Sequence[SizeRow]) -> bytes:
    """Return the table as CSV."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([field.name for field in fields(SizeRow)])
    for row in rows:
        size = "" if row.size_mm is None else f"{row.size_mm:.2f}"
        writer.writerow([size if cell is row.size_mm else cell for cell in astuple(row)])
    return out.getvalue().encode()


def read_sizes(path: Path) -> tuple[SizeRow, ...]:
    """Read the table back."""
    rows = []
    for row in read_table(path, FILE).rows:
        cells = row.cells
        size = cells.get("size_mm")
        rows.append(
            SizeRow(
                str(cells["sheet"]),
                int(cells["row"]),
                str(cells["method"]),
                None if size is None else float(size),
                str(cells.get("reason", "")),
            )
        )
    return tuple(rows)

"""Sizes of the rule's indications by every method asked for, as a table beside the sheets."""

import csv
import io
from collections.abc import Sequence
from dataclasses import astuple, dataclass, fields, replace
from pathlib import Path

from qualify.imaging.grid import Image
from qualify.raw_tables import read_table
from qualify.reading.detection import groups, responses
from qualify.reading.extent import Method, extent_of
from qualify.reading.reader_model import Rule, Seen

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

    def at(self, sheet: str, row: int) -> "SizeRow":
        """Return it with its place."""
        return replace(self, sheet=sheet, row=row)


def sizes_of(image: Image, rule: Rule, seen: Seen, methods: Sequence[Method]) -> list[SizeRow]:
    """Return the sizes of an indication of the rule, a row a method."""
    response = responses(image, rule.background, rule.looking)
    found = groups(image, response, rule.threshold, rule.looking)
    group = next(g for g in found if (g.x_mm, g.z_mm) == (seen.x_mm, seen.z_mm))
    rows = []
    for method in methods:
        size = extent_of(image, group, rule.background, rule.looking, method)
        rows.append(SizeRow("", 0, method, size.mm, size.reason or ""))
    return rows


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

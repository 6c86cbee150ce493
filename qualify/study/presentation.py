"""Who read which coupon when, under which revision: the order of a blind trial as a table."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated

from pydantic import BaseModel, Field

from qualify.blocks.metrology import STRICT, Text
from qualify.errors import Fault, InputError
from qualify.raw_tables import RawTable, parse_rows

FILE = "presentation.csv"


class PresentedRow(BaseModel):
    """One coupon as one reader got it in one mode, in the order of the table.

    `reading` is 1, or 2 where a remedy had it read again.
    """

    model_config = STRICT
    reader: Text
    mode: Text
    reading: Annotated[int, Field(ge=1, le=2)] = 1
    code: Text
    read_on: date | None = None
    software: Text | None = None


Look = tuple[str, str, int]
"""Reader, mode, reading."""


def presentation(table: RawTable, codes: Sequence[str]) -> dict[Look, tuple[PresentedRow, ...]]:
    """Return the order of presentation of each reader, mode and reading.

    Raises
    ------
    InputError : for a code that the key does not hold, or that a reader gets twice in one reading.
    """
    faults, found = [], dict[Look, list[PresentedRow]]()
    for number, row in parse_rows(table, PresentedRow):
        place = f"{table.place}: row {number}: code"
        held = found.setdefault((row.reader, row.mode, row.reading), [])
        if row.code not in codes:
            faults.append(Fault(place, f"'{row.code}' is not in the key", "mend it"))
        if any(one.code == row.code for one in held):
            faults.append(Fault(place, f"'{row.code}' stands twice", "give it once a reading"))
        held.append(row)
    if faults:
        raise InputError(faults)
    return {look: tuple(rows) for look, rows in found.items()}

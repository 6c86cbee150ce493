"""Rows of call sheets as the rule and the models of readers write them."""

import csv
import io
from collections.abc import Mapping, Sequence

import numpy as np

from qualify.reading.key import Presented
from qualify.reading.rule import Seen

Row = dict[str, str]
Sheet = list[Row]
COLUMNS = (
    "reader", "mode", "code", "unit", "verdict", "x_mm", "z_mm", "length_x_mm", "size_mm",
    "size_method", "response", "response_unit", "confidence", "cause", "software", "read_on",
    "comment",
)  # fmt: skip
BAND_MM, BAND_Z_MM = 34.0, 31.5  # reaches 7 mm into both units across a guard of 20 mm


def row_of(along_mm: float, seen: Seen, method: str, unit: str | None, *, digits: int) -> Row:
    """Return an indication as its row.

    along_mm : its distance from the presented datum. unit : of the response; None where the reader
    writes none down.
    """
    row = {
        "verdict": "indication",
        "x_mm": f"{along_mm:.{digits}f}",
        "z_mm": f"{seen.z_mm:.{digits}f}",
        "length_x_mm": f"{seen.length_x_mm:.{digits}f}",
    }
    if seen.size_mm is not None and f"{seen.size_mm:.{digits}f}".strip("0.") != "":
        row |= {"size_mm": f"{seen.size_mm:.{digits}f}", "size_method": method}
    if unit is not None:
        row |= {"response": f"{seen.response:.4f}", "response_unit": unit}
    if seen.confidence is not None:
        row["confidence"] = str(seen.confidence)
    if seen.cause is not None:
        row["cause"] = seen.cause
    return row


def not_examined(why: str, cause: str | None = "coupling") -> Row:
    """Return the row of a unit that could not be examined; None for a cause no word fits."""
    row = {"verdict": "not_examined", "comment": why}
    return row if cause is None else row | {"cause": cause}


def band_marked(
    sheet: Sheet, presented: Mapping[str, Presented], rng: np.random.Generator
) -> Sheet:
    """Return a sheet in which a reader marks a band that runs on from one unit into the next.

    It is put between two neighbouring units that the sheet finds empty; its middle lies in the
    middle of the guard between them. It is a slip that readers make, put in on purpose.
    """
    spots = [
        number
        for number in range(len(sheet) - 1)
        if sheet[number]["code"] == sheet[number + 1]["code"]
        and int(sheet[number + 1]["unit"]) == int(sheet[number]["unit"]) + 1
        and {sheet[number]["verdict"], sheet[number + 1]["verdict"]} == {"nothing_found"}
    ]
    if not spots:
        return sheet
    out, number = list(sheet), spots[int(rng.integers(len(spots)))]
    out[number] = out[number] | _band(presented[out[number]["code"]], int(out[number]["unit"]))
    return out


def _band(piece: Presented, unit: int) -> Row:
    low, high = sorted((piece.units[unit - 1], piece.units[unit]), key=lambda u: u.x_from_mm)
    return {
        "verdict": "indication",
        "x_mm": f"{piece.presented_x_mm(0.5 * (low.x_to_mm + high.x_from_mm)):.1f}",
        "z_mm": f"{BAND_Z_MM:.1f}",
        "length_x_mm": f"{BAND_MM:.1f}",
        "confidence": "2",
        "cause": "grain",
        "comment": f"a band, runs on into unit {unit + 1}",
    }


def sheet_bytes(sheet: Sequence[Row]) -> bytes:
    """Return a sheet as CSV; columns that nobody filled in are left out."""
    used = [name for name in COLUMNS if any(row.get(name) for row in sheet)]
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, used, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(sheet)
    return out.getvalue().encode()

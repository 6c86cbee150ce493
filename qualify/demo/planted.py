"""The planted events of the demonstration, each with its remedy in the declaration.

The software revision is planted by the trial (`trial.CHANGED_FOR`), the ids in two sets by the
design (`design.REPEATED`); here stands the indication that claims two units.
"""

from collections.abc import Sequence

from qualify.demo.seeds import stream
from qualify.demo.trial import Row, Trial
from qualify.reading.key import Presented

OVER_TWO_UNITS = ("R2", "linear")
LENGTH_MM = 34.0
DEPTH_MM = 31.5


def over_two_units(trial: Trial, rows: Sequence[Row]) -> list[Row]:
    """Return the rows with one empty unit called across the guard into its empty neighbour.

    The indication's centre lies in the middle of the guard of 20 mm, its length of 34 mm
    reaches 7 mm into both units. Both are blank and were found empty, so the call is false.
    """
    spots = [
        (number, item)
        for item in trial.key
        for number, row in enumerate(rows[:-1])
        if row["code"] == item.code and _both_empty(item, row, rows[number + 1])
    ]
    number, item = spots[int(stream("over two units").integers(len(spots)))]
    unit = int(rows[number]["unit"])
    one, other = item.units[unit - 1], item.units[unit]
    low, high = sorted((one, other), key=lambda u: u.x_from_mm)
    middle = (low.x_to_mm + high.x_from_mm) / 2
    call = {
        "verdict": "indication",
        "x_mm": f"{item.presented_x_mm(middle):.1f}",
        "z_mm": f"{DEPTH_MM:.1f}",
        "length_x_mm": f"{LENGTH_MM:.1f}",
        "confidence": "2",
        "cause": "grain",
        "comment": f"a band, runs on into unit {unit + 1}",
    }
    return [*rows[:number], {**rows[number], **call}, *rows[number + 1 :]]


def _both_empty(item: Presented, row: Row, following: Row) -> bool:
    if following["code"] != item.code or int(following["unit"]) != int(row["unit"]) + 1:
        return False
    if {row["verdict"], following["verdict"]} != {"nothing_found"}:
        return False
    blank = {unit.id for unit in item.block.blank_units()}
    unit = int(row["unit"])
    return item.units[unit - 1].id in blank and item.units[unit].id in blank

"""Calls placed: which block, which grading unit, where in the block's frame."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from qualify.blocks.definition import Block, GradingUnit
from qualify.errors import Fault, InputError
from qualify.reading.call_sheet import Call
from qualify.reading.key import KeyRow, Presented
from qualify.reading.tables import Reading

BEYOND_MM = 10.0
"""A reader may err; a position farther outside the piece than this is an input error."""

Pass = tuple[str, str, int, Reading]
"""Reader, mode, repeat, reading."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A call in block coordinates, with the unit it counts in (None: outside all units)."""

    call: Call
    block: Block
    named: GradingUnit
    home: GradingUnit | None
    touched: tuple[GradingUnit, ...]
    x_mm: float | None
    y_mm: float | None


def presented_pieces(
    blocks: Sequence[Block], key: Sequence[KeyRow], *, by_unit: bool
) -> dict[str, Presented]:
    """Return the pieces by code.

    Raises an `InputError` for a block that is not there or has no grading units, a code that
    stands twice, and, where matching is `by_unit`, a unit that holds two targets.
    """
    by_id = {block.id: block for block in blocks}
    faults = [
        Fault(f"key: code {row.code}", f"block '{row.block}' is not there", "name its file in data")
        for row in key
        if row.block not in by_id
    ]
    codes = [row.code for row in key]
    faults += [
        Fault(f"key: code {code}", "stands twice", "give each piece its own code")
        for code in sorted({code for code in codes if codes.count(code) > 1})
    ]
    for row in key:
        block = by_id.get(row.block)
        if block is not None and not block.grading_units:
            faults.append(
                Fault(f"block {block.id}", "has no grading units", "a trial block needs them")
            )
        if block is not None and by_unit:
            held = [unit.id for t in block.targets if (unit := block.unit_of(t.x_mm))]
            faults += [
                Fault(
                    f"block {block.id}: unit {unit}",
                    f"holds {held.count(unit)} targets",
                    "matching by grading unit needs at most one; match by box",
                )
                for unit in sorted({unit for unit in held if held.count(unit) > 1})
            ]
    if faults:
        raise InputError(faults)
    return {
        row.code: Presented(row.code, by_id[row.block], row.flipped, row.datum_offset_mm)
        for row in key
    }


def check_calls(calls: Sequence[Call], presented: Mapping[str, Presented]) -> None:
    """Raise an `InputError` for codes that the key does not hold and units a piece lacks."""
    faults = []
    for call in calls:
        piece = presented.get(call.row.code)
        if piece is None:
            faults.append(
                Fault(f"{call.place}: code", f"'{call.row.code}' is not in the key", "mend it")
            )
        elif call.row.unit > len(piece.units):
            faults.append(
                Fault(
                    f"{call.place}: unit",
                    f"{call.row.unit} of piece {call.row.code}",
                    f"it has units 1 to {len(piece.units)}",
                )
            )
        else:
            faults += _off_the_piece(call, piece)
    if faults:
        raise InputError(faults)


def _off_the_piece(call: Call, piece: Presented) -> list[Fault]:
    """Return faults for a position so far outside the piece that it must be a slip of the pen."""
    outline, row = piece.block.outline, call.row
    spans = {
        "x_mm": (None if row.x_mm is None else piece.x_mm(row.x_mm), outline.length_mm),
        "z_mm": (row.z_mm, outline.thickness_mm),
    }
    return [
        Fault(
            f"{call.place}: {name}",
            f"{getattr(row, name):g} lies {max(-at, at - limit):g} mm outside piece {row.code}",
            "mend the position",
        )
        for name, (at, limit) in spans.items()
        if at is not None and not -BEYOND_MM <= at <= limit + BEYOND_MM
    ]


def pass_of(call: Call) -> Pass:
    """Return the pass a call belongs to."""
    row = call.row
    return (row.reader, row.mode, row.repeat, "re-reading" if call.re_reading else "first")


def passes(calls: Iterable[Call], modes: Iterable[str]) -> list[Pass]:
    """Return all passes, in the plan's order of modes."""
    order = {mode: number for number, mode in enumerate(modes)}
    return sorted({pass_of(call) for call in calls}, key=lambda p: (order[p[1]], p))


def place(call: Call, piece: Presented) -> Placed:
    """Return a call in block coordinates (rounded to a nanometre)."""
    row, named = call.row, piece.units[call.row.unit - 1]
    if row.x_mm is None:
        return Placed(call, piece.block, named, named, (named,), None, None)
    x, half = round(piece.x_mm(row.x_mm), 6), (row.length_x_mm or 0.0) / 2
    touched = tuple(
        unit
        for unit in piece.block.grading_units
        if unit.x_from_mm <= x + half and unit.x_to_mm >= x - half
    )
    home = piece.block.unit_of(x) or (named if named in touched else None)
    return Placed(call, piece.block, named, home, touched, x, piece.y_mm(row.y_mm))

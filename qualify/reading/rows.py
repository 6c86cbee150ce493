"""The rows of the three tables, each from one unit, target or call."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qualify.blocks.definition import Block, GradingUnit
from qualify.blocks.metrology import Quantity
from qualify.blocks.targets import TargetBase
from qualify.errors import refuse
from qualify.reading.key import SetRow
from qualify.reading.matching import BoxRule
from qualify.reading.placing import Pass, Placed, pass_of
from qualify.reading.tables import BLANK, MatchedCallRow, MeasurementRow, OpportunityRow


@dataclass(frozen=True, slots=True)
class Scheme:
    """What of the plan the scoring needs.

    Attributes
    ----------
    box : the matching box, None for matching by grading unit.
    size_quantity : for each kind of target, the quantity that is its size.
    sized : the kinds whose size readers report.
    modes : mode ids in the plan's order, with their threshold (None where called by eye).
    signal, read_by : what kind of signal and reader this study holds.
    rule_readers : ids of readings by rule beside the readers.
    """

    box: BoxRule | None
    size_quantity: Mapping[str, str]
    sized: frozenset[str]
    modes: Mapping[str, float | None]
    signal: str
    read_by: str
    rule_readers: frozenset[str] = frozenset()

    def read_by_of(self, reader: str) -> str:
        """Return what kind of reader one is."""
        return "rule" if reader in self.rule_readers else self.read_by


@dataclass(frozen=True, slots=True)
class Found:
    """What a call was matched with: a target, or nothing and of which sort."""

    target: TargetBase | None
    match: str
    distance_mm: float | None


@dataclass(frozen=True, slots=True)
class Shared:
    """What the rows of one unit under one pass share."""

    block: Block
    unit: GradingUnit
    look: Pass
    examined: bool
    software: str | None


def set_of(block: Block, target: TargetBase | None, sets: Sequence[SetRow]) -> str:
    """Return the set a unit counts under: its target's, else its block's, else `blind`."""
    own = [row.set for row in sets if row.block == block.id]
    if target is not None:
        own = [r.set for r in sets if (r.block, r.target) == (block.id, target.id)] or own
    if not own or "blind" in own:
        return "blind"
    return sorted(own)[0]


def flawed_row(
    shared: Shared,
    target: TargetBase,
    hit: Placed | None,
    sets: Sequence[SetRow],
    scheme: Scheme,
) -> OpportunityRow:
    """Return the opportunity of a target and the call that hit it, if any."""
    reader, mode, repeat, reading = shared.look
    size = _size(target, scheme)
    threshold = scheme.modes[mode]
    return OpportunityRow.model_validate(
        {
            "specimen": shared.block.id,
            "set": set_of(shared.block, target, sets),
            "grading_unit": shared.unit.id,
            "target": target.id,
            "kind": target.kind_name,
            "size_mm": size.value,
            "size_u_mm": size.standard_uncertainty,
            "mode": mode,
            "reader": reader,
            "repeat": repeat,
            "reading": reading,
            "signal": scheme.signal,
            "read_by": scheme.read_by_of(reader),
            "examined": int(shared.examined),
            "hit": int(hit is not None),
            "response": None if hit is None else hit.call.row.response,
            "response_unit": None if hit is None else hit.call.row.response_unit,
            "censored": "left" if threshold is not None and hit is None else None,
            "threshold": threshold,
            "depth_mm": target.z_mm,
            "tilt_deg": target.tilt,
            "software": shared.software,
        }
    )


def blank_row(
    shared: Shared,
    called: Sequence[Placed],
    sets: Sequence[SetRow],
    scheme: Scheme,
    empty: Placed | None = None,
) -> OpportunityRow:
    """Return the opportunity of a blank unit and the calls in it; its response is the largest.

    empty : the row of a unit with nothing found that tells the largest response seen there.
    """
    reader, mode, repeat, reading = shared.look
    told = [one for one in called if one.call.row.response is not None] if shared.examined else []
    units = {one.call.row.response_unit for one in told}
    peak = max(told, key=_response, default=None) if len(units) == 1 else None
    if peak is None and not called and shared.examined:
        peak = empty
    return OpportunityRow.model_validate(
        {
            "specimen": shared.block.id,
            "set": set_of(shared.block, None, sets),
            "grading_unit": shared.unit.id,
            "kind": BLANK,
            "mode": mode,
            "reader": reader,
            "repeat": repeat,
            "reading": reading,
            "signal": scheme.signal,
            "read_by": scheme.read_by_of(reader),
            "examined": int(shared.examined),
            "hit": int(bool(called) and shared.examined),
            "response": None if peak is None else peak.call.row.response,
            "response_unit": None if peak is None else peak.call.row.response_unit,
            "censored": "left" if scheme.modes[mode] is not None and peak is None else None,
            "threshold": scheme.modes[mode],
            "software": shared.software,
        }
    )


def _response(placed: Placed) -> float:
    return placed.call.row.response or 0.0


def _size(target: TargetBase, scheme: Scheme) -> Quantity:
    name = scheme.size_quantity.get(target.kind_name, target.size_quantity)
    quantity = target.quantities().get(name)
    if quantity is None:
        raise refuse(
            f"plan: populations: {target.kind_name}: size_quantity",
            f"'{name}' is no quantity of a {target.kind_in_words}",
            f"use one of {', '.join(target.quantities())}",
        )
    return quantity


def measurement(
    shared: Shared, target: TargetBase, hit: Placed | None, scheme: Scheme
) -> MeasurementRow:
    """Return the sizing of a target, empty where it was missed or not sized."""
    reader, mode, repeat, reading = shared.look
    size, row = _size(target, scheme), None if hit is None else hit.call.row
    return MeasurementRow(
        specimen=shared.block.id,
        target=target.id,
        kind=target.kind_name,
        quantity=scheme.size_quantity[target.kind_name],
        mode=mode,
        reader=reader,
        repeat=repeat,
        reading=reading,
        found=int(hit is not None),
        true=size.value,
        true_u=size.standard_uncertainty,
        reported=None if row is None else row.size_mm,
        unit="mm",
        method=None if row is None else row.size_method,
    )


def call_row(placed: Placed, scheme: Scheme, found: Found) -> MatchedCallRow:
    """Return the row of one indication."""
    row, call = placed.call.row, placed.call
    reader, mode, repeat, reading = pass_of(call)
    return MatchedCallRow.model_validate(
        {
            "reader": reader,
            "mode": mode,
            "repeat": repeat,
            "reading": reading,
            "specimen": placed.block.id,
            "grading_unit": None if placed.home is None else placed.home.id,
            "units_touched": " ".join(unit.id for unit in placed.touched) or None,
            "named_unit": placed.named.id,
            "x_mm": placed.x_mm,
            "y_mm": placed.y_mm,
            "z_mm": row.z_mm,
            "length_x_mm": row.length_x_mm,
            "size_mm": row.size_mm,
            "response": row.response,
            "response_unit": row.response_unit,
            "confidence": row.confidence,
            "cause": row.cause,
            "software": row.software,
            "match": found.match,
            "target": None if found.target is None else found.target.id,
            "rule": "grading_unit" if scheme.box is None else "box",
            "distance_mm": found.distance_mm,
            "file": call.file,
            "sheet": call.sheet,
            "row": call.number,
        }
    )

"""Checks of one block: inside the outline, unique ids, units apart, sizes consistent."""

from qualify.blocks.definition import Block
from qualify.errors import Fault, InputError


def check_block(block: Block, place: str) -> None:
    """Raise an `InputError` with every fault of the block's geometry and ids.

    Checked: target and grading-unit ids are unique; every target lies inside the outline with
    its whole extent; grading units lie inside the length, in order and apart; every target of
    a block with grading units lies with its centre in one of them.
    """
    faults = _double_ids(block, place) + _outside(block, place) + _units(block, place)
    if faults:
        raise InputError(faults)


def _double_ids(block: Block, place: str) -> list[Fault]:
    faults = []
    for name, items in (("targets", block.targets), ("grading_units", block.grading_units)):
        ids = [item.id for item in items]
        faults += [
            Fault(f"{place}: {name}.{i}.id", f"'{id_}' stands twice", "give every one its own id")
            for i, id_ in enumerate(ids, start=1)
            if id_ in ids[: i - 1]
        ]
    return faults


def _outside(block: Block, place: str) -> list[Fault]:
    outline, faults = block.outline, []
    for number, target in enumerate(block.targets, start=1):
        half_x, half_z = target.half_extent_mm
        spans = {
            "x": (target.x_mm - half_x, target.x_mm + half_x, outline.length_mm),
            "y": (*target.y_span_mm, outline.width_mm),
            "z": (target.z_mm - half_z, target.z_mm + half_z, outline.thickness_mm),
        }
        faults += [
            Fault(
                f"{place}: targets.{number}",
                f"'{target.id}' reaches from {axis} = {low:g} to {high:g} mm",
                f"keep it inside 0 to {limit:g} mm",
            )
            for axis, (low, high, limit) in spans.items()
            if low < -1e-9 or high > limit + 1e-9
        ]
        if block.grading_units and block.unit_of(target.x_mm) is None:
            faults.append(
                Fault(
                    f"{place}: targets.{number}",
                    f"'{target.id}' at x = {target.x_mm:g} mm lies in no grading unit",
                    "move it or give it a unit",
                )
            )
    return faults


def _units(block: Block, place: str) -> list[Fault]:
    faults, before = [], 0.0
    for number, unit in enumerate(block.grading_units, start=1):
        if not before - 1e-9 <= unit.x_from_mm < unit.x_to_mm <= block.outline.length_mm:
            faults.append(
                Fault(
                    f"{place}: grading_units.{number}",
                    f"'{unit.id}' reaches from {unit.x_from_mm:g} to {unit.x_to_mm:g} mm",
                    f"units rise in x without overlap, from {before:g} mm on, inside "
                    f"{block.outline.length_mm:g} mm",
                )
            )
        before = max(before, unit.x_to_mm)
    return faults

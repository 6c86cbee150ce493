"""Targets of a block as an image may show them once their truth is open.

A recording is told by the id of its block and the place of its array's middle on it; targets are
then placed in its frame. Recorded from face B, depths count from there.
"""

import math
from typing import Literal

from qualify.blocks.definition import Block
from qualify.blocks.targets import (
    EmbeddedSlot,
    FlatBottomedHole,
    Notch,
    SideDrilledHole,
    TargetBase,
)
from qualify.errors import Fault, InputError
from qualify.figures.image_panel import TrueTarget
from qualify.recording.record import Recording


def true_targets(block: Block, recording: Recording, name: str) -> tuple[TrueTarget, ...]:
    """Return the targets of a block in the frame of a recording; `name` is used in messages.

    Raises
    ------
    InputError : if the recording is of another block, or does not say where on it it was made.
    """
    faults = []
    if recording.block != block.id:
        found = "names no block" if recording.block is None else f"is of block {recording.block}"
        faults.append(Fault(name, found, f"give the recording of {block.id}, or its own block"))
    if recording.position_mm is None:
        faults.append(
            Fault(name, "does not say where the array stood", "record it with its position_mm")
        )
    if faults:
        raise InputError(faults)
    assert recording.position_mm is not None
    return tuple(_placed(target, block, recording.position_mm) for target in block.targets)


def _placed(target: TargetBase, block: Block, position_mm: float) -> TrueTarget:
    half_x, half_z = target.half_extent_mm
    x, tilt = target.x_mm, target.tilt or 0.0
    from_b = block.scan_surface == "B"
    depth = block.outline.thickness_mm - target.z_mm if from_b else target.z_mm
    shape: Literal["hole", "slot", "box"] = "box"
    rising = tilt < 0.0
    if isinstance(target, SideDrilledHole):
        shape = "hole"
    elif isinstance(target, (EmbeddedSlot, FlatBottomedHole)):
        shape = "slot"
    elif isinstance(target, Notch) and target.along == "y":
        shape = "slot"
        lean = 2.0 * half_z * math.tan(math.radians(tilt))  # its mouth stands at x
        x, half_x = x + lean / 2.0, abs(lean) / 2.0
        rising = (target.face == "B") != rising
    return TrueTarget(x - position_mm, depth, half_x, half_z, shape, rising != from_b)

"""A model of readers who call by eye; no signal is computed, nothing is measured.

A target of size `a` shows to a reader with the latent margin, in ln size,

    ln(a / a50 of mode and kind) - tilt cost - depth cost
        + effect of the target, shared by modes and readers
        + effect of the target in this mode, shared by readers
        - caution of the reader + scatter of this look

and is called where the margin is above 0 and the reader does not lapse. This is a probit
curve in ln size with correlated outcomes on one target. False calls fall in blank and in
flawed units alike, at a rate of the reader and the mode, independently of each other:
grain that misleads all readers at once is not modelled, nor fatigue, nor learning.
All numbers stand in `qualify.demo.assumptions` and are invented.
"""

import math
from dataclasses import dataclass

import numpy as np

from qualify.blocks.definition import Block, GradingUnit
from qualify.blocks.targets import EmbeddedSlot, TargetBase
from qualify.demo.assumptions import (
    CAUSE_OF_FALSE_CALL,
    CAUSE_OF_HIT,
    CAUSES,
    CONFIDENCE_OF_FALSE_CALL,
    GROSS_ERROR_FRACTION,
    MODES,
    READERS,
    SHARED_SD,
    SMALLEST_EXTENT_MM,
    UNSIZED_FRACTION,
)
from qualify.demo.seeds import stream

REGION_X_MM = 13.0
REGION_Z_MM = (4.0, 56.0)
FALSE_LENGTH_MM = (1.0, 5.0)
SPOT_MM = {"linear": 2.2, "coherence": 0.9}


@dataclass(frozen=True, slots=True)
class Look:
    """Who looks, in which mode, and at which reading: '1', or '2' for a re-reading."""

    reader: str
    mode: str
    reading: str = "1"


@dataclass(frozen=True, slots=True)
class Indication:
    """An indication in the block's frame, millimetres; `size_mm` None where none is given."""

    x_mm: float
    z_mm: float
    length_x_mm: float
    confidence: int
    cause: str
    size_mm: float | None = None


def target_effect(block: str, target: str, mode: str) -> float:
    """Return the effect of a target, shared part plus the mode's own, in ln size."""
    shared = stream(f"target/{block}/{target}").normal(0.0, SHARED_SD)
    own = stream(f"target/{block}/{target}/{mode}").normal(0.0, MODES[mode].own_sd)
    return float(shared + own)


def visibility(block: str, target: TargetBase, mode: str) -> float:
    """Return the latent margin of a target before any reader, in ln size."""
    assumed = MODES[mode]
    a50_mm = assumed.slot_a50_mm if isinstance(target, EmbeddedSlot) else assumed.hole_a50_mm
    margin = math.log(target.size.value / a50_mm)
    margin -= assumed.tilt_per_deg * abs(target.tilt or 0.0)
    margin -= assumed.depth_per_mm * (target.z_mm - 30.0)
    return margin + target_effect(block, target.id, mode)


def indications(block: Block, unit: GradingUnit, look: Look) -> list[Indication] | None:
    """Return what a reader calls in a unit, in rising x; None if the unit was not examined."""
    rng = stream(f"look/{look.reading}/{look.reader}/{look.mode}/{block.id}/{unit.id}")
    reader = READERS[look.reader]
    if rng.random() < reader.not_examined_fraction:
        return None
    found = []
    for target in block.targets:
        if block.unit_of(target.x_mm) is unit:
            margin = visibility(block.id, target, look.mode)
            margin += rng.normal(-reader.caution, reader.look_sd)
            attentive = rng.random() >= reader.lapse_fraction
            if margin > 0 and attentive:
                found.append(_found(target, margin, look, rng))
    if rng.random() < reader.false_calls_per_unit[look.mode]:
        found.append(_false_call(unit, look.mode, rng))
    return sorted(found, key=lambda item: item.x_mm)


def _found(target: TargetBase, margin: float, look: Look, rng: np.random.Generator) -> Indication:
    assumed = MODES[look.mode]
    x, z = rng.normal((target.x_mm, target.z_mm), (assumed.x_sd_mm, assumed.z_sd_mm))
    if rng.random() < GROSS_ERROR_FRACTION:
        z += rng.choice((-1.0, 1.0)) * rng.uniform(5.0, 9.0)
    confidence = int(np.clip(2 + math.floor(margin / 0.3) + rng.integers(-1, 2), 1, 5))
    cause = str(rng.choice(CAUSES, p=CAUSE_OF_HIT))
    size = _extent(target, look, rng)
    apparent = target.half_extent_mm[0] + SPOT_MM[look.mode] if size is None else size
    z = float(np.clip(z, *REGION_Z_MM))
    return Indication(float(x), z, apparent, confidence, cause, size)


def _extent(target: TargetBase, look: Look, rng: np.random.Generator) -> float | None:
    if not isinstance(target, EmbeddedSlot) or rng.random() < UNSIZED_FRACTION:
        return None
    assumed = MODES[look.mode]
    told = assumed.size_offset_mm + assumed.size_slope * target.size.value
    told += READERS[look.reader].size_bias_mm + rng.normal(0.0, assumed.size_sd_mm)
    return max(SMALLEST_EXTENT_MM, float(told))


def _false_call(unit: GradingUnit, mode: str, rng: np.random.Generator) -> Indication:
    centre = (unit.x_from_mm + unit.x_to_mm) / 2
    return Indication(
        x_mm=centre + float(rng.uniform(-REGION_X_MM, REGION_X_MM)),
        z_mm=float(rng.uniform(*REGION_Z_MM)),
        length_x_mm=float(rng.uniform(*FALSE_LENGTH_MM)),
        confidence=1 + int(rng.choice(5, p=CONFIDENCE_OF_FALSE_CALL)),
        cause=str(rng.choice(CAUSES, p=CAUSE_OF_FALSE_CALL[mode])),
    )

"""What the modes make of set-up blocks: each known target beside the same place without it.

A target counts as seen where its echo stands `CLEAR_DB` above the largest of the same box in the
flaw-free twin, or its coherence that far in ratio. The dead zone of a mode is told twice: from
the targets (the shallowest from which on all deeper ones are seen), and from the twin (down to
where ring-down alone reaches what a target gives, less a margin).
"""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from qualify import __version__
from qualify.blocks.definition import Block
from qualify.imaging.controls import dead_zone
from qualify.imaging.echo import echo_width
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Image
from qualify.imaging.region import Box, peak_in
from qualify.recording.record import Recording
from qualify.simulation.words import LEFT_OUT, MODEL
from qualify.study.imaging_plan import ImagingPlan

CLEAR_DB = 6.0
MARGIN_DB = 6.0
BOX_MM = 2.0  # about a target, added to its half extent
DEEP_SHARE = 0.5  # targets deeper than this share of the deepest give the reference level


@dataclass(frozen=True, slots=True)
class SeenTarget:
    """One target in one mode.

    Attributes
    ----------
    depth_mm : of its nearest point, known. found_mm : of the peak, less the known depth.
    level, twin_level : peak of the box with and without the target, in `unit`.
    excess_db : the one over the other, decibels of amplitude or of coherence.
    seen : whether the excess reaches `CLEAR_DB`; None where the mode does not cover the place.
    width_x_mm, width_z_mm : of its echo at half the peak; None where it does not close.
    """

    block: str
    target: str
    depth_mm: float
    mode: str
    unit: str
    level: float | None
    twin_level: float | None
    excess_db: float | None
    seen: bool | None
    depth_error_mm: float | None
    width_x_mm: float | None
    width_z_mm: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class ModeSetUp:
    """One mode on one block.

    Attributes
    ----------
    shallowest_mm : depth of the shallowest target from which on all deeper ones are seen.
    dead_zone_mm : down to where the flaw-free twin reaches the reference level, which is the
        median of the deeper targets less a margin.
    """

    block: str
    mode: str
    seen: int
    targets: int
    shallowest_mm: float | None
    dead_zone_mm: float | None
    reference_level: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class Pair:
    """A recording over a target, and its flaw-free twin."""

    block: Block
    target: str
    recording: Recording
    twin: Recording


def set_up(
    pairs: Iterable[Pair], plan: ImagingPlan, told: Callable[[str], None]
) -> tuple[tuple[SeenTarget, ...], tuple[ModeSetUp, ...]]:
    """Return what each mode makes of each target, and of each block.

    pairs : yields `Pair`, one after the other, so that one is held at a time.
    """
    rows: list[SeenTarget] = []
    twins: dict[tuple[str, str], list[Image]] = {}
    grid = plan.region.grid()
    for pair in pairs:
        told(f"{pair.block.id}, {pair.target}")
        images = make_images(pair.recording, plan.modes, grid)
        clean = make_images(pair.twin, plan.modes, grid)
        for image, twin in zip(images, clean, strict=True):
            rows.append(_seen(pair, image, twin))
            twins.setdefault((pair.block.id, image.mode), []).append(twin)
    modes = [
        _mode(block, mode, [r for r in rows if (r.block, r.mode) == (block, mode)], held)
        for (block, mode), held in twins.items()
    ]
    return tuple(rows), tuple(modes)


def _seen(pair: Pair, image: Image, twin: Image) -> SeenTarget:
    target = next(t for t in pair.block.targets if t.id == pair.target)
    half_x, half_z = target.half_extent_mm
    outline = pair.block.outline
    from_a = pair.block.scan_surface == "A"
    middle = target.z_mm if from_a else outline.thickness_mm - target.z_mm
    depth = middle - half_z
    at = target.x_mm - float(pair.recording.position_mm or 0.0)
    box = Box(
        (at - half_x - BOX_MM, at + half_x + BOX_MM),
        (max(depth - BOX_MM, 0.0), middle + half_z + BOX_MM),
    )
    echo = echo_width(image, box)
    empty = peak_in(twin, box)
    excess = _excess_db(image.unit, echo.peak.value, empty.value)
    found = echo.peak.z_mm
    return SeenTarget(
        pair.block.id,
        target.id,
        round(depth, 3),
        image.mode,
        image.unit,
        echo.peak.value,
        empty.value,
        excess,
        None if excess is None else excess >= CLEAR_DB,
        None if found is None else found - depth,
        echo.width_x_mm,
        echo.width_z_mm,
        echo.reason,
    )


def _excess_db(unit: str, level: float | None, empty: float | None) -> float | None:
    if level is None or empty is None:
        return None
    if unit == "db":
        return level - empty
    return float(20.0 * np.log10(max(level, 1e-9) / max(empty, 1e-9)))


def _mode(block: str, mode: str, rows: list[SeenTarget], twins: list[Image]) -> ModeSetUp:
    rows = sorted(rows, key=lambda row: row.depth_mm)
    shallowest = None
    for row in reversed(rows):
        if not row.seen:
            break
        shallowest = row.depth_mm
    deepest = rows[-1].depth_mm
    levels = [
        row.level
        for row in rows
        if row.seen and row.level is not None and row.depth_mm >= DEEP_SHARE * deepest
    ]
    told = ModeSetUp(
        block, mode, sum(bool(r.seen) for r in rows), len(rows), shallowest, None, None, None
    )
    if not levels:
        return _with(told, None, None, "no deeper target is seen, so that there is no reference")
    unit = rows[0].unit
    reference = float(np.median(levels))
    reference = reference - MARGIN_DB if unit == "db" else reference * 10 ** (-MARGIN_DB / 20.0)
    grid = twins[0].grid
    edge = 2.0 * grid.step_x_mm
    found = [
        dead_zone(twin, reference, (-edge, edge), search_to_mm=deepest, clear_mm=0.1 * deepest)
        for twin in twins
    ]
    depths = [zone.depth_mm for zone in found]
    if any(depth is None for depth in depths):
        reason = next(zone.reason for zone in found if zone.depth_mm is None)
        return _with(told, None, reference, reason)
    return _with(told, max(float(d) for d in depths if d is not None), reference, None)


def _with(
    told: ModeSetUp, zone: float | None, reference: float | None, reason: str | None
) -> ModeSetUp:
    return ModeSetUp(
        told.block, told.mode, told.seen, told.targets, told.shallowest_mm, zone, reference, reason
    )


def document(
    study: str, rows: tuple[SeenTarget, ...], modes: tuple[ModeSetUp, ...]
) -> dict[str, Any]:
    """Return everything as plain values."""
    return {
        "what": "set-up blocks",
        "study": study,
        "signal": "simulated",
        "model": MODEL,
        "software": __version__,
        "left_out": list(LEFT_OUT),
        "clear_db": CLEAR_DB,
        "margin_db": MARGIN_DB,
        "modes": [asdict(mode) for mode in modes],
        "targets": [asdict(row) for row in rows],
    }

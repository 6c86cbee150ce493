"""What the modes make of set-up blocks: each known target beside the same place without it.

A target's echo is looked for about its known nearest point, within a pulse, so that ring-down above
it and the wall below it are not taken for it; a largest value at the edge of that box is no echo of
its own. It counts as seen where it stands 6 dB above the largest of the same box in the flaw-free
twin, or where its coherence is twice that: no threshold of detection. A coherence has no decibels
and tells no depth.

Ring-down is told from the twin: down to where it alone reaches what deep targets give, less a
margin. That is no dead zone: lateral and surface waves, which make most of one in total focusing,
are not in the model.
"""

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from qualify import __version__
from qualify.blocks.definition import Block
from qualify.imaging.controls import dead_zone
from qualify.imaging.echo import echo_width
from qualify.imaging.fidelity import pulse_width_mm
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Image
from qualify.imaging.region import Box, peak_in
from qualify.recording.record import Recording
from qualify.simulation.words import LEFT_OUT, MODEL
from qualify.study.imaging_plan import ImagingPlan

CLEAR_DB = 6.0
MARGIN_DB = 6.0
ASIDE_MM = 1.5  # beside a target, added to its half extent
TWICE = 2.0  # of coherence over the twin's: what 6 dB is of amplitude
DEEP_SHARE = 0.5  # targets deeper than this share of the deepest give the reference level
CAUTIONS = (
    "seen is no threshold of detection, and no false calls were counted",
    "ring-down alone is told: lateral and surface waves are not in the model, and a real dead zone "
    "is longer, most of all in total focusing and coherence",
    "a twin has the coupling and the noise of its recording; a real one has not, so that every "
    "excess is the best case",
    "waves are taken as plane on a target: within a few millimetres of the array levels are rough",
)
NOT_CLEAR = "not clear of the same box without the target"
NO_ECHO = "the largest value lies at the edge of the box in depth: no echo of its own"
QUIET = "the level is reached nowhere in the image, which starts at {:g} mm"


@dataclass(frozen=True, slots=True)
class SeenTarget:
    """One target in one mode.

    Attributes
    ----------
    depth_mm : of its nearest point, known.
    level, twin_level : largest of the box with and without the target, in `unit`.
    excess_db : the one over the other, of amplitudes; None for a coherence.
    seen : whether the echo is clear of the twin; None where the mode does not cover the place.
    depth_error_mm : of the peak, less the known depth; amplitudes only.
    width_x_mm, width_z_mm : of its echo at half the peak; None where it does not close.
    reason : why something is None that a seen target has.
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
    ring_down_mm : down to where the flaw-free twin reaches the reference level, which is the
        median of the deeper targets less a margin; None, with `reason`, where that is nowhere.
    """

    block: str
    mode: str
    seen: int
    targets: int
    shallowest_mm: float | None
    ring_down_mm: float | None
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
    pulse = pulse_width_mm(pair.recording.probe, pair.recording.medium.longitudinal_m_per_s)
    low = depth + pulse + (0.0 if target.kind_name == "side_drilled_hole" else 2.0 * half_z)
    box = Box((at - half_x - ASIDE_MM, at + half_x + ASIDE_MM), (max(depth - pulse, 0.0), low))
    echo, empty = echo_width(image, box), peak_in(twin, box)
    level, without, found = echo.peak.value, empty.value, echo.peak.z_mm
    known = SeenTarget(
        pair.block.id, target.id, round(depth, 3), image.mode, image.unit, level, without,
        None, None, None, None, None, echo.peak.reason or empty.reason,
    )  # fmt: skip
    if level is None or without is None or found is None:
        return known
    decibels = image.unit == "db"
    excess = level - without if decibels else None
    clear = excess >= CLEAR_DB if excess is not None else level >= without * TWICE
    step = image.grid.step_z_mm
    edge = min(found - box.z_mm[0], box.z_mm[1] - found) < step
    if not clear or (decibels and edge):
        reason = NO_ECHO if clear else NOT_CLEAR
        return replace(known, excess_db=excess, seen=False, reason=reason)
    return replace(
        known,
        excess_db=excess,
        seen=True,
        depth_error_mm=found - depth if decibels else None,
        width_x_mm=echo.width_x_mm,
        width_z_mm=echo.width_z_mm,
        reason=echo.reason,
    )


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
    if any(zone.depth_mm is None for zone in found):
        reason = next(zone.reason for zone in found if zone.depth_mm is None)
        return _with(told, None, reference, reason)
    deep = max(float(zone.depth_mm or 0.0) for zone in found)
    if deep <= grid.z_from_mm + grid.step_z_mm:
        return _with(told, None, reference, QUIET.format(grid.z_from_mm))
    return _with(told, deep, reference, None)


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
        "cautions": list(CAUTIONS),
        "clear_db": CLEAR_DB,
        "margin_db": MARGIN_DB,
        "modes": [asdict(mode) | {"signal": "simulated"} for mode in modes],
        "targets": [asdict(row) | {"signal": "simulated"} for row in rows],
    }

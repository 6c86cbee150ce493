"""Images as the plain values that their figures take."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qualify.figures.coverage import CoverageView
from qualify.figures.image_panel import ImagePanel, TrueTarget
from qualify.imaging.grid import Grid, Image
from qualify.imaging.modes import Mode
from qualify.recording.gate import GateResult
from qualify.recording.record import Recording

EMPTY_DB = -100.0  # top of the colours where no amplitude image shows anything


@dataclass(frozen=True, slots=True)
class Shown:
    """How images are shown beside one another.

    Attributes
    ----------
    range_db, top_db : colours of amplitudes run `range_db` below `top_db`.
    scale_bar_mm : None for a round length that fits.
    truth : targets to be drawn; given only where the user has said that their truth is open.
    """

    range_db: float
    top_db: float
    scale_bar_mm: float | None = None
    truth: tuple[TrueTarget, ...] | None = None


def image_panels(
    images: Sequence[Image],
    modes: Sequence[Mode],
    recording: Recording,
    result: GateResult,
    shown: Shown,
) -> tuple[ImagePanel, ...]:
    """Return a panel for each image; all amplitudes on one colour range."""
    return tuple(
        ImagePanel(
            values=image.values,
            x_mm=image.grid.x_mm(),
            z_mm=image.grid.z_mm(),
            unit=image.unit,
            low=0.0 if image.unit == "coherence" else shown.top_db - shown.range_db,
            high=1.0 if image.unit == "coherence" else shown.top_db,
            mode=image.mode,
            method=image.method,
            covered=image.covered,
            signal=image.signal,
            threshold=mode.threshold,
            contour=mode.threshold is not None,
            reference=_reference(mode, recording),
            scale_bar_mm=shown.scale_bar_mm or _round_length(image.grid),
            random_mean=image.random_level,
            random_99=image.random_99,
            rejected=tuple(reason.words for reason in result.reasons),
            notes=_notes(image, recording),
            truth=_within(shown.truth, image.grid),
            truth_open=shown.truth is not None,
        )
        for image, mode in zip(images, modes, strict=True)
    )


def _within(truth: tuple[TrueTarget, ...] | None, grid: Grid) -> tuple[TrueTarget, ...] | None:
    """Return the targets that reach into a grid; None where there is none to draw."""
    x, z = grid.x_mm(), grid.z_mm()
    held = tuple(
        target
        for target in truth or ()
        if x[0] <= target.x_mm + target.half_x_mm
        and target.x_mm - target.half_x_mm <= x[-1]
        and z[0] <= target.z_mm + target.half_z_mm
        and target.z_mm - target.half_z_mm <= z[-1]
    )
    return held or None


def _reference(mode: Mode, recording: Recording) -> str:
    scale = "full scale of one received signal"
    if recording.full_scale is None:
        scale = "1 in the unit of the samples"
    return scale if mode.show == "amplitude" else f"{scale}, weighted by coherence"


def _notes(image: Image, recording: Recording) -> tuple[str, ...]:
    """Return what ties a picture to its recording, and what its levels of chance stand for."""
    block = "block not told" if recording.block is None else f"block {recording.block}"
    place = "" if recording.position_mm is None else f" at {recording.position_mm:g} mm"
    notes = [f"recording {image.recording[:12]}, {block}{place}"]
    few = image.fewest_elements
    if image.random_99 is not None and few is not None and few < recording.probe.elements:
        notes.append(f"random phases: of the fewest elements at a pixel, {few}")
    return tuple(notes)


def coverage_views(panels: Sequence[ImagePanel]) -> tuple[CoverageView, ...]:
    """Return what each panel covers."""
    return tuple(CoverageView(p.mode, p.x_mm, p.z_mm, p.covered) for p in panels)


def _round_length(grid: Grid) -> float:
    """Return the largest of 1, 2, 5, 10, … mm that is at most half the width of a grid."""
    half = grid.columns * grid.step_x_mm / 2.0
    decade = 10.0 ** np.floor(np.log10(half))
    return float(decade * max(m for m in (1.0, 2.0, 5.0) if m * decade <= half * (1 + 1e-9)))


def top_db(images: Sequence[Image]) -> float:
    """Return the largest covered amplitude of all images, up to the next whole dB.

    Images of nothing stay dark: it is no less than `EMPTY_DB`.
    """
    shown = [i.values[i.covered].max() for i in images if i.unit == "db" and i.covered.any()]
    return max(EMPTY_DB, float(np.ceil(max(shown, default=EMPTY_DB))))

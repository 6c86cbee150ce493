"""Images as the plain values that their figures take."""

from collections.abc import Sequence

import numpy as np

from qualify.figures.coverage import CoverageView
from qualify.figures.image_panel import ImagePanel, TrueTarget
from qualify.imaging.grid import Grid, Image
from qualify.imaging.modes import Mode
from qualify.recording.gate import GateResult

EMPTY_DB = -100.0  # top of the colours where no amplitude image shows anything


def image_panels(
    images: Sequence[Image],
    modes: Sequence[Mode],
    result: GateResult,
    *,
    range_db: float,
    scale_bar_mm: float | None,
    truth: tuple[TrueTarget, ...] | None = None,
) -> tuple[ImagePanel, ...]:
    """Return a panel for each image; all amplitudes on one colour range, to the largest of all.

    `truth` : targets to be drawn; given only where the user has said that their truth is open.
    """
    top = _largest_db(images)
    return tuple(
        ImagePanel(
            values=image.values,
            x_mm=image.grid.x_mm(),
            z_mm=image.grid.z_mm(),
            unit=image.unit,
            low=0.0 if image.unit == "coherence" else top - range_db,
            high=1.0 if image.unit == "coherence" else top,
            mode=image.mode,
            method=image.method,
            covered=image.covered,
            signal=image.signal,
            threshold=mode.threshold,
            contour=mode.threshold is not None,
            scale_bar_mm=scale_bar_mm or _round_length(image.grid),
            random_mean=image.random_level,
            random_99=image.random_99,
            rejected=tuple(reason.words for reason in result.reasons),
            truth=truth,
            truth_open=truth is not None,
        )
        for image, mode in zip(images, modes, strict=True)
    )


def coverage_views(panels: Sequence[ImagePanel]) -> tuple[CoverageView, ...]:
    """Return what each panel covers."""
    return tuple(CoverageView(p.mode, p.x_mm, p.z_mm, p.covered) for p in panels)


def _round_length(grid: Grid) -> float:
    """Return the largest of 1, 2, 5, 10, … mm that is at most half the width of a grid."""
    half = grid.columns * grid.step_x_mm / 2.0
    decade = 10.0 ** np.floor(np.log10(half))
    return float(decade * max(m for m in (1.0, 2.0, 5.0) if m * decade <= half * (1 + 1e-9)))


def _largest_db(images: Sequence[Image]) -> float:
    """Return the largest covered amplitude of all images, up to the next whole dB."""
    shown = [i.values[i.covered].max() for i in images if i.unit == "db" and i.covered.any()]
    return float(np.ceil(max(shown))) if shown else EMPTY_DB

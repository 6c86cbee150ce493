"""Images as the plain values that their figures take."""

from collections.abc import Sequence

import numpy as np

from qualify.figures.coverage import CoverageView
from qualify.figures.image_panel import ImagePanel
from qualify.imaging.grid import Image
from qualify.imaging.modes import Mode
from qualify.recording.gate import GateResult

EMPTY_DB = -100.0  # top of the colours where no amplitude image shows anything


def image_panels(
    images: Sequence[Image],
    modes: Sequence[Mode],
    result: GateResult,
    *,
    range_db: float,
    scale_bar_mm: float,
) -> tuple[ImagePanel, ...]:
    """Return a panel for each image; all amplitudes on one colour range, to the largest of all."""
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
            scale_bar_mm=scale_bar_mm,
            random_mean=image.random_level,
            random_99=image.random_99,
            rejected=tuple(reason.words for reason in result.reasons),
        )
        for image, mode in zip(images, modes, strict=True)
    )


def coverage_views(panels: Sequence[ImagePanel]) -> tuple[CoverageView, ...]:
    """Return what each panel covers."""
    return tuple(CoverageView(p.mode, p.x_mm, p.z_mm, p.covered) for p in panels)


def _largest_db(images: Sequence[Image]) -> float:
    """Return the largest covered amplitude of all images, up to the next whole dB."""
    shown = [i.values[i.covered].max() for i in images if i.unit == "db" and i.covered.any()]
    return float(np.ceil(max(shown))) if shown else EMPTY_DB

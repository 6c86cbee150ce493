"""How wide an echo stands in an image: its −6 dB widths, which tell what the mode resolves."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.grid import Image
from qualify.imaging.region import Box, Peak, peak_in

NO_PEAK = "no covered pixel in the box"
NOT_CLOSED = "the echo does not fall to half within the image"
Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EchoWidth:
    """Widths of an echo at half its peak, along x and z through the peak.

    Attributes
    ----------
    peak : largest value in the box. width_x_mm, width_z_mm : None where not closed.
    reason : why one of them is None, or None.
    """

    peak: Peak
    width_x_mm: float | None
    width_z_mm: float | None
    reason: str | None


def echo_width(image: Image, box: Box) -> EchoWidth:
    """Return the −6 dB widths (half the amplitude, or half the coherence) of a box's echo.

    Linear between pixels. The echo may reach beyond the box, not beyond what is covered.
    """
    peak = peak_in(image, box)
    if peak.value is None or peak.x_mm is None or peak.z_mm is None:
        return EchoWidth(peak, None, None, peak.reason or NO_PEAK)
    grid = image.grid
    row = int(np.rint((peak.z_mm - grid.z_from_mm) / grid.step_z_mm))
    column = int(np.rint((peak.x_mm - grid.x_from_mm) / grid.step_x_mm))
    values = np.where(image.covered, image.amplitude(), np.nan).astype(np.float64)
    across = _width(values[row], column, grid.step_x_mm)
    down = _width(values[:, column], row, grid.step_z_mm)
    reason = None if across is not None and down is not None else NOT_CLOSED
    return EchoWidth(peak, across, down, reason)


def _width(line: Values, at: int, step_mm: float) -> float | None:
    """Return the width about a pixel at half its value; None where one side does not close."""
    half = 0.5 * line[at]
    sides = [_reach(line[at:], half), _reach(line[at::-1], half)]
    if sides[0] is None or sides[1] is None:
        return None
    return float((sides[0] + sides[1]) * step_mm)


def _reach(line: Values, half: float) -> float | None:
    """Return how many pixels from its start a line falls to `half`; None if it never does."""
    below = np.flatnonzero(line < half)
    if not below.size or np.isnan(line[: below[0]]).any():
        return None
    k = int(below[0])
    return float(k - 1 + (line[k - 1] - half) / (line[k - 1] - line[k]))

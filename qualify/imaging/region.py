"""Regions of an image, and what stands in them: the peak, and the rms of noise."""

import math
from dataclasses import dataclass

import numpy as np

from qualify.imaging.grid import FLOOR_DB, Grid, Image, Mask

CLOSE_MM = 1e-9
NO_PIXEL = "no pixel of the image lies in the region"
NOT_COVERED = "the mode does not cover the region"
NO_NOISE = "the region holds no noise: its amplitude is zero throughout"


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in the frame of the image; both ends of `x_mm` and `z_mm` included."""

    x_mm: tuple[float, float]
    z_mm: tuple[float, float]

    def __post_init__(self) -> None:
        if self.x_mm[1] < self.x_mm[0] or self.z_mm[1] < self.z_mm[0]:
            msg = f"a box runs from the smaller to the larger, found x {self.x_mm}, z {self.z_mm}"
            raise ValueError(msg)

    def holds(self, grid: Grid) -> Mask:
        """Return (rows, columns): whose pixel centres lie inside."""
        x, z = grid.x_mm(), grid.z_mm()
        across = (x >= self.x_mm[0] - CLOSE_MM) & (x <= self.x_mm[1] + CLOSE_MM)
        down = (z >= self.z_mm[0] - CLOSE_MM) & (z <= self.z_mm[1] + CLOSE_MM)
        return np.asarray(down[:, None] & across[None, :])

    def meets(self, other: "Box") -> bool:
        """Return whether two boxes share a place."""
        across = self.x_mm[0] <= other.x_mm[1] and other.x_mm[0] <= self.x_mm[1]
        return across and self.z_mm[0] <= other.z_mm[1] and other.z_mm[0] <= self.z_mm[1]


@dataclass(frozen=True, slots=True)
class Peak:
    """The largest value of a box and its place; all None with a reason where nothing is shown.

    `value` is in the unit of the image.
    """

    value: float | None
    x_mm: float | None
    z_mm: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class NoiseLevel:
    """The rms of the amplitude in a region, in dB as the image; or None with a reason."""

    rms_db: float | None
    pixels: int
    reason: str | None


def peak_in(image: Image, box: Box) -> Peak:
    """Return the largest covered value of a box; of equal ones the shallowest."""
    shown, reason = _shown(image, box)
    if reason is not None:
        return Peak(None, None, None, reason)
    values = np.where(shown, image.values, -np.inf)
    row, column = np.unravel_index(int(np.argmax(values)), values.shape)
    return Peak(
        float(image.values[row, column]),
        float(image.grid.x_mm()[column]),
        float(image.grid.z_mm()[row]),
        None,
    )


def noise_in(image: Image, box: Box) -> NoiseLevel:
    """Return the rms of a box: of the linear amplitude, never of decibels.

    Raises
    ------
    ValueError : if the image is a coherence, which has no amplitude.
    """
    if image.unit != "db":
        msg = "noise is told of an amplitude; a coherence is told beside its random level"
        raise ValueError(msg)
    shown, reason = _shown(image, box)
    if reason is not None:
        return NoiseLevel(None, 0, reason)
    values = image.values[shown].astype(np.float64)
    pixels = len(values)
    if np.all(values <= FLOOR_DB):
        return NoiseLevel(None, pixels, NO_NOISE)
    return NoiseLevel(10.0 * math.log10(float(np.mean(10.0 ** (values / 10.0)))), pixels, None)


def _shown(image: Image, box: Box) -> tuple[Mask, str | None]:
    held = box.holds(image.grid)
    if not held.any():
        return held, NO_PIXEL
    shown = held & image.covered
    return shown, None if shown.any() else NOT_COVERED

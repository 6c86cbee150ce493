"""How much of a region a mode covers, and why not the rest.

Coverage is the part of a volume that was looked at, on a plane of the grid. Each pixel stands for
one step by one step.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from qualify.imaging.grid import Image, Mask
from qualify.imaging.region import CLOSE_MM, Box

Array = NDArray[np.float64]
OUTSIDE_IMAGE = "outside the image"
OUTSIDE_TIME = "outside the recorded time"
OUTSIDE_BEAMS = "outside what the beams or elements of the mode reach"
NOT_TOLD = "not covered by the mode; the image does not say why"


@dataclass(frozen=True, slots=True)
class Gap:
    """A connected part of a region that is not covered: its share, and the box around it."""

    reason: str
    fraction: float
    around: Box


@dataclass(frozen=True, slots=True)
class Coverage:
    """How much of a region a mode covers.

    Attributes
    ----------
    mode : name of the mode. `region` : as asked for.
    fraction : covered pixels over all, those outside the image included; None if the region is
        smaller than a pixel and holds none.
    rectangle : the largest rectangle covered throughout, from pixel centre to pixel centre, or
        None if nothing is covered.
    gaps : what is not covered, largest first.
    reason : why there is no fraction, or None.
    """

    mode: str
    region: Box
    fraction: float | None
    rectangle: Box | None
    gaps: tuple[Gap, ...]
    reason: str | None


def coverage(image: Image, region: Box) -> Coverage:
    """Return which share of a region an image covers, and why it does not cover the rest."""
    grid = image.grid
    columns = _indices(region.x_mm, grid.x_from_mm, grid.step_x_mm)
    rows = _indices(region.z_mm, grid.z_from_mm, grid.step_z_mm)
    if not len(rows) or not len(columns):
        reason = "the region is smaller than a step of the grid and holds no pixel"
        return Coverage(image.mode, region, None, None, (), reason)
    x: Array = np.asarray(grid.x_from_mm + grid.step_x_mm * columns, dtype=np.float64)
    z: Array = np.asarray(grid.z_from_mm + grid.step_z_mm * rows, dtype=np.float64)
    inside_rows, inside_columns = _inside(rows, grid.rows), _inside(columns, grid.columns)
    inside = inside_rows[:, None] & inside_columns[None, :]
    pixels = np.ix_(rows[inside_rows], columns[inside_columns])
    covered = np.zeros(inside.shape, dtype=np.bool_)
    covered[inside] = image.covered[pixels].ravel()
    gaps = _gaps(~inside, OUTSIDE_IMAGE, x, z)
    missing = inside & ~covered
    if image.recorded is None:
        gaps += _gaps(missing, NOT_TOLD, x, z)
    else:
        recorded = np.ones(inside.shape, dtype=np.bool_)
        recorded[inside] = image.recorded[pixels].ravel()
        gaps += _gaps(missing & ~recorded, OUTSIDE_TIME, x, z)
        gaps += _gaps(missing & recorded, OUTSIDE_BEAMS, x, z)
    gaps.sort(key=lambda gap: -gap.fraction)
    rectangle = _largest_rectangle(covered)
    box = None
    if rectangle is not None:
        top, bottom, left, right = rectangle
        box = Box((float(x[left]), float(x[right])), (float(z[top]), float(z[bottom])))
    return Coverage(image.mode, region, float(covered.mean()), box, tuple(gaps), None)


def _indices(ends_mm: tuple[float, float], from_mm: float, step_mm: float) -> NDArray[np.int64]:
    """Return the indices of pixel centres within ends; below 0 and beyond the grid too."""
    first = int(np.ceil((ends_mm[0] - from_mm - CLOSE_MM) / step_mm))
    last = int(np.floor((ends_mm[1] - from_mm + CLOSE_MM) / step_mm))
    return np.arange(first, last + 1)


def _inside(indices: NDArray[np.int64], count: int) -> Mask:
    return np.asarray((indices >= 0) & (indices < count))


def _gaps(mask: Mask, reason: str, x_mm: Array, z_mm: Array) -> list[Gap]:
    labels, _ = ndimage.label(mask)
    gaps = []
    for number, found in enumerate(ndimage.find_objects(labels), start=1):
        share = float(np.count_nonzero(labels[found] == number) / mask.size)
        x, z = x_mm[found[1]], z_mm[found[0]]
        box = Box((float(x[0]), float(x[-1])), (float(z[0]), float(z[-1])))
        gaps.append(Gap(reason, share, box))
    return gaps


def _largest_rectangle(mask: Mask) -> tuple[int, int, int, int] | None:
    """Return first and last row and column of the largest rectangle of True, or None.

    Row by row, over the heights of the columns of True that end there; each is stretched as far
    as its neighbours are no lower (the largest rectangle under a histogram, by a stack).
    """
    best, found = 0, None
    heights = np.zeros(mask.shape[1], dtype=np.int64)
    for row in range(mask.shape[0]):
        heights = np.where(mask[row], heights + 1, 0)
        stack: list[int] = []
        for column in range(len(heights) + 1):
            here = int(heights[column]) if column < len(heights) else 0
            while stack and int(heights[stack[-1]]) >= here:
                height = int(heights[stack.pop()])
                left = stack[-1] + 1 if stack else 0
                if height * (column - left) > best:
                    best = height * (column - left)
                    found = (row - height + 1, row, left, column - 1)
            stack.append(column)
    return found

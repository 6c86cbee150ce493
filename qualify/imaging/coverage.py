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
from qualify.recording.paths import times_us
from qualify.recording.probe import element_centres_mm
from qualify.recording.record import Recording

Array = NDArray[np.float64]
OUTSIDE_IMAGE = "outside the image"
OUTSIDE_TIME = "outside the recorded time"
OUTSIDE_BEAMS = "outside what the beams or elements of the mode reach"
NO_RECORDING = "not covered by the mode; the recording is not at hand to say why"


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


def coverage(image: Image, region: Box, recording: Recording | None = None) -> Coverage:
    """Return which share of a region an image covers.

    Parameters
    ----------
    recording : that of the image, from which is told whether a gap is one of time. Not even the
        echo of the nearest element then lies in the recorded time; or, in total focusing, not that
        of the farthest.
    """
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
    covered = np.zeros(inside.shape, dtype=np.bool_)
    covered[inside] = image.covered[np.ix_(rows[inside_rows], columns[inside_columns])].ravel()
    gaps = [*_gaps(~inside, OUTSIDE_IMAGE, x, z)]
    missing = inside & ~covered
    if recording is None:
        gaps += _gaps(missing, NO_RECORDING, x, z)
    elif missing.any():
        late = _outside_time(recording, x, z, total=image.method.startswith("total focusing"))
        gaps += _gaps(missing & late, OUTSIDE_TIME, x, z)
        gaps += _gaps(missing & ~late, OUTSIDE_BEAMS, x, z)
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


def _outside_time(recording: Recording, x_mm: Array, z_mm: Array, *, total: bool) -> Mask:
    """Return (rows, columns): echoes that come before or after the recorded time."""
    elements = element_centres_mm(recording.probe, recording.coupling)
    depth = np.maximum(z_mm, 0.0)
    points = np.column_stack([np.tile(x_mm, len(depth)), np.repeat(depth, len(x_mm))])
    way = times_us(elements, points, recording.coupling, recording.medium)
    nearest, farthest = 2.0 * way.min(axis=0), 2.0 * way.max(axis=0)
    if not total:
        nearest, farthest = farthest, nearest  # every element misses, not only one
    time = recording.times_us()
    outside = (nearest < time[0]) | (farthest > time[-1])
    return np.asarray(outside.reshape(len(depth), len(x_mm)))


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

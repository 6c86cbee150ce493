"""Reading by rule: what of an image becomes an indication.

A value counts by how far it stands above the grain of its depth, which blank images of an open set
tell (`background_of`): the *response* is the value less the background of its depth, plus the
background of the reference depth, so that it keeps the unit of the image. One threshold on
responses is thus a threshold on values that goes with depth. Inside the declared region and outside
its masks (ring-down, geometry), connected pixels at or above the threshold make a group; groups
that come within the declared distance of one another are one indication. It has the response of its
largest pixel and lies at the middle of those pixels that reach half of that pixel's value (an echo
that is not focused has its largest pixel at one end).

Nothing here knows of blocks, targets or truth.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from qualify.imaging.grid import Grid, Image, Mask
from qualify.imaging.region import Box

Array = NDArray[np.float64]
EIGHT = np.ones((3, 3), dtype=np.int64)
LOWEST = -np.inf
DROP_DB = 6.0


@dataclass(frozen=True, slots=True)
class Background:
    """The grain of a mode over depth, in the unit of its images.

    Attributes
    ----------
    z_mm, level : (rows,) depth, and root of the mean square there: of the linear amplitude (told
        in dB), or of the coherence.
    reference : level at `reference_z_mm`.
    images : how many blank images it was taken from.
    """

    z_mm: tuple[float, ...]
    level: tuple[float, ...]
    reference_z_mm: float
    reference: float
    images: int

    def at(self, z_mm: Array) -> Array:
        """Return the level at depths, straight between those it was taken at."""
        return np.asarray(np.interp(z_mm, self.z_mm, self.level))

    def threshold_at(self, threshold: float, z_mm: Array) -> Array:
        """Return the threshold on values at depths, of one on responses."""
        return threshold + self.at(z_mm) - self.reference


@dataclass(frozen=True, slots=True)
class Looking:
    """Where and how finely a rule looks.

    Attributes
    ----------
    region : looked at. masks : left out of it, as ring-down or geometry.
    group_x_mm, group_z_mm : groups of pixels no farther apart than both are one indication.
    """

    region: Box
    masks: tuple[Box, ...]
    group_x_mm: float
    group_z_mm: float

    def within(self, grid: Grid) -> Mask:
        """Return (rows, columns) where the rule looks."""
        inside = self.region.holds(grid)
        for mask in self.masks:
            inside &= ~mask.holds(grid)
        return inside


@dataclass(frozen=True, slots=True)
class Group:
    """One indication as pixels.

    Attributes
    ----------
    row, column : of its largest response. response : there, in the unit of the image.
    x_mm, z_mm : where it lies. width_mm : from its first pixel to its last along x.
    pixels : (rows, columns), those at or above the threshold.
    """

    row: int
    column: int
    response: float
    x_mm: float
    z_mm: float
    width_mm: float
    pixels: Mask


def background_of(
    images: Sequence[Image], looking: Looking, *, smooth_mm: float, reference_z_mm: float
) -> Background:
    """Return the background of a mode from images without flaws.

    Parameters
    ----------
    images : of one mode, on one grid.
    smooth_mm : squares are averaged over so much of depth, before the root is taken.

    Raises
    ------
    ValueError : without an image, or where no pixel of the region is covered.
    """
    if not images:
        msg = "a background needs at least one blank image"
        raise ValueError(msg)
    grid = images[0].grid
    within = looking.within(grid)
    total, count = np.zeros(grid.rows), np.zeros(grid.rows)
    for image in images:
        shown = within & image.covered
        square = np.asarray(image.amplitude(), dtype=np.float64) ** 2
        total += np.where(shown, square, 0.0).sum(axis=1)
        count += shown.sum(axis=1)
    if not count.any():
        msg = "no pixel of the region is covered"
        raise ValueError(msg)
    size = max(1, round(smooth_mm / grid.step_z_mm))
    weights = np.ones(size)
    summed = ndimage.convolve1d(total, weights, mode="constant")
    pixels = ndimage.convolve1d(count, weights, mode="constant")
    held = count > 0
    mean = summed[held] / pixels[held]
    level = 10.0 * np.log10(mean) if images[0].unit == "db" else np.sqrt(mean)
    z = grid.z_mm()[held]
    reference = float(np.interp(reference_z_mm, z, level))
    return Background(
        tuple(map(float, z)), tuple(map(float, level)), reference_z_mm, reference, len(images)
    )


def responses(image: Image, background: Background, looking: Looking) -> Array:
    """Return the response (rows, columns) of each pixel looked at; −∞ elsewhere."""
    above = background.at(image.grid.z_mm()) - background.reference
    shown = looking.within(image.grid) & image.covered
    return np.where(shown, image.values.astype(np.float64) - above[:, None], LOWEST)


def largest(response: Array) -> float | None:
    """Return the largest response of an image, None where nothing of the region is covered."""
    top = float(response.max())
    return top if np.isfinite(top) else None


def groups(image: Image, response: Array, threshold: float, looking: Looking) -> tuple[Group, ...]:
    """Return the indications of an image, in rising x, then z.

    response : (rows, columns), of `responses` of this image.
    """
    reached = response >= threshold
    if not reached.any():
        return ()
    labels, count = ndimage.label(reached, structure=EIGHT)
    places = ndimage.find_objects(labels)
    near = _joined(places, image.grid, looking)
    found = []
    for root in sorted(set(near)):
        members = [n for n in range(count) if near[n] == root]
        pixels = np.isin(labels, [n + 1 for n in members])
        found.append(_group(image, response, pixels))
    return tuple(sorted(found, key=lambda group: (group.x_mm, group.z_mm)))


def _group(image: Image, response: Array, pixels: Mask) -> Group:
    top = int(np.argmax(np.where(pixels, response, LOWEST)))
    row, column = divmod(top, response.shape[1])
    half = half_of(image, float(image.values[row, column]))
    rows, columns = np.nonzero(pixels & (image.values >= half))
    across = np.flatnonzero(pixels.any(axis=0))
    return Group(
        row,
        column,
        float(response[row, column]),
        float(image.grid.x_mm()[columns].mean()),
        float(image.grid.z_mm()[rows].mean()),
        float((across[-1] - across[0] + 1) * image.grid.step_x_mm),
        pixels,
    )


def half_of(image: Image, value: float) -> float:
    """Return half of a value of an image: 6 dB less of an amplitude."""
    return 0.5 * value if image.unit == "coherence" else value - DROP_DB


def _joined(places: Sequence[tuple[slice, ...]], grid: Grid, looking: Looking) -> list[int]:
    """Return for each group of pixels the first that it hangs together with, boxes compared."""
    root = list(range(len(places)))

    def head(n: int) -> int:
        while root[n] != n:
            n = root[n]
        return n

    far = (
        looking.group_z_mm / grid.step_z_mm + 1e-9,
        looking.group_x_mm / grid.step_x_mm + 1e-9,
    )
    for n, one in enumerate(places):
        for m in range(n):
            if all(_gap(one[k], places[m][k]) <= far[k] for k in (0, 1)):
                a, b = sorted((head(n), head(m)))
                root[b] = a
    return [head(n) for n in range(len(places))]


def _gap(one: slice, other: slice) -> int:
    """Return how many steps lie between two runs of pixels; 0 or less where they overlap."""
    return int(max(one.start - (other.stop - 1), other.start - (one.stop - 1)))

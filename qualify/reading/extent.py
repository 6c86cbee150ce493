"""The extent of an indication by a declared method; where it can't be told, the reason.

Six-decibel drop: the ridge of the echo down to half of its peak's amplitude. It can't go below
the width of the beam. Tip separation: the distance between the two largest maxima. Coherence
extent: the ridge down to half of the peak's coherence; the middle of a face that isn't specular is
not coherent, so that long faces come out short. The methods are common practice, no source; what
each is worth on known slots is for the trial to tell.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from qualify.imaging.grid import Grid, Image, Mask
from qualify.reading.detection import EIGHT, Background, Group, Looking, half_of

Method = Literal["six_db_drop", "tip_separation", "coherence_extent"]
METHOD_WORDS: dict[Method, str] = {
    "six_db_drop": "6 dB drop along the ridge",
    "tip_separation": "distance between the two largest maxima",
    "coherence_extent": "half of the peak's coherence along the ridge",
}
METHOD_NAMES: dict[str, str] = {
    "six_db_drop": "6 dB drop",
    "tip_separation": "tip separation",
    "coherence_extent": "half of the coherence",
}
LEAST_TIPS_MM = 1.0  # about a wavelength: nearer maxima are not two tips; our own choice
IN_GRAIN = "half of its peak is no more than grain gives at its depth"
AT_EDGE = "it reaches the edge of what is looked at"
ONE_TIP = "it has no second maximum"
NOT_OF_UNIT = "the method is for images of another unit"
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Extent:
    """An extent in millimetres, or None with the reason."""

    mm: float | None
    reason: str | None


def extent_of(
    image: Image, group: Group, background: Background, looking: Looking, method: Method
) -> Extent:
    """Return the extent of an indication by a method."""
    if (method == "coherence_extent") != (image.unit == "coherence"):
        return Extent(None, NOT_OF_UNIT)
    if method == "tip_separation":
        return _tips(image, group)
    peak = float(image.values[group.row, group.column])
    level = half_of(image, peak)
    grain = float(background.at(np.array([image.grid.z_mm()[group.row]]))[0])
    if level <= grain:
        return Extent(None, IN_GRAIN)
    return _ridge(image, group, level, looking.within(image.grid) & image.covered)


def _ridge(image: Image, group: Group, level: float, shown: Mask) -> Extent:
    """Return the length of the ridge of what hangs together with a group at or above a level."""
    values: Array = np.asarray(image.values, dtype=np.float64)
    labels, _ = ndimage.label((values >= level) & shown, structure=EIGHT)
    own = np.unique(labels[group.pixels & (labels > 0)])
    held = np.isin(labels, own)
    edge = held & ~ndimage.binary_erosion(shown, structure=EIGHT)
    if edge.any():
        return Extent(None, AT_EDGE)
    columns = np.flatnonzero(held.any(axis=0))
    ridge = np.where(held, values, -np.inf).argmax(axis=0)
    first, last = int(columns[0]), int(columns[-1])
    left = first - _beyond(values, int(ridge[first]), first, -1, level)
    right = last + _beyond(values, int(ridge[last]), last, 1, level)
    dx = (right - left) * image.grid.step_x_mm
    dz = float(ridge[last] - ridge[first]) * image.grid.step_z_mm
    return Extent(float(np.hypot(dx, dz)), None)


def _beyond(values: Array, row: int, column: int, step: int, level: float) -> float:
    """Return how far past a pixel its row falls to a level, in steps, straight between pixels."""
    other = column + step
    if not 0 <= other < values.shape[1]:
        return 0.0
    here, there = values[row, column], values[row, other]
    return float((here - level) / (here - there)) if here > there and there < level else 0.0


def _tips(image: Image, group: Group) -> Extent:
    """Return the distance between the largest maximum and the next that lies apart from it."""
    values = np.where(group.pixels, image.values.astype(np.float64), -np.inf)
    top = (ndimage.maximum_filter(values, size=3) == values) & group.pixels
    rows, columns = np.nonzero(top)
    order = np.argsort(-values[rows, columns], kind="stable")
    apart = _apart_mm(image.grid, rows[order], columns[order])
    far = np.flatnonzero(apart >= LEAST_TIPS_MM)
    return Extent(None, ONE_TIP) if not len(far) else Extent(float(apart[far[0]]), None)


def _apart_mm(grid: Grid, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> Array:
    dx = (columns - columns[0]) * grid.step_x_mm
    dz = (rows - rows[0]) * grid.step_z_mm
    return np.asarray(np.hypot(dx, dz))

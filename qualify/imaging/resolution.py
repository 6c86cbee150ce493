"""Whether an image shows two neighbours apart."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from qualify.imaging.grid import Image
from qualify.imaging.region import Box, Peak, peak_in

SAMPLES_PER_STEP = 8
NO_AMPLITUDE = "a coherence has no amplitude; a dip in decibels is told of an amplitude"


@dataclass(frozen=True, slots=True)
class Dip:
    """The dip between two neighbours.

    Attributes
    ----------
    first, second : the peak near each of them.
    dip_db : lower of the two peaks over the least amplitude on the straight line between them;
        0 where there is none. None: see `reason`.
    least_dip_db : what it takes to call them resolved.
    resolved : None where there is no dip to judge.
    """

    first: Peak
    second: Peak
    dip_db: float | None
    least_dip_db: float
    resolved: bool | None
    reason: str | None


def dip_between(
    image: Image,
    first_mm: tuple[float, float],
    second_mm: tuple[float, float],
    *,
    reach_mm: float,
    least_dip_db: float,
) -> Dip:
    """Return the dip between two neighbours at known places.

    Parameters
    ----------
    first_mm, second_mm : x and z of the two.
    reach_mm : each peak is looked for within ± this around its place.
    """
    found = [
        peak_in(image, Box((x - reach_mm, x + reach_mm), (z - reach_mm, z + reach_mm)))
        for x, z in (first_mm, second_mm)
    ]
    reason = found[0].reason or found[1].reason
    if image.unit != "db":
        reason = NO_AMPLITUDE
    if reason is not None:
        return Dip(found[0], found[1], None, least_dip_db, None, reason)
    along = _along(image, found[0], found[1])
    if along is None:
        return Dip(found[0], found[1], None, least_dip_db, None, "the line is not covered")
    lower = min(along[0], along[-1])
    dip = max(0.0, float(20.0 * np.log10(lower / np.min(along))))
    return Dip(found[0], found[1], dip, least_dip_db, dip >= least_dip_db, None)


def _along(image: Image, first: Peak, second: Peak) -> NDArray[np.float64] | None:
    """Return amplitudes along the line between two peaks, linear between pixels."""
    grid = image.grid
    ends = np.array([(peak.z_mm, peak.x_mm) for peak in (first, second)], dtype=np.float64)
    ends -= (grid.z_from_mm, grid.x_from_mm)
    ends /= (grid.step_z_mm, grid.step_x_mm)
    count = SAMPLES_PER_STEP * int(np.ceil(np.abs(ends[1] - ends[0]).max())) + 1
    places = np.linspace(ends[0], ends[1], count).T
    near = np.rint(places).astype(np.int64)
    if not image.covered[near[0], near[1]].all():
        return None
    amplitude = image.amplitude().astype(np.float64)
    return np.asarray(ndimage.map_coordinates(amplitude, places, order=1, mode="nearest"))

"""Times of flight of the direct longitudinal path from elements to points.

In contact the path is straight. Through a flat wedge or water it is the fastest one (Fermat),
which obeys Snell's law where it crosses the scan face. Its crossing is the root of a function that
rises all the way between the feet of the two ends, so that Newton steps kept inside that bracket
always arrive.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qualify.recording.probe import Contact, Medium, Standoff

Array = NDArray[np.float64]
MOST_STEPS = 100
CLOSE_MM = 1e-10


def times_us(
    elements_mm: ArrayLike, points_mm: ArrayLike, coupling: Contact | Standoff, medium: Medium
) -> Array:
    """Return the one-way time (elements, points) from each element to each point.

    Parameters
    ----------
    elements_mm : (elements, 2) x and z of the element centres, z ≤ 0.
    points_mm : (points, 2) x and z of points in the block, z ≥ 0.

    Raises
    ------
    ValueError : if a point lies above the scan face, or an element on the wrong side of it.
    """
    element, point = _columns(elements_mm), _columns(points_mm)
    if np.any(point[:, 1] < 0.0):
        msg = "a point lies above the scan face; times are of points at z >= 0"
        raise ValueError(msg)
    speed = medium.longitudinal_m_per_s * 1e-3
    if isinstance(coupling, Contact):
        if np.any(element[:, 1] != 0.0):
            msg = "in contact the elements lie on the scan face, z = 0"
            raise ValueError(msg)
        apart = point[None, :, 0] - element[:, None, 0]
        return np.asarray(np.hypot(apart, point[None, :, 1]) / speed)
    if np.any(element[:, 1] >= 0.0):
        msg = "an element lies in or on the block; raise the array above the scan face"
        raise ValueError(msg)
    crossing = crossings_mm(element, point, coupling.longitudinal_m_per_s * 1e-3, speed)
    above = np.hypot(crossing - element[:, None, 0], element[:, None, 1])
    below = np.hypot(point[None, :, 0] - crossing, point[None, :, 1])
    return np.asarray(above / (coupling.longitudinal_m_per_s * 1e-3) + below / speed)


def crossings_mm(element: Array, point: Array, above: float, below: float) -> Array:
    """Return x (elements, points) where the fastest path crosses the scan face z = 0.

    Parameters
    ----------
    element, point : (elements, 2), (points, 2) x and z in millimetres.
    above, below : velocities in millimetres a microsecond.

    Notes
    -----
    At the crossing the derivative of the time vanishes, which is Snell's law:
    sin(angle above) / velocity above = sin(angle below) / velocity below. Points on the face are
    reached as those just below it: beyond the critical angle along the face.
    """
    ex, height = element[:, None, 0], -element[:, None, 1]
    px, depth = point[None, :, 0], np.maximum(point[None, :, 1], CLOSE_MM)
    low, high = np.minimum(ex, px) + 0.0 * height, np.maximum(ex, px) + 0.0 * height
    share = height / (height + depth * below / above)
    x = ex + (px - ex) * share
    for _ in range(MOST_STEPS):
        d1, d2 = np.hypot(x - ex, height), np.hypot(px - x, depth)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (x - ex) / (above * d1) - (px - x) / (below * d2)
            curve = height**2 / (above * d1**3) + depth**2 / (below * d2**3)
            step = slope / curve
        slope, step = np.nan_to_num(slope), np.nan_to_num(step)
        low, high = np.where(slope < 0.0, x, low), np.where(slope > 0.0, x, high)
        new = x - step
        new = np.where((new < low) | (new > high), 0.5 * (low + high), new)
        moved = float(np.max(np.abs(new - x), initial=0.0))
        x = new
        if moved < CLOSE_MM:
            break
    return np.asarray(x)


def _columns(values: ArrayLike) -> Array:
    found = np.atleast_2d(np.asarray(values, dtype=np.float64))
    if found.ndim != 2 or found.shape[1] != 2:
        msg = f"places are (n, 2) x and z, found shape {found.shape}"
        raise ValueError(msg)
    return found

"""Lines at a level of a grid, and the edge of the pixels that are covered."""

import numpy as np
from contourpy import contour_generator
from matplotlib.path import Path
from numpy.typing import ArrayLike, NDArray

Ring = NDArray[np.float64]


def rings(x_mm: ArrayLike, z_mm: ArrayLike, values: ArrayLike, level: float) -> list[Ring]:
    """Return the lines (points, 2) along which values (rows, columns) pass a level.

    Values may be masked; a line ends where the mask begins.
    """
    x, z = np.asarray(x_mm, dtype=float), np.asarray(z_mm, dtype=float)
    found = contour_generator(x, z, values).lines(level)
    return [np.asarray(ring, dtype=float) for ring in found]


def edge_of(covered: NDArray[np.bool_], x_mm: ArrayLike, z_mm: ArrayLike) -> list[Ring]:
    """Return closed lines along the outer edge of the covered pixels; none if nothing is.

    Between a covered pixel and its neighbour the line runs half way; corners are cut.
    """
    x, z = np.asarray(x_mm, dtype=float), np.asarray(z_mm, dtype=float)
    wide = [float(np.diff(axis[:2])[0]) for axis in (x, z) if len(axis) > 1] or [1.0]
    grown = []
    for axis, step in ((x, wide[0]), (z, wide[-1])):
        grown.append(np.array([axis[0] - step, *axis, axis[-1] + step]))
    return rings(grown[0], grown[1], np.pad(covered.astype(float), 1), 0.5)


def path_of(found: list[Ring]) -> Path:
    """Return closed lines as one path; a hole in an area stays a hole."""
    return Path.make_compound_path(*(Path(ring, closed=True) for ring in found))

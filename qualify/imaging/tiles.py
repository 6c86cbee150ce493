"""Pixels in tiles, and sums over all of them in threads.

A grid is cut into squares of pixels near to each other. Every tile is summed by itself and in the
same order whatever the number of threads, so that this changes no digit.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.grid import Grid
from qualify.imaging.laws import PIXELS, Floats, Law
from qualify.imaging.signals import Signals
from qualify.threads import in_threads

SIDE = 16  # of a square tile
THREADED = 16  # tiles; fewer are not worth a thread
Kernel = Callable[[NDArray[np.int64], Law, int, int, Floats], None]


@dataclass(frozen=True, slots=True)
class Pixels:
    """Places in whole tiles.

    Attributes
    ----------
    x_mm, z_mm : (pixels,).
    place : (pixels,) where each belongs in the flattened grid; padding repeats a true pixel.
    """

    x_mm: NDArray[np.float64]
    z_mm: NDArray[np.float64]
    place: NDArray[np.int64]


def tile_order(rows: int, columns: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return row and column (pixels,) of an array tile by tile; overhang repeats its edge."""
    down, across = -(-rows // SIDE), -(-columns // SIDE)
    row = np.minimum(np.arange(down * SIDE), rows - 1).reshape(down, 1, SIDE, 1)
    column = np.minimum(np.arange(across * SIDE), columns - 1).reshape(1, across, 1, SIDE)
    shape = (down, across, SIDE, SIDE)
    return np.broadcast_to(row, shape).ravel(), np.broadcast_to(column, shape).ravel()


def grid_pixels(grid: Grid) -> Pixels:
    """Return the pixels of a grid, tile by tile."""
    row, column = tile_order(grid.rows, grid.columns)
    return Pixels(grid.x_mm()[column], grid.z_mm()[row], row * grid.columns + column)


def run(kernel: Kernel, signals: Signals, law: Law, rows: int, *, threads: bool = True) -> Floats:
    """Return the sums (rows, pixels) that a kernel writes over all tiles of a law."""
    table = signals.table.view(np.int64)
    out = np.empty((rows, law.pixel_x_mm.size), np.float32)
    tiles = law.pixel_x_mm.size // PIXELS
    in_threads(
        lambda start, stop: kernel(table, law, start, stop, out),
        tiles,
        THREADED if threads else tiles + 1,
    )
    return out

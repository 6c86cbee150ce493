"""Pixels in tiles, and sums over all of them in threads.

A grid is cut into tiles of pixels near to each other. Every tile is summed by itself and in the
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

SIDE = 16  # rows of a band: a tile is about as wide as it is high
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
    """Return row and column (pixels,) of an array tile by tile; the last pixel fills the last tile.

    Bands of rows are gone through column by column, to and fro, so that a tile at the end of one
    goes on in the next and none is half empty.
    """
    row, column = np.empty(rows * columns, np.int64), np.empty(rows * columns, np.int64)
    done = 0
    for number, band in enumerate(np.array_split(np.arange(rows), -(-rows // SIDE))):
        across = np.arange(columns) if number % 2 == 0 else np.arange(columns)[::-1]
        here = slice(done, done + band.size * columns)
        row[here], column[here] = np.tile(band, columns), np.repeat(across, band.size)
        done = here.stop
    last = np.minimum(np.arange(-(-done // PIXELS) * PIXELS), done - 1)
    return row[last], column[last]


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

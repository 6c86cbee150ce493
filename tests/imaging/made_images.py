"""Images with known values, to test what is read from them."""

import numpy as np

from qualify.imaging.grid import Grid, Image, decibels


def image_of(values, grid, *, unit="db", covered=None, **more):
    """Return an image; `values` (rows, columns) are linear amplitudes or coherences."""
    values = np.asarray(values, dtype=np.float64)
    return Image(
        values=decibels(values) if unit == "db" else values.astype(np.float32),
        unit=unit,
        grid=grid,
        mode="made",
        method="made for a test",
        covered=np.ones(grid.shape, bool) if covered is None else covered,
        signal="simulated",
        recording="0" * 64,
        **more,
    )


def blob(grid, x, z, form):
    """Return exp(−½ dᵀ form d) (rows, columns) about a point; `form` (2, 2) per mm², x then z."""
    dx, dz = np.meshgrid(grid.x_mm() - x, grid.z_mm() - z)
    (xx, xz), (_, zz) = form
    return np.exp(-0.5 * (xx * dx**2 + 2 * xz * dx * dz + zz * dz**2))


def speckle(seed, grid, level=1.0):
    """Return a Rayleigh envelope (rows, columns) with rms `level`."""
    real, imaginary = np.random.default_rng(seed).standard_normal((2, *grid.shape))
    return level * np.hypot(real, imaginary) / np.sqrt(2)


GRID = Grid.over((-10, 10), (0, 40), 0.25)

"""Images of independent Rayleigh cells: what grain gives an amplitude mode, at its simplest."""

import numpy as np

from qualify.imaging.grid import Grid, Image, decibels
from qualify.imaging.region import Box
from qualify.reading.detection import Looking

COLUMNS, ROWS = 20, 30
GRID = Grid.over((-9.5, 9.5), (5.0, 34.0), 1.0)
LOOKING = Looking(Box((-9.5, 9.5), (5.0, 34.0)), (), 0.5, 0.5)


def image_of(amplitude: np.ndarray, unit: str = "db") -> Image:
    values = decibels(amplitude) if unit == "db" else amplitude.astype(np.float32)
    everywhere = np.ones(amplitude.shape, dtype=bool)
    return Image(values, unit, GRID, "mode", "made", everywhere, "simulated", "none")


def rayleigh(rng: np.random.Generator, level: float = 1e-3) -> np.ndarray:
    """Amplitudes (rows, columns) whose mean square is that of `level`, each cell by itself."""
    parts = rng.standard_normal((2, ROWS, COLUMNS))
    return level * np.sqrt(0.5 * (parts**2).sum(axis=0))

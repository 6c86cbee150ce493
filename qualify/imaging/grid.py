"""The grid of an image, and the image.

An image is a rectangle of values, depth downwards and x along the array, in the frame of its
recording. Amplitudes are in dB relative to the full scale of one received signal; coherence runs
from 0 to 1.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float32]
Mask = NDArray[np.bool_]
FLOOR_DB = -200.0  # of an amplitude of zero


@dataclass(frozen=True, slots=True)
class Grid:
    """A rectangular grid of pixel centres: x from `x_from_mm` in steps, z likewise."""

    x_from_mm: float
    z_from_mm: float
    step_x_mm: float
    step_z_mm: float
    columns: int
    rows: int

    def __post_init__(self) -> None:
        if not (self.step_x_mm > 0 and self.step_z_mm > 0):
            msg = f"steps of a grid are above 0, found {self.step_x_mm} and {self.step_z_mm} mm"
            raise ValueError(msg)
        if self.columns < 1 or self.rows < 1:
            msg = f"a grid has at least one pixel, found {self.columns} x {self.rows}"
            raise ValueError(msg)
        if self.z_from_mm < 0:
            msg = f"a grid lies below the scan face, found z from {self.z_from_mm} mm"
            raise ValueError(msg)

    @classmethod
    def over(
        cls,
        x_mm: tuple[float, float],
        z_mm: tuple[float, float],
        step_mm: float,
        step_z_mm: float | None = None,
    ) -> "Grid":
        """Return the grid over a region, both ends included; the last step may fall short."""
        step_z = step_mm if step_z_mm is None else step_z_mm
        columns = int(np.floor((x_mm[1] - x_mm[0]) / step_mm + 1e-9)) + 1
        rows = int(np.floor((z_mm[1] - z_mm[0]) / step_z + 1e-9)) + 1
        return cls(x_mm[0], z_mm[0], step_mm, step_z, columns, rows)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (self.rows, self.columns)

    def x_mm(self) -> NDArray[np.float64]:
        """Return x (columns,) of the pixel centres."""
        return np.asarray(self.x_from_mm + self.step_x_mm * np.arange(self.columns))

    def z_mm(self) -> NDArray[np.float64]:
        """Return z (rows,) of the pixel centres."""
        return np.asarray(self.z_from_mm + self.step_z_mm * np.arange(self.rows))


@dataclass(frozen=True, slots=True)
class Image:
    """One image of one recording in one mode.

    Attributes
    ----------
    values : (rows, columns) float32, in `unit`; what lies outside `covered` tells nothing.
    unit : `db` re full scale of one received signal, or `coherence` (0 to 1).
    mode : name of the mode as declared; `method` says in words what was computed.
    covered : (rows, columns), where the mode can show anything: every delay inside the recorded
        time, and inside the region its beams reach.
    random_level, random_99 : of a coherence, its mean and its 99 % level if all phases were random
        where the fewest elements take part, and it is highest; None for an amplitude.
    fewest_elements : that take part at any covered pixel; None if that is not told.
    recorded : (rows, columns), where of what the mode reaches every delay lies inside the recorded
        time; None if that is not told.
    signal : `simulated` or `measured`, as the recording.
    recording : digest of the recording.
    """

    values: Values
    unit: Literal["db", "coherence"]
    grid: Grid
    mode: str
    method: str
    covered: Mask
    signal: Literal["simulated", "measured"]
    recording: str
    random_level: float | None = None
    random_99: float | None = None
    recorded: Mask | None = None
    fewest_elements: int | None = None

    def amplitude(self) -> Values:
        """Return values (rows, columns) on a linear scale; a coherence as it is."""
        return self.values if self.unit == "coherence" else linear(self.values)


def decibels(amplitude: NDArray[np.floating]) -> Values:
    """Return 20 log₁₀ of an amplitude, `FLOOR_DB` at and near zero."""
    held = np.maximum(amplitude, 10.0 ** (FLOOR_DB / 20.0))
    return np.asarray(20.0 * np.log10(held), dtype=np.float32)


def linear(values_db: NDArray[np.floating]) -> Values:
    """Return the amplitude of a value in dB."""
    return np.asarray(10.0 ** (values_db / 20.0), dtype=np.float32)

"""What a dossier shows of the images of a trial: coverage by mode, targets beside their twins."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Which = Literal["hit", "miss"]
Values = NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class ModeShown:
    """What one mode covers of the region that is read.

    Attributes
    ----------
    fraction : (rows, columns), share of the images in which a place is covered.
    x_mm, z_mm : outer edges of the pixels. images : how many.
    threshold : (rows,), at the depth of each row, in the `unit` of the mode.
    dead_mm : depth down to which no image covers, or a mask hides, the middle of the region; None
        where it is read from its first row on.
    """

    mode: str
    unit: Literal["db", "coherence"]
    fraction: NDArray[np.float64]
    x_mm: tuple[float, float]
    z_mm: tuple[float, float]
    depths_mm: tuple[float, ...]
    threshold: tuple[float, ...]
    images: int
    dead_mm: float | None


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """A piece cut from an image about a target, with the largest response where it is looked for.

    Attributes
    ----------
    values : (rows, columns), NaN where nothing is covered. x_mm, z_mm : outer edges.
    response : largest value within the matching box, in the unit of the image; None where the box
        holds nothing. peak_mm : where. threshold : on values, at the depth of the peak.
    """

    values: Values
    x_mm: tuple[float, float]
    z_mm: tuple[float, float]
    response: float | None
    peak_mm: tuple[float, float] | None
    threshold: float | None


@dataclass(frozen=True, slots=True, eq=False)
class BesideTwin:
    """A target as one mode shows it, beside the same place without it.

    Attributes
    ----------
    x_mm, z_mm, half_x_mm, half_z_mm, tilt_deg : of the target, in the frame of the recording.
    """

    target: str
    size_mm: float
    depth_mm: float
    x_mm: float
    half_x_mm: float
    half_z_mm: float
    tilt_deg: float
    own: Cut
    twin: Cut


@dataclass(frozen=True, slots=True, eq=False)
class TrialShown:
    """Coverage of each mode; by kind and mode the smallest hit and the largest miss of the rule."""

    modes: tuple[ModeShown, ...]
    beside: Mapping[tuple[str, str, Which], BesideTwin]

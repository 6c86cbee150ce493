"""The two colour ramps of images: amplitude in blue, coherence in amber.

Each ramp keeps one CIELAB hue, and its lightness rises in a straight line from dark to light, so
that equal steps of a value are equal steps of lightness: in colour, in grey, and for people who
see two primaries only. The ramps differ by hue alone; in grey they look the same, so every colour
bar says its unit in words. Neither ramp holds white or a grey: those stay free for what is not
covered.

Source: CIE 15 (CIELAB, white point D65) and IEC 61966-2-1 (sRGB), both from memory.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.colors import Colormap, ListedColormap
from numpy.typing import NDArray

Unit = Literal["db", "coherence"]
STEPS = 256
DARK, LIGHT = 12.0, 90.0  # CIELAB L* of the lowest and the highest value
END_CHROMA = 14.0  # of either end; the middle of a ramp is the most colourful

WHITE_D65 = np.array([0.95047, 1.0, 1.08883])
RGB_OF_XYZ = np.array(
    [
        [3.2404542, -1.5371385, -0.4985314],
        [-0.9692660, 1.8760108, 0.0415560],
        [0.0556434, -0.2040259, 1.0572252],
    ]
)


@dataclass(frozen=True, slots=True)
class Ramp:
    """A ramp of one hue: CIELAB hue angle, and the chroma added in the middle."""

    name: str
    hue_deg: float
    chroma: float


RAMPS: dict[Unit, Ramp] = {
    "db": Ramp("amplitude", 266.0, 24.0),
    "coherence": Ramp("coherence", 72.0, 36.0),
}


def _srgb(
    lightness: NDArray[np.float64], chroma: NDArray[np.float64], hue_deg: float
) -> NDArray[np.float64]:
    """Return sRGB (n, 3), 0 to 1, of CIELAB lightness and chroma (n,) at one hue."""
    hue = np.radians(hue_deg)
    middle = (lightness + 16.0) / 116.0
    f = np.stack(
        [middle + chroma * np.cos(hue) / 500.0, middle, middle - chroma * np.sin(hue) / 200.0], 1
    )
    corner = 6.0 / 29.0
    xyz = np.where(f > corner, f**3, 3.0 * corner**2 * (f - 4.0 / 29.0)) * WHITE_D65
    linear = xyz @ RGB_OF_XYZ.T
    if linear.min() < 0.0 or linear.max() > 1.0:
        msg = f"a colour of the ramp lies outside sRGB: {linear.min():.3f} to {linear.max():.3f}"
        raise ValueError(msg)
    gamma = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return np.asarray(gamma)


def ramp_colours(unit: Unit) -> NDArray[np.float64]:
    """Return the colours (`STEPS`, 3) of a unit as sRGB, 0 to 1, lowest value first."""
    ramp = RAMPS[unit]
    along = np.linspace(0.0, 1.0, STEPS)
    lightness = DARK + (LIGHT - DARK) * along
    return _srgb(lightness, END_CHROMA + ramp.chroma * np.sin(np.pi * along), ramp.hue_deg)


def colour_map(unit: Unit) -> Colormap:
    """Return the ramp for an image; a masked pixel is transparent and shows what lies behind."""
    colours = ListedColormap(ramp_colours(unit), name=f"qualify-{RAMPS[unit].name}")
    return colours.with_extremes(bad=(0.0, 0.0, 0.0, 0.0))

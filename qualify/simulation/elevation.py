"""What the passive width of the array does to a plane model.

The plane model is of line sources and line reflectors without end. An array of passive width W
sends and receives over that width only. In the Fresnel approximation the field of a strip at range
r, over that of a line, is E(u) = √2 e^{−iπ/4} (C(u) + iS(u)), u = (W/2)·√(k/πr), with the Fresnel
integrals C and S. From strip to strip, by a line reflector or a wall over a whole path R, it is
L(v) = E(v) − (√2/πv) e^{−iπ/4} (e^{iπv²/2} − 1)/i, v = W·√(k/πR). Both tend to 1 for a wide array.

A point in the middle plane that scatters f₃ stands in the plane model as a line that scatters
f₃·√(2π/k)·e^{iπ/4}/W, with E on both legs. Grain lies on all sides of that plane: what its legs
carry is the root mean fourth power of |E| over the elevation, so that a cubic millimetre that
scatters η stands for ηλ/W of the section.

Source: Fresnel integrals, Abramowitz and Stegun 1964, chapter 7; the rest follows by integrating
the paraxial spherical wave over one width or two; tests integrate it numerically.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

QUARTER = np.exp(-0.25j * np.pi)
NODES = 512  # ranges of a table, evenly spaced in their logarithm
NEAREST_MM, FARTHEST_MM = 1.0, 1000.0
ACROSS = 801  # places across the elevation, for grain
GRAIN_RANGES = 96
Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


def _arch(u: Array) -> Complex:
    sine, cosine = special.fresnel(u)
    return np.asarray(cosine + 1j * sine)


def strip_to_line(k_per_mm: Array, width_mm: float, range_mm: Array) -> Complex:
    """Return E: the field of a strip on its axis over that of a line without end."""
    u = 0.5 * width_mm * np.sqrt(k_per_mm / (np.pi * range_mm))
    return np.asarray(np.sqrt(2.0) * QUARTER * _arch(u))


def strip_to_strip(k_per_mm: Array, width_mm: float, path_mm: Array) -> Complex:
    """Return L: from strip to strip by a line reflector, over the same without ends."""
    v = width_mm * np.sqrt(k_per_mm / (np.pi * path_mm))
    ends = np.expm1(0.5j * np.pi * v**2) / (1j * np.pi * v)
    return np.asarray(np.sqrt(2.0) * QUARTER * (_arch(v) - ends))


def point_as_line(k_per_mm: Array, width_mm: float) -> Complex:
    """Return by what f₃ (mm) is to be multiplied to stand in the plane model (√mm)."""
    return np.asarray(np.sqrt(2.0 * np.pi / k_per_mm) * np.conj(QUARTER) / width_mm)


def grain_leg(k_per_mm: float, width_mm: float, range_mm: Array) -> Array:
    """Return the amplitude that a leg to grain has over that of a line: (∫|E|⁴ dy / W)^¼."""
    ranges = np.asarray(range_mm)[:, None]
    reach = 1.5 * width_mm + 6.0 * np.pi * ranges / (k_per_mm * width_mm)
    y = reach * np.linspace(-1.0, 1.0, ACROSS)
    scale = np.sqrt(k_per_mm / (np.pi * ranges))
    field = _arch((0.5 * width_mm + y) * scale) + _arch((0.5 * width_mm - y) * scale)
    power = np.abs(field / np.sqrt(2.0)) ** 4
    return np.asarray((np.trapezoid(power, y, axis=1) / width_mm) ** 0.25)


@dataclass(frozen=True, slots=True)
class Elevation:
    """Tables over ranges evenly spaced in their logarithm: see `row_of`.

    Attributes
    ----------
    leg, path : (NODES, 2, frequencies) float32, real and imaginary part of E and L.
    grain : (NODES,) float32, of a leg at the centre frequency.
    """

    leg: NDArray[np.float32]
    path: NDArray[np.float32]
    grain: NDArray[np.float32]


def elevation_of(k_per_mm: Array, centre_per_mm: float, width_mm: float) -> Elevation:
    """Return the tables of an array at the wave numbers of a band."""
    ranges = np.geomspace(NEAREST_MM, FARTHEST_MM, NODES)
    k = k_per_mm[None, :]
    few = np.geomspace(NEAREST_MM, FARTHEST_MM, GRAIN_RANGES)
    grain = np.interp(np.log(ranges), np.log(few), grain_leg(centre_per_mm, width_mm, few))
    return Elevation(
        _parts(strip_to_line(k, width_mm, ranges[:, None])),
        _parts(strip_to_strip(k, width_mm, ranges[:, None])),
        grain.astype(np.float32),
    )


def range_row(range_mm: Array) -> NDArray[np.float32]:
    """Return the place of a range in the tables, in rows."""
    held = np.clip(range_mm, NEAREST_MM, 0.999 * FARTHEST_MM)
    return np.asarray(
        np.log(held / NEAREST_MM) * ((NODES - 1) / np.log(FARTHEST_MM / NEAREST_MM)), np.float32
    )


def _parts(values: Complex) -> NDArray[np.float32]:
    return np.ascontiguousarray(np.stack([values.real, values.imag], axis=1).astype(np.float32))

"""Plane longitudinal waves at the free surface of an elastic half-space.

`ratio` is the longitudinal over the shear velocity. Angles are from the normal, in radians.

Source: reflection after Achenbach, Wave Propagation in Elastic Solids, 1973, chapter 5; the line
load on a half-space after Miller and Pursey 1954 (both from memory; tests hold published values).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

Array = NDArray[np.float64]


def reflection(angle_rad: ArrayLike, ratio: float) -> Array:
    """Return the amplitude of the reflected longitudinal wave over that of the incident one.

    Of displacement potentials or stresses alike: −1 at normal and at grazing incidence.
    """
    angle = np.asarray(angle_rad, dtype=np.float64)
    sine = np.sin(angle)
    shear = np.arcsin(np.clip(sine / ratio, -1.0, 1.0))
    one = np.sin(2.0 * angle) * np.sin(2.0 * shear)
    other = ratio**2 * np.cos(2.0 * shear) ** 2
    return np.asarray((one - other) / (one + other))


def line_directivity(angle_rad: ArrayLike, ratio: float) -> Array:
    """Return the far-field longitudinal amplitude of a normal line load, 1 along the normal."""
    sine = np.sin(np.asarray(angle_rad, dtype=np.float64))
    cosine = np.sqrt(np.maximum(1.0 - sine**2, 0.0))
    two = ratio**2 - 2.0 * sine**2
    return np.asarray(ratio**2 * cosine * two / rayleigh_function(sine, cosine, ratio))


def rayleigh_function(sine: Array, cosine: Array, ratio: float) -> Array:
    """Return (κ² − 2s²)² + 4s²·c·√(κ² − s²), slowness in units of the longitudinal one."""
    shear = np.sqrt(np.maximum(ratio**2 - sine**2, 0.0))
    return np.asarray((ratio**2 - 2.0 * sine**2) ** 2 + 4.0 * sine**2 * cosine * shear)


def rayleigh_slowness(ratio: float) -> float:
    """Return the slowness of the Rayleigh wave over that of the longitudinal wave.

    It is the root above `ratio` of (2g² − κ²)² = 4g² √(g² − 1) √(g² − κ²).
    """

    def off(g: float) -> float:
        product = np.sqrt(g * g - 1.0) * np.sqrt(g * g - ratio**2)
        return float((2.0 * g * g - ratio**2) ** 2 - 4.0 * g * g * product)

    return float(brentq(off, ratio * (1.0 + 1e-12), 1.5 * ratio, xtol=1e-15))

"""The edge of a face: the exact wave that a half-plane's edge sends out, less what Kirchhoff has.

Kirchhoff theory cuts the motion of the face off at its edge, and sends out an edge wave of its
own, which is wrong: seen head-on there would be none. What is added here is the difference to the
edge wave of a half-plane without traction, exact after Wiener and Hopf. Both are infinite in the
directions of reflection and shadow; their difference is not, unless the wave grazes the face.

A wave that grazes a half-plane and goes straight on is lost in its shadow's border: the difference
grows as one over the sum of both angles to the face. A face that ends sends out a finite wave
there, as `strip` shows, and that is where the difference is bounded. Legs meet so where a face
stands upright under an element and one of them comes by the wall behind it.

Angles are of the directions from the edge to the elements, from the direction that leads from the
edge into the face; either way round. Amplitude of the edge: e^{−iπ/4}/(i√(2πk)) times the matrix
returned here.

Source: Maue 1953; Achenbach, Gautesen and McMaken, Ray Methods for Waves in Elastic Solids, 1982
(from memory); derived here, and tested against `strip`, which is another method.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.elastic import rayleigh_slowness
from qualify.simulation.face import face_weight

Array = NDArray[np.float64]
NEAR = 1e-7  # of the sum of cosines: nearer to reflection or shadow the mean of both sides is taken
ASIDE = 1e-6  # of one cosine: how far aside
GRAZING, GRAZING_POWER = 0.147, 0.8  # bound of a face of one over k_L, in steel, and how it grows
STEEL, GRAZING_SLOPE, GRAZING_LEAST = 1.82, 2.4, 0.2  # the bound rises with the ratio of velocities
EXTENT_WAVES = 4.0  # of a face whose extent is not told
NODES = 96


@cache
def _cut(ratio: float) -> tuple[Array, Array]:
    """Return nodes and weighted jumps of the logarithm of the Rayleigh function over its cut."""
    x, weight = np.polynomial.legendre.leggauss(NODES)
    turn = 0.5 * np.pi * (x + 1.0)
    at = 1.0 + 0.5 * (ratio - 1.0) * (1.0 - np.cos(turn))
    step = 0.25 * np.pi * (ratio - 1.0) * np.sin(turn) * weight
    shear, long = np.sqrt(ratio**2 - at**2), np.sqrt(at**2 - 1.0)
    jump = np.arctan2(4.0 * at**2 * long * shear, (2.0 * at**2 - ratio**2) ** 2)
    return at, step * jump / np.pi


def plus_factor(z: Array, ratio: float) -> Array:
    """Return the factor of the Rayleigh function without zeros or cuts on the right, at z > −1.

    (g + z) exp(−(1/π) ∫ arg/(x + z) dx) over the cut from 1 to `ratio`, g of the Rayleigh wave.
    """
    at, jump = _cut(ratio)
    values, where = np.unique(z, return_inverse=True)
    factor = np.exp(-(jump / (at + values[:, None])).sum(-1)) * (rayleigh_slowness(ratio) + values)
    return np.asarray(factor[where].reshape(np.shape(z)))


def edge_difference(
    one_rad: Array, other_rad: Array, ratio: float, extent_waves: float = EXTENT_WAVES
) -> Array:
    """Return the real matrix of an edge: exact half-plane less symmetrised Kirchhoff.

    extent_waves : of the face, in waves of the centre frequency; bounds what grazes the face. The
    matrix is one of all frequencies, so the bound holds for those about the centre.
    """
    one, other = np.broadcast_arrays(np.asarray(one_rad, float), np.asarray(other_rad, float))
    total = np.cos(one) + np.cos(other)
    near = np.abs(total) < NEAR
    out = _difference(one, other, np.where(near, 1.0, total), ratio)
    if near.any():
        out[near] = _beside(one[near], other[near], ratio)
    return out * (1.0 + (np.maximum(out, 0.0) / grazing_most(extent_waves, ratio)) ** 4) ** -0.25


def grazing_most(extent_waves: float, ratio: float) -> float:
    """Return the most that an edge of a face sends straight on along it, as a matrix entry.

    Fitted to `strip` over 0.5 to 17 waves: within 2 dB for steel, 3 dB for ratios 1.75 to 2.1.
    """
    rise = max(1.0 + GRAZING_SLOPE * (ratio - STEEL), GRAZING_LEAST)
    return float(GRAZING * rise * (2.0 * np.pi * extent_waves) ** GRAZING_POWER)


def _beside(one: Array, other: Array, ratio: float) -> Array:
    """Return the mean of both sides of the pole: one cosine, then the other, moved towards 0."""
    inward = np.where(np.cos(one) >= 0.0, -ASIDE, ASIDE)
    moved = [_move(one, inward), _move(other, -inward)]
    sides = [(moved[0], other), (one, moved[1])]
    return np.asarray(
        np.mean([_difference(p, q, np.cos(p) + np.cos(q), ratio) for p, q in sides], 0)
    )


def _move(angle: Array, by: Array) -> Array:
    """Return angles whose cosines differ by so much, on the same side of the face."""
    return np.asarray(np.copysign(np.arccos(np.clip(np.cos(angle) + by, -1.0, 1.0)), angle))


def exact_part(one_rad: Array, other_rad: Array, ratio: float) -> Array:
    """Return the half-plane's edge matrix times the sum of both cosines."""
    c, d = np.cos(one_rad), np.cos(other_rad)
    opening = (ratio**2 - 2.0 * c**2) * (ratio**2 - 2.0 * d**2) * np.sqrt((1.0 - c) * (1.0 - d))
    sliding = np.sin(2.0 * one_rad) * np.sin(2.0 * other_rad) * np.sqrt((ratio - c) * (ratio - d))
    whole = plus_factor(-c, ratio) * plus_factor(-d, ratio) * -2.0 * (ratio**2 - 1.0)
    return np.asarray((opening + sliding) / whole)


def _difference(one: Array, other: Array, total: Array, ratio: float) -> Array:
    return np.asarray((exact_part(one, other, ratio) - face_weight(one, other, ratio)) / total)

"""Scattering of plane longitudinal waves by an empty cylindrical hole: the exact series.

Each order n of the scattered longitudinal (A) and shear (B) waves follows from the two conditions
that the wall carries no traction, a system of two by two in Bessel and Hankel functions. Nothing
is left out but what lies outside the plane.

Source: White 1958; Pao and Mow, Diffraction of Elastic Waves and Dynamic Stress Concentrations,
1973 (both from memory); tests hold the balance of energy and the optical theorem.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.bessel import cylinder

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SPARE = 6.0  # orders beyond the turning point


def order_count(ka: Array) -> int:
    """Return how many orders a hole of these longitudinal ka needs, at the highest of them."""
    highest = float(np.max(ka))
    return max(3, int(np.ceil(highest + 4.0 * np.cbrt(highest) + SPARE)))


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def modal_amplitudes(ka: Array, ratio: float) -> tuple[Complex, Complex]:
    """Return A and B (orders, values): scattered over incident, longitudinal and shear.

    Orders so far above the turning point that they vanish are zero; there the functions of the
    second kind may lie beyond double precision.
    """
    x = np.atleast_1d(np.asarray(ka, dtype=np.float64))
    y = x * ratio
    orders = order_count(x)
    jx, yx = cylinder(x, orders + 1)
    jy, yy = cylinder(y, orders + 1)
    hx, hy = jx + 1j * yx, jy + 1j * yy
    n = np.arange(orders)[:, None]
    q = n * n - 0.5 * y * y
    long_h, long_j, short_h = (_slope(f, v, n) for f, v in ((hx, x), (jx, x), (hy, y)))
    hx, jx, hy = hx[:-1], jx[:-1], hy[:-1]
    a, b = q * hx - long_h, n * (short_h - hy)
    c, d = n * (hx - long_h), -q * hy + short_h
    left, right = long_j - q * jx, n * (long_j - jx)
    whole = a * d - b * c
    held = n <= x + 4.0 * np.cbrt(x) + SPARE
    one, other = (left * d - b * right) / whole, (a * right - c * left) / whole
    one, other = (np.where(held & np.isfinite(v), v, 0.0) for v in (one, other))
    return one, other


def _slope(f: Complex | Array, x: Array, n: NDArray[np.int64]) -> Complex:
    """Return x·f' (orders, values) of f (orders + 1, values): n f_n − x f_{n+1}."""
    return np.asarray(n * f[:-1] - x * f[1:])


def hole_series(k_per_mm: Array, radius_mm: float | Array, ratio: float) -> Complex:
    """Return c (orders, frequencies), √mm: f(δ) = Σ c_n cos nδ.

    δ is the angle between the directions from the axis of the hole to both elements: 0 is
    pulse-echo. The scattered wave is f·exp(ikr)/√r for an incident wave of amplitude 1 there.
    """
    k = np.asarray(k_per_mm, dtype=np.float64)
    one, _ = modal_amplitudes(k * radius_mm, ratio)
    n = np.arange(len(one))[:, None]
    weight = np.where(n == 0, 1.0, 2.0) * np.where(n % 2 == 0, 1.0, -1.0)
    return np.asarray(weight * one * np.sqrt(2.0 / (np.pi * k)) * np.exp(-0.25j * np.pi))

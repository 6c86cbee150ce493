"""Scattering of plane longitudinal waves by an empty sphere: the exact series.

Source: Ying and Truell 1956 (from memory); tests hold the balance of energy of every order, the
optical theorem and their closed form for a sphere far smaller than the wave.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.bessel import spherical

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SPARE = 5.0


@np.errstate(over="ignore", invalid="ignore", divide="ignore")
def sphere_amplitudes(ka: Array, ratio: float) -> tuple[Complex, Complex]:
    """Return A and B (orders, values): scattered over incident, longitudinal and shear.

    Potentials are Σ (2n+1) iⁿ Pₙ times jₙ(kr), A hₙ(kr) and B hₙ(κr); the shear displacement is
    curl curl (r ψ). Orders so far above the turning point that they vanish are zero; there the
    functions of the second kind may lie beyond double precision.
    """
    x = np.atleast_1d(np.asarray(ka, dtype=np.float64))
    y = ratio * x
    highest = float(x.max())
    orders = max(3, int(np.ceil(highest + 4.0 * np.cbrt(highest) + SPARE)))
    n = np.arange(orders)[:, None]
    jx, yx = spherical(x, orders + 1)
    jy, yy = spherical(y, orders + 1)
    hx, hy = jx + 1j * yx, jy + 1j * yy
    normal_h, normal_j = ((n * n - n - 0.5 * y * y) * f[:-1] + 2.0 * x * f[1:] for f in (hx, jx))
    along_h, along_j = ((n - 1) * f[:-1] - x * f[1:] for f in (hx, jx))
    normal_s = n * (n + 1) * ((n - 1) * hy[:-1] - y * hy[1:])
    along_s = (n * n - 1 - 0.5 * y * y) * hy[:-1] + y * hy[1:]
    whole = normal_h * along_s - normal_s * along_h
    one = -(normal_j * along_s - normal_s * along_j) / whole
    other = -(normal_h * along_j - normal_j * along_h) / whole
    held = n <= x + 4.0 * np.cbrt(x) + SPARE
    return _clean(one, held), _clean(other, held & (n > 0))


def _clean(values: NDArray[np.number], held: NDArray[np.bool_]) -> Complex:
    return np.asarray(np.where(held & np.isfinite(values), values, 0.0), np.complex128)


def pore_series(k_per_mm: Array, radius_mm: float | Array, ratio: float) -> Complex:
    """Return c (orders, frequencies), mm: f₃(δ) = Σ c_n P_n(cos δ).

    δ is the angle between the directions from the centre to both elements: 0 is pulse-echo. The
    scattered wave is f₃·exp(ikr)/r for an incident wave of amplitude 1 there. The radius is one, or
    one a frequency.
    """
    k = np.asarray(k_per_mm, dtype=np.float64)
    one, _ = sphere_amplitudes(k * radius_mm, ratio)
    n = np.arange(len(one))[:, None]
    sign = np.where(n % 2 == 0, 1.0, -1.0)
    return np.asarray(-1j / k * (2 * n + 1) * sign * one)

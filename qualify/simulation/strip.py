"""A straight face in an endless solid, solved exactly: what faces are tested against.

The opening and the sliding of the face are unknown; without friction or traction they are found
apart from each other. Each is a sum of √(1 − s²) Uₙ(s) over the face, s from −1 to 1, which has
the right root at both edges. In the wavenumber domain the traction that they cause is a known
factor, the Rayleigh function over a root, and the Fourier transform of each term is a Bessel
function; the conditions on the face, weighted with the same terms (Galerkin), make a symmetric
system. Its error falls faster than any power of the number of terms.

Kirchhoff theory and edges enter nowhere: the two have only the far field of a plane wave in
common, so this holds where the elements are many face lengths²/λ away.

Source: spectral Galerkin treatment of crack problems as in van den Berg 1982 and Bövik and
Boström 1997 (from memory); derived here.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.bessel import cylinder_first
from qualify.simulation.quadrature import panels

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
SPARE = 12  # terms beyond the shear wave number times half the length
FAR = 150.0  # wave numbers, over half the length, beyond the shear one that the integral goes to
NODES_PER_TURN = 6.0
SHARP = 60  # nodes of a stretch between branch points, and more by its length
ROUND = 4.0  # directions of the integral of power, over the highest order of the far field


def strip_far_field(
    k_per_mm: float, extent_mm: float, one_rad: Array, other_rad: Array, ratio: float
) -> Complex:
    """Return f (√mm) of a face between directions from its middle, angles from its tangent.

    one_rad, other_rad : of the same shape; the scattered wave is f·exp(ikr)/√r.
    """
    half = 0.5 * k_per_mm * extent_mm
    terms = _term_count(half, ratio)
    one, other = np.broadcast_arrays(np.asarray(one_rad, float), np.asarray(other_rad, float))
    opening, sliding = _systems(half, ratio, terms)
    total = np.zeros(one.size, np.complex128)
    for matrix, weight in ((opening, _opens), (sliding, _slides)):
        sent, heard = (
            weight(angle.ravel(), ratio) * _transforms(half * np.cos(angle.ravel()), terms)
            for angle in (one, other)
        )
        total += np.einsum("tn,tn->n", sent, np.linalg.solve(matrix, heard))
    factor = np.sqrt(k_per_mm / (2.0 * np.pi)) * np.exp(-0.25j * np.pi)
    return np.asarray((factor * total / (2j * k_per_mm * ratio**2)).reshape(one.shape))


def strip_powers(
    k_per_mm: float, extent_mm: float, from_rad: float, ratio: float
) -> tuple[float, float, float]:
    """Return powers (mm): scattered as longitudinal and as shear waves, and lost by the incident.

    Each over the power that falls on a millimetre across the incident wave. The last is 2√(2π/k)
    times the forward amplitude (optical theorem); without absorption it is the sum of the others.
    """
    half = 0.5 * k_per_mm * extent_mm
    terms = _term_count(half, ratio)
    count = int(ROUND * (ratio * half + terms))
    around = 2.0 * np.pi * np.arange(count) / count
    sent = np.array([from_rad])
    long, shear = np.zeros(count, np.complex128), np.zeros(count, np.complex128)
    ways = ((_opens, np.sin(2.0 * around)), (_slides, np.cos(2.0 * around)))
    near, far = (_transforms(h * half * np.cos(around), terms) for h in (1.0, ratio))
    for matrix, (weight, to_shear) in zip(_systems(half, ratio, terms), ways, strict=True):
        excited = weight(sent, ratio) * _transforms(half * np.cos(sent), terms)
        motion = np.linalg.solve(matrix, excited)[:, 0]
        long += weight(around, ratio) * (motion @ near)
        shear += to_shear * (motion @ far)
    factor = k_per_mm / (2.0 * np.pi) / (2.0 * k_per_mm * ratio**2) ** 2 * 2.0 * np.pi / count
    powers = factor * np.array([np.sum(np.abs(long) ** 2), ratio**4 * np.sum(np.abs(shear) ** 2)])
    forward = strip_far_field(k_per_mm, extent_mm, sent - np.pi, sent, ratio)[0]
    lost = -2.0 * np.sqrt(2.0 * np.pi / k_per_mm) * np.real(forward * np.exp(0.25j * np.pi))
    return float(powers[0]), float(powers[1]), float(lost)


def _term_count(half: float, ratio: float) -> int:
    return int(np.ceil(half * ratio + 4.0 * np.cbrt(half * ratio))) + SPARE


def _opens(angle: Array, ratio: float) -> Array:
    return np.asarray(ratio**2 - 2.0 * np.cos(angle) ** 2)


def _slides(angle: Array, ratio: float) -> Array:
    return np.sin(2.0 * angle)


def _transforms(zeta: Array, terms: int) -> Complex:
    """Return ∫ √(1−s²) Uₙ(s) exp(−iζs) ds = π (n+1) (−i)ⁿ J_{n+1}(ζ)/ζ, (terms, values)."""
    size = np.maximum(np.abs(zeta), 1e-9)
    bessel = cylinder_first(size, terms + 1)[1:] / size
    n = np.arange(terms)[:, None]
    sign = np.where((zeta < 0.0) & (n % 2 == 1), -1.0, 1.0)
    return np.asarray(np.pi * (n + 1) * (-1j) ** n * sign * bessel)


def _systems(half: float, ratio: float, terms: int) -> tuple[Complex, Complex]:
    """Return the matrices (terms, terms) of opening and sliding, lengths over the half length.

    M = (1/2π) ∫ K(ζ) ψ̂ₙ(ζ) ψ̂ₘ(−ζ) dζ; K tends to −(1 − 1/κ²)|ζ|, whose part is known:
    ∫ J_{m+1} J_{n+1}/ζ dζ = δ/(2(n+1)). The rest is integrated between its branch points.
    """
    zeta, weight = _nodes(half, ratio, terms)
    long, short = (np.emath.sqrt(zeta**2 - (h * half) ** 2 + 0j) for h in (1.0, ratio))
    long, short = (np.where(root.imag > 0, -root, root) for root in (long, short))
    shear = (ratio * half) ** 2
    rayleigh = (2.0 * zeta**2 - shear) ** 2 - 4.0 * zeta**2 * long * short
    n = np.arange(terms)
    bessel = cylinder_first(zeta, terms + 1)[1:] / zeta * (n + 1)[:, None]
    turn = np.real(1j ** ((n[:, None] - n[None, :]) % 4))
    static = -(1.0 - 1.0 / ratio**2)
    found = []
    for root in (long, short):
        rest = rayleigh / (2.0 * root * shear) - static * zeta
        weighed = bessel * (weight * rest)
        matrix = np.pi * turn * np.einsum("mk,nk->mn", weighed, bessel.astype(np.complex128))
        matrix[n, n] += np.pi * static * 0.5 * (n + 1)
        found.append(np.asarray(matrix * half**-2, np.complex128))
    return found[0], found[1]


def _nodes(half: float, ratio: float, terms: int) -> tuple[Array, Array]:
    """Return nodes and weights from 0 on, with roots at both branch points smoothed away."""
    far = ratio * half + FAR + 2.0 * terms
    parts = []
    for low, high in ((0.0, half), (half, ratio * half)):
        turn, w = panels(0.0, np.pi, SHARP + int(NODES_PER_TURN * (high - low)))
        at = low + 0.5 * (high - low) * (1.0 - np.cos(turn))
        parts.append((at, w * 0.5 * (high - low) * np.sin(turn)))
    reach = far - ratio * half
    u, w = panels(0.0, float(np.sqrt(reach)), SHARP + int(NODES_PER_TURN * reach / 2))
    parts.append((ratio * half + u**2, 2.0 * w * u))
    return np.concatenate([p for p, _ in parts]), np.concatenate([p for _, p in parts])

"""A straight face without traction: elastic Kirchhoff theory, made reciprocal.

On the lit side the face moves as that of a half-space would, on the other not at all. The opening
radiates longitudinal waves to angle θ by κ² − 2cos²θ, the sliding by sin 2θ; both are excited by a
plane wave from angle β by the same functions times |sin β| and √(κ² − cos²β) over the Rayleigh
function. Directions are from the face to the elements, θ and β from its tangent, −π to π, κ the
ratio of velocities. Plain Kirchhoff theory is not reciprocal: the mean of both directions is
taken. It holds for faces longer than a wave and not too oblique; `validity` says how far.

Per length of face the scattering is √(k/2π) e^{−iπ/4} w, with the weight w = −1 at normal
incidence. A leg that comes by a mirror at a wall is one from a mirrored element: its angle is that
of the direction to the mirror image. A face that breaks the wall has no edge there.

Source: elastic Kirchhoff approximation as in Chapman and Coffey 1984 (from memory); derived here.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.simulation.elastic import rayleigh_function
from qualify.simulation.scene import Face

Array = NDArray[np.float64]
NODES_LEAST, NODES_BEYOND = 8, 2.0


def face_nodes(face: Face, wavelength_mm: float) -> tuple[Array, Array, Array]:
    """Return nodes (m, 2), their weights (m,) mm, and the tangent (2,) from end 1 to end 2.

    Gauss-Legendre. Legs to and fro along a face turn the phase by up to 4π a wavelength of the
    highest frequency. The rule needs more than π nodes for that, and some more that grow as the
    cube root of the length; from there on it converges faster than any power.
    """
    first = np.array([face.x1_mm, face.z1_mm])
    along = np.array([face.x2_mm, face.z2_mm]) - first
    length = float(np.hypot(*along))
    waves = length / wavelength_mm
    count = NODES_LEAST + int(np.ceil(np.pi * waves + NODES_BEYOND * np.cbrt(waves)))
    x, weight = np.polynomial.legendre.leggauss(count)
    nodes = first + 0.5 * (x[:, None] + 1.0) * along
    return nodes, 0.5 * length * weight, along / length


def face_factors(angle_rad: Array, ratio: float) -> tuple[Array, Array, Array, Array]:
    """Return opening and sliding, radiated and excited, at angles from the tangent.

    In the order: opening radiated, opening excited, sliding radiated, sliding excited.
    """
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    whole = rayleigh_function(cosine, np.abs(sine), ratio)
    opening = ratio**2 - 2.0 * cosine**2
    sliding = 2.0 * sine * cosine
    by_opening = -np.abs(sine) * opening / whole
    by_sliding = -np.sqrt(ratio**2 - cosine**2) * sliding / whole
    return opening, by_opening, sliding, by_sliding


def face_weight(one_rad: Array, other_rad: Array, ratio: float) -> Array:
    """Return w of a face between two directions: the mean of both ways of plain Kirchhoff."""
    a, b, c, d = face_factors(np.asarray(one_rad), ratio)
    e, f, g, h = face_factors(np.asarray(other_rad), ratio)
    return np.asarray(0.5 * (a * f + b * e + c * h + d * g))

"""The flat end of a flat-bottomed hole, parallel to the scan face.

A disc without traction in Kirchhoff theory: f₃ = (k d²/8) w 2J₁(x)/x, x = (kd/2)(sin a + sin b), w
the weight of a face between two directions (of magnitude 1 head-on). The wall of the hole and the
edge of its end are left out.

Source: kd²/8 is the far-field amplitude of a disc, J. and H. Krautkrämer, Ultrasonic Testing of
Materials, 4th ed. 1990 (from memory); w is `face.face_weight`.
"""

import numpy as np
from numpy.typing import NDArray
from scipy import special

from qualify.simulation.face import face_weight

Array = NDArray[np.float64]


def disc_amplitude(
    k_per_mm: Array, diameter_mm: float, one_rad: Array, other_rad: Array, ratio: float
) -> NDArray[np.complex128]:
    """Return f₃ (mm) between directions at angles from the normal, signed; arrays broadcast."""
    x = 0.5 * k_per_mm * diameter_mm * (np.sin(one_rad) + np.sin(other_rad))
    held = np.where(np.abs(x) < 1e-6, 1e-6, x)
    pattern = 2.0 * special.j1(held) / held
    weight = face_weight(0.5 * np.pi - one_rad, 0.5 * np.pi - other_rad, ratio)
    return np.asarray(-0.125j * k_per_mm * diameter_mm**2 * weight * pattern)

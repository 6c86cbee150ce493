"""Sound field of an aperture: near field, divergence and resolution.

Continuous sound at one frequency; lengths in millimetres. Round and rectangular pistons.
"""

import math
from dataclasses import dataclass
from typing import Literal

from scipy import optimize, special

Way = Literal["pulse-echo", "one-way"]
# sin(angle)·aperture/wavelength at which the response falls by 6 dB (a half)
ROUND = {"pulse-echo": 0.5144969850, "one-way": 0.7050848445}
STRIP = {"pulse-echo": 0.4429464707, "one-way": 0.6033545644}
FIRST_NULL_ROUND = 1.2196698913  # first zero of J₁ over π
LATERAL = 0.886  # twice .4429: −6 dB width of what one aperture sends and receives
NO_ANGLE = "the aperture is so short that the response falls by less than this at any angle"
FRESNEL_FROM, FRESNEL_TO = 1.0, 1.6  # brackets the last axial maximum of every rectangle


@dataclass(frozen=True, slots=True)
class HalfAngle:
    """Angle from the axis, or None with the reason."""

    angle_deg: float | None
    reason: str | None


def wavelength_mm(velocity_m_per_s: float, frequency_mhz: float) -> float:
    """Return velocity over frequency."""
    return velocity_m_per_s * 1e-3 / frequency_mhz


def near_field_round_mm(diameter_mm: float, wave_mm: float) -> float:
    """Return the near field length of a round piston, D²/4λ.

    Source: J. and H. Krautkrämer, Ultrasonic Testing of Materials, 4th ed. 1990 (from memory).
    The last axial maximum lies at D²/4λ − λ/4.
    """
    return diameter_mm**2 / (4.0 * wave_mm)


def near_field_rectangle_mm(length_mm: float, width_mm: float, wave_mm: float) -> float:
    """Return the near field length of a rectangular piston, k·L²/4λ of its longer side L.

    The axial pressure in the Fresnel approximation is the product of two Fresnel integrals
    F(L/√(2λz))·F(W/√(2λz)); k = 2/u² where it has its last maximum, u the first argument there.
    It runs from .99 of a narrow strip to 1.37 of a square.
    """
    longer, shorter = max(length_mm, width_mm), min(length_mm, width_mm)

    def falls(u: float) -> float:
        return -_fresnel(u) * _fresnel(u * shorter / longer)

    found = optimize.minimize_scalar(falls, bounds=(FRESNEL_FROM, FRESNEL_TO), method="bounded")
    return float(2.0 / found.x**2 * longer**2 / (4.0 * wave_mm))


def divergence_round_deg(diameter_mm: float, wave_mm: float, way: Way = "pulse-echo") -> HalfAngle:
    """Return the half angle at −6 dB of a round piston in the far field.

    The directivity is 2J₁(x)/x, x = π D sin(angle)/λ; squared in pulse-echo.
    """
    return _angle(ROUND[way] * wave_mm / diameter_mm)


def divergence_rectangle_deg(
    length_mm: float, wave_mm: float, way: Way = "pulse-echo"
) -> HalfAngle:
    """Return the half angle at −6 dB in the plane of the side `length_mm`, in the far field.

    The directivity is sin(x)/x, x = π L sin(angle)/λ; squared in pulse-echo.
    """
    return _angle(STRIP[way] * wave_mm / length_mm)


def first_null_round_deg(diameter_mm: float, wave_mm: float) -> HalfAngle:
    """Return the angle of the first zero of a round piston: 1.22 λ/D."""
    return _angle(FIRST_NULL_ROUND * wave_mm / diameter_mm)


def first_null_rectangle_deg(length_mm: float, wave_mm: float) -> HalfAngle:
    """Return the angle of the first zero in the plane of the side `length_mm`: λ/L."""
    return _angle(wave_mm / length_mm)


def focal_spot_mm(wave_mm: float, focus_mm: float, aperture_mm: float) -> float:
    """Return λF/D: half the distance between the zeros beside a focus."""
    return wave_mm * focus_mm / aperture_mm


def lateral_width_mm(wave_mm: float, focus_mm: float, aperture_mm: float) -> float:
    """Return .886 λF/D: the −6 dB width of a point if one aperture sends and receives.

    For small angles, one frequency and elements of equal weight.
    """
    return LATERAL * focal_spot_mm(wave_mm, focus_mm, aperture_mm)


def _fresnel(u: float) -> float:
    sine, cosine = special.fresnel(u)
    return float(math.hypot(sine, cosine))


def _angle(sine: float) -> HalfAngle:
    if sine > 1.0:
        return HalfAngle(None, NO_ANGLE)
    return HalfAngle(math.degrees(math.asin(sine)), None)

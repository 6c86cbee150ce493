"""Snell's law at a flat interface: refraction, mode conversion and critical angles.

Source: the law is in every textbook of ultrasonic testing; sin(α₁)/c₁ = sin(α₂)/c₂, angles from
the normal of the interface.
"""

import math


def refracted_deg(angle_deg: float, from_m_per_s: float, into_m_per_s: float) -> float | None:
    """Return the angle of the refracted or converted wave, or None beyond the critical angle.

    The same law gives the angle of a wave of another mode that is reflected at a surface.

    Raises
    ------
    ValueError : if the angle is not within −90 to 90 degrees, or a velocity is not positive.
    """
    if not -90.0 <= angle_deg <= 90.0:
        msg = f"an angle of {angle_deg} degrees; give one from -90 to 90"
        raise ValueError(msg)
    if not (from_m_per_s > 0.0 and into_m_per_s > 0.0):
        msg = f"velocities {from_m_per_s} and {into_m_per_s} m/s; give positive ones"
        raise ValueError(msg)
    sine = math.sin(math.radians(angle_deg)) * into_m_per_s / from_m_per_s
    return math.degrees(math.asin(sine)) if abs(sine) <= 1.0 else None


def critical_deg(from_m_per_s: float, into_m_per_s: float) -> float | None:
    """Return the angle of incidence at which the refracted wave runs along the interface.

    None where the second velocity is not the larger one: then there is no such angle.
    """
    return refracted_deg(90.0, into_m_per_s, from_m_per_s) if into_m_per_s > from_m_per_s else None

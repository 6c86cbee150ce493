"""How far an array may be steered before grating lobes appear.

Elements a pitch p apart radiate in phase in a second direction as soon as
p ≥ λ/(1 + |sin(angle)|); the lobe then enters along the array (any textbook of antenna arrays).
The wavelength is that of the medium the elements touch, at the centre frequency; angles are taken
from the normal of the array there. Pulses are short, so that a lobe is weaker than this says, and
the upper part of the band meets it earlier.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.field import wavelength_mm
from qualify.recording.paths import crossings_mm
from qualify.recording.probe import Contact, Medium, Probe, Standoff, element_centres_mm

NEVER = "the pitch is a wavelength or more: grating lobes appear at every steering angle"


@dataclass(frozen=True, slots=True)
class FreeAngle:
    """Largest steering angle without grating lobes: up to 90; or None with the reason."""

    angle_deg: float | None
    reason: str | None


def grating_free_angle(pitch_mm: float, wave_mm: float) -> FreeAngle:
    """Return the angle up to which no grating lobe appears: sin(angle) = λ/p − 1."""
    sine = wave_mm / pitch_mm - 1.0
    if sine <= 0.0:
        return FreeAngle(None, NEVER)
    return FreeAngle(math.degrees(math.asin(min(1.0, sine))), None)


def free_angle_of(probe: Probe, coupling: Contact | Standoff, medium: Medium) -> FreeAngle:
    """Return the angle free of grating lobes in what the elements touch."""
    speed = (
        medium.longitudinal_m_per_s
        if isinstance(coupling, Contact)
        else coupling.longitudinal_m_per_s
    )
    return grating_free_angle(probe.pitch_mm, wavelength_mm(speed, probe.centre_mhz))


def angles_warning(
    probe: Probe, coupling: Contact | Standoff, medium: Medium, angles_deg: Sequence[float]
) -> str | None:
    """Return in words which angles in the block are steered too far, or None.

    Parameters
    ----------
    angles_deg : directions of beams in the block, from the normal of the scan face.
    """
    angle = np.asarray(angles_deg, dtype=np.float64)
    if isinstance(coupling, Standoff):
        ratio = coupling.longitudinal_m_per_s / medium.longitudinal_m_per_s
        sine = np.clip(ratio * np.sin(np.radians(angle)), -1.0, 1.0)
        steered = np.degrees(np.arcsin(sine)) - coupling.angle_deg
    else:
        steered = angle
    worst = int(np.argmax(np.abs(steered)))
    return _in_words(
        free_angle_of(probe, coupling, medium),
        float(steered[worst]),
        f"the beam at {angle[worst]:g}°",
        coupling,
    )


def region_warning(
    probe: Probe,
    coupling: Contact | Standoff,
    medium: Medium,
    x_mm: tuple[float, float],
    z_mm: tuple[float, float],
) -> str | None:
    """Return in words whether a region in the block lies beyond the free angle, or None.

    Parameters
    ----------
    x_mm, z_mm : first and last x and z of the region, z from 0.

    Notes
    -----
    The angle is that from the middle of the array, along the fastest path. The whole array aims at
    a place, as in total focusing; of a linear scan, which does not steer, this says nothing.
    """
    corner = np.array([(x, z) for z in z_mm for x in x_mm], dtype=np.float64)
    steered = _steered_deg(probe, coupling, medium, corner)
    worst = int(np.argmax(np.abs(steered)))
    return _in_words(
        free_angle_of(probe, coupling, medium),
        float(steered[worst]),
        f"the place x = {corner[worst, 0]:g} mm, z = {corner[worst, 1]:g} mm",
        coupling,
    )


def _steered_deg(
    probe: Probe,
    coupling: Contact | Standoff,
    medium: Medium,
    points_mm: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the angle (points,) at which the middle of the array aims at points."""
    middle = element_centres_mm(probe, coupling).mean(axis=0)
    if isinstance(coupling, Contact):
        return np.asarray(np.degrees(np.arctan2(points_mm[:, 0] - middle[0], points_mm[:, 1])))
    crossing = crossings_mm(
        middle[None, :],
        points_mm,
        coupling.longitudinal_m_per_s * 1e-3,
        medium.longitudinal_m_per_s * 1e-3,
    )[0]
    aimed = np.degrees(np.arctan2(crossing - middle[0], -middle[1]))
    return np.asarray(aimed - coupling.angle_deg)


def _in_words(
    free: FreeAngle, steered_deg: float, what: str, coupling: Contact | Standoff
) -> str | None:
    where = "in the block" if isinstance(coupling, Contact) else f"in the {coupling.kind}"
    if free.angle_deg is None:
        return free.reason
    if abs(steered_deg) <= free.angle_deg:
        return None
    return (
        f"{what} is steered {abs(steered_deg):.1f}° {where}; free of grating lobes at the centre "
        f"frequency up to {free.angle_deg:.1f}°"
    )

"""What of a mode's own setting a reader of its images has to know."""

from qualify.imaging.field import divergence_rectangle_deg, wavelength_mm
from qualify.imaging.grid import Image
from qualify.imaging.modes import Mode
from qualify.imaging.steering import angles_warning
from qualify.recording.record import Recording


def steering_warning(recording: Recording, mode: Mode) -> str | None:
    """Return in words whether a sectorial scan steers beyond the angle free of grating lobes."""
    if mode.focusing != "sectorial":
        return None
    assert mode.angle_from_deg is not None
    assert mode.angle_to_deg is not None
    ends = (mode.angle_from_deg, mode.angle_to_deg)
    return angles_warning(recording.probe, recording.coupling, recording.medium, ends)


def cautions(recording: Recording, mode: Mode, image: Image) -> list[str]:
    """Return in words what of a mode's own setting a reader has to know."""
    found = []
    if mode.focusing == "sectorial" and mode.angle_step_deg is not None:
        wave = wavelength_mm(recording.medium.longitudinal_m_per_s, recording.probe.centre_mhz)
        size = mode.aperture_elements or recording.probe.elements
        half = divergence_rectangle_deg(size * recording.probe.pitch_mm, wave).angle_deg
        if half is not None and mode.angle_step_deg > 2.0 * half:
            found.append(
                f"beams stand {mode.angle_step_deg:g}° apart and are {2.0 * half:.1f}° wide at "
                "-6 dB: between them the image is drawn from beams that do not look there"
            )
    levels = (mode.threshold, image.random_99)
    if levels[0] is not None and levels[1] is not None and levels[0] < levels[1]:
        found.append("the threshold lies below the 99 % level of random phases")
    if mode.show == "weighted_amplitude":
        found.append("weighted by a coherence: no amplitude, and not to be held beside one")
    if recording.full_scale is None and image.unit == "db":
        found.append("the full scale is not told: dB re 1 in the unit of the samples")
    return found

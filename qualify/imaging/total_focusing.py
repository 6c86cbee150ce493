"""Total focusing: every pair of elements focused on every pixel.

Source: Holmes, Drinkwater and Wilcox 2005 (from memory): the amplitude at a pixel is the sum of the
analytic signals of all pairs at the time of flight from transmitter to pixel to receiver.
"""

import numpy as np

from qualify.imaging.laws import CONTACT, PIXELS, STANDOFF, Law
from qualify.imaging.modes import Mode
from qualify.imaging.signals import Signals
from qualify.imaging.tiles import Pixels
from qualify.recording.probe import Contact, element_centres_mm
from qualify.recording.record import Recording

MANY = 32  # elements whose pairs, each with its own error of the nearest sample, average it out


def speeds(recording: Recording) -> tuple[float, float]:
    """Return velocities in mm/µs above and below the scan face; in contact they are one."""
    below = recording.medium.longitudinal_m_per_s * 1e-3
    coupling = recording.coupling
    if isinstance(coupling, Contact):
        return below, below
    return coupling.longitudinal_m_per_s * 1e-3, below


def window_over(mode: Mode, elements: int) -> np.ndarray:
    """Return the weight (elements,) of each place in the aperture."""
    if mode.corrections.window == "none":
        return np.ones(elements, np.float32)
    place = (np.arange(elements) + 0.5) / elements
    return np.asarray(np.sin(np.pi * place) ** 2, dtype=np.float32)


def relative_width(recording: Recording, mode: Mode) -> float:
    """Return element width over wavelength where the directivity is asked for, else 0."""
    if not mode.corrections.directivity:
        return 0.0
    probe = recording.probe
    return probe.element_width_mm * probe.centre_mhz / speeds(recording)[0]


def total_focusing_law(
    recording: Recording, signals: Signals, mode: Mode, pixels: Pixels, *, weighted: bool
) -> Law:
    """Return the law that focuses all elements on each pixel; `weighted`: with corrections."""
    probe = recording.probe
    centres = element_centres_mm(probe, recording.coupling)
    above, below = speeds(recording)
    tiles, largest = len(pixels.x_mm) // PIXELS, mode.largest_angle_deg
    ones = np.ones(probe.elements, np.float32)
    return Law(
        kind=CONTACT if isinstance(recording.coupling, Contact) else STANDOFF,
        x_mm=np.ascontiguousarray(centres[:, 0]),
        height_mm=np.ascontiguousarray(-centres[:, 1]),
        pixel_x_mm=pixels.x_mm,
        pixel_z_mm=pixels.z_mm,
        table_us=np.zeros((1, 1), np.float32),
        first=np.zeros(tiles, np.int64),
        last=np.full(tiles, probe.elements, np.int64),
        window=window_over(mode, probe.elements) if weighted else ones,
        above=above,
        below=below,
        zero_us=signals.start_us / 2.0,
        rate_mhz=signals.rate_mhz,
        carrier_mhz=signals.carrier_mhz,
        largest_sine=2.0 if largest is None else float(np.sin(np.radians(largest))),
        width=relative_width(recording, mode) if weighted else 0.0,
        between=probe.elements < MANY or largest is not None,
        spreading=mode.corrections.spreading and weighted,
    )

"""Recordings made analytically: point scatterers with exact delays, to test images against.

A pulse with a Gaussian envelope arrives from every point at its exact time of flight. Nothing else
is modelled: no spreading, directivity, attenuation or noise unless asked for. Closed forms are
known for the images of such a recording, and that is what it is for.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qualify.recording.paths import times_us
from qualify.recording.probe import Contact, Medium, Probe, Standoff, element_centres_mm
from qualify.recording.record import Provenance, Recording, half_pairs

REACH = 6.0  # standard deviations: the envelope is 1.5e-8 there
LEFT_OUT = (
    "spreading and attenuation",
    "directivity of the elements",
    "grain and electronic noise",
    "back wall and ring-down",
    "all but single scattering of points on the direct longitudinal path",
)


def pulse_sigma_us(centre_mhz: float, bandwidth_fraction: float) -> float:
    """Return the standard deviation of the Gaussian envelope of a pulse, in microseconds.

    The spectrum exp(−(f − f₀)²/2s²) has its −6 dB (half amplitude) points at f₀ ± s √(2 ln 2);
    its transform has the envelope exp(−t²/2σ²) with σ = 1/(2πs).
    """
    spread_mhz = centre_mhz * bandwidth_fraction / (2.0 * np.sqrt(2.0 * np.log(2.0)))
    return float(1.0 / (2.0 * np.pi * spread_mhz))


def record_points(
    probe: Probe,
    points_mm: ArrayLike,
    amplitudes: ArrayLike = 1.0,
    *,
    coupling: Contact | Standoff | None = None,
    medium: Medium | None = None,
    sampling_mhz: float = 50.0,
    start_us: float = 0.0,
    samples: int = 2048,
) -> Recording:
    """Return half a matrix of a recording of point scatterers with exact delays.

    Parameters
    ----------
    points_mm : (points, 2) x and z.
    amplitudes : (points,) or one for all, in fractions of full scale 1; signed.

    Notes
    -----
    The signal of a point is a·exp(−(t−τ)²/2σ²)·cos(2πf₀(t−τ)) at τ = time from the transmitting
    element plus time to the receiving one; σ from `pulse_sigma_us`.
    """
    coupling, medium = (
        coupling or Contact(kind="contact"),
        medium or Medium(longitudinal_m_per_s=5900.0),
    )
    points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
    sizes = np.broadcast_to(np.asarray(amplitudes, dtype=np.float64), (len(points),))
    way = times_us(element_centres_mm(probe, coupling), points, coupling, medium)
    transmit, receive = half_pairs(probe.elements)
    time = start_us + np.arange(samples) / sampling_mhz
    sigma = pulse_sigma_us(probe.centre_mhz, probe.bandwidth_fraction)
    out = np.zeros((len(transmit), samples), np.float32)
    for k, size in enumerate(sizes):
        add_pulses(out, way[transmit, k] + way[receive, k], size, time, probe.centre_mhz, sigma)
    provenance = Provenance("simulated", "point scatterers with exact delays", None, LEFT_OUT)
    return Recording(
        out, sampling_mhz, start_us, probe, coupling, medium, provenance, full_scale=1.0
    )


def add_pulses(
    out: NDArray[np.float32],
    arrival_us: NDArray[np.float64],
    size: float,
    time_us: NDArray[np.float64],
    centre_mhz: float,
    sigma_us: float,
) -> None:
    """Add a pulse to each signal (pairs, samples), over the samples it reaches."""
    step = time_us[1] - time_us[0]
    reach = int(np.ceil(REACH * sigma_us / step))
    near = np.rint((arrival_us - time_us[0]) / step).astype(np.int64)
    index = near[:, None] + np.arange(-reach, reach + 1)[None, :]
    held = (index >= 0) & (index < len(time_us))
    late = time_us[0] + index * step - arrival_us[:, None]
    pulse = size * np.exp(-0.5 * (late / sigma_us) ** 2) * np.cos(2 * np.pi * centre_mhz * late)
    rows = np.broadcast_to(np.arange(len(out))[:, None], index.shape)
    np.add.at(out, (rows[held], index[held]), pulse[held].astype(np.float32))

"""The echo of a flat back wall parallel to the scan face: when it comes, and whether it is there.

Every pair of elements sees the wall at its own time. Shifted by these times the signals fall into
one another, and their mean rises above everything that moves otherwise: where it peaks tells by
how much the start time is wrong.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.recording.paths import times_us
from qualify.recording.probe import Contact, Medium, Probe, Standoff, element_centres_mm
from qualify.recording.record import Recording, half_matrix, half_pairs

Array = NDArray[np.float64]
STEEPEST_DEG = 5.0
SEARCHED_FRACTION = 0.3  # of the time within the block, either side of the expected echo
QUIETEST = 1e-6  # float32 noise of the transforms, as a fraction of the peak


@dataclass(frozen=True, slots=True)
class Wall:
    """The back wall in a recording.

    Attributes
    ----------
    expected_us : time of the echo on the shortest path, after transmission; None with `reason`.
    level_db : peak of the aligned mean over its median within the search, dB; None with `reason`.
    coherence_fraction : power of the mean over mean power at that peak, 0 to 1.
    start_offset_us : by how much later than expected the echo lies; a pulse peaks some time after
        its onset, so that a measured recording shows up to a period or two.
    period_us : of the centre frequency of the probe, the measure of that offset.
    reason : why a value does not exist, in words; empty where all do.
    """

    expected_us: float | None
    level_db: float | None
    coherence_fraction: float | None
    start_offset_us: float | None
    period_us: float
    reason: str


def wall_times_us(probe: Probe, coupling: Contact | Standoff, medium: Medium) -> Array:
    """Return the time (pairs,) of the echo of the wall for each pair of half a matrix.

    Notes
    -----
    Folded out at the wall, the path runs through parallel layers, with one angle in each: it is
    the fastest one from a height of both elements together to twice the thickness, across their
    distance along the face.

    Raises
    ------
    ValueError : if the medium has no thickness.
    """
    if medium.thickness_mm is None:
        msg = "the medium has no thickness"
        raise ValueError(msg)
    n = probe.elements
    centres = element_centres_mm(probe, coupling)
    heights = -(centres[0, 1] + centres[:, 1])  # of elements 0 and k together
    spread = np.abs(centres[:, 0] - centres[0, 0])
    rising = centres[-1, 1] - centres[0, 1]
    sums = heights[0] - rising * np.arange(2 * n - 1) / (n - 1)
    above = np.column_stack([np.zeros(2 * n - 1), -sums])
    below = np.column_stack([spread, np.full(n, 2.0 * medium.thickness_mm)])
    transmit, receive = half_pairs(n)
    table = times_us(above, below, coupling, medium)
    return np.asarray(table[transmit + receive, receive - transmit])


def find_wall(recording: Recording) -> Wall:
    """Look for the back wall around the time at which it is expected."""
    if recording.medium.thickness_mm is None:
        return _none(recording, None, "no thickness is told, so no back wall is looked for")
    tilt = 0.0 if isinstance(recording.coupling, Contact) else recording.coupling.angle_deg
    if abs(tilt) > STEEPEST_DEG:
        words = f"the array is tilted by {tilt:g} degrees and shows no wall parallel to the face"
        return _none(recording, None, words)
    expected = wall_times_us(recording.probe, recording.coupling, recording.medium)
    soonest = float(expected.min())
    last = recording.start_us + (recording.sample_count - 1) / recording.sampling_mhz
    if not (recording.start_us < soonest and float(expected.max()) < last):
        words = (
            f"the echo is expected from {soonest:.2f} to {expected.max():.2f} µs, the recording "
            f"holds {recording.start_us:.2f} to {last:.2f} µs"
        )
        return _none(recording, soonest, words)
    return _looked_for(recording, expected, soonest)


def _none(recording: Recording, expected_us: float | None, reason: str) -> Wall:
    return Wall(expected_us, None, None, None, 1.0 / recording.probe.centre_mhz, reason)


def _looked_for(recording: Recording, expected_us: Array, soonest_us: float) -> Wall:
    mean, power = aligned(recording, expected_us - soonest_us)
    late = recording.times_us() - soonest_us
    assert recording.medium.thickness_mm is not None
    within_us = 2e3 * recording.medium.thickness_mm / recording.medium.longitudinal_m_per_s
    reach = SEARCHED_FRACTION * within_us
    held = np.abs(late) <= reach
    level = np.abs(mean[held])
    if not level.any():
        return _none(recording, soonest_us, "there is no signal around the expected time")
    peak = int(np.argmax(level))
    quiet = max(float(np.median(level)), QUIETEST * float(level[peak]))
    return Wall(
        soonest_us,
        20.0 * math.log10(float(level[peak]) / quiet),
        float(level[peak] ** 2 / power[held][peak]),
        float(late[held][peak] + _between(level, peak) / recording.sampling_mhz),
        1.0 / recording.probe.centre_mhz,
        "",
    )


def aligned(recording: Recording, later_us: Array) -> tuple[NDArray[np.complex128], Array]:
    """Return mean and mean power (samples,) of all signals, each moved ahead by its own time.

    Parameters
    ----------
    later_us : (pairs,) of half a matrix, at least 0.

    Notes
    -----
    Analytic signals within the band of the probe, shifted exactly in the frequency domain. Pairs
    of two elements count twice, as in a full matrix.
    """
    samples, probe = half_matrix(recording.samples), recording.probe
    count, n = samples.shape[-1], probe.elements
    room = count + math.ceil(float(later_us.max()) * recording.sampling_mhz) + 1
    mhz = np.fft.rfftfreq(room, 1.0 / recording.sampling_mhz)
    half_band = probe.centre_mhz * probe.bandwidth_fraction
    band = np.flatnonzero((mhz > 0.0) & (np.abs(mhz - probe.centre_mhz) <= half_band))
    transmit, receive = half_pairs(n)
    mean, power, start = np.zeros(room, np.complex128), np.zeros(room), 0
    for row in range(n):
        rows = slice(start, start + n - row)
        start += n - row
        turn = np.exp(2j * np.pi * later_us[rows, None] * mhz[band])
        spectrum = np.zeros((n - row, room), np.complex128)
        spectrum[:, band] = 2.0 * np.fft.rfft(samples[rows], room)[:, band] * turn
        moved = np.fft.ifft(spectrum)
        weight = np.where(transmit[rows] == receive[rows], 1.0, 2.0)
        mean += weight @ moved
        power += weight @ np.abs(moved) ** 2
    return np.asarray(mean[:count] / n**2), np.asarray(power[:count] / n**2)


def _between(level: Array, peak: int) -> float:
    """Return how far from sample `peak` the top of a parabola through three samples lies."""
    if not 0 < peak < len(level) - 1:
        return 0.0
    before, top, after = level[peak - 1 : peak + 2]
    bend = before - 2.0 * top + after
    return float(0.5 * (before - after) / bend) if bend < 0.0 else 0.0

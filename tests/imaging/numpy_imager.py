"""A small imager in plain numpy, for tests of what is read from images: total focusing in contact.

Each signal is moved down by the centre frequency, read at the sum of two one-way times (linear),
and moved up again; the image is the sum over all pairs, over their number.
"""

import numpy as np
from scipy.signal import hilbert

from qualify.imaging.grid import Grid, Image, decibels
from qualify.imaging.random_phase import random_level_of_pairs
from qualify.recording.paths import times_us
from qualify.recording.probe import Contact, Medium, Probe, element_centres_mm
from qualify.recording.record import Recording, half_matrix, half_pairs, samples_digest

STEEL = Medium(longitudinal_m_per_s=5900.0)
CONTACT = Contact(kind="contact")


def array_of(elements: int, *, pitch_mm: float = 0.6) -> Probe:
    """Return the array of published checks, with fewer elements: 5 MHz, 70 %."""
    return Probe(
        name="invented", elements=elements, pitch_mm=pitch_mm, element_width_mm=0.9 * pitch_mm,
        passive_width_mm=10.0, centre_mhz=5.0, bandwidth_fraction=0.7,
    )  # fmt: skip


def total_focusing(recording: Recording, grid: Grid) -> Image:
    """Return the amplitude."""
    return _image(recording, grid, "db")


def coherence(recording: Recording, grid: Grid) -> Image:
    """Return the vector coherence over all pairs."""
    return _image(recording, grid, "coherence")


def _image(recording, grid, unit):
    n = recording.probe.elements
    x, z = np.meshgrid(grid.x_mm(), grid.z_mm())
    points = np.column_stack([x.ravel(), z.ravel()])
    elements = element_centres_mm(recording.probe, recording.coupling)
    way = times_us(elements, points, recording.coupling, recording.medium)
    time, carrier = recording.times_us(), 2j * np.pi * recording.probe.centre_mhz
    signals = half_matrix(recording.samples).astype(np.float64)
    base = hilbert(signals, axis=-1) * np.exp(-carrier * time)
    covered = (2 * way.max(axis=0) <= time[-1]) & (2 * way.min(axis=0) >= time[0])
    total = np.zeros(len(points), dtype=complex)
    for signal, i, j in zip(base, *half_pairs(n), strict=True):
        late = way[i] + way[j]
        value = np.interp(late, time, signal) * np.exp(carrier * late)
        if unit == "coherence":
            value = value / np.maximum(np.abs(value), 1e-300)
        total += (1 if i == j else 2) * value
    size = (np.abs(total) / n**2).reshape(grid.shape)
    level = random_level_of_pairs("vector_coherence", n) if unit == "coherence" else None
    return Image(
        values=decibels(size) if unit == "db" else size.astype(np.float32),
        unit=unit,
        grid=grid,
        mode=f"plain {unit}",
        method="total focusing in plain numpy",
        covered=covered.reshape(grid.shape),
        signal=recording.provenance.signal,
        recording=samples_digest(recording.samples),
        random_level=level and level.mean,
        random_99=level and level.level_99,
    )

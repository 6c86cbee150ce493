"""Recordings and modes that the tests of images share."""

from dataclasses import replace

import numpy as np

from qualify.imaging.modes import Mode
from qualify.recording.points import record_points
from qualify.recording.probe import Contact, Probe, Standoff

CONTACT = Contact(kind="contact")
WEDGE = Standoff(kind="wedge", longitudinal_m_per_s=2330, height_mm=9, angle_deg=6)
WATER = Standoff(kind="water", longitudinal_m_per_s=1480, height_mm=12)
COUPLINGS = {"contact": CONTACT, "wedge": WEDGE, "water": WATER}
TOTAL = Mode(name="total_focusing", focusing="total_focusing")


def probe(elements=32, pitch_mm=0.6):
    return Probe(
        name="invented array",
        elements=elements,
        pitch_mm=pitch_mm,
        element_width_mm=0.5,
        passive_width_mm=10,
        centre_mhz=5,
        bandwidth_fraction=0.7,
    )


def coherence(measure="vector_coherence", pairs="all", **others):
    return Mode(
        name=f"{measure}_{pairs}",
        focusing="total_focusing",
        show="coherence",
        measure=measure,
        pairs=pairs,
        **others,
    )


def noisy(recording, level, seed=7):
    """Return a recording with white noise of the given standard deviation added."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(size=recording.samples.shape).astype(np.float32) * np.float32(level)
    return replace(recording, samples=recording.samples + noise)


def points(places, amplitudes=1.0, elements=32, **others):
    return record_points(probe(elements), places, amplitudes, **others)

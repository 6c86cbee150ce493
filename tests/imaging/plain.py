"""The plain form of the images: the reference that the compiled loops are tested against.

`exact_sums` needs no recording: it takes the delayed signals of point scatterers from their closed
form in double precision. `plain_images` is a pair loop in numpy over a prepared recording, the form
one writes first; frozen, it is also the baseline of `qualify bench`.
"""

import numpy as np

from qualify.recording.paths import times_us
from qualify.recording.points import pulse_sigma_us
from qualify.recording.probe import element_centres_mm


def exact_signals(recording, points_mm, amplitudes, places_mm):
    """Yield i, j and the analytic signal (places,) of each pair at its exact delay."""
    probe, coupling, medium = recording.probe, recording.coupling, recording.medium
    centres = element_centres_mm(probe, coupling)
    here = times_us(centres, places_mm, coupling, medium)
    there = times_us(centres, points_mm, coupling, medium)
    sigma = pulse_sigma_us(probe.centre_mhz, probe.bandwidth_fraction)
    for i in range(probe.elements):
        for j in range(i, probe.elements):
            signal = np.zeros(len(places_mm), complex)
            for k, size in enumerate(amplitudes):
                late = here[i] + here[j] - there[i, k] - there[j, k]
                wave = -0.5 * (late / sigma) ** 2 + 2j * np.pi * probe.centre_mhz * late
                signal += size * np.exp(wave)
            yield i, j, signal


def exact_sums(recording, points_mm, amplitudes, places_mm, weights=None):
    """Return the sum of signals, of unit phasors, and of squares (places,) over all pairs."""
    signal = np.zeros(len(places_mm), complex)
    unit, squares = signal.copy(), np.zeros(len(places_mm))
    for i, j, value in exact_signals(recording, points_mm, amplitudes, places_mm):
        twice = 1.0 if i == j else 2.0
        weight = 1.0 if weights is None else weights[i] * weights[j]
        signal += twice * weight * value
        unit += twice * value / np.maximum(np.abs(value), 1e-300)
        squares += twice * np.abs(value) ** 2
    return signal, unit, squares


def rows_of(signals, times, part_of, weights, start_us, between):
    """Return what the compiled kernels sum, in numpy and double precision.

    times, weights : (elements, points); part_of : (elements, points) 1 where an element takes
    part; between : whether samples are interpolated, else the nearest is taken.
    Returns the rows of `sum_pairs` (5), of `sum_phases` (5) and of `sum_receivers` (10).
    """
    n, points = times.shape
    pairs, phases = np.zeros((5, points)), np.zeros((5, points))
    received, rows = np.zeros((n, points), complex), np.zeros((10, points))
    pair = 0
    for i in range(n):
        for j in range(i, n):
            late = times[i] + times[j] - start_us
            place = np.clip(late * signals.rate_mhz + 1.0, 0.0, signals.samples)
            index = (place if between else place + 0.5).astype(int)
            value = signals.table[pair, index]
            if between:
                value = value + (place - index) * (signals.table[pair, index + 1] - value)
            value = value * np.exp(2j * np.pi * signals.carrier_mhz * late)
            pair += 1
            part = part_of[i] * part_of[j] * (1.0 if i == j else 2.0)
            unit = value / (np.abs(value) + 1e-30)
            pairs += part * np.array(
                [*_split(weights[i] * weights[j] * value), *_split(unit), np.abs(value) ** 2]
            )
            phases += part * _phase_terms(value)
            received[j] += part_of[i] * part_of[j] * weights[i] * value
            if i != j:
                received[i] += part_of[i] * part_of[j] * weights[j] * value
    for k in range(n):
        value = received[k]
        unit = value / (np.abs(value) + 1e-30)
        rows[:5] += [*_split(weights[k] * value), *_split(unit), np.abs(value) ** 2]
        rows[5:] += part_of[k] * _phase_terms(value)
    return pairs, phases, rows


def _split(value):
    return value.real, value.imag


def _phase_terms(value):
    phase = np.angle(value)
    return np.array(
        [phase, phase**2, np.abs(phase), np.where(phase >= 0.0, 1.0, -1.0), np.sign(value.real)]
    )

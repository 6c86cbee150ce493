"""Measures of coherence from sums over pairs or receivers.

All run from 0 (no common phase) to 1 (one phase). They carry no amplitude: gain cancels, and a
clipped signal looks coherent. Sources, from memory: mean resultant length, Mardia and Jupp 2000;
phase and sign coherence factor, Camacho, Parrilla and Fritsch 2009; coherence factor, Mallart and
Fink 1994.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.kernels import AMPLITUDE_ROWS
from qualify.imaging.laws import Floats
from qualify.imaging.modes import Measure

RANDOM_SPREAD = np.pi / np.sqrt(3.0)  # standard deviation of a phase uniform in (−π, π]


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums at each pixel, over all pairs or over receivers.

    Attributes
    ----------
    signal, unit : (pixels,) complex; sum of signals, and of their unit phasors.
    squares : (pixels,) sum of squared moduli.
    phases : (5, pixels) sums of phases, of their squares, moduli and signs, and of the signs of
        the real signals; None where they were not asked for.
    count : (pixels,) number of pairs or receivers, as a float.
    """

    signal: NDArray[np.complex64]
    unit: NDArray[np.complex64]
    squares: Floats
    phases: Floats | None
    count: Floats


def sums_of(rows: Floats, count: Floats, phases: Floats | None = None) -> Sums:
    """Return sums from the rows that a kernel writes (5 or 10, pixels)."""
    if phases is None and len(rows) > AMPLITUDE_ROWS:
        phases = rows[AMPLITUDE_ROWS:]
    return Sums(
        signal=rows[0] + np.complex64(1j) * rows[1],
        unit=rows[2] + np.complex64(1j) * rows[3],
        squares=rows[4],
        phases=phases,
        count=count,
    )


def measure_of(sums: Sums, measure: Measure) -> Floats:
    """Return a measure (pixels,) in 0 to 1; 0 where nothing takes part.

    Raises
    ------
    ValueError : if a measure of phases is asked of sums without phases, or the measure is unknown.
    """
    count = np.maximum(sums.count, 1.0)
    if measure == "vector_coherence":
        found = (np.abs(sums.unit) / count).astype(np.float64)
    elif measure == "coherence_factor":
        found = _coherence_factor(sums, count)
    elif measure == "phase_coherence_factor":
        found = _phase_factor(_phases(sums, measure), count)
    elif measure == "sign_coherence_factor":
        mean_sign = np.clip(_phases(sums, measure)[4] / count, -1.0, 1.0)
        found = 1.0 - np.sqrt(1.0 - mean_sign.astype(np.float64) ** 2)
    else:
        msg = f"'{measure}' is no measure of coherence that is computed here"
        raise ValueError(msg)
    return np.asarray(np.clip(found, 0.0, 1.0), dtype=np.float32)


def _phases(sums: Sums, measure: Measure) -> Floats:
    if sums.phases is None:
        msg = f"{measure} needs sums of phases"
        raise ValueError(msg)
    return sums.phases


def _coherence_factor(sums: Sums, count: Floats) -> NDArray[np.float64]:
    power = np.abs(sums.signal.astype(np.complex128)) ** 2
    below = count * sums.squares.astype(np.float64)
    return np.asarray(np.divide(power, below, out=np.zeros_like(power), where=below > 0.0))


def _phase_factor(phases: Floats, count: Floats) -> NDArray[np.float64]:
    """1 − σ(φ)/σ₀; σ is the smaller of those of φ and of φ turned by half a turn.

    Without the second, echoes near ±π, which are as coherent as any, would count as spread.
    """
    n = count.astype(np.float64)
    first, second, modulus, sign = (row.astype(np.float64) for row in phases[:4])
    spread = second / n - (first / n) ** 2
    turned = first - np.pi * sign
    turned_squares = second - 2.0 * np.pi * modulus + np.pi**2 * n
    spread = np.minimum(spread, turned_squares / n - (turned / n) ** 2)
    return np.asarray(1.0 - np.sqrt(np.maximum(spread, 0.0)) / RANDOM_SPREAD)

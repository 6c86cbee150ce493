"""Whether the sample axis is the time axis, and the pairs are in their order.

Along the time axis the loudest stretch of a signal carries its energy within the band of the
probe; along any other axis it does not. Pairs of neighbours (i, j) and (i + 1, j + 1) look alike;
in another order of pairs they do not. A full matrix with transmit and receive exchanged is the
same matrix by reciprocity: nothing can show that, and nothing needs to.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qualify.recording.loud import Array, Singles, band_mhz, loudest, pulse_samples
from qualify.recording.pair_order import column_order
from qualify.recording.record import Recording, half_pairs


@dataclass(frozen=True, slots=True)
class AxisOrder:
    """What tells the order of the axes.

    Attributes
    ----------
    band_fraction : share of the energy of the loudest stretches within the band of the probe.
    white_fraction : the share that white noise has there; where it is near 1 nothing is shown.
    other_axis : number, from 1, of another axis as long as that of the samples; None if none is.
    other_band_fraction : the share along that axis, or None.
    alike_fraction : correlation of the energy of neighbouring pairs over time; half matrix only.
    other_alike_fraction : the same had the pairs come in another order than told; half matrix only.
    other_order : which, `by_column` where they are told by row, or `by_row` where told by column.
    """

    band_fraction: float
    white_fraction: float
    other_axis: int | None
    other_band_fraction: float | None
    alike_fraction: float | None
    other_alike_fraction: float | None
    other_order: Literal["by_row", "by_column"] | None


def axis_order(recording: Recording) -> AxisOrder:
    """Return the evidence of the order of axes in a recording that is not silent."""
    samples = recording.samples
    low, high = band_mhz(recording.probe)
    nyquist = 0.5 * recording.sampling_mhz
    same = [k for k in range(samples.ndim - 1) if samples.shape[k] == samples.shape[-1]]
    shares = {k: _band_fraction(np.moveaxis(samples, k, -1), recording) for k in same}
    other = max(shares, key=lambda k: shares[k]) if shares else None
    alike = _alike(recording) if recording.is_half else (None, None, None)
    return AxisOrder(
        band_fraction=_band_fraction(samples, recording),
        white_fraction=max(0.0, min(high, nyquist) - low) / nyquist,
        other_axis=None if other is None else other + 1,
        other_band_fraction=None if other is None else shares[other],
        alike_fraction=alike[0],
        other_alike_fraction=alike[1],
        other_order=alike[2],
    )


def _band_fraction(samples: Singles, recording: Recording) -> float:
    signals = samples.reshape(-1, samples.shape[-1])
    signals = signals - signals.mean(axis=-1, keepdims=True)
    length = pulse_samples(recording, signals.shape[-1])
    taper = np.hanning(length + 2)[1:-1]
    stretch = np.take_along_axis(signals, loudest(np.abs(signals), length), axis=-1) * taper
    stretch -= (stretch.sum(axis=-1) / taper.sum())[:, None] * taper
    power = np.abs(np.fft.rfft(stretch, 4 * length)) ** 2
    mhz = np.fft.rfftfreq(4 * length, 1.0 / recording.sampling_mhz)
    low, high = band_mhz(recording.probe)
    total = float(power.sum())
    return float(power[:, (mhz >= low) & (mhz <= high)].sum()) / total if total else 0.0


def _alike(recording: Recording) -> tuple[float, float, Literal["by_row", "by_column"]]:
    """Return how alike neighbouring pairs are as given, and at best in another order, and which.

    A recording holds its pairs by row. Told wrongly they were by column and never turned, or were
    by row and turned once for nothing: the second permutation undoes what the first one does.
    """
    probe, samples = recording.probe, recording.samples
    period = max(1, min(round(recording.sampling_mhz / probe.centre_mhz), samples.shape[-1] // 4))
    count = samples.shape[-1] // period
    blocks = samples[:, : count * period].reshape(len(samples), count, period)
    energy = np.einsum("pbk,pbk->pb", blocks, blocks, dtype=np.float64)
    energy -= energy.mean(axis=0)
    n = probe.elements
    turned = column_order(n)
    by_column, by_row = (_correlation(energy[order], n) for order in (turned, np.argsort(turned)))
    given = _correlation(energy, n)
    if by_column >= by_row:
        return given, by_column, "by_column"
    return given, by_row, "by_row"


def _correlation(energy: Array, elements: int) -> float:
    transmit, receive = half_pairs(elements)
    inner = receive < elements - 1
    here, after = energy[inner], energy[_number(transmit[inner] + 1, receive[inner] + 1, elements)]
    size = float(np.sqrt(np.sum(here**2) * np.sum(after**2)))
    return float(np.sum(here * after)) / size if size else 0.0


def _number(
    transmit: NDArray[np.int64], receive: NDArray[np.int64], elements: int
) -> NDArray[np.int64]:
    """Return the number of a pair with transmit ≤ receive in half a matrix by row."""
    return transmit * elements - transmit * (transmit - 1) // 2 + receive - transmit

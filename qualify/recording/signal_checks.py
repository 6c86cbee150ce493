"""Reciprocity, clipping and offset of the signals of a recording."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qualify.recording.loud import Array, Singles, loudest, power_db, pulse_samples
from qualify.recording.record import Recording, half_pairs

NEARLY = 1.0 - 1e-6


@dataclass(frozen=True, slots=True)
class Reciprocity:
    """How much a signal and its reciprocal differ, where they are loudest, within the band.

    Attributes
    ----------
    residual_db : power of the difference, less what it is over the rest of the recording (noise),
        over the power of the signals; None with `reason`. Noise-free and reciprocal: −120.
    noise_db : power of the difference over the rest of the recording, over that of the signals; a
        residual below it says only that there is none above the noise.
    worst_element : number, from 1, of the element whose pairs differ most.
    worst_db : power of the difference in its pairs over that of the signals of all elements.
    """

    residual_db: float | None
    noise_db: float | None
    worst_element: int | None
    worst_db: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class Clipping:
    """How much of the recording stands at the limit of the receiver.

    Attributes
    ----------
    limit : largest amplitude of the receiver, in the unit of the samples; None: not told.
    samples_fraction : of samples at or beyond it; where it is not told, of samples in runs of two
        or more at the largest or smallest value of the recording.
    pairs_fraction : of pairs with any such sample.
    """

    limit: float | None
    samples_fraction: float
    pairs_fraction: float


@dataclass(frozen=True, slots=True)
class Offset:
    """Mean of the signals over their rms.

    Attributes
    ----------
    offset_fraction : mean of all samples over the rms of all.
    worst_fraction : largest mean of one pair, either sign, over the rms of all.
    worst_pair : transmitting and receiving element of it, numbers from 1.
    full_scale_fraction : that mean over full scale; None where full scale is not told.
    """

    offset_fraction: float
    worst_fraction: float
    worst_pair: tuple[int, int]
    full_scale_fraction: float | None


def reciprocity(recording: Recording, banded: Singles) -> Reciprocity:
    """Compare each pair of two elements with its reciprocal.

    Parameters
    ----------
    banded : samples within the band, of `qualify.recording.loud.in_band`.
    """
    if recording.is_half:
        return Reciprocity(None, None, None, None, "half a matrix holds each pair once")
    differ, carried, noise = residuals(recording, banded)
    total, n = float(carried.sum()), recording.probe.elements
    if total == 0.0:
        return Reciprocity(None, None, None, None, "no signal within the band of the probe")
    by_element = differ.sum(axis=0) + differ.sum(axis=1)
    worst = int(np.argmax(by_element))
    return Reciprocity(
        power_db(float(differ.sum()) / total),
        power_db(float(noise.sum()) / total),
        worst + 1,
        power_db(float(by_element[worst]) / (2.0 * total / n)),
        "",
    )


def residuals(recording: Recording, banded: Singles) -> tuple[Array, Array, Array]:
    """Return power of the difference less noise, power of the signals, and of the noise.

    All (elements, elements), filled for pairs of a full matrix with transmit < receive. Difference
    and signals are taken where the signals are loudest, noise is the difference elsewhere.
    """
    n, length = recording.probe.elements, pulse_samples(recording, recording.sample_count)
    others = max(recording.sample_count - length, 1)
    differ, carried, noise = np.zeros((n, n)), np.zeros((n, n)), np.zeros((n, n))
    for row in range(n - 1):
        one, other = banded[row, row + 1 :], banded[row + 1 :, row]
        power, apart = 0.5 * (one**2 + other**2), (one - other) ** 2
        where = loudest(power, length)
        loud = np.take_along_axis(apart, where, axis=-1).sum(axis=-1, dtype=np.float64)
        rest = np.maximum(apart.sum(axis=-1, dtype=np.float64) - loud, 0.0)
        noise[row, row + 1 :] = rest / others
        differ[row, row + 1 :] = loud / length - noise[row, row + 1 :]
        carried[row, row + 1 :] = np.take_along_axis(power, where, axis=-1).mean(axis=-1)
    return differ, carried, noise


def clipping(recording: Recording) -> Clipping:
    """Count samples at the limit of the receiver."""
    share = clipped_shares(recording)
    return Clipping(recording.full_scale, float(share.mean()), float(np.mean(share > 0.0)))


def clipped_shares(recording: Recording) -> Array:
    """Return the share of samples at the limit of the receiver, (pairs,) in their order."""
    signals = recording.samples.reshape(-1, recording.sample_count)
    if recording.full_scale is not None:
        at_limit = np.abs(signals) >= np.float32(recording.full_scale * NEARLY)
    else:
        at_limit = _runs(signals == signals.max()) | _runs(signals == signals.min())
    return np.asarray(at_limit.mean(axis=-1))


def _runs(equal: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Keep what has an equal neighbour before or after it."""
    out = np.zeros_like(equal)
    both = equal[:, 1:] & equal[:, :-1]
    out[:, 1:] |= both
    out[:, :-1] |= both
    return out


def offset(recording: Recording) -> Offset:
    """Return mean over rms of a recording that is not silent."""
    signals = recording.samples.reshape(-1, recording.sample_count)
    means = signals.mean(axis=-1, dtype=np.float64)
    rms = float(np.sqrt(np.mean(np.square(signals, dtype=np.float64))))
    worst = int(np.argmax(np.abs(means)))
    n = recording.probe.elements
    if recording.is_half:
        transmit, receive = half_pairs(n)
        pair = (int(transmit[worst]) + 1, int(receive[worst]) + 1)
    else:
        pair = (worst // n + 1, worst % n + 1)
    scale = recording.full_scale
    return Offset(
        float(means.mean()) / rms,
        float(abs(means[worst])) / rms,
        pair,
        None if scale is None else float(abs(means[worst])) / scale,
    )

"""The recording: a full matrix capture at one position of the probe.

The matrix holds a signal for each pair of a transmitting and a receiving element. Where it is
reciprocal (transmitter and receiver may be swapped), half of it says all: the pairs with
transmit ≤ receive, in the order (0, 0), (0, 1), … (0, n−1), (1, 1), … (n−1, n−1).
"""

import hashlib
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qualify.recording.probe import Contact, Medium, Probe, Standoff

Signals = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a recording comes from.

    Attributes
    ----------
    signal : `simulated` or `measured`; the two are never mixed in a count.
    source : model, or instrument and record, in words.
    seed : of what is random in a simulated recording, else None.
    left_out : what a model leaves out, a phrase each; empty for a measured recording.
    files : name and SHA-256 digest of the files a measured recording was read from, or of the
        inputs that a simulated one was computed from.
    procedure : fingerprint of the procedure it was recorded under, or None.
    """

    signal: Literal["simulated", "measured"]
    source: str
    seed: int | None = None
    left_out: tuple[str, ...] = ()
    files: tuple[tuple[str, str], ...] = ()
    procedure: str | None = None


@dataclass(frozen=True, slots=True)
class Recording:
    """A full matrix capture.

    Attributes
    ----------
    samples : float32; (elements, elements, samples) as transmit, receive, sample, or
        (elements·(elements+1)/2, samples) for half a matrix. In fractions of full scale where
        `full_scale` is 1.
    sampling_mhz, start_us : sample k lies at start_us + k / sampling_mhz after transmission.
    full_scale : amplitude at which the receiver clips, in the unit of the samples; None: unknown.
    gain_db : gain of the receiver, None where it is not told.
    block, position_mm : id of the block; x of the middle of the array on it. None: not told.
    """

    samples: Signals
    sampling_mhz: float
    start_us: float
    probe: Probe
    coupling: Contact | Standoff
    medium: Medium
    provenance: Provenance
    full_scale: float | None = None
    gain_db: float | None = None
    block: str | None = None
    position_mm: float | None = None

    def __post_init__(self) -> None:
        n = self.probe.elements
        shape = self.samples.shape
        wanted = (n, n) if len(shape) == 3 else (pair_count(n),)
        if len(shape) not in (2, 3) or shape[:-1] != wanted or shape[-1] < 2:
            msg = f"samples of shape {shape} do not fit {n} elements"
            raise ValueError(msg)

    @property
    def is_half(self) -> bool:
        """Whether only pairs with transmit ≤ receive are held."""
        return self.samples.ndim == 2

    @property
    def sample_count(self) -> int:
        """Samples of each signal."""
        return int(self.samples.shape[-1])

    def times_us(self) -> NDArray[np.float64]:
        """Return the time (samples,) of each sample after transmission."""
        return self.start_us + np.arange(self.sample_count) / self.sampling_mhz


def pair_count(elements: int) -> int:
    """Return the number of pairs of half a matrix, an element with itself included."""
    return elements * (elements + 1) // 2


def half_pairs(elements: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return transmit and receive indices (pairs,) of half a matrix, in its order."""
    transmit, receive = np.triu_indices(elements)
    return transmit.astype(np.int64), receive.astype(np.int64)


def half_matrix(samples: Signals) -> Signals:
    """Return half (pairs, samples) of a matrix: the mean of each signal and its reciprocal.

    The sum over a full matrix of delayed signals is the sum over this half, in which a pair of
    two elements counts twice. Half a matrix is returned as it is.
    """
    if samples.ndim == 2:
        return samples
    transmit, receive = half_pairs(samples.shape[0])
    return (samples[transmit, receive] + samples[receive, transmit]) * np.float32(0.5)


def full_matrix(samples: Signals) -> Signals:
    """Return the full matrix (elements, elements, samples) of half a one by reciprocity."""
    if samples.ndim == 3:
        return samples
    elements = (int(np.sqrt(8 * len(samples) + 1)) - 1) // 2
    transmit, receive = half_pairs(elements)
    out = np.empty((elements, elements, samples.shape[-1]), np.float32)
    out[transmit, receive] = samples
    out[receive, transmit] = samples
    return out


def samples_digest(samples: Signals) -> str:
    """Return the SHA-256 digest of the samples: little-endian float32 in C order, and shape."""
    content = hashlib.sha256(repr(samples.shape).encode())
    content.update(np.ascontiguousarray(samples, dtype="<f4").data)
    return content.hexdigest()

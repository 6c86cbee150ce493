"""What the instrument and its coupling add: noise, ring-down, uneven sensitivity.

Ring-down is a decaying oscillation at the centre frequency of each element, the same at every
transmission, with a start rounded over a quarter of a period; a neighbour receives it weaker, and
the exchange of the two changes nothing. Electronic noise is white between two frequencies and
independent from signal to signal.
"""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from qualify.recording.probe import Probe
from qualify.simulation.conditions import Contact, Electronics
from qualify.simulation.streams import stream
from qualify.threads import in_threads

ROWS = 64
LASTS = 14.0  # decays of the ring-down that are written: 1e-6 is left
UNEVEN = 0.1  # standard deviation of elements' ring-down, of amplitude and of phase in radians
PATCHES = 4  # half waves of coupling along the array, at the most
Floats = NDArray[np.float32]
Array = NDArray[np.float64]


def add_noise(
    signals: Floats, electronics: Electronics, sampling_mhz: float, seed: int, *name: str
) -> None:
    """Add electronic noise to signals (rows, samples), each row its own.

    The spectrum has independent Gaussian lines between the two frequencies, of such a level that
    the signal's standard deviation is the declared one. Every `ROWS` signals have a random stream
    of their own, so that threads change nothing.
    """
    if electronics.noise_db is None:
        return
    rows, count = signals.shape
    length = int(scipy.fft.next_fast_len(count, real=True))
    mhz = np.fft.rfftfreq(length, 1.0 / sampling_mhz)
    held = np.flatnonzero((mhz >= electronics.noise_from_mhz) & (mhz <= electronics.noise_to_mhz))
    held = held[(held > 0) & (held < length / 2)]
    if not held.size:
        return
    level = 10.0 ** (electronics.noise_db / 20.0) * length / (2.0 * np.sqrt(held.size))

    def work(start: int, stop: int) -> None:
        for block in range(start, stop):
            row, end = block * ROWS, min((block + 1) * ROWS, rows)
            rng = stream(seed, "electronic", *name, str(block))
            lines = rng.standard_normal((end - row, 2 * held.size), dtype=np.float32)
            lines *= np.float32(level)
            whole = np.zeros((end - row, length // 2 + 1), np.complex64)
            whole[:, held[0] : held[-1] + 1] = lines.view(np.complex64)
            signals[row:end] += scipy.fft.irfft(whole, n=length, axis=-1)[:, :count]

    in_threads(work, -(-rows // ROWS), 1)


def ring_downs(
    probe: Probe, electronics: Electronics, sampling_mhz: float, samples: int, seed: int
) -> Floats:
    """Return the ring-down (elements, stretch) of each element on itself, over full scale."""
    if electronics.ring_down_db is None:
        return np.zeros((probe.elements, 0), np.float32)
    stretch = min(samples, int(np.ceil(LASTS * electronics.ring_down_us * sampling_mhz)))
    time = np.arange(stretch) / sampling_mhz
    rng = stream(seed, "ring-down", probe.name)
    size = 10.0 ** (electronics.ring_down_db / 20.0) * np.exp(
        UNEVEN * rng.standard_normal(probe.elements)
    )
    phase = UNEVEN * rng.standard_normal(probe.elements)
    turns = 2.0 * np.pi * probe.centre_mhz * time
    rise = np.minimum(1.0, 4.0 * probe.centre_mhz * time)
    top = np.max(rise * np.exp(-time / electronics.ring_down_us) * np.abs(np.cos(turns)))
    size = size / top
    wave = np.cos(turns[None, :] + phase[:, None])
    return np.asarray(
        size[:, None] * rise * np.exp(-time / electronics.ring_down_us) * wave, dtype=np.float32
    )


def add_ring_down(
    signals: Floats,
    rings: Floats,
    transmit: NDArray[np.int64],
    receive: NDArray[np.int64],
    cross_talk_db: float,
) -> None:
    """Add ring-downs to signals (pairs, samples): the mean of both, weaker with distance."""
    stretch = rings.shape[1]
    if stretch == 0:
        return
    share = 10.0 ** (cross_talk_db / 20.0 * np.abs(transmit - receive))
    near = np.flatnonzero(share > 1e-7)
    both = rings[transmit[near]] + rings[receive[near]]
    signals[near, :stretch] += (0.5 * share[near]).astype(np.float32)[:, None] * both


def sensitivities(probe: Probe, contact: Contact, seed: int, *place: str) -> Array:
    """Return the amplitude (elements,) of each element on one way, at one placing of the probe."""
    fixed = stream(seed, "elements", probe.name).standard_normal(probe.elements)
    rng = stream(seed, "coupling", probe.name, *place)
    common = rng.standard_normal()
    along = np.linspace(0.0, np.pi, probe.elements)
    waves = rng.standard_normal(PATCHES) @ np.cos(np.outer(np.arange(1, PATCHES + 1), along))
    patch = waves * np.sqrt(2.0 / PATCHES)
    loss = contact.loss_db + contact.loss_scatter_db * common + contact.patch_scatter_db * patch
    return np.asarray(10.0 ** ((contact.element_scatter_db * fixed - loss) / 20.0))

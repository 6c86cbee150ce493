"""The level of each element, and which are weak or dead.

The level is the power that the pairs of an element with all others carry within the band, less
what is there at the quietest time. Its pair with itself is left out: it holds the ring-down.
Elements near the ends of an array get less by nature: weak is judged against the neighbours, dead
against the louder part of the array.
"""

from dataclasses import dataclass

import numpy as np

from qualify.recording.loud import FAINTEST_DB, Array, Singles, power_db
from qualify.recording.record import Recording, half_pairs

STRETCHES = 16
NEIGHBOURS = 3
LOUDER = 0.75  # quantile of the levels that stands for a sound element


@dataclass(frozen=True, slots=True)
class ElementLevels:
    """Levels of the elements; of half a matrix transmit and receive are the same values.

    Attributes
    ----------
    transmit_db, receive_db : (elements,) over the upper quartile of the array.
    transmit_beside_db, receive_beside_db : (elements,) over the median of up to three neighbours
        on either side.
    told_apart : whether transmit and receive were told apart, which needs a full matrix.
    reason : why there are none, in words; empty where there are.
    """

    transmit_db: tuple[float, ...]
    receive_db: tuple[float, ...]
    transmit_beside_db: tuple[float, ...]
    receive_beside_db: tuple[float, ...]
    told_apart: bool
    reason: str = ""

    def dead(self, below_db: float) -> tuple[int, ...]:
        """Return the numbers, from 1, of elements with a level under `below_db`."""
        return _under(self.transmit_db, self.receive_db, below_db)

    def weak(self, below_db: float) -> tuple[int, ...]:
        """Return the numbers, from 1, of elements under their neighbours by `below_db`."""
        return _under(self.transmit_beside_db, self.receive_beside_db, below_db)


def element_levels(recording: Recording, banded: Singles) -> ElementLevels:
    """Return the level of each element.

    Parameters
    ----------
    banded : samples within the band, of `qualify.recording.loud.in_band`.
    """
    power = _power_over_noise(recording, banded)
    np.fill_diagonal(power, 0.0)
    others = recording.probe.elements - 1
    sent, heard = power.sum(axis=1) / others, power.sum(axis=0) / others
    if max(np.quantile(sent, LOUDER), np.quantile(heard, LOUDER)) <= 0.0:
        words = "no signal rises within the band of the probe"
        return ElementLevels((), (), (), (), not recording.is_half, words)
    sent_db, heard_db = _levels(sent), _levels(heard)
    return ElementLevels(
        sent_db, heard_db, _beside(sent_db), _beside(heard_db), not recording.is_half
    )


def _power_over_noise(recording: Recording, banded: Singles) -> Array:
    """Return mean power (transmit, receive) less that of the quietest sixteenth of the time."""
    n, length = recording.probe.elements, max(1, recording.sample_count // STRETCHES)
    count = recording.sample_count // length
    squares = np.zeros((*banded.shape[:-1], count))
    for row, signals in enumerate(banded):
        parts = signals[..., : count * length].reshape(*signals.shape[:-1], count, length)
        squares[row] = np.square(parts).mean(axis=-1, dtype=np.float64)
    quiet = float(squares.reshape(-1, count).mean(axis=0).min())
    power = squares.mean(axis=-1) - quiet
    if not recording.is_half:
        return np.asarray(power)
    transmit, receive = half_pairs(n)
    both = np.empty((n, n))
    both[transmit, receive] = both[receive, transmit] = power
    return both


def _levels(power: Array) -> tuple[float, ...]:
    sound = max(float(np.quantile(power, LOUDER)), float(np.finfo(np.float64).tiny))
    return tuple(power_db(float(value) / sound) for value in power)


def _beside(levels: tuple[float, ...]) -> tuple[float, ...]:
    found = []
    for k, level in enumerate(levels):
        around = (*levels[max(0, k - NEIGHBOURS) : k], *levels[k + 1 : k + 1 + NEIGHBOURS])
        found.append(max(level - float(np.median(around)), FAINTEST_DB))
    return tuple(found)


def _under(
    transmit: tuple[float, ...], receive: tuple[float, ...], below_db: float
) -> tuple[int, ...]:
    pairs = enumerate(zip(transmit, receive, strict=True), start=1)
    return tuple(k for k, both in pairs if min(both) < below_db)

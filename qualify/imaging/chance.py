"""What a measure of coherence reads by chance: the answer, and its simulation.

Simulated where no closed form is at hand: signals of circular normal noise, by a recorded seed.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.modes import Measure

Array = NDArray[np.float64]
How = Literal["exact", "limit of many", "simulated"]
TAIL = 0.01
SEED = 20261126
DRAWS = 100_000
MOST_NUMBERS = 30_000_000  # fewer draws of very many signals
IN_BLOCK = 1_000_000


@dataclass(frozen=True, slots=True)
class RandomLevel:
    """A measure of coherence of random phases.

    Attributes
    ----------
    effective : independent signals of equal weight whose sum has the same power.
    mean, level_99 : expectation, and the value that at most 1 in 100 pass.
    sd : standard deviation, None where only a limit without it is at hand.
    how : `exact`; `limit of many` signals, within 1 %; `simulated` with `seed`.
    mean_error, level_error : Monte-Carlo standard errors of mean and level; 0 if not simulated.
    """

    measure: Measure
    effective: float
    mean: float
    sd: float | None
    level_99: float
    how: How
    seed: int | None = None
    mean_error: float = 0.0
    level_error: float = 0.0


def simulated_level(
    measure: Measure, weight: Array, effective: float, *, common: float = 0.0
) -> RandomLevel:
    """Return a level by simulation.

    Parameters
    ----------
    weight : (signals,) with sum 1.
    common : power of a noise common to all signals, over the power of each one's own.

    Raises
    ------
    ValueError : if the measure is unknown.
    """
    count = len(weight)
    rng = np.random.default_rng([SEED, *measure.encode(), count])
    draws = min(DRAWS, MOST_NUMBERS // count)
    block = max(1, IN_BLOCK // count)
    found = []
    for start in range(0, draws, block):
        size = min(block, draws - start)
        signal = _noise(rng, (size, count))
        if common:
            signal += math.sqrt(common) * _noise(rng, (size, 1))
        found.append(_measured(measure, signal, weight))
    values = np.sort(np.concatenate(found))
    mean, sd = float(values.mean()), float(values.std(ddof=1))
    middle, spread = (1.0 - TAIL) * draws, math.sqrt(TAIL * (1.0 - TAIL) * draws)
    level, low, high = (float(values[int(middle + k * spread)]) for k in (0.0, -1.0, 1.0))
    return RandomLevel(
        measure, effective, mean, sd, level, "simulated", SEED,
        sd / math.sqrt(draws), (high - low) / 2.0,
    )  # fmt: skip


def _noise(rng: np.random.Generator, shape: tuple[int, int]) -> NDArray[np.complex128]:
    return np.asarray(rng.standard_normal(shape) + 1j * rng.standard_normal(shape))


def _measured(measure: Measure, signal: NDArray[np.complex128], weight: Array) -> Array:
    """Return a measure (draws,) of signals (draws, signals)."""
    if measure == "coherence_factor":
        power = (signal.real**2 + signal.imag**2) @ weight
        return np.asarray(np.abs(signal @ weight) ** 2 / power)
    if measure == "vector_coherence":
        return np.asarray(np.abs((signal / np.abs(signal)) @ weight))
    if measure == "sign_coherence_factor":
        return np.asarray(1.0 - np.sqrt(1.0 - np.minimum(np.sign(signal.real) @ weight, 1.0) ** 2))
    if measure != "phase_coherence_factor":
        msg = f"'{measure}' is no measure of coherence whose chance is simulated here"
        raise ValueError(msg)
    phase = np.angle(signal)
    turned = phase - math.pi * np.sign(phase)
    variance = np.minimum(
        phase**2 @ weight - (phase @ weight) ** 2, turned**2 @ weight - (turned @ weight) ** 2
    )
    return np.asarray(np.maximum(0.0, 1.0 - np.sqrt(3.0 * np.maximum(variance, 0.0)) / math.pi))

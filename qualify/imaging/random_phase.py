"""What a measure of coherence reads where all phases are random.

No coherence is read without that level. It supposes signals whose phases are independent and
spread evenly, as electronic noise has them in the pairs of a recording; over receivers after
focusing on transmission see `random_receivers`. Grain is not so: there its signals agree over
neighbouring receivers (`speckle_receive_coherence`), so that its level comes from blank scans.
"""

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from qualify.imaging.chance import TAIL, How, RandomLevel, simulated_level
from qualify.imaging.modes import Measure
from qualify.imaging.resultant import Steps, effective_steps, pair_steps, resultant

MANY = 128.0  # effective signals from which a limit is within 1 % of simulations
MOST_SIGN_SUMS = 1_100_000
NORMAL_995 = 2.5758293035489004  # 99.5 % of the standard normal distribution
TURNED = -7.0 / 8.0  # correlation of the spreads of φ and of φ turned by half a turn


def random_level(measure: Measure, signals: int) -> RandomLevel:
    """Return the level of `signals` independent signals of random phase.

    Coherence factor: of signals of normal noise, whose amplitudes vary too.

    Raises
    ------
    ValueError : for fewer than two signals.
    """
    if signals < 2:
        msg = f"coherence compares signals; found {signals}, give 2 or more"
        raise ValueError(msg)
    return _level(measure, ((1.0, signals),))


def random_level_of_pairs(
    measure: Measure, elements: int, *, reciprocal: bool = True
) -> RandomLevel:
    """Return the level of all pairs of `elements`.

    Reciprocal recordings say each pair of two elements twice: the mean of their vector coherence
    is √(2n² − n)/n² · √π/2, near .886·√2/n. Pairs that are all independent give .886/n.

    Raises
    ------
    ValueError : for fewer than two elements.
    """
    if elements < 2:
        msg = f"coherence compares signals; found {elements} elements, give 2 or more"
        raise ValueError(msg)
    return _level(measure, pair_steps(elements, reciprocal=reciprocal))


@lru_cache(maxsize=256)
def _level(measure: Measure, steps: Steps) -> RandomLevel:
    by_measure: dict[Measure, Callable[[Steps], RandomLevel]] = {
        "vector_coherence": _vector,
        "coherence_factor": _factor,
        "phase_coherence_factor": _phase,
        "sign_coherence_factor": _sign,
    }
    return by_measure[measure](steps)


def _vector(steps: Steps) -> RandomLevel:
    found = resultant(steps)
    how: How = "exact" if found.exact else "limit of many"
    return RandomLevel(
        "vector_coherence", effective_steps(steps), found.mean, found.sd, found.level_99, how
    )


def _factor(steps: Steps) -> RandomLevel:
    """Return the level of |Σs|²/(N Σ|s|²) of circular normal signals.

    Equal weights: the squared share of a random direction in N complex dimensions, a beta
    distribution of 1 and N − 1; so mean 1/N and P(> c) = (1 − c)^(N−1). Many of unequal weight:
    the same with their effective number.
    """
    name: Measure = "coherence_factor"
    effective = effective_steps(steps)
    if len(steps) > 1 and effective < MANY:
        return _simulated(name, steps)
    level = -math.expm1(math.log(TAIL) / (effective - 1.0))
    sd = math.sqrt((effective - 1.0) / (effective + 1.0)) / effective
    how: How = "exact" if len(steps) == 1 else "limit of many"
    return RandomLevel(name, effective, 1.0 / effective, sd, level, how)


def _phase(steps: Steps) -> RandomLevel:
    """Return the level of max(0, 1 − σ(φ)/σ₀), σ₀ = π/√3, σ the smaller of two spreads.

    The spreads are those of φ and of φ turned by half a turn, as the measure has it. Many: of a
    uniform phase σ²/σ₀² has variance 4/(5N) and third cumulant 16/(35N²), and falls short of 1 by
    1/N; so 1 − σ/σ₀ has mean 3/(5N), sd 1/√(5N) and skewness .7028/√N. The two correlate by −7/8:
    E[x²(1 − x)²] = 1/30. So the larger of two normal variables, clipped at 0; its 99 % level is
    the 99.5 % level of one, with the first Cornish-Fisher term.
    """
    name: Measure = "phase_coherence_factor"
    n = effective_steps(steps)
    if n < MANY:
        return _simulated(name, steps)
    shift, sd, skewness = 0.6 / n, 1.0 / math.sqrt(5.0 * n), 0.7028 / math.sqrt(n)
    level = shift + sd * (NORMAL_995 + (NORMAL_995**2 - 1.0) * skewness / 6.0)
    return RandomLevel(name, n, sd * _mean_of_larger(shift / sd), None, level, "limit of many")


def _mean_of_larger(shift: float) -> float:
    """Return E max(0, shift + Z₁, shift + Z₂) of standard normal Z correlated by −7/8.

    The larger is the mean of the two plus half their distance, which are independent.
    """
    apart, together = math.sqrt((1.0 - TURNED) / 2.0), math.sqrt((1.0 + TURNED) / 2.0)
    distance = np.linspace(0.0, 8.0, 801)
    density = 2.0 * np.exp(-0.5 * distance**2) / math.sqrt(2.0 * math.pi)
    middle = (shift + apart * distance) / together
    above = middle * special.ndtr(middle) + np.exp(-0.5 * middle**2) / math.sqrt(2.0 * math.pi)
    return float(np.trapezoid(density * together * above, distance))


def _sign(steps: Steps) -> RandomLevel:
    """Return the level of 1 − √(1 − b̄²), b̄ the mean of N signs.

    The sum of signs of each weight is binomial: exact by adding up what can occur. Many: b̄ is
    normal with variance 1/N, so that the measure is half its square.
    """
    name: Measure = "sign_coherence_factor"
    effective = effective_steps(steps)
    if math.prod(count + 1 for _, count in steps) > MOST_SIGN_SUMS:
        level = 1.0 - math.sqrt(1.0 - NORMAL_995**2 / effective)
        mean = 0.5 / effective
        return RandomLevel(name, effective, mean, math.sqrt(2.0) * mean, level, "limit of many")
    total = sum(weight * count for weight, count in steps)
    value, chance = np.zeros(1), np.ones(1)
    for weight, count in steps:
        held = np.arange(count + 1)
        value = np.add.outer(value, weight * (2.0 * held - count)).ravel()
        chance = np.multiply.outer(chance, _fair_coins(held, count)).ravel()
    measure = 1.0 - np.sqrt(np.maximum(1.0 - (value / total) ** 2, 0.0))
    order = np.argsort(measure)
    passed = 1.0 - np.cumsum(chance[order])
    level = float(measure[order][np.argmax(passed <= TAIL)])
    mean = float(chance @ measure)
    sd = math.sqrt(float(chance @ (measure - mean) ** 2))
    return RandomLevel(name, effective, mean, sd, level, "exact")


def _fair_coins(heads: NDArray[np.integer], count: int) -> NDArray[np.float64]:
    """Return the chance (heads,) of so many heads of `count` fair coins.

    The module `scipy.stats` says the same and takes long to load.
    """
    held = np.asarray(heads, dtype=np.float64)
    ways = special.gammaln(count + 1.0) - special.gammaln(held + 1.0)
    ways -= special.gammaln(count - held + 1.0)
    return np.asarray(np.exp(ways - count * math.log(2.0)))


def _simulated(measure: Measure, steps: Steps) -> RandomLevel:
    weight = np.concatenate([np.full(count, one) for one, count in steps])
    return simulated_level(measure, weight / weight.sum(), effective_steps(steps))

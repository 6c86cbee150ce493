"""What a measure of coherence over receivers reads where all signals are noise.

After focusing on transmission each receiver is the sum of its pairs. In a reciprocal recording two
receivers j and k share the noise of the pair (j, k), so that they correlate by 1/n. The same
covariance has a sum of own noise, n − 1 in power, and of one noise common to all, 1 in power. So
chance reads higher than over n independent signals: near 2/n of the coherence factor, near
.886·√((1 + π/4)/n) of the vector coherence.
"""

import math
from functools import lru_cache

import numpy as np
from scipy import integrate

from qualify.imaging.chance import TAIL, RandomLevel, simulated_level
from qualify.imaging.modes import Measure


@lru_cache(maxsize=64)
def random_level_of_receivers(measure: Measure, elements: int) -> RandomLevel:
    """Return the level over the receivers of a reciprocal recording.

    Coherence factor: the mean of all signals carries 2n − 1 of noise power, each of the n − 1
    directions across it n − 1; so P(> c) = (1 + c(n−1)/((1−c)(2n−1)))^(1−n), exact. The other
    measures are simulated.

    Raises
    ------
    ValueError : for fewer than two elements.
    """
    if elements < 2:
        msg = f"coherence compares signals; found {elements} elements, give 2 or more"
        raise ValueError(msg)
    n = float(elements)
    effective = n**2 / (2.0 * n - 1.0)
    if measure != "coherence_factor":
        weight = np.full(elements, 1.0 / n)
        return simulated_level(measure, weight, effective, common=1.0 / (n - 1.0))
    ratio = (n - 1.0) / (2.0 * n - 1.0)

    def beyond(c: float) -> float:
        return float((1.0 + ratio * c / (1.0 - c)) ** (1.0 - n))

    odds = (TAIL ** (1.0 / (1.0 - n)) - 1.0) / ratio
    mean = integrate.quad(beyond, 0.0, 1.0)[0]
    square = integrate.quad(lambda c: 2.0 * c * beyond(c), 0.0, 1.0)[0]
    sd = math.sqrt(square - mean**2)
    return RandomLevel(measure, effective, mean, sd, odds / (1.0 + odds), "exact")

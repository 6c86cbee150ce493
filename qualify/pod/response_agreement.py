"""The hits and misses of the same responses at the same threshold, beside the line.

A response at or above the threshold is a hit. A probit curve of these hits asks less of the data
than the line does: it needs no straight line, no constant spread and no normal scatter away from
the threshold. Where the two disagree the line is doubtful. The hits' own log-likelihood is taken at
the curve that the line gives, and at its maximum; twice the difference is near chi-square with 2
degrees of freedom, and smaller, as both curves come from the same responses.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.pod.links import Array
from qualify.pod.response_curve import ResponseCurve
from qualify.pod.responses import Responses

LEVEL = 0.05
SIMULATIONS = 4_999


@dataclass(frozen=True, slots=True)
class Agreement:
    """The line's POD curve beside that of hits and misses.

    Attributes
    ----------
    hits : of how many rows.
    fit : probit curve of hits and misses on the same size axis.
    statistic, p_value : distance of the line's curve from it, None where there is no curve.
    """

    hits: int
    rows: int
    fit: HitMissFit
    statistic: float | None
    p_value: float | None

    @property
    def agrees(self) -> bool | None:
        """Whether the data do not speak against the line's curve; None where nothing is told."""
        return None if self.p_value is None else self.p_value > LEVEL


def hits_of(data: Responses) -> Array:
    """1 where a response (rows,) reaches the threshold, else 0; censored ones count as known."""
    return np.where(data.code < 0, 0.0, np.where(data.code > 0, 1.0, data.y >= 0.0)).astype(float)


def agreement(
    curve: ResponseCurve,
    *,
    confidence: float = 0.95,
    seed: int = 1,
    simulations: int = SIMULATIONS,
) -> Agreement:
    """Return hits and misses of the same responses beside the line."""
    data, hits = curve.data, hits_of(curve.data)
    fit = fit_hit_miss(data.size, hits, link="probit", scale=data.scale, confidence=confidence,
                       seed=seed, simulations=simulations)  # fmt: skip
    if fit.outcome != "fitted" or fit.log_likelihood is None:
        return Agreement(int(hits.sum()), data.rows, fit, None, None)
    eta = curve.eta(data.t)
    here = float(np.where(hits > 0.0, special.log_ndtr(eta), special.log_ndtr(-eta)).sum())
    statistic = max(0.0, 2.0 * (fit.log_likelihood - here))
    return Agreement(int(hits.sum()), data.rows, fit, statistic,
                     float(stats.chi2.sf(statistic, 2)))  # fmt: skip

"""Hits by chance: P(hit) = share + (1 - share) POD, with the chance share held as known.

With boxes laid about the targets, a false call that happens to fall in a box counts as a hit.
The share of boxes laid on blank units that hold a call estimates how often. Here that share is
held as if known without error; `qualify.pod.plateau.fit_plateau` estimates it jointly.

Source: Abbott 1925, Journal of Economic Entomology 18, 265-267, for the correction (from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array, LinkName, eta_of, link_named
from qualify.pod.mixture_fits import two_parameter
from qualify.pod.observations import Scale, observe
from qualify.pod.outcome import overlap
from qualify.pod.plateau import NO_CURVE, PlateauOutcome, climate_of
from qualify.pod.plateau_bounds import NO_TREND, NOT_FOUND, Limit, normal_quantile, upper_psi
from qualify.pod.plateau_edges import LEAST_GAIN


@dataclass(frozen=True, slots=True)
class ChanceHitFit:
    """POD(a) = F(intercept + slope * x) after chance hits are allowed for.

    Attributes
    ----------
    outcome, reason : `fitted`, or why there is no curve.
    link, scale, confidence : as asked for.
    alpha_box : chance share, held.
    intercept, slope, log_likelihood : of the curve; constants as in `HitMissFit`.
    a50, a90, a90_95 : sizes with POD 0.50 and 0.90, and the one-sided upper profile-likelihood
        bound on a90, each a value or a reason.
    """

    outcome: PlateauOutcome
    reason: str | None
    link: LinkName
    scale: Scale
    confidence: float
    alpha_box: float
    intercept: float | None
    slope: float | None
    log_likelihood: float | None
    a50: Limit
    a90: Limit
    a90_95: Limit


def _checked_share(alpha_box: float) -> float:
    if not 0.0 <= alpha_box < 1.0:
        message = f"alpha_box {alpha_box} must lie from 0 to below 1"
        raise ValueError(message)
    return float(alpha_box)


def hit_probability(pod: npt.ArrayLike, alpha_box: float) -> Array:
    """P(hit) (k,) of targets with this POD (k,) where a box holds a chance call so often.

    Raises
    ------
    ValueError : when alpha_box is not from 0 to below 1.
    """
    share = _checked_share(alpha_box)
    return np.asarray(share + (1.0 - share) * np.asarray(pod, dtype=float))


def pod_behind_hits(hit_probability: npt.ArrayLike, alpha_box: float) -> Array:
    """POD (k,) behind a probability of a hit (k,); 0 where chance alone explains the hits.

    Raises
    ------
    ValueError : when alpha_box is not from 0 to below 1.
    """
    share = _checked_share(alpha_box)
    return np.maximum(0.0, (np.asarray(hit_probability, dtype=float) - share) / (1.0 - share))


def fit_chance_hits(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike | None = None,
    *,
    link: str = "logit",
    scale: str = "log",
    alpha_box: float,
    confidence: float = 0.95,
) -> ChanceHitFit:
    """Fit the POD curve behind hits of which some came by chance.

    Parameters
    ----------
    size, hits, trials, link, scale, confidence : as in `fit_hit_miss`.
    alpha_box : share of boxes on blank units that hold a call, from 0 to below 1.

    Raises
    ------
    ValueError : as `fit_hit_miss`, and for a share out of range.
    """
    chosen, share, z = link_named(link), _checked_share(alpha_box), normal_quantile(confidence)
    seen = observe(size, hits, trials, scale)
    climate = climate_of(seen, 0, 0, chosen)
    found = two_parameter(climate.counts, chosen, share)
    height, (b0, b1) = float(found.height[0]), (float(v) for v in found.values[0, 2:])
    flat = climate.flat_height(share)
    outcome: PlateauOutcome = overlap(seen).outcome or "fitted"
    if outcome == "fitted" and (b1 <= 1e-8 or height - flat <= LEAST_GAIN):
        outcome = "decreasing"
    elif outcome == "fitted" and found.steep[0] >= found.smooth[0] - LEAST_GAIN:
        outcome = "step"
    fitted, shown = outcome == "fitted", 2.0 * (height - flat) > z**2
    reason = NO_CURVE.get(outcome) or (None if shown else NO_TREND)

    def size_at(t: float | None) -> Limit:
        return Limit(None, NOT_FOUND) if t is None else climate.limit_at(t)

    places = [(float(eta_of(chosen, pod)) - b0) / b1 if fitted else None for pod in (0.5, 0.9)]
    bound, level = None, share + (1.0 - share) * 0.9
    if reason is None and places[1] is not None:
        start = (share, 0.0, b1)
        bound = upper_psi(climate, height, places[1], level, (share, 1.0), start, z)
    sizes = [size_at(t) if reason is None else Limit(None, reason) for t in (*places, bound)]
    return ChanceHitFit(
        outcome=outcome,
        reason=NO_CURVE.get(outcome),
        link=chosen,
        scale=seen.scale,
        confidence=confidence,
        alpha_box=share,
        intercept=b0 - b1 * climate.centre / climate.spread if fitted else None,
        slope=b1 / climate.spread if fitted else None,
        log_likelihood=height + seen.constant if fitted else None,
        a50=sizes[0],
        a90=sizes[1],
        a90_95=sizes[2],
    )

"""The threshold of a declared false-call rate, and the rate at a threshold, from few blanks.

With the Gumbel law and no censored unit everything rests on pivots: if M and S are location and
scale fitted to simulated standard samples, a threshold whose fitted place is u has the true place
M + u S, so that quantiles over the samples are limits of exact confidence. With censored units the
samples are censored at the floor where it lies in the fit; with the generalised extreme-value law
they are drawn with the fitted shape: both are approximations. Of the order of the peaks alone
everything is exact, by beta and binomial laws.

Which threshold a claim should use: one that says 'the rate is about q' the threshold of the rate;
one that says 'the rate is at most q' the safe threshold.

Sources: Thoman, Bain and Antle 1969, Technometrics 11, 445-460 (pivots of extreme-value fits; from
memory); David and Nagaraja 2003, Order Statistics, section 7.1. How often limits hold is counted
in `tests/recovery`.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from qualify.pod.false_calls import proportion_bounds
from qualify.pod.links import Array
from qualify.pod.noise import (
    NoiseFit,
    exceedance,
    false_call_probability,
    judged_from,
    peak_of_rank,
    quantile,
    standard_quantile,
)
from qualify.pod.noise_kernels import samples
from qualify.threads import in_threads

SIMULATIONS = 19_999
THREADED = 100
SMALL_STEP = 1e-5  # of the shape, for a slope
TOO_LOW = (
    "the threshold lies below the floor of a unit in which nothing was recorded: whether it would "
    "be called is not known"
)
TOO_RARE = "so few blank units can't tell a rate as low as this"


@dataclass(frozen=True, slots=True)
class NoiseDraws:
    """Fits to simulated samples of the standard law, (simulations,) each; empty for the empirical.

    Attributes
    ----------
    location, scale, shape : in standard units.
    seed : of the draws.
    """

    location: Array
    scale: Array
    shape: Array
    seed: int


@dataclass(frozen=True, slots=True)
class ThresholdChoice:
    """The threshold of a declared rate of false calls per blank unit.

    Attributes
    ----------
    rate : declared.
    threshold : on the axis of the peaks; None with `reason`.
    standard_error : of it, by the delta method; None for the empirical law.
    simulated_error : the same from the draws: half of the span of the middle 68 %.
    realised_mean, realised_interval : mean, and two-sided interval, of the rate that such a
        threshold really has, over sets of blanks like these.
    safe_threshold : the lowest that keeps the rate at the one-sided confidence; None with
        `safe_reason`.
    """

    rate: float
    threshold: float | None
    standard_error: float | None
    simulated_error: float | None
    realised_mean: float | None
    realised_interval: tuple[float, float] | None
    safe_threshold: float | None
    reason: str | None
    safe_reason: str | None


@dataclass(frozen=True, slots=True)
class RateAt:
    """False-call rate per blank unit at a given threshold.

    Attributes
    ----------
    threshold, rate : on the axis of the peaks; the estimate by the law.
    lower, upper : one-sided bounds each at the confidence; None with `reason`.
    units_above, observed_upper : units whose peak reaches it, and the exact binomial upper bound;
        None where censored units leave it open.
    """

    threshold: float
    rate: float | None
    lower: float | None
    upper: float | None
    units_above: int | None
    observed_upper: float | None
    reason: str | None


def noise_draws(fit: NoiseFit, *, seed: int, simulations: int = SIMULATIONS) -> NoiseDraws:
    """Return fits to simulated samples as large, and censored, as the one fitted.

    Raises
    ------
    ValueError : where no law was fitted.
    """
    if fit.family == "empirical":
        none = np.empty(0)
        return NoiseDraws(none, none, none, seed)
    mu, beta, xi = fit.law
    floor = fit.highest_floor
    floors = np.full(fit.n, -np.inf if floor is None else (floor - mu) / beta)
    state = np.uint64(np.random.SeedSequence([seed, *b"noise"]).generate_state(1, np.uint64)[0])
    out = np.empty((simulations, 5))
    gev = fit.family == "gev"

    def work(first: int, last: int) -> None:
        samples(gev, xi, floors, state, first, last, out)

    in_threads(work, simulations, least=THREADED)
    found = out[np.isfinite(out[:, 0])]
    return NoiseDraws(found[:, 0].copy(), found[:, 1].copy(), found[:, 2].copy(), seed)


def threshold_draws(fit: NoiseFit, draws: NoiseDraws, rate: float) -> Array:
    """Draws (simulations,) of the true threshold with a rate; infinite where it has no end."""
    if fit.family == "empirical":
        rng = np.random.default_rng(np.random.SeedSequence([draws.seed, *b"ranks"]))
        ranks = 1 + rng.binomial(fit.n, 1.0 - rate, SIMULATIONS)
        peaks = np.append(np.sort(fit.peaks), np.inf)
        return np.asarray(peaks[ranks - 1])
    mu, beta, xi = fit.law
    true = standard_quantile(rate, xi)
    fitted = draws.location + draws.scale * standard_quantile(rate, draws.shape)
    return np.asarray(mu + beta * (true + (true - fitted) / draws.scale))


def choose_threshold(
    fit: NoiseFit, rate: float, draws: NoiseDraws, confidence: float = 0.95
) -> ThresholdChoice:
    """Return the threshold of a declared rate per blank unit, and what it is worth.

    Raises
    ------
    ValueError : for a rate outside 0..1.
    """
    value = quantile(fit, rate)
    if value is None:
        reason = TOO_RARE if fit.outcome == "fitted" else "no law of the noise was fitted"
        safe, safe_reason = _safe(fit, rate, draws, confidence)
        return ThresholdChoice(rate, None, None, None, None, None, safe, reason, safe_reason)
    if fit.family == "empirical":
        rank = int(np.searchsorted(np.sort(fit.peaks), value, side="left")) + 1
        law = stats.beta(fit.n + 1 - rank, rank)
        ends = (float(law.ppf(0.025)), float(law.ppf(0.975)))
        error, simulated, mean = None, None, float(law.mean())
    else:
        _, _, xi = fit.law
        place = draws.location + draws.scale * standard_quantile(rate, draws.shape)
        real = exceedance(place, xi)
        low, high = np.quantile(real, [0.025, 0.975])
        ends, mean = (float(low), float(high)), float(real.mean())
        error = _delta_error(fit, rate)
        low, high = np.quantile(threshold_draws(fit, draws, rate), [0.16, 0.84])
        simulated = 0.5 * float(high - low)
    if value < judged_from(fit):
        safe, safe_reason = _safe(fit, rate, draws, confidence)
        return ThresholdChoice(rate, None, None, None, None, None, safe, TOO_LOW, safe_reason)
    safe, safe_reason = _safe(fit, rate, draws, confidence)
    return ThresholdChoice(rate, value, error, simulated, mean, ends, safe, None, safe_reason)


def _safe(
    fit: NoiseFit, rate: float, draws: NoiseDraws, confidence: float
) -> tuple[float | None, str | None]:
    """Safe threshold, and why there is none."""
    if fit.outcome != "fitted":
        return None, "no law of the noise was fitted"
    if fit.family == "empirical":
        ranks = np.arange(1, fit.n + 1)
        kept = np.flatnonzero(stats.beta.cdf(rate, fit.n + 1 - ranks, ranks) >= confidence)
        value = peak_of_rank(fit, int(ranks[kept[0]])) if kept.size else None
        return value, None if value is not None else TOO_RARE
    drawn = np.sort(threshold_draws(fit, draws, rate))
    value = float(drawn[min(math.ceil(confidence * (drawn.size + 1)), drawn.size) - 1])
    if value < judged_from(fit):
        return None, TOO_LOW
    return value, None


def _delta_error(fit: NoiseFit, rate: float) -> float | None:
    if fit.covariance is None:
        return None
    _, beta, xi = fit.law
    place = float(standard_quantile(rate, xi))
    gradient = [1.0, beta * place]
    if fit.covariance.shape[0] == 3:
        up, down = (float(standard_quantile(rate, xi + s)) for s in (SMALL_STEP, -SMALL_STEP))
        gradient.append(beta * (up - down) / (2.0 * SMALL_STEP))
    g = np.array(gradient)
    return float(np.sqrt(g @ fit.covariance @ g))


def rate_at(fit: NoiseFit, threshold: float, draws: NoiseDraws, confidence: float = 0.95) -> RateAt:
    """Return the false-call rate per blank unit at a threshold, with one-sided bounds."""
    if threshold < judged_from(fit):
        return RateAt(threshold, None, None, None, None, None, TOO_LOW)
    above = int(np.sum(~fit.is_censored & (fit.peaks >= threshold)))
    lower_seen, upper_seen = proportion_bounds(above, fit.n, confidence)
    if fit.outcome != "fitted":
        reason = "no law of the noise was fitted"
        return RateAt(threshold, None, None, None, above, upper_seen, reason)
    rate = float(false_call_probability(fit, threshold))
    if fit.family == "empirical":
        return RateAt(threshold, rate, lower_seen, upper_seen, above, upper_seen, None)
    mu, beta, _ = fit.law
    u = (threshold - mu) / beta
    if fit.family == "gumbel":
        places = draws.location + u * draws.scale
        rates = np.sort(exceedance(places))
    else:
        # turned about the estimate on the scale log(-log(1 - rate)), where a rate is near normal
        seen = exceedance((u - draws.location) / draws.scale, draws.shape)
        turned = 2.0 * _stretched(np.array([rate])) - _stretched(seen)
        rates = np.sort(-np.expm1(-np.exp(turned)))
    rank = math.ceil(confidence * (rates.size + 1))
    upper = float(rates[min(rank, rates.size) - 1])
    lower = float(rates[max(rates.size - rank, 0)])
    return RateAt(threshold, rate, lower, upper, above, upper_seen, None)


def _stretched(rate: Array) -> Array:
    clipped = np.clip(rate, 1e-300, 1.0 - 1e-15)
    return np.asarray(np.log(-np.log1p(-clipped)))

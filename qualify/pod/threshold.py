"""Threshold for a declared false-call rate, and the rate at a threshold, with what they are worth.

A threshold set on blanks is itself uncertain: the rate that it realises differs from the rate
declared. All rates are of one blank grading unit; a call is a peak at or above the threshold.
How exact limits are stands in `noise_draws`. Safe thresholds, rates at a threshold and draws of the
true threshold come from one pivot: the rate that a repetition takes the true threshold for.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.false_calls import proportion_bounds
from qualify.pod.noise import (
    NoiseFit,
    judged_from,
    peak_of_rank,
    place_of,
    place_of_rate,
    quantile,
    rate_of_place,
    value_at,
)
from qualify.pod.noise_draws import NoiseDraws as NoiseDraws
from qualify.pod.noise_draws import check_draws, lower_limit, realised_places, upper_limit
from qualify.pod.noise_draws import noise_draws as noise_draws
from qualify.pod.noise_draws import threshold_draws as threshold_draws
from qualify.pod.notices import Notice
from qualify.pod.rates import units_for_zero

FEW_ABOVE = 5.0  # peaks above the threshold on average; our own choice
TAIL = (
    "Few peaks lie above such a threshold: its limits hold if the tail is Gumbel's. In our own "
    "simulation of 82 blank units with a heavier tail (GEV shape 0.15), the safe threshold "
    "for 2 % kept its promise in 33 % of repetitions in place of 95 %; with a lighter tail it is "
    "far higher than needed. Check the axis and the law."
)
NO_END = (
    "too many repetitions of the blanks take the true threshold for impossible: more blank units "
    "are needed to tell where the noise ends"
)


@dataclass(frozen=True, slots=True)
class ThresholdChoice:
    """Threshold at a declared false-call rate, in the unit of the peaks.

    A claim that false calls stay at or below the declared rate should rest on `safe_threshold`.
    `threshold` is the best estimate: its rate is above the declared one about as often as below;
    with it, state `rate_low` and `rate_high`.

    Attributes
    ----------
    family, rate, confidence : as asked for.
    threshold : reached by the noise of a unit with probability `rate` under the fit, or None.
    standard_error : of the threshold, delta method; None for the empirical family.
    standard_error_simulated : the same from repetitions; None for the empirical family.
    mean_rate : rate realised at `threshold`, on average over repetitions of the blanks.
    rate_low, rate_high : two-sided limits of the rate realised, at `confidence`.
    safe_threshold : lowest threshold at which the rate realised is at or below `rate`, at one-sided
        `confidence`; None where there is none.
    exact : whether limits hold exactly if the law is true (empirical: whatever the law).
    simulations, seed : behind the limits; the empirical family needs none for them.
    reason, safe_reason : why there is no threshold, no safe threshold.
    notices : what a reader must know beside the numbers.
    """

    family: str
    rate: float
    confidence: float
    threshold: float | None
    standard_error: float | None
    standard_error_simulated: float | None
    mean_rate: float | None
    rate_low: float | None
    rate_high: float | None
    safe_threshold: float | None
    exact: bool
    simulations: int
    seed: int
    reason: str | None
    safe_reason: str | None
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True)
class RateAt:
    """False-call rate of a blank unit at a given threshold; bounds one-sided, each by itself.

    Attributes
    ----------
    threshold, confidence : as asked for.
    rate, lower, upper : under the law; of the empirical family the exact binomial ones.
    units, units_called : blank units, and those whose peak reaches the threshold.
    counted_rate, counted_lower, counted_upper : exact binomial, from the counts alone.
    exact : whether `lower` and `upper` hold exactly if the law is true.
    reason : why there are no rates, or None.
    """

    threshold: float
    confidence: float
    rate: float | None
    lower: float | None
    upper: float | None
    units: int
    units_called: int | None
    counted_rate: float | None
    counted_lower: float | None
    counted_upper: float | None
    exact: bool
    reason: str | None


def choose_threshold(
    fit: NoiseFit, rate: float, draws: NoiseDraws, confidence: float = 0.95
) -> ThresholdChoice:
    """Choose the threshold for a declared false-call rate of a blank unit.

    Parameters
    ----------
    fit, draws : of the noise; the draws belong to the fit.
    rate : declared, as a fraction.
    confidence : of the limits.

    Raises
    ------
    ValueError : where nothing was fitted, for draws of another fit, a rate or confidence out of
        range.
    """
    check_draws(fit, draws, confidence)
    if fit.family == "empirical":
        return _choose_by_rank(fit, rate, draws, confidence)
    mu, beta, xi = fit.law
    k = place_of_rate(rate)
    rates = rate_of_place(realised_places(fit, draws, k))
    repeated = draws.location + draws.scale * value_at(k, draws.shape)
    threshold = float(mu + beta * value_at(k, xi))
    safe = upper_limit(threshold_draws(fit, draws, rate), confidence)
    safe_reason = _under_floor(fit, safe) if np.isfinite(safe) else NO_END
    half = 0.5 + 0.5 * confidence
    under = _under_floor(fit, threshold)
    safe_shown = safe if safe_reason is None else None
    notices = _choice_notices(fit, draws, threshold, rate)
    if under is not None:
        return ThresholdChoice(fit.family, rate, confidence, None, None, None, None, None, None,
                               safe_shown, draws.exact, rates.size, draws.seed, under, safe_reason,
                               notices)  # fmt: skip
    return ThresholdChoice(
        fit.family, rate, confidence, threshold, _delta(fit, rate),
        beta * float(repeated.std(ddof=1)), float(rates.mean()), lower_limit(rates, half),
        upper_limit(rates, half), safe_shown, draws.exact, rates.size, draws.seed, None,
        safe_reason, notices,
    )  # fmt: skip


def _under_floor(fit: NoiseFit, threshold: float) -> str | None:
    if threshold >= judged_from(fit):
        return None
    return (
        f"the threshold {threshold:.4g} lies below {fit.highest_floor:.4g}, the highest floor of a "
        "censored unit: which units would be called there was not recorded"
    )


def _delta(fit: NoiseFit, rate: float) -> float | None:
    """Return the standard error of the threshold from the covariance of the fit."""
    if fit.covariance is None:
        return None
    _, beta, xi = fit.law
    x = place_of_rate(rate)
    k = float(value_at(x, xi))
    bend = 0.5 * x * x if abs(xi) < 1e-6 else (x * np.exp(xi * x) - k) / xi
    way = np.array([1.0, beta * k, beta * bend])[: len(fit.covariance)]
    return float(np.sqrt(way @ fit.covariance @ way))


def _choice_notices(
    fit: NoiseFit, draws: NoiseDraws, threshold: float, rate: float
) -> tuple[Notice, ...]:
    found = []
    if threshold > fit.peaks.max():
        text = (
            f"The threshold {threshold:.4g} lies beyond the largest of {fit.n} peaks, "
            f"{float(fit.peaks.max()):.4g}: it rests on the law chosen, not on what was seen."
        )
        found.append(Notice("extrapolated", text))
    if fit.family == "gumbel" and rate * fit.n < FEW_ABOVE:
        found.append(Notice("tail_assumed", TAIL))
    if not draws.exact:
        why = "a law with a shape" if fit.family == "gev" else "censored units"
        text = f"Limits of the false-call rate are approximate: they are simulated with {why}."
        found.append(Notice("approximate", text))
    if draws.failed:
        text = f"{draws.failed} of {draws.simulations} simulated repetitions gave no fit."
        found.append(Notice("repetitions_failed", text))
    return tuple(found)


def _choose_by_rank(
    fit: NoiseFit, rate: float, draws: NoiseDraws, confidence: float
) -> ThresholdChoice:
    """From the order of the peaks: the rate at the j-th smallest of n is Beta(n - j + 1, j)."""
    n, threshold = fit.n, quantile(fit, rate)
    ranks = np.arange(1, n + 1)
    kept = special.betainc(n - ranks + 1, ranks, rate) >= confidence
    safe = peak_of_rank(fit, int(ranks[kept][0])) if kept.any() else None
    reason = safe_reason = None
    mean = low = high = None
    floor = "it would lie at or below the floor of a censored unit"
    if threshold is None:
        reason = floor if rate * (n + 1) >= 1.0 else (
            f"{n} blank units tell no rate below 1 in {n + 1} without a law"
        )  # fmt: skip
    else:
        j = int(np.ceil((n + 1) * (1.0 - rate) - 1e-9))
        mean = (n + 1 - j) / (n + 1)
        half = 0.5 + 0.5 * confidence
        low = float(special.betaincinv(n - j + 1, j, 1.0 - half))
        high = float(special.betaincinv(n - j + 1, j, half))
    if safe is None:
        least = units_for_zero(rate, confidence)
        safe_reason = floor if kept.any() else (
            f"{n} blank units can't show a rate of {100 * rate:g} % or less at "
            f"{100 * confidence:g} % confidence without a law; {least} or more can"
        )  # fmt: skip
    return ThresholdChoice(fit.family, rate, confidence, threshold, None, None, mean, low, high,
                           safe, True, 0, draws.seed, reason, safe_reason, ())  # fmt: skip


def rate_at(fit: NoiseFit, threshold: float, draws: NoiseDraws, confidence: float = 0.95) -> RateAt:
    """False-call rate of a blank unit at a threshold that was given, with one-sided bounds.

    Raises
    ------
    ValueError : where nothing was fitted, for draws of another fit, a confidence out of range, a
        threshold that is no number.
    """
    check_draws(fit, draws, confidence)
    if not np.isfinite(threshold):
        message = f"threshold {threshold} is no finite number"
        raise ValueError(message)
    reason = _under_floor(fit, threshold)
    if reason is not None:
        return RateAt(threshold, confidence, None, None, None, fit.n, None, None, None, None,
                      False, reason)  # fmt: skip
    called = int(np.sum((fit.peaks >= threshold) & ~fit.is_censored))
    low, high = proportion_bounds(called, fit.n, confidence)
    share = called / fit.n
    rate, lower, upper = share, low, high
    if fit.family != "empirical":
        mu, beta, xi = fit.law
        z = (threshold - mu) / beta
        place = float(place_of(z, xi))
        rate = float(rate_of_place(place))
        places = realised_places(fit, draws, place)
        lower = float(rate_of_place(upper_limit(places, confidence)))
        upper = float(rate_of_place(lower_limit(places, confidence)))
    return RateAt(threshold, confidence, rate, lower, upper, fit.n, called, share, low, high,
                  draws.exact, None)  # fmt: skip

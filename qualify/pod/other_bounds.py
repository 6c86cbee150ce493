"""Bounds that stand beside the calibrated one, each for what it can say.

- `r_star`: the modified signed root r* = r + log(q / r) / r of the logit curve, normal to third
  order. Barndorff-Nielsen 1986, Biometrika 73: 307-322; form for a canonical exponential family in
  Brazzale, Davison and Reid 2007, Applied Asymptotics, section 2.2 (from memory). No bound where
  hits and misses do not overlap.
- `firth`: the profile of the penalised likelihood (`qualify.pod.firth`), logit curve; the
  conservative figure beside a calibrated bound under separation.
- `cheng_iles`: the farthest point of the confidence region of the whole curve in location and
  scale form. Cheng and Iles 1983, Technometrics 25: 77-86; one-sided 1988, Technometrics 30:
  203-210 (from memory). It answers 'where does the whole curve lie', a wider question than a90.
- `bootstrap`: targets drawn with replacement, percentile of the refitted sizes. Efron and
  Tibshirani 1993, section 13.3. No replicate is dropped: one whose curve does not rise counts as
  infinite, one that is separated counts with the far end of its gap.
"""

import numpy as np
from scipy import optimize, special

from qualify.pod.bounds import bracketed_root, delta_error, psi_of
from qualify.pod.firth import firth_size_bound
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array, eta_of
from qualify.pod.observations import Observations
from qualify.pod.problem import (
    NO_TREND,
    TOO_FAR,
    BoundValue,
    FittedCurve,
    Side,
    SizedHits,
    held,
    normal_quantile,
    signed_root,
)
from qualify.pod.simulation import place_of
from qualify.threads import njit

NEAR_ZERO = 0.02  # |r| below which the correction is not computed: its formula is 0/0 at r = 0
ASIDE = 0.05  # standard errors aside at which it is then taken
LOGIT_ONLY = "this bound is defined for the logit curve only"
RESAMPLES = 1_999


def modified_root(curve: FittedCurve, psi: Array, level: float) -> Array:
    """Return the modified signed root r* (k,) of the statement that eta = `level` at each psi (k,).

    Near r = 0, where the correction is 0/0, it is that of both sides, averaged. Logit only.
    """
    r, correction = _corrected(curve, psi, level)
    near = np.abs(r) < NEAR_ZERO
    if near.any():
        aside = ASIDE * delta_error(curve, psi)
        sides = [_corrected(curve, psi + way * aside, level)[1] for way in (-1.0, 1.0)]
        correction = np.where(near, 0.5 * (sides[0] + sides[1]), correction)
    return np.asarray(r + correction)


def _corrected(curve: FittedCurve, psi: Array, level: float) -> tuple[Array, Array]:
    """Signed root r (k,) and log(q / r) / r (k,), the latter 0 near r = 0."""
    levels = np.full(len(psi), level)
    slope, _, _ = held(curve, psi, levels)
    away = curve.t - psi[:, None]
    pod = special.expit(level + slope[:, None] * away)
    weight = (curve.trials * pod * (1.0 - pod) * away**2).sum(axis=1)
    eta = curve.intercept + curve.slope * psi
    q = (eta - level) * np.sqrt(1.0 / np.linalg.det(curve.covariance) / weight)
    r = signed_root(curve, psi, levels)
    near = np.abs(r) < NEAR_ZERO
    safe, ratio = np.where(near, 1.0, r), np.where(near, 1.0, q / np.where(near, 1.0, r))
    with np.errstate(invalid="ignore"):  # no correction exists where q and r differ in sign
        return r, np.asarray(np.log(ratio) / safe)


def r_star_bound(data: SizedHits, pod: float, confidence: float, side: Side) -> BoundValue:
    """One-sided r* bound on the size where POD = `pod`, in the caller's unit; logit only."""
    z = normal_quantile(confidence)
    if data.link != "logit":
        return BoundValue(None, LOGIT_ONLY, "r_star", side)
    if not isinstance(data, FittedCurve) or data.slope <= 0.0 or data.slope_lr <= z**2:
        return BoundValue(None, NO_TREND, "r_star", side)
    level = float(eta_of(data.link, pod))
    start = psi_of(data, np.array([level]))
    sign = 1.0 if side == "upper" else -1.0
    step = sign * z * delta_error(data, start)

    def residual(psi: Array, index: object) -> Array:
        return sign * modified_root(data, psi, level) - z

    found = float(bracketed_root(residual, start, step)[0])
    if not np.isfinite(found):
        return BoundValue(None, TOO_FAR, "r_star", side)
    return data.bound(found, "r_star", side)


def firth_bound(
    seen: Observations, data: SizedHits, pod: float, confidence: float, side: Side
) -> BoundValue:
    """One-sided profile bound of the penalised likelihood, in the caller's unit; logit only."""
    if data.link != "logit":
        return BoundValue(None, LOGIT_ONLY, "firth", side)
    found = firth_size_bound(seen, pod=pod, confidence=confidence, side=side)
    return BoundValue(found.value, found.reason, "firth", side)


def whole_curve_constant(confidence: float) -> float:
    """Return g with Phi(sqrt g) - exp(-g / 2) / 2 = confidence; 5.13838 at 0.95."""

    def gap(g: float) -> float:
        return float(special.ndtr(np.sqrt(g)) - 0.5 * np.exp(-0.5 * g) - confidence)

    return float(optimize.brentq(gap, 1e-6, 200.0, xtol=1e-13))


def cheng_iles_bound(data: SizedHits, pod: float, confidence: float, side: Side) -> BoundValue:
    """Farthest size with POD = `pod` in the region of the whole curve, in the caller's unit."""
    if not isinstance(data, FittedCurve) or data.slope_lr <= normal_quantile(confidence) ** 2:
        return BoundValue(None, NO_TREND, "cheng_iles", side)
    z = np.sqrt(whole_curve_constant(confidence)) * (1.0 if side == "upper" else -1.0)
    psi = psi_of(data, eta_of(data.link, np.array([pod])))
    return data.bound(float((psi + z * delta_error(data, psi))[0]), "cheng_iles", side)


@njit(cache=True, nogil=True)
def _places(
    link: int, t: Array, drawn: Array, level: float, start: float, slope: float, out: Array
) -> None:
    k = t.size
    for s in range(drawn.shape[0]):
        place, fitted = place_of(link, t, drawn[s, :k], drawn[s, k:], level, start, slope)
        out[s, 0], out[s, 1] = place, 1.0 if fitted else 0.0


def resampled_psi(
    data: SizedHits, pod: float, seed: int, resamples: int = RESAMPLES
) -> tuple[Array, float]:
    """Standardised sizes (resamples,) with POD `pod` of resampled trials, none dropped.

    Targets are drawn with replacement, each with its own hit or miss. Returns the sizes and the
    share of resamples that had no fitted rising curve.
    """
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *b"bootstrap"])))
    shares = np.concatenate([data.hits, data.trials - data.hits]) / data.trials.sum()
    drawn = rng.multinomial(int(data.trials.sum()), shares, size=resamples).astype(float)
    curve = (data.intercept, data.slope) if isinstance(data, FittedCurve) else (0.0, 0.0)
    out, level = np.empty((resamples, 2)), float(eta_of(data.link, pod))
    _places(LINK_NUMBERS[data.link], data.t, drawn, level, *curve, out)
    return out[:, 0], 1.0 - float(out[:, 1].mean())


def bootstrap_bound(
    data: SizedHits,
    pod: float,
    confidence: float,
    side: Side,
    *,
    seed: int = 1,
    resamples: int = RESAMPLES,
) -> BoundValue:
    """One-sided percentile bound on the size where POD = `pod`, in the caller's unit."""
    if data.slope_lr <= normal_quantile(confidence) ** 2:
        return BoundValue(None, NO_TREND, "bootstrap", side)
    psi, _ = resampled_psi(data, pod, seed, resamples)
    psi = np.where((side == "lower") & np.isinf(psi), -np.inf, psi)
    rank = int(np.ceil(confidence * (resamples + 1))) - 1
    ordered = np.sort(psi if side == "upper" else -psi)
    value = float(ordered[min(rank, resamples - 1)]) * (1.0 if side == "upper" else -1.0)
    told = data.bound(value, "bootstrap", side)
    if told.value is None:
        return told
    return BoundValue(told.value, None, "bootstrap", side, None, resamples)

"""Noise of blank grading units: the law of its peak, and the rate at which it exceeds a threshold.

Each blank grading unit gives one number, the peak of the noise in it, on the axis of analysis that
the caller chose. A unit is left-censored where nothing was recorded above its floor: its peak lies
at the floor or below. A *false call* is a peak at or above the threshold.

Laws: Gumbel (location, scale), the limit of maxima of many like cells; generalised extreme value
(GEV) with a shape, positive for a tail heavier than Gumbel's (scipy's genextreme counts it the
other way, c = -shape); empirical, the order of the peaks alone. Fits are of maximum likelihood,
covariances from the observed information. How few peaks are too few is our own choice: 10 exact
ones for Gumbel, 20 for GEV, 1 for empirical.

Source: Coles 2001, An Introduction to Statistical Modeling of Extreme Values, chapter 3 (from
memory); values checked against R and scipy in `tests/published`.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array, Flags
from qualify.pod.noise_kernels import gev_climb, gev_terms, gumbel_climb
from qualify.pod.notices import Notice

NoiseFamily: TypeAlias = Literal["gumbel", "gev", "empirical"]
NoiseOutcome: TypeAlias = Literal[
    "fitted", "too_few", "all_censored", "no_scatter", "not_converged"
]

FEWEST: dict[NoiseFamily, int] = {"gumbel": 10, "gev": 20, "empirical": 1}
LAW_WORDS: dict[NoiseFamily, str] = {
    "gumbel": "Gumbel law",
    "gev": "generalised extreme-value law",
    "empirical": "order of the peaks alone",
}
REGULAR = -0.5  # Smith 1985, Biometrika 72, 67-90 (from memory): below it, no usual covariance


@dataclass(frozen=True, slots=True)
class NoiseFit:
    """Law of the peak noise of a blank grading unit; values in the unit of the peaks.

    Attributes
    ----------
    family, outcome : the law asked for, and what became of it.
    n, censored : grading units, and those of them censored.
    location, scale, shape : None where not fitted; shape is 0 for Gumbel.
    covariance : (2, 2) of location and log scale, or (3, 3) with the shape, from the observed
        information; None where it does not exist.
    log_likelihood, aic : of the fit, None where there is none.
    peaks, is_censored : (n,), as given; a censored peak is its floor.
    notices : what a reader must know beside the numbers.
    """

    family: NoiseFamily
    outcome: NoiseOutcome
    n: int
    censored: int
    location: float | None
    scale: float | None
    shape: float | None
    covariance: Array | None
    log_likelihood: float | None
    aic: float | None
    peaks: Array
    is_censored: Flags
    notices: tuple[Notice, ...]

    @property
    def highest_floor(self) -> float | None:
        """Highest floor of a censored unit, None where none is censored."""
        return float(self.peaks[self.is_censored].max()) if self.censored else None

    @property
    def law(self) -> tuple[float, float, float]:
        """Location, scale and shape; a ValueError where no law was fitted."""
        if self.location is None or self.scale is None or self.shape is None:
            message = f"no law of the noise: family {self.family}, outcome {self.outcome}"
            raise ValueError(message)
        return self.location, self.scale, self.shape


def _checked(peaks: npt.ArrayLike, censored: npt.ArrayLike | None) -> tuple[Array, Flags]:
    y = np.array(peaks, dtype=float)
    if y.ndim != 1 or y.size == 0:
        message = "peaks must be one list with at least one blank grading unit"
        raise ValueError(message)
    c = np.zeros(y.size, dtype=np.bool_) if censored is None else np.array(censored, dtype=np.bool_)
    if c.shape != y.shape:
        message = f"{c.size} marks of censoring for {y.size} peaks; give one for each"
        raise ValueError(message)
    if not np.all(np.isfinite(y)):
        message = (
            "a peak is missing or not a finite number; mark a unit in which nothing was recorded "
            "as censored, with its floor"
        )
        raise ValueError(message)
    return y, c


def _outcome(y: Array, c: Flags, family: NoiseFamily) -> NoiseOutcome:
    exact = y[~c]
    if exact.size == 0:
        return "all_censored"
    if exact.size < FEWEST[family]:
        return "too_few"
    return "no_scatter" if family != "empirical" and np.ptp(exact) == 0.0 else "fitted"


def fit_noise(
    peaks: npt.ArrayLike, censored: npt.ArrayLike | None = None, family: NoiseFamily = "gumbel"
) -> NoiseFit:
    """Fit the law of the peak noise of a blank grading unit by maximum likelihood.

    Parameters
    ----------
    peaks : (n,), peak noise of each unit on the axis of analysis; the floor where censored.
    censored : (n,) true where the peak lies at the floor or below; None: all are exact.
    family : the law.

    Raises
    ------
    ValueError : for lists that are empty or of unequal length, peaks that are no finite numbers,
        or an unknown family.
    """
    if family not in FEWEST:
        message = f"family {family!r} is not known; use gumbel, gev or empirical"
        raise ValueError(message)
    y, c = _checked(peaks, censored)
    outcome = _outcome(y, c, family)
    law: tuple[float | None, float | None, float | None] = (None, None, None)
    covariance, height, aic = None, None, None
    if outcome == "fitted" and family != "empirical":
        if family == "gumbel":
            mu, beta, top, arrived = gumbel_climb(y, c)
            xi = 0.0
        else:
            mu, beta, xi, top, arrived = gev_climb(y, c)
        if arrived:
            law, height = (float(mu), float(beta), float(xi)), float(top)
            aic = 2.0 * (2 if family == "gumbel" else 3) - 2.0 * height
            covariance = _covariance(y, c, (mu, beta, xi), family)
        else:
            outcome = "not_converged"
    notices = _notices(y, c, family, outcome, law[2], covariance)
    return NoiseFit(family, outcome, y.size, int(c.sum()), *law, covariance, height, aic, y, c,
                    notices)  # fmt: skip


def _covariance(
    y: Array, c: Flags, law: tuple[float, float, float], family: NoiseFamily
) -> Array | None:
    """Invert the observed information; None where the law is not regular there."""
    mu, beta, xi = law
    slope, bend = np.zeros(3), np.zeros((3, 3))
    gev_terms((y - mu) / beta, c, 0.0, 0.0, xi, slope, bend)
    size = 2 if family == "gumbel" else 3
    information = -bend[:size, :size]
    if xi <= REGULAR or not np.all(np.linalg.eigvalsh(information) > 0.0):
        return None
    unit = np.ones(size)
    unit[0] = beta
    return np.asarray(np.linalg.inv(information) * np.outer(unit, unit))


def _notices(
    y: Array,
    c: Flags,
    family: NoiseFamily,
    outcome: NoiseOutcome,
    shape: float | None,
    covariance: Array | None,
) -> tuple[Notice, ...]:
    exact, n = int((~c).sum()), y.size
    texts = {
        "too_few": (
            f"{exact} of {n} blank grading units have an exact peak; the {LAW_WORDS[family]} is "
            f"fitted from {FEWEST[family]} on (our own choice)."
        ),
        "all_censored": f"Nothing was recorded above the floor in any of {n} blank grading units.",
        "no_scatter": "All exact peaks are equal: no law of the noise can be fitted.",
        "not_converged": (
            f"The {LAW_WORDS[family]} has no maximum of likelihood that could be found for these "
            "peaks."
        ),
    }
    found = [Notice(outcome, texts[outcome])] if outcome != "fitted" else []
    if outcome == "fitted" and 2 * exact < n:
        text = (
            f"{n - exact} of {n} units are censored: less than half of the noise was seen, and the "
            "law is that of its upper part."
        )
        found.append(Notice("mostly_censored", text))
    if outcome == "fitted" and 2 * np.unique(y[~c]).size < exact:
        text = "Many peaks are equal: they were rounded, and the laws are of unrounded peaks."
        found.append(Notice("rounded", text))
    if shape is not None and covariance is None:
        text = (
            f"The shape {shape:.2f} gives the noise a sharp upper end; the usual covariance does "
            "not exist there and none is given."
        )
        found.append(Notice("no_covariance", text))
    return tuple(found)


def value_at(place: npt.ArrayLike, shape: npt.ArrayLike = 0.0) -> Array:
    """Value of the standard law of a shape at a place -log(-log F); shapes that broadcast."""
    k, xi = np.broadcast_arrays(np.asarray(place, dtype=float), np.asarray(shape, dtype=float))
    bent = xi != 0.0
    with np.errstate(over="ignore"):
        curved = np.expm1(np.where(bent, xi, 1.0) * k) / np.where(bent, xi, 1.0)
    return np.where(bent, curved, k)


def place_of(z: npt.ArrayLike, shape: npt.ArrayLike = 0.0) -> Array:
    """Place -log(-log F) of values under the standard law of a shape; infinite beyond its ends."""
    z, xi = np.broadcast_arrays(np.asarray(z, dtype=float), np.asarray(shape, dtype=float))
    bent = xi != 0.0
    inside = ~bent | (1.0 + np.where(bent, xi * np.where(bent, z, 0.0), 0.0) > 0.0)
    curved = np.log1p(np.where(inside & bent, xi * np.where(bent, z, 0.0), 0.0))
    place = np.where(bent, curved / np.where(bent, xi, 1.0), z)
    return np.where(inside, place, np.where(xi > 0.0, -np.inf, np.inf))


def place_of_rate(rate: float) -> float:
    """Place -log(-log F) that is exceeded with probability `rate`.

    Raises
    ------
    ValueError : for a rate outside 0..1, ends excluded.
    """
    if not 0.0 < rate < 1.0:
        message = f"rate {rate} must lie between 0 and 1, ends excluded"
        raise ValueError(message)
    return float(-np.log(-np.log1p(-rate)))


def rate_of_place(place: npt.ArrayLike) -> Array:
    """Probability that a place -log(-log F) is exceeded."""
    with np.errstate(over="ignore"):
        return np.asarray(-np.expm1(-np.exp(-np.asarray(place, dtype=float))))


def judged_from(fit: NoiseFit) -> float:
    """Lowest threshold at which every unit is known to be called or not: the highest floor."""
    return -np.inf if fit.highest_floor is None else fit.highest_floor


def false_call_probability(fit: NoiseFit, thresholds: npt.ArrayLike) -> Array:
    """Probability that the noise of a blank unit reaches each threshold: the estimate, no bound.

    Of the empirical family it is the share of peaks at or above the threshold, nan below the
    highest floor of a censored unit, where the share was not seen.

    Raises
    ------
    ValueError : where no law was fitted.
    """
    t = np.asarray(thresholds, dtype=float)
    if fit.family == "empirical" and fit.outcome == "fitted":
        rising = np.sort(np.where(fit.is_censored, -np.inf, fit.peaks))
        share = (fit.n - np.searchsorted(rising, t, side="left")) / fit.n
        return np.where(t >= judged_from(fit), share, np.nan)
    mu, beta, xi = fit.law
    return rate_of_place(place_of((t - mu) / beta, xi))


def quantile(fit: NoiseFit, rate: float) -> float | None:
    """Return the threshold that the noise of a blank unit reaches with probability `rate`.

    Of the empirical family the lowest peak that a further unit reaches with probability `rate` or
    less: the j-th of n is reached with probability (n + 1 - j)/(n + 1), whatever the law. None
    where `rate` is below 1/(n + 1), where the threshold would lie at or below the floor of a
    censored unit, or where nothing was fitted.

    Raises
    ------
    ValueError : for a rate outside 0..1.
    """
    k = place_of_rate(rate)
    if fit.outcome != "fitted":
        return None
    if fit.family == "empirical":
        j = int(np.ceil((fit.n + 1) * (1.0 - rate) - 1e-9))
        return peak_of_rank(fit, j)
    mu, beta, xi = fit.law
    return float(mu + beta * value_at(k, xi))


def peak_of_rank(fit: NoiseFit, j: int) -> float | None:
    """j-th smallest peak, from 1; None where there is none, or a censored unit could be higher."""
    if not 1 <= j <= fit.n:
        return None
    value = float(np.sort(fit.peaks)[j - 1])
    return value if j > fit.censored and value >= judged_from(fit) else None

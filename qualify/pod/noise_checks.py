"""Does the Gumbel law fit the peaks of the noise? Two tests, each in a sentence.

Both compare with samples simulated from the Gumbel law fitted, and fitted again (parametric
bootstrap; p = (count + 1)/(simulations + 1)): the distance of peaks and law, and the gain in
likelihood by a shape. Source of the distance: Anderson and Darling 1954, Journal of the American
Statistical Association 49, 765-769 (from memory; checked against scipy). With censored units it
is Kolmogorov's distance above the highest floor.
"""

from dataclasses import dataclass

import numpy as np

from qualify.pod.links import Array
from qualify.pod.noise import NoiseFit, fit_noise
from qualify.pod.noise_draws import simulated, standard_floors
from qualify.pod.noise_samples import distance

CHECK_SIMULATIONS = 499
DOUBTFUL = 0.05  # p below which a check speaks against the law
CAUTION = (
    "So few blanks say little about the far tail: a law that is not rejected is not thereby shown."
)


@dataclass(frozen=True, slots=True)
class NoiseChecks:
    """Checks of the Gumbel law.

    Attributes
    ----------
    statistic : "anderson_darling", or "kolmogorov" where units are censored.
    distance, distance_p : of peaks and law, with its p; None where no Gumbel law was fitted.
    shape, shape_likelihood_ratio, shape_p : shape of the GEV law, twice its gain in
        log-likelihood, and p; None where it could not be fitted.
    simulations, seed : behind each p.
    doubtful : whether a p lies below 0.05.
    sentences : the same in words.
    """

    statistic: str
    distance: float | None
    distance_p: float | None
    shape: float | None
    shape_likelihood_ratio: float | None
    shape_p: float | None
    simulations: int
    seed: int
    doubtful: bool
    sentences: tuple[str, ...]


def fit_checks(fit: NoiseFit, seed: int, simulations: int = CHECK_SIMULATIONS) -> NoiseChecks:
    """Check the Gumbel law on the peaks of a fit, whatever the family of that fit.

    Parameters
    ----------
    fit : holds the peaks.
    seed, simulations : of the simulated samples.
    """
    gumbel = fit_noise(fit.peaks, fit.is_censored, "gumbel")
    statistic = "kolmogorov" if fit.censored else "anderson_darling"
    if gumbel.outcome != "fitted":
        none = "The Gumbel law was not fitted, so it can't be checked."
        return NoiseChecks(statistic, None, None, None, None, None, simulations, seed, False,
                           (none,))  # fmt: skip
    floors = standard_floors(gumbel)
    rows = simulated(False, 0.0, floors, seed, simulations)
    mu, beta, _ = gumbel.law
    floor = -np.inf if gumbel.highest_floor is None else gumbel.highest_floor
    far = float(distance(gumbel.peaks, gumbel.is_censored, floor, mu, beta))
    far_p = _p_value(rows[:, 4], far)
    shape, ratio, shape_p = _shape(gumbel, rows, floors, seed, simulations)
    doubtful = far_p < DOUBTFUL or (shape_p is not None and shape_p < DOUBTFUL)
    words = (_distance_words(gumbel, statistic, far, far_p), _shape_words(shape, shape_p))
    return NoiseChecks(statistic, far, far_p, shape, ratio, shape_p, simulations, seed, doubtful,
                       (*words, CAUTION))  # fmt: skip


def _p_value(simulations: Array, seen: float) -> float:
    known = simulations[~np.isnan(simulations)]
    return float((np.sum(known >= seen) + 1) / (known.size + 1))


def _shape(
    gumbel: NoiseFit, rows: Array, floors: Array, seed: int, simulations: int
) -> tuple[float | None, float | None, float | None]:
    gev = fit_noise(gumbel.peaks, gumbel.is_censored, "gev")
    if gev.log_likelihood is None or gumbel.log_likelihood is None:
        return None, None, None
    curved = simulated(True, 0.0, floors, seed, simulations)
    ratio = 2.0 * (gev.log_likelihood - gumbel.log_likelihood)
    return gev.shape, ratio, _p_value(2.0 * (curved[:, 3] - rows[:, 3]), ratio)


def _distance_words(gumbel: NoiseFit, statistic: str, far: float, p: float) -> str:
    name = "Kolmogorov's distance" if statistic == "kolmogorov" else "Anderson and Darling's A²"
    figures = f"({name} {far:.3g} from {gumbel.n} units, p = {p:.3g})"
    if p >= DOUBTFUL:
        return f"The peaks are not shown to differ from the Gumbel law {figures}."
    return (
        f"The peaks do not follow the Gumbel law {figures}: a threshold or rate from it is "
        "doubtful; try another axis, the GEV law, or the peaks alone."
    )


def _shape_words(shape: float | None, p: float | None) -> str:
    if shape is None or p is None:
        return "A law with a shape (GEV) could not be fitted, so the tail was not checked."
    if p >= DOUBTFUL:
        return (
            f"The tail is not shown to differ from Gumbel's (GEV shape {shape:.2f}, p = {p:.3g})."
        )
    kind, effect = ("heavier", "too low") if shape > 0.0 else ("lighter", "too high")
    return (
        f"The tail is {kind} than Gumbel's (GEV shape {shape:.2f}, p = {p:.3g}): a Gumbel "
        f"threshold for a small rate is {effect}."
    )

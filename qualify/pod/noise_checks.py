"""Whether the peaks of blank units follow a Gumbel law: distance, and the shape of its tail.

p values come from simulated samples of the Gumbel law, censored at the same floor and fitted anew:
tables for a known law do not hold where it was fitted.

Sources: Anderson and Darling 1954, Journal of the American Statistical Association 49, 765-769;
Stephens 1977, Biometrika 64, 583-588 (the fitted Gumbel law). From memory; checked in `tests/pod`.
"""

from dataclasses import dataclass

import numpy as np

from qualify.pod.links import Array
from qualify.pod.noise import CHECK_SIMULATIONS, DOUBTFUL, NoiseFit, fit_noise
from qualify.pod.noise_kernels import distance, samples
from qualify.threads import in_threads


@dataclass(frozen=True, slots=True)
class NoiseChecks:
    """What speaks for or against the Gumbel law.

    Attributes
    ----------
    distance, distance_p : Anderson-Darling (Kolmogorov's above a floor), and its p.
    shape, shape_lr, shape_p : shape of the extreme-value law of the same peaks, likelihood ratio
        against 0, and its p; None where that law was not fitted.
    doubtful : whether either p is below 0.05.
    simulations, seed : behind both p.
    sentences : the same in words.
    """

    distance: float
    distance_p: float
    shape: float | None
    shape_lr: float | None
    shape_p: float | None
    doubtful: bool
    simulations: int
    seed: int
    sentences: tuple[str, ...]


def fit_checks(fit: NoiseFit, seed: int) -> NoiseChecks:
    """Return checks of a fitted Gumbel law; of another law, those of the Gumbel law beside it.

    Raises
    ------
    ValueError : where no Gumbel law can be fitted.
    """
    plain = fit if fit.family == "gumbel" else fit_noise(fit.peaks, fit.is_censored, "gumbel")
    mu, beta, _ = plain.law
    floor = -np.inf if fit.highest_floor is None else fit.highest_floor
    far = float(distance(plain.peaks, plain.is_censored, floor, mu, beta))
    drawn = _drawn(plain, (floor - mu) / beta, seed, gev=False)
    p = _p(far, drawn[:, 4])
    other = fit_noise(fit.peaks, fit.is_censored, "gev")
    shape, ratio, shape_p = None, None, None
    if other.log_likelihood is not None and plain.log_likelihood is not None:
        shape = other.shape
        ratio = max(0.0, 2.0 * (other.log_likelihood - plain.log_likelihood))
        wider = _drawn(plain, (floor - mu) / beta, seed, gev=True)
        shape_p = _p(ratio, np.maximum(0.0, 2.0 * (wider[:, 3] - drawn[:, 3])))
    doubtful = min(p, 1.0 if shape_p is None else shape_p) < DOUBTFUL
    return NoiseChecks(far, p, shape, ratio, shape_p, doubtful, CHECK_SIMULATIONS, seed,
                       _sentences(p, shape, shape_p))  # fmt: skip


def _drawn(fit: NoiseFit, floor: float, seed: int, *, gev: bool) -> Array:
    state = np.uint64(np.random.SeedSequence([seed, *b"peaks"]).generate_state(1, np.uint64)[0])
    out = np.empty((CHECK_SIMULATIONS, 5))
    floors = np.full(fit.n, floor)

    def work(first: int, last: int) -> None:
        samples(gev, 0.0, floors, state, first, last, out)

    in_threads(work, CHECK_SIMULATIONS, least=50)
    return out


def _p(value: float, drawn: Array) -> float:
    known = drawn[np.isfinite(drawn)]
    return float((np.sum(known >= value) + 1) / (known.size + 1))


def _sentences(p: float, shape: float | None, shape_p: float | None) -> tuple[str, ...]:
    verdict = "the peaks speak against" if p < DOUBTFUL else "the peaks do not speak against"
    told = [f"{verdict} the Gumbel law (distance, p {p:.3f})"]
    if shape is not None and shape_p is not None:
        tail = "longer" if shape > 0.0 else "shorter"
        words = f"a law with a shape gives it {shape:+.2f}, a {tail} tail (p {shape_p:.3f})"
        if shape_p < DOUBTFUL:
            low = "low" if shape > 0.0 else "high"
            words += (
                f": the Gumbel law's threshold is too {low} at small rates; try --law gev, --law "
                "empirical, or another axis of response"
            )
        told.append(words)
    return tuple(told)

"""Goodness of fit of a hit/miss curve, with the power of the tests beside their p values.

Two tests (`qualify.pod.misfit`): curvature on the link scale, and the unweighted sum of squares.
Both are calibrated by simulation from the fitted curve, as large-sample theory is poor at 60
single trials. Chi-square on deviance or groups says nothing for single trials and is not used.

A test that is passed shows little unless it would have noticed a fault. So its power is counted
in the same design: how often each test, at its 5 % level, notices a POD that ends at 0.90, and
another link with the same a50 and a90. The 5 % level is that of the simulation from the
fitted curve of these data.

Source of the bootstrap: Davison and Hinkley 1997, Bootstrap Methods and their Application,
section 4.2.3, p = (count + 1) / (replicates + 1), two-sided as twice the smaller tail.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.hit_miss import HitMissFit
from qualify.pod.links import Array, LinkName, eta_of, pod_of
from qualify.pod.misfit import Misfit, misfit
from qualify.pod.observations import observe

LEVEL = 0.05
PLATEAU = 0.9
WEAK, FAIR = 0.5, 0.8  # our own words for power, no source
TIE = 1e-9
OTHER_LINK: dict[LinkName, LinkName] = {
    "logit": "cloglog",
    "probit": "cloglog",
    "cloglog": "loglog",
    "loglog": "cloglog",
}


@dataclass(frozen=True, slots=True)
class Power:
    """How often each test notices one fault, in simulation of this design.

    Attributes
    ----------
    fault : `plateau` or `link`.
    words : the fault in words.
    curvature, squares : share of trials in which each test is significant at its 5 % level.
    curvature_error, squares_error : Monte-Carlo standard errors.
    trials : simulated trials.
    """

    fault: str
    words: str
    curvature: float
    curvature_error: float
    squares: float
    squares_error: float
    trials: int


@dataclass(frozen=True, slots=True)
class Goodness:
    """Tests of fit and what passing them is worth.

    Attributes
    ----------
    reason : why there is no test, else None.
    curvature_lr, curvature_p, curvature_p_error : statistic, bootstrap p value and its Monte-Carlo
        standard error, or None.
    squares, squares_expected, squares_z : unweighted sum of squares, its expectation and the
        standardised difference, or None.
    squares_p, squares_p_error, squares_p_normal : two-sided p value by bootstrap, its Monte-Carlo
        standard error, and by the normal approximation, or None.
    simulations, seed : of the bootstrap.
    no_overlap : simulated sets whose hits and misses did not overlap, or were all hits or all
        misses; they are counted with statistics of 0, as a curve fits them perfectly.
    powers : one for each fault; empty when none was asked for.
    sentences : plain words for the dossier.
    """

    reason: str | None
    curvature_lr: float | None
    curvature_p: float | None
    curvature_p_error: float | None
    squares: float | None
    squares_expected: float | None
    squares_z: float | None
    squares_p: float | None
    squares_p_error: float | None
    squares_p_normal: float | None
    simulations: int
    seed: int
    no_overlap: int
    powers: tuple[Power, ...]
    sentences: tuple[str, ...]


def _p_values(seen: Misfit, null: Misfit) -> tuple[Array, Array]:
    """P values (sets,) of curvature and of the sum of squares, against a simulated null."""
    b = len(null.z)
    curved, z = np.sort(null.curvature), np.sort(null.z)
    above = b - np.searchsorted(curved, seen.curvature - TIE, side="left")
    high = b - np.searchsorted(z, seen.z - TIE, side="left")
    low = np.searchsorted(z, seen.z + TIE, side="right")
    two_sided = np.minimum(1.0, 2.0 * (np.minimum(high, low) + 1) / (b + 1))
    return (above + 1) / (b + 1), two_sided


def _error(share: float, count: int) -> float:
    return float(np.sqrt(share * (1.0 - share) / count))


def _faulty(
    link: LinkName, curve: tuple[float, float], x: Array, pod: Array
) -> list[tuple[str, str, Array]]:
    """Faults that the tests ought to notice: name, words and POD (sizes,)."""
    other = OTHER_LINK[link]
    places = (eta_of(link, np.array([0.5, 0.9])) - curve[0]) / curve[1]
    ends = eta_of(other, np.array([0.5, 0.9]))
    slope = (ends[1] - ends[0]) / (places[1] - places[0])
    return [
        ("plateau", f"a plateau at {PLATEAU:.2f}", PLATEAU * pod),
        (
            "link",
            f"a {other} curve with the same a50 and a90",
            pod_of(other, ends[0] + slope * (x - places[0])),
        ),
    ]


def _none(reason: str, simulations: int, seed: int) -> Goodness:
    said = (f"Goodness of fit can't be tested: {reason}.",)
    return Goodness(reason, *(None,) * 9, simulations, seed, 0, (), said)


def goodness_of_fit(
    fit: HitMissFit, *, seed: int, simulations: int = 499, power_trials: int = 200
) -> Goodness:
    """Test whether a fitted curve describes its data, and what passing the tests is worth.

    Parameters
    ----------
    fit : from `fit_hit_miss`.
    seed : of the simulation.
    simulations : sets simulated from the fitted curve, 99 or more.
    power_trials : sets simulated for each fault; 0 for no power.

    Raises
    ------
    ValueError : for fewer than 99 simulations or a negative number of power trials.
    """
    if simulations < 99 or power_trials < 0:
        message = "at least 99 simulations and no negative number of power trials are needed"
        raise ValueError(message)
    if fit.outcome != "fitted" or fit.intercept is None or fit.slope is None:
        return _none(f"there is no rising curve (outcome {fit.outcome})", simulations, seed)
    seen = observe(fit.sizes, fit.hits_at, fit.trials_at, fit.scale)
    if seen.size.size < 3:
        return _none("two distinct sizes are always met by a curve", simulations, seed)
    x = seen.x
    pod = pod_of(fit.link, fit.intercept + fit.slope * x)
    t = (x - np.average(x, weights=seen.trials)) / (np.std(x) or 1.0)
    faults = _faulty(fit.link, (fit.intercept, fit.slope), x, pod) if power_trials else []
    trials = seen.trials.astype(int)
    streams = np.random.SeedSequence(seed).spawn(1 + len(faults))
    counts = [simulations] + [power_trials] * len(faults)
    truths = [pod] + [np.clip(p, 0.0, 1.0) for _, _, p in faults]
    drawn = [
        np.random.default_rng(s).binomial(trials, p, size=(k, trials.size))
        for s, p, k in zip(streams, truths, counts, strict=True)
    ]
    # all sets in one batch: the data first, then the null, then each fault
    batch = np.concatenate([seen.hits[None], *drawn]).astype(float)
    found = misfit(t, batch, seen.trials, fit.link)
    edges = np.cumsum([1, *counts])[:-1]
    parts = [
        Misfit(*columns)
        for columns in zip(
            *(
                np.split(column, edges)
                for column in (found.curvature, found.squares, found.expected, found.z, found.apart)
            ),
            strict=True,
        )
    ]
    return _assemble(parts, [fault[:2] for fault in faults], simulations, seed)


def _assemble(
    parts: list[Misfit], faults: list[tuple[str, str]], simulations: int, seed: int
) -> Goodness:
    data, null = parts[0], parts[1]
    curved, squares = (float(p[0]) for p in _p_values(data, null))
    powers = tuple(
        _power(part, null, *names) for part, names in zip(parts[2:], faults, strict=True)
    )
    apart, z = int(null.apart.sum()), float(data.z[0])
    return Goodness(
        reason=None,
        curvature_lr=float(data.curvature[0]),
        curvature_p=curved,
        curvature_p_error=_error(curved, simulations),
        squares=float(data.squares[0]),
        squares_expected=float(data.expected[0]),
        squares_z=z,
        squares_p=squares,
        squares_p_error=_error(squares, simulations),
        squares_p_normal=float(2.0 * special.ndtr(-abs(z))),
        simulations=simulations,
        seed=seed,
        no_overlap=apart,
        powers=powers,
        sentences=_sentences(curved, squares, powers, apart, simulations),
    )


def _power(part: Misfit, null: Misfit, fault: str, words: str) -> Power:
    curved, squares = (float(np.mean(p <= LEVEL)) for p in _p_values(part, null))
    n = len(part.z)
    return Power(fault, words, curved, _error(curved, n), squares, _error(squares, n), n)


def _worth(power: float) -> str:
    if power < WEAK:
        return "passing it says little"
    return "passing it says something" if power < FAIR else "passing it speaks against this fault"


def _sentences(
    curved: float, squares: float, powers: tuple[Power, ...], apart: int, simulations: int
) -> tuple[str, ...]:
    said = []
    for name, p in (
        ("Curvature (x squared added)", curved),
        ("Unweighted sum of squares", squares),
    ):
        verdict = "the curve does not fit at the 5 % level" if p <= LEVEL else "no misfit noticed"
        said.append(f"{name}: p = {p:.3f} by {simulations} simulations; {verdict}.")
    for power in powers:
        for name, share in (("curvature", power.curvature), ("sum of squares", power.squares)):
            said.append(
                f"The {name} test would have noticed {power.words} in {100 * share:.0f} % of such "
                f"trials ({power.trials} simulated): {_worth(share)}."
            )
    if apart:
        said.append(
            f"In {apart} of {simulations} simulated sets hits and misses did not overlap; they "
            "are counted as showing no misfit."
        )
    return tuple(said)

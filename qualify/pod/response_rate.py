"""POD at a declared false-call rate, with the uncertainty of the threshold carried through.

The threshold of a declared rate is known only as well as the blanks tell. Trials of targets are
simulated from the fitted line and fitted anew; what a refit says of the line it came from is
turned round to what the data say of the true line (a fiducial draw). Each such line meets a
threshold drawn in the same way from the blanks, so that targets and blanks vary together. Bounds
are quantiles over the draws. For a threshold that is known, and responses of which none is
censored, this gives the exact bound but for the error of simulation; with censoring it is an
approximation, whose share of trials in which it holds is counted in `tests/recovery`.

Sources: Weerahandi 1993, Journal of the American Statistical Association 88, 899-905 (generalised
confidence intervals); Hannig 2009, Statistica Sinica 19, 491-544. From memory.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.links import Array, Indices
from qualify.pod.observations import size_of
from qualify.pod.response_curve import ResponseCurve
from qualify.pod.response_fits import Line
from qualify.pod.response_simulation import FEWEST_EXACT, refit, stream
from qualify.pod.response_targets import shared_variance
from qualify.threads import in_threads, njit

SIMULATIONS = 19_999
THREADED = 20_000
FEWEST_SHARE = 0.9  # of simulated trials that must have a line
PODS = (0.5, 0.9)
SAME = 1e-9  # a threshold at the floor lies within reach
RARE_LINES = "too many simulated trials have too few uncensored responses for a line"
GROWING = "not given where the spread grows"
OUT_OF_REACH = (
    "the threshold lies below the floor or above the ceiling of the responses: what happens there "
    "was not recorded"
)
NO_END = "the bound does not close: lines without a rise, or thresholds without end, are too many"


@dataclass(frozen=True, slots=True)
class LineDraws:
    """What the data say of the true line, as draws (simulations,) in units of y and t.

    Attributes
    ----------
    level, slope, sigma : of the mean at t = 0, the mean per t, and the spread.
    seed : they came from.
    """

    level: Array
    slope: Array
    sigma: Array
    seed: int


@dataclass(frozen=True, slots=True)
class AtThreshold:
    """POD at a threshold that has a false-call rate.

    Attributes
    ----------
    threshold : in the unit of responses.
    inside : whether it lies among the uncensored responses.
    a50, a90 : sizes, None where there is none.
    a90_95 : upper bound on a90, the threshold's uncertainty carried through; None with `reason`.
    a90_95_known : the same if the threshold were known.
    pods, lowers : at the sizes asked for; lower bounds with the threshold's uncertainty; empty
        where the threshold lies outside floor and ceiling.
    """

    threshold: float
    inside: bool
    a50: float | None
    a90: float | None
    a90_95: float | None
    a90_95_known: float | None
    reason: str | None
    pods: tuple[float, ...]
    lowers: tuple[float, ...]


@njit(cache=True, nogil=True)
def refits(
    t: Array,
    low: Array,
    high: Array,
    group: Indices,
    truth: Line,
    rho: float,
    seed: np.uint64,
    first: int,
    last: int,
    out: Array,
) -> None:
    """Write theta, slope and level of lines fitted to simulated trials first..last-1; else nan."""
    rows = t.size
    store = np.empty(rows + (int(group.max()) + 1 if rho > 0.0 else 0))
    y, code = np.empty(rows), np.empty(rows, dtype=np.int8)
    for k in range(first, last):
        exact, new = refit(t, low, high, group, False, truth, rho, seed, k, store, y, code)
        if exact < FEWEST_EXACT:
            out[k, 0] = math.nan
            continue
        out[k, 0], out[k, 1], out[k, 2] = new[0], new[1], new[2]


def line_draws(
    curve: ResponseCurve, *, seed: int = 1, simulations: int = SIMULATIONS
) -> LineDraws | str:
    """Return draws of the true line, or the reason why there are none.

    Draws without a line are left out; they are told where they are more than a tenth.
    """
    if curve.growing:
        return GROWING
    data, truth = curve.data, curve.line
    rho = shared_variance(data, *truth[:4])
    state = stream(seed, b"lines")
    out = np.empty((simulations, 3))

    def work(first: int, last: int) -> None:
        refits(data.t, data.low, data.high, data.group, truth, rho, state, first, last, out)

    in_threads(work, simulations, least=1 + THREADED // data.rows)
    new = out[np.isfinite(out[:, 0])]
    if new.shape[0] < FEWEST_SHARE * simulations:
        return RARE_LINES
    theta, slope, level = new.T
    sigma = 1.0 / curve.theta
    pivot = theta * sigma  # sigma over the sigma of the refit
    return LineDraws(
        level=curve.level * sigma - (level / theta - curve.level * sigma) * pivot,
        slope=curve.slope * sigma - (slope / theta - curve.slope * sigma) * pivot,
        sigma=sigma * pivot,
        seed=seed,
    )


def _quantile(values: Array, confidence: float) -> float:
    rank = math.ceil(confidence * (values.size + 1))
    return float(np.sort(values)[min(rank, values.size) - 1])


def _psi(draws: LineDraws, thresholds: Array, eta: float) -> Array:
    """Places (simulations,) where POD has a probit; infinite where a line does not rise."""
    with np.errstate(divide="ignore", invalid="ignore"):
        psi = (thresholds + eta * draws.sigma - draws.level) / draws.slope
    return np.where((draws.slope > 0.0) & np.isfinite(thresholds), psi, np.inf)


def paired(draws: LineDraws, thresholds: Array) -> tuple[LineDraws, Array]:
    """Lines and thresholds one to one: as many as there are of both."""
    n = min(draws.sigma.size, thresholds.size)
    part = LineDraws(draws.level[:n], draws.slope[:n], draws.sigma[:n], draws.seed)
    return part, thresholds[:n]


def at_threshold(
    curve: ResponseCurve,
    draws: LineDraws,
    threshold: float,
    thresholds: npt.ArrayLike,
    *,
    sizes: Sequence[float] = (),
    confidence: float = 0.95,
) -> AtThreshold:
    """Return POD at a threshold that stands for a false-call rate.

    Parameters
    ----------
    threshold : the estimate, in the unit of responses.
    thresholds : (simulations,), draws of the true one in that unit, infinite where without end.
    sizes : at which POD is wanted.
    """
    data = curve.data
    given = np.asarray(thresholds, dtype=float)
    there = np.isfinite(given)
    y = np.full(given.shape, np.inf)
    y[there] = data.y_of(given[there])
    lines, y = paired(draws, y)
    here = float(data.y_of(threshold))
    if here < data.low.max() - SAME or here >= data.high.min():
        return AtThreshold(threshold, False, None, None, None, None, OUT_OF_REACH, (), ())
    known = np.full(y.shape, here)
    exact = data.response[data.exact]
    half, ninety = (
        _size(curve, (here + float(special.ndtri(p)) / curve.theta - curve.level / curve.theta)
              / (curve.slope / curve.theta)) if curve.slope > 0.0 else None
        for p in PODS
    )  # fmt: skip
    eta = float(special.ndtri(PODS[1]))
    upper, fixed = (_size(curve, _quantile(_psi(lines, at, eta), confidence)) for at in (y, known))
    t = data.t_of(np.asarray(sizes, dtype=float))
    pods = special.ndtr(curve.level + curve.slope * t - here * curve.theta)
    lowers = [
        float(special.ndtr(-_quantile(-(lines.level + lines.slope * one - y) / lines.sigma,
                                      confidence)))
        for one in t
    ]  # fmt: skip
    return AtThreshold(
        threshold=threshold,
        inside=bool(exact.min() <= threshold <= exact.max()),
        a50=half,
        a90=ninety,
        a90_95=upper,
        a90_95_known=fixed,
        reason=NO_END if upper is None else None,
        pods=tuple(float(p) for p in pods),
        lowers=tuple(lowers),
    )


def _size(curve: ResponseCurve, psi: float) -> float | None:
    if not math.isfinite(psi):
        return None
    return size_of(curve.data.centre + curve.data.spread * psi, curve.data.scale)

"""Maximum likelihood for hits and misses, thousands of data sets at once.

One engine serves fits, profiles, bootstrap, calibration of bounds and the count of how often a
bound holds. The leading axis counts data sets, the last axis targets. All four links have
concave log-likelihoods, so Newton's method with step halving finds the one maximum wherever
hits and misses overlap. Whether they do is decided beforehand from the data, in
`qualify.pod.outcome`, never from the behaviour of the iteration. The inner loops are compiled
(`qualify.pod.kernels`, `qualify.pod.simulation`) and run in threads; every data set is computed
by itself, so the number of threads changes no digit.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.kernels import LINK_NUMBERS, climb_at, expected_at, fit_one, fit_two
from qualify.pod.links import Array, LinkName, eta_of
from qualify.threads import in_threads, njit

FINE = 1e-18  # gain in log-likelihood at which a fit stops; the last step is still taken
SMALL_BATCH = 64  # data sets; fewer are not worth a thread


@dataclass(frozen=True, slots=True)
class CurveFits:
    """Two-parameter fits of a batch of data sets.

    Attributes
    ----------
    intercept, slope, log_likelihood : (sets,); the likelihood without binomial constants.
    expected_information, observed_information : (sets, 2, 2), intercept then slope.
    score : (sets, 2), gradient at the solution in centred and scaled sizes.
    converged : (sets,) bool.
    """

    intercept: Array
    slope: Array
    log_likelihood: Array
    expected_information: Array
    observed_information: Array
    score: Array
    converged: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class ThroughFits:
    """Fits held at a given link value at a given size; only the slope is free.

    Attributes
    ----------
    slope, log_likelihood : (sets,).
    converged : (sets,) bool.
    """

    slope: Array
    log_likelihood: Array
    converged: npt.NDArray[np.bool_]


@njit(cache=True, nogil=True)
def _fit_sets(
    link: int, x: Array, hits: Array, trials: Array, start: Array, fine: float, out: Array
) -> None:
    """Fit each data set in its own centred and scaled sizes; `out` (sets, 14) is written.

    x and trials have one row for all sets or one for each; start (sets,) is a link value.
    """
    n = x.shape[1]
    t, misses = np.empty(n), np.empty(n)
    centre, scale = 0.0, 1.0
    for s in range(hits.shape[0]):
        row = s if x.shape[0] > 1 else 0
        weight = trials[s if trials.shape[0] > 1 else 0]
        if s == 0 or x.shape[0] > 1 or trials.shape[0] > 1:
            total = weight.sum()
            centre = (weight * x[row]).sum() / total
            scale = np.sqrt((weight * (x[row] - centre) ** 2).sum() / total)
            if not scale > 0.0:
                scale = 1.0
            for i in range(n):
                t[i] = (x[row, i] - centre) / scale
        for i in range(n):
            misses[i] = weight[i] - hits[s, i]
        a, b, height, done = fit_two(link, t, hits[s], misses, start[s], 0.0, np.inf, fine)
        end = climb_at(link, a, b, t, hits[s], misses)
        e00, e01, e11 = expected_at(link, a, b, t, weight)
        one = out[s]
        one[0], one[1], one[2], one[3] = a, b, height, 1.0 if done else 0.0
        one[4], one[5] = end[1], end[2]
        one[6], one[7], one[8] = e00, e01, e11
        one[9], one[10], one[11] = end[3], end[4], end[5]
        one[12], one[13] = centre, scale


@njit(cache=True, nogil=True)
def _hold_sets(
    link: int, away: Array, hits: Array, misses: Array, level: Array, start: Array, out: Array
) -> None:
    for s in range(len(level)):
        one = fit_one(link, away[s], hits[s], misses[s], level[s], start[s], FINE)
        out[s, 0], out[s, 1], out[s, 2] = one[0], one[1], 1.0 if one[3] else 0.0


def _rows(values: npt.ArrayLike, n: int) -> Array:
    """As contiguous floats of one row for all data sets or one for each; (1 or sets, n)."""
    rows = np.atleast_2d(np.asarray(values, dtype=float))
    return np.ascontiguousarray(np.broadcast_to(rows, (rows.shape[0], n)))


def _informations(e00: Array, e01: Array, e11: Array, centre: Array, scale: Array) -> Array:
    """Information (sets, 2, 2) of intercept and slope in x from that in centred, scaled x."""
    first = np.stack([e00, centre * e00 + scale * e01], axis=-1)
    both = centre**2 * e00 + 2 * centre * scale * e01 + scale**2 * e11
    return np.stack([first, np.stack([first[:, 1], both], axis=-1)], axis=-2)


def fit_curves(
    x: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike,
    link: LinkName,
    *,
    fine: float = FINE,
) -> CurveFits:
    """Fit eta = intercept + slope * x to each data set by maximum likelihood.

    Parameters
    ----------
    x : (targets,) or (sets, targets), size or its logarithm.
    hits : (targets,) or (sets, targets).
    trials : opportunities behind each number of hits; a scalar or as `hits`.
    fine : gain in log-likelihood at which the iteration stops; its error is about the square.

    Returns
    -------
    CurveFits : in the coordinates of `x`; the iteration runs in centred and scaled ones.
    """
    n = np.shape(np.atleast_2d(np.asarray(x)))[1]
    xs, found, tried = _rows(x, n), _rows(hits, n), _rows(trials, n)
    sets = max(len(xs), len(found), len(tried)) if len(found) else 0
    found = np.ascontiguousarray(np.broadcast_to(found, (sets, n)))
    total = np.broadcast_to(tried.sum(axis=1), sets)
    start = eta_of(link, (found.sum(axis=1) + 0.5) / (total + 1.0))
    out = np.empty((sets, 14))

    def work(first: int, last: int) -> None:
        part = slice(first, last)
        own_x, own_tried = (a[part] if len(a) > 1 else a for a in (xs, tried))
        if last > first:
            number = LINK_NUMBERS[link]
            _fit_sets(number, own_x, found[part], own_tried, start[part], fine, out[part])

    in_threads(work, sets, SMALL_BATCH)
    a, b, height, done, s0, s1, e00, e01, e11, o00, o01, o11, centre, scale = out.T
    return CurveFits(
        intercept=a - b * centre / scale,
        slope=b / scale,
        log_likelihood=height.copy(),
        expected_information=_informations(e00, e01, e11, centre, scale),
        observed_information=_informations(o00, o01, o11, centre, scale),
        score=np.stack([s0, s1], axis=1),
        converged=done > 0.5,
    )


def fit_through(
    x: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike,
    link: LinkName,
    psi: npt.ArrayLike,
    level: npt.ArrayLike,
) -> ThroughFits:
    """Fit only the slope, with eta held at `level` where x = `psi`: the profile for a size.

    Parameters
    ----------
    x, hits, trials : as in `fit_curves`; best centred and scaled by the caller.
    psi, level : (sets,), where the curve is held and at which link value.

    Returns
    -------
    ThroughFits : (sets,) each.
    """
    n = np.shape(np.atleast_2d(np.asarray(x)))[1]
    rows = [_rows(a, n) for a in (x, hits, trials)]
    at, held = np.atleast_1d(psi).astype(float), np.atleast_1d(level).astype(float)
    sets = max(*(len(a) for a in rows), len(at), len(held))
    xs, found, tried = (np.ascontiguousarray(np.broadcast_to(a, (sets, n))) for a in rows)
    at, held = (np.ascontiguousarray(np.broadcast_to(a, sets)) for a in (at, held))
    reach = np.maximum(1.0, np.abs(at))
    away = xs / reach[:, None] - (at / reach)[:, None]  # (x - psi) / reach, exact for far psi
    # start as near as one slope can bring the curve to the flat model
    flat = eta_of(link, (found.sum(axis=1) + 0.5) / (tried.sum(axis=1) + 1.0))
    start = (flat - held) * away.mean(axis=1) / np.maximum((away**2).mean(axis=1), 1e-300)
    out = np.empty((sets, 3))
    lost = tried - found

    def work(first: int, last: int) -> None:
        p = slice(first, last)
        _hold_sets(LINK_NUMBERS[link], away[p], found[p], lost[p], held[p], start[p], out[p])

    in_threads(work, sets, SMALL_BATCH)
    return ThroughFits(out[:, 0] / reach, out[:, 1].copy(), out[:, 2] > 0.5)


def flat_log_likelihood(hits: npt.ArrayLike, trials: npt.ArrayLike) -> Array:
    """Log-likelihood (sets,) of one POD for all sizes, without binomial constants."""
    found, tried = np.broadcast_arrays(
        np.atleast_2d(np.asarray(hits, dtype=float)), np.asarray(trials, dtype=float)
    )
    return np.asarray(entropy_sum(found.sum(axis=1), tried.sum(axis=1)))


def entropy_sum(found: Array, total: Array) -> Array:
    """Highest log-likelihood of `found` in `total`: found log(share) + missed log(1 - share)."""
    missed = total - found
    share = np.where(found > 0, found / total, 1.0)
    rest = np.where(missed > 0, missed / total, 1.0)
    return np.asarray(found * np.log(share) + missed * np.log(rest))

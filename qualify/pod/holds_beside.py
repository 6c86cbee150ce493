"""Whether bounds of other kinds hold in thousands of simulated trials, without solving for them.

A bound lies at or above a size exactly if its statistic does not reject that size, so only the
statistic is computed, for all trials at once: the signed roots r and r*, and that of Firth's
penalised profile. Bootstrap percentiles are drawn and refitted trial by trial. All trials have
single opportunities and a logit curve; sizes may differ from trial to trial.

Sources: see `qualify.pod.other_bounds` and `qualify.pod.firth`; `tests/recovery` compares both
ways, bounds solved one by one and statistics of a batch.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.engine import SMALL_BATCH, fit_through
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import Array
from qualify.pod.simulation import GAMMA, S11, UNIT, mixed, place_of
from qualify.pod.trials import TrialFits
from qualify.threads import in_threads, njit

NEAR_ZERO = 0.02  # |r| below which r* is r: such a statement is kept anyway
FIRTH_STEPS, FIRTH_HALVINGS, FIRTH_GAIN = 200, 40, 1e-11
NEVER = -np.inf  # root of a statement in a trial without a bound: rejected nowhere


def signed_roots(fits: TrialFits, psi: float, level: float) -> tuple[Array, Array]:
    """Roots r and r* (replicates,) of the statement that eta = `level` at `psi`; logit curve."""
    t, fit = fits.t[fits.rows], fits.fit
    k = len(t)
    through = fit_through(t, fits.hits[fits.rows], 1.0, "logit", np.full(k, psi), np.full(k, level))
    above = fit.intercept + fit.slope * psi - level
    r = np.sign(above) * np.sqrt(
        np.maximum(0.0, 2.0 * (fit.log_likelihood - through.log_likelihood))
    )
    pod = special.expit(level + through.slope[:, None] * (t - psi))
    weight = (pod * (1.0 - pod) * (t - psi) ** 2).sum(axis=1)
    near = np.abs(r) < NEAR_ZERO
    q = above * np.sqrt(np.linalg.det(fit.expected_information) / weight)
    safe = np.where(near, 1.0, r)
    modified = r + np.where(near, 0.0, np.log(np.where(near, 1.0, q / safe)) / safe)
    out = np.full((2, len(fits.hits)), NEVER)
    out[:, fits.rows] = np.where(fits.rising, np.stack([r, modified]), NEVER)
    return out[0], out[1]


@njit(cache=True, nogil=True)
def _penalised_at(
    start: float, slope: float, t: Array, away: Array, hits: Array
) -> tuple[float, float, float, float, float, float, float, float]:
    """Penalised height of eta = start + slope away, its score (2), and weights.

    The information (3) of the penalty is that in (1, t); the last value is the sum of weights
    times away squared.
    """
    plain, pull0, pull1, far = 0.0, 0.0, 0.0, 0.0
    i00, i01, i11 = 0.0, 0.0, 0.0
    k00, k01, k11, m00, m01, m11 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for i in range(t.size):
        eta = start + slope * away[i]
        e = math.exp(-abs(eta))
        pod = 1.0 / (1.0 + e) if eta >= 0.0 else e / (1.0 + e)
        plain += min(eta, 0.0) * hits[i] - max(eta, 0.0) * (1.0 - hits[i]) - math.log1p(e)
        weight = e / ((1.0 + e) * (1.0 + e))
        bend = weight * (1.0 - 2.0 * pod)
        pull0 += hits[i] - pod
        pull1 += (hits[i] - pod) * away[i]
        far += weight * away[i] * away[i]
        i00 += weight
        i01 += weight * t[i]
        i11 += weight * t[i] * t[i]
        k00 += bend
        k01 += bend * t[i]
        k11 += bend * t[i] * t[i]
        m00 += bend * away[i]
        m01 += bend * away[i] * t[i]
        m11 += bend * away[i] * t[i] * t[i]
    determinant = i00 * i11 - i01 * i01
    if not determinant > 0.0:
        return -math.inf, pull0, pull1, i00, i01, i11, far, plain
    pull0 += 0.5 * (k00 * i11 + i00 * k11 - 2.0 * i01 * k01) / determinant
    pull1 += 0.5 * (m00 * i11 + i00 * m11 - 2.0 * i01 * m01) / determinant
    return plain + 0.5 * math.log(determinant), pull0, pull1, i00, i01, i11, far, plain


@njit(cache=True, nogil=True)
def _penalised_climb(
    start: float, slope: float, t: Array, away: Array, hits: Array, free: bool
) -> tuple[float, float, float]:
    """Maximise the penalised height by scoring steps, halved where they descend.

    With `free` both coefficients move and `away` is t; else only the slope.
    """
    here = _penalised_at(start, slope, t, away, hits)
    for _ in range(FIRTH_STEPS):
        if free:
            determinant = here[3] * here[5] - here[4] * here[4]
            da = (here[5] * here[1] - here[4] * here[2]) / determinant
            db = (here[3] * here[2] - here[4] * here[1]) / determinant
        else:
            da, db = 0.0, here[2] / here[6]
        gain, factor = da * here[1] + db * here[2], 1.0
        new = _penalised_at(start + da, slope + db, t, away, hits)
        for _ in range(FIRTH_HALVINGS):
            if new[0] >= here[0] - 1e-13 * (1.0 + abs(here[0])):
                break
            factor *= 0.5
            new = _penalised_at(start + factor * da, slope + factor * db, t, away, hits)
        start, slope, here = start + factor * da, slope + factor * db, new
        if abs(gain) <= FIRTH_GAIN:
            break
    return start, slope, here[0]


@njit(cache=True, nogil=True)
def _firth_free(t: Array, hits: Array, out: Array) -> None:
    for s in range(t.shape[0]):
        a, b, height = _penalised_climb(0.0, 0.0, t[s], t[s], hits[s], True)
        out[s, 0], out[s, 1], out[s, 2] = a, b, height


@njit(cache=True, nogil=True)
def _firth_held(t: Array, hits: Array, psi: float, level: float, free: Array, roots: Array) -> None:
    reach = max(1.0, abs(psi))
    for s in range(t.shape[0]):
        away = t[s] / reach - psi / reach
        flat = (hits[s].sum() + 0.5) / (hits[s].size + 1.0)
        eta = math.log(flat / (1.0 - flat)) - level
        start = eta * away.mean() / (away * away).mean()
        height = _penalised_climb(level, start, t[s], away, hits[s], False)[2]
        root = math.sqrt(max(0.0, 2.0 * (free[s, 2] - height)))
        roots[s] = root if free[s, 0] + free[s, 1] * psi > level else -root


def firth_curves(t: Array, hits: Array) -> Array:
    """Intercept, slope and penalised height (replicates, 3) of Firth's logit curves."""
    out = np.empty((len(t), 3))
    in_threads(lambda a, b: _firth_free(t[a:b], hits[a:b], out[a:b]), len(t), SMALL_BATCH)
    return out


def firth_roots(t: Array, hits: Array, curves: Array, psi: float, level: float) -> Array:
    """Signed root (replicates,) of the penalised likelihood ratio that eta = `level` at `psi`."""
    out = np.empty(len(t))

    def work(a: int, b: int) -> None:
        _firth_held(t[a:b], hits[a:b], psi, level, curves[a:b], out[a:b])

    in_threads(work, len(t), SMALL_BATCH)
    return out


@njit(cache=True, nogil=True)
def _percentiles(
    link: int,
    t: Array,
    hits: Array,
    level: float,
    start: Array,
    slope: Array,
    rank: int,
    seeds: npt.NDArray[np.uint64],
    places: Array,
    out: Array,
) -> None:
    n = t.shape[1]
    found, lost = np.empty(n), np.empty(n)
    for s in range(t.shape[0]):
        state = seeds[s]
        for k in range(places.size):
            found[:], lost[:] = 0.0, 0.0
            for _ in range(n):
                state = state + GAMMA
                i = int((mixed(state) >> S11) * UNIT * n)
                if hits[s, i] > 0.0:
                    found[i] += 1.0
                else:
                    lost[i] += 1.0
            places[k] = place_of(link, t[s], found, lost, level, start[s], slope[s])[0]
        out[s] = np.sort(places)[rank]


def bootstrap_places(
    fits: TrialFits,
    level: float,
    confidence: float,
    seeds: npt.NDArray[np.uint64],
    resamples: int,
) -> Array:
    """Percentile bounds (replicates,), infinite without a bound; see `other_bounds`."""
    (some,) = np.nonzero(fits.rising)
    rows = fits.rows[some]
    t, hits, own = fits.t[rows], fits.hits[rows], seeds[rows]
    start, slope = fits.fit.intercept[some], fits.fit.slope[some]
    rank = min(math.ceil(confidence * (resamples + 1)) - 1, resamples - 1)
    found = np.empty(len(rows))

    def work(a: int, b: int) -> None:
        p, places = slice(a, b), np.empty(resamples)
        number = LINK_NUMBERS["logit"]
        _percentiles(
            number, t[p], hits[p], level, start[p], slope[p], rank, own[p], places, found[p]
        )

    in_threads(work, len(rows), SMALL_BATCH)
    out = np.full(len(fits.hits), np.inf)
    out[rows] = found
    return out

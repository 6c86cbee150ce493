"""How often the pooled bound of several readers holds, in simulation of a design.

True trials are made by another model than the one that the bound uses: each target is harder
or easier than its size says, and each reader stricter or less strict, by normal amounts on the
axis of size, as `eta = intercept + slope (size - flaw - reader)`. The true a90 is the size where
the POD so averaged is 0.90: over all flaws and these readers, or over the class of readers.

Source: physics of the trade, common practice, no source; the count as in `qualify.pod.holds`.
"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize

from qualify.pod.holds import Holding, holding_of
from qualify.pod.links import Array, LinkName, eta_of, link_named, pod_of
from qualify.pod.observations import observe
from qualify.pod.problem import normal_quantile, signed_root, sized_hits
from qualify.pod.reader_bounds import Estimand, exceedances_of, stream, way_of
from qualify.pod.reader_effects import (
    NORMAL_NODES,
    NORMAL_WEIGHTS,
    ReadTargets,
    effects_of,
    held_readers,
)
from qualify.pod.readers import ReadersFit
from qualify.threads import in_threads

SIMULATIONS = 399  # a replicate
SURELY_KEPT = 1.5  # a root as small is never rejected: readings that go together only widen it
POD = 0.9
LATENT_SD: dict[LinkName, float] = {
    "logit": float(np.pi / np.sqrt(3.0)),
    "probit": 1.0,
    "cloglog": float(np.pi / np.sqrt(6.0)),
    "loglog": float(np.pi / np.sqrt(6.0)),
}
"""Standard deviations of the distributions behind the links."""


@dataclass(frozen=True, slots=True)
class ReaderTruth:
    """A true curve of one reader on one target, and how targets and readers scatter about it.

    Attributes
    ----------
    intercept, slope : of eta on the axis of size (log size, say).
    flaw_spread, reader_spread : standard deviations on that axis.
    """

    link: LinkName
    intercept: float
    slope: float
    flaw_spread: float
    reader_spread: float

    def mean_pod(self, x: float, readers: Array | None) -> float:
        """Return POD at `x`, over flaws and the readers given (k,), or the class of readers."""
        if readers is None:
            spread = float(np.hypot(self.flaw_spread, self.reader_spread))
            shifts, weights = spread * NORMAL_NODES, NORMAL_WEIGHTS
        else:
            shifts = (self.flaw_spread * NORMAL_NODES[:, None] + readers).ravel()
            weights = np.repeat(NORMAL_WEIGHTS / readers.size, readers.size)
        return float(weights @ pod_of(self.link, self.intercept + self.slope * (x - shifts)))

    def a90_place(self, readers: Array | None) -> float:
        """Return where POD so averaged is 0.90, on the axis of size."""
        middle = -self.intercept / self.slope
        far = 10.0 * (1.0 / self.slope + self.flaw_spread + self.reader_spread)
        return float(
            optimize.brentq(
                lambda x: self.mean_pod(x, readers) - POD, middle - far, middle + far, xtol=1e-10
            )
        )


def _trial(
    x: Array, readers: int, truth: ReaderTruth, estimand: Estimand, rng: np.random.Generator
) -> tuple[Array, float]:
    """Return hits (targets, readers) of a simulated trial, and where its true a90 lies."""
    strict = rng.normal(0.0, truth.reader_spread, readers)
    hard = rng.normal(0.0, truth.flaw_spread, x.size)
    eta = truth.intercept + truth.slope * (x[:, None] - hard[:, None] - strict)
    hits = (rng.random(eta.shape) < pod_of(truth.link, eta)).astype(float)
    return hits, truth.a90_place(strict if estimand == "these_readers" else None)


def _failed(
    hits: Array,
    x: Array,
    place: float,
    link: LinkName,
    estimand: Estimand,
    confidence: float,
    seed: int,
) -> tuple[bool, bool]:
    """Whether the bound lies below the true a90, and the naive one; without a bound: neither."""
    n, readers = hits.shape
    if not 0.0 < hits.sum() < hits.size:
        return False, False
    seen = observe(np.exp(x), hits.sum(axis=1), np.full(n, float(readers)), "log")
    pooled, z = sized_hits(seen, link), normal_quantile(confidence)
    if pooled.slope_lr <= z * z:
        return False, False
    psi, level = (place - pooled.centre) / pooled.spread, float(eta_of(link, POD))
    root = float(signed_root(pooled, np.array([psi]), np.array([level]))[0])
    if root <= SURELY_KEPT:
        return False, root > z
    where = np.unique(x, return_inverse=True)[1].astype(np.int64)
    readings = ReadTargets(where, pooled.t, hits, np.ones_like(hits), link)
    effects = effects_of(readings)
    way = way_of(readings, pooled, effects, estimand, "upper", confidence=confidence)
    held = held_readers(readings, effects, psi, POD)
    limit = int((1.0 - confidence) * (SIMULATIONS + 1) + 1e-9)
    count = exceedances_of(way, held, psi, root, stream(seed), 0, SIMULATIONS, limit)
    return count < limit, root > z


def count_readers(
    x: Array,
    readers: int,
    truth: ReaderTruth,
    estimand: Estimand,
    *,
    replicates: int,
    seed: int,
    confidence: float = 0.95,
) -> tuple[Holding, Holding]:
    """Count how often the bound holds, and the likelihood bound that takes readings for targets.

    Parameters
    ----------
    x : (targets,), on the axis of size (log size).
    readers : each reads every target once.
    """
    failed = np.zeros((replicates, 2), dtype=bool)

    def work(first: int, last: int) -> None:
        for k in range(first, last):
            rng = np.random.default_rng(np.random.SeedSequence([seed, k, *b"readers hold"]))
            hits, place = _trial(x, readers, truth, estimand, rng)
            failed[k] = _failed(hits, x, place, truth.link, estimand, confidence, seed + k)

    in_threads(work, replicates, 16)
    none = np.zeros(replicates, dtype=bool)
    return holding_of(failed[:, 0], none), holding_of(failed[:, 1], none)


def truth_of(fit: ReadersFit) -> ReaderTruth | None:
    """Return a truth as the fit has it, on the axis of size: None without a rising curve.

    The slope of one reader on one target is steeper than that of the mean over targets.
    """
    curve, share = fit.curve, fit.target_share
    if curve.a90 is None or curve.slope is None or share is None or fit.reader_spread is None:
        return None
    link = link_named(fit.link)
    assert curve.intercept is not None
    middle = (float(eta_of(link, 0.5)) - curve.intercept) / curve.slope
    slope = curve.slope / float(np.sqrt(1.0 - share))
    spread = float(np.sqrt(share)) * LATENT_SD[link] / curve.slope
    level = float(eta_of(link, 0.5))
    return ReaderTruth(link, level - slope * middle, slope, spread, fit.reader_spread / curve.slope)

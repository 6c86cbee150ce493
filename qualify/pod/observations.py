"""Hits and misses by size, checked and brought into one form for every computation."""

from dataclasses import dataclass
from typing import Literal, TypeAlias, cast

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.engine import entropy_sum
from qualify.pod.links import Array

Scale: TypeAlias = Literal["log", "linear"]

FARTHEST_LOG = 700.0  # beyond it a log size has no size in double precision


@dataclass(frozen=True, slots=True)
class Observations:
    """Hits and trials at each distinct size, sizes rising.

    Attributes
    ----------
    size, hits, trials : (distinct sizes,), read-only by custom; size in the caller's unit.
    scale : `log` (natural logarithm) or `linear`.
    constant : sum of log binomial coefficients over the rows given; 0 when rows are single trials.
    saturated : log-likelihood, without constants, of one POD for each row given.
    """

    size: Array
    hits: Array
    trials: Array
    scale: Scale
    constant: float
    saturated: float

    @property
    def x(self) -> Array:
        """The size axis of the model: log size or size."""
        return np.log(self.size) if self.scale == "log" else self.size

    @property
    def total(self) -> int:
        """Number of trials."""
        return int(self.trials.sum())

    @property
    def total_hits(self) -> int:
        """Number of hits."""
        return int(self.hits.sum())


def size_of(place: float | None, scale: str) -> float | None:
    """Size of a place on the axis of the model, or None when it is no finite size of 0 or more."""
    if place is None or not np.isfinite(place) or (scale == "log" and abs(place) > FARTHEST_LOG):
        return None
    size = float(np.exp(place)) if scale == "log" else float(place)
    return size if size >= 0.0 else None


def _require(condition: bool | np.bool_, message: str) -> None:
    if not condition:
        raise ValueError(message)


def checked_scale(scale: str) -> Scale:
    """Return a known scale of sizes; a ValueError names an unknown one."""
    _require(scale in ("log", "linear"), f"scale {scale!r} is not known; use log or linear")
    return cast(Scale, scale)


def checked_sizes(size: npt.ArrayLike, scale: Scale) -> Array:
    """Return sizes (rows,) that have a place on the scale; a ValueError says what has none."""
    a = np.atleast_1d(np.asarray(size, dtype=float))
    _require(a.ndim == 1 and a.size > 0, "sizes must be one list with at least one size")
    _require(np.all(np.isfinite(a)), "a size is missing or not a finite number")
    _require(np.all(a >= 0.0), "a size is negative; sizes must be 0 or more")
    _require(
        scale == "linear" or np.all(a > 0.0),
        "a size is 0, which has no logarithm; remove it or use the linear scale",
    )
    return a


def _checked_counts(
    hits: npt.ArrayLike, trials: npt.ArrayLike | None, n: int
) -> tuple[Array, Array]:
    h = np.atleast_1d(np.asarray(hits, dtype=float))
    _require(h.shape == (n,), f"{h.size} numbers of hits for {n} sizes; one per size is wanted")
    t = np.ones(n) if trials is None else np.atleast_1d(np.asarray(trials, dtype=float))
    _require(t.shape == (n,), f"{t.size} numbers of trials for {n} sizes; one per size is wanted")
    _require(np.all(np.isfinite(h)) and np.all(np.isfinite(t)), "a hit or trial is missing")
    _require(np.all(t == np.round(t)) and np.all(t >= 1), "trials must be whole numbers from 1")
    wanted = "hits must be 0 or 1" if trials is None else "hits must be whole, from 0 to trials"
    _require(np.all(h == np.round(h)) and np.all(h >= 0) and np.all(h <= t), wanted)
    return h, t


def observe(
    size: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike | None, scale: str
) -> Observations:
    """Check and group hits by distinct size.

    Parameters
    ----------
    size : (rows,), any unit.
    hits : (rows,), 0 or 1, or numbers of hits when `trials` is given.
    trials : (rows,) or None for single trials.
    scale : `log` or `linear`.

    Raises
    ------
    ValueError : with the fault in words: missing, negative or (log scale) zero sizes; hits
        outside 0..trials; lists of unequal length; an unknown scale.
    """
    checked = checked_scale(scale)
    a = checked_sizes(size, checked)
    h, t = _checked_counts(hits, trials, len(a))
    constant = special.gammaln(t + 1) - special.gammaln(h + 1) - special.gammaln(t - h + 1)
    distinct, where = np.unique(a, return_inverse=True)
    return Observations(
        size=distinct,
        hits=np.bincount(where, weights=h).astype(float),
        trials=np.bincount(where, weights=t).astype(float),
        scale=checked,
        constant=float(np.sort(constant).sum()),
        saturated=float(np.sort(entropy_sum(h, t)).sum()),
    )

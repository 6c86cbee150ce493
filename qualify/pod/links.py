"""Link functions of the hit/miss model, stable far out in both tails.

POD = F(eta), eta = intercept + slope * x. For each link this module gives log POD,
log(1 - POD) and their first and second derivatives in eta, which is all that a likelihood
of hits and misses needs.

Sources: McCullagh and Nelder, Generalized Linear Models, 2nd edition 1989, section 4.3.1
(logit, probit, complementary log-log and log-log; from memory, checked in `tests/published`
against fits made in R). The log-log link here is POD = exp(-exp(-eta)), which rises with eta.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

Array: TypeAlias = npt.NDArray[np.float64]
Flags: TypeAlias = npt.NDArray[np.bool_]
Indices: TypeAlias = npt.NDArray[np.intp]
LinkName: TypeAlias = Literal["logit", "probit", "cloglog", "loglog"]

LINK_NAMES: tuple[LinkName, ...] = ("logit", "probit", "cloglog", "loglog")

ETA_LIMIT = 1e6  # beyond it every POD is 0 or 1 in double precision
EXPONENT_LIMIT = 300.0  # exp() of more is cut, so that sums stay finite
SMALL = 1e-3  # below it a series replaces a difference of near-equal numbers


@dataclass(frozen=True, slots=True)
class Terms:
    """Log POD and log(1 - POD) at each eta, with derivatives in eta; all of the shape of eta.

    Attributes
    ----------
    log_hit, log_miss : log POD and log(1 - POD).
    hit_slope, miss_slope : first derivatives.
    hit_bend, miss_bend : second derivatives, never positive: all four links are log-concave.
    """

    log_hit: Array
    log_miss: Array
    hit_slope: Array
    miss_slope: Array
    hit_bend: Array
    miss_bend: Array

    def expected_weight(self) -> Array:
        """Return the expected information per trial in eta: (dPOD/deta)^2 / (POD (1 - POD))."""
        return -self.hit_slope * self.miss_slope


def _logit_terms(eta: Array) -> Terms:
    small = np.exp(-np.abs(eta))
    less = 1.0 / (1.0 + small)
    more, log = small * less, np.log1p(small)
    up = eta >= 0.0
    pod, rest = np.where(up, less, more), np.where(up, more, less)
    bend = -less * more
    return Terms(np.minimum(eta, 0.0) - log, -np.maximum(eta, 0.0) - log, rest, -pod, bend, bend)


def _inverse_mills(eta: Array) -> Array:
    """Return normal density over distribution, phi/Phi, without underflow."""
    return np.asarray(np.sqrt(2.0 / np.pi) / special.erfcx(-eta / np.sqrt(2.0)))


def _probit_terms(eta: Array) -> Terms:
    below, above = _inverse_mills(eta), _inverse_mills(-eta)
    hit_bend = np.minimum(-below * (eta + below), 0.0)
    miss_bend = np.minimum(-above * (above - eta), 0.0)
    return Terms(special.log_ndtr(eta), special.log_ndtr(-eta), below, -above, hit_bend, miss_bend)


def _cloglog_terms(eta: Array) -> Terms:
    t = np.exp(np.minimum(eta, EXPONENT_LIMIT))
    small = t < SMALL
    safe = np.where(small, 1.0, np.minimum(t, EXPONENT_LIMIT))
    # log(1 - exp(-t)) in the form that keeps its digits on either side of t = 1
    split = np.where(
        safe < 1.0, np.log(-np.expm1(-safe)), np.log1p(-np.exp(-np.maximum(safe, 1.0)))
    )
    log_hit = np.where(small, eta - t / 2.0 + t * t / 24.0, split)
    ratio = np.where(
        small,
        1.0 - t / 2.0 + t * t / 12.0,
        np.where(t > EXPONENT_LIMIT, 0.0, safe / np.expm1(safe)),
    )
    # d ratio / d eta = ratio (1 - t - ratio); for small t the bracket is -t/2 - t^2/12 + ...
    bracket = np.where(small, -t / 2.0 - t * t / 12.0, 1.0 - t - ratio)
    return Terms(log_hit, -t, ratio, -t, ratio * bracket, -t)


def _loglog_terms(eta: Array) -> Terms:
    mirror = _cloglog_terms(-eta)
    return Terms(
        mirror.log_miss,
        mirror.log_hit,
        -mirror.miss_slope,
        -mirror.hit_slope,
        mirror.miss_bend,
        mirror.hit_bend,
    )


_TERMS: dict[LinkName, Callable[[Array], Terms]] = {
    "logit": _logit_terms,
    "probit": _probit_terms,
    "cloglog": _cloglog_terms,
    "loglog": _loglog_terms,
}


def link_named(name: str) -> LinkName:
    """Return the link of this name.

    Raises
    ------
    ValueError : when there is no such link.
    """
    if name not in LINK_NAMES:
        message = f"link {name!r} is not known; use one of {', '.join(LINK_NAMES)}"
        raise ValueError(message)
    return name


def terms(link: LinkName, eta: Array) -> Terms:
    """Log-likelihood terms of a hit and of a miss at each `eta`, any shape."""
    return _TERMS[link](np.clip(eta, -ETA_LIMIT, ETA_LIMIT))


def log_likelihood(link: LinkName, eta: Array, hits: Array, misses: Array) -> Array:
    """Sum over the last axis of hits * log POD + misses * log(1 - POD)."""
    at = terms(link, eta)
    return np.asarray((hits * at.log_hit + misses * at.log_miss).sum(axis=-1))


def pod_of(link: LinkName, eta: Array) -> Array:
    """POD at each `eta`, any shape: the inverse link."""
    with np.errstate(under="ignore"):
        return np.exp(terms(link, np.asarray(eta, dtype=float)).log_hit)


def eta_of(link: LinkName, pod: Array | float) -> Array:
    """Link value of each `pod`, any shape, strictly between 0 and 1.

    Raises
    ------
    ValueError : when a pod lies outside 0..1 or on its ends.
    """
    p = np.asarray(pod, dtype=float)
    if not np.all((p > 0.0) & (p < 1.0)):
        message = "a POD must lie between 0 and 1, ends excluded"
        raise ValueError(message)
    if link == "logit":
        return np.asarray(np.log(p) - np.log1p(-p))
    if link == "probit":
        return np.asarray(special.ndtri(p))
    if link == "cloglog":
        return np.asarray(np.log(-np.log1p(-p)))
    return np.asarray(-np.log(-np.log(p)))

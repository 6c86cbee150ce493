"""The signal-response line at its maximum, and held so that POD has a given value at a size.

Responses scatter about a line: y = mu(t) + sigma(t) e, e standard normal, mu straight in t and
sigma constant or, with a growth k, sigma(t) = sigma exp(k t). POD at t is Phi(eta(t)), where
eta = mu(t) / sigma(t), as y is measured from the decision threshold. Everything here is
standardised as in `qualify.pod.responses`.

Sources: Berens 1989, ASM Handbook 17, 689-701 (the model); Olsen 1978 (see
`qualify.pod.response_kernels`). From memory; checked in `tests/published` against R.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from qualify.pod.links import Array
from qualify.pod.response_fits import Line, line
from qualify.pod.response_kernels import climb_at, started, sums
from qualify.pod.responses import Responses

FINE, HELD_FINE = 1e-22, 1e-20
REACH = 30.0  # standard deviations beyond the sizes to which a curve with a growing spread is told


@dataclass(frozen=True, slots=True)
class ResponseCurve:
    """A line through responses, in standardised units.

    Attributes
    ----------
    data : what it was fitted to.
    theta, slope, level : 1 / sigma at t = 0, and slope and height at t = 0 of the mean over sigma.
    growth : k of sigma(t) = sigma exp(k t); 0 where sigma is constant.
    growing : whether k was estimated.
    height : log-likelihood in units of y.
    covariance : (3, 3) of theta, slope, level, inverse OBSERVED information, the growth held.
    """

    data: Responses
    theta: float
    slope: float
    level: float
    growth: float
    growing: bool
    height: float
    covariance: Array

    @property
    def line(self) -> Line:
        """The line as the compiled fits take it."""
        return self.theta, self.slope, self.level, self.growth, self.height

    @property
    def log_likelihood(self) -> float:
        """Log-likelihood on the caller's axis of response (of log response on the log axis)."""
        return self.height - float(self.data.exact.sum()) * math.log(self.data.unit)

    def eta(self, t: Array) -> Array:
        """Probit of POD at t (k,)."""
        scale = np.exp(np.clip(-self.growth * t, -700.0, 700.0))
        return np.asarray((self.level + self.slope * t) * scale)

    def psi(self, eta: float) -> float:
        """Largest t at which the probit of POD rises through `eta`; nan where it does not."""
        if self.growth == 0.0:
            return (eta - self.level) / self.slope if self.slope > 0.0 else math.nan
        return _last_crossing(self, eta)


def _last_crossing(curve: ResponseCurve, eta: float) -> float:
    places = np.linspace(-REACH, REACH, 6001)
    above = curve.eta(places) - eta
    rises = np.flatnonzero((above[:-1] < 0.0) & (above[1:] >= 0.0))
    if rises.size == 0:
        return math.nan

    def short(t: float) -> float:
        return float(curve.eta(np.array([t]))[0]) - eta

    k = rises[-1]
    return float(optimize.brentq(short, places[k], places[k + 1], xtol=1e-13))


def weights(t: Array, growth: float) -> Array:
    """1 over the relative standard deviation (k,) at t (k,)."""
    return np.exp(-growth * t) if growth else np.ones_like(t)


def fit_curve(data: Responses, *, growing: bool = False) -> ResponseCurve:
    """Return the line of highest likelihood, the spread constant or growing with size."""
    w = np.ones_like(data.t)
    start = (*started(data.y, data.t, w, 0.0), 0.0, 0.0)
    best = line(data.y, data.t, data.code, False, False, 0.0, 0.0, start, FINE)
    if growing:
        best = line(data.y, data.t, data.code, True, False, 0.0, 0.0, best, 1e-14)
    theta, slope, level, growth, height = best
    s, here, w = np.empty(8), np.empty(9), weights(data.t, growth)
    sums(data.y, data.t, w, data.code, s)
    climb_at(theta, slope, level, data.y, data.t, w, data.code, s, here)
    information = np.array([[here[3], here[4], here[5]],
                            [here[4], here[6], here[7]],
                            [here[5], here[7], here[8]]])  # fmt: skip
    covariance = np.linalg.pinv(information, hermitian=True)
    return ResponseCurve(data, theta, slope, level, growth, growing, height, covariance)


def held(curve: ResponseCurve, psi: float, eta: float) -> Line:
    """Line of highest likelihood whose probit of POD is `eta` at psi; no slope if psi is infinite.

    Theta, slope and level at t = 0, growth and log-likelihood.
    """
    data = curve.data
    fine = 1e-13 if curve.growing else HELD_FINE
    return line(data.y, data.t, data.code, curve.growing, True, psi, eta, curve.line, fine)


def signed_root(curve: ResponseCurve, psi: float, eta: float) -> float:
    """Signed root r of the likelihood ratio that the probit of POD is `eta` at `psi`."""
    root = math.sqrt(max(0.0, 2.0 * (curve.height - held(curve, psi, eta)[4])))
    if math.isinf(psi):
        return math.copysign(root, curve.slope * psi)
    return root if float(curve.eta(np.array([psi]))[0]) >= eta else -root

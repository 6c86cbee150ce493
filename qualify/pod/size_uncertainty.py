"""What the uncertainty of the sizes does to a POD curve.

A target's size is a measured value w with standard uncertainty u: given w, the true size spreads
about w by u (the meaning of a standard uncertainty in JCGM 100). Where sizes were measured with
error (classical) that holds as long as the sizes of the trial are spread far wider than u, so that
no size is likelier beforehand; where targets were made to nominal sizes (Berkson) it holds as it
stands. A fit to w as if exact sees detection blurred: its curve is too flat, and its a90 too
large. Here POD of a target is the integral of F(intercept + slope x) over x about w, and the curve
is that of the true size (integrated likelihood).

Source: Carroll, Ruppert, Stefanski and Crainiceanu 2006, Measurement Error in Nonlinear Models,
chapters 1 and 8 (from memory); the probit curve has a closed form, and simulation extrapolation
(Cook and Stefanski 1994) is compared in the tests. 'It matters from u = 0.1 / slope on' is our own
rule: there the blur is a tenth of the curve's own width.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

from qualify.pod.design import outward_root
from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.pod.links import Array, LinkName, eta_of, link_named, terms
from qualify.pod.observations import checked_scale, size_of
from qualify.pod.problem import NO_TREND, TOO_FAR, normal_quantile

NODES = 31
SECANT_STEPS = 25
SHARE = 0.1  # of 1 / slope
STEP = 8.0  # slope times mean uncertainty from which on the curve is as good as a step
LEAST_GRADIENT = 1e-4
TOO_ROUGH = 0.5  # of the size; more on the log scale is no small uncertainty

AS_A_STEP = (
    "these misses and hits may all come from the uncertainty of the sizes: the curve may be a "
    "step, and no slope is estimated"
)
NO_CURVE = "no rising curve could be fitted to the sizes as told"


@dataclass(frozen=True, slots=True)
class SizeUncertainty:
    """A curve with sizes as exact, and with their uncertainty integrated over.

    Attributes
    ----------
    largest : largest standard uncertainty on the axis of the model: relative on the log scale.
    limit : 0.1 / slope of the curve with sizes as exact; None without one.
    matters : whether `largest` exceeds it; None without a limit.
    a50, a90, a90_95 : with sizes as exact; the bound is the likelihood one.
    a50_integrated, a90_integrated, a90_95_integrated : with their uncertainty; None with `reason`.
    change_a90, change_a90_95 : integrated over exact, less 1; None without both.
    slope, slope_integrated : of eta on the axis of the model.
    reason : why integrated figures are missing, else None.
    confidence : of the bounds.
    """

    largest: float
    limit: float | None
    matters: bool | None
    a50: float | None
    a90: float | None
    a90_95: float | None
    a50_integrated: float | None
    a90_integrated: float | None
    a90_95_integrated: float | None
    change_a90: float | None
    change_a90_95: float | None
    slope: float | None
    slope_integrated: float | None
    reason: str | None
    confidence: float

    @property
    def sentence(self) -> str:
        """What it comes to, in plain words."""
        if self.limit is None:
            return f"What the uncertainty of sizes does can't be told: {self.reason}."
        over = "more" if self.matters else "less"
        head = (
            f"The largest uncertainty of a size is {self.largest:.2g} on the axis of the curve, "
            f"{over} than {self.limit:.2g} (a tenth of 1 / slope; our own rule, no source): it "
            f"{'matters' if self.matters else 'does little'}."
        )
        if self.a90_integrated is None or self.change_a90 is None:
            return f"{head} With it integrated over there is no a90: {self.reason}."
        return (
            f"{head} Integrated over, a90 is {self.a90_integrated:.3g} "
            f"({100 * self.change_a90:+.1f} %)."
        )


@dataclass(frozen=True, slots=True)
class _Blurred:
    """Hits at uncertain sizes: places (targets, nodes) on the standardised axis."""

    places: Array
    weights: Array
    hits: Array
    misses: Array
    link: LinkName

    def height(self, start: float, slope: float, away: Array) -> tuple[float, float, float]:
        """Log-likelihood of eta = start + slope away, with derivatives in start and slope."""
        at = terms(self.link, start + slope * away)
        hit, miss = np.exp(at.log_hit), np.exp(at.log_miss)
        pod, rest = hit @ self.weights, miss @ self.weights
        density = hit * at.hit_slope * self.weights
        safe, safe_rest = np.maximum(pod, 1e-300), np.maximum(rest, 1e-300)
        value = float((self.hits * np.log(safe) + self.misses * np.log(safe_rest)).sum())
        pull = self.hits / safe - self.misses / safe_rest
        along = float((pull * (density * away).sum(axis=1)).sum())
        return value, float((pull * density.sum(axis=1)).sum()), along

    def best(self, start: Array) -> tuple[Array, float, bool]:
        """Climb in intercept and slope: values (2,), height, and whether a maximum was found."""

        def down(b: Array) -> tuple[float, Array]:
            value, one, two = self.height(b[0], b[1], self.places)
            return -value, np.array([-one, -two])

        found = optimize.minimize(down, start, jac=True, method="BFGS", options={"gtol": 1e-8})
        values = np.asarray(found.x, dtype=float)
        settled = bool(np.abs(np.asarray(found.jac)).max() < LEAST_GRADIENT)
        return values, -float(found.fun), settled

    def held(self, psi: float, level: float, slope: float) -> tuple[float, float]:
        """Highest log-likelihood with eta = level at psi, and the slope there, from a start."""
        reach = max(1.0, abs(psi))
        away = self.places / reach - psi / reach

        def down(b: Array) -> tuple[float, Array]:
            value, _, along = self.height(level, b[0], away)
            return -value, np.array([-along])

        quick = self._secant(level, away, slope * reach)
        if quick is not None:
            return quick[0], quick[1] / reach
        begin = np.array([slope * reach])
        found = optimize.minimize(down, begin, jac=True, method="BFGS", options={"gtol": 1e-8})
        return -float(found.fun), float(np.asarray(found.x)[0]) / reach

    def _secant(self, level: float, away: Array, slope: float) -> tuple[float, float] | None:
        """Height and slope where the score vanishes near a start; None where it is not found."""
        before, here = slope, 1.001 * slope
        _, _, pull = self.height(level, before, away)
        for _ in range(SECANT_STEPS):
            height, _, new = self.height(level, here, away)
            if abs(here - before) <= 1e-9 * abs(here):
                return height, here
            bend = (new - pull) / (here - before)
            if not bend < 0.0:
                return None
            before, pull, here = here, new, here - new / bend
        return None


def size_uncertainty(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    uncertainty: npt.ArrayLike,
    *,
    link: str = "logit",
    scale: str = "log",
    confidence: float = 0.95,
) -> SizeUncertainty:
    """Fit a curve with sizes as exact, and with their uncertainty integrated over.

    Parameters
    ----------
    size, hits : (targets,), as in `fit_hit_miss`.
    uncertainty : (targets,), standard uncertainties in the unit of the sizes, 0 or more.

    Raises
    ------
    ValueError : as `fit_hit_miss`; for uncertainties that are missing, negative or, on the log
        scale, half the size or more.
    """
    link, axis = link_named(link), checked_scale(scale)
    exact = fit_hit_miss(
        size, hits, link=link, scale=axis, confidence=confidence, bound="likelihood"
    )
    w, spread = _on_axis(np.asarray(size, dtype=float), uncertainty, axis)
    if exact.outcome != "fitted" or exact.slope is None or exact.intercept is None:
        return _without(exact, float(spread.max()), NO_CURVE)
    centre, unit = float(w.mean()), float(w.std())
    t, blur = (w - centre) / unit, spread / unit
    nodes, weights = np.polynomial.hermite_e.hermegauss(NODES)
    found = np.asarray(hits, dtype=float)
    data = _Blurred(
        t[:, None] + blur[:, None] * nodes, weights / weights.sum(), found, 1.0 - found, link
    )
    begin = np.array([exact.intercept + exact.slope * centre, exact.slope * unit])
    values, top, settled = data.best(begin)
    slope = float(values[1])
    if not settled or slope * float(blur.mean()) > STEP:
        return _without(exact, float(spread.max()), AS_A_STEP)
    if slope <= 0.0:
        return _without(exact, float(spread.max()), NO_TREND)

    def size_at(psi: float | None) -> float | None:
        return None if psi is None else size_of(centre + unit * psi, axis)

    psi50, psi90 = ((float(eta_of(link, p)) - float(values[0])) / slope for p in (0.5, 0.9))
    psi95, reason = _bound(data, top, psi90, slope, confidence)
    bound = size_at(psi95)
    figures = (size_at(psi50), size_at(psi90), bound)
    reason = TOO_FAR if reason is None and bound is None else reason
    return _result(exact, float(spread.max()), figures, slope / unit, reason)


def _on_axis(size: Array, uncertainty: npt.ArrayLike, axis: str) -> tuple[Array, Array]:
    """Sizes and standard uncertainties (targets,) on the axis of the model."""
    u = np.asarray(uncertainty, dtype=float)
    if u.shape != size.shape or not np.all(np.isfinite(u)) or np.any(u < 0.0):
        message = "each size needs a standard uncertainty of 0 or more"
        raise ValueError(message)
    if axis == "linear":
        return size, u
    if np.any(u >= TOO_ROUGH * size):
        message = "an uncertainty is half its size or more: too large for a curve in log size"
        raise ValueError(message)
    return np.log(size), u / size


def _bound(
    data: _Blurred, top: float, psi90: float, slope: float, confidence: float
) -> tuple[float | None, str | None]:
    """Upper likelihood bound on where POD is 0.90, standardised, or why there is none."""
    z = normal_quantile(confidence)
    hits, n = data.hits.sum(), len(data.hits)
    flat = float(hits * np.log(hits / n) + (n - hits) * np.log1p(-hits / n))
    if 2.0 * (top - flat) <= z**2:
        return None, NO_TREND
    level, near = float(eta_of(data.link, 0.9)), slope

    def short(psi: float) -> float:
        nonlocal near
        height, near = data.held(psi, level, near)
        return float(np.sqrt(max(0.0, 2.0 * (top - height)))) - z

    root = outward_root(short, psi90, 0.25)
    return root, None if root is not None else TOO_FAR


def _without(exact: HitMissFit, largest: float, reason: str) -> SizeUncertainty:
    return _result(exact, largest, (None, None, None), None, reason)


def _result(
    exact: HitMissFit,
    largest: float,
    figures: tuple[float | None, float | None, float | None],
    slope: float | None,
    reason: str | None,
) -> SizeUncertainty:
    fitted = exact.outcome == "fitted" and exact.slope is not None
    limit = SHARE / exact.slope if fitted and exact.slope is not None else None
    a50, a90, bound = figures
    return SizeUncertainty(
        largest=largest,
        limit=limit,
        matters=None if limit is None else largest > limit,
        a50=exact.a50,
        a90=exact.a90,
        a90_95=exact.bounds["likelihood"]["upper"].value if fitted else None,
        a50_integrated=a50,
        a90_integrated=a90,
        a90_95_integrated=bound,
        change_a90=_change(a90, exact.a90),
        change_a90_95=_change(bound, exact.bounds["likelihood"]["upper"].value),
        slope=exact.slope,
        slope_integrated=slope,
        reason=reason,
        confidence=exact.confidence,
    )


def _change(new: float | None, old: float | None) -> float | None:
    return None if new is None or old is None or old == 0.0 else new / old - 1.0

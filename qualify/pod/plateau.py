"""POD curves that start at a floor and end at a plateau below 1.

POD = floor + (plateau - floor) F(intercept + slope * x). A plateau at or below 0.90 means that no
size has POD 0.90, however large: the question is asked before a90 is believed.

Blanks, where given, estimate the floor together with the targets: binomial, with the floor as
the probability of a call on a blank unit. That assumes that a chance hit on a target is as
likely as a call on a blank unit of the kind given; where a hit must fall in a box about the
target, give boxes laid on blank units.

The tests of both limits stand in `qualify.pod.plateau_edges`, their bootstrap in
`qualify.pod.plateau_bootstrap`.
"""

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array, LinkName, link_named, pod_of
from qualify.pod.mixture import Counts
from qualify.pod.mixture_fits import Best, best, two_parameter
from qualify.pod.observations import Observations, Scale, observe
from qualify.pod.outcome import Outcome, overlap
from qualify.pod.plateau_bounds import (
    Climate,
    Limit,
    a90_of,
    plateau_lower,
    size_upper,
)
from qualify.pod.plateau_edges import LEAST_GAIN, EdgeTest, floor_test, plateau_test
from qualify.pod.problem import normal_quantile

PlateauOutcome: TypeAlias = Outcome | Literal["step"]

NO_CURVE: dict[str, str] = {
    "separated": "hits and misses do not overlap: no curve and no plateau can be told from them",
    "quasi_separated": "hits and misses meet at one size only: no plateau can be told from them",
    "decreasing": "POD does not rise with size in these data",
    "all_hit": "every target was hit: no curve can be fitted",
    "all_missed": "every target was missed: no curve can be fitted",
    "too_few": "too few trials or too few distinct sizes for a curve",
    "step": (
        "a step from floor to plateau fits best: the slope can't be estimated, and a90 may lie "
        "anywhere between two neighbouring sizes"
    ),
}


@dataclass(frozen=True, slots=True)
class PlateauFit:
    """POD = floor + (plateau - floor) F(intercept + slope * x), x = log size or size.

    Attributes
    ----------
    outcome : `fitted`; `step` (limits exist, slope and sizes do not); else as in `HitMissFit`.
    reason : why there is no curve, else None.
    link, scale, confidence : as asked for; confidence of each one-sided bound.
    floor_held : the floor, where it was held (0 for `none`), else None.
    n, hits : trials and hits on targets.
    blank_units, blank_called : blanks in the joint likelihood; 0 without.
    floor, plateau, intercept, slope : estimates, None where they do not exist.
    log_likelihood : of targets and blanks; binomial constants of the targets only when `trials`
        was given, of the blanks never.
    n_parameters, aic : free parameters, and 2 * n_parameters - 2 * log_likelihood.
    two_parameter_log_likelihood, lr_two_parameter : of the curve from 0 to 1, and twice the
        gain over it; None where called blanks exclude a floor of 0 or the floor is held above 0.
    plateau_test, floor_test : tests of 'plateau = 1' and 'floor = 0'.
    plateau_lower_95 : one-sided lower profile-likelihood bound on the plateau.
    a90, a90_95 : size with POD 0.90 and its one-sided upper profile-likelihood bound, each a
        value or a reason.
    sizes, hits_at, trials_at : at each distinct size.
    """

    outcome: PlateauOutcome
    reason: str | None
    link: LinkName
    scale: Scale
    confidence: float
    floor_held: float | None
    n: int
    hits: int
    blank_units: int
    blank_called: int
    floor: float | None
    plateau: float | None
    intercept: float | None
    slope: float | None
    log_likelihood: float | None
    n_parameters: int
    aic: float | None
    two_parameter_log_likelihood: float | None
    lr_two_parameter: float | None
    plateau_test: EdgeTest
    floor_test: EdgeTest
    plateau_lower_95: Limit
    a90: Limit
    a90_95: Limit
    sizes: tuple[float, ...] = field(repr=False)
    hits_at: tuple[int, ...] = field(repr=False)
    trials_at: tuple[int, ...] = field(repr=False)


def climate_of(seen: Observations, blank_units: int, blank_called: int, link: LinkName) -> Climate:
    """Give the counts in centred and scaled sizes, with what leads back to sizes."""
    x, total = seen.x, seen.trials.sum()
    centre = float((seen.trials * x).sum() / total)
    spread = float(np.sqrt((seen.trials * (x - centre) ** 2).sum() / total)) or 1.0
    counts = Counts(
        (x - centre) / spread,
        seen.hits[None],
        (seen.trials - seen.hits)[None],
        np.array([float(blank_called)]),
        np.array([float(blank_units - blank_called)]),
    )
    return Climate(counts, link, seen.scale, centre, spread)


def _checked_floor(
    floor: str | float, units: int | None, called: int | None
) -> tuple[float | None, int, int]:
    """Floor held (None when free), blank units and those called."""
    if isinstance(floor, str):
        if floor not in ("free", "none"):
            message = f"floor {floor!r} is not known; use free, none or a fraction below 0.9"
            raise ValueError(message)
        held = None if floor == "free" else 0.0
    else:
        held = float(floor)
        if not 0.0 <= held < 0.9:
            message = f"floor {held} must lie from 0 to below 0.9"
            raise ValueError(message)
    if (units is None) != (called is None):
        message = "blank_units and blank_called belong together: give both or neither"
        raise ValueError(message)
    if units is None or called is None:
        return held, 0, 0
    if held is not None:
        message = "a floor that is held takes no blanks; use floor='free' to estimate it from them"
        raise ValueError(message)
    if not 0 <= called <= units:
        message = f"{called} called of {units} blank units is no count"
        raise ValueError(message)
    return held, int(units), int(called)


def _settled(lie: Outcome | None, found: Best, flat: float) -> PlateauOutcome:
    """Outcome by the data, then by what the best smooth curve gains."""
    if lie is not None:
        return lie
    if found.values[0, 3] <= 1e-8 or found.smooth[0] - flat <= LEAST_GAIN:
        return "decreasing"
    return "step" if found.steep[0] >= found.smooth[0] - LEAST_GAIN else "fitted"


def fit_plateau(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike | None = None,
    *,
    link: str = "logit",
    scale: str = "log",
    floor: str | float = "free",
    blank_units: int | None = None,
    blank_called: int | None = None,
    confidence: float = 0.95,
) -> PlateauFit:
    """Fit a curve with a plateau and, unless held, a floor, or say why there is none.

    Parameters
    ----------
    size, hits, trials, link, scale, confidence : as in `fit_hit_miss`.
    floor : `free`, `none` (0), or a fraction below 0.9 at which it is held.
    blank_units, blank_called : blank grading units and those of them called, or neither; they
        join the likelihood of a free floor.

    Raises
    ------
    ValueError : as `fit_hit_miss`; also for a floor out of range, blanks that contradict each
        other, and blanks beside a floor that is held.
    """
    chosen = link_named(link)
    held, units, called = _checked_floor(floor, blank_units, blank_called)
    normal_quantile(confidence)  # refuses a confidence out of range
    seen = observe(size, hits, trials, scale)
    climate = climate_of(seen, units, called, chosen)
    curve = two_parameter(climate.counts, chosen)
    found = best(climate.counts, chosen, held, None, curve)
    outcome = _settled(overlap(seen).outcome, found, climate.flat_height(held))
    return _assemble(seen, climate, curve, found, outcome, held, confidence)


def _assemble(
    seen: Observations,
    climate: Climate,
    curve: Best,
    found: Best,
    outcome: PlateauOutcome,
    held: float | None,
    confidence: float,
) -> PlateauFit:
    told, fitted = outcome in ("fitted", "step"), outcome == "fitted"
    reason = NO_CURVE.get(outcome)
    if outcome == "step":
        limits = np.array([[*climate.step_limits(held), *found.values[0, 2:]]])
        found = Best(limits, found.smooth, found.steep)
    a, top, b0, b1 = (float(v) for v in found.values[0])
    height = float(found.height[0])
    called, quiet = int(climate.counts.called[0]), int(climate.counts.quiet[0])
    parameters = 3 if held is not None else 4
    plain = called == 0 and not held
    two = float(curve.height[0]) if plain and told else None
    total = height + seen.constant
    none = Limit(None, reason)
    return PlateauFit(
        outcome=outcome,
        reason=reason,
        link=climate.link,
        scale=seen.scale,
        confidence=confidence,
        floor_held=held,
        n=seen.total,
        hits=seen.total_hits,
        blank_units=called + quiet,
        blank_called=called,
        floor=a if told else None,
        plateau=top if told else None,
        intercept=b0 - b1 * climate.centre / climate.spread if fitted else None,
        slope=b1 / climate.spread if fitted else None,
        log_likelihood=total if told else None,
        n_parameters=parameters,
        aic=2.0 * parameters - 2.0 * total if told else None,
        two_parameter_log_likelihood=None if two is None else two + seen.constant,
        lr_two_parameter=None if two is None else max(0.0, 2.0 * (height - two)),
        plateau_test=plateau_test(climate, found, curve, held, None if told else reason),
        floor_test=floor_test(climate, found, curve, held, None if told else reason),
        plateau_lower_95=plateau_lower(climate, found, held, confidence) if told else none,
        a90=a90_of(climate, found, held, confidence) if fitted else none,
        a90_95=size_upper(climate, found, held, confidence) if fitted else none,
        sizes=tuple(seen.size.tolist()),
        hits_at=tuple(int(h) for h in seen.hits),
        trials_at=tuple(int(t) for t in seen.trials),
    )


def plateau_pod(fit: PlateauFit, sizes: npt.ArrayLike) -> Array:
    """POD (k,) of a fitted curve at sizes (k,), in the unit of the fit.

    Raises
    ------
    ValueError : when there is no curve, or for sizes that are not finite or not above 0 (0 is
        allowed on the linear scale).
    """
    values = (fit.floor, fit.plateau, fit.intercept, fit.slope)
    if any(v is None for v in values):
        message = f"there is no curve with a plateau: the outcome is {fit.outcome}"
        raise ValueError(message)
    floor, top, b0, b1 = (np.float64(v) for v in values if v is not None)
    a = np.atleast_1d(np.asarray(sizes, dtype=float))
    if not np.all(np.isfinite(a)) or np.any(a < 0.0) or (fit.scale == "log" and np.any(a == 0.0)):
        message = "sizes must be finite and above 0 (0 is allowed on the linear scale)"
        raise ValueError(message)
    x = np.log(a) if fit.scale == "log" else a
    return np.asarray(floor + (top - floor) * pod_of(fit.link, b0 + b1 * x))

"""The eight models of the hit/miss curve side by side: four links, log size and size.

The primary model is fixed in the plan before the truth is opened, and is never chosen here. The
table shows what that choice is worth: models whose AIC lies within 2 of the best describe these
data about equally well, and the spread of a90 and a90/95 among them is an uncertainty of the
model, which the confidence of a bound does not include.

Source: Burnham and Anderson 2002, Model Selection and Multimodel Inference, section 2.6, for
'within 2' (from memory). 10 % between the scales is our own rule, no source.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.hit_miss import HitMissFit, fit_hit_miss
from qualify.pod.links import LINK_NAMES, LinkName, link_named
from qualify.pod.observations import Scale

SCALES: tuple[Scale, ...] = ("log", "linear")
NEAR_EQUAL = 2.0  # AIC units
SCALE_LIMIT = 0.10  # of a90/95 between the scales
ZERO_SIZE = "a size is 0, which has no logarithm"
NO_FIT = "no curve could be fitted"
FIXED = (
    "The primary model is fixed in the plan; it is never chosen from this table, which only shows "
    "what the choice is worth."
)


@dataclass(frozen=True, slots=True)
class ModelRow:
    """One of the eight models.

    Attributes
    ----------
    link, scale : of the model.
    primary : whether the plan names it.
    outcome : of the fit, as in `HitMissFit`; None when the scale has no place for the sizes.
    log_likelihood, aic, deviance : of the fit, or None.
    aic_above_best : AIC less that of the best rising curve, or None.
    near_equal : whether that is at most 2.
    a50, a90 : sizes, or None.
    a90_95 : one-sided upper likelihood bound on a90, or None.
    reason : why there is no such bound, else None.
    """

    link: LinkName
    scale: Scale
    primary: bool
    outcome: str | None
    log_likelihood: float | None
    aic: float | None
    deviance: float | None
    aic_above_best: float | None
    near_equal: bool
    a50: float | None
    a90: float | None
    a90_95: float | None
    reason: str | None

    @property
    def name(self) -> str:
        """Link and scale, in words."""
        return f"{self.link} in {'log size' if self.scale == 'log' else 'size'}"


@dataclass(frozen=True, slots=True)
class Spread:
    """Range of a size over the near-equal models.

    Attributes
    ----------
    smallest, largest, ratio : over the models that have one; `largest` and `ratio` are None when
        a near-equal model has none, as then there is no largest.
    models, without : near-equal models, and those of them without this size.
    """

    smallest: float | None
    largest: float | None
    ratio: float | None
    models: int
    without: int


@dataclass(frozen=True, slots=True)
class ModelChoice:
    """The eight models and what follows from them.

    Attributes
    ----------
    rows : eight, primary first, then by link and scale.
    confidence : of each one-sided bound.
    a90, a90_95 : spread over the near-equal models.
    scale_difference : larger over smaller a90/95 of the primary link on the two scales, less 1;
        None where one of them does not exist.
    sentences : plain words for the dossier.
    """

    rows: tuple[ModelRow, ...]
    confidence: float
    a90: Spread
    a90_95: Spread
    scale_difference: float | None
    sentences: tuple[str, ...]


def _scale_named(scale: str) -> Scale:
    for known in SCALES:
        if scale == known:
            return known
    message = f"scale {scale!r} is not known; use log or linear"
    raise ValueError(message)


def _fits(
    size: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike | None, confidence: float
) -> dict[tuple[LinkName, Scale], HitMissFit | None]:
    """Eight fits; None where a size of 0 has no place on the log scale."""
    zero = bool(np.any(np.asarray(size, dtype=float) == 0.0))
    return {
        (link, scale): None
        if zero and scale == "log"
        else fit_hit_miss(
            size, hits, trials, link=link, scale=scale, confidence=confidence, bound="likelihood"
        )
        for link in LINK_NAMES
        for scale in SCALES
    }


def _row(
    model: tuple[LinkName, Scale],
    fit: HitMissFit | None,
    primary: tuple[LinkName, Scale],
    best: float | None,
) -> ModelRow:
    link, scale = model
    if fit is None:
        blank = (None,) * 5
        return ModelRow(link, scale, model == primary, *blank, False, *blank[:3], ZERO_SIZE)
    above = None if fit.aic is None or best is None else fit.aic - best
    upper = fit.bounds["likelihood"]["upper"]
    return ModelRow(
        link=link,
        scale=scale,
        primary=model == primary,
        outcome=fit.outcome,
        log_likelihood=fit.log_likelihood,
        aic=fit.aic,
        deviance=fit.deviance,
        aic_above_best=above,
        near_equal=fit.outcome == "fitted" and above is not None and above <= NEAR_EQUAL,
        a50=fit.a50,
        a90=fit.a90,
        a90_95=upper.value,
        reason=upper.reason,
    )


def _spread(values: list[float | None]) -> Spread:
    there = [v for v in values if v is not None]
    without = len(values) - len(there)
    if not there:
        return Spread(None, None, None, len(values), without)
    low, high = min(there), max(there)
    if without:
        return Spread(low, None, None, len(values), without)
    return Spread(low, high, high / low if low > 0.0 else None, len(values), 0)


def _scale_difference(rows: tuple[ModelRow, ...], link: LinkName) -> float | None:
    pair = [row.a90_95 for row in rows if row.link == link]
    there = [v for v in pair if v is not None and v > 0.0]
    return max(there) / min(there) - 1.0 if len(there) == 2 else None


def model_table(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike | None = None,
    *,
    primary_link: str,
    primary_scale: str,
    confidence: float = 0.95,
) -> ModelChoice:
    """Fit all eight models and compare them; the primary is the plan's.

    Parameters
    ----------
    size, hits, trials, confidence : as in `fit_hit_miss`.
    primary_link, primary_scale : of the model fixed in the plan.

    Raises
    ------
    ValueError : as `fit_hit_miss`, and for an unknown link or scale.
    """
    primary = link_named(primary_link), _scale_named(primary_scale)
    fits = _fits(size, hits, trials, confidence)
    rising = [f.aic for f in fits.values() if f and f.outcome == "fitted" and f.aic is not None]
    best = min(rising, default=None)
    rows = tuple(
        sorted(
            (_row(m, f, primary, best) for m, f in fits.items()), key=lambda row: not row.primary
        )
    )
    near = [row for row in rows if row.near_equal]
    a90, bound = _spread([r.a90 for r in near]), _spread([r.a90_95 for r in near])
    difference = _scale_difference(rows, primary[0])
    sentences = _sentences(rows, a90, bound, difference, confidence)
    return ModelChoice(rows, confidence, a90, bound, difference, sentences)


def _spread_words(name: str, spread: Spread) -> str:
    if spread.smallest is None:
        return f"{name} does not exist."
    if spread.largest is None:
        return (
            f"{name} is {spread.smallest:.4g} or more, and does not exist in {spread.without} of "
            "them, so that it has no largest value."
        )
    if spread.models == 1:
        return f"{name} is {spread.smallest:.4g}."
    words = f"{name} runs from {spread.smallest:.4g} to {spread.largest:.4g}"
    return words + (f", a ratio of {spread.ratio:.3g}." if spread.ratio is not None else ".")


def _near_words(rows: tuple[ModelRow, ...], near: int) -> str:
    if near == 1:
        (only,) = (row.name for row in rows if row.near_equal)
        return f"Only one of 8 models, {only}, lies within 2 AIC units of the best. In it"
    return (
        f"{near} of 8 models lie within 2 AIC units of the best and describe these data about "
        "equally well. Among them"
    )


def _sentences(
    rows: tuple[ModelRow, ...],
    a90: Spread,
    bound: Spread,
    difference: float | None,
    confidence: float,
) -> tuple[str, ...]:
    primary = rows[0]
    if not any(row.near_equal for row in rows):
        return (f"Primary model: {primary.name}. {FIXED}", f"In none of the models: {NO_FIT}.")
    said = [
        f"Primary model: {primary.name}. {FIXED}",
        f"{_near_words(rows, bound.models)} {_spread_words('a90', a90)} "
        f"{_spread_words('Its upper likelihood bound', bound)} This is model uncertainty: the "
        f"{100 * confidence:g} % confidence of a bound does not include it.",
    ]
    if primary.aic_above_best is None or primary.outcome != "fitted":
        said.append(f"The primary model has no rising curve: {primary.reason}.")
    elif not primary.near_equal:
        best = min(
            (row for row in rows if row.near_equal), key=lambda row: row.aic_above_best or 0.0
        )
        said.append(
            f"The primary model is itself not near-equal: its AIC lies {primary.aic_above_best:.1f}"
            f" above that of the best, {best.name}. Its numbers stand, as the plan names it, but "
            "these data speak against it."
        )
    return (*said, *_scale_words(rows, difference))


def _scale_words(rows: tuple[ModelRow, ...], difference: float | None) -> tuple[str, ...]:
    primary = rows[0]
    if difference is None:
        lacking = [row.name for row in rows if row.link == primary.link and row.a90_95 is None]
        which = " nor with ".join(lacking)
        said = f"Log and linear size can't be compared: no bound on a90 with {which}."
        return (said,) if lacking else ()
    if difference <= SCALE_LIMIT:
        return ()
    pair = {row.scale: row.a90_95 or 0.0 for row in rows if row.link == primary.link}
    apart = f"{100 * difference:.0f} %" if difference < 1.0 else f"a factor of {1 + difference:.3g}"
    return (
        f"Log and linear size disagree: with the {primary.link} link the upper bound on a90 is "
        f"{pair['log']:.4g} in log size and {pair['linear']:.4g} in size, {apart} "
        "apart (more than 10 %, our own rule, no source).",
    )

"""Nested models of hits on size and one covariate, and the tests between them."""

from collections import Counter
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.links import Array, LinkName
from qualify.pod.regression import (
    Problem,
    RegressionFit,
    Solution,
    in_design,
    maximum,
    problem_of,
    separation_of,
)

Value: TypeAlias = float | str
Matrix: TypeAlias = tuple[tuple[float, ...], ...]

FEWEST_IN_CATEGORY = 5  # our own choice, as for the fewest trials of a curve

ONE_VALUE = "the covariate has one value only in these data, so its effect can't be seen"
SEPARATED = (
    "{columns} separate hits from misses, but for readings on the border at most, so that no "
    "finite estimate exists"
)
ALL_ALIKE = "all readings are hits, or all are misses: no curve can be fitted"


@dataclass(frozen=True, slots=True)
class Coding:
    """How a covariate enters the model.

    Attributes
    ----------
    categories : labels in rising order, the first being the reference; empty for numbers.
    lowest, highest : numbers tested; None for categories.
    """

    categories: tuple[str, ...]
    lowest: float | None
    highest: float | None

    @property
    def numeric(self) -> bool:
        """Whether the covariate is a number."""
        return self.lowest is not None

    def row_of(self, value: Value) -> Array:
        """Columns (m,) of one value of the covariate.

        Raises
        ------
        ValueError : for a category that was not tested, or a number outside those tested.
        """
        if self.lowest is None or self.highest is None:
            label = str(value)
            if label not in self.categories:
                message = f"{label!r} was not tested; tested are {', '.join(self.categories)}"
                raise ValueError(message)
            return np.array([float(label == other) for other in self.categories[1:]])
        number = float(value)
        if not self.lowest <= number <= self.highest:
            message = (
                f"{number:g} lies outside the values tested, {self.lowest:g} to {self.highest:g}: "
                "nothing supports a curve there"
            )
            raise ValueError(message)
        return np.array([number])


@dataclass(frozen=True, slots=True)
class Covariate:
    """The covariate of every reading: its coding, its values, and its columns (rows, m)."""

    coding: Coding
    values: tuple[Value, ...]
    columns: Array
    reason: str | None  # why the covariate can't be in a model, or None


@dataclass(frozen=True, slots=True)
class ModelFit:
    """One model, or the reason why it has no finite fit.

    Attributes
    ----------
    terms : name of each coefficient; the first category of a covariate is the reference.
    coefficients, covariance : in the order of `terms`; covariance from the EXPECTED information.
    log_likelihood : without binomial constants.
    aic : 2 * number of coefficients - 2 * log_likelihood.
    reason : in words when there is no fit; then all else but `terms` is None.
    """

    terms: tuple[str, ...]
    coefficients: tuple[float, ...] | None
    covariance: Matrix | None
    log_likelihood: float | None
    aic: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class LikelihoodRatio:
    """Test of a step between nested models, or the reason why there is none.

    Attributes
    ----------
    statistic : twice the log-likelihood gained.
    degrees : coefficients added.
    p_value : upper tail of chi-squared.
    """

    statistic: float | None
    degrees: int
    p_value: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class Fitted:
    """A model with what further profiles need; both None where there is no fit."""

    model: ModelFit
    problem: Problem | None
    best: Solution | None


@dataclass(frozen=True, slots=True)
class Nested:
    """The nested models; `without_size` holds the covariate alone."""

    size: Fitted
    main: Fitted
    interaction: Fitted
    without_size: Fitted


def as_numbers(values: npt.ArrayLike) -> Covariate:
    """Take a covariate as a number, as depth or tilt.

    Raises
    ------
    ValueError : for values that are missing or no numbers.
    """
    try:
        numbers = np.atleast_1d(np.asarray(values, dtype=float))
    except (TypeError, ValueError) as fault:
        message = "a value of the covariate is no number; treat it as categories instead"
        raise ValueError(message) from fault
    if numbers.ndim != 1 or not np.all(np.isfinite(numbers)):
        message = "a value of the covariate is missing or not a finite number"
        raise ValueError(message)
    low, high = float(numbers.min(initial=np.inf)), float(numbers.max(initial=-np.inf))
    reason = ONE_VALUE if low >= high else None
    return Covariate(Coding((), low, high), tuple(numbers.tolist()), numbers[:, None], reason)


def as_categories(values: npt.ArrayLike) -> Covariate:
    """Take a covariate as categories, as mode or surface.

    Raises
    ------
    ValueError : for missing labels.
    """
    labels = [
        "" if _missing(v) else str(v)
        for v in np.atleast_1d(np.asarray(values, dtype=object)).tolist()
    ]
    if "" in labels:
        message = "a value of the covariate is missing"
        raise ValueError(message)
    counts = Counter(labels)
    categories = tuple(sorted(counts))
    columns = np.array([[float(v == c) for c in categories[1:]] for v in labels])
    return Covariate(
        Coding(categories, None, None),
        tuple(labels),
        columns.reshape(len(labels), len(categories) - 1),
        _why_not(counts),
    )


def _missing(label: object) -> bool:
    """Whether a cell is empty: None, not a number, or a marker that compares to nothing."""
    try:
        return label is None or bool(label != label)
    except TypeError:
        return True


def _why_not(counts: Counter[str]) -> str | None:
    if len(counts) < 2:
        return ONE_VALUE
    label, least = min(sorted(counts.items()), key=lambda item: item[1])
    if least >= FEWEST_IN_CATEGORY:
        return None
    return f"category {label} has {least} readings; at least {FEWEST_IN_CATEGORY} are needed"


def _fit(
    columns: list[tuple[str, Array]], hits: Array, link: LinkName, overlap_known: bool
) -> Fitted:
    """Fit one model, or say why not; a part of a model that overlaps overlaps itself."""
    names = tuple(name for name, _ in columns)
    try:
        problem = problem_of(np.column_stack([c for _, c in columns]), hits, 1, link)
        if not overlap_known and separation_of(problem) != "overlap":
            apart = SEPARATED.format(columns=" and ".join(names[1:]))
            return without_fit(names, ALL_ALIKE if hits.min() == hits.max() else apart)
        best = maximum(problem)
        fit = in_design(problem, best)
    except (ValueError, ArithmeticError) as fault:
        return without_fit(names, str(fault))
    if not fit.converged:
        return without_fit(names, "the fit did not converge, although hits and misses overlap")
    return Fitted(_model(names, fit), problem, best)


def without_fit(names: tuple[str, ...], reason: str) -> Fitted:
    """Return a model that has no fit, with the reason."""
    return Fitted(ModelFit(names, None, None, None, None, reason), None, None)


def _model(names: tuple[str, ...], fit: RegressionFit) -> ModelFit:
    return ModelFit(
        terms=names,
        coefficients=tuple(fit.coef.tolist()),
        covariance=tuple(tuple(row) for row in fit.covariance_expected.tolist()),
        log_likelihood=fit.log_likelihood,
        aic=2.0 * len(names) - 2.0 * fit.log_likelihood,
        reason=None,
    )


def fit_nested(x: Array, hits: Array, covariate: Covariate, link: LinkName, name: str) -> Nested:
    """Fit all nested models; x, hits (rows,)."""
    coding = covariate.coding
    labels = [name] if coding.numeric else [f"{name}={c}" for c in coding.categories[1:]]
    constant, size = ("intercept", np.ones_like(x)), ("size", x)
    effects = list(zip(labels, covariate.columns.T, strict=True))
    products = [(f"size x {label}", x * column) for label, column in effects]
    if covariate.reason is not None:
        names = ["intercept", "size", *labels]
        main = without_fit(tuple(names), covariate.reason)
        more = (*names, *(label for label, _ in products))
        alone = without_fit(("intercept", *labels), covariate.reason)
        plain = _fit([constant, size], hits, link, False)
        return Nested(plain, main, without_fit(more, covariate.reason), alone)
    largest = _fit([constant, size, *effects, *products], hits, link, False)
    main = _fit([constant, size, *effects], hits, link, largest.best is not None)
    known = main.best is not None
    return Nested(
        _fit([constant, size], hits, link, known),
        main,
        largest,
        _fit([constant, *effects], hits, link, known),
    )


def ratio_of(smaller: Fitted, larger: Fitted) -> LikelihoodRatio:
    """Test the step from the smaller model to the larger."""
    degrees = len(larger.model.terms) - len(smaller.model.terms)
    if smaller.best is None or larger.best is None:
        return LikelihoodRatio(None, degrees, None, larger.model.reason or smaller.model.reason)
    gain = max(0.0, 2.0 * (larger.best.log_likelihood - smaller.best.log_likelihood))
    return LikelihoodRatio(gain, degrees, float(special.chdtrc(degrees, gain)), None)

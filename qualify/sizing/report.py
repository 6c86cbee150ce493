"""All that is told of the sizing error of one set of targets, in one call."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.sizing import notices as remarks
from qualify.sizing.agreement import LimitsOfAgreement, limits_of_agreement
from qualify.sizing.error import SizingError, sizing_error
from qualify.sizing.extremes import extremes
from qualify.sizing.metrology import MethodScatter, method_scatter
from qualify.sizing.normality import Normality, normality
from qualify.sizing.notices import Notice
from qualify.sizing.order_tolerance import OrderTolerance, order_tolerance
from qualify.sizing.spread import SpreadTrend, spread_trend
from qualify.sizing.trend import ErrorTrend, error_trend
from qualify.sizing.unsized import UnsizedCase, unsized_cases
from qualify.sizing.york import Line, no_line, york_line

Array = npt.NDArray[np.float64]
NO_TRUE_U = "no uncertainty of the true sizes was given"


@dataclass(frozen=True, slots=True)
class SizingReport:
    """Sizing error of one reader, mode and kind; error = reported - true.

    Attributes
    ----------
    error : bias, SD, RMSE, tolerance interval and bounds.
    missed : targets that were not found; `error.unsized` were found and not sized.
    trend, spread, normality : proportional bias; scatter against size; law of the errors.
    agreement, order : limits of agreement; tolerance limits without a law.
    line : reported against true size with the uncertainty of both.
    method : scatter of the method alone, None where uncertainties of true sizes are not given.
    method_reason : why `method` is None or holds no SD, else None.
    undersized, oversized : rows of the worst cases, worst first.
    cases : the error with missed and unsized targets counted in.
    notices : remarks that belong beside the numbers.
    """

    error: SizingError
    missed: int
    trend: ErrorTrend
    spread: SpreadTrend
    normality: Normality
    agreement: LimitsOfAgreement
    order: OrderTolerance
    line: Line
    method: MethodScatter | None
    method_reason: str | None
    undersized: tuple[int, ...]
    oversized: tuple[int, ...]
    cases: tuple[UnsizedCase, ...]
    notices: tuple[Notice, ...]


def sizing_report(
    true: npt.ArrayLike,
    reported: npt.ArrayLike,
    *,
    true_u: npt.ArrayLike | None = None,
    reported_u: npt.ArrayLike | None = None,
    missed: Sequence[float] = (),
    unsized: Sequence[float] = (),
    smallest: float | None = None,
    confidence: float = 0.95,
    unit: str = "mm",
) -> SizingReport:
    """Analyse the sizing error of found and sized targets.

    Parameters
    ----------
    true, reported : (n,) sizes above 0.
    true_u, reported_u : (n,) standard uncertainties, NaN where none is stated; where one is
        missing the column is taken as not given.
    missed, unsized : true sizes of targets not found, and found without a size.
    smallest : smallest size that is reported at all, if there is one.
    confidence : of all intervals and bounds, as a fraction.
    unit : for the remarks.

    Raises
    ------
    ValueError : as `sizing_error`, `york_line` and `unsized_cases`.
    """
    found = sizing_error(true, reported, confidence=confidence, unsized=len(unsized))
    a = np.asarray(true, dtype=float)
    error = np.asarray(reported, dtype=float) - a
    ux, reason = _given(true_u, a.size)
    uy, _ = _given(reported_u, a.size)
    line = no_line(found.n, reason or NO_TRUE_U)
    method = None
    if ux is not None:
        line = york_line(a, a + error, ux, uy, confidence=confidence)
        method = method_scatter(found.sd, found.sd_ci, ux)
    trend, spread = error_trend(a, error, confidence=confidence), spread_trend(a, error)
    law = normality(error)
    under, over = extremes(error)
    told = (
        remarks.few(found),
        remarks.no_scatter(found),
        remarks.without_size(found, len(missed)),
        remarks.regression_to_mean(line, trend, a, unit),
        remarks.uneven_spread(spread),
        remarks.not_normal(law),
        remarks.metrology(method),
        remarks.stated_uncertainty(line),
    )
    return SizingReport(
        error=found,
        missed=len(missed),
        trend=trend,
        spread=spread,
        normality=law,
        agreement=limits_of_agreement(found.n, found.bias, found.sd, confidence=confidence),
        order=order_tolerance(error, confidence=confidence),
        line=line,
        method=method,
        method_reason=(reason or NO_TRUE_U) if method is None else method.reason,
        undersized=under,
        oversized=over,
        cases=unsized_cases(
            a, a + error, missed, unsized, smallest=smallest, confidence=confidence
        ),
        notices=tuple(notice for notice in told if notice is not None),
    )


def _given(values: npt.ArrayLike | None, n: int) -> tuple[Array | None, str | None]:
    """Return uncertainties where every target has one, else the reason why not."""
    if values is None:
        return None, None
    u = np.asarray(values, dtype=float)
    absent = int(np.isnan(u).sum())
    if not n or absent == n:
        return None, None
    if absent:
        return None, f"{absent} of {n} true sizes have no stated uncertainty"
    return u, None

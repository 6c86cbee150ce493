"""Remarks that belong beside a sizing error: what the numbers do not say by themselves."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.sizing.error import SizingError
from qualify.sizing.metrology import MethodScatter
from qualify.sizing.normality import Normality
from qualify.sizing.spread import SpreadTrend
from qualify.sizing.trend import ErrorTrend
from qualify.sizing.york import Line

LEVEL = 0.05
FEWEST = 10  # common practice, no source
Ends3 = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Notice:
    """A remark: a stable code for scripts, and one or two plain sentences."""

    code: str
    text: str


def few(error: SizingError) -> Notice | None:
    """Remark on a small number of sized targets."""
    if not 0 < error.n < FEWEST:
        return None
    words = f"{error.n} sized targets are few; common practice, no source, asks for {FEWEST}."
    return Notice("few_sized", words)


def without_size(error: SizingError, missed: int) -> Notice | None:
    """Remark on targets that have no size, and on the choice that detection makes."""
    parts = [f"{missed} missed"] if missed else []
    what = "found but not sized" if missed else "without a size"
    parts += [f"{error.unsized} {what}"] if error.unsized else []
    if not parts:
        return None
    words = (
        f"{' and '.join(parts)}: these targets are in no error here, and they are rarely the easy "
        "ones. Near the limit of detection a small target is found when its signal happens to be "
        "large, and is then sized too large."
    )
    return Notice("without_size", words)


def regression_to_mean(
    line: Line, trend: ErrorTrend, true: npt.NDArray[np.float64], unit: str
) -> Notice | None:
    """Remark on an error that changes with size, where the data show it; true sizes (n,)."""
    if line.slope is not None and line.intercept is not None and line.slope_ci is not None:
        slope, start, ends, one = line.slope - 1.0, line.intercept, line.slope_ci, 1.0
        of = f"slope of reported on true size {line.slope:.3g}"
    elif trend.slope is not None and trend.intercept is not None and trend.slope_ci is not None:
        slope, start, ends, one = trend.slope, trend.intercept, trend.slope_ci, 0.0
        of = f"slope of the error {trend.slope:+.3g} {unit} by {unit}"
    else:
        return None
    if ends[0] <= one <= ends[1]:
        return None
    of += f", interval {ends[0]:.3g} to {ends[1]:.3g}"
    half = 0.5 * (ends[1] - ends[0])  # of the slope; errors of mean and slope are independent
    (small, *of_small), (large, *of_large) = (
        _on_line(start, slope, half, size, true) for size in (float(true.min()), float(true.max()))
    )
    if slope < 0.0:
        code = "regression_to_mean"
        words = (
            "Small ones come out too large and large ones too small"
            if of_small[0] > 0.0 > of_large[1]
            else "Large ones come out smaller, by comparison, than small ones"
        )
        if one == 0.0:
            of += "; uncertainty of true sizes, which is not given, can do a part of it"
    else:
        code, words = "grows_with_size", "The error grows with size"
    words += (
        f" ({of}): on the line {small:+.3g} {unit} ({of_small[0]:+.3g} to {of_small[1]:+.3g}) at "
        f"the smallest, {large:+.3g} {unit} ({of_large[0]:+.3g} to {of_large[1]:+.3g}) at the "
        "largest. The bias, a mean over all sizes, holds at neither end."
    )
    return Notice(code, words)


def _on_line(
    start: float, slope: float, half: float, size: float, true: npt.NDArray[np.float64]
) -> Ends3:
    """Error on the line at a size, with the ends of its interval.

    `half` is that of the interval of the slope. In least squares the variance of the line at a
    size is that of the slope times (squares / n + squared distance from the mean).
    """
    far = size - float(true.mean())
    reach = half * float(np.sqrt(true.var() + far * far))
    at = start + slope * size
    return at, at - reach, at + reach


def uneven_spread(spread: SpreadTrend) -> Notice | None:
    """Remark on a scatter that changes with size, where the test shows it."""
    if spread.p is None or spread.p > LEVEL:
        return None
    ratio = "" if spread.ratio is None else (
        f": SD at the largest size about {spread.ratio:.2g} times that at the smallest"
    )  # fmt: skip
    words = (
        f"The scatter changes with size (p {spread.p:.2g}){ratio}. One SD, one RMSE and one "
        "tolerance interval for all sizes are then too wide at one end and too narrow at the other."
    )
    return Notice("uneven_spread", words)


def not_normal(found: Normality) -> Notice | None:
    """Remark on errors that are not normally distributed, where the test shows it."""
    if found.p is None or found.p > LEVEL:
        return None
    words = (
        f"Errors are not normally distributed (p {found.p:.2g}). The tolerance interval, the "
        "undersizing bound and bounds of the RMSE rest on that; limits from the ordered errors do "
        "not."
    )
    return Notice("not_normal", words)


def metrology(method: MethodScatter | None) -> Notice | None:
    """Remark on a scatter that is not larger than that of the true sizes."""
    if method is None or method.true_u is None or method.reason is None:
        return None
    return Notice("method_sd_negative", f"No SD of the method: {method.reason}.")


def stated_uncertainty(line: Line) -> Notice | None:
    """Remark on stated uncertainties that do not go with the scatter about the line."""
    if line.chi2_p is None or line.reduced_chi2 is None:
        return None
    if line.chi2_p < LEVEL / 2.0:
        words = (
            f"Sizes scatter about their line more than their stated uncertainties say (reduced "
            f"chi-square {line.reduced_chi2:.2g}, p {line.chi2_p:.2g}): these are too small, or "
            "the line is not straight. The interval of the slope is widened for it."
        )
        return Notice("uncertainty_too_small", words)
    if line.chi2_p > 1.0 - LEVEL / 2.0:
        words = (
            "Sizes scatter about their line less than their stated uncertainties say (reduced "
            f"chi-square {line.reduced_chi2:.2g}, p {line.chi2_p:.2g}): these are too large."
        )
        return Notice("uncertainty_too_large", words)
    return None


def no_scatter(error: SizingError) -> Notice | None:
    """Remark on errors that are all the same."""
    if error.sd is None or error.sd > 1e-12 * abs(error.bias or 1.0):
        return None
    words = "All errors are the same: intervals without width claim nothing for other targets."
    return Notice("no_scatter", words)

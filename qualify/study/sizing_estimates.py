"""Estimates of the sizing error of one kind, mode and reader."""

from qualify.criteria.estimate import Side
from qualify.sizing import rmse
from qualify.sizing.error import SizingError
from qualify.sizing.report import SizingReport
from qualify.study.sizing_result import SizingResult
from qualify.study.where import Where

Figure = tuple[str, float | None, Side]
NOT_COMPUTED = "not computed for these data"
T95, CHI2 = "Student's t, two-sided 95 %", "chi-square, two-sided 95 %"
TOLERANCE = "normal tolerance interval 95/95, two-sided"
ORDERED = "ordered errors, no law (Wilks)"
AGREEMENT = "bias -+ 1.96 SD; its interval exact for normal errors, two-sided 95 %"
SPREAD = "score test (Breusch and Pagan 1979), SD as a power of size"
METHOD_SD = "SD less uncertainty of true sizes, two-sided 95 % by chi-square"


def sizing_estimates(where: Where, found: SizingResult) -> None:
    """Add every estimate of the sizing error; its unit is mm where none is told."""
    report, error = found.report, found.report.error
    where.add("sized", error.n, "count")
    where.add("unsized", error.unsized, "count")
    where.add("missed_not_sized", report.missed + found.not_examined, "count")
    where.add("sizing_missed", report.missed, "count")
    where.add("sizing_not_examined", found.not_examined, "count")
    _errors(where, error)
    _limits(where, report)
    _trends(where, report)
    _line(where, report)
    for case in report.cases:
        name = f"sizing_{case.case}"
        where.add(f"{name}_targets", case.counted_in, "count")
        for what, value in (("bias", case.bias), ("rmse", case.rmse),
                            ("bound", case.undersizing_bound)):  # fmt: skip
            where.add(f"{name}_{what}", value, "mm", method="not an estimate: an extreme count",
                      reason=error.reason or NOT_COMPUTED)  # fmt: skip
    for part in found.tilts:
        name = f"sizing_tilt_{part.tilt_deg}"
        where.add(f"{name}_sized", part.error.n, "count")
        where.add(f"{name}_missed", part.missed, "count")
        for what, value in (("bias", part.error.bias), ("sd", part.error.sd),
                            ("rmse", part.error.rmse)):  # fmt: skip
            where.add(f"{name}_{what}", value, "mm", method="targets about this tilt, degrees",
                      reason=part.error.reason or NOT_COMPUTED)  # fmt: skip


def _add(
    where: Where, method: str, figures: tuple[Figure, ...], reason: str | None, unit: str = "mm"
) -> None:
    for name, value, side in figures:
        where.add(name, value, unit, method=method, side=side, reason=reason or NOT_COMPUTED)


def _errors(where: Where, error: SizingError) -> None:
    why = error.reason
    _add(where, "mean of reported - true", (("sizing_bias", error.bias, "none"),), why)
    _add(where, T95, _ends("sizing_bias", error.bias_ci), why)
    _add(where, "standard deviation, n - 1", (("sizing_sd", error.sd, "none"),), why)
    _add(where, CHI2, _ends("sizing_sd", error.sd_ci), why)
    _add(where, "root mean square error about zero", (("sizing_rmse", error.rmse, "none"),), why)
    _add(where, f"{rmse.METHOD}, two-sided 95 %", _ends("sizing_rmse", error.rmse_ci), why)
    one_sided: tuple[Figure, ...] = (
        ("sizing_rmse_upper", error.rmse_upper, "upper"),
        ("sizing_rmse_lower", error.rmse_lower, "lower"),
    )
    _add(where, f"{rmse.METHOD}, one-sided 95 %", one_sided, why)
    bound: tuple[Figure, ...] = (("undersizing_bound", error.undersizing_bound, "lower"),)
    _add(where, "95/95, normal", bound, why)
    amounts: tuple[Figure, ...] = (
        ("undersizing_95_95", _amount(error.undersizing_bound), "upper"),
        ("undersizing_95_95_lower", _amount(error.undersizing_counter), "lower"),
    )
    _add(where, "undersizing that 95 % of errors stay within, one-sided 95 %, normal", amounts, why)
    worst: tuple[Figure, ...] = (
        ("largest_undersizing", _amount(error.largest_undersizing), "none"),
    )
    _add(where, "largest amount by which a found target was undersized", worst, why)
    over = error.largest_oversizing
    most: tuple[Figure, ...] = (
        ("largest_oversizing", None if over is None else max(0.0, over), "none"),
    )
    _add(where, "largest amount by which a found target was oversized", most, why)


def _limits(where: Where, report: SizingReport) -> None:
    error, agreement, order = report.error, report.agreement, report.order
    _add(where, TOLERANCE, _ends("sizing_tolerance", error.tolerance), error.reason)
    lower: tuple[Figure, ...] = (("sizing_order_lower", order.lower, "lower"),)
    _add(where, f"{ORDERED}, one-sided 95/95", lower, order.lower_reason)
    both = _ends("sizing_order", order.interval)
    _add(where, f"{ORDERED}, two-sided 95/95", both, order.interval_reason)
    why = agreement.reason
    _add(where, AGREEMENT, _ends("sizing_agreement", agreement.limits, "none"), why)
    _add(where, AGREEMENT, _ends("sizing_agreement_low", agreement.low_ci), why)
    _add(where, AGREEMENT, _ends("sizing_agreement_high", agreement.high_ci), why)


def _trends(where: Where, report: SizingReport) -> None:
    trend, spread, law = report.trend, report.spread, report.normality
    slope: tuple[Figure, ...] = (("sizing_trend", trend.slope, "none"),)
    method = "slope of the error on true size, least squares"
    _add(where, method, slope, trend.reason, "1")
    _add(where, T95, _ends("sizing_trend", trend.slope_ci), trend.reason, "1")
    p: tuple[Figure, ...] = (("sizing_trend_p", trend.p, "none"),)
    _add(where, "Student's t, two-sided", p, trend.reason, "1")
    spreads: tuple[Figure, ...] = (
        ("sizing_spread_ratio", spread.ratio, "none"),
        ("sizing_spread_p", spread.p, "none"),
    )
    _add(where, SPREAD, spreads, spread.reason, "1")
    seen: tuple[Figure, ...] = (("sizing_spread_seen", spread.seen_ratio, "none"),)
    none = spread.reason or "not even a ratio of 20 would be noticed in 80 % of trials"
    _add(where, "ratio of SD noticed in 80 % of simulated trials", seen, none, "1")
    normal: tuple[Figure, ...] = (("sizing_normality_p", law.p, "none"),)
    _add(where, "Shapiro and Wilk 1965", normal, law.reason, "1")


def _line(where: Where, report: SizingReport) -> None:
    line, method = report.line, report.method
    how = "line with uncertainty in both sizes (York and others 2004)"
    if line.scatter is not None:
        how += ", scatter of reported sizes from the data"
    slopes: tuple[Figure, ...] = (
        ("sizing_line_slope", line.slope, "none"),
        ("sizing_line_slope_se", line.slope_se, "none"),
        *_ends("sizing_line_slope", line.slope_ci),
    )
    _add(where, how, slopes, line.reason, "1")
    starts: tuple[Figure, ...] = (
        ("sizing_line_intercept", line.intercept, "none"),
        ("sizing_line_intercept_se", line.intercept_se, "none"),
    )
    _add(where, how, starts, line.reason)
    plain: tuple[Figure, ...] = (
        ("sizing_plain_slope", line.plain_slope, "none"),
        ("sizing_attenuation", line.attenuation, "none"),
    )
    _add(where, "least squares, which uncertain true sizes flatten", plain, line.reason, "1")
    own: tuple[Figure, ...] = (
        ("sizing_true_u", None if method is None else method.true_u, "none"),
        ("sizing_method_sd", None if method is None else method.sd, "none"),
        *_ends("sizing_method_sd", None if method is None else method.sd_ci),
    )
    _add(where, METHOD_SD, own, report.method_reason)


def _ends(
    name: str, interval: tuple[float, float] | None, side: Side = "two-sided"
) -> tuple[Figure, ...]:
    low, high = (None, None) if interval is None else interval
    return ((f"{name}_low", low, side), (f"{name}_high", high, side))


def _amount(error: float | None) -> float | None:
    """Return a negative error as the amount of undersizing, 0 where it is none."""
    return None if error is None else max(0.0, -error)

"""Responses and noise of a study as the plain values that their figures take."""

import numpy as np

from qualify.dossier.lookup import value
from qualify.figures.check_panels import CheckPanel
from qualify.figures.noise_panel import NoisePanel
from qualify.figures.response_panel import ResponsePanel
from qualify.figures.trade_panel import TradeLine, TradePanel
from qualify.pod.noise import false_call_probability
from qualify.pod.response_all_bounds import NO_LINE
from qualify.pod.response_checks import trend
from qualify.pod.response_rate import at_threshold
from qualify.pod.response_tail import TAIL, residuals_of
from qualify.pod.responses import off_axis
from qualify.pod.signal_response import ResponseFit
from qualify.pod.threshold import rate_at
from qualify.reading.tables import BLANK
from qualify.study.plan import Population
from qualify.study.response_analysis import (
    RATES,
    NoiseResult,
    ResponseResult,
    draws_of,
    pod_at_rate,
)
from qualify.study.response_back import error_back
from qualify.study.result import StudyResult

POINTS, NINE_IN_TEN = 61, 1.645
UNITS = {"db": "dB", "linear": "", "coherence": ""}
LABELS = {"db": "response", "linear": "response (amplitude)", "coherence": "coherence"}

Floats = tuple[float, ...]


def _floats(values: np.ndarray) -> Floats:
    return tuple(float(v) for v in values)


def response_panels(
    result: StudyResult, population: Population, mode: str
) -> tuple[ResponsePanel, ...]:
    """Return a panel a reader: responses against size, and the line."""
    out = []
    for reader in result.readers:
        line = result.responses.get((result.headline, population.kind, mode, reader))
        if line is not None and line.fit is not None:
            out.append(_panel(result, population, mode, reader, line, line.fit))
    return tuple(out)


def _panel(
    result: StudyResult,
    population: Population,
    mode: str,
    reader: str,
    line: ResponseResult,
    fit: ResponseFit,
) -> ResponsePanel:
    data, unit = fit.data, line.how.unit
    limit = data.response_of(np.where(np.isfinite(data.y), data.y, 0.0))
    left, right = (data.code < 0) & ~data.missed, data.code > 0
    sizes, middle, low, high = _line(fit)
    floors, ceilings = data.low[np.isfinite(data.low)], data.high[np.isfinite(data.high)]
    return ResponsePanel(
        title=f"Mode {mode}, reader {reader}",
        size_label=population.size_in_words,
        size_unit="mm",
        response_label=LABELS[unit],
        response_unit=UNITS[unit],
        exact_sizes=_floats(data.size[data.exact]),
        exact_responses=_floats(data.response[data.exact]),
        left_sizes=_floats(data.size[left]),
        left_limits=_floats(limit[left]),
        right_sizes=_floats(data.size[right]),
        right_limits=_floats(limit[right]),
        missed_sizes=_floats(data.size[data.missed]),
        missed_limits=_floats(limit[data.missed]),
        line_sizes=sizes,
        line_responses=middle,
        band_low=low,
        band_high=high,
        threshold=fit.threshold,
        floor=float(data.response_of(floors.max())) if floors.size else None,
        ceiling=float(data.response_of(ceilings.min())) if ceilings.size else None,
        a90=value(result, "response_a90", population.kind, mode, reader),
        a90_95=value(result, "response_a90_95", population.kind, mode, reader),
        tested_range=fit.tested_range,
        message=None if fit.outcome == "fitted" else f"No line: {NO_LINE[fit.outcome]}.",
        log_size=data.scale == "log",
        log_response=data.axis == "log",
    )


def _line(fit: ResponseFit) -> tuple[Floats, Floats, Floats, Floats]:
    """Sizes, mean line, and the line less and plus 1.645 standard deviations."""
    curve = fit.curve
    if curve is None or fit.outcome != "fitted":
        return (), (), (), ()
    t = np.linspace(float(fit.data.t.min()), float(fit.data.t.max()), POINTS)
    x = fit.data.centre + fit.data.spread * t
    mean = (curve.level + curve.slope * t) / curve.theta
    reach = NINE_IN_TEN * np.exp(curve.growth * t) / curve.theta
    levels = (mean, mean - reach, mean + reach)
    sizes = np.exp(x) if fit.data.scale == "log" else x
    middle, low, high = (_floats(fit.data.response_of(level)) for level in levels)
    return _floats(sizes), middle, low, high


def check_panels(result: StudyResult, population: Population, mode: str) -> tuple[CheckPanel, ...]:
    """Return a row of panels a reader: residuals, normal plot, influence."""
    out = []
    for reader in result.readers:
        line = result.responses.get((result.headline, population.kind, mode, reader))
        if line is None or line.fit is None or line.checks is None:
            continue
        out.append(_checks(population, reader, line, line.fit))
    return tuple(out)


def _checks(
    population: Population, reader: str, line: ResponseResult, fit: ResponseFit
) -> CheckPanel:
    checks, data = line.checks, fit.data
    assert checks is not None
    assert fit.curve is not None
    z = residuals_of(fit.curve)
    left, right = data.code < 0, data.code > 0
    smooth = trend(fit.curve)
    scatter = checks.scatter
    known = np.isfinite(scatter.low) & np.isfinite(scatter.high)
    moved = [one for one in checks.influence if one.change is not None]
    return CheckPanel(
        title=f"Mode {line.how.mode}, reader {reader}",
        size_label=population.size_in_words,
        size_unit="mm",
        exact_sizes=_floats(data.size[data.exact]),
        exact_residuals=_floats(z[data.exact]),
        left_sizes=_floats(data.size[left]),
        left_residuals=_floats(z[left]),
        right_sizes=_floats(data.size[right]),
        right_residuals=_floats(z[right]),
        trend_sizes=_floats(smooth[0]),
        trend_residuals=_floats(smooth[1]),
        quantiles=_floats(scatter.scores[known]),
        ordered_residuals=_floats(scatter.residuals[known]),
        band_low=_floats(scatter.low[known]),
        band_high=_floats(scatter.high[known]),
        deciding=tuple(bool(v) for v in scatter.scores[known] < TAIL),
        influence_sizes=tuple(one.size for one in moved),
        influence_changes=tuple(100.0 * (one.change or 0.0) for one in moved),
        influence_ids=tuple(line.names[one.target] for one in moved) if line.names else (),
        influence_label="change of a90 without it",
        influence_unit="%",
        log_size=data.scale == "log",
    )


def noise_panels(result: StudyResult, mode: str) -> tuple[NoisePanel, ...]:
    """Return a panel a reader: share of blank units above each threshold."""
    out = []
    for reader in result.readers:
        noise = result.noises.get((result.headline, BLANK, mode, reader))
        if noise is not None:
            out.append(_noise(reader, noise))
    return tuple(out)


def _noise(reader: str, noise: NoiseResult) -> NoisePanel:
    fit, axis, unit = noise.fit, noise.how.response_axis, noise.how.unit
    exact = fit.peaks[~fit.is_censored]
    floor = fit.highest_floor
    levels, law, upper = _law(noise)
    told, use = noise.declared, noise.in_use
    threshold = None if told is None or told.threshold is None else told.threshold
    error = None if told is None else error_back(told, axis)
    return NoisePanel(
        title=f"Mode {noise.how.mode}, reader {reader}",
        level_label="threshold on response" if unit != "coherence" else "threshold on coherence",
        level_unit=UNITS[unit],
        peaks=_floats(off_axis(exact, axis)),
        censored=fit.censored,
        censored_at=None if floor is None else float(off_axis(floor, axis)),
        law_levels=levels,
        law_fractions=law,
        bound_levels=levels,
        bound_fractions=upper,
        declared_rate=noise.how.declared_rate,
        threshold=None if threshold is None else float(off_axis(threshold, axis)),
        threshold_se=error,
        frozen=noise.threshold,
        frozen_fraction=None if use is None else use.rate,
        frozen_upper=None if use is None else use.upper,
        law_label=f"{fit.family} law",
        message=None if fit.outcome == "fitted" else fit.notices[0].text,
    )


def _law(noise: NoiseResult) -> tuple[Floats, Floats, Floats]:
    """Thresholds, the share of units above them by the law, and its upper bound."""
    fit = noise.fit
    if noise.draws is None or fit.family == "empirical":
        return (), (), ()
    exact = fit.peaks[~fit.is_censored]
    mu, beta, _ = fit.law
    low = max(float(exact.min()), -np.inf if fit.highest_floor is None else fit.highest_floor)
    places = np.linspace(low, max(float(exact.max()), mu + 6.0 * beta), POINTS)
    law = false_call_probability(fit, places)
    upper = [rate_at(fit, float(place), noise.draws).upper for place in places]
    kept = [k for k, bound in enumerate(upper) if bound is not None and law[k] > 0.0]
    return (
        _floats(off_axis(places[kept], noise.how.response_axis)),
        _floats(law[kept]),
        tuple(float(upper[k] or 0.0) for k in kept),
    )


def trade_panels(result: StudyResult, population: Population, mode: str) -> tuple[TradePanel, ...]:
    """Return a panel a reader: POD at the qualification size against the false-call rate."""
    out = []
    for reader in result.readers:
        line = result.responses.get((result.headline, population.kind, mode, reader))
        noise = result.noises.get((result.headline, BLANK, mode, reader))
        if line is None or noise is None or line.how.qualification_size_mm is None:
            continue
        panel = _trade(result, line, noise, reader, line.how.qualification_size_mm)
        out += [] if panel is None else [panel]
    return tuple(out)


def _trade(
    result: StudyResult, line: ResponseResult, noise: NoiseResult, reader: str, size: float
) -> TradePanel | None:
    seed = result.inputs.plan.analysis.seed
    draws = draws_of(line, seed)
    if draws is None or noise.draws is None or line.fit is None or line.fit.curve is None:
        return None
    found = [
        (rate, pod_at_rate(line.fit, draws, noise.fit, noise.draws, rate, (size,)))
        for rate in RATES
    ]
    told = [(rate, one) for rate, one in found if one is not None and one.pods]
    if not told:
        return None
    inside = [rate for rate, one in told if one.inside]
    threshold = noise.threshold
    here = at_threshold(line.fit.curve, draws, threshold, np.full(draws.sigma.size, threshold),
                        sizes=(size,))  # fmt: skip
    use = noise.in_use
    interval = None
    if use is not None and use.lower is not None and use.upper is not None and use.lower > 0.0:
        interval = (use.lower, use.upper)
    shown = use is not None and use.rate is not None and bool(here.pods)
    fits = not line.failed()  # no bound rests on a line that its own checks speak against
    return TradePanel(
        title=f"Mode {line.how.mode}, reader {reader}{'' if fits else ': the line does not fit'}",
        lines=(
            TradeLine(
                size_label=f"{size:g} mm",
                rates=tuple(rate for rate, _ in told),
                pod=tuple(one.pods[0] for _, one in told),
                bound=tuple(one.lowers[0] for _, one in told) if fits else (),
                supported=(min(inside), max(inside)) if inside else None,
                frozen_pod=here.pods[0] if shown else None,
                frozen_bound=here.lowers[0] if shown and fits else None,
            ),
        ),
        frozen_rate=use.rate if use is not None and shown else None,
        frozen_interval=interval if shown else None,
        interval_label="two-sided 90 % interval of the rate of false calls",
    )

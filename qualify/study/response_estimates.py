"""Estimates of responses and of noise, and the notices that go with them."""

from collections.abc import Mapping

from qualify.criteria.estimate import BASES, Basis, Estimate
from qualify.pod.response_holds import CASE_WORDS
from qualify.pod.response_in_noise import in_noise
from qualify.pod.response_rate import SIMULATIONS, AtThreshold
from qualify.pod.responses import off_axis
from qualify.reading.tables import BLANK
from qualify.study.analysis import BLANK_UNITS
from qualify.study.check_words import check_notices, in_noise_notice
from qualify.study.curve_checks import Cell
from qualify.study.notice import StudyNotice
from qualify.study.response_analysis import NoiseResult, ResponseResult, draws_of, pod_at_rate
from qualify.study.response_back import back, error_back
from qualify.study.told import told_bound
from qualify.study.where import Where

NO_RATE = "no rate was declared"
LINE = "straight line, normal scatter, maximum likelihood"


def response_estimates(
    lines: Mapping[Cell, ResponseResult], noises: Mapping[Cell, NoiseResult], seed: int
) -> tuple[list[Estimate], list[StudyNotice]]:
    """Return estimates and notices of all lines and all noise."""
    out: list[Estimate] = []
    notices: list[StudyNotice] = []
    rates: dict[tuple[int, int], AtThreshold | str] = {}
    for (on, kind, mode, reader), line in lines.items():
        basis = _basis(on)
        about = f"{basis}/{kind}/{mode}/{reader}"
        _line(Where(out, basis, kind, mode, reader, 0 if line.fit is None else line.fit.rows),
              line)  # fmt: skip
        noise = noises.get((basis, BLANK, mode, reader))
        if noise is not None:
            pair = (id(line), id(noise))  # the same data on another basis are one object
            if pair not in rates:
                rates[pair] = _found_at_rate(line, noise, seed)
            _at_rate(Where(out, basis, kind, mode, reader, 0), rates[pair], seed)
        notices += _notices(line, about)
        if noise is not None and line.fit is not None and line.fit.outcome == "fitted":
            peaks = off_axis(noise.fit.peaks, line.how.response_axis)
            found = in_noise_notice(line.fit, in_noise(line.fit, peaks), "mm")
            if found is not None:
                notices.append(StudyNotice(f"response_{found['code']}", found["text"], about))
    for (on, _, mode, reader), noise in noises.items():
        basis = _basis(on)
        _noise(Where(out, basis, BLANK_UNITS, mode, reader, noise.fit.n), noise)
        about = f"{basis}/{BLANK_UNITS}/{mode}/{reader}"
        notices += [StudyNotice(f"noise_{n.code}", n.text, about) for n in noise.fit.notices]
    return out, notices


def _basis(name: str) -> Basis:
    return next(basis for basis in BASES if basis == name)


def _notices(line: ResponseResult, about: str) -> list[StudyNotice]:
    if line.fit is None:
        words = f"No line of responses: {line.reason}."
        return [StudyNotice("no_responses", words, about)]
    told = [StudyNotice(f"response_{n.code}", n.text, about) for n in line.fit.notices]
    if line.checks is not None and line.beside is not None:
        told += [
            StudyNotice(f"response_{n['code']}", n["text"], about)
            for n in check_notices(line.fit, line.checks, line.beside, "mm")
        ]
    return told


def _line(where: Where, line: ResponseResult) -> None:
    fit, reason = line.fit, line.reason
    where.add("response_not_examined", line.not_examined, "count")
    if fit is None:
        where.add("response_a90", None, "mm", method=LINE, reason=reason)
        where.add("response_a90_95", None, "mm", method=LINE, side="upper", reason=reason)
        return
    low, high = fit.tested_range

    def inside(value: float | None) -> bool | None:
        return None if value is None else low <= value <= high and bool(fit.threshold_inside)

    for name, number in (
        ("response_targets", fit.targets), ("response_exact", fit.exact),
        ("response_left", fit.left), ("response_right", fit.right),
        ("response_missed", fit.missed),
    ):  # fmt: skip
        where.add(name, number, "count")
    upper = fit.bounds[fit.bound]["upper"]
    none = upper.reason or "no value for these data"
    for name, value in (("response_a50", fit.a50), ("response_a90", fit.a90)):
        where.add(name, value, "mm", method=LINE, reason=none, in_range=inside(value))
    for method, bounds in sorted(fit.bounds.items()):
        for name, side in (("response_a90_95", "upper"), ("response_a90_lower_95", "lower")):
            told = told_bound(bounds[side], fit.seed)
            where.add(
                name if method == fit.bound else f"{name}_{method}",
                told.value, "mm", method=f"{told.method}; {LINE}", side=bounds[side].side,
                reason=bounds[side].reason, in_range=inside(told.value),
            )  # fmt: skip
    for name, value in (
        ("response_intercept", fit.intercept), ("response_slope", fit.slope),
        ("response_sigma", fit.sigma), ("response_log_likelihood", fit.log_likelihood),
        ("response_shared_variance", fit.shared),
    ):  # fmt: skip
        if value is not None:
            where.add(name, value, "1", method=LINE)
    _checks(where, line)
    _holds(where, line)


def _holds(where: Where, line: ResponseResult) -> None:
    for held in line.holds:
        method = f"{held.replicates} simulated trials: {CASE_WORDS[held.case]}"
        exact = line.fit is not None and line.fit.bound == "exact" and held.exact is not None
        share = held.exact if exact else held.calibrated
        where.add(f"response_holds_{held.case}", share, "fraction", method=method)


def _checks(where: Where, line: ResponseResult) -> None:
    checks, beside = line.checks, line.beside
    if checks is None or beside is None:
        return
    test = "p of a check of the line"
    for name, value in (
        ("response_linearity_p", checks.linearity.p_value),
        ("response_spread_p", checks.spread.p_value),
        ("response_scatter_p", checks.scatter.p_value),
        ("response_tail_p", checks.scatter.tail_p_value),
        ("response_hits_p", beside.p_value),
    ):
        where.add(name, value, "1", method=test, reason="this test can't be made here")
    none = "it does not exist"
    for name, value in (
        ("response_a90_growing_spread", checks.spread.a90),
        ("response_a90_own_tail", checks.scatter.a90),
        ("response_hits_a90", beside.fit.a90),
        ("response_hits_a90_95", beside.fit.a90_95),
    ):
        where.add(name, value, "mm", method="beside the line", reason=none)


def _found_at_rate(line: ResponseResult, noise: NoiseResult, seed: int) -> AtThreshold | str:
    """POD at the declared rate, or why there is none; the same reasons as elsewhere."""
    rate, draws = line.how.declared_rate, draws_of(line, seed)
    if rate is None:
        return NO_RATE
    if noise.draws is None or draws is None or line.fit is None:
        return "there is no line of responses, or no law of the noise"
    found = pod_at_rate(line.fit, draws, noise.fit, noise.draws, rate, ())
    return "the blanks give no threshold of the declared rate" if found is None else found


def _at_rate(where: Where, found: AtThreshold | str, seed: int) -> None:
    """POD at the declared rate, the uncertainty of the threshold carried through."""
    if found == NO_RATE:
        return
    method = f"targets and blanks simulated together, {SIMULATIONS} trials, seed {seed}"
    told = None if isinstance(found, str) else found
    none = found if isinstance(found, str) else found.reason
    a90, upper = (None, None) if told is None else (told.a90, told.a90_95)
    where.add("at_rate_a90", a90, "mm", method=LINE, reason=none)
    where.add("at_rate_a90_95", upper, "mm", method=method, side="upper", reason=none)


def _noise(where: Where, noise: NoiseResult) -> None:
    fit, axis, unit = noise.fit, noise.how.response_axis, noise.how.unit
    law = f"{fit.family} law of the peak noise of a unit"
    where.add("noise_units", fit.n, "count")
    where.add("noise_censored", fit.censored, "count")
    none: str | None = fit.notices[0].text.rstrip(".") if fit.notices else fit.outcome
    for name, value in (("noise_location", fit.location), ("noise_scale", fit.scale)):
        if fit.family != "empirical":
            where.add(name, value, "1", method=law, reason=none)
    use = noise.in_use
    none = none if use is None else use.reason
    exact = f"{law}, one-sided 95 %"
    where.add("noise_rate", None if use is None else use.rate, "fraction", method=law, reason=none)
    where.add("noise_rate_upper", None if use is None else use.upper, "fraction", method=exact,
              side="upper", reason=none)  # fmt: skip
    if noise.how.declared_rate is None:
        return
    told = noise.declared
    none = none if told is None else told.reason
    value = None if told is None else back(told.threshold, axis)
    where.add("noise_threshold", value, unit, method=law, reason=none)
    error = None if told is None else error_back(told, axis)
    where.add("noise_threshold_error", error, unit, method=f"{law}, standard error",
              reason=none or "this law gives no standard error")  # fmt: skip
    low, high = (None, None) if told is None else (told.rate_low, told.rate_high)
    where.add("noise_realised_low", low, "fraction", method=f"{law}, 95 %", side="two-sided",
              reason=none)  # fmt: skip
    where.add("noise_realised_high", high, "fraction", method=f"{law}, 95 %", side="two-sided",
              reason=none)  # fmt: skip
    safe = None if told is None else back(told.safe_threshold, axis)
    none = none if told is None else told.safe_reason
    where.add("noise_safe_threshold", safe, unit, method=exact, side="upper", reason=none)

"""Ratio of two a90 from responses, each mode at the threshold of one declared false-call rate.

A threshold set on few blanks is uncertain, and so is a line through few targets. Whole targets and
blank units are drawn anew together, the same targets and the same units for both modes; in each
draw both laws of the noise are fitted, both thresholds set anew for the rate, and both lines
fitted. Limits are percentiles of the ratio, widened as if by Student's t for few targets. A draw in
which a mode has no a90 is kept: endless where it is the candidate's, none where it is the
reference's.

Sources: Efron 1981, Canadian Journal of Statistics 9, 139-172; Hesterberg 2015, The American
Statistician 69, 371-386 (percentiles widened for small samples). From memory; how often the limits
hold is counted in `tests/recovery`.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.comparison.resampling import FARTHEST_LOG
from qualify.comparison.response_ratio_kernels import joint_draws, place_at_rate
from qualify.pod.links import Array, Flags
from qualify.pod.noise import place_of_rate
from qualify.pod.noise_kernels import gumbel_climb
from qualify.pod.response_curve import fit_curve
from qualify.pod.response_fits import Line
from qualify.pod.response_simulation import FEWEST_EXACT, stream
from qualify.pod.responses import Responses, on_axis
from qualify.threads import in_threads

RESAMPLES, THREADED = 3999, 100
FEWEST = 10  # targets
NO_LAW = "the peaks of blank units give no law of the noise {}"
NO_LINE = "too few uncensored responses {} for a line"
NO_RISE = "responses {} do not rise with size"
OUT = "the threshold of that rate {} lies below the floor, or at the ceiling, of the responses"
UNLIKE = "both modes need responses of the same targets, sizes and blank units"
ENDLESS = "the limit does not close: in too many draws a mode has no a90"


@dataclass(frozen=True, slots=True)
class ModeAtRate:
    """Responses of one mode, and the peaks of blank units in it.

    Attributes
    ----------
    responses : observed; rows of a group are of one target, groups as in the other mode.
    peaks : (units,), on the axis of the responses; units as in the other mode.
    censored : (units,).
    """

    responses: Responses
    peaks: Array
    censored: Flags


@dataclass(frozen=True, slots=True)
class ResponseRatio:
    """a90 of b over a90 of a from responses, at one false-call rate.

    Attributes
    ----------
    rate : declared, per blank unit.
    threshold_a, threshold_b : for that rate, on the axes of the responses.
    a90_a, a90_b, ratio : None with `reason`.
    upper, lower : one-sided at `confidence`; None with `bound_reason`.
    interval : two-sided at `confidence`.
    without : share of draws in which a mode has no a90.
    """

    rate: float
    threshold_a: float | None
    threshold_b: float | None
    a90_a: float | None
    a90_b: float | None
    ratio: float | None
    upper: float | None
    lower: float | None
    interval: tuple[float, float] | None
    without: float | None
    reason: str | None
    bound_reason: str | None
    confidence: float
    seed: int
    resamples: int


def response_ratio(
    a: ModeAtRate,
    b: ModeAtRate,
    rate: float,
    *,
    confidence: float = 0.95,
    seed: int = 1,
    resamples: int = RESAMPLES,
    names: tuple[str, str] = ("of a", "of b"),
) -> ResponseRatio:
    """Return the ratio of a90 at one false-call rate, with limits from joint draws.

    The law of the noise is Gumbel's.

    Raises
    ------
    ValueError : for modes whose targets, sizes or numbers of blank units differ; a rate outside
        0..1.
    """
    _check(a, b)
    place, probit = place_of_rate(rate), float(special.ndtri(0.9))
    modes = (a, b)
    laws = [gumbel_climb(m.peaks, m.censored) for m in modes]
    lines = [fit_curve(m.responses).line for m in modes]
    scales = [_scale(m.responses) for m in modes]
    thresholds = [mu + beta * place if arrived else None for mu, beta, _, arrived in laws]
    psi = [
        float(place_at_rate(m.responses.y, m.responses.t, m.responses.code, own, m.peaks,
                            m.censored, place, *scale, probit))
        for m, own, scale in zip(modes, lines, scales, strict=True)
    ]  # fmt: skip
    sizes = [_size(m.responses, v) for m, v in zip(modes, psi, strict=True)]
    reason = _why(modes, lines, thresholds, scales, names)
    if reason is None and any(s is None for s in sizes):
        reason = "an a90 is no finite size above 0"
    if reason is not None:
        return ResponseRatio(rate, thresholds[0], thresholds[1], sizes[0], sizes[1], None, None,
                             None, None, None, reason, reason, confidence, seed, 0)  # fmt: skip
    drawn = _drawn(modes, (lines[0], lines[1]), place, scales, probit, seed, resamples)
    lower, upper, interval, without = _limits(modes, drawn, confidence)
    assert sizes[0] is not None
    assert sizes[1] is not None
    return ResponseRatio(
        rate, thresholds[0], thresholds[1], sizes[0], sizes[1], sizes[1] / sizes[0], upper, lower,
        interval, without, None, ENDLESS if upper is None or lower is None else None, confidence,
        seed, resamples,
    )  # fmt: skip


def _check(a: ModeAtRate, b: ModeAtRate) -> None:
    one, other = a.responses, b.responses
    sizes = [np.unique(r.group, return_index=True)[1] for r in (one, other)]
    same = (
        one.targets == other.targets
        and one.scale == other.scale
        and np.array_equal(one.size[sizes[0]], other.size[sizes[1]])
        and a.peaks.shape == b.peaks.shape
    )
    if not same:
        raise ValueError(UNLIKE)


def _scale(data: Responses) -> tuple[float, float, float, float]:
    """Offset and unit of y, and the floor and ceiling that a threshold must lie between."""
    offset = float(on_axis(np.array([data.threshold]), data.axis)[0])
    return offset, data.unit, float(data.low.max()), float(data.high.min())


def _size(data: Responses, psi: float) -> float | None:
    x = data.centre + data.spread * psi
    if not math.isfinite(x) or (data.scale == "log" and abs(x) > FARTHEST_LOG):
        return None
    size = math.exp(x) if data.scale == "log" else x
    return size if size > 0.0 else None


def _why(
    modes: tuple[ModeAtRate, ModeAtRate],
    lines: list[Line],
    thresholds: list[float | None],
    scales: list[tuple[float, float, float, float]],
    names: tuple[str, str],
) -> str | None:
    if modes[0].responses.targets < FEWEST:
        return f"fewer than {FEWEST} targets have responses in both modes"
    for mode, own, threshold, scale, name in zip(
        modes, lines, thresholds, scales, names, strict=True
    ):
        if threshold is None:
            return NO_LAW.format(name)
        if int(mode.responses.exact.sum()) < FEWEST_EXACT:
            return NO_LINE.format(name)
        if not own[1] > 0.0:
            return NO_RISE.format(name)
        if not scale[2] <= (threshold - scale[0]) / scale[1] < scale[3]:
            return OUT.format(name)
    return None


def _drawn(
    modes: tuple[ModeAtRate, ModeAtRate],
    lines: tuple[Line, Line],
    place: float,
    scales: list[tuple[float, float, float, float]],
    probit: float,
    seed: int,
    resamples: int,
) -> Array:
    data = [m.responses for m in modes]
    most = max(d.rows for d in data)
    y, t = np.zeros((2, most)), np.zeros((2, most))
    code, group = np.zeros((2, most), dtype=np.int8), np.zeros((2, most), dtype=np.intp)
    for k, one in enumerate(data):
        n = one.rows
        y[k, :n], t[k, :n], code[k, :n], group[k, :n] = one.y, one.t, one.code, one.group
    rows = np.array([d.rows for d in data], dtype=np.intp)
    peaks, censored = np.array([m.peaks for m in modes]), np.array([m.censored for m in modes])
    limits = np.array(scales)
    out, own, other = np.empty((resamples, 2)), stream(seed, b"targets"), stream(seed, b"blanks")

    def work(first: int, last: int) -> None:
        joint_draws(y, t, code, group, rows, lines, peaks, censored, place, limits, probit,
               data[0].targets, own, other, first, last, out)  # fmt: skip

    in_threads(work, resamples, THREADED)
    return out


def _limits(
    modes: tuple[ModeAtRate, ModeAtRate], drawn: Array, confidence: float
) -> tuple[float | None, float | None, tuple[float, float] | None, float]:
    """Lower, upper, interval, and the share of draws in which a mode has no a90."""
    data = [m.responses for m in modes]
    x = np.column_stack([d.centre + d.spread * drawn[:, k] for k, d in enumerate(data)])
    if data[0].scale != "log":
        with np.errstate(divide="ignore", invalid="ignore"):
            x = np.log(np.where(x > 0.0, x, np.inf))
    endless = ~np.isfinite(x)
    with np.errstate(invalid="ignore"):
        step = x[:, 1] - x[:, 0]
    low = np.sort(np.where(endless[:, 0], -np.inf, np.where(endless[:, 1], np.inf, step)))
    high = np.sort(np.where(endless[:, 1], np.inf, np.where(endless[:, 0], -np.inf, step)))
    targets = data[0].targets

    def limit(share: float, *, upper: bool) -> float | None:
        wide = math.sqrt(targets / (targets - 2)) * special.stdtrit(targets - 2, 1.0 - share)
        level = float(special.ndtr(wide))
        rank = math.ceil(level * (high.size + 1))
        rank = min(rank, high.size)
        value = float(high[rank - 1] if upper else low[-rank])
        return math.exp(value) if abs(value) < FARTHEST_LOG else None

    share = 1.0 - confidence
    ends = limit(0.5 * share, upper=False), limit(0.5 * share, upper=True)
    interval = None if ends[0] is None or ends[1] is None else (ends[0], ends[1])
    without = float(np.mean(np.any(endless, axis=1)))
    return limit(share, upper=False), limit(share, upper=True), interval, without

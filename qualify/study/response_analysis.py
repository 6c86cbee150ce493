"""Responses of a study: lines by kind, mode and reader, their checks, and the noise of blanks."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from qualify.criteria.estimate import Basis
from qualify.effort import is_whole
from qualify.pod.noise import NoiseFit, fit_noise
from qualify.pod.noise_checks import NoiseChecks, fit_checks
from qualify.pod.response_agreement import Agreement, agreement
from qualify.pod.response_checks import LEVEL, ResponseChecks, check_response
from qualify.pod.response_holds import ResponseHeld, how_often_held
from qualify.pod.response_rate import AtThreshold, LineDraws, at_threshold, line_draws
from qualify.pod.responses import off_axis, on_axis
from qualify.pod.signal_response import ResponseFit, fit_response
from qualify.pod.threshold import (
    NoiseDraws,
    RateAt,
    ThresholdChoice,
    choose_threshold,
    noise_draws,
    rate_at,
    threshold_draws,
)
from qualify.reading.tables import BLANK, Tables
from qualify.study.check_words import p_words
from qualify.study.curve_checks import Cell
from qualify.study.plan import Plan
from qualify.study.response_back import back
from qualify.study.response_plan import ResponseAnalysis

NO_RESPONSE = "hits without a recorded response: a line can't be fitted beside them"
REPLICATES = 400
RATES = tuple(float(r) for r in np.geomspace(0.002, 0.3, 25))


@dataclass(frozen=True, slots=True)
class ResponseResult:
    """Responses of one kind, mode and reader.

    Attributes
    ----------
    how : the plan's words on them.
    fit : the line; None with `reason`.
    not_examined : targets left out of the line, as nothing was looked at.
    names : of the targets of the line, in their order.
    holds : how often its bound holds in simulation of this design, a law each; empty where
        targets are repeated or there is no bound.
    checks, beside : of the line, and hits and misses of the same responses; None without a line.
    """

    how: ResponseAnalysis
    fit: ResponseFit | None
    reason: str | None
    not_examined: int
    names: tuple[str, ...] = ()
    checks: ResponseChecks | None = None
    beside: Agreement | None = None
    holds: tuple[ResponseHeld, ...] = ()

    def failed(self) -> list[str]:
        """Names of the checks that speak against the line, with their p."""
        if self.checks is None or self.beside is None:
            return []
        tests = {
            "straight line": self.checks.linearity.p_value,
            "constant spread": self.checks.spread.p_value,
            "normal scatter": self.checks.scatter.p_value,
            "lower tail": self.checks.scatter.tail_p_value,
            "hits": self.beside.p_value,
        }
        return [
            f"{name} ({p_words(p)})" for name, p in tests.items() if p is not None and p <= LEVEL
        ]


@dataclass(frozen=True, slots=True)
class NoiseResult:
    """Noise of the blank units of one mode and reader, on the axis of response.

    Attributes
    ----------
    fit, draws, checks : the law; draws and checks are None where none was fitted.
    in_use : rate at the threshold in use.
    declared : threshold of the declared rate, None where none was declared.
    """

    how: ResponseAnalysis
    threshold: float
    fit: NoiseFit
    draws: NoiseDraws | None
    checks: NoiseChecks | None
    in_use: RateAt | None
    declared: ThresholdChoice | None


def response_results(
    views: Mapping[Basis, Tables], plan: Plan, readers: tuple[str, ...]
) -> tuple[dict[Cell, ResponseResult], dict[Cell, NoiseResult]]:
    """Return lines by (basis, kind, mode, reader), and noise by the same with kind blank."""
    lines: dict[Cell, ResponseResult] = {}
    noises: dict[Cell, NoiseResult] = {}
    same: dict[bytes, ResponseResult] = {}
    heard: dict[bytes, NoiseResult | None] = {}
    for basis, tables in views.items():
        frame = tables.opportunities
        for how in plan.responses:
            for reader in readers:
                rows = frame[(frame["mode"] == how.mode) & (frame["reader"] == reader)]
                if rows.empty:
                    continue
                for population in plan.populations:
                    mine = rows[rows["kind"] == population.kind]
                    if mine.empty:
                        continue
                    looked = mine[mine["examined"] == 1]
                    key = f"{how.mode}\0{population.kind}\0{looked.to_json()}".encode()
                    if key not in same:
                        same[key] = _line(mine, how, plan)
                    lost = len(mine) - len(looked)
                    if same[key].not_examined != lost:
                        told = replace(same[key], not_examined=lost)
                    else:
                        told = same[key]
                    lines[(basis, population.kind, how.mode, reader)] = told
                blanks = rows[(rows["kind"] == BLANK) & (rows["examined"] == 1)]
                key = f"{how.mode}\0{BLANK}\0{blanks.to_json()}".encode()
                if key not in heard:
                    heard[key] = _noise(blanks, how, plan)
                if (noise := heard[key]) is not None:
                    noises[(basis, BLANK, how.mode, reader)] = noise
    return lines, noises


def _threshold(how: ResponseAnalysis, plan: Plan) -> float:
    threshold = plan.mode(how.mode).threshold
    assert threshold is not None
    return threshold


def _foreign_unit(rows: pd.DataFrame, how: ResponseAnalysis) -> str | None:
    units = set(rows.loc[rows["response"].notna(), "response_unit"]) - {how.unit, ""}
    if not units:
        return None
    return f"responses are given in {', '.join(sorted(units))}, the plan says {how.unit}"


def _line(rows: pd.DataFrame, how: ResponseAnalysis, plan: Plan) -> ResponseResult:
    looked = rows[rows["examined"] == 1]
    lost = len(rows) - len(looked)
    threshold = _threshold(how, plan)
    without = looked[(looked["hit"] == 1) & looked["response"].isna()]
    reason = _foreign_unit(looked, how)
    if len(without):
        some = ", ".join(str(name) for name in without["target"][:5])
        reason = f"{NO_RESPONSE} ({len(without)}, as {some})"
    if looked.empty:
        reason = "no target was examined"
    if reason is not None:
        return ResponseResult(how, None, reason, lost)
    response, floor, ceiling = _limited(looked, how, threshold)
    pairs = dict.fromkeys(zip(looked["specimen"], looked["target"], strict=True))
    names = tuple(str(target) for _, target in pairs)
    try:
        fit = fit_response(
            looked["size_mm"].to_numpy(dtype=float),
            response,
            threshold=threshold,
            floor=floor,
            ceiling=ceiling,
            targets=(looked["specimen"] + "/" + looked["target"]).to_numpy(),
            scale=how.size_axis,
            axis=how.response_axis,
            seed=plan.analysis.seed,
        )
    except ValueError as error:
        return ResponseResult(how, None, str(error), lost)
    if fit.outcome != "fitted" or fit.curve is None:
        return ResponseResult(how, fit, None, lost, names)
    seed = plan.analysis.seed
    checks = check_response(fit, seed=seed, unit=how.unit)
    held: list[ResponseHeld] = []
    if fit.a90_95 is not None and not fit.data.repeated and is_whole():
        held = how_often_held(fit.curve, replicates=REPLICATES, seed=seed)
    beside = agreement(fit.curve, seed=seed)
    return ResponseResult(how, fit, None, lost, names, checks, beside, tuple(held))


def _limited(
    rows: pd.DataFrame, how: ResponseAnalysis, threshold: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Responses, floors and ceilings (rows,); a row's own mark of censoring counts first.

    A target without a response lies at or below the floor only if responses between floor and
    threshold were recorded at all. Where none was, as on call sheets, it is known to lie below
    the threshold, and that is the floor of all rows.
    """
    response = rows["response"].to_numpy(dtype=float)
    mark = rows["censored"].to_numpy()
    floor = np.full(response.size, -np.inf if how.floor is None else how.floor)
    ceiling = np.full(response.size, np.inf if how.ceiling is None else how.ceiling)
    missed = np.isnan(response)
    lower_seen = bool(np.any(response < threshold))
    if np.any(missed) and not lower_seen:
        floor = np.full(response.size, threshold)
    elif how.floor is None:
        floor = np.where(missed, threshold, floor)
    marked = (mark == "left") & ~missed
    floor = np.where(marked, np.minimum(response, threshold), floor)
    ceiling = np.where((mark == "right") & ~missed, response, ceiling)
    return response, floor, ceiling


def _noise(blanks: pd.DataFrame, how: ResponseAnalysis, plan: Plan) -> NoiseResult | None:
    """Noise of examined blanks.

    A unit marked left-censored lies at or below its response; one without a response at or below
    the floor, or the threshold where no response below it was recorded.
    """
    if blanks.empty or _foreign_unit(blanks, how) is not None:
        return None
    threshold = _threshold(how, plan)
    response = blanks["response"].to_numpy(dtype=float)
    lower_seen = bool(np.any(response < threshold))
    level = how.floor if lower_seen and how.floor is not None else threshold
    marked = blanks["censored"].to_numpy() == "left"
    censored = np.isnan(response) | marked
    peaks = on_axis(np.where(np.isnan(response), level, response), how.response_axis)
    if not np.all(np.isfinite(peaks)):
        return None
    fit = fit_noise(peaks, censored, how.law)
    at = float(on_axis(np.array([threshold]), how.response_axis)[0])
    if fit.outcome != "fitted":
        return NoiseResult(how, threshold, fit, None, None, None, None)
    seed = plan.analysis.seed
    draws = noise_draws(fit, seed=seed)
    checks = None if how.law == "empirical" else fit_checks(fit, seed)
    declared = (
        None if how.declared_rate is None else choose_threshold(fit, how.declared_rate, draws)
    )
    return NoiseResult(how, threshold, fit, draws, checks, rate_at(fit, at, draws), declared)


def pod_at_rate(
    fit: ResponseFit,
    lines: LineDraws,
    noise: NoiseFit,
    draws: NoiseDraws,
    rate: float,
    sizes: tuple[float, ...],
) -> AtThreshold | None:
    """Return POD at the threshold of a rate, targets and blanks varying together.

    None where the blanks give no threshold of that rate.
    """
    assert fit.curve is not None
    chosen = back(choose_threshold(noise, rate, draws).threshold, fit.axis)
    if chosen is None:
        return None
    values = off_axis(threshold_draws(noise, draws, rate), fit.axis)
    return at_threshold(fit.curve, lines, chosen, values, sizes=sizes, confidence=fit.confidence)


def draws_of(line: ResponseResult, seed: int) -> LineDraws | None:
    """Return draws of the true line, None where there are none."""
    if line.fit is None or line.fit.curve is None or line.fit.outcome != "fitted":
        return None
    found = line_draws(line.fit.curve, seed=seed)
    return None if isinstance(found, str) else found

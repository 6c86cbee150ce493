"""Noise of blank units and what it makes of a threshold, as JSON-ready documents."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from qualify.errors import Fault, InputError, refuse
from qualify.pod.noise import LAW_WORDS, NoiseFamily, NoiseFit, fit_noise
from qualify.pod.noise_checks import fit_checks
from qualify.pod.response_in_noise import in_noise
from qualify.pod.response_rate import line_draws
from qualify.pod.responses import ResponseAxis, on_axis
from qualify.pod.signal_response import ResponseFit
from qualify.pod.threshold import (
    NoiseDraws,
    choose_threshold,
    noise_draws,
    rate_at,
)
from qualify.raw_tables import RawTable
from qualify.study.answers_response_rows import ResponseUnit, finite, unit_of_response
from qualify.study.check_words import in_noise_notice
from qualify.study.columns import check_columns
from qualify.study.response_analysis import pod_at_rate
from qualify.study.response_back import back, choice_notices, error_back

Document = dict[str, Any]
TRADE = (0.002, 0.005, 0.01, 0.02, 0.03, 0.05, 0.07, 0.1, 0.15, 0.2, 0.3)


@dataclass(frozen=True, slots=True)
class Blanks:
    """Peaks of blank units, in the unit of responses.

    Attributes
    ----------
    peaks : (units,); the floor where nothing was recorded.
    censored : (units,).
    unit : of response.
    law : family of the law.
    rate : declared false-call rate per unit, None where none is.
    place : file, for messages.
    """

    peaks: np.ndarray
    censored: np.ndarray
    unit: ResponseUnit
    law: NoiseFamily
    rate: float | None
    place: str


def blanks_of(
    table: RawTable,
    column: str,
    *,
    unit: str | None,
    floor: float | None,
    unrecorded: float | None = None,
    law: NoiseFamily,
    rate: float | None,
) -> Blanks:
    """Read the peaks of blank units; an empty cell is a unit in which nothing was recorded.

    Peaks at or below `floor` count as censored there; without it, empty cells as censored at
    `unrecorded`.

    Raises
    ------
    InputError : a cell is no number; a peak outside its unit; empty cells without a floor.
    """
    check_columns(table, [column])
    told = unit_of_response(table, column, unit)
    faults, values = [], []
    level = unrecorded if floor is None else floor
    for row in table.rows:
        place = f"{table.place}: row {row.number}: {column}"
        value = np.nan
        try:
            value = finite(row.cells[column]) if column in row.cells else np.nan
        except ValueError as error:
            found, wanted = str(error).split("; ", 1)
            faults.append(Fault(place, found, wanted))
        if told == "coherence" and (value < 0.0 or value > 1.0):
            faults.append(Fault(place, f"coherence {value:g}", "coherence runs from 0 to 1"))
        if column not in row.cells and level is None:
            wanted = "give the floor below which nothing was recorded"
            faults.append(Fault(place, "the cell is empty, and no floor is told", wanted))
        values.append(value)
    if faults:
        raise InputError(faults)
    peaks = np.array(values)
    given = -np.inf if floor is None else floor
    censored = np.isnan(peaks) | (peaks <= given)
    return Blanks(np.where(censored, np.nan if level is None else level, peaks), censored, told,
                  law, rate, table.place)  # fmt: skip


def fitted(blanks: Blanks, axis: ResponseAxis) -> NoiseFit:
    """Return the law of the peaks on an axis of response.

    Raises
    ------
    InputError : a peak has no place on the axis.
    """
    bad = {"log": blanks.peaks <= 0.0, "logit": (blanks.peaks <= 0.0) | (blanks.peaks >= 1.0)}
    if axis in bad and np.any(bad[axis]):
        value = float(blanks.peaks[bad[axis]][0])
        raise refuse(blanks.place, f"a peak of {value:g} has no {axis} on that axis",
                     "give a floor, or another axis")  # fmt: skip
    return fit_noise(on_axis(blanks.peaks, axis), blanks.censored, blanks.law)


def threshold_for(blanks: Blanks, axis: ResponseAxis, seed: int) -> float:
    """Return the threshold of the declared rate, in the unit of response.

    Raises
    ------
    InputError : where the blanks give none.
    """
    assert blanks.rate is not None
    fit = fitted(blanks, axis)
    if fit.outcome == "fitted":
        chosen = choose_threshold(fit, blanks.rate, noise_draws(fit, seed=seed))
        told = back(chosen.threshold, axis)
        if told is not None:
            return told
    words = f"no threshold for a rate of {blanks.rate:g}: {why_none(fit, blanks.rate)}"
    raise refuse(blanks.place, words, "give --threshold, more blanks, or another law")


def why_none(fit: NoiseFit, rate: float) -> str:
    """Say why the blanks give no threshold for a rate."""
    if fit.outcome != "fitted":
        return fit.notices[0].text.rstrip(".") if fit.notices else fit.outcome
    return f"{fit.n} blank units can't tell a rate as low as {rate:g}"


def noise_document(
    blanks: Blanks, axis: ResponseAxis, threshold: float | None, confidence: float, seed: int
) -> tuple[Document, list[Document], NoiseFit, NoiseDraws | None]:
    """Return the law of the noise, the rate at a threshold, the threshold of a declared rate."""
    fit = fitted(blanks, axis)
    notices = [{"code": f"noise_{n.code}", "text": n.text} for n in fit.notices]
    told: Document = {
        "blank_units": fit.n,
        "censored": fit.censored,
        "law": fit.family,
        "axis": axis,
        "response_unit": blanks.unit,
        "outcome": fit.outcome,
        "location": fit.location,
        "scale": fit.scale,
        "shape": fit.shape,
        "log_likelihood": fit.log_likelihood,
        "seed": seed,
        "sentences": [],
        "in_use": None,
        "declared": None,
    }
    if fit.outcome != "fitted":
        return told, notices, fit, None
    draws = noise_draws(fit, seed=seed)
    if fit.family != "empirical":
        checks = fit_checks(fit, seed)
        told["sentences"] = list(checks.sentences)
    if threshold is not None:
        told["in_use"] = in_use(fit, threshold, axis, draws, confidence)
    if blanks.rate is not None:
        told["declared"] = declared(fit, blanks.rate, axis, draws, confidence)
    return told, notices, fit, draws


def in_use(
    fit: NoiseFit, threshold: float, axis: ResponseAxis, draws: NoiseDraws, confidence: float
) -> Document:
    """Return the false-call rate at a threshold with its bounds."""
    at = float(on_axis(np.array([threshold]), axis)[0])
    found = rate_at(fit, at, draws, confidence)
    return {
        "threshold": threshold,
        "rate": found.rate,
        "lower_95": found.lower,
        "upper_95": found.upper,
        "units_above": found.units_called,
        "exact": found.exact,
        "observed_upper_95": found.counted_upper,
        "reason": found.reason,
    }


def declared(
    fit: NoiseFit, rate: float, axis: ResponseAxis, draws: NoiseDraws, confidence: float
) -> Document:
    """Return the threshold of a declared rate, its error, and what the rate will be at it."""
    found = choose_threshold(fit, rate, draws, confidence)
    value = back(found.threshold, axis)
    return {
        "rate": rate,
        "threshold": value,
        "standard_error": error_back(found, axis),
        "realised_mean": found.mean_rate,
        "realised_interval_95": None
        if found.rate_low is None
        else [found.rate_low, found.rate_high],
        "exact": found.exact,
        "notices": [
            {"code": n.code, "text": text}
            for n, text in zip(found.notices, choice_notices(found, fit, axis), strict=True)
        ],
        "safe_threshold": back(found.safe_threshold, axis),
        "reason": found.reason,
        "safe_reason": found.safe_reason,
    }


def false_calls_of(
    blanks: Blanks, fit: ResponseFit, sizes: tuple[float, ...], seed: int
) -> tuple[Document, list[Document]]:
    """Return noise, and POD at the declared rate with targets and blanks varying together.

    The trade of POD at each size asked for against the false-call rate stands under `trade`.
    """
    told, notices, noise, draws = noise_document(
        blanks, fit.axis, fit.threshold, fit.confidence, seed
    )
    told["at_rate"], told["trade"] = None, []
    if draws is None or fit.curve is None or fit.outcome != "fitted":
        return told, notices
    within = in_noise_notice(fit, in_noise(fit, blanks.peaks), "")
    notices += [] if within is None else [within]
    lines = line_draws(fit.curve, seed=seed)
    if isinstance(lines, str):
        notices.append({"code": "no_pod_at_rate", "text": f"No POD at a false-call rate: {lines}."})
        return told, notices

    def at(rate: float) -> Document | None:
        found = pod_at_rate(fit, lines, noise, draws, rate, sizes)
        if found is None:
            return None
        return {
            "rate": rate,
            "threshold": found.threshold,
            "inside": found.inside,
            "a50": found.a50,
            "a90": found.a90,
            "a90_95": found.a90_95,
            "a90_95_threshold_known": found.a90_95_known,
            "reason": found.reason,
            "pod_at": [
                {"size": size, "pod": pod, "lower_95": lower}
                for size, pod, lower in zip(sizes, found.pods, found.lowers, strict=False)
            ],
        }

    if blanks.rate is not None:
        told["at_rate"] = at(blanks.rate)
    if sizes:
        told["trade"] = [one for one in (at(rate) for rate in TRADE) if one is not None]
    return told, notices


def law_words(family: str) -> str:
    """Return a law in words."""
    return next(words for name, words in LAW_WORDS.items() if name == family)

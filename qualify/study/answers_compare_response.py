"""Two modes compared by their responses, each at the threshold of one declared false-call rate."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from qualify.comparison.response_ratio import ModeAtRate, response_ratio
from qualify.errors import refuse
from qualify.pod.noise import fit_noise, quantile
from qualify.pod.responses import ResponseAxis, observe_responses, off_axis, on_axis
from qualify.raw_tables import RawTable
from qualify.study.answers_compare_rows import CompareRows
from qualify.study.answers_noise import Blanks, blanks_of
from qualify.study.answers_response_rows import unit_of_response

Document = dict[str, Any]
AXES: dict[str, ResponseAxis] = {"db": "linear", "linear": "log", "coherence": "logit"}


@dataclass(frozen=True, slots=True)
class RateAsked:
    """Peaks of blank units, a column for each mode named as its column of responses.

    Attributes
    ----------
    noise : one row a unit.
    rate : declared, per blank unit.
    floors : of responses and peaks in a and b, None where there is none.
    """

    noise: RawTable
    rate: float
    floors: tuple[float | None, float | None] = (None, None)


def responses_document(
    table: RawTable,
    columns: tuple[str, str],
    rows: CompareRows,
    asked: RateAsked,
    scale: str,
    names: tuple[str, str],
    confidence: float,
    seed: int,
) -> Document:
    """Return the ratio of a90 from responses at the declared rate, as a document.

    Raises
    ------
    InputError : peaks or responses can't be read, or do not fit their axes.
    """
    targets = sorted(rows.responses, key=lambda t: (rows.size[t], t))
    sizes = [rows.size[t] for t in targets]
    modes, axes = [], []
    for k, (column, floor) in enumerate(zip(columns, asked.floors, strict=True)):
        unit = unit_of_response(table, column, None)
        axis = AXES[unit]
        blanks = blanks_of(asked.noise, column, unit=unit, floor=floor, law="gumbel",
                           rate=asked.rate)  # fmt: skip
        response = np.array([rows.responses[t][k] for t in targets])
        modes.append(_mode(table, blanks, axis, sizes, response, targets, floor, asked.rate, scale))
        axes.append(axis)
    try:
        found = response_ratio(modes[0], modes[1], asked.rate, confidence=confidence, seed=seed,
                               names=(f"in {names[0]}", f"in {names[1]}"))  # fmt: skip
    except ValueError as error:
        raise refuse(table.place, str(error), "mend the rows named") from None
    thresholds = [
        None if value is None else float(off_axis(value, axis))
        for value, axis in zip((found.threshold_a, found.threshold_b), axes, strict=True)
    ]
    return {
        "rate": found.rate, "blank_units": int(modes[0].peaks.size),
        "threshold_a": thresholds[0], "threshold_b": thresholds[1],
        "a90_a": found.a90_a, "a90_b": found.a90_b, "a90_ratio": found.ratio,
        "a90_ratio_ci": None if found.interval is None else list(found.interval),
        "a90_ratio_upper_95": found.upper, "a90_ratio_lower_95": found.lower,
        "without_a90": found.without, "resamples": found.resamples, "seed": found.seed,
        "reason": found.reason or found.bound_reason,
    }  # fmt: skip


def _mode(
    table: RawTable,
    blanks: Blanks,
    axis: ResponseAxis,
    sizes: list[float],
    response: np.ndarray,
    targets: list[str],
    floor: float | None,
    rate: float,
    scale: str,
) -> ModeAtRate:
    try:
        peaks = on_axis(blanks.peaks, axis)
        if not np.all(np.isfinite(peaks)):
            raise refuse(blanks.place, f"a peak has no place on the {axis} axis", "give a floor")
        at = quantile(fit_noise(peaks, blanks.censored), rate)
        if at is None:
            raise refuse(blanks.place, f"no threshold for a rate of {rate:g}", "give more blanks")
        threshold = float(off_axis(at, axis))
        data = observe_responses(sizes, response, threshold=threshold, floor=floor, targets=targets,
                                 scale=scale, axis=axis)  # fmt: skip
    except ValueError as error:
        raise refuse(table.place, str(error), "mend the responses, or give --floor-a, --floor-b")\
            from None  # fmt: skip
    return ModeAtRate(data, peaks, blanks.censored)

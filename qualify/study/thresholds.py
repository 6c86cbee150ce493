"""Thresholds of a rule from the blanks of an open set, at a declared false-call rate.

The largest response of each blank unit is a peak of its noise. In grain the square of an amplitude,
and that of a coherence of many phases, has a tail that falls exponentially (Rayleigh 1880 for
amplitudes); the largest of many such squares follows a Gumbel law (Fisher and Tippett 1928). So
the law is fitted to squares over the background, and the threshold taken back into the unit shown.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, Field, ValidationError

from qualify.blocks.metrology import STRICT
from qualify.errors import InputError, refuse
from qualify.files import canonical_json, faults_of, read_bytes
from qualify.imaging.grid import Image
from qualify.pod.noise import fit_noise
from qualify.pod.threshold import choose_threshold, noise_draws
from qualify.reading.detection import Background, background_of, largest, responses
from qualify.study.reading_plan import FILE as PLAN
from qualify.study.reading_plan import ReadingPlan

FILE = "thresholds.json"
LAW = "Gumbel law of squares over the background"
STEP = {"db": 0.01, "coherence": 0.001}
"""Thresholds are rounded up to it, backgrounds to a tenth of it, so that the file says it all."""
Unit = Literal["db", "coherence"]
Array = NDArray[np.float64]


class ModeThreshold(BaseModel):
    """The threshold of one mode, and what it rests on.

    `standard_error` and all levels are in the unit; rates are of a blank unit, two-sided 95 %.
    """

    model_config = STRICT
    mode: str
    unit: Unit
    threshold: float
    standard_error: float
    rate_low: float
    rate_high: float
    safe_threshold: float | None
    safe_reason: str | None
    reference_z_mm: float
    reference: float
    z_mm: tuple[float, ...]
    level: tuple[float, ...]
    peaks: tuple[float, ...]
    units_called: int
    not_examined: int
    notices: tuple[str, ...]

    def background(self) -> Background:
        """Return the background as a rule takes it."""
        return Background(
            self.z_mm, self.level, self.reference_z_mm, self.reference, len(self.peaks)
        )


class Thresholds(BaseModel):
    """The whole of `thresholds.json`."""

    model_config = STRICT
    format: Literal[1]
    study: str
    declared_rate: Annotated[float, Field(gt=0, le=0.5)]
    law: str
    seed: int
    blank_units: int
    modes: tuple[ModeThreshold, ...]

    def of(self, mode: str) -> ModeThreshold:
        """Return the threshold of a mode."""
        return next(one for one in self.modes if one.mode == mode)

    def bytes(self) -> bytes:
        """Return the file."""
        return canonical_json(self.model_dump(mode="json"))


def read_thresholds(path: Path, name: str | None = None) -> Thresholds:
    """Read a file of thresholds.

    Raises
    ------
    InputError : where it is not there, or is none.
    """
    name = name or str(path)
    try:
        return Thresholds.model_validate_json(read_bytes(path, name))
    except ValidationError as error:
        raise InputError(faults_of(error, name)) from None


@dataclass(frozen=True, slots=True)
class Blanks:
    """Images of the blank units of one mode; of units without a positive control the count."""

    images: Sequence[Image]
    not_examined: int


def set_thresholds(plan: ReadingPlan, blanks: Mapping[str, Blanks]) -> Thresholds:
    """Return the thresholds of all modes at the declared rate.

    blanks : by mode.

    Raises
    ------
    InputError : where no law can be fitted, or the threshold is one that nothing reaches.
    """
    modes = tuple(_of_mode(plan, mode.name, blanks[mode.name]) for mode in plan.modes)
    count = max(len(one.images) + one.not_examined for one in blanks.values())
    return Thresholds(
        format=1,
        study=plan.study,
        declared_rate=plan.declared_rate,
        law=LAW,
        seed=plan.seed,
        blank_units=count,
        modes=modes,
    )


def _of_mode(plan: ReadingPlan, mode: str, blanks: Blanks) -> ModeThreshold:
    looking = plan.looking(mode)
    if len(blanks.images) < 3:
        found = f"{len(blanks.images)} blank units with a control"
        raise refuse(f"mode {mode}", found, "a threshold needs at least 3, and is poor below 40")
    if not any((looking.within(one.grid) & one.covered).any() for one in blanks.images):
        found = f"mode {mode} covers no pixel of the region that is read"
        raise refuse(PLAN, found, "move or widen the region, or leave the mode out")
    unit = blanks.images[0].unit
    told = background_of(
        blanks.images, looking, smooth_mm=plan.smooth_mm, reference_z_mm=plan.reference_z_mm
    )
    background = _rounded(told, unit)
    tops = [largest(responses(image, background, looking)) for image in blanks.images]
    peaks = np.array([top for top in tops if top is not None])
    fit = fit_noise(squares(peaks, background.reference, unit), family="gumbel")
    if fit.outcome != "fitted":
        raise refuse(f"mode {mode}", f"no law fits the noise ({fit.outcome})", "give more blanks")
    draws = noise_draws(fit, seed=plan.seed)
    choice = choose_threshold(fit, plan.declared_rate, draws)
    assert choice.threshold is not None
    assert choice.standard_error is not None
    assert choice.rate_low is not None
    assert choice.rate_high is not None
    ends = (choice.threshold - choice.standard_error, choice.threshold + choice.standard_error)
    low, high = (_back(end, background.reference, unit) for end in ends)
    threshold = _up(_back(choice.threshold, background.reference, unit), unit)
    if unit == "coherence" and threshold >= 1.0:
        found = f"the threshold would be {threshold:g}, which no coherence reaches"
        raise refuse(f"mode {mode}", found, "declare a higher rate, or give more blanks")
    safe = choice.safe_threshold
    return ModeThreshold(
        mode=mode,
        unit=unit,
        threshold=threshold,
        standard_error=0.5 * (high - low),
        rate_low=choice.rate_low,
        rate_high=choice.rate_high,
        safe_threshold=None if safe is None else _up(_back(safe, background.reference, unit), unit),
        safe_reason=choice.safe_reason,
        reference_z_mm=background.reference_z_mm,
        reference=background.reference,
        z_mm=background.z_mm,
        level=background.level,
        peaks=tuple(float(round(peak, 6)) for peak in peaks),
        units_called=int((peaks >= threshold).sum()),
        not_examined=blanks.not_examined,
        notices=tuple(notice.text for notice in choice.notices if notice.code != "extrapolated")
        + ((BEYOND,) if threshold > peaks.max() else ()),
    )


BEYOND = "The threshold lies beyond the largest peak seen: it rests on the law."


def squares(values: Array, reference: float, unit: Unit) -> Array:
    """Return the squares of amplitudes or coherences over that of the background."""
    if unit == "db":
        return np.asarray(10.0 ** ((values - reference) / 10.0))
    return np.asarray((values / reference) ** 2)


def _back(square: float, reference: float, unit: Unit) -> float:
    """Return the value in its unit of a square over that of the background."""
    if unit == "db":
        return reference + 10.0 * math.log10(max(square, 1e-12))
    return reference * math.sqrt(max(square, 0.0))


def _up(value: float, unit: Unit) -> float:
    """Return a threshold rounded up to its step."""
    steps = round(1.0 / STEP[unit])
    return math.ceil(value * steps - 1e-9) / steps


def _rounded(told: Background, unit: Unit) -> Background:
    digits = round(-math.log10(STEP[unit])) + 1
    return Background(
        tuple(round(z, 6) for z in told.z_mm),
        tuple(round(level, digits) for level in told.level),
        told.reference_z_mm,
        round(told.reference, digits),
        told.images,
    )

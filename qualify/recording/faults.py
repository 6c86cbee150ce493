"""What may be wrong with a recording, in figures: the examination that a gate judges.

Figures only; which of them are too bad is for `qualify.recording.gate`.
"""

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from qualify.recording.axis_order import AxisOrder, axis_order
from qualify.recording.element_levels import ElementLevels, element_levels
from qualify.recording.loud import in_band
from qualify.recording.record import Recording
from qualify.recording.signal_checks import (
    Clipping,
    Offset,
    Reciprocity,
    clipping,
    offset,
    reciprocity,
)
from qualify.recording.wall import Wall, find_wall


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of a recording that is not silent; see their classes."""

    order: AxisOrder
    reciprocity: Reciprocity
    clipping: Clipping
    levels: ElementLevels
    offset: Offset
    wall: Wall


@dataclass(frozen=True, slots=True)
class Examination:
    """What there is to know of one recording before it is imaged.

    Attributes
    ----------
    elements, sample_count, is_half : its shape.
    signal : `simulated` or `measured`.
    peak : largest amplitude, in the unit of the samples.
    rms : of all samples.
    figures : None where the recording is silent, nothing but zeros.
    """

    elements: int
    sample_count: int
    is_half: bool
    signal: str
    peak: float
    rms: float
    figures: Figures | None

    def summary(self) -> dict[str, Any]:
        """Return the figures as nested plain values, for JSON."""
        return asdict(self)


def examine(recording: Recording) -> Examination:
    """Return the figures of a recording; it is left as it is."""
    samples = recording.samples
    peak = float(max(samples.max(), -samples.min()))
    return Examination(
        elements=recording.probe.elements,
        sample_count=recording.sample_count,
        is_half=recording.is_half,
        signal=recording.provenance.signal,
        peak=peak,
        rms=float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))),
        figures=_figures(recording) if peak else None,
    )


def _figures(recording: Recording) -> Figures:
    banded = in_band(recording)
    return Figures(
        axis_order(recording),
        reciprocity(recording, banded),
        clipping(recording),
        element_levels(recording, banded),
        offset(recording),
        find_wall(recording),
    )

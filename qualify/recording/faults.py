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
class Examination:
    """All figures of one recording.

    Attributes
    ----------
    elements, sample_count, is_half : its shape.
    signal : `simulated` or `measured`.
    peak : largest amplitude, in the unit of the samples.
    rms : of all samples.
    period_us : of the centre frequency of the probe.
    order, reciprocity, clipping, levels, offset, wall : see their classes; None, all of them,
        where the recording is silent: nothing but zeros.
    """

    elements: int
    sample_count: int
    is_half: bool
    signal: str
    peak: float
    rms: float
    period_us: float
    order: AxisOrder | None
    reciprocity: Reciprocity | None
    clipping: Clipping | None
    levels: ElementLevels | None
    offset: Offset | None
    wall: Wall | None

    @property
    def silent(self) -> bool:
        """Whether all samples are zero."""
        return self.peak == 0.0

    def summary(self) -> dict[str, Any]:
        """Return the figures as nested plain values, for JSON."""
        return asdict(self)


def examine(recording: Recording) -> Examination:
    """Return the figures of a recording; it is left as it is."""
    samples = recording.samples
    peak = float(max(samples.max(), -samples.min()))
    banded = in_band(recording) if peak else samples
    return Examination(
        elements=recording.probe.elements,
        sample_count=recording.sample_count,
        is_half=recording.is_half,
        signal=recording.provenance.signal,
        peak=peak,
        rms=float(np.sqrt(np.mean(np.square(samples, dtype=np.float64)))),
        period_us=1.0 / recording.probe.centre_mhz,
        order=axis_order(recording) if peak else None,
        reciprocity=reciprocity(recording, banded) if peak else None,
        clipping=clipping(recording) if peak else None,
        levels=element_levels(recording, banded) if peak else None,
        offset=offset(recording) if peak else None,
        wall=find_wall(recording) if peak else None,
    )

"""The gate: which recordings are fit to be imaged, and why the others are not.

A rejected recording is evidence gone wrong, not an input error. It is counted with its reasons
and never dropped.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from qualify.blocks.metrology import STRICT, Finite, Positive
from qualify.recording.faults import Examination, Figures

Fraction = Annotated[float, Field(ge=0, le=1)]
Code = Literal[
    "silent", "axis_order", "reciprocity", "clipping", "dead_elements", "weak_elements", "offset",
    "back_wall", "start_time",
]  # fmt: skip
ALIKE_LEAST = 0.3  # under it, neighbouring pairs tell no order
ALIKE_BEYOND = 0.2  # one order is told from the other only by more than this
WHITE_MOST = 0.6  # beyond this share of the sampled band, noise looks like signal


class GateLimits(BaseModel):
    """How bad a recording may be. Defaults: common practice or chosen here; no source."""

    model_config = STRICT
    band_fraction_least: Fraction = Field(
        0.5, description="energy of the loudest stretches within the band of the probe, least"
    )
    reciprocity_db_most: Finite = Field(
        -12.0, description="difference of reciprocal signals over the signals, most, dB"
    )
    reciprocity_element_db_most: Finite = Field(
        -10.0, description="the same in the pairs of one element, most, dB"
    )
    clipped_samples_fraction_most: Fraction = Field(
        0.001, description="samples at the limit of the receiver, most"
    )
    dead_db: Finite = Field(-12.0, description="an element this far below the array is dead, dB")
    dead_elements_most: int = Field(0, ge=0, description="dead elements, most")
    weak_db: Finite = Field(
        -6.0, description="an element this far below its neighbours is weak, dB"
    )
    weak_elements_fraction_most: Fraction = Field(
        0.0625, description="weak elements, dead ones left out, over all elements, most"
    )
    offset_fraction_most: Positive = Field(
        0.3, description="mean of one pair over the rms of the recording, most"
    )
    wall_db_least: Finite = Field(
        12.0, description="back wall above what is around it, least, dB; where a thickness is told"
    )
    wall_coherence_least: Fraction = Field(
        0.3, description="power of the mean of aligned signals over their mean power, least"
    )
    start_periods_most: Positive = Field(
        2.0, description="offset of the back wall in periods of the centre frequency, most"
    )


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason for which a recording is rejected: its code, and figure and limit in words."""

    code: Code
    words: str


@dataclass(frozen=True, slots=True)
class GateResult:
    """What the gate says of one recording.

    Attributes
    ----------
    reasons : empty where it is accepted.
    not_shown : what could not be judged, and why.
    """

    reasons: tuple[Reason, ...]
    not_shown: tuple[str, ...]

    @property
    def accepted(self) -> bool:
        """Whether nothing speaks against the recording."""
        return not self.reasons


@dataclass(frozen=True, slots=True)
class GateCount:
    """Recordings accepted and rejected; a recording with two reasons counts under both."""

    accepted: int
    rejected: int
    by_reason: tuple[tuple[Code, int], ...]


def gate(examination: Examination, limits: GateLimits | None = None) -> GateResult:
    """Judge an examination by the limits."""
    limits = limits or GateLimits()
    figures = examination.figures
    if figures is None:
        return GateResult((Reason("silent", "every sample is zero"),), ())
    judges = (_order, _reciprocity, _clipping, _elements, _offset, _wall)
    reasons = tuple(reason for judge in judges for reason in judge(figures, limits))
    return GateResult(reasons, tuple(_not_shown(figures)))


def count_gate(results: Sequence[GateResult]) -> GateCount:
    """Count recordings accepted and rejected, and how many were rejected for each reason."""
    counts: dict[Code, int] = {}
    for result in results:
        for code in dict.fromkeys(reason.code for reason in result.reasons):
            counts[code] = counts.get(code, 0) + 1
    accepted = sum(result.accepted for result in results)
    return GateCount(accepted, len(results) - accepted, tuple(sorted(counts.items())))


def _order(figures: Figures, limits: GateLimits) -> Iterator[Reason]:
    order = figures.order
    found, least = order.band_fraction, limits.band_fraction_least
    other = order.other_band_fraction
    if other is not None and other > found:
        yield Reason(
            "axis_order",
            f"axis {order.other_axis} looks like time, the sample axis does not: {other:.2f} of "
            f"the energy lies in the probe's band along it, {found:.2f} along the sample axis",
        )
    elif found < least and order.white_fraction <= WHITE_MOST:
        yield Reason(
            "axis_order",
            f"{found:.2f} of the energy lies in the probe's band, least {least:g}: the sample "
            "axis, the sampling frequency or the probe is not as told, or there is only noise",
        )
    if order.other_alike_fraction is not None and order.alike_fraction is not None:
        alike, other_alike = order.alike_fraction, order.other_alike_fraction
        if other_alike >= ALIKE_LEAST and other_alike > alike + ALIKE_BEYOND:
            way = "by column" if order.other_order == "by_column" else "by row"
            yield Reason(
                "axis_order",
                f"the pairs seem to come {way}: neighbouring pairs are alike to {alike:.2f} as "
                f"told, to {other_alike:.2f} {way}",
            )


def _reciprocity(figures: Figures, limits: GateLimits) -> Iterator[Reason]:
    found = figures.reciprocity
    if found.residual_db is None or found.worst_db is None:
        return
    if found.residual_db > limits.reciprocity_db_most:
        yield Reason(
            "reciprocity",
            f"reciprocal signals differ by {found.residual_db:.1f} dB of their power, most "
            f"{limits.reciprocity_db_most:g} dB",
        )
    if found.worst_db > limits.reciprocity_element_db_most:
        yield Reason(
            "reciprocity",
            f"in the pairs of element {found.worst_element} they differ by {found.worst_db:.1f} "
            f"dB, most {limits.reciprocity_element_db_most:g} dB",
        )


def _clipping(figures: Figures, limits: GateLimits) -> Iterator[Reason]:
    found = figures.clipping
    if found.samples_fraction > limits.clipped_samples_fraction_most:
        yield Reason(
            "clipping",
            f"{found.samples_fraction:.4f} of the samples, in {found.pairs_fraction:.2f} of the "
            f"pairs, are clipped, most {limits.clipped_samples_fraction_most:g}",
        )


def _elements(figures: Figures, limits: GateLimits) -> Iterator[Reason]:
    levels = figures.levels
    dead = levels.dead(limits.dead_db)
    if len(dead) > limits.dead_elements_most:
        yield Reason(
            "dead_elements",
            f"dead, {limits.dead_db:g} dB or more below the array: {_listed(dead)}; most "
            f"{limits.dead_elements_most}",
        )
    weak = tuple(k for k in levels.weak(limits.weak_db) if k not in dead)
    most = limits.weak_elements_fraction_most * len(levels.transmit_db)
    if len(weak) > most:
        yield Reason(
            "weak_elements",
            f"weak, {limits.weak_db:g} dB or more below their neighbours: {_listed(weak)}; most "
            f"{int(most)}",
        )


def _listed(numbers: tuple[int, ...]) -> str:
    noun = "element" if len(numbers) == 1 else "elements"
    return f"{noun} {', '.join(map(str, numbers))}"


def _offset(figures: Figures, limits: GateLimits) -> Iterator[Reason]:
    found = figures.offset
    if found.worst_fraction > limits.offset_fraction_most:
        yield Reason(
            "offset",
            f"the mean of pair {found.worst_pair[0]}-{found.worst_pair[1]} is "
            f"{found.worst_fraction:.2f} of the rms, most {limits.offset_fraction_most:g}",
        )


def _wall(figures: Figures, limits: GateLimits) -> Iterator[Reason]:
    wall = figures.wall
    if wall.expected_us is None:
        return
    if wall.level_db is None or wall.coherence_fraction is None or wall.start_offset_us is None:
        yield Reason("back_wall", wall.reason)
    elif (
        wall.level_db < limits.wall_db_least
        or wall.coherence_fraction < limits.wall_coherence_least
    ):
        yield Reason(
            "back_wall",
            f"no back wall around {wall.expected_us:.2f} µs: {wall.level_db:.1f} dB, least "
            f"{limits.wall_db_least:g}; coherence {wall.coherence_fraction:.2f}, least "
            f"{limits.wall_coherence_least:g}",
        )
    elif abs(wall.start_offset_us) > limits.start_periods_most * wall.period_us:
        yield Reason(
            "start_time",
            f"the back wall lies {wall.start_offset_us:+.3f} µs from where it is expected, most "
            f"{limits.start_periods_most * wall.period_us:g} µs: start time, thickness or velocity "
            "is not as told",
        )


def _not_shown(figures: Figures) -> Iterator[str]:
    reciprocity, levels, wall = figures.reciprocity, figures.levels, figures.wall
    order = figures.order
    if reciprocity.reason:
        yield f"reciprocity: {reciprocity.reason}"
    if levels.reason:
        yield f"levels of elements: {levels.reason}"
    elif not levels.told_apart:
        yield "transmit and receive of an element apart: half a matrix holds each pair once"
    if wall.expected_us is None:
        yield f"back wall and start time: {wall.reason}"
    alike, other_alike = order.alike_fraction, order.other_alike_fraction
    if alike is not None and other_alike is not None:
        if max(alike, other_alike) < ALIKE_LEAST:
            yield "order of pairs: neighbouring pairs are not alike in either order"
        elif abs(alike - other_alike) <= ALIKE_BEYOND:
            yield (
                f"order of pairs: neighbouring pairs are alike to {alike:.2f} as told, and to "
                f"{other_alike:.2f} in the other order"
            )
    if order.white_fraction > WHITE_MOST:
        yield (
            f"axis order: {order.white_fraction:.2f} of the sampled band is the probe's band, so "
            "that noise looks like signal"
        )

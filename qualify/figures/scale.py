"""Linear and logarithmic axes: the range they show, the numbers beside them, places on them."""

import itertools
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes

from qualify.figures.page import linear_ticks, log_ticks, number, text_width_mm
from qualify.figures.palette import SMALL_PT

REACH = 3.0  # a mark further from the sizes than this factor is shown at the edge
FAR = 0.5  # a level further from the responses than this share of their range is, too
PAD_MM = 2.0
SMALLEST = 1e-5  # below it numbers are written with a power of ten
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
DIGIT_MM = 2.6  # height a number beside an axis takes


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis: its ends in the unit of the data, and whether it is logarithmic."""

    low: float
    high: float
    log: bool

    def fraction(self, value: float) -> float:
        """Place on the axis, 0 at its low end and 1 at its high one."""
        low, high = _even(self.low, self.log), _even(self.high, self.log)
        return (_even(value, self.log) - low) / (high - low)

    def at(self, fraction: float) -> float:
        """Return the value at a place on the axis."""
        low, high = _even(self.low, self.log), _even(self.high, self.log)
        return _data(low + fraction * (high - low), self.log)

    def shows(self, value: float) -> bool:
        """Whether a value lies between the ends."""
        return -1e-9 <= self.fraction(value) <= 1 + 1e-9


def _even(value: float, log: bool) -> float:
    return math.log(max(value, 1e-300)) if log else value


def _data(value: float, log: bool) -> float:
    return math.exp(value) if log else value


def level(value: float) -> str:
    """Two decimals from 1 to 1000, as sizes are printed; else three significant figures."""
    if 1 <= abs(value) < 1000:
        return f"{value:.2f}".replace("-", "−")
    if value == 0 or abs(value) >= SMALLEST:
        return number(value)
    digits, _, power = f"{value:.2e}".partition("e")
    short = digits.rstrip("0").rstrip(".").replace("-", "−")
    return f"{short}×10{str(int(power)).translate(RAISED)}"


def percent(fraction: float) -> str:
    """Three significant figures, per cent."""
    return f"{number(100 * fraction)} %"


def with_unit(label: str, unit: str) -> str:
    """Words beside an axis: the quantity and its unit."""
    return f"{label} ({unit})" if unit else label


def check_positive(values: Iterable[float], what: str) -> None:
    """Refuse what a logarithmic axis cannot show.

    Raises
    ------
    ValueError
        If a value is not above zero.
    """
    wrong = next((value for value in values if not value > 0), None)
    if wrong is not None:
        msg = f"{what} on a logarithmic axis must be above zero, found {wrong}"
        raise ValueError(msg)


def size_scale(base: Sequence[float], marks: Sequence[float], *, log: bool) -> Scale:
    """Axis of sizes: all of `base`, and marks that are not far from it (`REACH`).

    Raises
    ------
    ValueError
        If a logarithmic axis is asked for sizes that are not above zero.
    """
    shown = [*(base or marks or (1.0,))]
    if log:
        check_positive(shown, "sizes")
    low, high = min(shown), max(shown)
    near = [v for v in marks if v <= high * REACH and (not log or v >= low / REACH)]
    low, high = min([low, *near]), max([high, *near])
    if log:
        pad = max((high / low) ** 0.06, 1.1)
        return Scale(low / pad, high * pad, log)
    pad = 0.05 * (high - low) or 0.1 * abs(high) or 1.0
    return Scale(max(low - pad, 0.0) if low >= 0 else low - pad, high + pad, log)


def level_scale(
    base: Sequence[float],
    near: Sequence[float],
    *,
    log: bool,
    length_mm: float,
    below_mm: float = PAD_MM,
    above_mm: float = PAD_MM,
    far: float = FAR,
) -> Scale:
    """Axis of responses: all of `base`, levels near it, and free millimetres at the ends.

    A level is near if it lies no further away than the share `far` of the range of `base`.

    Raises
    ------
    ValueError
        If a logarithmic axis is asked for values that are not above zero.
    """
    if log:
        check_positive(base, "responses")
    shown = [_even(v, log) for v in (base or near or (1.0,))]
    low, high = min(shown), max(shown)
    close = [_even(v, log) for v in near if v > 0 or not log]
    wide = far * (high - low)
    close = [v for v in close if low - wide <= v <= high + wide]
    low, high = min([low, *close]), max([high, *close])
    if not high > low:
        half = math.log(1.5) if log else (0.1 * abs(low) or 1.0)
        low, high = low - half, high + half
    per_mm = (high - low) / (length_mm - below_mm - above_mm)
    ends = (low - below_mm * per_mm, high + above_mm * per_mm)
    return Scale(_data(ends[0], log), _data(ends[1], log), log)


Name = Callable[[float], str]


def _free(scale: Scale, ticks: Sequence[float], extents: Sequence[float], length: float) -> bool:
    places = [scale.fraction(tick) * length for tick in ticks]
    return all(
        b - a >= (one + other) / 2 + 1.0
        for (a, one), (b, other) in itertools.pairwise(zip(places, extents, strict=True))
    )


def ticks_of(
    scale: Scale, length_mm: float, extent: Name | Callable[[float], float]
) -> list[float]:
    """Round values on the axis whose numbers, `extent` millimetres long each, stay apart."""
    most = 6
    if scale.log:
        decades = range(math.floor(math.log10(scale.low)), math.ceil(math.log10(scale.high)) + 1)
        tens = [round(10.0**d, 12) for d in decades]
        tens = [t for t in tens if scale.shows(t)]
        choices = [log_ticks(scale.low, scale.high), *([tens] if len(tens) > 1 else [])]
        choices.append(tens[::2])
    else:
        choices = [linear_ticks(scale.low, scale.high, k) for k in range(most, 1, -1)]
    for ticks in choices:
        extents = [float(extent(tick)) for tick in ticks]
        if len(ticks) > 1 and _free(scale, ticks, extents, length_mm):
            return ticks
    kept: list[float] = []
    for tick in choices[0]:
        extents = [float(extent(v)) for v in (*kept, tick)]
        if _free(scale, [*kept, tick], extents, length_mm):
            kept.append(tick)
    return kept


def set_x(axes: Axes, scale: Scale, length_mm: float, name: Name = number) -> None:
    """Give the axes their range along x and numbers that do not touch."""
    if scale.log:
        axes.set_xscale("log")
    axes.set_xlim(scale.low, scale.high)

    def wide(tick: float) -> float:
        return text_width_mm(name(tick), SMALL_PT)

    ticks = ticks_of(scale, length_mm, wide)
    room = 1.4  # beyond the axes, at the right
    ticks = [t for t in ticks if scale.fraction(t) * length_mm + wide(t) / 2 <= length_mm + room]
    axes.set_xticks(ticks, [name(tick) for tick in ticks])
    axes.set_xticks([], minor=True)


def y_ticks(scale: Scale, length_mm: float) -> list[float]:
    """Values that are numbered along y."""
    return ticks_of(scale, length_mm, lambda _: DIGIT_MM)


def tick_width_mm(scale: Scale, length_mm: float, name: Name = number) -> float:
    """Return the room that the numbers along y take beside the axes."""
    names = [name(tick) for tick in y_ticks(scale, length_mm)]
    return max((text_width_mm(text, SMALL_PT) for text in names), default=0.0)


def set_y(axes: Axes, scale: Scale, length_mm: float, name: Name = number) -> None:
    """Give the axes their range along y and numbers that do not touch."""
    if scale.log:
        axes.set_yscale("log")
    axes.set_ylim(scale.low, scale.high)
    ticks = y_ticks(scale, length_mm)
    axes.set_yticks(ticks, [name(tick) for tick in ticks])
    axes.set_yticks([], minor=True)

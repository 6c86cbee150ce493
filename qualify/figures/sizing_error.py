"""Sizing error against true size: its trend, bias, limits of agreement and tolerance interval."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.axes_parts import Box, words_inside
from qualify.figures.check_panels import ZERO_STYLE
from qualify.figures.page import Key, frame, size, words_only
from qualify.figures.palette import (
    BAND,
    BOUND_OUTSIDE,
    ESTIMATE_MARK,
    GREY,
    INK,
    SOLID,
    TINT,
    styled,
)
from qualify.figures.scale import (
    Scale,
    level_scale,
    set_x,
    set_y,
    size_scale,
    tick_width_mm,
    with_unit,
)
from qualify.figures.sheet import PanelView, column_mm, sheet
from qualify.figures.sizing_panel import BIAS_STYLE, SIZED_STYLE, TOLERANCE_STYLE

__all__ = ["SizingErrorPanel", "sizing_error_alt_text", "sizing_error_figure"]

NOTHING = "No sizing errors to show: nothing was sized."
TREND_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.1, "linestyle": SOLID}
TREND_CI_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.8, "linestyle": BOUND_OUTSIDE}
AGREEMENT_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.9, "linestyle": ESTIMATE_MARK}


@dataclass(frozen=True, slots=True)
class SizingErrorPanel:
    """Errors of one kind, mode and reader.

    Attributes
    ----------
    sizes, errors : (n,) true sizes and reported minus true, in `unit`.
    trend : (intercept, slope) of the error against true size, None where there is none.
    trend_slope_ci : interval of the slope; drawn about the middle of the errors.
    bias : mean error.
    agreement, tolerance : (2,) limits of agreement and two-sided 95/95 tolerance interval.
    """

    title: str
    quantity_label: str
    unit: str
    sizes: tuple[float, ...]
    errors: tuple[float, ...]
    trend: tuple[float, float] | None = None
    trend_slope_ci: tuple[float, float] | None = None
    bias: float | None = None
    agreement: tuple[float, float] | None = None
    tolerance: tuple[float, float] | None = None
    message: str | None = None


def _y_scale(panel: SizingErrorPanel, length_mm: float) -> Scale:
    marks = [*(panel.agreement or ()), *(panel.tolerance or ())]
    return level_scale([0.0, *panel.errors], marks, log=False, length_mm=length_mm, far=1.5)


def _draw(page: Axes, panel: SizingErrorPanel, box: Box, index: int) -> None:
    axes = frame(page, *box, f"sizing-error-{index}")
    across, up = size_scale(panel.sizes, (), log=False), _y_scale(panel, box[3])
    set_x(axes, across, box[2])
    set_y(axes, up, box[3])
    if not panel.sizes:
        words_inside(page, axes, panel.message or "No target was sized.", box)
        return
    axes.axhline(0.0, **ZERO_STYLE, zorder=1)
    if panel.tolerance:
        low, high = (min(max(v, up.low), up.high) for v in panel.tolerance)
        axes.axhspan(low, high, facecolor=TINT, linewidth=0, zorder=0)
        for value in panel.tolerance:
            axes.axhline(value, **TOLERANCE_STYLE, zorder=1)
    for value in panel.agreement or ():
        axes.axhline(value, **AGREEMENT_STYLE, zorder=1)
    if panel.bias is not None:
        axes.axhline(panel.bias, **BIAS_STYLE, zorder=2)
    ends = (min(panel.sizes), max(panel.sizes))
    if panel.trend is not None:
        start, slope = panel.trend
        style = {**TREND_STYLE, "zorder": 3, "gid": f"sizing-error-{index}-trend"}
        axes.plot(ends, [start + slope * v for v in ends], **style)
        middle = sum(panel.sizes) / len(panel.sizes)
        for other in panel.trend_slope_ci or ():
            at = [start + slope * middle + other * (v - middle) for v in ends]
            axes.plot(ends, at, **TREND_CI_STYLE, zorder=2)
    style = {**SIZED_STYLE, "zorder": 4, "gid": f"sizing-error-{index}-errors", "clip_on": False}
    axes.plot(panel.sizes, panel.errors, **style)


def _keys(panels: tuple[SizingErrorPanel, ...]) -> list[Key]:
    """Legend entries for what is drawn in at least one panel."""
    drawn = [panel for panel in panels if panel.sizes]
    keys = [Key("sized target", SIZED_STYLE)] if drawn else []
    if any(panel.trend is not None for panel in drawn):
        keys.append(Key("trend of the error", TREND_STYLE))
    if any(panel.trend_slope_ci is not None for panel in drawn):
        keys.append(Key("the same at the ends of its slope's 95 % interval", TREND_CI_STYLE))
    if any(panel.bias is not None for panel in drawn):
        keys.append(Key("bias", BIAS_STYLE))
    if any(panel.agreement for panel in drawn):
        keys.append(Key("limits of agreement", AGREEMENT_STYLE))
    if any(panel.tolerance for panel in drawn):
        keys.append(Key("two-sided 95/95 tolerance interval", TOLERANCE_STYLE))
        keys.append(Key("inside it", {"fc": TINT, "ec": BAND, "lw": 0.5}, patch=True))
    return keys


def _counts(panel: SizingErrorPanel) -> str:
    return f"{len(panel.sizes)} sized"


def _view(panel: SizingErrorPanel, axes_mm: float) -> PanelView:
    return PanelView(
        panel.title,
        _counts(panel),
        panel.message if panel.sizes else None,
        2.5,
        with_unit(f"true {panel.quantity_label}", panel.unit),
        with_unit("reported − true", panel.unit),
        tick_width_mm(_y_scale(panel, axes_mm), axes_mm),
        lambda page, box, index: _draw(page, panel, box, index),
    )


@styled
def sizing_error_figure(
    panels: tuple[SizingErrorPanel, ...],
    *,
    width_mm: float = 170.0,
    columns: int = 3,
    tallest_mm: float = 46.0,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order, with one legend below.

    A limit far outside the errors lies beyond the axes. Axes are `tallest_mm` high at most.

    Raises
    ------
    ValueError
        If sizes and errors of a panel differ in number.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    axes_mm = min(max(0.8 * column_mm(width_mm, columns), 34.0), tallest_mm)
    views = [_view(panel, axes_mm) for panel in panels]
    return sheet(
        views,
        _keys(panels),
        width_mm=width_mm,
        columns=columns,
        axes_mm=axes_mm,
        right_mm=1.5,
        mark=mark,
    )


def _words(panel: SizingErrorPanel) -> str:
    unit = f" {panel.unit}" if panel.unit else ""
    parts = [f"{panel.title}, {panel.quantity_label}: {_counts(panel)}"]
    if panel.errors:
        ends = " to ".join(size(v) for v in (min(panel.errors), max(panel.errors)))
        parts.append(f"errors from {ends}{unit}")
    if panel.trend is not None:
        told = f"slope of the error {size(panel.trend[1])}"
        if panel.trend_slope_ci is not None:
            told += f" (95 % interval {' to '.join(size(v) for v in panel.trend_slope_ci)})"
        parts.append(told)
    if panel.bias is not None:
        parts.append(f"bias {size(panel.bias)}{unit}")
    for name, limits in (("limits of agreement", panel.agreement),
                         ("95/95 tolerance interval", panel.tolerance)):  # fmt: skip
        if limits is not None:
            parts.append(f"{name} {' to '.join(size(v) for v in limits)}{unit}")
    return "; ".join(parts) + "." + (f" {panel.message}" if panel.message else "")


def sizing_error_alt_text(panels: tuple[SizingErrorPanel, ...]) -> str:
    """Return words for the figure: counts, slope, bias and limits of each panel."""
    if not panels:
        return NOTHING
    return " ".join(["Reported minus true size against true size.", *map(_words, panels)])

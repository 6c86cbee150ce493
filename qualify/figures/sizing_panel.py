"""One panel of a sizing figure: sizes, lines, and a strip of what was not sized."""

from dataclasses import dataclass
from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes

from qualify.figures.page import (
    frame,
    levels,
    line_height_mm,
    linear_ticks,
    number,
    wrap,
    write,
    write_lines,
)
from qualify.figures.palette import (
    BOUND,
    GREY,
    HIT,
    INK,
    MARKS,
    OUTSIDE,
    PAPER,
    RULE,
    TEXT_PT,
    TINT,
)

LEFT_MM = 14.0
MARK_MM = 1.5
STRIP_MM = 1.2

IDENTITY_STYLE: dict[str, Any] = {"color": RULE, "linewidth": 0.8}
BIAS_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.1, "linestyle": OUTSIDE}
TOLERANCE_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.7, "linestyle": BOUND}
SIZED_STYLE: dict[str, Any] = {
    "linestyle": "none",
    "marker": "o",
    "color": HIT,
    "markerfacecolor": HIT,
    "markeredgecolor": PAPER,
    "markeredgewidth": 0.25,
    "markersize": 3.4,
}


@dataclass(frozen=True, slots=True)
class SizingPanel:
    """One quantity of one population, mode and reader.

    Attributes
    ----------
    true_sizes, reported_sizes : (n,)
        Targets with a reported size, in `unit`.
    bias : float or None
        Mean of reported minus true.
    tolerance : (2,) or None
        Two-sided 95/95 tolerance interval of the error, low and high.
    unsized_true, missed_true : (k,)
        True sizes of targets found without a size, and of targets not found.
    """

    title: str
    quantity_label: str
    unit: str
    true_sizes: tuple[float, ...]
    reported_sizes: tuple[float, ...]
    bias: float | None = None
    tolerance: tuple[float, float] | None = None
    unsized_true: tuple[float, ...] = ()
    missed_true: tuple[float, ...] = ()
    message: str | None = None


def _span(panel: SizingPanel) -> tuple[float, float]:
    values = [*panel.true_sizes, *panel.reported_sizes, *panel.unsized_true, *panel.missed_true]
    low, high = min(values, default=0.0), max(values, default=1.0)
    low = 0.0 if 0 <= low < 0.5 * high else low
    pad = 0.05 * (high - low) or 0.1 * abs(high) or 1.0
    return (0.0 if low == 0 else low - pad), high + pad


def _unseen(
    panel: SizingPanel, axes: Axes, span: tuple[float, float], side_mm: float, index: int
) -> float:
    """Mark targets without a size below the lower edge of the sizes; return the height used."""
    per_mm = (span[1] - span[0]) / side_mm
    depth = STRIP_MM
    for name, values in (("unsized", panel.unsized_true), ("miss", panel.missed_true)):
        if not values:
            continue
        stack = levels([(value - span[0]) / per_mm for value in values], MARK_MM)
        heights = [span[0] - (depth + (k + 0.5) * MARK_MM) * per_mm for k in stack]
        gid = f"sizing-{index}-{'unsized' if name == 'unsized' else 'missed'}"
        axes.plot(values, heights, **MARKS[name].style(), zorder=4, gid=gid, clip_on=False)
        depth += (max(stack) + 1) * MARK_MM + 0.5
    return depth if depth > STRIP_MM else 0.0


def _lines(panel: SizingPanel, axes: Axes, span: tuple[float, float]) -> None:
    """Draw identity, bias and tolerance band, all parallel to one another, inside the sizes."""
    ends = list(span)
    drawn: list[Artist] = []
    if panel.tolerance:
        low, high = panel.tolerance
        lower, upper = [v + low for v in ends], [v + high for v in ends]
        drawn.append(axes.fill_between(ends, lower, upper, facecolor=TINT, linewidth=0, zorder=0))
        drawn += axes.plot(ends, lower, **TOLERANCE_STYLE, zorder=1)
        drawn += axes.plot(ends, upper, **TOLERANCE_STYLE, zorder=1)
    drawn += axes.plot(ends, ends, **IDENTITY_STYLE, zorder=2)
    if panel.bias is not None:
        drawn += axes.plot(ends, [v + panel.bias for v in ends], **BIAS_STYLE, zorder=3)
    clip = axes.fill(
        [span[0], span[1], span[1], span[0]], [span[0], span[0], span[1], span[1]], visible=False
    )[0]
    for artist in drawn:
        artist.set_clip_path(clip)


def strip_mm(panel: SizingPanel, side_mm: float) -> float:
    """Height of the marks below the sizes, before drawing."""
    span = _span(panel)
    per_mm = (span[1] - span[0]) / side_mm
    depth = 0.0
    for values in (panel.unsized_true, panel.missed_true):
        if values:
            stack = levels([(value - span[0]) / per_mm for value in values], MARK_MM)
            depth += (max(stack) + 1) * MARK_MM + 0.5
    return depth + (STRIP_MM if depth else 0.0)


def draw_panel(
    page: Axes, panel: SizingPanel, place: tuple[float, float], side_mm: float, index: int
) -> None:
    """Draw one square panel with its strip of unsized and missed targets below."""
    left, top = place
    strip = strip_mm(panel, side_mm)
    axes = frame(page, left, top, side_mm, side_mm + strip, f"sizing-{index}")
    axes.set_zorder(-1)
    span = _span(panel)
    depth = _unseen(panel, axes, span, side_mm, index)
    per_mm = (span[1] - span[0]) / side_mm
    ticks = [t for t in linear_ticks(*span, 5) if (span[1] - t) / per_mm > 1.5]
    names = [number(t) for t in ticks]
    axes.set_xticks(ticks, names)
    axes.set_yticks(ticks, names)
    if panel.true_sizes:
        _lines(panel, axes, span)
        gid = f"sizing-{index}-sized"
        style = {**SIZED_STYLE, "zorder": 4}
        axes.plot(panel.true_sizes, panel.reported_sizes, gid=gid, **style)
    else:
        lines = wrap(panel.message or "No target was sized.", side_mm - 5.0)
        middle = top + side_mm / 2 - len(lines) * line_height_mm(TEXT_PT) / 2
        write_lines(page, left + side_mm / 2, middle, lines, ha="center")
    if depth:
        axes.axhline(span[0], color=RULE, linewidth=0.5)
    axes.set_xlim(*span)
    axes.set_ylim(span[0] - depth * per_mm, span[1])
    unit = f" ({panel.unit})" if panel.unit else ""
    write(
        page,
        left - LEFT_MM + 1,
        top + side_mm / 2,
        f"reported{unit}",
        ha="left",
        va="center",
        rotation=90,
    )
    below = (left + side_mm / 2, top + side_mm + strip + 4.2)
    write_lines(page, *below, wrap(axis_label(panel), side_mm), ha="center")


def axis_label(panel: SizingPanel) -> str:
    """Return the words under the axes."""
    unit = f" ({panel.unit})" if panel.unit else ""
    return f"true {panel.quantity_label}{unit}"

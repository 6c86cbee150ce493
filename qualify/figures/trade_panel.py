"""One panel of POD against false calls: sizes, their bounds, the threshold in use."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from qualify.figures.axes_parts import Box, Named, lane_above, split_line, words_inside
from qualify.figures.page import frame, number
from qualify.figures.palette import (
    BOUND,
    BOUND_OUTSIDE,
    GREY,
    INK,
    OUTSIDE,
    PAPER,
    RULE,
    SOLID,
)
from qualify.figures.pod_panel import MARK_STYLES
from qualify.figures.scale import Scale, check_positive, percent, set_x, size_scale

MARKERS = ("o", "s", "^", "D", "v", "p")
Markers = dict[str, str]
MOST = 3  # sizes in one panel
MARK_EVERY = 8  # of the points of a line
LINE_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.2, "linestyle": SOLID}
BOUND_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.9, "linestyle": BOUND}
LINE_OUTSIDE: dict[str, Any] = {"color": GREY, "linewidth": 1.2, "linestyle": OUTSIDE}
OUTSIDE_BOUND: dict[str, Any] = {"color": GREY, "linewidth": 0.9, "linestyle": BOUND_OUTSIDE}
HOLLOW: dict[str, Any] = {"markersize": 3.6, "markerfacecolor": PAPER, "markeredgewidth": 0.8}
FULL: dict[str, Any] = {"linestyle": "none", "color": INK, "markersize": 5.4}
BAR_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.1}


@dataclass(frozen=True, slots=True)
class TradeLine:
    """POD at one size.

    Attributes
    ----------
    size_label : the size in words, as '2.0 mm'.
    rates : (n,)
        Share of blank units with a false call, ascending, above 0.
    pod : (n,)
        Estimate of POD at the threshold that gives this rate.
    bound : (n,)
        Its one-sided 95 % lower bound; None where it does not exist; empty for no bound.
    supported : (2,) or None
        Rates whose thresholds lie among the responses that were recorded; the line is grey and
        dashed outside them.
    frozen_pod, frozen_bound : POD at the threshold in use, and its lower bound.
    """

    size_label: str
    rates: tuple[float, ...]
    pod: tuple[float, ...]
    bound: tuple[float | None, ...] = ()
    supported: tuple[float, float] | None = None
    frozen_pod: float | None = None
    frozen_bound: float | None = None


@dataclass(frozen=True, slots=True)
class TradePanel:
    """One population, mode and reader.

    Attributes
    ----------
    lines : at most three, a size each.
    frozen_rate : share of blank units with a false call at the threshold in use.
    frozen_interval : (2,) or None
        Confidence interval of it.
    message : a remark; without a line, the reason for that.
    """

    title: str
    lines: tuple[TradeLine, ...] = ()
    frozen_rate: float | None = None
    frozen_interval: tuple[float, float] | None = None
    interval_label: str = "two-sided 90 % interval of the rate of false calls"
    message: str | None = None


def marks_of(panel: TradePanel) -> list[Named]:
    """Rates that are marked in the lane above the axes."""
    rate = panel.frozen_rate
    if rate is None:
        return []
    return [Named("threshold in use", percent(rate), rate, MARK_STYLES["a90"])]


def _x_scale(panel: TradePanel) -> Scale:
    base = [rate for line in panel.lines for rate in line.rates]
    check_positive(base, "rates of false calls")
    marks = [v for v in (panel.frozen_rate, *(panel.frozen_interval or ())) if v]
    scale = size_scale(base, marks or [0.01], log=True)
    return Scale(scale.low, min(scale.high, 1.05), log=True)


def markers_of(panels: tuple[TradePanel, ...]) -> Markers:
    """Return the mark of each size, the same in all panels.

    Raises
    ------
    ValueError
        If a panel has more than `MOST` sizes or the figure more than there are marks.
    """
    for panel in panels:
        if len(panel.lines) > MOST:
            msg = f"{panel.title}: at most {MOST} sizes in a panel, found {len(panel.lines)}"
            raise ValueError(msg)
    labels = list(dict.fromkeys(line.size_label for panel in panels for line in panel.lines))
    if len(labels) > len(MARKERS):
        msg = f"at most {len(MARKERS)} sizes in a figure, found {len(labels)}"
        raise ValueError(msg)
    return dict(zip(labels, MARKERS, strict=False))


def _across(
    axes: Axes, ends: tuple[float, float], y: float, scale: Scale, style: dict[str, Any]
) -> None:
    """Draw an interval along x; an end that lies outside the axes is an arrow at their edge."""
    shown = [min(max(v, scale.low), scale.high) for v in ends]
    axes.plot(shown, [y, y], **style)
    for end, at, arrow in zip(ends, shown, "<>", strict=True):
        cap: dict[str, Any] = {
            "marker": "|" if end == at else arrow,
            "markersize": 4.0,
            "color": INK,
        }
        axes.plot([at], [y], **cap, zorder=5, clip_on=False)


def _draw_frozen(panel: TradePanel, axes: Axes, scale: Scale, gid: str, markers: Markers) -> None:
    """Draw the threshold in use on each line: its mark, and a bar for either uncertainty."""
    rate = panel.frozen_rate
    if rate is None:
        return
    x = max(rate, scale.low)
    for k, line in enumerate(panel.lines):
        if line.frozen_pod is None:
            continue
        if panel.frozen_interval:
            style = {**BAR_STYLE, "zorder": 5, "gid": f"{gid}-interval-{k}"}
            _across(axes, panel.frozen_interval, line.frozen_pod, scale, style)
        if line.frozen_bound is not None:
            down = {**BAR_STYLE, "marker": "_", "markersize": 4.0, "gid": f"{gid}-down-{k}"}
            axes.plot([x, x], [line.frozen_pod, line.frozen_bound], **down, zorder=5)
        style = {**FULL, "marker": markers[line.size_label], "zorder": 6}
        axes.plot([x], [line.frozen_pod], clip_on=False, gid=f"{gid}-frozen-{k}", **style)


def _draw_lines(panel: TradePanel, axes: Axes, gid: str, markers: Markers) -> None:
    """Draw each size with its own mark, and its bound with the same mark, smaller."""
    for k, line in enumerate(panel.lines):
        marked: dict[str, Any] = {**HOLLOW, "marker": markers[line.size_label], "zorder": 3}
        marked["markevery"] = (k * MARK_EVERY // MOST, MARK_EVERY)
        pair = ({**LINE_STYLE, **marked}, {**LINE_OUTSIDE, **marked})
        split_line(axes, (line.rates, line.pod), line.supported, pair, f"{gid}-line-{k}")
        if line.bound:
            small = {**marked, "markersize": 2.6}
            pair = ({**BOUND_STYLE, **small}, {**OUTSIDE_BOUND, **small})
            split_line(axes, (line.rates, line.bound), line.supported, pair, f"{gid}-bound-{k}")


def draw_panel(page: Axes, panel: TradePanel, box: Box, index: int, markers: Markers) -> None:
    """Draw the axes of one panel; `box` is their place on the page."""
    left, top, width, height = box
    gid = f"trade-{index}"
    axes = frame(page, left, top, width, height, gid)
    scale = _x_scale(panel)
    set_x(axes, scale, width, lambda v: number(100 * v))
    axes.set_ylim(-0.02, 1.02)
    axes.set_yticks([0, 0.5, 0.9, 1], ["0", "0.5", "0.9", "1"])
    if panel.lines:
        axes.axhline(0.9, color=RULE, linewidth=0.5, zorder=1)
    _draw_lines(panel, axes, gid, markers)
    _draw_frozen(panel, axes, scale, gid, markers)
    if not panel.lines:
        words_inside(page, axes, panel.message or "No line was computed.", box)
    lane_above(page, axes, marks_of(panel), scale, box, (left - 9.0, left + width + 1.0))

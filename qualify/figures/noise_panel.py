"""One panel of noise: peaks on blank units, the law fitted, rates and thresholds."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from qualify.figures.axes_parts import Box, Named, lane_above, lane_beside, words_inside
from qualify.figures.page import frame, number
from qualify.figures.palette import BOUND, GREY, HIT, INK, LIMIT, LIMIT_MARK, PAPER, SOLID
from qualify.figures.pod_panel import MARK_STYLES
from qualify.figures.scale import Scale, level, level_scale, percent, set_x, set_y

STEP_STYLE: dict[str, Any] = {"color": HIT, "linewidth": 1.0, "linestyle": SOLID}
LAW_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.3, "linestyle": SOLID}
BOUND_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 1.0, "linestyle": BOUND}
OTHER_STYLE: dict[str, Any] = {"color": INK, "linewidth": 0.8, "linestyle": (0.0, (1.0, 1.6))}
RATE_STYLE: dict[str, Any] = {"color": LIMIT, "linewidth": 0.8, "linestyle": LIMIT_MARK}
ERROR_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.6, "marker": "|", "markersize": 5.0}
BAR_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.4, "marker": "_", "markersize": 5.0}
FROZEN_STYLE: dict[str, Any] = {
    "linestyle": "none",
    "marker": "D",
    "color": INK,
    "markerfacecolor": PAPER,
    "markeredgewidth": 1.0,
    "markersize": 4.6,
}
FAR = 5.0  # times the range of the peaks: a threshold further away is shown at the edge
LOWEST = 1e-5  # share of units: no axis goes lower


@dataclass(frozen=True, slots=True)
class OtherLaw:
    """A law of another family: its name, and (m,) thresholds and shares of units above them."""

    name: str
    levels: tuple[float, ...]
    fractions: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class NoisePanel:
    """Blank units of one mode and reader.

    Attributes
    ----------
    title, level_label, level_unit : words and unit along x.
    peaks : (n,)
        The highest level on each blank unit where one was recorded, in any order.
    censored : number of blank units on which nothing was recorded.
    censored_at : what their peaks do not exceed; None where that differs or is not known.
    law_levels, law_fractions : (m,)
        Thresholds, and the fitted share of units with a peak above them; empty without a fit.
    bound_levels, bound_fractions : (k,)
        Its one-sided 95 % upper bound.
    others : laws of other families beside it.
    declared_rate : share of units with a false call that was declared; None where none was.
    threshold, threshold_se : where the law reaches the declared rate, and its standard error.
    frozen : the threshold in use.
    frozen_fraction, frozen_upper : share of units above it by the law, and its upper bound.
    message : a remark; without a law, the reason for that.
    """

    title: str
    level_label: str
    level_unit: str
    peaks: tuple[float, ...] = ()
    censored: int = 0
    censored_at: float | None = None
    law_levels: tuple[float, ...] = ()
    law_fractions: tuple[float, ...] = ()
    bound_levels: tuple[float, ...] = ()
    bound_fractions: tuple[float, ...] = ()
    others: tuple[OtherLaw, ...] = ()
    declared_rate: float | None = None
    threshold: float | None = None
    threshold_se: float | None = None
    frozen: float | None = None
    frozen_fraction: float | None = None
    frozen_upper: float | None = None
    law_label: str = "fitted law"
    message: str | None = None


def error_words(panel: NoisePanel) -> str:
    """Return the standard error of the threshold, as it stands behind it."""
    return "" if panel.threshold_se is None else f" ± {level(panel.threshold_se)}"


def marks_of(panel: NoisePanel) -> list[Named]:
    """Thresholds that are marked in the lane above the axes."""
    found = []
    if panel.threshold is not None:
        rate = panel.declared_rate
        name = "threshold" if rate is None else f"for {percent(rate)}"
        told = level(panel.threshold) + error_words(panel)
        found.append(Named(name, told, panel.threshold, MARK_STYLES["a90"]))
    if panel.frozen is not None:
        found.append(Named("in use", level(panel.frozen), panel.frozen, MARK_STYLES["a90/95"]))
    return found


def rates_of(panel: NoisePanel) -> list[Named]:
    """Rates that are marked in the lane beside the axes."""
    rate = panel.declared_rate
    return [] if rate is None else [Named("declared", percent(rate), rate, RATE_STYLE)]


def steps_of(panel: NoisePanel, low: float) -> tuple[list[float], list[float]]:
    """Corners of the share of units with a peak above a threshold, a step at each peak.

    The share is known down to where units without a peak are, or down to `low` where there are
    none. The last step ends at 0.
    """
    peaks = sorted(panel.peaks)
    units = len(peaks) + panel.censored
    start = low if not panel.censored else panel.censored_at
    xs = [peaks[0] if start is None else min(start, peaks[0])]
    ys = [len(peaks) / units]
    for k, peak in enumerate(peaks):
        xs += [peak, peak]
        ys += [(len(peaks) - k) / units, (len(peaks) - k - 1) / units]
    return xs, ys


def x_scale(panel: NoisePanel, width: float) -> Scale:
    """Axis of thresholds."""
    base = [*panel.peaks, *([] if panel.censored_at is None else [panel.censored_at])]
    marks = [mark.value for mark in marks_of(panel)]
    near = marks if base else panel.law_levels
    return level_scale(base or marks, near, log=False, length_mm=width, far=FAR)


def y_scale(panel: NoisePanel) -> Scale:
    """Axis of rates, from below what one unit is to all units."""
    units = len(panel.peaks) + panel.censored
    shown = [panel.declared_rate, panel.frozen_fraction, 1 / units if units else None]
    low = min([v for v in shown if v] or [0.01]) / 2.5
    return Scale(max(min(low, 0.1), LOWEST), 1.0, log=True)


def _draw_marks(panel: NoisePanel, axes: Axes, scale: Scale, gid: str) -> None:
    """Draw the error of the threshold as a bar at the declared rate, and the one in use."""
    if panel.threshold is not None and panel.threshold_se is not None:
        at = panel.declared_rate or scale.low
        ends = [panel.threshold - panel.threshold_se, panel.threshold + panel.threshold_se]
        axes.plot(ends, [at, at], **ERROR_STYLE, zorder=5, gid=f"{gid}-error", clip_on=False)
    y = panel.frozen_fraction
    if panel.frozen is not None and y is not None and y >= scale.low:
        if panel.frozen_upper is not None:
            bar = [panel.frozen] * 2, [y, panel.frozen_upper]
            axes.plot(*bar, **BAR_STYLE, zorder=5, gid=f"{gid}-frozen-upper")
        style = {**FROZEN_STYLE, "zorder": 6, "clip_on": False, "gid": f"{gid}-frozen"}
        axes.plot([panel.frozen], [y], **style)


def draw_panel(page: Axes, panel: NoisePanel, box: Box, index: int) -> None:
    """Draw the axes of one panel and both lanes; `box` is the place of the axes on the page."""
    left, top, width, height = box
    gid = f"noise-{index}"
    axes = frame(page, left, top, width, height, gid)
    across, up = x_scale(panel, width), y_scale(panel)
    set_x(axes, across, width)
    set_y(axes, up, height, lambda v: number(100 * v))
    if panel.peaks:
        xs, ys = steps_of(panel, across.low)
        lowest = up.low / 10  # below the axes: a logarithmic axis does not show 0
        shown = [max(y, lowest) for y in ys]
        axes.plot(xs, shown, **STEP_STYLE, zorder=3, gid=f"{gid}-steps")
    if panel.law_levels:
        axes.plot(panel.law_levels, panel.law_fractions, **LAW_STYLE, zorder=4, gid=f"{gid}-law")
    if panel.bound_levels:
        style = {**BOUND_STYLE, "zorder": 4, "gid": f"{gid}-bound"}
        axes.plot(panel.bound_levels, panel.bound_fractions, **style)
    for k, other in enumerate(panel.others):
        style = {**OTHER_STYLE, "zorder": 3, "gid": f"{gid}-other-{k}"}
        axes.plot(other.levels, other.fractions, **style)
    _draw_marks(panel, axes, up, gid)
    if not panel.peaks and not panel.law_levels:
        words_inside(page, axes, panel.message or "No peak was recorded.", box)
    lane_above(page, axes, marks_of(panel), across, box, (left - 9.0, left + width + 1.0))
    lane_beside(page, axes, rates_of(panel), up, box)

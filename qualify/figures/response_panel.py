"""One panel of responses: what was recorded, what bounds it, the line fitted through it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.path import Path

from qualify.figures.axes_parts import Box, Named, lane_above, lane_beside, split_line, words_inside
from qualify.figures.page import frame, size
from qualify.figures.palette import GREY, HIT, INK, MARKS, OUTSIDE, PAPER, SOLID, TINT, Dash
from qualify.figures.pod_panel import MARK_STYLES
from qualify.figures.scale import (
    PAD_MM,
    Scale,
    check_positive,
    level,
    level_scale,
    set_x,
    set_y,
    size_scale,
)

THRESHOLD: Dash = (0.0, (12.0, 1.8, 2.2, 1.8))
BESIDE_MM = 0.8  # marks this far apart along x show side by side
MARK_MM = 1.6  # from one stacked mark to the next
DEEP_MM = 3.0  # from the base of a triangle to free paper beyond its tip
DEEPEST = 0.3  # of the height of the axes: a stack is no deeper
Groups = dict[str, tuple[tuple[float, ...], tuple[float, ...]]]

EXACT_STYLE: dict[str, Any] = {
    **MARKS["hit"].style(),
    "markeredgecolor": PAPER,
    "markeredgewidth": 0.25,
}
# Triangles whose base lies at the value and whose tip points where the response can lie.
DOWNWARDS = Path([(-1.0, 0.0), (1.0, 0.0), (0.0, -1.7), (-1.0, 0.0)], closed=True)
UPWARDS = Path([(-1.0, 0.0), (1.0, 0.0), (0.0, 1.7), (-1.0, 0.0)], closed=True)
CARET: dict[str, Any] = {"linestyle": "none", "markersize": 6.4, "markeredgewidth": 0.8}
LEFT_STYLE: dict[str, Any] = {
    **CARET,
    "marker": DOWNWARDS,
    "color": HIT,
    "markerfacecolor": PAPER,
}
RIGHT_STYLE: dict[str, Any] = {**CARET, "marker": UPWARDS, "color": INK}
GROUP_STYLES: dict[str, dict[str, Any]] = {
    "exact": EXACT_STYLE,
    "left": LEFT_STYLE,
    "right": RIGHT_STYLE,
    "missed": MARKS["miss"].style(),
}
LINE_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.3, "linestyle": SOLID}
BAND_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.6, "linestyle": SOLID}
EDGE_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.9, "linestyle": (0.0, (1.0, 1.6))}
THRESHOLD_STYLE: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": THRESHOLD}


@dataclass(frozen=True, slots=True)
class ResponsePanel:
    """One population, mode and reader.

    Attributes
    ----------
    title, size_label, size_unit, response_label, response_unit : words and units of the axes.
    exact_sizes, exact_responses : (n,)
        Targets with a recorded response.
    left_sizes, left_limits : (k,)
        Targets whose response is at most the limit: nothing was recorded above the floor.
    right_sizes, right_limits : (m,)
        Targets whose response is at least the limit: saturated.
    missed_sizes, missed_limits : (j,)
        Targets that were missed and have no record; the limit is the threshold they stayed below.
    line_sizes, line_responses : (p,)
        The fitted mean line; empty where none was fitted, and `message` says why.
    band_low, band_high : (p,)
        The line less and plus 1.645 standard deviations of a response, at `line_sizes`; empty
        where no band is drawn.
    threshold, floor, ceiling : float or None
        Decision threshold, and the levels between which responses are recorded.
    a90, a90_95, limit : float or None
        Size with POD 0.90, its bound, and what a criterion asks of the bound.
    tested_range : (2,) or None
        Smallest and largest size that was tested.
    message : a remark; without a line, the reason for that.
    log_size, log_response : whether an axis is logarithmic.
    """

    title: str
    size_label: str
    size_unit: str
    response_label: str
    response_unit: str
    exact_sizes: tuple[float, ...] = ()
    exact_responses: tuple[float, ...] = ()
    left_sizes: tuple[float, ...] = ()
    left_limits: tuple[float, ...] = ()
    right_sizes: tuple[float, ...] = ()
    right_limits: tuple[float, ...] = ()
    missed_sizes: tuple[float, ...] = ()
    missed_limits: tuple[float, ...] = ()
    line_sizes: tuple[float, ...] = ()
    line_responses: tuple[float, ...] = ()
    band_low: tuple[float, ...] = ()
    band_high: tuple[float, ...] = ()
    threshold: float | None = None
    threshold_label: str = "decision threshold"
    floor: float | None = None
    ceiling: float | None = None
    a90: float | None = None
    a90_95: float | None = None
    limit: float | None = None
    tested_range: tuple[float, float] | None = None
    message: str | None = None
    log_size: bool = True
    log_response: bool = False


def groups_of(panel: ResponsePanel) -> Groups:
    """Sizes and levels of each kind of mark.

    Raises
    ------
    ValueError
        If sizes and responses of a kind differ in number.
    """
    groups = {
        "exact": (panel.exact_sizes, panel.exact_responses),
        "left": (panel.left_sizes, panel.left_limits),
        "right": (panel.right_sizes, panel.right_limits),
        "missed": (panel.missed_sizes, panel.missed_limits),
    }
    for name, (sizes, values) in groups.items():
        if len(sizes) != len(values):
            msg = f"{panel.title}: {len(sizes)} sizes and {len(values)} responses of kind '{name}'"
            raise ValueError(msg)
    return groups


def coinciding(panel: ResponsePanel) -> bool:
    """Whether marks of limits stand at one size and level, so that they are stacked."""
    groups = groups_of(panel)
    down = [*zip(*groups["left"], strict=True), *zip(*groups["missed"], strict=True)]
    up = list(zip(*groups["right"], strict=True))
    return len(set(down)) < len(down) or len(set(up)) < len(up)


def marks_of(panel: ResponsePanel) -> list[Named]:
    """Sizes that are marked in the lane above the axes."""
    named = (
        ("a90", panel.a90),
        ("a90/95", panel.a90_95),
        ("limit", panel.limit),
    )
    return [Named(n, size(v), v, MARK_STYLES[n]) for n, v in named if v is not None]


def levels_of(panel: ResponsePanel) -> list[Named]:
    """Levels that are marked in the lane beside the axes."""
    named = (
        ("ceiling", panel.ceiling, EDGE_STYLE),
        (panel.threshold_label, panel.threshold, THRESHOLD_STYLE),
        ("floor", panel.floor, EDGE_STYLE),
    )
    return [Named(n, level(v), v, style) for n, v, style in named if v is not None]


def x_scale(panel: ResponsePanel) -> Scale:
    """Axis of sizes."""
    base = [v for sizes, _ in groups_of(panel).values() for v in sizes]
    base += panel.tested_range or ()
    return size_scale(base, [mark.value for mark in marks_of(panel)], log=panel.log_size)


def _stack(places: Sequence[tuple[float, float]], step: float) -> list[float]:
    """How far marks move from their places, in mm along y, so that none lies over another.

    They are placed in order along y, and each one moves on to the first free place.
    """
    order = sorted(range(len(places)), key=lambda k: (places[k][1], places[k][0], k))
    taken: list[tuple[float, float]] = []
    moved = [0.0] * len(places)
    for k in order:
        x, y = places[k]
        near = sorted(at for other, at in taken if abs(other - x) < BESIDE_MM)
        for at in near:
            if abs(at - y) < step - 1e-9:
                y = at + step
        taken.append((x, y))
        moved[k] = y - places[k][1]
    return moved


def _stacked(places: Sequence[tuple[float, float]], height: float) -> list[float]:
    """Stack marks, closer to one another where they would fill too much of the axes."""
    moved = _stack(places, MARK_MM)
    deepest = max(moved, default=0.0)
    if deepest <= DEEPEST * height:
        return moved
    return _stack(places, MARK_MM * DEEPEST * height / deepest)


def _offsets(
    panel: ResponsePanel, upwards: Scale, width: float, height: float
) -> dict[str, list[float]]:
    """Millimetres that marks are moved the way their response can lie; down is negative."""
    groups, across = groups_of(panel), x_scale(panel)

    def places(name: str, sense: int) -> list[tuple[float, float]]:
        return [
            (across.fraction(size) * width, sense * upwards.fraction(value) * height)
            for size, value in zip(*groups[name], strict=True)
        ]

    down = [-v for v in _stacked(places("left", -1) + places("missed", -1), height)]
    first = len(panel.left_sizes)
    return {
        "exact": [0.0] * len(panel.exact_sizes),
        "left": down[:first],
        "right": _stacked(places("right", 1), height),
        "missed": down[first:],
    }


def y_scale(panel: ResponsePanel, width: float, height: float) -> Scale:
    """Axis of responses, with room for stacked marks at its ends."""
    groups = groups_of(panel)
    base = [v for _, values in groups.values() for v in values]
    base += [] if panel.threshold is None else [panel.threshold]
    near = [v for v in (panel.floor, panel.ceiling) if v is not None]
    near = near or list(panel.line_responses)
    given: dict[str, Any] = {"log": panel.log_response, "length_mm": height}
    scale = level_scale(base, near, **given)
    away = _offsets(panel, scale, width, height)
    below, above = PAD_MM, PAD_MM
    for name, room in (("left", DEEP_MM), ("missed", PAD_MM), ("right", DEEP_MM)):
        for value, moved in zip(groups[name][1], away[name], strict=True):
            at = scale.fraction(value) * height + moved
            if name == "right":
                above = max(above, at + room - (height - PAD_MM))
            else:
                below = max(below, PAD_MM - at + room)
    return level_scale(base, near, **given, below_mm=below, above_mm=above)


def _draw_line(panel: ResponsePanel, axes: Axes, gid: str) -> None:
    if panel.log_response:
        check_positive((*panel.line_responses, *panel.band_low), "the fitted line")
    outside = {**LINE_STYLE, "linestyle": OUTSIDE}
    points = (panel.line_sizes, panel.line_responses)
    high_low = (LINE_STYLE | {"zorder": 3}, outside | {"zorder": 3})
    split_line(axes, points, panel.tested_range, high_low, f"{gid}-line")
    for name, band in (("low", panel.band_low), ("high", panel.band_high)):
        if band:
            thin = {**BAND_STYLE, "zorder": 3}
            pair = (thin, {**thin, "linestyle": OUTSIDE})
            points = (panel.line_sizes, band)
            split_line(axes, points, panel.tested_range, pair, f"{gid}-band-{name}")


def draw_panel(page: Axes, panel: ResponsePanel, box: Box, index: int) -> None:
    """Draw the axes of one panel and both lanes; `box` is the place of the axes on the page."""
    left, top, width, height = box
    gid = f"response-{index}"
    axes = frame(page, left, top, width, height, gid)
    scale, upwards = x_scale(panel), y_scale(panel, width, height)
    set_x(axes, scale, width)
    set_y(axes, upwards, height)
    if panel.tested_range:
        axes.axvspan(*panel.tested_range, facecolor=TINT, linewidth=0, zorder=0)
    if panel.line_sizes:
        _draw_line(panel, axes, gid)
    away = _offsets(panel, upwards, width, height)
    groups = groups_of(panel)
    for name, (sizes, values) in groups.items():
        if sizes:
            heights = [
                upwards.at(upwards.fraction(value) + moved / height) if moved else value
                for value, moved in zip(values, away[name], strict=True)
            ]
            style = {**GROUP_STYLES[name], "zorder": 4, "clip_on": False, "gid": f"{gid}-{name}"}
            axes.plot(sizes, heights, **style)
    if not any(sizes for sizes, _ in groups.values()):
        words_inside(page, axes, panel.message or "No targets.", box)
    ends = (left - 9.0, left + width + 1.0)
    lane_above(page, axes, marks_of(panel), scale, box, ends)
    lane_beside(page, axes, levels_of(panel), upwards, box)

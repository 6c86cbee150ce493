"""One panel of a POD figure: targets, curves, and marks in a lane above the axes."""

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from matplotlib.axes import Axes

from qualify.figures.page import (
    frame,
    levels,
    line_height_mm,
    linear_ticks,
    log_ticks,
    number,
    size,
    spread,
    stroke,
    text_width_mm,
    wrap,
    write,
    write_lines,
)
from qualify.figures.palette import (
    BOUND,
    BOUND_OUTSIDE,
    ESTIMATE_MARK,
    GREY,
    INK,
    LIMIT,
    LIMIT_MARK,
    MARKS,
    OUTSIDE,
    PAPER,
    RULE,
    SMALL_PT,
    SOLID,
    TEXT_PT,
    TINT,
)

LEFT_MM = 12.0
LANE_MM = 9.6
MARK_MM = 1.35
PAD_MM = 1.6
REACH = 3.0  # a mark or limit further from the sizes than this factor is shown at the edge


@dataclass(frozen=True, slots=True)
class OtherCurve:
    """A curve beside the fitted one, drawn apart by the shape of its line.

    Attributes
    ----------
    name : in words, for the alternative text.
    style : `near` (a thin dotted line), `plateau` (hollow triangles), or `lowest`, `middle`,
        `highest` of a covariate (hollow circles, squares, diamonds).
    sizes, pod : (m,).
    a90 : size with POD 0.90 on it, None where there is none.
    """

    name: str
    style: Literal["near", "plateau", "lowest", "middle", "highest"]
    sizes: tuple[float, ...]
    pod: tuple[float, ...]
    a90: float | None


@dataclass(frozen=True, slots=True)
class PodPanel:
    """One population, mode and reader.

    Attributes
    ----------
    sizes, hits : (n,)
        A target each, in `size_unit`; True where it was found.
    curve_sizes, curve_pod : (m,)
        The fitted curve; empty where none was fitted, and `message` says why.
    bound_sizes, bound_pod : (k,)
        One-sided upper bound on the size at each POD; None where it does not exist.
    tested_range : (2,) or None
        Smallest and largest size that was tested.
    limit : float or None
        What a criterion asks of a90/95.
    others : curves of other models, in the tested range.
    """

    title: str
    size_label: str
    size_unit: str
    sizes: tuple[float, ...]
    hits: tuple[bool, ...]
    curve_sizes: tuple[float, ...] = ()
    curve_pod: tuple[float, ...] = ()
    bound_sizes: tuple[float | None, ...] = ()
    bound_pod: tuple[float, ...] = ()
    bound_label: str = "lower confidence curve"
    a90: float | None = None
    a90_95: float | None = None
    tested_range: tuple[float, float] | None = None
    message: str | None = None
    log_axis: bool = True
    limit: float | None = None
    curve_label: str = "fitted curve in the tested range"
    others: tuple[OtherCurve, ...] = ()


def _span(panel: PodPanel) -> tuple[float, float]:
    """Size axis: what was tested, and marks that are not far from it."""
    base = [*panel.sizes, *(panel.tested_range or ())]
    marks = [v for v in (panel.a90, panel.a90_95, panel.limit) if v is not None]
    base = base or marks or [*panel.curve_sizes] or [1.0]
    if panel.log_axis:
        base = [v for v in base if v > 0] or [1.0]
        low, high = min(base), max(base)
        near = [v for v in marks if low / REACH <= v <= high * REACH]
        low, high = min([low, *near]), max([high, *near])
        pad = max((high / low) ** 0.06, 1.1)
        return low / pad, high * pad
    low, high = min(base), max(base)
    near = [v for v in marks if v <= high * REACH]
    low, high = min([low, *near]), max([high, *near])
    pad = 0.05 * (high - low) or 0.1 * abs(high) or 1.0
    return (max(low - pad, 0.0) if low >= 0 else low - pad), high + pad


def _fraction(panel: PodPanel, value: float, span: tuple[float, float]) -> float:
    if panel.log_axis:
        low, high = math.log(span[0]), math.log(span[1])
        return (math.log(max(value, 1e-300)) - low) / (high - low)
    return (value - span[0]) / (span[1] - span[0])


def _size_axis(panel: PodPanel, axes: Axes, span: tuple[float, float], width: float) -> None:
    axes.set_xlim(*span)
    if panel.log_axis:
        axes.set_xscale("log")
        axes.set_xlim(*span)
    ticks = log_ticks(*span) if panel.log_axis else linear_ticks(*span, 6)
    kept: list[float] = []
    end = -math.inf
    for tick in ticks:
        middle = _fraction(panel, tick, span) * width
        half = text_width_mm(number(tick), SMALL_PT) / 2
        if middle - half >= end + 1.0 and middle + half <= width + 1.4:
            kept.append(tick)
            end = middle + half
    axes.set_xticks(kept, [number(tick) for tick in kept])
    axes.set_xticks([], minor=True)


def _targets(
    panel: PodPanel, axes: Axes, span: tuple[float, float], size: tuple[float, float], index: int
) -> None:
    """Draw a mark for every target: hits stacked upwards from 1, misses downwards from 0."""
    width, height = size
    stacks: dict[bool, tuple[list[float], list[int]]] = {}
    for hit in (True, False):
        chosen = [v for v, found in zip(panel.sizes, panel.hits, strict=True) if found is hit]
        places = [_fraction(panel, v, span) * width for v in chosen]
        stacks[hit] = (chosen, levels(places, MARK_MM))
    band = 0.24 * height
    steps, bands = {}, {}
    for hit, (_, level) in stacks.items():
        deepest = max(level, default=0)
        steps[hit] = min(MARK_MM, (band - PAD_MM) / deepest) if deepest else MARK_MM
        bands[hit] = deepest * steps[hit] + PAD_MM
    per_mm = 1.0 / (height - bands[True] - bands[False])
    axes.set_ylim(-bands[False] * per_mm, 1.0 + bands[True] * per_mm)
    for hit, (chosen, level) in stacks.items():
        way = steps[hit] * per_mm * (1 if hit else -1)
        heights = [float(hit) + k * way for k in level]
        mark = MARKS["hit" if hit else "miss"]
        gid = f"pod-{index}-{'hits' if hit else 'misses'}"
        edge = {"markeredgecolor": PAPER, "markeredgewidth": 0.25} if hit else {}
        style: dict[str, Any] = {**mark.style(), **edge, "zorder": 4, "gid": gid, "clip_on": False}
        axes.plot(chosen, heights, **style)


def _split(
    panel: PodPanel, sizes: Any, pod: Any, axes: Axes, inside: Any, outside: Any, **style: Any
) -> None:
    """Draw a curve in one line style inside the tested range and in another outside it."""
    x = np.array([np.nan if v is None else v for v in sizes], dtype=float)
    y = np.array(pod, dtype=float)
    low, high = panel.tested_range or (-math.inf, math.inf)
    within = (x >= low) & (x <= high)
    for part, dashes in ((within, inside), (~within, outside)):
        grown = part.copy()
        if dashes is outside:
            grown[:-1] |= part[1:]
            grown[1:] |= part[:-1]
        axes.plot(x, np.where(grown, y, np.nan), linestyle=dashes, **style)


CURVE_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.3}
BOUND_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 1.0}
WITH_MARKS: dict[str, Any] = {"color": GREY, "linewidth": 1.0, "linestyle": SOLID}
HOLLOW: dict[str, Any] = {"markersize": 3.6, "markerfacecolor": PAPER, "markeredgewidth": 0.8}
OTHER_STYLES: dict[str, dict[str, Any]] = {
    "near": {"color": INK, "linewidth": 0.8, "linestyle": (0.0, (1.0, 1.6))},
    "plateau": {**WITH_MARKS, **HOLLOW, "marker": "^"},
    "lowest": {**WITH_MARKS, **HOLLOW, "marker": "o"},
    "middle": {**WITH_MARKS, **HOLLOW, "marker": "s"},
    "highest": {**WITH_MARKS, **HOLLOW, "marker": "D"},
}
MARK_EVERY = 8  # of the points of a curve that carries marks
MARK_STYLES: dict[str, dict[str, Any]] = {
    "a90": {"color": INK, "linewidth": 0.7, "linestyle": ESTIMATE_MARK},
    "a90/95": {"color": INK, "linewidth": 0.9, "linestyle": SOLID},
    "limit": {"color": LIMIT, "linewidth": 0.8, "linestyle": LIMIT_MARK},
}


def marks_of(panel: PodPanel) -> list[tuple[str, float]]:
    """Names and values of the marks of a panel, by ascending size."""
    named = (("a90", panel.a90), ("a90/95", panel.a90_95), ("limit", panel.limit))
    return sorted(((n, v) for n, v in named if v is not None), key=lambda item: item[1])


def _mark_lane(
    page: Axes,
    panel: PodPanel,
    axes: Axes,
    span: tuple[float, float],
    box: tuple[float, float, float],
    column: tuple[float, float],
) -> None:
    """Draw a90, a90/95 and the limit as lines, with names and values in a lane above the axes."""
    left, top, width = box
    found = marks_of(panel)
    texts, wanted = [], []
    for name, value in found:
        at = _fraction(panel, value, span)
        beyond = "" if 0 <= at <= 1 else (" →" if at > 1 else " ←")
        texts.append((name, size(value) + beyond))
        wanted.append(left + width * min(max(at, 0.0), 1.0))
        if not beyond:
            axes.axvline(value, **MARK_STYLES[name], zorder=2)
    widths = [max(text_width_mm(text, TEXT_PT, bold=True) for text in pair) for pair in texts]
    centres = spread(wanted, widths, *column, 1.2) or wanted
    for (name, value), text, x, centre in zip(found, texts, wanted, centres, strict=True):
        colour = MARK_STYLES[name]["color"]
        inside = 0 <= _fraction(panel, value, span) <= 1
        if inside:
            style = {"color": colour, "linewidth": 0.5}
            stroke(page, [(centre, top - 2.9), (x, top - 0.2)], **style)
        middle = {"ha": "center", "color": colour}
        write(page, centre, top - LANE_MM + 0.4, text[0], **middle)
        write(page, centre, top - LANE_MM + 3.3, text[1], bold=True, **middle)


def draw_panel(
    page: Axes, panel: PodPanel, place: tuple[float, float], size: tuple[float, float], index: int
) -> None:
    """Draw one panel; `place` is the top left of its axes, `size` their width and height."""
    (left, top), (width, height) = place, size
    axes = frame(page, left, top, width, height, f"pod-{index}")
    span = _span(panel)
    _size_axis(panel, axes, span, width)
    _targets(panel, axes, span, size, index)
    axes.set_yticks([0, 0.5, 0.9, 1], ["0", "0.5", "0.9", "1"])
    axes.axhline(0.9, color=RULE, linewidth=0.5, zorder=1)
    if panel.tested_range:
        axes.axvspan(*panel.tested_range, facecolor=TINT, linewidth=0, zorder=0)
    if panel.curve_sizes:
        style = {**CURVE_STYLE, "zorder": 3}
        _split(panel, panel.curve_sizes, panel.curve_pod, axes, SOLID, OUTSIDE, **style)
    if panel.bound_sizes:
        style = {**BOUND_STYLE, "zorder": 3}
        _split(panel, panel.bound_sizes, panel.bound_pod, axes, BOUND, BOUND_OUTSIDE, **style)
    for k, other in enumerate(panel.others):
        style = {**OTHER_STYLES[other.style], "zorder": 3, "gid": f"pod-{index}-other-{k}"}
        axes.plot(other.sizes, other.pod, markevery=MARK_EVERY, **style)
    if not panel.curve_sizes:
        words = panel.message or ("No curve was fitted." if panel.sizes else "No targets.")
        lines = wrap(words, width - 5.0, TEXT_PT)
        step = line_height_mm(TEXT_PT)
        y = top + height / 2 - len(lines) * step / 2
        white = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
        axes.set_zorder(-1)
        write_lines(page, left + width / 2, y, lines, ha="center", bbox=white)
    write(
        page,
        left - LEFT_MM + 1.0,
        top + height / 2,
        "probability of detection",
        ha="left",
        va="center",
        rotation=90,
    )
    _mark_lane(page, panel, axes, span, (left, top, width), (left - LEFT_MM + 1, left + width + 1))

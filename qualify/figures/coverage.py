"""What each mode covers of one region, drawn as outlines that differ by shape and hatch."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from numpy.typing import NDArray

from qualify.figures.contours import edge_of, path_of
from qualify.figures.image_axes import AXIS_FOOT_MM, LEFT_MM, RIGHT_MM, map_axes
from qualify.figures.image_panel import Axis, Region, region_of, region_words, share_words
from qualify.figures.page import line_height_mm, new_page, text_width_mm, wrap, write_lines
from qualify.figures.palette import (
    FALSE_CALL,
    GREY,
    HIT,
    INK,
    LIMIT,
    MISS,
    PAPER,
    SOLID,
    TEXT_PT,
    Dash,
    styled,
)

SAMPLE_MM = (11.0, 5.0)
ROW_MM = 7.4
TALLEST_IMAGE_MM = 120.0
MOST = 6


@dataclass(frozen=True, slots=True, eq=False)
class CoverageView:
    """What one mode covers: `covered` (rows, columns) over centres x (columns,) and z (rows,)."""

    mode: str
    x_mm: Axis
    z_mm: Axis
    covered: NDArray[np.bool_]

    def __post_init__(self) -> None:
        wanted = (len(self.z_mm), len(self.x_mm))
        if np.shape(self.covered) != wanted or np.asarray(self.covered).dtype != np.bool_:
            msg = f"mode {self.mode}: covered is true or false of the shape {wanted}"
            raise ValueError(msg)

    @property
    def region(self) -> Region:
        """Outer edges of the pixels."""
        return region_of(self.x_mm, self.z_mm)


@dataclass(frozen=True, slots=True)
class _Look:
    hatch: str
    dash: Dash
    marker: str
    colour: str


LOOKS = (
    _Look("//", SOLID, "o", HIT),
    _Look("\\\\", (0.0, (5.0, 2.0)), "s", MISS),
    _Look("||", (0.0, (1.2, 1.6)), "^", LIMIT),
    _Look("--", (0.0, (7.0, 1.6, 1.2, 1.6)), "D", INK),
    _Look("..", (0.0, (3.0, 1.0)), "v", GREY),
    _Look("++", (0.0, (9.0, 3.0)), "P", FALSE_CALL),
)


@dataclass(frozen=True, slots=True)
class _Group:
    """Modes that cover the same pixels share one outline."""

    modes: tuple[str, ...]
    first: CoverageView

    @property
    def words(self) -> str:
        named = "; ".join(self.modes)
        if not np.any(self.first.covered):
            return f"{named}: nothing covered, no outline"
        return f"{named}: {share_words(self.first.covered)} of the region"


def _groups(views: tuple[CoverageView, ...]) -> list[_Group]:
    groups: list[tuple[CoverageView, list[str]]] = []
    for view in views:
        for first, modes in groups:
            if np.array_equal(first.covered, view.covered):
                modes.append(view.mode)
                break
        else:
            groups.append((view, [view.mode]))
    return [_Group(tuple(modes), first) for first, modes in groups]


def _check(views: tuple[CoverageView, ...]) -> None:
    if not 1 <= len(views) <= MOST:
        msg = f"a figure shows what 1 to {MOST} modes cover, found {len(views)}"
        raise ValueError(msg)
    first = views[0].region
    for view in views[1:]:
        if not np.allclose(view.region, first, atol=1e-6 * (first[1] - first[0]), rtol=0.0):
            msg = (
                f"modes are compared on one region; {views[0].mode} has {region_words(first)}, "
                f"{view.mode} {region_words(view.region)}"
            )
            raise ValueError(msg)


def _line_style(look: _Look) -> dict[str, Any]:
    return {"color": look.colour, "linewidth": 1.1, "linestyle": look.dash}


def _mark_style(look: _Look) -> dict[str, Any]:
    return {
        "linestyle": "none",
        "marker": look.marker,
        "markersize": 4.0,
        "markerfacecolor": PAPER,
        "markeredgecolor": look.colour,
        "markeredgewidth": 0.9,
    }


def _along(ring: NDArray[np.float64], apart: float, start: float) -> NDArray[np.float64]:
    """Points (n, 2) along a closed line, evenly apart; `start` (0 to 1) shifts them."""
    steps = np.hypot(*np.diff(ring, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    count = max(int(length[-1] / apart), 1)
    wanted = (np.arange(count) + start) * length[-1] / count
    return np.stack([np.interp(wanted, length, ring[:, k]) for k in (0, 1)], axis=1)


def _draw_group(axes: Axes, group: _Group, k: int, count: int, scale: float) -> None:
    found = edge_of(np.asarray(group.first.covered), group.first.x_mm, group.first.z_mm)
    if not found:
        return
    look = LOOKS[k]
    style = {"fill": False, "hatch": look.hatch, "edgecolor": look.colour, "linewidth": 0.0}
    axes.add_patch(PathPatch(path_of(found), **style, alpha=0.9, zorder=2, gid=f"covered-{k}"))
    for polygon in found:
        line = Line2D(*polygon.T, **_line_style(look), zorder=3 + k, clip_on=False)
        marks = _along(polygon, 14.0 / scale, (k + 0.5) / count)
        axes.add_line(line)
        axes.add_line(Line2D(*marks.T, **_mark_style(look), zorder=10 + k, clip_on=False))


def _draw_sample(page: Axes, left: float, top: float, look: _Look) -> None:
    width, height = SAMPLE_MM
    right, bottom = left + width, top + height
    box = np.array([(left, top), (right, top), (right, bottom), (left, bottom), (left, top)])
    hatch = {"fill": False, "hatch": look.hatch, "edgecolor": look.colour, "linewidth": 0.0}
    page.add_patch(PathPatch(Path(box, closed=True), **hatch))
    page.add_line(Line2D(*box.T, **_line_style(look)))
    marks = np.array([(left + width / 2, top), (left + width / 2, top + height)])
    page.add_line(Line2D(*marks.T, **_mark_style(look), zorder=4))


@styled
def coverage_figure(
    views: tuple[CoverageView, ...], *, width_mm: float = 150.0, mark: str = ""
) -> Figure:
    """Draw what each mode covers as an outline with hatch, line and marks of its own.

    Modes that cover the same pixels share one outline. Scales in x and depth are equal.

    Raises
    ------
    ValueError
        If there are no views or more than six, or they do not show one region.
    """
    _check(views)
    groups = _groups(views)
    x_from, x_to, z_from, z_to = region = views[0].region
    inner = width_mm - LEFT_MM - RIGHT_MM
    scale = min(inner / (x_to - x_from), TALLEST_IMAGE_MM / (z_to - z_from))
    size = ((x_to - x_from) * scale, (z_to - z_from) * scale)
    words_mm = width_mm - SAMPLE_MM[0] - 6.0
    told = [wrap(group.words, words_mm, TEXT_PT) for group in groups]
    step = line_height_mm(TEXT_PT)
    heights = [max(ROW_MM, len(lines) * step + 1.5) for lines in told]
    deep = max(size[1] + AXIS_FOOT_MM, text_width_mm("depth (mm)") + 1.0) + 2.0
    figure, page = new_page(width_mm, 2.5 + deep + sum(heights), mark=mark)
    axes = map_axes(page, region, (LEFT_MM, 2.5), size, "coverage")
    for k, group in enumerate(groups):
        _draw_group(axes, group, k, len(groups), scale)
    top = 2.5 + deep
    for k, (lines, height) in enumerate(zip(told, heights, strict=True)):
        if np.any(groups[k].first.covered):
            _draw_sample(page, 1.5, top, LOOKS[k])
        middle = top + SAMPLE_MM[1] / 2 - len(lines) * step / 2
        write_lines(page, SAMPLE_MM[0] + 4.5, max(middle, top), lines)
        top += height
    return figure


def coverage_alt_text(views: tuple[CoverageView, ...]) -> str:
    """Return words for the figure: the region, and the share of it that each mode covers."""
    _check(views)
    told = [f"{group.words}." for group in _groups(views)]
    return " ".join([f"Coverage of {region_words(views[0].region)}.", *told])

"""The drawn region of an image panel: pixels to scale, what is not covered, scale bar, targets."""

import math
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Ellipse, Patch, PathPatch, Rectangle
from matplotlib.patheffects import Normal, Stroke

from qualify.figures.contours import edge_of, path_of, rings
from qualify.figures.image_panel import ImagePanel, Region, TrueTarget
from qualify.figures.page import (
    Key,
    frame,
    line_height_mm,
    linear_ticks,
    place,
    stroke,
    text_width_mm,
    write,
)
from qualify.figures.palette import (
    GREY,
    INK,
    LIMIT,
    MM_PER_INCH,
    PAPER,
    PNG_DPI,
    SMALL_PT,
    SOLID,
    TEXT_PT,
    Dash,
)
from qualify.figures.ramps import colour_map

LEFT_MM = 12.0
RIGHT_MM = 3.0
AXIS_FOOT_MM = 8.2
LANE_MM = 5.0
SIMULATED = "SIMULATED"
SMALLEST_MM = 1.6  # in print: a target smaller than this gets cross hairs
DOTS_PER_MM = PNG_DPI / MM_PER_INCH

NOT_COVERED: dict[str, Any] = {"fc": PAPER, "ec": GREY, "hatch": "/////", "lw": 0.0}
CONTOUR: dict[str, Any] = {"color": PAPER, "linewidth": 1.0, "linestyle": SOLID}
CASING_PT = 2.4
TRUTH: dict[str, Any] = {"color": LIMIT, "linewidth": 1.0, "linestyle": SOLID}
CASED_KEY: dict[str, Any] = {
    "path_effects": [Stroke(linewidth=CASING_PT, foreground=INK), Normal()]
}
CONTOUR_KEY = Key("threshold of the panel reached inside this line", {**CONTOUR, **CASED_KEY})
NOT_COVERED_KEY = Key("not covered: no value", {**NOT_COVERED, "lw": 0.5}, patch=True)
TRUTH_KEY = Key("target as built, to scale; with cross hairs where it is too small to see", TRUTH)


def cells(
    drawn: "np.ma.MaskedArray[Any, Any]", columns_most: int, rows_most: int
) -> tuple["np.ma.MaskedArray[Any, Any]", tuple[int, int]]:
    """Return what fits the dots of the print: pixels as they are, or the largest of each block.

    Leaving out every second pixel could leave out the one that matters. Returns the cells and the
    pixels (columns, rows) in each; the last block may stand over the edge.
    """
    rows, columns = drawn.shape
    across = max(1, math.ceil(columns / max(columns_most, 1)))
    down = max(1, math.ceil(rows / max(rows_most, 1)))
    if across == down == 1:
        return drawn, (1, 1)
    held = drawn.filled(-np.inf)
    held = np.pad(held, ((0, -rows % down), (0, -columns % across)), constant_values=-np.inf)
    blocks = held.reshape(held.shape[0] // down, down, -1, across).max(axis=(1, 3))
    return np.ma.masked_array(blocks, mask=np.isneginf(blocks)), (across, down)


def pixels_in_cell(panel: ImagePanel, size_mm: tuple[float, float]) -> tuple[int, int]:
    """Return pixels (columns, rows) in one printed cell of an image of this printed size."""
    dots = [max(int(side * DOTS_PER_MM + 1e-6), 1) for side in size_mm]
    rows, columns = np.shape(panel.values)
    return math.ceil(columns / dots[0]), math.ceil(rows / dots[1])


def _down_ticks(low: float, high: float, length_mm: float) -> list[float]:
    return linear_ticks(low, high, min(max(int(length_mm / 5.0), 3), 9))


def _across_ticks(low: float, high: float, length_mm: float) -> list[float]:
    """Round places along x whose labels neither touch nor stand over the edge of the panel."""
    kept: list[float] = []
    end = -math.inf
    for tick in linear_ticks(low, high, min(max(int(length_mm / 7.0), 4), 9)):
        middle = (tick - low) / (high - low) * length_mm
        half = text_width_mm(place(tick), SMALL_PT) / 2
        if middle - half >= max(end + 1.5, -3.0) and middle + half <= length_mm + RIGHT_MM:
            kept.append(tick)
            end = middle + half
    return kept


def map_axes(
    page: Axes, region: Region, at: tuple[float, float], size: tuple[float, float], label: str
) -> Axes:
    """Add axes over a region, x to the right and depth downwards, ticked and named.

    `at` is their top left on the page and `size` their width and height, of the region's own
    proportion, so that one millimetre is as long in depth as in x.
    """
    (left, top), (width, height) = at, size
    x_from, x_to, z_from, z_to = region
    axes = frame(page, left, top, width, height, label)
    axes.set_xlim(x_from, x_to)
    axes.set_ylim(z_to, z_from)
    for spine in axes.spines.values():
        spine.set_visible(True)
    across = _across_ticks(x_from, x_to, width)
    down = _down_ticks(z_from, z_to, height)
    axes.set_xticks(across, [place(tick) for tick in across])
    axes.set_yticks(down, [place(tick) for tick in down])
    write(page, left + width / 2, top + height + 4.4, "x (mm)", ha="center")
    middle = top + max(height, text_width_mm("depth (mm)")) / 2
    write(page, left - LEFT_MM + 0.6, middle, "depth (mm)", rotation=90, ha="left", va="center")
    return axes


def hatch_ground(axes: Axes, region: Region) -> None:
    """Lay the hatch of what is not covered under the whole region."""
    x_from, x_to, z_from, z_to = region
    ground = Rectangle((x_from, z_from), x_to - x_from, z_to - z_from, **NOT_COVERED, zorder=0)
    axes.add_patch(ground)


def _cased(patch: Patch | Line2D) -> None:
    patch.set_path_effects([Stroke(linewidth=CASING_PT, foreground=PAPER), Normal()])


def _target_mark(target: TrueTarget) -> Patch | Line2D:
    x, z, half_x, half_z = target.x_mm, target.z_mm, target.half_x_mm, target.half_z_mm
    if target.shape == "slot":
        way = -1.0 if target.rising else 1.0
        return Line2D([x - half_x, x + half_x], [z - way * half_z, z + way * half_z], **TRUTH)
    line = {"fill": False, "edgecolor": TRUTH["color"], "linewidth": TRUTH["linewidth"]}
    if target.shape == "hole":
        return Ellipse((x, z), 2 * half_x, 2 * half_z, **line)
    return Rectangle((x - half_x, z - half_z), 2 * half_x, 2 * half_z, **line)


def draw_truth(
    axes: Axes, targets: tuple[TrueTarget, ...], scale: float, *, dash: Dash = SOLID
) -> None:
    """Draw targets to scale (`scale` is millimetres of print for one of the block)."""
    for k, target in enumerate(targets):
        mark = _target_mark(target)
        mark.set_gid(f"{axes.get_label()}-truth-{k}")
        marks: list[Patch | Line2D] = [mark]
        if 2 * max(target.half_x_mm, target.half_z_mm) * scale < SMALLEST_MM:
            near, far = 1.0 / scale, 2.2 / scale
            for way_x, way_z in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                xs = [target.x_mm + way_x * near, target.x_mm + way_x * far]
                zs = [target.z_mm + way_z * near, target.z_mm + way_z * far]
                marks.append(Line2D(xs, zs, **TRUTH))
        for part in marks:
            part.set_zorder(5)
            part.set_linestyle(dash)
            _cased(part)
            axes.add_artist(part)


def _draw_contour(axes: Axes, panel: ImagePanel) -> None:
    """Draw the line inside which the threshold is reached, white on a dark casing."""
    if not panel.contour or panel.threshold is None or min(np.shape(panel.values)) < 2:
        return
    found = rings(panel.x_mm, panel.z_mm, panel.drawn(), panel.threshold)
    for k, ring in enumerate(found):
        line = Line2D(*ring.T, **CONTOUR, zorder=4, gid=f"{axes.get_label()}-threshold-{k}")
        line.set_path_effects(CASED_KEY["path_effects"])
        axes.add_line(line)


def draw_image(
    page: Axes, panel: ImagePanel, at: tuple[float, float], size: tuple[float, float], index: int
) -> None:
    """Draw the pixels, unsmoothed and to scale, over the hatch of what is not covered."""
    axes = map_axes(page, panel.region, at, size, f"image-{index}")
    x_from, x_to, z_from, z_to = panel.region
    rows, columns = np.shape(panel.values)
    across, down = pixels_in_cell(panel, size)
    shown, _ = cells(panel.drawn(), math.ceil(columns / across), math.ceil(rows / down))
    right = x_from + (x_to - x_from) * across * shown.shape[1] / columns
    bottom = z_from + (z_to - z_from) * down * shown.shape[0] / rows
    hatch_ground(axes, panel.region)
    axes.imshow(
        shown,
        cmap=colour_map(panel.unit),
        vmin=panel.low,
        vmax=panel.high,
        extent=(x_from, right, bottom, z_from),
        origin="upper",
        aspect="auto",
        interpolation="none",
        zorder=1,
        gid=f"image-{index}-values",
    )
    axes.set_xlim(x_from, x_to)
    axes.set_ylim(z_to, z_from)
    if not np.all(panel.covered) and np.any(panel.covered):
        edge = path_of(edge_of(np.asarray(panel.covered), panel.x_mm, panel.z_mm))
        axes.add_patch(PathPatch(edge, fill=False, edgecolor=INK, linewidth=0.6, zorder=3))
    _draw_contour(axes, panel)
    if panel.truth:
        draw_truth(axes, panel.truth, size[0] / (x_to - x_from))


def scale_words(panel: ImagePanel) -> str:
    """Name of the scale bar."""
    return f"{place(panel.scale_bar_mm)} mm"


def _lane_parts(panel: ImagePanel, scale: float) -> tuple[float, float]:
    """Widths of the frame of SIMULATED (0 without), and of the scale bar with its name."""
    frame_mm = text_width_mm(SIMULATED, TEXT_PT, bold=True) + 2.4
    bar_mm = panel.scale_bar_mm * scale + 1.0 + text_width_mm(scale_words(panel))
    return (frame_mm if panel.signal == "simulated" else 0.0), bar_mm


def lane_mm(panel: ImagePanel, scale: float, column_mm: float) -> float:
    """Height of the lane above an image: two lines where frame and scale bar need them."""
    frame_mm, bar_mm = _lane_parts(panel, scale)
    return LANE_MM * (1 if frame_mm + bar_mm + 3.0 <= column_mm else 2)


def draw_lane(
    page: Axes, panel: ImagePanel, bottom_left: tuple[float, float], scale: float, column_mm: float
) -> None:
    """Draw SIMULATED and the scale bar in the lane above an image; `bottom_left` is the image's."""
    left, bottom = bottom_left
    column_left = left - LEFT_MM + 0.6
    frame_mm, bar_mm = _lane_parts(panel, scale)
    high = lane_mm(panel, scale, column_mm)
    if frame_mm:
        middle, tall = bottom - high + 2.2, line_height_mm(TEXT_PT) + 0.3
        box = Rectangle(
            (column_left, middle - tall / 2), frame_mm, tall, fill=False, ec=INK, lw=0.7
        )
        page.add_patch(box)
        words = {"bold": True, "ha": "center", "va": "center"}
        write(page, column_left + frame_mm / 2, middle, SIMULATED, **words)
    middle = bottom - LANE_MM + 2.2
    least = column_left + bar_mm + (frame_mm + 2.0 if high == LANE_MM and frame_mm else 0.0)
    right = max(left + (panel.region[1] - panel.region[0]) * scale, least)
    ends = (right - panel.scale_bar_mm * scale, right)
    stroke(
        page, [(x, middle) for x in ends], color=INK, linewidth=1.6,
        solid_capstyle="butt", gid="scale-bar",
    )  # fmt: skip
    for x in ends:
        stroke(page, [(x, middle - 0.9), (x, middle + 0.9)], color=INK, linewidth=0.6)
    write(page, ends[0] - 1.0, middle, scale_words(panel), ha="right", va="center")

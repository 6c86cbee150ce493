"""Images of one region, a panel for each mode, at the same scale and each with its colour bar."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.image_axes import (
    AXIS_FOOT_MM,
    CONTOUR_KEY,
    LEFT_MM,
    NOT_COVERED_KEY,
    RIGHT_MM,
    SIMULATED,
    TRUTH_KEY,
    draw_image,
    draw_lane,
    lane_mm,
    pixels_in_cell,
)
from qualify.figures.image_bar import bar_height_mm, bar_words, draw_bar
from qualify.figures.image_panel import (
    ImagePanel,
    TrueTarget,
    found,
    largest,
    region_words,
    share_words,
)
from qualify.figures.page import (
    Key,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    place,
    text_width_mm,
    wrap,
    write_lines,
)
from qualify.figures.palette import INK, LIMIT, SMALL_PT, TEXT_PT, TITLE_PT, styled

__all__ = ["ImagePanel", "TrueTarget", "alt_text", "image_figure", "modes_figure"]

GAP_MM = 4.0
TALLEST_MM = 240.0
SHORTEST_MM = 12.0  # height of an image that would not fit a page otherwise
MOST = 6
WORTH = 2.0  # times larger: then images stand below one another
COLUMNS = {1: 1, 2: 2, 3: 3, 4: 2, 5: 3, 6: 3}
REJECTED = "rejected by the quality gate"

Line = tuple[str, float, bool, str]


def _header(panel: ImagePanel, width_mm: float, cell: tuple[int, int]) -> list[Line]:
    """Lines above an image: mode, method, why it was rejected, what covers how much, notes."""
    lines = [(t, TITLE_PT, True, INK) for t in wrap(panel.mode, width_mm, TITLE_PT, bold=True)]
    lines += [(t, TEXT_PT, False, INK) for t in wrap(panel.method, width_mm)]
    if panel.rejected:
        words = f"✕ {REJECTED}: {'; '.join(panel.rejected)}"
        lines += [(t, TEXT_PT, True, LIMIT) for t in wrap(words, width_mm, bold=True)]
    small = [f"covered: {share_words(panel.covered)} of the region", *panel.notes]
    if cell != (1, 1):
        small.append(f"printed: the largest of each {cell[0]} × {cell[1]} pixels")
    return [
        *lines,
        *((t, SMALL_PT, False, INK) for words in small for t in wrap(words, width_mm, SMALL_PT)),
    ]


def _header_mm(lines: Sequence[Line]) -> float:
    return sum(line_height_mm(size) for _, size, _, _ in lines)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Columns of the figure, and millimetres of print for one of the block."""

    columns: int
    inner_mm: float
    scale: float
    region_mm: tuple[float, float]

    @property
    def image_mm(self) -> tuple[float, float]:
        return self.region_mm[0] * self.scale, self.region_mm[1] * self.scale

    @property
    def column_mm(self) -> float:
        return self.inner_mm + LEFT_MM - 0.6

    @property
    def deep_mm(self) -> float:
        """Height of an image, or of the name of its depth axis where that is longer."""
        return max(self.image_mm[1], text_width_mm("depth (mm)"))

    def header(self, panel: ImagePanel) -> list[Line]:
        return _header(panel, self.column_mm, pixels_in_cell(panel, self.image_mm))

    def rows(self, panels: tuple[ImagePanel, ...]) -> list["_Row"]:
        rows = []
        for first in range(0, len(panels), self.columns):
            part = panels[first : first + self.columns]
            head = max(_header_mm(self.header(panel)) for panel in part)
            lane = max(lane_mm(panel, self.scale, self.column_mm) for panel in part)
            bar = max(bar_height_mm(panel, self.inner_mm) for panel in part)
            deep = max(self.deep_mm + AXIS_FOOT_MM - 4.0, self.image_mm[1] + AXIS_FOOT_MM)
            rows.append(_Row(part, head + lane + 0.8, deep, bar))
        return rows


@dataclass(frozen=True, slots=True)
class _Row:
    panels: tuple[ImagePanel, ...]
    above_mm: float
    deep_mm: float
    bar_mm: float

    @property
    def height_mm(self) -> float:
        return self.above_mm + self.deep_mm + self.bar_mm + 3.5


def _fitted(
    panels: tuple[ImagePanel, ...], columns: int, width_mm: float, more_mm: float
) -> _Layout:
    """Return the largest scale at which the panels fit the width and, with their words, a page."""
    inner = (width_mm - GAP_MM * (columns - 1)) / columns - LEFT_MM - RIGHT_MM
    x_from, x_to, z_from, z_to = panels[0].region
    region = (x_to - x_from, z_to - z_from)
    layout = _Layout(columns, inner, inner / region[0], region)
    for _ in range(2):  # the words above an image may need more room at a smaller scale
        rows = layout.rows(panels)
        words = sum(row.height_mm - row.deep_mm + AXIS_FOOT_MM for row in rows) + more_mm
        room = max((TALLEST_MM - words) / len(rows), SHORTEST_MM)
        scale = min(layout.scale, room / region[1])
        layout = _Layout(columns, inner, scale, region)
    return layout


def _arrange(panels: tuple[ImagePanel, ...], width_mm: float, more_mm: float) -> _Layout:
    """Choose the columns: side by side, unless fewer columns show the images much larger."""
    usual = COLUMNS[len(panels)]
    chosen = _fitted(panels, usual, width_mm, more_mm)
    for columns in range(usual - 1, 0, -1):
        layout = _fitted(panels, columns, width_mm, more_mm)
        if layout.scale >= WORTH * chosen.scale:
            chosen = layout
    return chosen


def _keys(panels: tuple[ImagePanel, ...]) -> list[Key]:
    keys = []
    if not all(np.all(panel.covered) for panel in panels):
        keys.append(NOT_COVERED_KEY)
    if any(panel.contour and panel.threshold is not None for panel in panels):
        keys.append(CONTOUR_KEY)
    if any(panel.truth for panel in panels):
        keys.append(TRUTH_KEY)
    return keys


def _check_together(panels: tuple[ImagePanel, ...]) -> None:
    if not 1 <= len(panels) <= MOST:
        msg = f"a figure shows 1 to {MOST} images, found {len(panels)}"
        raise ValueError(msg)
    first = panels[0].region
    for panel in panels[1:]:
        if not np.allclose(panel.region, first, atol=1e-6 * (first[1] - first[0]), rtol=0.0):
            msg = (
                f"images side by side show one region; mode {panels[0].mode} shows "
                f"{region_words(first)}, mode {panel.mode} {region_words(panel.region)}"
            )
            raise ValueError(msg)


def _draw_panel(
    page: Axes, layout: _Layout, row: _Row, k: int, at: tuple[float, float], index: int
) -> None:
    panel, (left, top) = row.panels[k], at
    y = top
    for text, size, bold, colour in layout.header(panel):
        style = {"size_pt": size, "bold": bold, "color": colour}
        y = write_lines(page, left - LEFT_MM + 0.6, y, [text], **style)
    image_top = top + row.above_mm
    draw_lane(page, panel, (left, image_top), layout.scale, layout.column_mm)
    draw_image(page, panel, (left, image_top), layout.image_mm, index)
    draw_bar(page, panel, (left, image_top + row.deep_mm), layout.inner_mm, index)


@styled
def modes_figure(
    panels: tuple[ImagePanel, ...], *, width_mm: float = 180.0, mark: str = ""
) -> Figure:
    """Draw a panel for each mode, in the caller's order, all at one scale, true in x and depth.

    Pixels are drawn unsmoothed. Where a print has fewer dots than an image has pixels, a dot shows
    the largest of the pixels in it, and the panel says so.

    Raises
    ------
    ValueError
        If there are no panels or more than six, or they do not show one region.
    """
    _check_together(panels)
    legend = legend_rows(_keys(panels), width_mm - 2.0)
    legend_mm = legend_height_mm(legend) + 1.5
    layout = _arrange(panels, width_mm, legend_mm)
    rows = layout.rows(panels)
    height = sum(row.height_mm for row in rows) + legend_mm
    figure, page = new_page(width_mm, height, mark=mark)
    top, index = 0.8, 0
    for row in rows:
        for k in range(len(row.panels)):
            left = k * (layout.inner_mm + LEFT_MM + RIGHT_MM + GAP_MM) + LEFT_MM
            _draw_panel(page, layout, row, k, (left, top), index)
            index += 1
        top += row.height_mm
    draw_legend(page, legend, 1.0, top)
    return figure


def image_figure(panel: ImagePanel, *, width_mm: float = 120.0, mark: str = "") -> Figure:
    """Draw one image; see `modes_figure`."""
    return modes_figure((panel,), width_mm=width_mm, mark=mark)


def _words(panel: ImagePanel) -> str:
    parts = [f"{panel.mode}: {panel.method}", bar_words(panel)]
    top = largest(panel)
    if top is None:
        parts.append("nothing covered")
    else:
        value, x_mm, z_mm = top
        where = f"at x {place(x_mm)} mm, depth {place(z_mm)} mm"
        parts.append(f"largest value {found(panel, value)} {where}")
        parts.append(f"{share_words(panel.covered)} of the region covered")
    parts.append(SIMULATED if panel.signal == "simulated" else "measured")
    if panel.rejected:
        parts.append(f"{REJECTED}: {', '.join(panel.rejected)}")
    if panel.truth is not None:
        parts.append(f"truth is open, targets drawn: {len(panel.truth)}")
    parts += panel.notes
    return "; ".join(parts) + "."


def alt_text(panels: tuple[ImagePanel, ...]) -> str:
    """Return words for the figure: region, then mode, range, largest value and coverage of each.

    Raises
    ------
    ValueError
        As `modes_figure`.
    """
    _check_together(panels)
    named = "Image of one mode" if len(panels) == 1 else f"Images of {len(panels)} modes"
    return " ".join([f"{named}, {region_words(panels[0].region)}.", *map(_words, panels)])

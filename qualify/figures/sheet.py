"""Panels in rows on one page, each with its words above, beside and below, and one legend."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.axes_parts import Box
from qualify.figures.page import (
    Key,
    Styled,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    wrap,
    write,
    write_header,
    write_lines,
)
from qualify.figures.palette import SMALL_PT, TEXT_PT, TITLE_PT

GAP_MM = 3.0
FOOT_MM = 4.2  # numbers along x


@dataclass(frozen=True, slots=True)
class PanelView:
    """What stands around the axes of one panel, and how they are filled.

    Attributes
    ----------
    title, counts, message : lines above the axes, bold, plain and small.
    lane_mm : height kept free between these lines and the axes.
    x_label, y_label : words along the axes.
    tick_mm : width of the widest number along y.
    draw : draws axes and what is in them; takes the page, the box of the axes and the place of
        the panel in the figure, from 0.
    """

    title: str
    counts: str
    message: str | None
    lane_mm: float
    x_label: str
    y_label: str
    tick_mm: float
    draw: Callable[[Axes, Box, int], None]


def column_mm(width_mm: float, columns: int) -> float:
    """Width of a column, with what stands beside its axes."""
    return (width_mm - GAP_MM * (columns - 1)) / columns


def _header(view: PanelView, width: float) -> list[Styled]:
    lines: list[Styled] = [
        (line, TITLE_PT, True) for line in wrap(view.title, width, TITLE_PT, bold=True)
    ]
    lines += [(line, TEXT_PT, False) for line in wrap(view.counts, width, TEXT_PT)]
    if view.message:
        lines += [(line, SMALL_PT, False) for line in wrap(view.message, width, SMALL_PT)]
    return lines


def write_up(page: Axes, x: float, middle: float, lines: Sequence[str]) -> None:
    """Write lines upwards, the first one at the left, about a height."""
    for k, line in enumerate(lines):
        at = x + k * line_height_mm(TEXT_PT)
        write(page, at, middle, line, ha="left", va="center", rotation=90)


def left_mm(views: Sequence[PanelView], height: float) -> float:
    """Room for the words and numbers along y."""
    lines = max(len(wrap(view.y_label, height)) for view in views)
    return 1.0 + lines * line_height_mm(TEXT_PT) + max(view.tick_mm for view in views) + 1.8


def _foot_mm(row: Sequence[PanelView], inner: float) -> float:
    """Room for numbers and words below the axes of a row."""
    lines = max(len(wrap(view.x_label, inner)) for view in row)
    return FOOT_MM + lines * line_height_mm(TEXT_PT) + 2.5


def sheet(
    views: Sequence[PanelView],
    keys: Sequence[Key],
    *,
    width_mm: float,
    columns: int,
    axes_mm: float,
    right_mm: float,
    mark: str,
) -> Figure:
    """Lay out panels in rows of `columns`; axes are `axes_mm` high, with `right_mm` beside them."""
    column = column_mm(width_mm, columns)
    left = left_mm(views, axes_mm)
    inner = column - left - right_mm
    rows = [views[k : k + columns] for k in range(0, len(views), columns)]
    heads = [[_header(view, column - 2.0) for view in row] for row in rows]
    tops = []
    for row, head in zip(rows, heads, strict=True):
        deep = max(sum(line_height_mm(line[1]) for line in lines) for lines in head)
        tops.append(deep + max(view.lane_mm for view in row))
    feet = [_foot_mm(row, inner) for row in rows]
    legend = legend_rows(keys, width_mm - 2.0)
    height = sum(tops) + sum(feet) + len(rows) * axes_mm + legend_height_mm(legend) + 2.0
    figure, page = new_page(width_mm, height, mark=mark)
    y = 0.5
    for first, (row, head, top, foot) in enumerate(zip(rows, heads, tops, feet, strict=True)):
        for k, (view, lines) in enumerate(zip(row, head, strict=True)):
            x = k * (column + GAP_MM)
            write_header(page, x + 1.0, y, lines)
            box = (x + left, y + top, inner, axes_mm)
            view.draw(page, box, first * columns + k)
            write_up(page, x + 1.0, y + top + axes_mm / 2, wrap(view.y_label, axes_mm))
            below = (x + left + inner / 2, y + top + axes_mm + FOOT_MM)
            write_lines(page, *below, wrap(view.x_label, inner), ha="center")
        y += top + axes_mm + foot
    draw_legend(page, legend, 1.0, y)
    return figure

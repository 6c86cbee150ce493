"""Each mode's smallest hit and largest miss, beside the same places without the flaw."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.image_axes import NOT_COVERED_KEY, SIMULATED, TRUTH
from qualify.figures.image_panel import exact
from qualify.figures.page import (
    FULL_PAGE_MM,
    Key,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    text_width_mm,
    words_only,
    wrap,
    write,
    write_lines,
)
from qualify.figures.palette import SMALL_PT, TITLE_PT, styled
from qualify.figures.twin_bar import BAR_MM, draw_bar, threshold_style, thresholds
from qualify.figures.twin_pictures import (
    PEAK,
    TWIN_DASH,
    TwinPicture,
    TwinRow,
    caption,
    caption_lines,
    draw_picture,
    draw_words,
    in_unit,
    is_reduced,
)

__all__ = ["BesideTwinsView", "TwinPicture", "TwinRow", "beside_twins_alt_text",
           "draw_beside_twins"]  # fmt: skip

MOST = 4
SHORTEST_MM = 14.0
LABEL_MM, TICKS_MM, GAP_MM = 4.0, 6.8, 2.2
BAR_LEFT_MM, BAR_WORDS_MM = 3.0, 11.0
FOOT_MM = 7.6  # numbers and the name of x
HEADINGS = ("smallest hit", "its twin without flaw", "largest miss", "its twin without flaw")
NOTHING = "No pictures to show: no mode was imaged."
REDUCED = (
    "Where a picture has more pixels than the print has dots, each dot shows the largest in it."
)


@dataclass(frozen=True, slots=True)
class BesideTwinsView:
    """Rows of up to four modes.

    Raises
    ------
    ValueError
        If truth is not open, which hits and misses and outlines need, or there are more than four.
    """

    rows: tuple[TwinRow, ...]
    size_unit: str
    signal: Literal["simulated", "measured"]
    truth_open: bool = False

    def __post_init__(self) -> None:
        if self.rows and not self.truth_open:
            msg = "the truth is sealed; what was hit and missed is shown when it is open"
            raise ValueError(msg)
        if len(self.rows) > MOST:
            msg = f"a figure shows up to {MOST} modes beside their twins, found {len(self.rows)}"
            raise ValueError(msg)


def _colours(row: TwinRow) -> str:
    """Return what the colours mean, and their range."""
    means = f"amplitude, dB re {row.reference}" if row.unit == "db" else "coherence, 0 to 1"
    ends = f"{exact(row.low)} to {in_unit(row.high, row.unit)}"
    return f"{means}; colours from {ends} in every picture of the row"


@dataclass(frozen=True, slots=True)
class _Layout:
    """Lines and sizes of one row; `scale` is millimetres of print for one of the block."""

    row: TwinRow
    heads: tuple[tuple[str, float, bool], ...]
    captions: tuple[tuple[str, ...], ...]
    scale: float
    inner_mm: float
    deep_mm: float

    @property
    def above_mm(self) -> float:
        return sum(line_height_mm(pt) for _, pt, _ in self.heads) + line_height_mm(SMALL_PT) + 1.6

    @property
    def height_mm(self) -> float:
        lines = max(map(len, self.captions))
        return self.above_mm + self.deep_mm + FOOT_MM + lines * line_height_mm(SMALL_PT) + 2.4


def _layout(view: BesideTwinsView, row: TwinRow, width_mm: float, most_mm: float) -> _Layout:
    right = BAR_LEFT_MM + BAR_MM + BAR_WORDS_MM
    inner = (width_mm - LABEL_MM - right - 4 * TICKS_MM - 3 * GAP_MM) / 4
    heads = [(line, TITLE_PT, True) for line in wrap(row.mode, width_mm - 2, TITLE_PT, bold=True)]
    heads += [(line, SMALL_PT, False) for line in wrap(_colours(row), width_mm - 2, SMALL_PT)]
    captions = [
        tuple(caption_lines(caption(cell, row.unit, view.size_unit, twin=k % 2 == 1),
                            inner + TICKS_MM + 0.6)) if isinstance(cell, TwinPicture) else ()
        for k, cell in enumerate(row.cells())
    ]  # fmt: skip
    shown = row.pictures()
    scale = min((min(inner / p.wide_mm, most_mm / p.deep_mm) for p in shown), default=1.0)
    deep = max((p.deep_mm * scale for p in shown), default=SHORTEST_MM)
    return _Layout(row, tuple(heads), tuple(captions), scale, inner, deep)


def _layouts(view: BesideTwinsView, width_mm: float, more_mm: float) -> list[_Layout]:
    """Return rows that fit a page together, the pictures as large as that allows."""
    made = [_layout(view, row, width_mm, FULL_PAGE_MM) for row in view.rows]
    words = sum(one.height_mm - one.deep_mm for one in made) + more_mm
    most = max((FULL_PAGE_MM - words) / len(made), SHORTEST_MM)
    return [_layout(view, row, width_mm, most) for row in view.rows]


def _draw_row(page: Axes, one: _Layout, top: float, index: int) -> None:
    y = top
    for text, pt, bold in one.heads:
        y = write_lines(page, 1.0, y, [text], size_pt=pt, bold=bold)
    image = top + one.above_mm
    step = TICKS_MM + one.inner_mm + GAP_MM
    row = one.row
    for k, (cell, lines) in enumerate(zip(row.cells(), one.captions, strict=True)):
        left = LABEL_MM + k * step + TICKS_MM
        write(page, left, image - line_height_mm(SMALL_PT) - 0.5, HEADINGS[k], size_pt=SMALL_PT,
              bold=k % 2 == 0)  # fmt: skip
        if isinstance(cell, str):
            draw_words(page, cell, (left, image, one.inner_mm, one.deep_mm))
            continue
        look = (row.unit, row.low, row.high)
        label = f"twins-{index}-{k}"
        draw_picture(page, cell, (left, image), one.scale, look, label, twin=k % 2 == 1)
        middle = left + cell.wide_mm * one.scale / 2
        below = image + cell.deep_mm * one.scale
        write(page, middle, below + 4.0, "x (mm)", size_pt=SMALL_PT, ha="center")
        write_lines(page, left - TICKS_MM + 1.5, image + one.deep_mm + FOOT_MM, lines,
                    size_pt=SMALL_PT)  # fmt: skip
    if row.pictures():
        middle = image + max(one.deep_mm, text_width_mm("depth (mm)", SMALL_PT)) / 2
        write(page, 1.0, middle, "depth (mm)", size_pt=SMALL_PT, rotation=90, va="center")
        bar = LABEL_MM + 4 * step - GAP_MM + BAR_LEFT_MM
        draw_bar(page, row, (bar, image), one.deep_mm, index)


def _keys(view: BesideTwinsView) -> list[Key]:
    shown = [picture for row in view.rows for picture in row.pictures()]
    keys = []
    if any(picture.target for picture in shown):
        keys.append(Key("target as built, to scale", TRUTH))
        keys.append(
            Key("its place in the twin, which has no flaw", {**TRUTH, "linestyle": TWIN_DASH})
        )
    if any(picture.peak_mm for picture in shown):
        keys.append(Key("where the response was read", PEAK))
    if any(thresholds(row) for row in view.rows):
        keys.append(Key("threshold, on the bar", threshold_style()))
    if any(not np.isfinite(picture.values).all() for picture in shown):
        keys.append(NOT_COVERED_KEY)
    return keys


@styled
def draw_beside_twins(view: BesideTwinsView, *, width_mm: float = 170.0, mark: str = "") -> Figure:
    """Draw a row for each mode: smallest hit, its twin, largest miss, its twin.

    All pictures of a row have one display range and one scale, equal in x and depth.
    """
    if not view.rows:
        return words_only(NOTHING, width_mm, mark=mark)
    legend = legend_rows(_keys(view), width_mm - 2.0)
    step = line_height_mm(SMALL_PT)
    foot = legend_height_mm(legend) + 2 * step + 1.0
    rows = _layouts(view, width_mm, foot)
    notes = [f"All signals {view.signal}."]
    if any(is_reduced(p, one.scale) for one in rows for p in one.row.pictures()):
        notes.append(REDUCED)
    height = sum(one.height_mm for one in rows) + foot
    marks = mark or (SIMULATED if view.signal == "simulated" else "")
    figure, page = new_page(width_mm, height, mark=marks)
    top = 0.5
    for index, one in enumerate(rows):
        _draw_row(page, one, top, index)
        top += one.height_mm
    draw_legend(page, legend, 1.0, top)
    write_lines(page, 1.0, top + legend_height_mm(legend), wrap(" ".join(notes), width_mm - 2.0),
                size_pt=SMALL_PT)  # fmt: skip
    return figure


def beside_twins_alt_text(view: BesideTwinsView) -> str:
    """Return words for the figure: each picture's target, size, depth and response."""
    if not view.rows:
        return NOTHING
    told = [f"Smallest hit and largest miss of each mode beside twins without flaw, {view.signal}."]
    for row in view.rows:
        told.append(f"{row.mode}, {_colours(row)}.")
        for k, cell in enumerate(row.cells()):
            words = cell if isinstance(cell, str) else "; ".join(
                caption(cell, row.unit, view.size_unit, twin=k % 2 == 1)
            )  # fmt: skip
            told.append(f"{HEADINGS[k].capitalize()}: {words.rstrip('.')}.")
    return " ".join(told)

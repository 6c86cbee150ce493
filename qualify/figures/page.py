"""Laying out text and lines on a page measured in millimetres from its top left corner."""

import functools
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.textpath import text_to_path

from qualify.figures.palette import (
    FAMILY,
    GREY,
    INK,
    MM_PER_INCH,
    SMALL_PT,
    TEXT_PT,
    new_figure,
)

MM_PER_PT = MM_PER_INCH / 72.0
LINE_SPACING = 1.25
FOOT_MM = 4.6
HANDLE_MM = 8.0
FULL_PAGE_MM = 227.0  # of a figure that has a page of the dossier to itself


def number(value: float) -> str:
    """Three significant figures without an exponent; whole numbers from 1000 up."""
    if value == 0:
        return "0"
    decimals = 2 - math.floor(math.log10(abs(value)))
    text = f"{value:.{max(decimals, 0)}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace("-", "−")


def size(value: float) -> str:
    """Two decimals, as the tables print sizes; a bound of 1.004 must not look like 1 or 1.0."""
    return f"{value:.2f}".replace("-", "−")


def place(value: float) -> str:
    """Up to two decimals, for positions on a drawing."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return text.replace("-", "−")


@functools.lru_cache(maxsize=8192)
def text_width_mm(text: str, size_pt: float = TEXT_PT, *, bold: bool = False) -> float:
    """Return the printed width of one line of text (unhinted, as `STYLE` asks for)."""
    font = FontProperties(family=FAMILY, size=size_pt, weight="bold" if bold else "normal")
    width_pt, _, _ = text_to_path.get_text_width_height_descent(text, font, False)
    return float(width_pt) * MM_PER_PT


def line_height_mm(size_pt: float) -> float:
    """Distance from one line of text to the next."""
    return size_pt * MM_PER_PT * LINE_SPACING


def wrap(text: str, width_mm: float, size_pt: float = TEXT_PT, *, bold: bool = False) -> list[str]:
    """Break a text into lines no wider than `width_mm`; a word too long is cut in pieces."""
    lines: list[str] = []
    current = ""
    for given in text.split():
        word = given
        trial = f"{current} {word}".strip()
        if text_width_mm(trial, size_pt, bold=bold) <= width_mm:
            current = trial
            continue
        if current:
            lines.append(current)
        while len(word) > 1 and text_width_mm(word, size_pt, bold=bold) > width_mm:
            cut = len(word) - 1
            while cut > 1 and text_width_mm(word[:cut], size_pt, bold=bold) > width_mm:
                cut -= 1
            lines.append(word[:cut])
            word = word[cut:]
        current = word
    return [*lines, current] if current else lines


def spread(
    wanted_mm: Sequence[float], sizes_mm: Sequence[float], low: float, high: float, gap: float = 1.0
) -> list[float] | None:
    """Move labels apart as little as possible, keeping their order; None if they do not fit.

    Parameters
    ----------
    wanted_mm, sizes_mm : (n,)
        Centres in ascending order, and extents along the line.

    Notes
    -----
    Least squares under order is isotonic regression (pooling of adjacent violators).
    """
    if not wanted_mm:
        return []
    starts = [0.0, *itertools.accumulate(size + gap for size in sizes_mm[:-1])]
    packed = [start + size / 2 for start, size in zip(starts, sizes_mm, strict=True)]
    total = starts[-1] + sizes_mm[-1]
    if total > high - low + 1e-9:
        return None
    pools: list[tuple[float, int]] = []
    for shifted in (want - pack for want, pack in zip(wanted_mm, packed, strict=True)):
        mean, count = shifted, 1
        while pools and pools[-1][0] > mean:
            other, n = pools.pop()
            mean, count = (other * n + mean * count) / (n + count), n + count
        pools.append((mean, count))
    free = [mean for mean, count in pools for _ in range(count)]
    return [
        min(max(base, low), high - total) + pack for base, pack in zip(free, packed, strict=True)
    ]


def levels(positions_mm: Sequence[float], size_mm: float) -> list[int]:
    """Stack marks that would overlap: the lowest free level of each, in order of position."""
    order = sorted(range(len(positions_mm)), key=lambda i: positions_mm[i])
    ends: list[float] = []
    found = [0] * len(positions_mm)
    for i in order:
        at = positions_mm[i]
        level = next((k for k, end in enumerate(ends) if at >= end), len(ends))
        if level == len(ends):
            ends.append(at)
        ends[level] = at + size_mm
        found[i] = level
    return found


def linear_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round values (1, 2, 5 times a power of ten) inside the range, at most `most` of them."""
    if not high > low:
        return [low]
    base = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next(m * base for m in (1, 2, 5, 10, 20) if (high - low) / (m * base) <= most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 12) for k in range(first, last + 1)]


def log_ticks(low: float, high: float) -> list[float]:
    """Return 1, 2, 5 times powers of ten inside the range; more if that leaves fewer than two."""
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for steps in ((1, 2, 5), (1, 1.5, 2, 3, 4, 5, 6, 8)):
        ticks = [round(m * 10.0**d, 12) for d in decades for m in steps]
        inside = [t for t in ticks if low * (1 - 1e-9) <= t <= high * (1 + 1e-9)]
        if len(inside) >= 2:
            return inside
    return linear_ticks(low, high, 4)


def page_axes(figure: Figure) -> Axes:
    """Cover the figure by invisible axes in millimetres, x to the right and y downwards."""
    page = figure.add_axes((0.0, 0.0, 1.0, 1.0), label="page")
    width, height = (float(side) * MM_PER_INCH for side in figure.get_size_inches())
    page.set_xlim(0.0, width)
    page.set_ylim(height, 0.0)
    page.set_axis_off()
    return page


def frame(page: Axes, left: float, top: float, width: float, height: float, label: str) -> Axes:
    """Add axes at a place on the page, all in millimetres."""
    page_width, page_height = page.get_xlim()[1], page.get_ylim()[0]
    axes = page.figure.add_axes(
        (
            left / page_width,
            1.0 - (top + height) / page_height,
            width / page_width,
            height / page_height,
        ),
        label=label,
    )
    axes.tick_params(length=2.0, width=0.5, labelsize=SMALL_PT, colors=INK, pad=1.5)
    axes.patch.set_visible(False)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return axes


def write(page: Axes, x: float, y: float, text: str, **style: Any) -> None:
    """Put one line of text on the page (`size_pt`, `bold`, and what matplotlib's text takes)."""
    size = style.pop("size_pt", TEXT_PT)
    weight = "bold" if style.pop("bold", False) else "normal"
    page.text(x, y, text, **{"fontsize": size, "fontweight": weight, "va": "top", **style})


def write_lines(page: Axes, x: float, y: float, lines: Sequence[str], **style: Any) -> float:
    """Put lines below one another; return the y below the last."""
    step = line_height_mm(style.get("size_pt", TEXT_PT))
    for k, line in enumerate(lines):
        write(page, x, y + k * step, line, **style)
    return y + len(lines) * step


Styled = tuple[str, float, bool]


def write_header(page: Axes, x: float, y: float, lines: Sequence[Styled]) -> None:
    """Put lines of text, size and boldness below one another."""
    for text, size, bold in lines:
        write(page, x, y, text, size_pt=size, bold=bold)
        y += line_height_mm(size)


def stroke(page: Axes, points: Sequence[tuple[float, float]], **style: Any) -> None:
    """Draw a line through points of the page."""
    xs, ys = zip(*points, strict=True)
    page.add_line(Line2D(xs, ys, **{"color": GREY, "linewidth": 0.5, **style}))


@dataclass(frozen=True, slots=True)
class Key:
    """One entry of a legend: a line, a marker or (with `patch`) a filled patch."""

    label: str
    style: dict[str, Any] = field(default_factory=dict)
    patch: bool = False


Placed = list[tuple[float, Key, list[str]]]


def legend_rows(keys: Sequence[Key], width_mm: float) -> list[Placed]:
    """Arrange legend entries in rows: (x, entry, lines of its label)."""
    rows: list[Placed] = []
    x = 0.0
    for key in keys:
        lines = wrap(key.label, width_mm - HANDLE_MM, SMALL_PT)
        wide = HANDLE_MM + max((text_width_mm(line, SMALL_PT) for line in lines), default=0.0)
        if not rows or x + wide > width_mm:
            rows.append([])
            x = 0.0
        rows[-1].append((x, key, lines))
        x += wide + 5.0
    return rows


def legend_height_mm(rows: Sequence[Placed]) -> float:
    """Height the rows take."""
    return sum(max(len(lines) for _, _, lines in row) + 0.25 for row in rows) * line_height_mm(
        SMALL_PT
    )


def draw_legend(page: Axes, rows: Sequence[Placed], left: float, top: float) -> None:
    """Draw the legend once, its top left corner at the place given."""
    step = line_height_mm(SMALL_PT)
    for row in rows:
        for offset, key, lines in row:
            x, middle = left + offset, top + step * 0.4
            if key.patch:
                page.add_patch(Rectangle((x, middle - 1.1), 6.0, 2.2, **key.style))
            else:
                marker = key.style.get("linestyle") == "none"
                xs = [x + 3.0] if marker else [x, x + 6.4]
                page.add_line(Line2D(xs, [middle] * len(xs), **key.style))
            write_lines(page, x + HANDLE_MM, top, lines, size_pt=SMALL_PT)
        top += (max(len(lines) for _, _, lines in row) + 0.25) * step


def print_mark(page: Axes, mark: str) -> None:
    """Print a mark in a frame at the lower right edge; needs `FOOT_MM` of free page."""
    right, bottom = page.get_xlim()[1] - 0.4, page.get_ylim()[0] - 0.4
    wide = text_width_mm(mark, TEXT_PT, bold=True) + 3.0
    box = Rectangle((right - wide, bottom - 3.6), wide, 3.6, fill=False, ec=INK, lw=0.7)
    page.add_patch(box)
    write(page, right - wide / 2, bottom - 1.8, mark, bold=True, ha="center", va="center")


def new_page(width_mm: float, height_mm: float, *, mark: str) -> tuple[Figure, Axes]:
    """Return a figure and its page.

    With a mark, as SYNTHETIC or SIMULATED, it is higher by a foot that holds it.
    """
    figure = new_figure(width_mm, height_mm + (FOOT_MM if mark else 0.0))
    page = page_axes(figure)
    if mark:
        print_mark(page, mark)
    return figure, page


def words_only(text: str, width_mm: float, *, mark: str) -> Figure:
    """Return a low figure that says in words why there is nothing to draw."""
    lines = wrap(text, width_mm - 10.0)
    height = 8.0 + len(lines) * line_height_mm(TEXT_PT)
    figure, page = new_page(width_mm, height, mark=mark)
    write_lines(page, 5.0, 4.0, lines)
    return figure

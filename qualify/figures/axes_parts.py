"""Parts that panels share: named marks above and beside the axes, lines in two styles."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from qualify.figures.page import line_height_mm, spread, stroke, text_width_mm, wrap, write
from qualify.figures.palette import GREY, PAPER, TEXT_PT
from qualify.figures.pod_panel import LANE_MM
from qualify.figures.scale import Scale

BESIDE_MM = 15.0  # at least
BEFORE_MM = 2.6  # between axes and the names beside them
Box = tuple[float, float, float, float]  # left, top, width, height of axes, mm


@dataclass(frozen=True, slots=True)
class Named:
    """A value drawn as a line through the axes, with its name and its number in words."""

    name: str
    told: str
    value: float
    style: dict[str, Any]


def lane_above(
    page: Axes,
    axes: Axes,
    marks: Sequence[Named],
    scale: Scale,
    box: Box,
    ends: tuple[float, float],
) -> None:
    """Draw vertical lines, named in a lane `LANE_MM` high above the axes, between two ends.

    A value outside the axes has an arrow behind its number and no line.
    """
    left, top, width, _ = box
    marks = sorted(marks, key=lambda mark: mark.value)
    places = [scale.fraction(mark.value) for mark in marks]
    arrows = ["" if 0 <= at <= 1 else (" →" if at > 1 else " ←") for at in places]
    texts = [(mark.name, mark.told + arrow) for mark, arrow in zip(marks, arrows, strict=True)]
    widths = [max(text_width_mm(text, TEXT_PT, bold=True) for text in pair) for pair in texts]
    wanted = [left + width * min(max(at, 0.0), 1.0) for at in places]
    centres = spread(wanted, widths, *ends, 1.2) or wanted
    for mark, text, arrow, x, centre in zip(marks, texts, arrows, wanted, centres, strict=True):
        colour = mark.style["color"]
        if not arrow:
            axes.axvline(mark.value, **mark.style, zorder=2)
            stroke(page, [(centre, top - 2.9), (x, top - 0.2)], color=colour, linewidth=0.5)
        middle = {"ha": "center", "color": colour}
        write(page, centre, top - LANE_MM + 0.4, text[0], **middle)
        write(page, centre, top - LANE_MM + 3.3, text[1], bold=True, **middle)


def _short(name: str, width_mm: float) -> list[str]:
    """At most two lines of a name."""
    lines = wrap(name, width_mm, TEXT_PT)
    if len(lines) <= 2:
        return lines
    last = lines[1]
    while last and text_width_mm(last + "…", TEXT_PT) > width_mm:
        last = last[:-1]
    return [lines[0], last.rstrip() + "…"]


def beside_mm(marks: Sequence[Named]) -> float:
    """Width of the lane that names horizontal lines."""
    if not marks:
        return 1.5
    widest = max(text_width_mm(mark.told + " ↓", TEXT_PT, bold=True) for mark in marks)
    return max(BESIDE_MM, BEFORE_MM + widest + 0.6)


def lane_beside(page: Axes, axes: Axes, marks: Sequence[Named], scale: Scale, box: Box) -> None:
    """Draw horizontal lines, named in a lane `beside_mm` wide at the right of the axes.

    A value outside the axes has an arrow behind its number and no line.
    """
    left, top, width, height = box
    marks = sorted(marks, key=lambda mark: -mark.value)
    right, step = left + width, line_height_mm(TEXT_PT)
    wanted, texts, arrows = [], [], []
    for mark in marks:
        at = scale.fraction(mark.value)
        arrows.append("" if scale.shows(mark.value) else (" ↑" if at > 1 else " ↓"))
        wanted.append(top + height * (1 - min(max(at, 0.0), 1.0)))
        texts.append(_short(mark.name, BESIDE_MM - BEFORE_MM - 0.4))
    sizes = [(len(lines) + 1) * step for lines in texts]
    centres = spread(wanted, sizes, top - 2.0, top + height + 2.0, 0.6) or wanted
    for k, mark in enumerate(marks):
        colour = mark.style["color"]
        if not arrows[k]:
            axes.axhline(mark.value, **mark.style, zorder=2)
            stroke(page, [(right + 0.2, wanted[k]), (right + 2.0, centres[k])], color=colour)
        y = centres[k] - sizes[k] / 2
        for line in texts[k]:
            write(page, right + BEFORE_MM, y, line, color=colour)
            y += step
        write(page, right + BEFORE_MM, y, mark.told + arrows[k], color=colour, bold=True)


def split_line(
    axes: Axes,
    points: tuple[Sequence[float], Sequence[float | None]],
    inside: tuple[float, float] | None,
    styles: tuple[dict[str, Any], dict[str, Any]],
    gid: str,
) -> None:
    """Draw a line in one style where x lies inside a range and in another outside it.

    The parts carry the ids `gid` and `gid`-outside and meet at the ends of the range; None in y
    leaves a gap.
    """
    x = np.array(points[0], dtype=float)
    y = np.array([np.nan if v is None else v for v in points[1]], dtype=float)
    if x.shape != y.shape:
        msg = f"a line needs as many x as y, found {x.size} and {y.size}"
        raise ValueError(msg)
    low, high = inside or (-math.inf, math.inf)
    within = (x >= low) & (x <= high)
    grown = ~within
    grown[:-1] |= ~within[1:]
    grown[1:] |= ~within[:-1]
    axes.plot(x, np.where(within, y, np.nan), gid=gid, **styles[0])
    if not within.all():
        axes.plot(x, np.where(grown, y, np.nan), gid=f"{gid}-outside", **styles[1])


def goes_outside(sizes: Sequence[float], inside: tuple[float, float] | None) -> bool:
    """Whether a line has a point outside the range, where it is drawn in another style."""
    return inside is not None and any(not inside[0] <= v <= inside[1] for v in sizes)


def words_inside(page: Axes, axes: Axes, words: str, box: Box) -> None:
    """Write words in the middle of axes that have nothing to show."""
    left, top, width, height = box
    lines = wrap(words, width - 4.0, TEXT_PT)
    step = line_height_mm(TEXT_PT)
    y = top + height / 2 - len(lines) * step / 2
    axes.set_zorder(-1)
    for minor in (False, True):
        axes.set_xticks([], minor=minor)
        axes.set_yticks([], minor=minor)
    white = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0}
    for k, line in enumerate(lines):
        write(page, left + width / 2, y + k * step, line, ha="center", bbox=white, color=GREY)

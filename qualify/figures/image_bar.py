"""The colour bar of an image panel: range, unit, threshold and the levels of random phases."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patheffects import Normal, Stroke

from qualify.figures.image_panel import (
    ImagePanel,
    exact,
    range_words,
    threshold_words,
    unit_words,
)
from qualify.figures.page import (
    frame,
    levels,
    line_height_mm,
    linear_ticks,
    number,
    text_width_mm,
    wrap,
    write_lines,
)
from qualify.figures.palette import INK, PAPER, SMALL_PT, TEXT_PT
from qualify.figures.ramps import STEPS, colour_map

BAR_MM = 2.8
TICKS_MM = 4.4
STEP_MM = 2.2  # from one level of marks above the bar to the next
MARK_MM = 2.0
INDENT_MM = 3.6


@dataclass(frozen=True, slots=True)
class BarMark:
    """A value marked on the colour bar by a shape of its own, told below it in words."""

    name: str
    value: float
    words: str
    style: dict[str, Any]


def _style(marker: str, *, filled: bool) -> dict[str, Any]:
    return {
        "linestyle": "none",
        "marker": marker,
        "markersize": 4.2,
        "color": INK,
        "markerfacecolor": INK if filled else PAPER,
        "markeredgecolor": INK,
        "markeredgewidth": 0.8,
    }


def bar_marks(panel: ImagePanel) -> list[BarMark]:
    """Return the marks of the panel, inside or outside the colour range."""
    marks = []
    if panel.threshold is not None:
        style = _style("v", filled=True)
        marks.append(BarMark("threshold", panel.threshold, threshold_words(panel), style))
    random = (
        ("mean", "mean of random phases", panel.random_mean, "o"),
        ("99 %", "99 % level of random phases", panel.random_99, "D"),
    )
    for name, words, value, marker in random:
        if value is not None:
            style = _style(marker, filled=False)
            marks.append(BarMark(name, value, f"{words} {number(value)}", style))
    return marks


def _inside(panel: ImagePanel) -> list[BarMark]:
    return [mark for mark in bar_marks(panel) if panel.low <= mark.value <= panel.high]


def _levels(panel: ImagePanel, width_mm: float) -> list[int]:
    per_unit = width_mm / (panel.high - panel.low)
    return levels([(mark.value - panel.low) * per_unit for mark in _inside(panel)], MARK_MM)


def _lines(panel: ImagePanel, width_mm: float) -> list[tuple[BarMark | None, list[str]]]:
    """Lines below the bar: unit, range, then each mark beside its own symbol."""
    texts: list[tuple[BarMark | None, str]] = [
        (None, unit_words(panel)),
        (None, range_words(panel)),
    ]
    if panel.threshold is None:
        texts.append((None, threshold_words(panel)))
    texts += [(mark, mark.words) for mark in bar_marks(panel)]
    inner = width_mm - INDENT_MM
    return [(mark, wrap(words, inner if mark else width_mm, TEXT_PT)) for mark, words in texts]


def bar_height_mm(panel: ImagePanel, width_mm: float) -> float:
    """Height of the colour bar with marks, ticks and words."""
    lanes = max(_levels(panel, width_mm), default=-1) + 1
    lines = sum(len(part) for _, part in _lines(panel, width_mm))
    return lanes * STEP_MM + BAR_MM + TICKS_MM + lines * line_height_mm(TEXT_PT)


def _end_labels(panel: ImagePanel) -> tuple[str, str]:
    """Return the ends of the range; ≤ or ≥ where covered values lie beyond them."""
    shown = panel.drawn().compressed()
    below = len(shown) > 0 and float(shown.min()) < panel.low
    above = len(shown) > 0 and float(shown.max()) > panel.high
    low, high = exact(panel.low), exact(panel.high)
    return (f"≤ {low}" if below else low), (f"≥ {high}" if above else high)


def _ticks(panel: ImagePanel, width_mm: float) -> list[tuple[float, str]]:
    """Return both ends of the range, labelled inside it, and round values where labels fit."""
    ends = _end_labels(panel)
    per_unit = width_mm / (panel.high - panel.low)
    free = text_width_mm(ends[0], SMALL_PT) + 1.5
    limit = width_mm - text_width_mm(ends[1], SMALL_PT) - 1.5
    kept = [(panel.low, ends[0])]
    for tick in linear_ticks(panel.low, panel.high, 6):
        middle, half = (tick - panel.low) * per_unit, text_width_mm(exact(tick), SMALL_PT) / 2
        if middle - half >= free and middle + half <= limit:
            kept.append((tick, exact(tick)))
            free = middle + half + 1.5
    return [*kept, (panel.high, ends[1])]


def _draw_marks(
    page: Axes, axes: Axes, panel: ImagePanel, at: tuple[float, float], width_mm: float
) -> None:
    """Draw each mark above the bar, with a line through it; `at` is the top left of the bar."""
    left, top = at
    per_unit = width_mm / (panel.high - panel.low)
    stem: dict[str, Any] = {"color": INK, "linewidth": 0.7, "zorder": 3}
    stem["path_effects"] = [Stroke(linewidth=1.7, foreground=PAPER), Normal()]
    for mark, level in zip(_inside(panel), _levels(panel, width_mm), strict=True):
        x, y = left + (mark.value - panel.low) * per_unit, top - (level + 0.5) * STEP_MM
        axes.plot([mark.value] * 2, [0.0, 1.0], **stem, gid=f"{axes.get_label()}-{mark.name}")
        page.add_line(Line2D([x, x], [y, top], color=INK, linewidth=0.7))
        page.add_line(Line2D([x], [y], **mark.style, zorder=4))


def draw_bar(
    page: Axes, panel: ImagePanel, at: tuple[float, float], width_mm: float, index: int
) -> None:
    """Draw the colour bar with its marks and words; `at` is the top left of the whole."""
    left, top = at
    top += (max(_levels(panel, width_mm), default=-1) + 1) * STEP_MM
    axes = frame(page, left, top, width_mm, BAR_MM, f"bar-{index}")
    axes.imshow(
        np.linspace(panel.low, panel.high, STEPS)[None, :],
        cmap=colour_map(panel.unit),
        vmin=panel.low,
        vmax=panel.high,
        extent=(panel.low, panel.high, 0.0, 1.0),
        aspect="auto",
        interpolation="none",
        gid=f"bar-{index}-colours",
    )
    axes.set_yticks([])
    ticks = _ticks(panel, width_mm)
    axes.set_xticks([value for value, _ in ticks], [label for _, label in ticks])
    shown = axes.get_xticklabels()
    shown[0].set_horizontalalignment("left")
    shown[-1].set_horizontalalignment("right")
    for spine in axes.spines.values():
        spine.set_visible(True)
    _draw_marks(page, axes, panel, (left, top), width_mm)
    axes.set_xlim(panel.low, panel.high)
    y = top + BAR_MM + TICKS_MM
    for told, lines in _lines(panel, width_mm):
        indent = INDENT_MM if told else 0.0
        if told:
            page.add_line(Line2D([left + 1.2], [y + 1.25], **told.style))
        y = write_lines(page, left + indent, y, lines)


def bar_words(panel: ImagePanel) -> str:
    """Return unit, range, threshold and levels of random phases in words."""
    parts = [unit_words(panel), range_words(panel), threshold_words(panel)]
    if panel.threshold is not None:
        parts[-1] += f", reached by {_share_reaching(panel)} of the covered pixels"
    parts += [mark.words for mark in bar_marks(panel) if mark.name != "threshold"]
    return "; ".join(parts)


def _share_reaching(panel: ImagePanel) -> str:
    shown = panel.drawn().compressed()
    if not len(shown) or panel.threshold is None:
        return "none"
    percent = 100.0 * float(np.mean(shown >= panel.threshold))
    return "none" if percent == 0 else f"{number(percent)} %"

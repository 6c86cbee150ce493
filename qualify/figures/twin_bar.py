"""The colour bar of a row of small pictures, upright, with the thresholds marked on it."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D

from qualify.figures.image_panel import exact
from qualify.figures.page import frame, line_height_mm, linear_ticks, spread, stroke, write
from qualify.figures.palette import INK, SMALL_PT
from qualify.figures.ramps import STEPS, colour_map
from qualify.figures.twin_pictures import TwinRow

BAR_MM = 2.8


def thresholds(row: TwinRow) -> list[float]:
    """Return the thresholds of a row that lie in its range, the highest first."""
    held = {picture.threshold for picture in row.pictures() if picture.threshold is not None}
    return sorted((v for v in held if row.low <= v <= row.high), reverse=True)


def _labels(row: TwinRow) -> list[tuple[float, str, bool]]:
    """Return values told beside the bar, from its top down; a threshold is bold."""
    shown = np.concatenate([np.ravel(p.values) for p in row.pictures()])
    shown = shown[np.isfinite(shown)]
    low = ("≤ " if shown.size and shown.min() < row.low else "") + exact(row.low)
    high = ("≥ " if shown.size and shown.max() > row.high else "") + exact(row.high)
    marks = [(v, exact(v), True) for v in thresholds(row)]
    held = [*(v for v, *_ in marks), row.low, row.high]
    apart = 0.15 * (row.high - row.low)
    between = [
        (tick, exact(tick), False)
        for tick in linear_ticks(row.low, row.high, 4)
        if min(abs(tick - v) for v in held) > apart
    ]
    ends = [(row.low, low, False), (row.high, high, False)]
    return sorted([*ends, *between, *marks], key=lambda one: (-one[0], one[2]))


def draw_bar(page: Axes, row: TwinRow, at: tuple[float, float], deep: float, index: int) -> None:
    """Draw the colour bar upright, its values and thresholds at the right of it."""
    left, top = at
    axes = frame(page, left, top, BAR_MM, deep, f"twins-{index}-bar")
    axes.imshow(
        np.linspace(row.high, row.low, STEPS)[:, None], cmap=colour_map(row.unit), vmin=row.low,
        vmax=row.high, extent=(0.0, 1.0, row.low, row.high), aspect="auto", interpolation="none",
        gid=f"twins-{index}-colours",
    )  # fmt: skip
    axes.set_xticks([])
    axes.set_yticks([])
    axes.set_ylim(row.low, row.high)
    for spine in axes.spines.values():
        spine.set_visible(True)
    labels = _labels(row)
    wanted = [top + deep * (row.high - value) / (row.high - row.low) for value, *_ in labels]
    step = line_height_mm(SMALL_PT)
    centres = spread(wanted, [step] * len(labels), top - 1.5, top + deep + 1.5, 0.0) or wanted
    right = left + BAR_MM
    for (value, told, bold), y, centre in zip(labels, wanted, centres, strict=True):
        stroke(page, [(right, y), (right + 0.8, y), (right + 1.6, centre)], color=INK)
        if bold:
            axes.axhline(value, color=INK, linewidth=0.7, gid=f"twins-{index}-threshold")
            page.add_line(Line2D([left - 1.1], [y], **threshold_style()))
        write(page, right + 2.3, centre, told, size_pt=SMALL_PT, bold=bold, va="center")


def threshold_style() -> dict[str, Any]:
    """Return the mark of a threshold beside the bar."""
    return {"linestyle": "none", "marker": ">", "color": INK, "markersize": 4.0,
            "markeredgewidth": 0.0}  # fmt: skip

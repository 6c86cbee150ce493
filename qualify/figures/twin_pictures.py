"""One row of small pictures: a found and a missed target, each beside its twin without the flaw."""

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.patheffects import Normal, Stroke
from numpy.typing import NDArray

from qualify.figures.image_axes import DOTS_PER_MM, cells, draw_truth, hatch_ground
from qualify.figures.image_panel import Region, TrueTarget, exact
from qualify.figures.page import (
    frame,
    line_height_mm,
    linear_ticks,
    number,
    place,
    size,
    text_width_mm,
    wrap,
    write_lines,
)
from qualify.figures.palette import INK, OUTSIDE, PAPER, RULE, SMALL_PT, SOLID, Dash
from qualify.figures.ramps import Unit, colour_map

OVER_MM = 1.4  # that a number may stand over the end of its picture
TWIN_DASH: Dash = OUTSIDE
PEAK: dict[str, Any] = {
    "linestyle": "none", "marker": "+", "color": PAPER, "markersize": 5.0,
    "markeredgewidth": 1.0,
    "path_effects": [Stroke(linewidth=2.4, foreground=INK), Normal()],
}  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class TwinPicture:
    """A target, or the same place of its twin without the flaw, as one mode shows it.

    Attributes
    ----------
    name : of the target; a twin has that of the target it belongs to.
    size, depth_mm : of the target, size in the unit of the view.
    values : (rows, columns), depth downwards; NaN where the mode covers nothing.
    x_mm, z_mm : from and to, outer edges of the pixels.
    response : largest value where the target is looked for, None where nothing was recorded.
    threshold : of the reading rule at this depth, None without one.
    target : as built, to be outlined; in a twin, where the flaw is not.
    peak_mm : x and depth of `response`.

    Raises
    ------
    ValueError
        If values have no rows and columns, an extent does not ascend, or the peak lies outside.
    """

    name: str
    size: float
    depth_mm: float
    values: NDArray[np.floating]
    x_mm: tuple[float, float]
    z_mm: tuple[float, float]
    response: float | None = None
    threshold: float | None = None
    target: TrueTarget | None = None
    peak_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        shape = np.shape(self.values)
        if len(shape) != 2 or 0 in shape:
            msg = f"{self.name}: a picture has rows and columns, found the shape {shape}"
            raise ValueError(msg)
        if not (self.x_mm[0] < self.x_mm[1] and self.z_mm[0] < self.z_mm[1]):
            msg = f"{self.name}: extents ascend, found x {self.x_mm} and depth {self.z_mm}"
            raise ValueError(msg)
        if self.peak_mm is not None:
            (x, z), (x_from, x_to), (z_from, z_to) = self.peak_mm, self.x_mm, self.z_mm
            if not (x_from <= x <= x_to and z_from <= z <= z_to):
                msg = f"{self.name}: the peak at x {x:g}, depth {z:g} mm lies outside the picture"
                raise ValueError(msg)

    @property
    def region(self) -> Region:
        """Outer edges of the pixels."""
        return (*self.x_mm, *self.z_mm)

    @property
    def wide_mm(self) -> float:
        """Extent along x."""
        return self.x_mm[1] - self.x_mm[0]

    @property
    def deep_mm(self) -> float:
        """Extent in depth."""
        return self.z_mm[1] - self.z_mm[0]


Cell = TwinPicture | str


@dataclass(frozen=True, slots=True)
class TwinRow:
    """One mode: four pictures at one display range; words stand where there is no picture.

    Raises
    ------
    ValueError
        If the display range is none, or words are empty.
    """

    mode: str
    unit: Unit
    low: float
    high: float
    hit: Cell
    hit_twin: Cell
    miss: Cell
    miss_twin: Cell
    reference: str = "full scale of one received signal"

    def __post_init__(self) -> None:
        if not self.low < self.high:
            msg = f"mode {self.mode}: the display range {self.low:g} to {self.high:g} is none"
            raise ValueError(msg)
        if any(isinstance(cell, str) and not cell.strip() for cell in self.cells()):
            msg = f"mode {self.mode}: where there is no picture, words say why"
            raise ValueError(msg)

    def cells(self) -> tuple[Cell, Cell, Cell, Cell]:
        """Return the four cells from left to right."""
        return self.hit, self.hit_twin, self.miss, self.miss_twin

    def pictures(self) -> list[TwinPicture]:
        """Return the cells that are pictures."""
        return [cell for cell in self.cells() if isinstance(cell, TwinPicture)]


def in_unit(value: float, unit: Unit, *, measured: bool = False) -> str:
    """Return a value with its unit; what was measured is rounded, what was declared is not."""
    if unit == "db":
        return f"{value:.1f} dB".replace("-", "−") if measured else f"{exact(value)} dB"
    return number(value) if measured else exact(value)


def against_threshold(picture: TwinPicture, unit: Unit) -> str:
    """Return the response and how far it lies from the threshold."""
    if picture.response is None:
        return "no response recorded"
    told = f"response {in_unit(picture.response, unit, measured=True)}"
    if picture.threshold is None:
        return f"{told}; no threshold"
    away = picture.response - picture.threshold
    threshold = f"the threshold {in_unit(picture.threshold, unit)}"
    if away == 0:
        return f"{told}, at {threshold}"
    side = "above" if away > 0 else "below"
    return f"{told}, {in_unit(abs(away), unit, measured=True)} {side} {threshold}"


def caption(picture: TwinPicture, unit: Unit, size_unit: str, *, twin: bool) -> list[str]:
    """Return what stands under a picture: name, size, depth, and the response."""
    if twin:
        first = f"{picture.name}, no flaw"
    else:
        first = f"{picture.name}: {size(picture.size)} {size_unit}".rstrip()
    return [f"{first}, depth {place(picture.depth_mm)} mm", against_threshold(picture, unit)]


def caption_lines(words: list[str], width_mm: float) -> list[str]:
    """Break a caption to the width of its picture."""
    return [line for part in words for line in wrap(part, width_mm, SMALL_PT)]


def is_reduced(picture: TwinPicture, scale: float) -> bool:
    """Whether the print has fewer dots than the picture has pixels."""
    return _in_cell(picture, scale) != (1, 1)


def _in_cell(picture: TwinPicture, scale: float) -> tuple[int, int]:
    rows, columns = np.shape(picture.values)
    across = max(int(picture.wide_mm * scale * DOTS_PER_MM + 1e-6), 1)
    down = max(int(picture.deep_mm * scale * DOTS_PER_MM + 1e-6), 1)
    return math.ceil(columns / across), math.ceil(rows / down)


def _ticks(low: float, high: float, length_mm: float, label_mm: float) -> list[float]:
    """Round places, two if there is room, whose numbers do not touch one another."""
    best: list[float] = []
    for most in range(4, 0, -1):
        ticks = linear_ticks(low, high, most)
        places = [(tick - low) / (high - low) * length_mm for tick in ticks]
        held = [
            (tick, at)
            for tick, at in zip(ticks, places, strict=True)
            if label_mm / 2 - OVER_MM <= at <= length_mm + OVER_MM - label_mm / 2
        ]
        apart = all(b - a >= label_mm + 0.8 for (_, a), (_, b) in itertools.pairwise(held))
        if apart and len(held) > len(best):
            best = [tick for tick, _ in held]
    return best


def draw_picture(
    page: Axes,
    picture: TwinPicture,
    at: tuple[float, float],
    scale: float,
    look: tuple[Unit, float, float],
    label: str,
    *,
    twin: bool,
) -> None:
    """Draw pixels, unsmoothed and to scale, the outline of the target and the peak."""
    unit, low, high = look
    wide, deep = picture.wide_mm * scale, picture.deep_mm * scale
    axes = frame(page, *at, wide, deep, label)
    x_from, x_to, z_from, z_to = picture.region
    rows, columns = np.shape(picture.values)
    across, down = _in_cell(picture, scale)
    drawn = np.ma.masked_invalid(picture.values)
    shown, _ = cells(drawn, math.ceil(columns / across), math.ceil(rows / down))
    right = x_from + picture.wide_mm * across * shown.shape[1] / columns
    bottom = z_from + picture.deep_mm * down * shown.shape[0] / rows
    if np.ma.getmaskarray(drawn).any():
        hatch_ground(axes, picture.region)
    axes.imshow(
        shown, cmap=colour_map(unit), vmin=low, vmax=high, extent=(x_from, right, bottom, z_from),
        origin="upper", aspect="auto", interpolation="none", zorder=1, gid=f"{label}-values",
    )  # fmt: skip
    axes.set_xlim(x_from, x_to)
    axes.set_ylim(z_to, z_from)
    for spine in axes.spines.values():
        spine.set_visible(True)
    widest = max(text_width_mm(place(round(v)), SMALL_PT) for v in picture.x_mm)
    along, depths = _ticks(x_from, x_to, wide, widest), _ticks(z_from, z_to, deep, 2.4)
    axes.set_xticks(along, [place(tick) for tick in along])
    axes.set_yticks(depths, [place(tick) for tick in depths])
    if picture.target is not None:
        draw_truth(axes, (picture.target,), scale, dash=TWIN_DASH if twin else SOLID)
    if picture.peak_mm is not None:
        peak = Line2D(*([v] for v in picture.peak_mm), **PEAK, zorder=7, gid=f"{label}-peak")
        axes.add_line(peak)


def draw_words(page: Axes, words: str, box: tuple[float, float, float, float]) -> None:
    """Draw an empty frame with the reason why there is no picture."""
    left, top, width, height = box
    page.add_patch(Rectangle((left, top), width, height, fill=False, ec=RULE, lw=0.6))
    lines = wrap(words, width - 3.0, SMALL_PT)
    y = top + height / 2 - len(lines) * line_height_mm(SMALL_PT) / 2
    write_lines(page, left + width / 2, y, lines, size_pt=SMALL_PT, ha="center")

"""The axes on which several modes share one plot: curves, bounds, rows of hits and misses."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from qualify.figures.axes_parts import Box, goes_outside, split_line
from qualify.figures.coverage import LOOKS
from qualify.figures.curve_names import name_places
from qualify.figures.page import frame, line_height_mm, stroke, text_width_mm, write
from qualify.figures.palette import PAPER, RULE, SMALL_PT, TEXT_PT
from qualify.figures.scale import Scale, check_positive, set_x, size_scale

CURVES_MM, ROW_MM, PAD_MM = 66.0, 2.9, 1.0
LETTERS = "ABCD"
LABEL_MM = 42.0  # a longer name leaves its letter alone beside the curve
HEADS = (0.5, 0.6, 0.4, 0.7, 0.3, 0.65, 0.45, 0.55, 0.35, 0.75, 0.25, 0.2, 0.15)  # the best first
LEVEL = 0.9


@dataclass(frozen=True, slots=True)
class ModePod:
    """One mode.

    Attributes
    ----------
    hits, misses : sizes of targets.
    sizes, pod : (m,), the fitted curve, sizes ascending; empty without one, and `reason` says why.
    lower : (m,), one-sided 95 % lower bound on POD at each size, None where there is none; empty
        without a bound.
    a90, a90_95 : None where there is none, and `no_a90` or `no_a90_95` says why.

    Raises
    ------
    ValueError
        If sizes are not above zero, lengths differ, or a reason is missing.
    """

    name: str
    hits: tuple[float, ...]
    misses: tuple[float, ...]
    sizes: tuple[float, ...] = ()
    pod: tuple[float, ...] = ()
    lower: tuple[float | None, ...] = ()
    a90: float | None = None
    a90_95: float | None = None
    reason: str = ""
    no_a90: str = ""
    no_a90_95: str = ""

    def __post_init__(self) -> None:
        check_positive((*self.hits, *self.misses, *self.sizes), f"mode {self.name}: sizes")
        if len(self.pod) != len(self.sizes) or len(self.lower) not in (0, len(self.sizes)):
            counts = f"{len(self.sizes)} sizes, {len(self.pod)} POD, {len(self.lower)} bounds"
            msg = f"mode {self.name}: a curve needs as many of each, found {counts}"
            raise ValueError(msg)
        if not self.sizes:
            missing = not self.reason or self.a90 is not None or self.a90_95 is not None
        else:
            missing = (self.a90 is None and not self.no_a90) or (
                self.a90_95 is None and not self.no_a90_95
            )
        if missing:
            msg = f"mode {self.name}: what does not exist is None with its reason in words"
            raise ValueError(msg)

    def tested(self) -> tuple[float, float] | None:
        """Return the smallest and largest size of a target."""
        seen = (*self.hits, *self.misses)
        return (min(seen), max(seen)) if seen else None

    def outside(self) -> bool:
        """Whether the curve goes on outside the sizes tested."""
        return goes_outside(self.sizes, self.tested())


def line_style(k: int) -> dict[str, Any]:
    """Return the line of a mode by its place in the figure."""
    look = LOOKS[k]
    return {"color": look.colour, "linewidth": 1.4, "linestyle": look.dash}


def mark_style(k: int, *, filled: bool, size_pt: float) -> dict[str, Any]:
    """Return the mark of a mode by its place in the figure."""
    look = LOOKS[k]
    return {
        "linestyle": "none",
        "marker": look.marker,
        "color": look.colour,
        "markerfacecolor": look.colour if filled else PAPER,
        "markeredgewidth": 0.8,
        "markersize": size_pt,
    }


def height_mm(modes: int) -> float:
    """Height of the axes with a row of hits and a row of misses for each mode."""
    return CURVES_MM + 2 * (PAD_MM + ROW_MM * modes)


def modes_scale(modes: Sequence[ModePod]) -> Scale:
    """Return the axis of sizes: all targets, and every a90 and a90/95 that is not far from them."""
    seen = [v for mode in modes for v in (*mode.hits, *mode.misses)]
    marks = [v for mode in modes for v in (mode.a90, mode.a90_95) if v is not None]
    return size_scale(seen, marks, log=True)


def _rows(page: Axes, axes: Axes, modes: Sequence[ModePod], box: Box) -> None:
    """Draw each mode's hits above 1 and misses below 0, the first mode nearest to the curves."""
    left, top, width, height = box
    for k, mode in enumerate(modes):
        away = PAD_MM + (k + 0.5) * ROW_MM
        for sizes, name, hit in ((mode.hits, "hits", True), (mode.misses, "misses", False)):
            at = 1.0 + away / CURVES_MM if hit else -away / CURVES_MM
            style = mark_style(k, filled=hit, size_pt=3.0)
            if hit:
                style.update(markeredgecolor=PAPER, markeredgewidth=0.25, markersize=3.6)
            axes.plot(sizes, [at] * len(sizes), zorder=4, gid=f"{name}-{k}", **style)
            base = PAD_MM + ROW_MM * len(modes)
            y = top + (base - away if hit else height - base + away)
            letter = {"size_pt": SMALL_PT, "va": "center_baseline", "color": style["color"]}
            write(page, left + width + 1.2, y, LETTERS[k], **letter)


def _curve(axes: Axes, k: int, mode: ModePod) -> None:
    """Draw a curve, thin outside the sizes tested, with the band down to its lower bound."""
    style = line_style(k)
    colour = style["color"]
    if mode.lower:
        low = [math.nan if v is None else v for v in mode.lower]
        axes.fill_between(
            mode.sizes, low, mode.pod, facecolor=colour, alpha=0.10, linewidth=0, zorder=1
        )
        edge = {**style, "linewidth": 0.5, "alpha": 0.7}
        axes.plot(mode.sizes, low, zorder=2, gid=f"lower-{k}", **edge)
    thin = {**style, "linewidth": 0.6}
    split_line(axes, (mode.sizes, mode.pod), mode.tested(),
               ({**style, "zorder": 3}, {**thin, "zorder": 3}), f"curve-{k}")  # fmt: skip


def _marks(page: Axes, axes: Axes, modes: Sequence[ModePod], scale: Scale, box: Box) -> None:
    """Mark a90 and a90/95 on the line at 0.9; one outside the axis is an arrow at its end."""
    left, top, width, _ = box
    y = top + PAD_MM + ROW_MM * len(modes) + (1.0 - LEVEL) * CURVES_MM
    beyond = {-1: 0, 1: 0}
    for k, mode in enumerate(modes):
        for name, value in (("a90", mode.a90), ("a90-95", mode.a90_95)):
            if value is None or not mode.sizes:
                continue
            filled = name == "a90"
            style = {**mark_style(k, filled=filled, size_pt=5.0), "zorder": 6 if filled else 7}
            if scale.shows(value):
                axes.plot([value], [LEVEL], gid=f"{name}-{k}", **style)
                continue
            way = 1 if value > scale.high else -1
            end = left + width if way > 0 else left
            x = end - way * (3.0 + 2.4 * beyond[way])
            beyond[way] += 1
            page.plot([x], [y], gid=f"{name}-{k}-beyond", **style)
            tips = ((1.6, -1.0), (0.3, 0.0), (1.6, 1.0))
            arrow = [(end - way * dx, y + dy) for dx, dy in tips]
            stroke(page, arrow, color=style["color"], linewidth=0.8)


def _line(
    sizes: Sequence[float], pod: Sequence[float | None], scale: Scale, box: Box, modes: int
) -> tuple[Any, Any]:
    """Return a curve in millimetres on the page, x ascending and y downwards, on the axis only."""
    left, top, width, _ = box
    pairs = zip(sizes, pod, strict=True)
    shown = [(s, p) for s, p in pairs if p is not None and scale.shows(s)]
    x = np.array([left + width * scale.fraction(s) for s, _ in shown])
    y = np.array([top + PAD_MM + ROW_MM * modes + (1.0 - p) * CURVES_MM for _, p in shown])
    return x, y


def _names(page: Axes, modes: Sequence[ModePod], scale: Scale, box: Box) -> None:
    """Name each curve in its own colour, in the gap beside it or by its letter on it."""
    left, top, width, _ = box
    count = len(modes)
    zero = top + PAD_MM + ROW_MM * count
    named = [k for k, mode in enumerate(modes) if mode.sizes]
    curves = [_line(modes[k].sizes, modes[k].pod, scale, box, count) for k in named]
    bounds = [_line(modes[k].sizes, modes[k].lower, scale, box, count)
              for k in named if modes[k].lower]  # fmt: skip
    texts = [_label(k, modes[k].name) for k in named]
    widths = [text_width_mm(text, TEXT_PT, bold=True) for text in texts]
    field = (left + 1.0, zero, left + width - 1.0, zero + CURVES_MM)
    levels = [zero + (1.0 - pod) * CURVES_MM for pod in HEADS]
    step = line_height_mm(TEXT_PT)
    places = name_places(curves, bounds, widths, step, levels, field)
    for k, text, at in zip(named, texts, places, strict=True):
        if at is None:
            continue
        white = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.4, "alpha": 0.9}
        style = {"ha": "center", "va": "center", "color": line_style(k)["color"], "bbox": white}
        write(page, at.x, at.y, text if at.full else LETTERS[k], bold=True, **style)


def _label(k: int, name: str) -> str:
    text = f"{LETTERS[k]}  {name}"
    return text if text_width_mm(text, TEXT_PT, bold=True) <= LABEL_MM else LETTERS[k]


def draw_modes(page: Axes, modes: Sequence[ModePod], box: Box) -> None:
    """Draw the axes with everything in them; `box` is left, top, width and height, mm."""
    left, top, width, height = box
    axes = frame(page, *box, "modes-pod")
    axes.set_zorder(-1)
    scale = modes_scale(modes)
    set_x(axes, scale, width)
    ends = PAD_MM + ROW_MM * len(modes)
    axes.set_ylim(-ends / CURVES_MM, 1.0 + ends / CURVES_MM)
    axes.set_yticks([0, 0.25, 0.5, 0.75, 0.9, 1], ["0", "0.25", "0.5", "0.75", "0.9", "1"])
    for level in (0.0, LEVEL, 1.0):
        axes.axhline(level, color=RULE, linewidth=0.5, zorder=0)
    for k, mode in enumerate(modes):
        if mode.sizes:
            _curve(axes, k, mode)
    _rows(page, axes, modes, box)
    _marks(page, axes, modes, scale, box)
    _names(page, modes, scale, box)
    middle = top + height / 2
    write(
        page, left - 12.0, middle, "probability of detection", ha="left", va="center", rotation=90
    )

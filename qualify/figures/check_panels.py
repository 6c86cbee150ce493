"""The three panels that check a fit to responses: residuals, normal plot, influence."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes

from qualify.figures.axes_parts import Box, words_inside
from qualify.figures.near_labels import near_labels
from qualify.figures.page import frame, line_height_mm, number, stroke, text_width_mm, write
from qualify.figures.palette import (
    GREY,
    HIT,
    INK,
    OUTSIDE,
    PAPER,
    RULE,
    SMALL_PT,
    SOLID,
    TINT,
)
from qualify.figures.response_panel import EXACT_STYLE, LEFT_STYLE, RIGHT_STYLE
from qualify.figures.scale import Scale, level_scale, set_x, set_y, size_scale

NAMED = 5  # stems with the largest change carry the names of their targets
NAME_MM = 16.0
LEADER_MM = 2.0  # a name further away than that has a line to its mark
ZERO_STYLE: dict[str, Any] = {"color": RULE, "linewidth": 0.7, "linestyle": SOLID}
TREND_STYLE: dict[str, Any] = {"color": INK, "linewidth": 1.1, "linestyle": OUTSIDE}
IDENTITY_STYLE: dict[str, Any] = {"color": INK, "linewidth": 0.8, "linestyle": SOLID}
BAND_STYLE: dict[str, Any] = {"facecolor": TINT, "edgecolor": GREY, "linewidth": 0.5}
OTHER_STYLE: dict[str, Any] = {
    "linestyle": "none",
    "marker": "o",
    "color": GREY,
    "markerfacecolor": PAPER,
    "markeredgewidth": 0.7,
    "markersize": 3.0,
}
DECIDING_STYLE: dict[str, Any] = {
    "linestyle": "none",
    "marker": "D",
    "color": INK,
    "markeredgecolor": PAPER,
    "markeredgewidth": 0.25,
    "markersize": 3.6,
}
STEM_STYLE: dict[str, Any] = {"color": GREY, "linewidth": 0.6}
HEAD_STYLE: dict[str, Any] = {"linestyle": "none", "marker": "s", "color": HIT, "markersize": 2.4}


@dataclass(frozen=True, slots=True)
class CheckPanel:
    """The checks of one fit.

    Attributes
    ----------
    exact_sizes, exact_residuals : (n,)
        Residuals over the standard deviation of a response, of recorded responses.
    left_sizes, left_residuals, right_sizes, right_residuals : (k,), (m,)
        Residuals of the limits of responses that are at most, or at least, that.
    trend_sizes, trend_residuals : (p,)
        A smooth curve through the residuals; empty where none is drawn.
    quantiles, ordered_residuals : (q,)
        Standard normal quantiles at which residuals are plotted, and these residuals.
    band_low, band_high : (q,)
        Between them lie 95 % of the residuals of that place where the model is true; empty where
        none was simulated.
    deciding : (q,)
        True for residuals in the tail that decides a90; empty for none.
    influence_sizes, influence_changes, influence_ids : (r,)
        A target each: how much a90 changes when it is left out, and its name; `influence_ids` may
        be empty.
    influence_label, influence_unit : what changes, as 'change of ln a90'.
    message : a remark on the whole.
    residual_message, quantile_message, influence_message : why a part has nothing to show.
    """

    title: str
    size_label: str
    size_unit: str
    exact_sizes: tuple[float, ...] = ()
    exact_residuals: tuple[float, ...] = ()
    left_sizes: tuple[float, ...] = ()
    left_residuals: tuple[float, ...] = ()
    right_sizes: tuple[float, ...] = ()
    right_residuals: tuple[float, ...] = ()
    trend_sizes: tuple[float, ...] = ()
    trend_residuals: tuple[float, ...] = ()
    quantiles: tuple[float, ...] = ()
    ordered_residuals: tuple[float, ...] = ()
    band_low: tuple[float, ...] = ()
    band_high: tuple[float, ...] = ()
    deciding: tuple[bool, ...] = ()
    influence_sizes: tuple[float, ...] = ()
    influence_changes: tuple[float, ...] = ()
    influence_ids: tuple[str, ...] = ()
    influence_label: str = "change of ln a90"
    influence_unit: str = ""
    log_size: bool = True
    message: str | None = None
    residual_message: str | None = None
    quantile_message: str | None = None
    influence_message: str | None = None


def all_sizes(panel: CheckPanel) -> tuple[float, ...]:
    """Sizes of all marks of the first panel."""
    return (*panel.exact_sizes, *panel.left_sizes, *panel.right_sizes)


def largest(panel: CheckPanel) -> list[int]:
    """Places of the targets with the largest change, the largest first."""
    changes = panel.influence_changes
    return sorted(range(len(changes)), key=lambda k: (-abs(changes[k]), k))[:NAMED]


def residual_scale(panel: CheckPanel, height: float) -> Scale:
    """Axis of the residuals."""
    values = (*panel.exact_residuals, *panel.left_residuals, *panel.right_residuals, -2.0, 2.0)
    near = panel.trend_residuals
    return level_scale(values, near, log=False, length_mm=height, below_mm=3.0, above_mm=3.0)


def quantile_scales(panel: CheckPanel, width: float, height: float) -> tuple[Scale, Scale]:
    """Return the axes of quantiles and of residuals of the normal plot."""
    across = level_scale((*panel.quantiles, -1.0, 1.0), (), log=False, length_mm=width)
    values = (*panel.ordered_residuals, *panel.band_low, *panel.band_high, -1.0, 1.0)
    return across, level_scale(values, (), log=False, length_mm=height)


def influence_scale(panel: CheckPanel, height: float) -> Scale:
    """Axis of the changes."""
    free = {"below_mm": 6.0, "above_mm": 6.0} if panel.influence_ids else {}
    return level_scale((*panel.influence_changes, 0.0), (), log=False, length_mm=height, **free)


def draw_residuals(page: Axes, panel: CheckPanel, box: Box, index: int) -> None:
    """Draw residuals against size, those of limits as triangles pointing where they can lie."""
    axes = frame(page, *box, f"checks-{index}-residuals")
    set_x(axes, size_scale(all_sizes(panel), (), log=panel.log_size), box[2])
    set_y(axes, residual_scale(panel, box[3]), box[3])
    if all_sizes(panel):
        axes.axhline(0.0, **ZERO_STYLE, zorder=1)
    for name, sizes, values, style in (
        ("exact", panel.exact_sizes, panel.exact_residuals, EXACT_STYLE),
        ("left", panel.left_sizes, panel.left_residuals, LEFT_STYLE),
        ("right", panel.right_sizes, panel.right_residuals, RIGHT_STYLE),
    ):
        gid = f"checks-{index}-{name}"
        if sizes or values:
            axes.plot(sizes, values, gid=gid, clip_on=False, **{**style, "zorder": 4})
    if panel.trend_sizes:
        style = {**TREND_STYLE, "zorder": 5, "gid": f"checks-{index}-trend"}
        axes.plot(panel.trend_sizes, panel.trend_residuals, **style)
    if not all_sizes(panel):
        words_inside(page, axes, panel.residual_message or "No residuals to show.", box)


def draw_quantiles(page: Axes, panel: CheckPanel, box: Box, index: int) -> None:
    """Draw residuals against normal quantiles in their band, the deciding tail apart by shape."""
    axes = frame(page, *box, f"checks-{index}-quantiles")
    across, up = quantile_scales(panel, box[2], box[3])
    set_x(axes, across, box[2])
    set_y(axes, up, box[3])
    if panel.band_low:
        style = {**BAND_STYLE, "zorder": 0, "gid": f"checks-{index}-band"}
        axes.fill_between(panel.quantiles, panel.band_low, panel.band_high, **style)
    ends = [max(across.low, up.low), min(across.high, up.high)]
    if panel.quantiles:
        axes.plot(ends, ends, **IDENTITY_STYLE, zorder=1, gid=f"checks-{index}-identity")
    deciding = panel.deciding or (False,) * len(panel.quantiles)
    points = list(zip(panel.quantiles, panel.ordered_residuals, deciding, strict=True))
    for name, wanted, style in (
        ("deciding", True, DECIDING_STYLE),
        ("others", False, OTHER_STYLE),
    ):
        chosen = [(x, y) for x, y, told in points if told is wanted]
        if chosen:
            xs, ys = zip(*chosen, strict=True)
            given = {**style, "zorder": 4, "clip_on": False, "gid": f"checks-{index}-{name}"}
            axes.plot(xs, ys, **given)
    if not points:
        words_inside(page, axes, panel.quantile_message or "No residuals to show.", box)


def _shortened(name: str) -> str:
    """Return the end of a name that is too long to stand in the panel."""
    if text_width_mm(name, SMALL_PT) <= NAME_MM:
        return name
    while text_width_mm("…" + name, SMALL_PT) > NAME_MM:
        name = name[1:]
    return "…" + name


def _name_stems(page: Axes, panel: CheckPanel, box: Box, scales: tuple[Scale, Scale]) -> None:
    """Write the names of the targets with the largest change beside their stems."""
    left, top, width, height = box

    def place(size: float, change: float) -> tuple[float, float]:
        x, y = scales[0].fraction(size), scales[1].fraction(change)
        return left + x * width, top + (1 - y) * height

    zero = place(panel.influence_sizes[0], 0.0)[1]
    heads = [
        place(s, c) for s, c in zip(panel.influence_sizes, panel.influence_changes, strict=True)
    ]
    stems = [(x, zero, y) for x, y in heads]
    chosen = largest(panel)
    names = [_shortened(panel.influence_ids[k]) for k in chosen]
    widths = [text_width_mm(name, SMALL_PT) for name in names]
    field = (left + 0.6, top - 0.5, left + width, top + height - 0.6)
    high = line_height_mm(SMALL_PT)
    found = near_labels([heads[k] for k in chosen], widths, high, field, stems)
    for k, name, wide, at in zip(chosen, names, widths, found, strict=True):
        if at is None:
            continue
        write(page, *at, name, size_pt=SMALL_PT, ha="center", va="center")
        x, y = heads[k]
        edge = min(max(x, at[0] - wide / 2), at[0] + wide / 2)
        if max(abs(edge - x), abs(at[1] - y) - high / 2) > LEADER_MM:
            near = at[1] + (high / 2 if y > at[1] else -high / 2) * (abs(y - at[1]) > high / 2)
            stroke(page, [(edge, near), (x, y)], color=GREY, linewidth=0.4)


def draw_influence(page: Axes, panel: CheckPanel, box: Box, index: int) -> None:
    """Draw a stem for every target: the change when it is left out."""
    axes = frame(page, *box, f"checks-{index}-influence")
    across = size_scale(panel.influence_sizes, (), log=panel.log_size)
    up = influence_scale(panel, box[3])
    set_x(axes, across, box[2])
    set_y(axes, up, box[3])
    if not panel.influence_sizes:
        words_inside(page, axes, panel.influence_message or "No influence to show.", box)
        return
    axes.axhline(0.0, **ZERO_STYLE, zorder=1)
    sizes, changes = panel.influence_sizes, panel.influence_changes
    axes.vlines(sizes, 0.0, changes, **STEM_STYLE, zorder=2, gid=f"checks-{index}-stems")
    axes.plot(sizes, changes, **{**HEAD_STYLE, "zorder": 4}, gid=f"checks-{index}-heads")
    if panel.influence_ids:
        axes.set_zorder(-1)
        _name_stems(page, panel, box, (across, up))


def told_change(change: float) -> str:
    """Three significant figures with their sign."""
    return ("+" if change > 0 else "") + number(change)

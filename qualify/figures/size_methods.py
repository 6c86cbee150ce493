"""Reported against true extent, a panel for each mode and method, all on the same axes."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.axes_parts import Box, words_inside
from qualify.figures.page import Key, frame, linear_ticks, number, size, words_only
from qualify.figures.palette import (
    HIT,
    LIMIT,
    LIMIT_MARK,
    MISS,
    PAPER,
    RULE,
    TINT,
    styled,
)
from qualify.figures.scale import Scale, tick_width_mm, with_unit
from qualify.figures.sheet import PanelView, column_mm, left_mm, sheet

RIGHT_MM = 2.0
TALLEST_MM = 62.0
MOST_TICKS = 5
NOTHING = "No sizes to show: no mode was declared."
INSIDE: dict[str, Any] = {
    "linestyle": "none", "marker": "o", "color": HIT, "markerfacecolor": HIT,
    "markeredgecolor": PAPER, "markeredgewidth": 0.25, "markersize": 3.6,
}  # fmt: skip
BEYOND: dict[str, Any] = {
    "linestyle": "none", "marker": "D", "color": MISS, "markerfacecolor": PAPER,
    "markeredgecolor": MISS, "markeredgewidth": 0.9, "markersize": 3.8,
}  # fmt: skip
IDENTITY: dict[str, Any] = {"color": RULE, "linewidth": 0.8}
LIMITS: dict[str, Any] = {"color": LIMIT, "linewidth": 0.9, "linestyle": LIMIT_MARK}


@dataclass(frozen=True, slots=True)
class MethodSizes:
    """Sizes that one mode reported by one method, and how many targets have none.

    Attributes
    ----------
    true_sizes, reported_sizes : (n,), targets with a reported size.
    not_sized, missed : counts of targets found without a size, and of targets not found.

    Raises
    ------
    ValueError
        If true and reported sizes differ in number.
    """

    mode: str
    method: str
    true_sizes: tuple[float, ...]
    reported_sizes: tuple[float, ...]
    not_sized: int = 0
    missed: int = 0

    def __post_init__(self) -> None:
        true, reported = len(self.true_sizes), len(self.reported_sizes)
        if true != reported:
            msg = f"{self.title}: {true} true sizes and {reported} reported ones"
            raise ValueError(msg)

    @property
    def title(self) -> str:
        """Mode and method."""
        return f"{self.mode}: {self.method}"

    def beyond(self, limit: float) -> list[bool]:
        """Whether each reported size is further from the true one than a limit."""
        pairs = zip(self.true_sizes, self.reported_sizes, strict=True)
        return [abs(reported - true) > limit for true, reported in pairs]


@dataclass(frozen=True, slots=True)
class SizeMethodsView:
    """Panels in the order drawn; `limit` is the largest error allowed, None where none is asked.

    Raises
    ------
    ValueError
        If the limit is not above zero.
    """

    quantity_label: str
    unit: str
    panels: tuple[MethodSizes, ...]
    limit: float | None = None

    def __post_init__(self) -> None:
        if self.limit is not None and not self.limit > 0:
            msg = f"a limit of the error is above zero, found {self.limit}"
            raise ValueError(msg)


def _scale(view: SizeMethodsView) -> Scale:
    """Return the axis that all panels share, both ways."""
    held = [v for panel in view.panels for v in (*panel.true_sizes, *panel.reported_sizes)]
    low, high = min(held, default=0.0), max(held, default=1.0)
    low = 0.0 if 0 <= low < 0.5 * high else low
    pad = 0.05 * (high - low) or 0.1 * abs(high) or 1.0
    return Scale(0.0 if low == 0 else low - pad, high + pad, log=False)


def _counts(view: SizeMethodsView, panel: MethodSizes) -> str:
    sized = len(panel.true_sizes)
    words = f"{sized} sized, {panel.not_sized} not sized, {panel.missed} missed"
    if view.limit is not None and sized:
        beyond = sum(panel.beyond(view.limit))
        words += f"; {beyond} of {sized} off by more than {_limit(view)}"
    return words


def _limit(view: SizeMethodsView) -> str:
    return f"{number(view.limit or 0.0)} {view.unit}".rstrip()


def _lines(axes: Axes, view: SizeMethodsView, scale: Scale) -> None:
    """Draw identity and the limits on either side of it."""
    ends = [scale.low, scale.high]
    if view.limit is not None:
        low, high = ([v + way * view.limit for v in ends] for way in (-1, 1))
        axes.fill_between(ends, low, high, facecolor=TINT, linewidth=0, zorder=0)
        axes.plot(ends, low, **LIMITS, zorder=1)
        axes.plot(ends, high, **LIMITS, zorder=1)
    axes.plot(ends, ends, **IDENTITY, zorder=2)


def _draw(page: Axes, view: SizeMethodsView, index: int, box: Box) -> None:
    panel, scale = view.panels[index], _scale(view)
    axes = frame(page, *box, f"methods-{index}")
    if not panel.true_sizes:
        words_inside(page, axes, "No target was sized.", box)
        return
    _lines(axes, view, scale)
    ticks = linear_ticks(scale.low, scale.high, MOST_TICKS)
    ticks = [tick for tick in ticks if scale.fraction(tick) * box[2] <= box[2] - 1.5]
    axes.set_xticks(ticks, [number(tick) for tick in ticks])
    axes.set_yticks(ticks, [number(tick) for tick in ticks])
    beyond = [False] * len(panel.true_sizes)
    if view.limit is not None:
        beyond = panel.beyond(view.limit)
    for wanted, style, name in ((False, INSIDE, "inside"), (True, BEYOND, "beyond")):
        pairs = zip(panel.true_sizes, panel.reported_sizes, beyond, strict=True)
        chosen = [(true, reported) for true, reported, off in pairs if off is wanted]
        if chosen:
            true, reported = zip(*chosen, strict=True)
            gid = f"methods-{index}-{name}"
            axes.plot(true, reported, gid=gid, zorder=4, clip_on=False, **style)
    axes.set_xlim(scale.low, scale.high)
    axes.set_ylim(scale.low, scale.high)


def _panel(view: SizeMethodsView, index: int) -> PanelView:
    panel = view.panels[index]
    return PanelView(
        title=panel.title,
        counts=_counts(view, panel),
        message=None,
        lane_mm=1.6,
        x_label=with_unit(f"true {view.quantity_label}", view.unit),
        y_label=with_unit("reported", view.unit),
        tick_mm=tick_width_mm(_scale(view), TALLEST_MM),
        draw=lambda page, box, at: _draw(page, view, at, box),
    )


def _keys(view: SizeMethodsView) -> list[Key]:
    drawn = [panel for panel in view.panels if panel.true_sizes]
    if not drawn:
        return []
    keys = [Key("sized target", INSIDE)]
    if view.limit is not None:
        if any(any(panel.beyond(view.limit)) for panel in drawn):
            keys.append(Key(f"off by more than {_limit(view)}", BEYOND))
        keys.append(Key(f"limit: true ± {_limit(view)}", LIMITS))
    return [*keys, Key("reported = true", IDENTITY)]


@styled
def draw_size_methods(
    view: SizeMethodsView, *, width_mm: float = 170.0, columns: int = 3, mark: str = ""
) -> Figure:
    """Draw a square panel for each mode and method, in the caller's order, on shared axes."""
    if not view.panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(view.panels)))
    panels = [_panel(view, k) for k in range(len(view.panels))]
    column = column_mm(width_mm, columns)
    side = min(column - left_mm(panels, TALLEST_MM) - RIGHT_MM, TALLEST_MM)
    return sheet(
        panels,
        _keys(view),
        width_mm=width_mm,
        columns=columns,
        axes_mm=side,
        right_mm=column - left_mm(panels, side) - side,
        mark=mark,
    )


def size_methods_alt_text(view: SizeMethodsView) -> str:
    """Return words for the figure: counts and the largest error of each panel."""
    if not view.panels:
        return NOTHING
    told = [f"Reported against true {view.quantity_label}."]
    for panel in view.panels:
        words = f"{panel.title}: {_counts(view, panel)}"
        pairs = list(zip(panel.true_sizes, panel.reported_sizes, strict=True))
        if pairs:
            true, reported = max(pairs, key=lambda pair: abs(pair[1] - pair[0]))
            unit = f" {view.unit}" if view.unit else ""
            words += f"; farthest off: {size(reported)} for {size(true)}{unit}"
        told.append(f"{words}.")
    return " ".join(told)

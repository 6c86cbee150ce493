"""POD at stated sizes against the rate of false calls that a threshold brings with it."""

from matplotlib.figure import Figure

from qualify.figures.axes_parts import goes_outside
from qualify.figures.page import Key, size, words_only
from qualify.figures.palette import styled
from qualify.figures.pod_panel import LANE_MM
from qualify.figures.scale import percent
from qualify.figures.sheet import PanelView, column_mm, sheet
from qualify.figures.trade_panel import (
    BAR_STYLE,
    BOUND_STYLE,
    FULL,
    HOLLOW,
    LINE_OUTSIDE,
    LINE_STYLE,
    OUTSIDE_BOUND,
    Markers,
    TradeLine,
    TradePanel,
    draw_panel,
    markers_of,
    marks_of,
)

__all__ = ["TradeLine", "TradePanel", "trade_alt_text", "trade_figure"]

NOTHING = "No trade of POD against false calls to show: nothing was computed."


def _counts(panel: TradePanel) -> str:
    if not panel.lines:
        return "no line"
    return "POD at " + ", ".join(line.size_label for line in panel.lines)


def _keys(panels: tuple[TradePanel, ...]) -> list[Key]:
    """Legend entries for what is drawn in at least one panel."""
    keys = []
    for label, marker in markers_of(panels).items():
        keys.append(Key(f"POD at {label}", {**LINE_STYLE, **HOLLOW, "marker": marker}))
    lines = [line for panel in panels for line in panel.lines]
    if any(line.bound for line in lines):
        keys.append(Key("its 95 % lower bound", BOUND_STYLE))
    if any(goes_outside(line.rates, line.supported) for line in lines):
        keys.append(Key("threshold outside the responses recorded", LINE_OUTSIDE))
        if any(line.bound for line in lines):
            keys.append(Key("lower bound there", OUTSIDE_BOUND))
    used = [panel for panel in panels if panel.frozen_rate is not None]
    if used and any(line.frozen_pod is not None for panel in used for line in panel.lines):
        keys.append(Key("threshold in use", {**FULL, "marker": "o"}))
        if any(line.frozen_bound is not None for panel in used for line in panel.lines):
            keys.append(Key("down to the 95 % lower bound of POD", BAR_STYLE))
        told = dict.fromkeys(p.interval_label for p in used if p.frozen_interval)
        keys += [Key(label, {**BAR_STYLE, "marker": "|", "markersize": 4.0}) for label in told]
    return keys


def _view(panel: TradePanel, markers: Markers) -> PanelView:
    return PanelView(
        panel.title,
        _counts(panel),
        panel.message if panel.lines else None,
        LANE_MM if marks_of(panel) else 2.5,
        "blank units with a false call (%)",
        "probability of detection",
        4.5,
        lambda page, box, index: draw_panel(page, panel, box, index, markers),
    )


@styled
def trade_figure(
    panels: tuple[TradePanel, ...],
    *,
    width_mm: float = 170.0,
    columns: int = 2,
    tallest_mm: float = 58.0,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order, with one legend below.

    Sizes are told apart by the marks on their lines. Axes are `tallest_mm` high at most.

    Raises
    ------
    ValueError
        If a panel has more than three sizes or the figure more than six, the values of a line
        differ in number, or a rate is not above zero.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    axes_mm = min(max(0.66 * column_mm(width_mm, columns), 38.0), tallest_mm)
    markers = markers_of(panels)
    views = [_view(panel, markers) for panel in panels]
    return sheet(
        views,
        _keys(panels),
        width_mm=width_mm,
        columns=columns,
        axes_mm=axes_mm,
        right_mm=1.5,
        mark=mark,
    )


def _line_words(line: TradeLine, used: bool) -> str:
    text = f"at {line.size_label}"
    if line.rates:
        low, high = percent(line.rates[0]), percent(line.rates[-1])
        text += f" POD {size(line.pod[0])} to {size(line.pod[-1])} for rates of {low} to {high}"
    if line.supported:
        low, high = map(percent, line.supported)
        text += f", by responses recorded from {low} to {high}"
    if used and line.frozen_pod is not None:
        text += f", {size(line.frozen_pod)} at the threshold in use"
        if line.frozen_bound is not None:
            text += f" (lower 95 % bound {size(line.frozen_bound)})"
    return text


def _words(panel: TradePanel) -> str:
    rate = panel.frozen_rate
    parts = [panel.title + ": " + ("" if panel.lines else "no line")]
    parts[0] += "; ".join(_line_words(line, rate is not None) for line in panel.lines)
    if rate is not None:
        text = f"rate of false calls at the threshold in use {percent(rate)}"
        if panel.frozen_interval:
            low, high = map(percent, panel.frozen_interval)
            text += f", interval {low} to {high}"
        parts.append(text)
    return "; ".join(parts) + "." + (f" {panel.message}" if panel.message else "")


def trade_alt_text(panels: tuple[TradePanel, ...]) -> str:
    """Return words for the figure: POD at each size, its bound and the rate in use."""
    if not panels:
        return NOTHING
    return " ".join(["Probability of detection against false calls.", *map(_words, panels)])

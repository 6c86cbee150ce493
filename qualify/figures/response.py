"""Response against size: recorded, censored and missed targets, and the line fitted to them."""

from matplotlib.figure import Figure

from qualify.figures.axes_parts import beside_mm, goes_outside
from qualify.figures.page import Key, size, words_only
from qualify.figures.palette import BAND, OUTSIDE, TINT, styled
from qualify.figures.pod_panel import LANE_MM
from qualify.figures.response_panel import (
    BAND_STYLE,
    EDGE_STYLE,
    GROUP_STYLES,
    LINE_STYLE,
    THRESHOLD_STYLE,
    ResponsePanel,
    coinciding,
    draw_panel,
    groups_of,
    levels_of,
    marks_of,
    y_scale,
)
from qualify.figures.scale import level, tick_width_mm, with_unit
from qualify.figures.sheet import PanelView, column_mm, sheet

__all__ = ["ResponsePanel", "response_alt_text", "response_figure"]

NOTHING = "No responses to show: nothing was tested."
STACKED = " (marks that coincide are stacked the way the response can lie)"
NO_LINE = "No line was fitted."
GROUP_WORDS = {
    "exact": "response as recorded",
    "left": "at most this: nothing recorded above the floor",
    "right": "at least this: saturated",
    "missed": "missed: at most this, nothing on the sheet",
}
COUNT_WORDS = {
    "exact": "recorded",
    "left": "at most the floor",
    "right": "saturated",
    "missed": "missed",
}


def _counts(panel: ResponsePanel) -> str:
    groups = groups_of(panel)
    parts = [f"{len(sizes)} {COUNT_WORDS[name]}" for name, (sizes, _) in groups.items() if sizes]
    return ", ".join(parts) or "no targets"


def _message(panel: ResponsePanel) -> str | None:
    """Words above the axes: a remark, or why there is no line."""
    if not any(sizes for sizes, _ in groups_of(panel).values()):
        return None
    return panel.message or (None if panel.line_sizes else NO_LINE)


def _keys(panels: tuple[ResponsePanel, ...]) -> list[Key]:
    """Legend entries for what is drawn in at least one panel."""
    keys = [
        Key(words, GROUP_STYLES[name])
        for name, words in GROUP_WORDS.items()
        if any(groups_of(panel)[name][0] for panel in panels)
    ]
    if any(coinciding(panel) for panel in panels):
        keys[-1] = Key(keys[-1].label + STACKED, keys[-1].style)
    fitted = [panel for panel in panels if panel.line_sizes]
    if fitted:
        keys.append(Key("fitted mean response", LINE_STYLE))
        if any(goes_outside(panel.line_sizes, panel.tested_range) for panel in fitted):
            keys.append(Key("outside the tested range", {**LINE_STYLE, "linestyle": OUTSIDE}))
    if any(panel.band_low or panel.band_high for panel in fitted):
        keys.append(Key("between them nine in ten responses", BAND_STYLE))
    if any(panel.threshold is not None for panel in panels):
        labels = dict.fromkeys(p.threshold_label for p in panels if p.threshold is not None)
        keys += [Key(label, THRESHOLD_STYLE) for label in labels]
    if any(panel.floor is not None or panel.ceiling is not None for panel in panels):
        keys.append(Key("floor and ceiling of what is recorded", EDGE_STYLE))
    for named in {mark.name: mark for panel in panels for mark in marks_of(panel)}.values():
        keys.append(Key(named.name, named.style))
    if any(panel.tested_range for panel in panels):
        keys.append(Key("sizes tested", {"fc": TINT, "ec": BAND, "lw": 0.5}, patch=True))
    return keys


def _view(panel: ResponsePanel, column: float, axes_mm: float) -> PanelView:
    scale = y_scale(panel, column - 30.0, axes_mm)
    return PanelView(
        panel.title,
        _counts(panel),
        _message(panel),
        LANE_MM if marks_of(panel) else 2.5,
        with_unit(panel.size_label, panel.size_unit),
        with_unit(panel.response_label, panel.response_unit),
        tick_width_mm(scale, axes_mm),
        lambda page, box, index: draw_panel(page, panel, box, index),
    )


@styled
def response_figure(
    panels: tuple[ResponsePanel, ...],
    *,
    width_mm: float = 170.0,
    columns: int = 2,
    tallest_mm: float = 62.0,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order, with one legend below.

    A target that was not recorded stands at the limit of its response; marks of one limit that
    would overlap are stacked the way the response can lie. Axes are `tallest_mm` high at most.

    Raises
    ------
    ValueError
        If sizes and responses of a kind differ in number, or a logarithmic axis is asked for
        values that are not above zero.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    column = column_mm(width_mm, columns)
    axes_mm = min(max(0.66 * column, 38.0), tallest_mm)
    views = [_view(panel, column, axes_mm) for panel in panels]
    right = max(beside_mm(levels_of(panel)) for panel in panels)
    return sheet(
        views,
        _keys(panels),
        width_mm=width_mm,
        columns=columns,
        axes_mm=axes_mm,
        right_mm=right,
        mark=mark,
    )


def _words(panel: ResponsePanel) -> str:
    unit = f" {panel.size_unit}" if panel.size_unit else ""
    response_unit = f" {panel.response_unit}" if panel.response_unit else ""
    parts = [f"{panel.title}: {_counts(panel)}"]
    if panel.exact_responses:
        low, high = level(min(panel.exact_responses)), level(max(panel.exact_responses))
        parts.append(f"responses recorded from {low} to {high}{response_unit}")
    if panel.tested_range:
        ends = " to ".join(map(size, panel.tested_range))
        parts.append(f"sizes tested {ends}{unit}")
    for name, value in (
        (panel.threshold_label, panel.threshold),
        ("floor", panel.floor),
        ("ceiling", panel.ceiling),
    ):
        if value is not None:
            parts.append(f"{name} {level(value)}{response_unit}")
    for name, value in (("a90", panel.a90), ("a90/95", panel.a90_95)):
        parts.append(f"{name} {'none' if value is None else size(value) + unit}")
    if panel.limit is not None:
        parts.append(f"limit on a90/95 {size(panel.limit)}{unit}")
    if not panel.line_sizes:
        parts.append("no line fitted")
    return "; ".join(parts) + "." + (f" {panel.message}" if panel.message else "")


def response_alt_text(panels: tuple[ResponsePanel, ...]) -> str:
    """Return words for the figure: counts, ranges, levels, a90 and a90/95 of each panel."""
    if not panels:
        return NOTHING
    return " ".join(["Response against size.", *map(_words, panels)])

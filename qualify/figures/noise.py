"""False calls against threshold: peaks on blank units, the law fitted, the threshold in use."""

from matplotlib.figure import Figure

from qualify.figures.axes_parts import beside_mm
from qualify.figures.noise_panel import (
    BOUND_STYLE,
    ERROR_STYLE,
    FROZEN_STYLE,
    LAW_STYLE,
    OTHER_STYLE,
    RATE_STYLE,
    STEP_STYLE,
    NoisePanel,
    OtherLaw,
    draw_panel,
    error_words,
    marks_of,
    rates_of,
    y_scale,
)
from qualify.figures.page import Key, number, words_only
from qualify.figures.palette import styled
from qualify.figures.pod_panel import LANE_MM, MARK_STYLES
from qualify.figures.scale import level, percent, tick_width_mm, with_unit
from qualify.figures.sheet import PanelView, column_mm, sheet

__all__ = ["NoisePanel", "OtherLaw", "noise_alt_text", "noise_figure"]

NOTHING = "No noise to show: no blank unit was recorded."


def _counts(panel: NoisePanel) -> str:
    units = len(panel.peaks) + panel.censored
    if not units:
        return "no blank units"
    text = f"{units} blank units, {len(panel.peaks)} with a peak recorded"
    if panel.censored:
        text += f"; {panel.censored} without one"
        if panel.censored_at is not None:
            at = f"{level(panel.censored_at)} {panel.level_unit}".rstrip()
            text += f", so at most {at}"
    return text


def _keys(panels: tuple[NoisePanel, ...]) -> list[Key]:
    """Legend entries for what is drawn in at least one panel."""
    keys = []
    if any(panel.peaks for panel in panels):
        keys.append(Key("share of units with a peak above, a step at each peak", STEP_STYLE))
    labels = dict.fromkeys(panel.law_label for panel in panels if panel.law_levels)
    keys += [Key(label, LAW_STYLE) for label in labels]
    if any(panel.bound_levels for panel in panels):
        keys.append(Key("its 95 % upper bound", BOUND_STYLE))
    others = dict.fromkeys(other.name for panel in panels for other in panel.others)
    if others:
        keys.append(Key("another family: " + ", ".join(others), OTHER_STYLE))
    if any(panel.declared_rate is not None for panel in panels):
        keys.append(Key("declared rate", RATE_STYLE))
    if any(panel.threshold is not None for panel in panels):
        keys.append(Key("threshold for it", MARK_STYLES["a90"]))
    if any(panel.threshold is not None and panel.threshold_se is not None for panel in panels):
        keys.append(Key("± one standard error", ERROR_STYLE))
    if any(panel.frozen is not None for panel in panels):
        keys.append(Key("threshold in use", MARK_STYLES["a90/95"]))
        keys.append(Key("its rate", FROZEN_STYLE))
    return keys


def _view(panel: NoisePanel, axes_mm: float) -> PanelView:
    empty = not panel.peaks and not panel.law_levels
    message = panel.message or ("" if panel.law_levels else "No law was fitted.")
    return PanelView(
        panel.title,
        _counts(panel),
        None if empty else message or None,
        LANE_MM if marks_of(panel) else 2.5,
        with_unit(panel.level_label, panel.level_unit),
        "false calls per blank unit (%)",
        tick_width_mm(y_scale(panel), axes_mm, lambda v: number(100 * v)),
        lambda page, box, index: draw_panel(page, panel, box, index),
    )


@styled
def noise_figure(
    panels: tuple[NoisePanel, ...],
    *,
    width_mm: float = 170.0,
    columns: int = 2,
    tallest_mm: float = 58.0,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order, with one legend below.

    Rates stand on a logarithmic axis up to 100 %. Axes are `tallest_mm` high at most.

    Raises
    ------
    ValueError
        If thresholds and rates of a line differ in number.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    axes_mm = min(max(0.66 * column_mm(width_mm, columns), 38.0), tallest_mm)
    views = [_view(panel, axes_mm) for panel in panels]
    right = max(beside_mm(rates_of(panel)) for panel in panels)
    return sheet(
        views,
        _keys(panels),
        width_mm=width_mm,
        columns=columns,
        axes_mm=axes_mm,
        right_mm=right,
        mark=mark,
    )


def _words(panel: NoisePanel) -> str:
    unit = f" {panel.level_unit}" if panel.level_unit else ""
    parts = [f"{panel.title}: {_counts(panel)}"]
    if panel.peaks:
        parts.append(f"peaks from {level(min(panel.peaks))} to {level(max(panel.peaks))}{unit}")
    if panel.declared_rate is not None:
        parts.append(f"declared rate {percent(panel.declared_rate)} of the units")
    if panel.threshold is not None:
        parts.append(f"threshold for it {level(panel.threshold)}{error_words(panel)}{unit}")
    elif panel.declared_rate is not None:
        parts.append("threshold for it none")
    if panel.frozen is not None:
        parts.append(f"threshold in use {level(panel.frozen)}{unit}")
        if panel.frozen_fraction is not None:
            parts.append(f"its rate {percent(panel.frozen_fraction)}")
        if panel.frozen_upper is not None:
            parts.append(f"upper 95 % bound of that {percent(panel.frozen_upper)}")
    parts += [] if panel.law_levels else ["no law fitted"]
    parts += [f"beside it {other.name}" for other in panel.others]
    return "; ".join(parts) + "." + (f" {panel.message}" if panel.message else "")


def noise_alt_text(panels: tuple[NoisePanel, ...]) -> str:
    """Return words for the figure: counts, rate, thresholds and bound of each panel."""
    if not panels:
        return NOTHING
    return " ".join(["False calls on blank units against threshold.", *map(_words, panels)])

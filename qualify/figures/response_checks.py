"""Checks of a fit to responses: residuals against size, their normal plot, what one target does."""

from collections.abc import Callable

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.axes_parts import Box
from qualify.figures.check_panels import (
    BAND_STYLE,
    DECIDING_STYLE,
    HEAD_STYLE,
    IDENTITY_STYLE,
    OTHER_STYLE,
    TREND_STYLE,
    ZERO_STYLE,
    CheckPanel,
    all_sizes,
    draw_influence,
    draw_quantiles,
    draw_residuals,
    influence_scale,
    largest,
    quantile_scales,
    residual_scale,
    told_change,
)
from qualify.figures.page import (
    Key,
    Styled,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    size,
    words_only,
    wrap,
    write,
    write_header,
    write_lines,
)
from qualify.figures.palette import SMALL_PT, TEXT_PT, TITLE_PT, styled
from qualify.figures.response_panel import EXACT_STYLE, LEFT_STYLE, RIGHT_STYLE
from qualify.figures.scale import tick_width_mm, with_unit
from qualify.figures.sheet import GAP_MM, write_up

__all__ = ["CheckPanel", "response_checks_alt_text", "response_checks_figure"]

NOTHING = "No checks to show: no line was fitted to responses."
AXES_MM = 42.0
LANE_MM = 5.8  # names of the three panels
Draw = Callable[[Axes, CheckPanel, Box, int], None]


def _parts(panel: CheckPanel) -> list[tuple[str, str, str, float, Draw]]:
    """Name, words along x and y, width of the numbers along y and drawing of each panel."""
    sizes = with_unit(panel.size_label, panel.size_unit)
    change = with_unit(panel.influence_label, panel.influence_unit)
    scales = (
        residual_scale(panel, AXES_MM),
        quantile_scales(panel, AXES_MM, AXES_MM)[1],
        influence_scale(panel, AXES_MM),
    )
    residual, quantile, influence = (tick_width_mm(scale, AXES_MM) for scale in scales)
    return [
        ("residuals", sizes, "standardised residual", residual, draw_residuals),
        ("normal plot", "normal quantile", "standardised residual", quantile, draw_quantiles),
        ("each target left out", sizes, change, influence, draw_influence),
    ]


def _header(panel: CheckPanel, width: float) -> list[Styled]:
    lines: list[Styled] = [
        (line, TITLE_PT, True) for line in wrap(panel.title, width, TITLE_PT, bold=True)
    ]
    if panel.message:
        lines += [(line, SMALL_PT, False) for line in wrap(panel.message, width, SMALL_PT)]
    return lines


def _keys(panels: tuple[CheckPanel, ...]) -> list[Key]:
    """Legend entries for what is drawn in at least one row."""
    drawn = (
        ("recorded response", EXACT_STYLE, any(p.exact_sizes for p in panels)),
        ("at most this", LEFT_STYLE, any(p.left_sizes for p in panels)),
        ("at least this", RIGHT_STYLE, any(p.right_sizes for p in panels)),
        ("zero line", ZERO_STYLE, any(all_sizes(p) or p.influence_sizes for p in panels)),
        ("trend", TREND_STYLE, any(p.trend_sizes for p in panels)),
        ("tail that decides a90", DECIDING_STYLE, any(any(p.deciding) for p in panels)),
        ("other residuals", OTHER_STYLE, any(len(p.quantiles) > sum(p.deciding) for p in panels)),
        ("normal", IDENTITY_STYLE, any(p.quantiles for p in panels)),
        ("one target left out", HEAD_STYLE, any(p.influence_sizes for p in panels)),
    )
    keys = [Key(label, style) for label, style, shown in drawn if shown]
    if any(p.band_low for p in panels):
        keys.append(Key("95 % of simulated residuals, place by place", BAND_STYLE, patch=True))
    return keys


def _draw_row(page: Axes, panel: CheckPanel, top: float, width_mm: float, index: int) -> None:
    parts = _parts(panel)
    column = (width_mm - 2 * GAP_MM) / 3
    for k, (name, below, beside, tick, draw) in enumerate(parts):
        x = k * (column + GAP_MM)
        lines = wrap(beside, AXES_MM)
        left = 1.0 + len(lines) * line_height_mm(TEXT_PT) + tick + 1.8
        box = (x + left, top + LANE_MM, column - left - 1.5, AXES_MM)
        write(page, x + 1.0, top + 1.2, f"({'abc'[k]}) {name}")
        draw(page, panel, box, index)
        write_up(page, x + 1.0, box[1] + AXES_MM / 2, lines)
        middle = box[0] + box[2] / 2
        write_lines(page, middle, box[1] + AXES_MM + 4.2, wrap(below, box[2]), ha="center")


@styled
def response_checks_figure(
    panels: tuple[CheckPanel, ...], *, width_mm: float = 170.0, mark: str = ""
) -> Figure:
    """Draw a row of three panels for each fit, in the caller's order, with one legend below.

    Raises
    ------
    ValueError
        If the values of a part differ in number, or a logarithmic axis is asked for sizes that
        are not above zero.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    inner = (width_mm - 2 * GAP_MM) / 3 - 14.0
    heads = [_header(panel, width_mm - 2.0) for panel in panels]
    deep = [sum(line_height_mm(line[1]) for line in lines) for lines in heads]
    labels = [max(len(wrap(part[1], inner)) for part in _parts(panel)) for panel in panels]
    feet = [4.2 + count * line_height_mm(TEXT_PT) + 2.5 for count in labels]
    legend = legend_rows(_keys(panels), width_mm - 2.0)
    height = sum(deep) + sum(feet) + len(panels) * (LANE_MM + AXES_MM) + 2.0
    figure, page = new_page(width_mm, height + legend_height_mm(legend), mark=mark)
    y = 0.5
    for k, (panel, lines) in enumerate(zip(panels, heads, strict=True)):
        write_header(page, 1.0, y, lines)
        _draw_row(page, panel, y + deep[k], width_mm, k)
        y += deep[k] + LANE_MM + AXES_MM + feet[k]
    draw_legend(page, legend, 1.0, y)
    return figure


def _outside_band(panel: CheckPanel) -> str:
    out = [
        not low <= value <= high
        for value, low, high in zip(
            panel.ordered_residuals, panel.band_low, panel.band_high, strict=True
        )
    ]
    text = f"{sum(out)} of {len(out)} residuals outside the simulated 95 % band"
    if any(panel.deciding):
        tail = [o for o, told in zip(out, panel.deciding, strict=True) if told]
        text += f", {sum(tail)} of the {len(tail)} in the tail that decides a90"
    return text


def _words(panel: CheckPanel) -> str:
    counts = (
        (len(panel.exact_sizes), "recorded"),
        (len(panel.left_sizes), "at most their limit"),
        (len(panel.right_sizes), "at least their limit"),
    )
    parts = [", ".join(f"{n} {word}" for n, word in counts if n) or "no residuals"]
    if panel.exact_residuals:
        low, high = size(min(panel.exact_residuals)), size(max(panel.exact_residuals))
        parts.append(f"standardised residuals of recorded responses {low} to {high}")
    if panel.band_low:
        parts.append(_outside_band(panel))
    unit = f" {panel.influence_unit}" if panel.influence_unit else ""
    told = []
    for k in largest(panel):
        name = panel.influence_ids[k] if panel.influence_ids else "one target"
        at = f"size {size(panel.influence_sizes[k])} {panel.size_unit}".strip()
        told.append(f"{name} ({at}) {told_change(panel.influence_changes[k])}{unit}")
    if told:
        parts.append(f"largest {panel.influence_label} when left out: {', '.join(told)}")
    words = (
        panel.message,
        panel.residual_message,
        panel.quantile_message,
        panel.influence_message,
    )
    return " ".join([f"{panel.title}: {'; '.join(parts)}.", *(w for w in words if w)])


def response_checks_alt_text(panels: tuple[CheckPanel, ...]) -> str:
    """Return words for the figure: counts, residuals outside the band, largest influences."""
    if not panels:
        return NOTHING
    return " ".join(["Checks of the fit to responses.", *map(_words, panels)])

"""Reported against true size, with the bias, the tolerance band and what was not sized."""

from matplotlib.figure import Figure

from qualify.figures.page import (
    Key,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    size,
    words_only,
    wrap,
    write_header,
)
from qualify.figures.palette import (
    BAND,
    MARKS,
    SMALL_PT,
    TEXT_PT,
    TINT,
    TITLE_PT,
    styled,
)
from qualify.figures.sizing_panel import (
    BIAS_STYLE,
    IDENTITY_STYLE,
    LEFT_MM,
    SIZED_STYLE,
    TOLERANCE_STYLE,
    SizingPanel,
    axis_label,
    draw_panel,
    strip_mm,
)

__all__ = ["SizingPanel", "sizing_alt_text", "sizing_figure"]

GAP_MM = 3.0
NOTHING = "No sizes to show: nothing was sized."


def _counts(panel: SizingPanel) -> str:
    parts = [f"{len(panel.true_sizes)} sized"]
    if panel.unsized_true:
        parts.append(f"{len(panel.unsized_true)} found without a size")
    if panel.missed_true:
        parts.append(f"{len(panel.missed_true)} missed")
    return ", ".join(parts)


def _header(panel: SizingPanel, width: float) -> list[tuple[str, float, bool]]:
    lines = [(line, TITLE_PT, True) for line in wrap(panel.title, width, TITLE_PT, bold=True)]
    lines += [(line, TEXT_PT, False) for line in wrap(_counts(panel), width, TEXT_PT)]
    if panel.message and panel.true_sizes:
        lines += [(line, SMALL_PT, False) for line in wrap(panel.message, width, SMALL_PT)]
    return lines


def _header_mm(panel: SizingPanel, width: float) -> float:
    return sum(line_height_mm(size) for _, size, _ in _header(panel, width)) + 1.6


def _foot_mm(row: tuple[SizingPanel, ...], side_mm: float) -> float:
    lines = max(len(wrap(axis_label(panel), side_mm)) for panel in row)
    return 6.7 + lines * line_height_mm(TEXT_PT)


def _keys(panels: tuple[SizingPanel, ...]) -> list[Key]:
    keys: list[Key] = []
    if any(panel.true_sizes for panel in panels):
        keys.append(Key("sized target", SIZED_STYLE))
    if any(panel.unsized_true for panel in panels):
        keys.append(Key("found without a size", MARKS["unsized"].style()))
    if any(panel.missed_true for panel in panels):
        keys.append(Key("missed", MARKS["miss"].style()))
    drawn = [panel for panel in panels if panel.true_sizes]
    if drawn:
        keys.append(Key("reported = true", IDENTITY_STYLE))
    if any(panel.bias is not None for panel in drawn):
        keys.append(Key("true + bias", BIAS_STYLE))
    if any(panel.tolerance for panel in drawn):
        keys.append(Key("two-sided 95/95 tolerance band", TOLERANCE_STYLE))
        keys.append(Key("inside it", {"fc": TINT, "ec": BAND, "lw": 0.5}, patch=True))
    return keys


@styled
def sizing_figure(
    panels: tuple[SizingPanel, ...],
    *,
    width_mm: float = 170.0,
    columns: int = 3,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order, with one legend below.

    Targets without a size stand as marks of two shapes in a strip under the sizes.

    Raises
    ------
    ValueError
        If true and reported sizes of a panel differ in number.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    column_mm = (width_mm - GAP_MM * (columns - 1)) / columns
    side = min(column_mm - LEFT_MM - 1.5, 72.0)
    rows = [panels[k : k + columns] for k in range(0, len(panels), columns)]
    heads = [max(_header_mm(panel, column_mm - 2) for panel in row) for row in rows]
    strips = [max(strip_mm(panel, side) for panel in row) for row in rows]
    feet = [_foot_mm(row, side) for row in rows]
    legend = legend_rows(_keys(panels), width_mm - 2.0)
    height = sum(heads) + sum(strips) + sum(feet) + len(rows) * side + 2.5
    height += legend_height_mm(legend)
    figure, page = new_page(width_mm, height, mark=mark)
    top, index = 0.5, 0
    for row, head, strip, foot in zip(rows, heads, strips, feet, strict=True):
        for k, panel in enumerate(row):
            left = k * (column_mm + GAP_MM)
            write_header(page, left + 1.0, top, _header(panel, column_mm - 2))
            draw_panel(page, panel, (left + LEFT_MM, top + head), side, index)
            index += 1
        top += head + side + strip + foot
    draw_legend(page, legend, 1.0, top)
    return figure


def _words(panel: SizingPanel) -> str:
    unit = f" {panel.unit}" if panel.unit else ""
    parts = [f"{panel.title}, {panel.quantity_label}: {_counts(panel)}"]
    if panel.bias is not None:
        parts.append(f"bias {size(panel.bias)}{unit}")
    if panel.tolerance:
        low, high = map(size, panel.tolerance)
        parts.append(f"95/95 tolerance interval of the error {low} to {high}{unit}")
    return "; ".join(parts) + "." + (f" {panel.message}" if panel.message else "")


def sizing_alt_text(panels: tuple[SizingPanel, ...]) -> str:
    """Return words for the figure: counts, bias and tolerance interval of each panel."""
    if not panels:
        return NOTHING
    return " ".join(["Reported against true size.", *map(_words, panels)])

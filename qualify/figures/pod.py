"""Probability of detection against size: the hits and misses themselves, and what was fitted."""

from collections.abc import Sequence
from dataclasses import dataclass

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
    write_lines,
)
from qualify.figures.palette import (
    BAND,
    BOUND,
    BOUND_OUTSIDE,
    MARKS,
    OUTSIDE,
    SMALL_PT,
    TEXT_PT,
    TINT,
    TITLE_PT,
    styled,
)
from qualify.figures.pod_panel import (
    BOUND_STYLE,
    CURVE_STYLE,
    LANE_MM,
    LEFT_MM,
    MARK_STYLES,
    OTHER_STYLES,
    OtherCurve,
    PodPanel,
    draw_panel,
    marks_of,
)

__all__ = ["OtherCurve", "PodPanel", "pod_alt_text", "pod_figure"]

GAP_MM = 3.0
OTHER_WORDS = {
    "near": "near-equal model, a line each",
    "plateau": "curve with a plateau",
    "lowest": "at the lowest value",
    "middle": "at the middle value",
    "highest": "at the highest value",
}
NOTHING = "No population to show: nothing was tested."


def _counts(panel: PodPanel) -> str:
    if not panel.sizes:
        return "no targets"
    return f"{sum(panel.hits)} of {len(panel.sizes)} found"


def _header(panel: PodPanel, width: float) -> list[tuple[str, float, bool]]:
    """Lines above the axes: title, counts, and a message that does not replace a curve."""
    lines = [(line, TITLE_PT, True) for line in wrap(panel.title, width, TITLE_PT, bold=True)]
    lines.append((_counts(panel), TEXT_PT, False))
    if panel.message and panel.curve_sizes:
        lines += [(line, SMALL_PT, False) for line in wrap(panel.message, width, SMALL_PT)]
    return lines


def _header_mm(lines: list[tuple[str, float, bool]]) -> float:
    return sum(line_height_mm(size) for _, size, _ in lines)


def goes_outside(panel: PodPanel, sizes: Sequence[float | None]) -> bool:
    """Whether a curve has a point outside the tested range, where it is drawn in another style."""
    if panel.tested_range is None:
        return False
    low, high = panel.tested_range
    return any(size is not None and not low <= size <= high for size in sizes)


def _keys(panels: tuple[PodPanel, ...]) -> list[Key]:
    """Legend entries for what is drawn in at least one panel."""
    keys: list[Key] = []
    if any(any(panel.hits) for panel in panels):
        keys.append(Key("hit, one mark per target", MARKS["hit"].style()))
    if any(not all(panel.hits) for panel in panels):
        keys.append(Key("miss", MARKS["miss"].style()))
    fitted = [panel for panel in panels if panel.curve_sizes]
    if fitted:
        labels = dict.fromkeys(panel.curve_label for panel in fitted)
        keys += [Key(label, CURVE_STYLE) for label in labels]
        if any(goes_outside(panel, panel.curve_sizes) for panel in fitted):
            keys.append(Key("outside it", {**CURVE_STYLE, "linestyle": OUTSIDE}))
    bounded = dict.fromkeys(panel.bound_label for panel in panels if panel.bound_sizes)
    keys += [Key(label, {**BOUND_STYLE, "linestyle": BOUND}) for label in bounded]
    if any(goes_outside(panel, panel.bound_sizes) for panel in panels):
        keys.append(Key("outside it", {**BOUND_STYLE, "linestyle": BOUND_OUTSIDE}))
    others = {other.style for panel in panels for other in panel.others}
    keys += [Key(OTHER_WORDS[s], style) for s, style in OTHER_STYLES.items() if s in others]
    words = {"a90": "a90", "a90/95": "a90/95", "limit": "limit of the criterion on a90/95"}
    drawn = {name for panel in panels for name, _ in marks_of(panel)}
    keys += [Key(words[n], MARK_STYLES[n]) for n in MARK_STYLES if n in drawn]
    if any(panel.tested_range for panel in panels):
        keys.append(Key("sizes tested", {"fc": TINT, "ec": BAND, "lw": 0.5}, patch=True))
    return keys


@dataclass(frozen=True, slots=True)
class _Row:
    panels: tuple[PodPanel, ...]
    header_mm: float
    label_lines: int
    height_mm: float


def _rows(panels: tuple[PodPanel, ...], columns: int, inner: float, axes_mm: float) -> list[_Row]:
    rows = []
    for first in range(0, len(panels), columns):
        part = panels[first : first + columns]
        header = max(_header_mm(_header(panel, inner + LEFT_MM - 2)) for panel in part)
        lines = max(len(wrap(_axis_label(panel), inner)) for panel in part)
        lane = LANE_MM if any(marks_of(panel) for panel in part) else 2.0
        foot = 4.2 + lines * line_height_mm(TEXT_PT) + 2.5
        rows.append(_Row(part, header + lane, lines, header + lane + axes_mm + foot))
    return rows


def _axis_label(panel: PodPanel) -> str:
    return f"{panel.size_label} ({panel.size_unit})" if panel.size_unit else panel.size_label


@styled
def pod_figure(
    panels: tuple[PodPanel, ...],
    *,
    width_mm: float = 170.0,
    columns: int = 3,
    tallest_mm: float = 62.0,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order, with one legend below.

    Every target is a mark of its own at its own size: hits at POD 1, misses at 0, stacked where
    they would overlap. Curves are solid inside the tested range and dashed outside. Axes are
    `tallest_mm` high at most.

    Raises
    ------
    ValueError
        If sizes and hits of a panel differ in number.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    inner = (width_mm - GAP_MM * (columns - 1)) / columns - LEFT_MM - 1.5
    axes_mm = min(max(0.8 * inner, 38.0), tallest_mm)
    rows = _rows(panels, columns, inner, axes_mm)
    legend = legend_rows(_keys(panels), width_mm - 2.0)
    height = sum(row.height_mm for row in rows) + legend_height_mm(legend) + 2.0
    figure, page = new_page(width_mm, height, mark=mark)
    top, index = 0.5, 0
    for row in rows:
        for k, panel in enumerate(row.panels):
            left = k * (inner + LEFT_MM + 1.5 + GAP_MM) + LEFT_MM
            header = _header(panel, inner + LEFT_MM - 2)
            write_header(page, left - LEFT_MM + 1.0, top, header)
            draw_panel(page, panel, (left, top + row.header_mm), (inner, axes_mm), index)
            below = (left + inner / 2, top + row.header_mm + axes_mm + 4.2)
            write_lines(page, *below, wrap(_axis_label(panel), inner), ha="center")
            index += 1
        top += row.height_mm
    draw_legend(page, legend, 1.0, top)
    return figure


def _words(panel: PodPanel) -> str:
    unit = f" {panel.size_unit}" if panel.size_unit else ""
    parts = [f"{panel.title}: {_counts(panel)}"]
    if panel.tested_range:
        low, high = panel.tested_range
        parts.append(f"sizes tested {size(low)} to {size(high)}{unit}")
    for name, value in (("a90", panel.a90), ("a90/95", panel.a90_95)):
        parts.append(f"{name} {'none' if value is None else size(value) + unit}")
    if panel.limit is not None:
        parts.append(f"limit on a90/95 {size(panel.limit)}{unit}")
    if not panel.curve_sizes:
        parts.append("no curve fitted")
    for other in panel.others:
        told = "no a90" if other.a90 is None else f"a90 {size(other.a90)}{unit}"
        parts.append(f"{other.name}: {told}")
    return "; ".join(parts) + "." + (f" {panel.message}" if panel.message else "")


def pod_alt_text(panels: tuple[PodPanel, ...]) -> str:
    """Return words for the figure: counts, range, a90, a90/95 and limit of each panel."""
    if not panels:
        return NOTHING
    return " ".join(["Probability of detection against size.", *map(_words, panels)])

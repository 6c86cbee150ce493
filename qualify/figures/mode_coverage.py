"""What each mode covers of the region declared, and its threshold over depth, a panel for each."""

from dataclasses import dataclass

from matplotlib.figure import Figure

from qualify.figures.coverage_map import (
    CLASS_STYLES,
    DEAD_STYLE,
    MASK_STYLE,
    THRESHOLD_LINE,
    CoverageMap,
    MaskBox,
    draw_map,
    draw_threshold,
    shares,
    threshold_ends,
)
from qualify.figures.image_axes import AXIS_FOOT_MM, LEFT_MM, RIGHT_MM
from qualify.figures.image_panel import region_words
from qualify.figures.page import (
    FULL_PAGE_MM,
    Key,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    number,
    place,
    text_width_mm,
    words_only,
    wrap,
    write_header,
    write_lines,
)
from qualify.figures.palette import SMALL_PT, TITLE_PT, styled

__all__ = ["CoverageMap", "MaskBox", "ModeCoverageView", "draw_mode_coverage",
           "mode_coverage_alt_text"]  # fmt: skip

MOST = 4
GAP_MM = 4.0
THRESHOLD_MM, BETWEEN_MM = 20.0, 4.5
HIGHEST_MM, LOWEST_MM = 80.0, 20.0  # of a map
WORTH = 1.6  # times larger: then maps stand below one another
NOTHING = "No mode to show: nothing was imaged."


@dataclass(frozen=True, slots=True)
class ModeCoverageView:
    """Maps of up to four modes on one region.

    Raises
    ------
    ValueError
        If there are more than four modes or they do not show one region.
    """

    maps: tuple[CoverageMap, ...]

    def __post_init__(self) -> None:
        if len(self.maps) > MOST:
            msg = f"a figure shows what up to {MOST} modes cover, found {len(self.maps)}"
            raise ValueError(msg)
        for one in self.maps[1:]:
            if one.region != self.maps[0].region:
                first, other = region_words(self.maps[0].region), region_words(one.region)
                msg = f"modes are compared on one region: {first}; mode {one.mode} has {other}"
                raise ValueError(msg)


def _counts(one: CoverageMap) -> str:
    every, some, never = shares(one)
    units = "1 unit" if one.units == 1 else f"{one.units} units"
    if one.units == 1:
        return f"{units}: {every} of the region covered, {never} not"
    return f"{units}: {every} of the region covered in every unit, {some} in some, {never} never"


def _below(one: CoverageMap) -> list[str]:
    """Return what is hatched, in words: dead zone and masks by their numbers."""
    told = []
    if one.dead_zone_mm is not None:
        told.append(f"dead zone: depth {place(one.z_mm[0])} to {place(one.dead_zone_mm)} mm")
    for k, mask in enumerate(one.masks):
        told.append(f"{k + 1}  {mask.words}: {region_words(mask.box)}")
    if one.threshold is None:
        told.append(f"no threshold: {one.no_threshold}")
    return told


@dataclass(frozen=True, slots=True)
class _Layout:
    """Columns, and millimetres of print of a map."""

    columns: int
    column_mm: float
    size_mm: tuple[float, float]
    stretched: float

    def head(self, one: CoverageMap) -> list[tuple[str, float, bool]]:
        width = self.column_mm - 1.0
        lines = [(line, TITLE_PT, True) for line in wrap(one.mode, width, TITLE_PT, bold=True)]
        return lines + [(line, SMALL_PT, False) for line in wrap(_counts(one), width, SMALL_PT)]

    def foot(self, one: CoverageMap) -> list[str]:
        width = self.column_mm - 1.0
        return [line for part in _below(one) for line in wrap(part, width, SMALL_PT)]

    def row(self, maps: tuple[CoverageMap, ...]) -> tuple[float, float]:
        """Return the heights above the maps of a row, and of all of the row."""
        above = max(sum(line_height_mm(pt) for _, pt, _ in self.head(one)) for one in maps) + 1.2
        below = max(len(self.foot(one)) for one in maps) * line_height_mm(SMALL_PT)
        deep = max(self.size_mm[1], text_width_mm("depth (mm)"))
        return above, above + deep + AXIS_FOOT_MM + below + 3.0

    def rows(self, maps: tuple[CoverageMap, ...]) -> list[tuple[CoverageMap, ...]]:
        return [maps[k : k + self.columns] for k in range(0, len(maps), self.columns)]


def _layout(view: ModeCoverageView, columns: int, width_mm: float, more_mm: float) -> _Layout:
    """Return the largest maps that fit the width and, with their words, a page."""
    column = (width_mm - GAP_MM * (columns - 1)) / columns
    inner = column - LEFT_MM - RIGHT_MM - THRESHOLD_MM - BETWEEN_MM
    x_from, x_to, z_from, z_to = view.maps[0].region
    flat = _Layout(columns, column, (inner, 0.0), 1.0)
    rows = flat.rows(view.maps)
    words = sum(flat.row(row)[1] - text_width_mm("depth (mm)") for row in rows) + more_mm
    most = min(HIGHEST_MM, max((FULL_PAGE_MM - words) / len(rows), LOWEST_MM))
    scale = min(inner / (x_to - x_from), most / (z_to - z_from))
    wide, deep = (x_to - x_from) * scale, (z_to - z_from) * scale
    stretched = max(LOWEST_MM / deep, 1.0)
    return _Layout(columns, column, (wide, deep * stretched), stretched)


def _arrange(view: ModeCoverageView, width_mm: float, more_mm: float) -> _Layout:
    """Choose two columns, unless one shows the maps much larger."""
    one = _layout(view, 1, width_mm, more_mm)
    if len(view.maps) == 1:
        return one
    two = _layout(view, 2, width_mm, more_mm)
    return one if one.size_mm[0] >= WORTH * two.size_mm[0] else two


def _keys(view: ModeCoverageView) -> list[Key]:
    several = any(one.units > 1 for one in view.maps)
    words = ("covered in every unit", "covered in some", "never covered")
    if not several:
        words = ("covered", "", "not covered")
    keys = [
        Key(told, {**style, "lw": 0.5}, patch=True)
        for told, style in zip(words, CLASS_STYLES, strict=True)
        if told
    ]
    if any(one.dead_zone_mm is not None for one in view.maps):
        keys.append(Key("dead zone near the scan face", {**DEAD_STYLE, "lw": 0.5}, patch=True))
    if any(one.masks for one in view.maps):
        keys.append(Key("masked: nothing is read there", MASK_STYLE, patch=True))
    if any(one.threshold is not None for one in view.maps):
        keys.append(Key("threshold over depth", THRESHOLD_LINE))
    return keys


@styled
def draw_mode_coverage(
    view: ModeCoverageView, *, width_mm: float = 170.0, mark: str = ""
) -> Figure:
    """Draw a map for each mode, with the course of its threshold beside it at the same depths.

    Maps are true in x and depth; one too flat to be read is stretched in depth, and says so.
    Thresholds in one unit share one axis.
    """
    if not view.maps:
        return words_only(NOTHING, width_mm, mark=mark)
    legend = legend_rows(_keys(view), width_mm - 2.0)
    foot = legend_height_mm(legend) + line_height_mm(SMALL_PT) + 1.0
    layout = _arrange(view, width_mm, foot)
    rows = layout.rows(view.maps)
    heights = [layout.row(row) for row in rows]
    figure, page = new_page(width_mm, sum(high for _, high in heights) + foot, mark=mark)
    top, index = 0.5, 0
    wide, deep = layout.size_mm
    for row, (above, high) in zip(rows, heights, strict=True):
        for k, one in enumerate(row):
            left = k * (layout.column_mm + GAP_MM)
            write_header(page, left + 0.6, top, layout.head(one))
            at = (left + LEFT_MM, top + above)
            depths = draw_map(page, one, at, (wide, deep), index)
            if one.threshold is not None:
                beside = (at[0] + wide + BETWEEN_MM, at[1], THRESHOLD_MM, deep)
                draw_threshold(page, one, beside, threshold_ends(view.maps, one), depths, index)
            below = top + above + max(deep, text_width_mm("depth (mm)")) + AXIS_FOOT_MM
            write_lines(page, left + 0.6, below, layout.foot(one), size_pt=SMALL_PT)
            index += 1
        top += high
    draw_legend(page, legend, 1.0, top)
    if layout.stretched > 1.0:
        words = f"Depths are drawn {number(layout.stretched)} times as large as x."
        write_lines(page, 1.0, top + legend_height_mm(legend), [words], size_pt=SMALL_PT)
    return figure


def mode_coverage_alt_text(view: ModeCoverageView) -> str:
    """Return words for the figure: shares covered, dead zone, masks and threshold of each mode."""
    if not view.maps:
        return NOTHING
    told = [f"What each mode covers, {region_words(view.maps[0].region)}."]
    for one in view.maps:
        parts = [f"{one.mode}: {_counts(one)}", *_below(one)]
        if one.threshold is not None:
            unit = " dB" if one.unit == "db" else ""
            low, high = number(min(one.threshold)), number(max(one.threshold))
            course = low if low == high else f"{low} to {high}"
            parts.append(f"threshold {course}{unit}")
        told.append("; ".join(parts).rstrip(".") + ".")
    return " ".join(told)

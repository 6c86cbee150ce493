"""Where the views, labels and notes of a block drawing stand, and at which scale."""

from dataclasses import dataclass

from qualify.figures.block_view import BlockView
from qualify.figures.drawing_sheet import (
    BAR_ZONE_MM,
    note_lines,
    notes_of,
    own_notes,
    strip_height_mm,
)
from qualify.figures.drawing_views import (
    Lane,
    UnitLane,
    Window,
    lane_of,
    side_centres,
    unit_lane_of,
)
from qualify.figures.page import line_height_mm, number, text_width_mm
from qualify.figures.palette import SMALL_PT

SCALES = (1, 2, 5, 10, 20, 50, 100)  # reductions of the standard ladder, ISO 5455 (from memory)
LEFT_MM = 8.0
RIGHT_MM = 12.0
LABEL_MM = 3.4
ACROSS_MM = 10.0
AXES_MM = 4.8
SHEET_MM = 240.0
COMPACT_MM = 80.0  # without the notes


@dataclass(frozen=True, slots=True)
class Sheet:
    """Where everything stands on the page, in millimetres."""

    scale: int
    plan: Window
    side: Window
    end: Window | None
    lanes: tuple[Lane, Lane]
    unit_lane: UnitLane
    side_label_mm: float
    end_label_mm: float
    notes: tuple[str, ...]
    notes_at: tuple[float, float]
    bar_at: tuple[float, float]
    views_end_mm: float


def view_names(block: BlockView) -> tuple[str, str, str]:
    """Names of plan, side view and end view."""
    return (
        "Plan (x, y), seen from face A",
        f"Side view (x, z), seen from y = {number(block.width_mm)}",
        "End view (y, z), seen from x = 0",
    )


def _end_beside(block: BlockView, scale: int, width_mm: float) -> float | None:
    """Left edge of the end view where it fits to the right of the side view."""
    left = LEFT_MM + block.length_mm / scale + RIGHT_MM + 6.0
    need = max(block.width_mm / scale, text_width_mm(view_names(block)[2], SMALL_PT) - 4.0) + 1.0
    return left if left + need <= width_mm else None


def plan_label_mm(block: BlockView, scale: int) -> float:
    """Height of the row for the plan's name: none where it fits beside the length."""
    long_enough = block.length_mm / scale > 2.2 * text_width_mm(view_names(block)[0], SMALL_PT)
    return 0.0 if long_enough else LABEL_MM


def _arrange(block: BlockView, scale: int, width_mm: float, *, compact: bool, noted: bool) -> Sheet:
    """Place the three views below one another, or the end view beside the side view."""
    strip = strip_height_mm(block, scale, width_mm)
    plan = Window(LEFT_MM, strip + 1.2 + plan_label_mm(block, scale) + ACROSS_MM, scale)
    unit_lane = unit_lane_of(block.grading_units, scale)
    low, high = LEFT_MM - 4.0, LEFT_MM + block.length_mm / scale + 6.0
    label = plan.top_mm + block.width_mm / scale + unit_lane.height_mm + 1.4
    window = Window(LEFT_MM, 0.0, scale)
    upper, lower = (
        lane_of(side_centres(block, upper=up), window, low, high) for up in (True, False)
    )
    side = Window(LEFT_MM, label + LABEL_MM + max(upper.height_mm, AXES_MM) + 0.4, scale)
    bottom = side.top_mm + block.thickness_mm / scale
    below = bottom + max(lower.height_mm, 3.6) + 1.6
    left_out = upper.left_out + lower.left_out
    notes = notes_of(block, scale, width_mm, left_out) if noted else own_notes(block, left_out)
    views = (plan, side, (upper, lower), unit_lane, label)
    if compact:
        return _with_notes_only(block, views, notes, below, width_mm)
    return _with_end_view(block, views, notes, below, width_mm)


_Views = tuple[Window, Window, tuple[Lane, Lane], UnitLane, float]


def _with_notes_only(
    block: BlockView, views: _Views, notes: list[str], below: float, width_mm: float
) -> Sheet:
    """Compact: the bar beside the plan if there is room, the notes run together."""
    plan, side, lanes, unit_lane, label = views
    free = LEFT_MM + block.length_mm / plan.scale + RIGHT_MM + 4.0
    beside = free + BAR_ZONE_MM <= width_mm
    notes_at = (2.0 if beside else LEFT_MM + BAR_ZONE_MM, below)
    bar_at = (free, plan.top_mm) if beside else (LEFT_MM, below)
    lines = note_lines([" ".join(notes)], width_mm - notes_at[0] - 2.0)
    high = len(lines) * line_height_mm(SMALL_PT)
    foot = below + (high if beside else max(high, 8.2)) + 1.0
    scale = int(plan.scale)
    return Sheet(
        scale,
        plan,
        side,
        None,
        lanes,
        unit_lane,
        label,
        label,
        tuple(lines),
        notes_at,
        bar_at,
        foot,
    )


def _with_end_view(
    block: BlockView, views: _Views, notes: list[str], below: float, width_mm: float
) -> Sheet:
    """Full sheet: the end view beside the side view, or below it with the notes at its right."""
    plan, side, lanes, unit_lane, label = views
    scale = int(plan.scale)
    step = line_height_mm(SMALL_PT)
    beside = _end_beside(block, scale, width_mm)
    if beside is not None:
        end, end_label = Window(beside, side.top_mm, scale), label
        bar_at, notes_at = (LEFT_MM, below), (LEFT_MM + BAR_ZONE_MM, below)
        floor = below + 8.2
    else:
        end, end_label = Window(LEFT_MM, below + LABEL_MM + AXES_MM, scale), below
        left = LEFT_MM + max(block.width_mm / scale, 34.0) + 14.0
        bar_at, notes_at = (left, below), (left, below + 9.4)
        floor = end.top_mm + block.thickness_mm / scale
    lines = note_lines(notes, width_mm - notes_at[0] - 2.0)
    foot = max(notes_at[1] + len(lines) * step, floor) + 1.0
    return Sheet(
        scale,
        plan,
        side,
        end,
        lanes,
        unit_lane,
        label,
        end_label,
        tuple(lines),
        notes_at,
        bar_at,
        foot,
    )


def arrange_sheet(block: BlockView, width_mm: float, *, compact: bool, notes: bool = True) -> Sheet:
    """Choose the largest scale that fits, and place everything on the page.

    Raises
    ------
    ValueError
        If the block is too long for the smallest scale.
    """
    tried = [
        _arrange(block, scale, width_mm, compact=compact, noted=notes)
        for scale in SCALES
        if LEFT_MM + block.length_mm / scale + RIGHT_MM <= width_mm
    ]
    if not tried:
        msg = f"{block.id}: {number(block.length_mm)} mm do not fit at 1 : {SCALES[-1]}"
        raise ValueError(msg)

    def fits(sheet: Sheet) -> bool:
        if compact:
            return sheet.notes_at[1] <= COMPACT_MM
        return sheet.views_end_mm <= SHEET_MM

    return next(filter(fits, tried), min(tried, key=lambda sheet: sheet.views_end_mm))

"""Engineering drawing of a flat reference block, to scale: plan, side view and end view."""

from typing import Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.block_view import (
    KIND_WORDS,
    BlockView,
    TargetView,
    UnitView,
    end_shape,
    plan_shape,
    side_shape,
)
from qualify.figures.drawing_layout import (
    ACROSS_MM,
    SCALES,
    Sheet,
    arrange_sheet,
    plan_label_mm,
    view_names,
)
from qualify.figures.drawing_sheet import (
    bar_length_mm,
    common_notes,
    draw_bar,
    draw_strip,
    draw_table,
    table_of,
)
from qualify.figures.drawing_views import (
    dimension_across,
    dimension_down,
    draw_datum,
    draw_lane,
    draw_outline,
    draw_targets,
    draw_units,
)
from qualify.figures.page import (
    new_page,
    number,
    place,
    write,
    write_lines,
)
from qualify.figures.palette import GREY, SMALL_PT, styled

__all__ = [
    "SCALES",
    "BlockView",
    "TargetView",
    "UnitView",
    "block_alt_text",
    "chosen_scale",
    "common_notes",
    "draw_block",
]


def chosen_scale(block: BlockView, *, width_mm: float = 170.0, compact: bool = False) -> int:
    """Return n of the scale 1 : n at which `draw_block` draws."""
    return arrange_sheet(block, width_mm, compact=compact).scale


def _draw_views(page: Axes, block: BlockView, sheet: Sheet) -> None:
    plan, side, end = sheet.plan, sheet.side, sheet.end
    names = view_names(block)
    length, width, thick = block.length_mm, block.width_mm, block.thickness_mm
    scan: Literal["A", "B"] = "B" if block.scan_face == "B" else "A"
    label = {"size_pt": SMALL_PT, "color": GREY}
    write(page, 2.0, plan.top_mm - ACROSS_MM - plan_label_mm(block, sheet.scale), names[0], **label)
    write(page, 2.0, sheet.side_label_mm, names[1], **label)
    draw_units(page, block, sheet.unit_lane, plan)
    draw_outline(page, (length, width), plan, "plan")
    draw_outline(page, (length, thick), side, "side", scan)
    draw_targets(page, block, plan, plan_shape, "plan")
    draw_targets(page, block, side, side_shape, "side")
    right, bottom = side.at(length, thick)
    dimension_across(page, plan.left_mm, right, plan.top_mm, length)
    dimension_down(page, right, plan.top_mm, plan.at(0.0, width)[1], width)
    dimension_down(page, right, side.top_mm, bottom, thick)
    draw_datum(page, plan.at(0.0, 0.0), ("x", "y"))
    draw_datum(page, side.at(0.0, 0.0), ("", "z"))
    draw_lane(page, sheet.lanes[0], side, side.top_mm, above=True)
    draw_lane(page, sheet.lanes[1], side, bottom, above=False)
    if end is not None:
        write(page, end.left_mm - 4.0, sheet.end_label_mm, names[2], **label)
        draw_outline(page, (width, thick), end, "end", scan)
        draw_targets(page, block, end, end_shape, "end")
        draw_datum(page, end.at(0.0, 0.0), ("y", "z"))


@styled
def draw_block(
    view: BlockView,
    *,
    width_mm: float = 170.0,
    table: bool = False,
    mark: str = "",
    compact: bool = False,
    notes: bool = True,
) -> Figure:
    """Draw a flat block to scale.

    The scale is the largest of `SCALES` at which the drawing fits the width (and a page, or about
    a third of one if `compact`), true when the figure is printed at its own size. `compact` leaves
    out the end view; `table` appends the target table. Without `notes` only what is particular to
    the block is written under it; `common_notes` says the rest once for many drawings.

    Raises
    ------
    ValueError
        If the block is too long for the smallest scale.
    """
    sheet = arrange_sheet(view, width_mm, compact=compact, notes=notes)
    rows = table_of(view.targets, width_mm) if table and view.targets else None
    height = sheet.views_end_mm + (rows.height_mm + 2.0 if rows else 0.0)
    figure, page = new_page(width_mm, height, mark=mark)
    draw_strip(page, view, sheet.scale, width_mm)
    _draw_views(page, view, sheet)
    draw_bar(page, *sheet.bar_at, sheet.scale)
    write_lines(page, *sheet.notes_at, sheet.notes, size_pt=SMALL_PT)
    if rows:
        draw_table(page, rows, 1.0, sheet.views_end_mm + 2.0)
    return figure


def block_alt_text(view: BlockView, *, width_mm: float = 170.0, compact: bool = False) -> str:
    """Return words for the drawing: size, scale, grading units and targets with their places."""
    scale = chosen_scale(view, width_mm=width_mm, compact=compact)
    sides = " × ".join(place(v) for v in (view.length_mm, view.width_mm, view.thickness_mm))
    blanks = sum(unit.blank for unit in view.grading_units)
    parts = [
        f"Drawing of block {view.id}, revision {view.revision}, {view.title}: {sides} mm, "
        f"{view.material}, scan face {view.scan_face}, scale 1 : {scale}, "
        f"scale bar {number(bar_length_mm(scale))} mm."
    ]
    if view.grading_units:
        parts.append(f"{len(view.grading_units)} grading units, {blanks} of them blank.")
    if not view.targets:
        parts.append("No targets.")
    for target in view.targets:
        kind = KIND_WORDS.get(target.kind, target.kind)
        parts.append(
            f"{target.id}: {kind}, {target.size_label}, x {place(target.x_mm)}, "
            f"z {place(target.z_mm)}."
        )
    return " ".join(parts)

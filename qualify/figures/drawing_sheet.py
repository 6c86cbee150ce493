"""What stands around the views of a block: title strip, notes, scale bar and target table."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from qualify.figures.block_view import KIND_WORDS, BlockView, TargetView, side_shape
from qualify.figures.drawing_views import is_tiny, scale_bar
from qualify.figures.page import (
    line_height_mm,
    number,
    place,
    stroke,
    text_width_mm,
    wrap,
    write,
    write_lines,
)
from qualify.figures.palette import GREY, INK, RULE, SMALL_PT, TEXT_PT, TITLE_PT

PAD_MM = 1.4
BAR_ZONE_MM = 52.0
GAP_MM = 3.0
SHORT_TABLE = 14
POSITIONS = "Positions are to scale; a cross marks a target too small to be seen."

Cell = tuple[float, float, list[str], float, bool]


def _strip_rows(block: BlockView, scale: int, width_mm: float) -> list[list[Cell]]:
    """Return cells of the title strip: left, width, lines, size and boldness."""
    given = (
        (
            (0.42, block.id, TITLE_PT + 1.0, True),
            (0.18, f"revision {block.revision}", TEXT_PT, False),
            (0.15, f"scale 1 : {scale}", TEXT_PT, False),
            (0.25, "dimensions in mm", TEXT_PT, False),
        ),
        ((0.60, block.title, TEXT_PT, False), (0.40, block.material, TEXT_PT, False)),
    )
    rows: list[list[Cell]] = []
    for row in given:
        left, cells = 0.0, []
        for share, text, size, bold in row:
            wide = share * (width_mm - 1.0)
            lines = wrap(text, wide - 2 * PAD_MM, size, bold=bold)
            cells.append((left, wide, lines, size, bold))
            left += wide
        rows.append(cells)
    return rows


def _row_height(cells: Sequence[Cell]) -> float:
    return max(max(len(lines), 1) * line_height_mm(size) for _, _, lines, size, _ in cells) + PAD_MM


def strip_height_mm(block: BlockView, scale: int, width_mm: float) -> float:
    """Height of the title strip."""
    return sum(_row_height(row) for row in _strip_rows(block, scale, width_mm)) + 0.5


def draw_strip(page: Axes, block: BlockView, scale: int, width_mm: float) -> None:
    """Draw the title strip along the top edge of the page."""
    top = 0.5
    for row in _strip_rows(block, scale, width_mm):
        high = _row_height(row)
        for left, wide, lines, size, bold in row:
            box = Rectangle((left + 0.5, top), wide, high, fill=False, ec=INK, lw=0.6)
            page.add_patch(box)
            inset = (left + 0.5 + PAD_MM, top + PAD_MM * 0.75)
            write_lines(page, *inset, lines, size_pt=size, bold=bold)
        top += high


def bar_length_mm(scale: int) -> float:
    """Return the longest round length of block that is at most 40 mm long on paper."""
    return max(value for value in (1, 2, 5, 10, 20, 40, 50, 100, 200, 500) if value <= 40 * scale)


def notes_of(block: BlockView, scale: int, width_mm: float, left_out: int) -> list[str]:
    """Sentences under the drawing, each only where it applies."""
    notes = [
        f"Scale 1 : {scale} when this figure is {number(width_mm)} mm wide.",
        f"Datum (filled triangle): {block.datum}. x to the right, y down the plan, z from face A.",
        f"Thick line: scan face {block.scan_face}.",
    ]
    if block.grading_units:
        notes.append(
            f"Brackets: {len(block.grading_units)} grading units; tinted, solid bracket: holds "
            "targets; dashed bracket: blank."
        )
    if any(is_tiny(side_shape(target, block), scale) for target in block.targets):
        notes.append(POSITIONS)
    return notes + own_notes(block, left_out)


def own_notes(block: BlockView, left_out: int) -> list[str]:
    """Sentences that hold for this block alone."""
    notes = [] if block.targets else ["This block holds no targets."]
    if left_out:
        notes.append(f"{left_out} of {len(block.targets)} ids did not fit beside the view.")
    return notes


def common_notes(blocks: Sequence[BlockView], width_mm: float = 170.0) -> list[str]:
    """Sentences that stand once for many drawings, in place of those under each."""
    notes = [
        f"The scale in each title strip holds when the figure is {number(width_mm)} mm wide.",
        "Filled triangle: datum. x to the right, y down the plan, z from face A. Thick line: scan "
        "face. Brackets: grading units; tinted with a solid bracket: holds targets; dashed "
        f"bracket: blank. {POSITIONS}",
    ]
    places: dict[tuple[str, str], list[str]] = {}
    for block in blocks:
        places.setdefault((block.datum, block.scan_face), []).append(block.id)
    for (datum, face), ids in places.items():
        of = "" if len(places) == 1 else f" of {', '.join(ids)}"
        notes.append(f"Datum{of}: {datum}; scan face {face}.")
    return notes


def note_lines(notes: Sequence[str], width_mm: float) -> list[str]:
    """Break notes into lines, each note beginning a new one."""
    return [line for note in notes for line in wrap(note, width_mm, SMALL_PT)]


def draw_bar(page: Axes, left: float, top: float, scale: int) -> None:
    """Draw the scale statement with its bar below it."""
    write(page, left, top, f"scale 1 : {scale}", bold=True)
    scale_bar(page, left, top + 3.6, bar_length_mm(scale), scale)


@dataclass(frozen=True, slots=True)
class Table:
    """Target table arranged in side-by-side column blocks of `per_block` rows."""

    caption: tuple[str, ...]
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths_mm: tuple[float, ...]
    blocks: int
    per_block: int
    height_mm: float


def _stretch(target: TargetView) -> str:
    if target.y_from_mm == target.y_to_mm:
        return place(target.y_from_mm)
    return f"{place(target.y_from_mm)} to {place(target.y_to_mm)}"


def _entries(target: TargetView) -> tuple[str, ...]:
    size = f"{target.size_label} {target.uncertainty_label}".strip()
    tilt = "" if target.tilt_deg is None else f"{number(target.tilt_deg)}°"
    kind = KIND_WORDS.get(target.kind, target.kind)
    where = (place(target.x_mm), _stretch(target), place(target.z_mm))
    return target.id, kind, *where, size, tilt, target.method


HEADS = ("id", "kind", "x", "y", "z", "size ± U", "tilt", "method")
ALWAYS = {"id", "x", "y", "z", "size ± U"}


def table_of(targets: Sequence[TargetView], width_mm: float) -> Table:
    """Arrange the target table; columns with one value throughout are said once, above it."""
    rows = [_entries(target) for target in targets]
    columns = list(zip(*rows, strict=True))
    kept, said = [], []
    for k, head in enumerate(HEADS):
        values = set(columns[k])
        if head in ALWAYS or len(values) > 1:
            kept.append(k)
        elif values != {""}:
            said.append(f"{head}: {columns[k][0]}")
    caption = f"Targets ({len(rows)}), mm. " + ("All of one " + "; ".join(said) if said else "")
    lines = wrap(caption + ("." if said else ""), width_mm - 1.0)
    heads = tuple(HEADS[k] for k in kept)
    cells = tuple(tuple(row[k] for k in kept) for row in rows)
    widths = tuple(
        max(text_width_mm(text, SMALL_PT) for text in (head, *column)) + GAP_MM
        for head, column in zip(heads, zip(*cells, strict=True), strict=True)
    )
    room = max(int((width_mm + 4.0) / (sum(widths) + 4.0)), 1)
    blocks = room if len(rows) > SHORT_TABLE else 1
    per_block = -(-len(rows) // blocks)
    high = (len(lines) + 1.4) * line_height_mm(TEXT_PT) + per_block * line_height_mm(SMALL_PT) + 3
    return Table(tuple(lines), heads, cells, widths, blocks, per_block, high)


def draw_table(page: Axes, table: Table, left: float, top: float) -> None:
    """Draw the target table."""
    top = write_lines(page, left, top, table.caption, bold=True) + 0.8
    step = line_height_mm(SMALL_PT)
    wide = sum(table.widths_mm)
    for block in range(table.blocks):
        rows = table.rows[block * table.per_block : (block + 1) * table.per_block]
        if not rows:
            continue
        start = left + block * (wide + 4.0)
        for k, row in enumerate((table.heads, *rows)):
            y = top + k * step + (0.6 if k else 0.0)
            x = start
            for text, width in zip(row, table.widths_mm, strict=True):
                write(page, x, y, text, size_pt=SMALL_PT, color=GREY if k == 0 else INK)
                x += width
        rule = top + step + 0.2
        stroke(page, [(start, rule), (start + wide - GAP_MM, rule)], color=RULE)

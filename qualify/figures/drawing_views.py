"""Views of a block on paper: outlines, targets, dimensions, leaders and grading units."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon, Rectangle

from qualify.figures.block_view import BlockView, Outline, Point, Shape, UnitView, side_shape
from qualify.figures.page import (
    line_height_mm,
    number,
    place,
    spread,
    stroke,
    text_width_mm,
    write,
)
from qualify.figures.palette import BAND, GREY, HIT, INK, PAPER, RULE, SMALL_PT, TINT

TINY_PAPER_MM = 1.5
CROSS_MM = 1.2
MANY = 40
STUB_MM = 3.6
LETTER_MM = line_height_mm(SMALL_PT)


@dataclass(frozen=True, slots=True)
class Window:
    """Where a view stands: its top left corner on paper, and the scale 1 : `scale`."""

    left_mm: float
    top_mm: float
    scale: float

    def at(self, u_mm: float, v_mm: float) -> Point:
        """Place on paper of a point of the view."""
        return self.left_mm + u_mm / self.scale, self.top_mm + v_mm / self.scale


@dataclass(frozen=True, slots=True)
class Lane:
    """Labels beside a view: where each stands, turned or not, and the height they need."""

    ids: tuple[str, ...] = ()
    anchors: tuple[Point, ...] = ()
    centres_mm: tuple[float, ...] = ()
    turned: bool = False
    height_mm: float = 0.0
    left_out: int = 0


def lane_of(names: Sequence[tuple[str, Point]], window: Window, low: float, high: float) -> Lane:
    """Arrange target ids in one row without overlap; turn them, then thin them, if need be."""
    if not names:
        return Lane()
    ordered = sorted(names, key=lambda item: (item[1][0], item[1][1], item[0]))
    total = len(ordered)
    wanted = [window.at(*centre)[0] for _, centre in ordered]
    widths = [text_width_mm(name, SMALL_PT) for name, _ in ordered]
    turned = False
    centres = spread(wanted, widths, low, high)
    if centres is None:
        turned = True
        most = max(int((high - low) / (LETTER_MM + 0.3)), 1)
        keep = range(total) if total <= most else [k * total // most for k in range(most)]
        ordered = [ordered[k] for k in keep]
        wanted = [wanted[k] for k in keep]
        centres = spread(wanted, [LETTER_MM] * len(keep), low, high, 0.3) or wanted
    long = max(text_width_mm(name, SMALL_PT) for name, _ in ordered)
    return Lane(
        tuple(name for name, _ in ordered),
        tuple(centre for _, centre in ordered),
        tuple(centres),
        turned,
        STUB_MM + (long if turned else LETTER_MM),
        total - len(ordered),
    )


def draw_lane(page: Axes, lane: Lane, window: Window, edge_mm: float, *, above: bool) -> None:
    """Write ids beside the edge of a view, with leaders down or up to their targets."""
    way = -1.0 if above else 1.0
    for name, anchor, centre in zip(lane.ids, lane.anchors, lane.centres_mm, strict=True):
        x, z = window.at(*anchor)
        knee = edge_mm + way * 0.6
        points = [(centre, edge_mm + way * (STUB_MM - 0.4)), (x, knee), (x, z + way * 0.5)]
        stroke(page, points, linewidth=0.35, color=GREY, zorder=2.5)
        write(
            page,
            centre,
            edge_mm + way * STUB_MM,
            name,
            size_pt=SMALL_PT,
            ha="center",
            va="bottom" if above else "top",
            rotation=90 if lane.turned else 0,
        )


@dataclass(frozen=True, slots=True)
class UnitLane:
    """Rows of grading-unit ids under the plan."""

    rows: tuple[int, ...] = ()
    turned: bool = False
    height_mm: float = 0.0


def unit_lane_of(units: Sequence[UnitView], scale: float) -> UnitLane:
    """Give each grading unit's id a row in which it overlaps no other; at most two, else turned."""
    if not units:
        return UnitLane()
    ends: list[float] = []
    rows: list[int] = []
    for unit in units:
        half = text_width_mm(unit.id, SMALL_PT) / 2 + 0.5
        middle = (unit.x_from_mm + unit.x_to_mm) / 2 / scale
        row = next((k for k, end in enumerate(ends) if middle - half >= end), len(ends))
        if row == len(ends):
            ends.append(0.0)
        ends[row] = middle + half
        rows.append(row)
    if len(ends) <= 2:
        return UnitLane(tuple(rows), False, 2.4 + len(ends) * LETTER_MM)
    long = max(text_width_mm(unit.id, SMALL_PT) for unit in units)
    return UnitLane((0,) * len(units), True, 2.8 + long)


def draw_units(page: Axes, block: BlockView, lane: UnitLane, plan: Window) -> None:
    """Tint the grading units in the plan and bracket them below it; dashed where blank."""
    for unit, row in zip(block.grading_units, lane.rows, strict=True):
        left, bottom = plan.at(unit.x_from_mm, block.width_mm)
        right = plan.at(unit.x_to_mm, 0.0)[0]
        if not unit.blank:
            size = (right - left, block.width_mm / plan.scale)
            page.add_patch(Rectangle(plan.at(unit.x_from_mm, 0.0), *size, fc=TINT, lw=0, zorder=1))
        y = bottom + 1.7
        points = [(left, bottom + 0.7), (left, y), (right, y), (right, bottom + 0.7)]
        dashes = (0.0, (2.0, 1.4)) if unit.blank else "-"
        stroke(page, points, color=INK, linewidth=0.6, linestyle=dashes)
        turn = 90 if lane.turned else 0
        place = ((left + right) / 2, y + 0.5 + row * LETTER_MM)
        write(page, *place, unit.id, size_pt=SMALL_PT, ha="center", rotation=turn)


def _cross(page: Axes, at: Point, arm: float) -> None:
    x, y = at
    stroke(page, [(x - arm, y), (x + arm, y)], color=INK, linewidth=0.3, zorder=3.5)
    stroke(page, [(x, y - arm), (x, y + arm)], color=INK, linewidth=0.3, zorder=3.5)


def is_tiny(shape: Shape, scale: float) -> bool:
    """Whether a target is too small on paper to be found without a mark."""
    return 2 * max(shape.reach) / scale < TINY_PAPER_MM


def draw_targets(page: Axes, block: BlockView, window: Window, outline: Outline, view: str) -> None:
    """Draw every target true to scale; a thin cross stands on holes and on tiny targets."""
    for target in block.targets:
        shape = outline(target, block)
        places = [window.at(*point) for point in shape.points]
        gid = f"{view}-target-{target.id}"
        if shape.radius is not None:
            radius = shape.radius / window.scale
            page.add_patch(Circle(places[0], radius, fc=PAPER, ec=HIT, lw=0.6, gid=gid, zorder=3))
        elif len(places) == 2:
            hidden = view == "plan"
            style = {"linewidth": 0.8, "linestyle": (0.0, (4.0, 1.5)) if hidden else "-"}
            stroke(page, places, color=HIT, gid=gid, zorder=3, solid_capstyle="butt", **style)
        else:
            hatch = "////" if shape.hatched else None
            patch = Polygon(places, closed=True, fc=BAND, ec=HIT, lw=0.6, hatch=hatch, gid=gid)
            patch.set_zorder(3)
            page.add_patch(patch)
        if shape.radius is not None or is_tiny(shape, window.scale):
            least = CROSS_MM if len(block.targets) <= MANY else CROSS_MM / 2
            arm = max(least, 1.3 * max(shape.reach) / window.scale)
            _cross(page, window.at(*shape.centre), arm)


def draw_outline(
    page: Axes, size_mm: Point, window: Window, name: str, scan_edge: Literal["A", "B", ""] = ""
) -> None:
    """Draw the outline of the block in one view; the scan face as a thick line."""
    width, height = size_mm[0] / window.scale, size_mm[1] / window.scale
    place = (window.left_mm, window.top_mm)
    outline = Rectangle(place, width, height, fill=False, ec=INK, lw=0.9, gid=name, zorder=4)
    page.add_patch(outline)
    if scan_edge:
        y = window.top_mm + (height if scan_edge == "B" else 0.0)
        ends = [(window.left_mm, y), (window.left_mm + width, y)]
        stroke(page, ends, color=INK, linewidth=2.0, zorder=4, solid_capstyle="butt")


def _head(page: Axes, tip: Point, way: Point) -> None:
    (x, y), (dx, dy) = tip, way
    base = (x - 1.8 * dx, y - 1.8 * dy)
    wing = (0.45 * dy, 0.45 * dx)
    corners = [tip, (base[0] + wing[0], base[1] + wing[1]), (base[0] - wing[0], base[1] - wing[1])]
    page.add_patch(Polygon(corners, closed=True, fc=INK, lw=0, zorder=4))


def arrow(page: Axes, start: Point, tip: Point, way: Point) -> None:
    """Draw an arrow with a filled head; `way` is its unit direction."""
    stroke(page, [start, tip], color=INK, linewidth=0.5)
    _head(page, tip, way)


def dimension_across(page: Axes, left: float, right: float, edge: float, value_mm: float) -> None:
    """Draw a horizontal dimension above an edge, with extension lines and arrows."""
    y = edge - 6.4
    for x in (left, right):
        stroke(page, [(x, edge - 0.8), (x, y - 1.0)], color=GREY, linewidth=0.4)
    stroke(page, [(left, y), (right, y)], color=INK, linewidth=0.5)
    _head(page, (left, y), (-1.0, 0.0))
    _head(page, (right, y), (1.0, 0.0))
    write(page, (left + right) / 2, y - 0.5, place(value_mm), ha="center", va="bottom")


def dimension_down(page: Axes, edge: float, top: float, bottom: float, value_mm: float) -> None:
    """Draw a vertical dimension to the right of an edge; arrows outside where it is short."""
    x = edge + 5.6
    for y in (top, bottom):
        stroke(page, [(edge + 0.8, y), (x + 1.0, y)], color=GREY, linewidth=0.4)
    short = bottom - top < 6.0
    reach = 3.2 if short else 0.0
    stroke(page, [(x, top - reach), (x, bottom + reach)], color=INK, linewidth=0.5)
    _head(page, (x, top), (0.0, 1.0 if short else -1.0))
    _head(page, (x, bottom), (0.0, -1.0 if short else 1.0))
    middle = (top + bottom) / 2
    flat = text_width_mm(place(value_mm)) > bottom - top - 0.6
    if flat:
        write(page, x + 0.8, middle, place(value_mm), va="center")
    else:
        write(page, x - 0.5, middle, place(value_mm), ha="right", va="center", rotation=90)


def draw_datum(page: Axes, corner: Point, axes: tuple[str, str]) -> None:
    """Draw the datum symbol at a corner, with the axes that start there (empty: none)."""
    x, y = corner
    page.add_patch(
        Polygon([(x, y), (x - 2.0, y - 1.2), (x - 1.2, y - 2.0)], closed=True, fc=INK, lw=0)
    )
    if axes[0]:
        arrow(page, (x + 1.2, y - 2.6), (x + 7.0, y - 2.6), (1.0, 0.0))
        write(page, x + 7.6, y - 2.6, axes[0], size_pt=SMALL_PT, va="center", style="italic")
    arrow(page, (x - 2.8, y + 0.8), (x - 2.8, y + 5.0), (0.0, 1.0))
    write(page, x - 2.8, y + 5.3, axes[1], size_pt=SMALL_PT, ha="center", style="italic")


def scale_bar(page: Axes, left: float, top: float, length_mm: float, scale: float) -> None:
    """Draw a bar of four fields that is `length_mm` of block long."""
    step = length_mm / scale / 4
    for k in range(4):
        face = INK if k % 2 == 0 else PAPER
        box = Rectangle((left + k * step, top), step, 1.2, fc=face, ec=INK, lw=0.5)
        page.add_patch(box)
    write(page, left, top + 1.6, "0", size_pt=SMALL_PT, ha="center")
    end = left + 4 * step
    write(page, end, top + 1.6, f"{number(length_mm)} mm", size_pt=SMALL_PT, ha="center")
    stroke(page, [(left, top), (left, top + 1.2)], color=RULE, linewidth=0.1)


def side_centres(block: BlockView, *, upper: bool) -> list[tuple[str, Point]]:
    """Ids and centres of the targets in the upper or lower half of the side view."""
    found = ((target.id, side_shape(target, block).centre) for target in block.targets)
    return [item for item in found if (item[1][1] <= block.thickness_mm / 2) == upper]

"""Where in size and depth each mode found its targets, and where it missed them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.axes_parts import Box
from qualify.figures.page import Key, frame, linear_ticks, place, size, text_width_mm, words_only
from qualify.figures.palette import (
    GREY,
    HIT,
    LIMIT,
    LIMIT_MARK,
    MISS,
    PAPER,
    RULE,
    SMALL_PT,
    styled,
)
from qualify.figures.scale import Scale, check_positive, set_x, size_scale, with_unit
from qualify.figures.sheet import PanelView, column_mm, sheet

Seen = Literal["hit", "miss", "not examined"]
SEEN: tuple[Seen, ...] = ("hit", "miss", "not examined")
TILTS = {0.0: "o", 15.0: "s", 30.0: "^"}
OTHER = "D"
SAME_DEG = 0.5  # a tilt as near as this to 0, 15 or 30 has its shape
APART_MM = 1.7  # between the middles of two marks
MOST_MM = 8.0
COLUMNS = {1: 1, 2: 2, 3: 3, 4: 2}
RIGHT_MM = 2.5
NOTHING = "No mode to show: no target was declared."


@dataclass(frozen=True, slots=True)
class PlacedTarget:
    """A target of one mode: its size, depth and tilt, and what became of it.

    `tilt_deg` is None for a target that has none; it is drawn as one of 0°.
    """

    name: str
    size: float
    depth_mm: float
    seen: Seen
    tilt_deg: float | None = None


@dataclass(frozen=True, slots=True)
class SizeDepthMode:
    """One mode and its targets."""

    name: str
    targets: tuple[PlacedTarget, ...]


@dataclass(frozen=True, slots=True)
class SizeDepthView:
    """Up to four modes; `depth_limits_mm` are the ends of the region declared, None without one.

    Raises
    ------
    ValueError
        If there are more than four modes or a size is not above zero.
    """

    size_label: str
    size_unit: str
    modes: tuple[SizeDepthMode, ...]
    depth_limits_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if len(self.modes) > max(COLUMNS):
            msg = f"a figure shows up to {max(COLUMNS)} modes, found {len(self.modes)}"
            raise ValueError(msg)
        for mode in self.modes:
            check_positive((t.size for t in mode.targets), f"mode {mode.name}: sizes")

    def targets(self) -> list[PlacedTarget]:
        """Return the targets of all modes."""
        return [target for mode in self.modes for target in mode.targets]


def _shape(target: PlacedTarget) -> str:
    tilt = abs(target.tilt_deg or 0.0)
    return next((m for known, m in TILTS.items() if abs(tilt - known) <= SAME_DEG), OTHER)


def _style(seen: Seen, shape: str) -> dict[str, Any]:
    """Return how a target is drawn: a hit filled, a miss hollow, one not examined a cross."""
    colour = {"hit": HIT, "miss": MISS, "not examined": GREY}[seen]
    face = {"hit": colour, "miss": PAPER, "not examined": "none"}[seen]
    edge = {"markeredgecolor": PAPER, "markeredgewidth": 0.25} if seen == "hit" else {}
    return {
        "linestyle": "none",
        "marker": "+" if seen == "not examined" else shape,
        "color": colour,
        "markerfacecolor": face,
        "markeredgewidth": 1.1 if seen == "not examined" else 0.9,
        "markersize": {"hit": 4.4, "miss": 4.0, "not examined": 5.0}[seen],
        **edge,
    }


def _apart(places_mm: Sequence[tuple[float, float]]) -> list[float | None]:
    """Return how far each mark moves along x so that none hides another; no further than most.

    The first of marks at one place stays; None for one that finds no free place.
    """
    steps = [0.0]
    for k in range(1, int(MOST_MM / APART_MM) + 1):
        steps += [k * APART_MM, -k * APART_MM]
    taken: list[tuple[float, float]] = []
    moves: list[float | None] = []
    for x, y in places_mm:
        free = [s for s in steps if all(math.hypot(x + s - a, y - b) >= 0.9 * APART_MM
                                        for a, b in taken)]  # fmt: skip
        moves.append(free[0] if free else None)
        if free:
            taken.append((x + free[0], y))
    return moves


def _scales(view: SizeDepthView) -> tuple[Scale, Scale]:
    """Return the axes all panels share: size, and depth from the scan face down."""
    seen = view.targets()
    close = size_scale([target.size for target in seen], [], log=True)
    across = Scale(close.at(-0.04), close.at(1.04), log=True)
    depths = [*(target.depth_mm for target in seen), *(view.depth_limits_mm or ())] or [1.0]
    low, high = min(0.0, *depths), max(depths)
    return across, Scale(low, high + 0.06 * (high - low or 1.0), log=False)


def _moved(
    mode: SizeDepthMode, scales: tuple[Scale, Scale], size_mm: tuple[float, float]
) -> list[tuple[PlacedTarget, float, float | None]]:
    """Return each target with its place along x and how far it moves from there, mm."""
    across, down = scales
    places = [
        (across.fraction(t.size) * size_mm[0], down.fraction(t.depth_mm) * size_mm[1])
        for t in mode.targets
    ]
    along = [x_mm for x_mm, _ in places]
    return list(zip(mode.targets, along, _apart(places), strict=True))


def _draw(page: Axes, view: SizeDepthView, index: int, box: Box) -> None:
    mode = view.modes[index]
    axes = frame(page, *box, f"size-depth-{index}")
    across, down = scales = _scales(view)
    set_x(axes, across, box[2])
    axes.set_ylim(down.high, down.low)
    ticks = linear_ticks(down.low, down.high, 6)
    axes.set_yticks(ticks, [place(tick) for tick in ticks])
    for tick in ticks:
        axes.axhline(tick, color=RULE, linewidth=0.3, zorder=0)
    for limit in view.depth_limits_mm or ():
        axes.axhline(limit, color=LIMIT, linewidth=0.9, linestyle=LIMIT_MARK, zorder=1)
    for target, x_mm, move in _moved(mode, scales, (box[2], box[3])):
        at = across.at((x_mm + move) / box[2]) if move else target.size
        style = {**_style(target.seen, _shape(target)), "zorder": 4, "clip_on": False}
        axes.plot([at], [target.depth_mm], gid=f"{index}-{target.seen}-{target.name}", **style)


def _counts(mode: SizeDepthMode) -> str:
    words = {"hit": "found", "miss": "missed", "not examined": "not examined"}
    counts = {seen: sum(t.seen == seen for t in mode.targets) for seen in SEEN}
    return ", ".join(f"{counts[s]} {words[s]}" for s in SEEN if counts[s] or s != "not examined")


def _panel(view: SizeDepthView, index: int, size_mm: tuple[float, float]) -> PanelView:
    mode = view.modes[index]
    moves = [move for *_, move in _moved(mode, _scales(view), size_mm)]
    moved, hidden = sum(bool(move) for move in moves), moves.count(None)
    told = [f"moved sideways, as another stands there: {moved}"] if moved else []
    told += [f"drawn over others, as no place is free: {hidden}"] if hidden else []
    ticks = linear_ticks(_scales(view)[1].low, _scales(view)[1].high, 6)
    return PanelView(
        title=mode.name,
        counts=_counts(mode),
        message="; ".join(told) or None,
        lane_mm=2.5,
        x_label=with_unit(view.size_label, view.size_unit),
        y_label="depth (mm)",
        tick_mm=max(text_width_mm(place(tick), SMALL_PT) for tick in ticks),
        draw=lambda page, box, at: _draw(page, view, at, box),
    )


def _keys(view: SizeDepthView) -> list[Key]:
    seen = view.targets()
    there = {target.seen for target in seen}
    words = {"hit": "filled: found", "miss": "hollow: missed", "not examined": "not examined"}
    keys = [Key(words[s], _style(s, "o")) for s in SEEN if s in there]
    shapes = {_shape(target) for target in seen if target.seen != "not examined"}
    if shapes - {"o"}:
        named = {**{m: f"tilt {place(tilt)}°" for tilt, m in TILTS.items()}, OTHER: "another tilt"}
        if any(target.tilt_deg is None for target in seen):
            named[TILTS[0.0]] += " or none"
        grey = {"color": GREY, "markerfacecolor": GREY, "markeredgewidth": 0.0}
        keys += [Key(named[m], {**_style("hit", m), **grey}) for m in named if m in shapes]
    if view.depth_limits_mm:
        low, high = map(place, view.depth_limits_mm)
        style = {"color": LIMIT, "linewidth": 0.9, "linestyle": LIMIT_MARK}
        keys.append(Key(f"ends of the region declared, {low} and {high} mm deep", style))
    return keys


@styled
def draw_size_depth(
    view: SizeDepthView, *, width_mm: float = 170.0, axes_mm: float = 62.0, mark: str = ""
) -> Figure:
    """Draw a panel for each mode, with one axis of sizes and one of depths for all.

    Marks that would hide one another stand side by side, and the panel says how many were moved.
    """
    if not view.targets():
        return words_only(NOTHING, width_mm, mark=mark)
    columns = COLUMNS[len(view.modes)]
    inner = column_mm(width_mm, columns) - 14.0 - RIGHT_MM
    panels = [_panel(view, k, (inner, axes_mm)) for k in range(len(view.modes))]
    return sheet(
        panels,
        _keys(view),
        width_mm=width_mm,
        columns=columns,
        axes_mm=axes_mm,
        right_mm=RIGHT_MM,
        mark=mark,
    )


def size_depth_alt_text(view: SizeDepthView) -> str:
    """Return words for the figure: counts of each mode, and the misses by size, depth and tilt."""
    if not view.targets():
        return NOTHING
    told = ["Targets over size and depth."]
    for mode in view.modes:
        missed = sorted((t for t in mode.targets if t.seen == "miss"), key=lambda t: -t.size)
        told.append(f"{mode.name}: {_counts(mode)}.")
        if missed:
            one = missed[0]
            tilt = "" if one.tilt_deg is None else f", tilt {place(one.tilt_deg)}°"
            where = f"{size(one.size)} {view.size_unit}, depth {place(one.depth_mm)} mm{tilt}"
            told.append(f"Largest missed: {one.name}, {where}.")
    if view.depth_limits_mm:
        low, high = map(place, view.depth_limits_mm)
        told.append(f"The region declared is {low} to {high} mm deep.")
    return " ".join(told)

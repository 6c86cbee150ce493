"""Two modes on the same targets: both POD curves, every hit and miss, discordant targets named."""

import math
from dataclasses import dataclass
from typing import Any, Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.page import (
    Key,
    draw_legend,
    frame,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    linear_ticks,
    log_ticks,
    new_page,
    number,
    size,
    spread,
    stroke,
    text_width_mm,
    words_only,
    wrap,
    write,
    write_header,
)
from qualify.figures.palette import (
    BOUND,
    GREY,
    HIT,
    MISS,
    PAPER,
    RULE,
    SMALL_PT,
    SOLID,
    TEXT_PT,
    TITLE_PT,
    styled,
)

LEFT_MM, GAP_MM, AXES_MM, LANE_MM, RUG_MM = 12.0, 3.0, 46.0, 11.5, 2.6
NAME_MM = 2.7  # a name turned upright
NOTHING = "No comparison to show: the modes were not read on the same targets."
Side = Literal["reference", "candidate"]
LINES: dict[Side, dict[str, Any]] = {
    "reference": {"color": MISS, "linewidth": 1.1, "linestyle": (0.0, (5.0, 2.0))},
    "candidate": {"color": HIT, "linewidth": 1.3, "linestyle": SOLID},
}
MARKS: dict[Side, dict[str, Any]] = {
    "reference": {"marker": "^", "color": MISS, "markerfacecolor": PAPER, "linestyle": "none",
                  "markersize": 3.2, "markeredgewidth": 0.8},
    "candidate": {"marker": "o", "color": HIT, "markerfacecolor": HIT, "linestyle": "none",
                  "markersize": 2.8, "markeredgewidth": 0.6},
}  # fmt: skip
SIDES: tuple[Side, Side] = ("reference", "candidate")


@dataclass(frozen=True, slots=True)
class ModeCurve:
    """One mode of a panel.

    Attributes
    ----------
    hits, misses : sizes of targets.
    sizes, pod : (m,), the fitted curve; empty without one.
    bound_sizes, bound_pod : (k,), size at each POD that is not exceeded, at one-sided 95 %; None
        where there is none.
    a90 : None where there is none.
    """

    hits: tuple[float, ...]
    misses: tuple[float, ...]
    sizes: tuple[float, ...] = ()
    pod: tuple[float, ...] = ()
    bound_sizes: tuple[float | None, ...] = ()
    bound_pod: tuple[float, ...] = ()
    a90: float | None = None


@dataclass(frozen=True, slots=True)
class ComparisonPanel:
    """One kind of target and reader; `discordant` holds name, size, and the mode that hit it."""

    title: str
    lines: tuple[str, ...]
    size_label: str
    size_unit: str
    reference: ModeCurve
    candidate: ModeCurve
    discordant: tuple[tuple[str, float, Side], ...]
    log_axis: bool = True

    def mode(self, side: Side) -> ModeCurve:
        """Return one of both modes."""
        return self.reference if side == "reference" else self.candidate


def _span(panel: ComparisonPanel) -> tuple[float, float]:
    seen = [v for side in SIDES for v in (*panel.mode(side).hits, *panel.mode(side).misses)] or [
        1.0
    ]
    low, high = min(seen), max(seen)
    if panel.log_axis:
        pad = max((high / low) ** 0.05, 1.05)
        return low / pad, high * pad
    pad = 0.05 * (high - low) or 1.0
    return max(low - pad, 0.0), high + pad


def _curves(panel: ComparisonPanel, axes: Axes) -> None:
    """Draw both curves with their bounds, and rows of hits above 1 and of misses below 0."""
    step = RUG_MM / AXES_MM * 1.5
    for k, side in enumerate(SIDES):
        mode, style = panel.mode(side), LINES[side]
        if mode.sizes:
            axes.plot(mode.sizes, mode.pod, zorder=3, **style)
        if mode.bound_sizes:
            x = [float("nan") if v is None else v for v in mode.bound_sizes]
            axes.plot(x, mode.bound_pod, zorder=2, color=style["color"], linewidth=0.7,
                      linestyle=BOUND)  # fmt: skip
        for sizes, at in ((mode.hits, 1.0 + (k + 0.8) * step), (mode.misses, -(k + 0.8) * step)):
            axes.plot(sizes, [at] * len(sizes), zorder=4, **MARKS[side])
    axes.set_ylim(-2.6 * step, 1.0 + 2.6 * step)
    axes.set_yticks([0, 0.5, 0.9, 1], ["0", "0.5", "0.9", "1"])
    for level, colour in ((0.0, RULE), (0.9, RULE), (1.0, RULE)):
        axes.axhline(level, color=colour, linewidth=0.5, zorder=1)


def _names(
    page: Axes, panel: ComparisonPanel, place: tuple[float, float], width: float,
    span: tuple[float, float],
) -> None:  # fmt: skip
    """Write names of discordant targets upright in a lane, each with the mark of its mode."""
    left, top = place
    told = sorted(panel.discordant, key=lambda one: one[1])
    at = [left + width * _share(panel, value, span) for _, value, _ in told]
    room = int((width + 1.0) // NAME_MM)
    if len(told) > room:
        told, at = told[:room], at[:room]
    centres = spread(at, [NAME_MM] * len(told), left - 1.0, left + width + 1.0, 0.0) or at
    for (name, _, side), x, centre in zip(told, at, centres, strict=True):
        stroke(page, [(centre, top - 2.2), (x, top)], color=RULE, linewidth=0.4)
        page.plot([centre], [top - 2.9], zorder=5, **MARKS[side])
        write(page, centre, top - 4.1, name, size_pt=SMALL_PT, rotation=90, ha="center",
              va="bottom", color=MARKS[side]["color"])  # fmt: skip


def _share(panel: ComparisonPanel, value: float, span: tuple[float, float]) -> float:
    if panel.log_axis:
        return math.log(value / span[0]) / math.log(span[1] / span[0])
    return (value - span[0]) / (span[1] - span[0])


def _draw(page: Axes, panel: ComparisonPanel, place: tuple[float, float], width: float,
          index: int) -> None:  # fmt: skip
    left, top = place
    axes = frame(page, left, top, width, AXES_MM, f"comparison-{index}")
    span = _span(panel)
    if panel.log_axis:
        axes.set_xscale("log")
    axes.set_xlim(*span)
    ticks = log_ticks(*span) if panel.log_axis else linear_ticks(*span, 6)
    kept: list[float] = []
    end = -1.0
    for tick in ticks:
        middle, half = _share(panel, tick, span) * width, text_width_mm(number(tick), SMALL_PT) / 2
        if middle - half >= end + 1.0 and middle + half <= width + 1.4:
            kept.append(tick)
            end = middle + half
    axes.set_xticks(kept, [number(tick) for tick in kept])
    axes.set_xticks([], minor=True)
    _curves(panel, axes)
    _names(page, panel, place, width, span)
    write(page, left - LEFT_MM + 1.0, top + AXES_MM / 2, "probability of detection", ha="left",
          va="center", rotation=90)  # fmt: skip
    label = f"{panel.size_label} ({panel.size_unit})"
    write(page, left + width / 2, top + AXES_MM + 4.2, label, ha="center")


def _keys(panels: tuple[ComparisonPanel, ...], names: tuple[str, str]) -> list[Key]:
    keys: list[Key] = []
    for side, name in zip(SIDES, names, strict=True):
        keys.append(Key(f"{name}: hit above, miss below", MARKS[side]))
        if any(panel.mode(side).sizes for panel in panels):
            keys.append(Key(f"{name}: fitted curve", LINES[side]))
        if any(panel.mode(side).bound_sizes for panel in panels):
            style = {"color": LINES[side]["color"], "linewidth": 0.7, "linestyle": BOUND}
            keys.append(Key(f"{name}: lower confidence curve", style))
    if any(panel.discordant for panel in panels):
        keys.append(Key("named: hit in that mode only", {"color": GREY, "linewidth": 0.5}))
    return keys


@styled
def comparison_figure(
    panels: tuple[ComparisonPanel, ...],
    names: tuple[str, str],
    *,
    width_mm: float = 170.0,
    columns: int = 3,
    mark: str = "",
) -> Figure:
    """Draw a panel each, in the caller's order; `names` are those of reference and candidate.

    Both curves share one pair of axes; each mode has a row of its hits above 1 and of its misses
    below 0. Targets that one mode alone hit stand by name above the axes, as far as they have room.
    """
    if not panels:
        return words_only(NOTHING, width_mm, mark=mark)
    columns = max(1, min(columns, len(panels)))
    inner = (width_mm - GAP_MM * (columns - 1)) / columns - LEFT_MM - 1.5
    most = max(len(_header(panel, inner + LEFT_MM - 2)) for panel in panels)
    header = line_height_mm(TITLE_PT) + (most - 1) * line_height_mm(TEXT_PT)
    row = header + LANE_MM + AXES_MM + 4.2 + line_height_mm(TEXT_PT) + 3.0
    legend = legend_rows(_keys(panels, names), width_mm - 2.0)
    rows = -(-len(panels) // columns)
    figure, page = new_page(width_mm, rows * row + legend_height_mm(legend) + 2.0, mark=mark)
    for index, panel in enumerate(panels):
        left = (index % columns) * (inner + LEFT_MM + 1.5 + GAP_MM) + LEFT_MM
        top = 0.5 + (index // columns) * row
        write_header(page, left - LEFT_MM + 1.0, top, _header(panel, inner + LEFT_MM - 2))
        _draw(page, panel, (left, top + header + LANE_MM), inner, index)
    draw_legend(page, legend, 1.0, rows * row + 0.5)
    return figure


def _header(panel: ComparisonPanel, width: float) -> list[tuple[str, float, bool]]:
    told = [(panel.title, TITLE_PT, True)]
    return told + [(part, TEXT_PT, False) for line in panel.lines for part in wrap(line, width)]


def comparison_alt_text(panels: tuple[ComparisonPanel, ...], names: tuple[str, str]) -> str:
    """Return words for the figure: counts, a90 of both and the discordant targets by name."""
    if not panels:
        return NOTHING
    told = ["Probability of detection of both modes against size."]
    for panel in panels:
        parts = []
        for side, name in zip(SIDES, names, strict=True):
            mode = panel.mode(side)
            seen = len(mode.hits) + len(mode.misses)
            a90 = "no a90" if mode.a90 is None else f"a90 {size(mode.a90)} {panel.size_unit}"
            alone = [one for one, _, which in panel.discordant if which == side]
            only = f"; alone hit {', '.join(alone)}" if alone else "; alone hit none"
            parts.append(f"{name} {len(mode.hits)} of {seen} found, {a90}{only}")
        told.append(f"{panel.title}: {'. '.join(parts)}.")
    return " ".join(told)

"""The trial itself: false calls on blank units; the order of events comes from `events`."""

from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.events import EventView, order_of_events_alt_text, order_of_events_figure
from qualify.figures.page import (
    Key,
    draw_legend,
    frame,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    linear_ticks,
    new_page,
    number,
    spread,
    stroke,
    text_width_mm,
    words_only,
    wrap,
    write,
    write_lines,
)
from qualify.figures.palette import (
    BAND,
    ESTIMATE_MARK,
    GREY,
    INK,
    LIMIT,
    LIMIT_MARK,
    MARKS,
    PAPER,
    TEXT_PT,
    styled,
)

__all__ = [
    "EventView",
    "FalseCallRow",
    "false_call_alt_text",
    "false_call_figure",
    "order_of_events_alt_text",
    "order_of_events_figure",
]

ROW_MM = 5.2
LANE_MM = 10.2
NO_ROWS = "No false calls to show: no blank unit was examined."
OBSERVED_LIMIT: dict[str, Any] = {"color": LIMIT, "linewidth": 0.8, "linestyle": ESTIMATE_MARK}
UNEXAMINED: dict[str, Any] = {
    "va": "center",
    "color": GREY,
    "bbox": {"facecolor": PAPER, "edgecolor": "none", "pad": 1.0},
}
UPPER_LIMIT: dict[str, Any] = {"color": LIMIT, "linewidth": 0.9, "linestyle": LIMIT_MARK}


@dataclass(frozen=True, slots=True)
class FalseCallRow:
    """False calls of one reader in one mode.

    `upper_fraction` and `lower_fraction` are one-sided 95 % bounds; all fractions are None where no
    blank unit was examined.
    """

    label: str
    mode: str
    observed_fraction: float | None
    upper_fraction: float | None
    lower_fraction: float | None
    units_called: int
    blank_units: int


def _percent(fraction: float) -> str:
    return f"{number(100 * fraction)} %"


def _top(rows: tuple[FalseCallRow, ...], limits: list[float]) -> float:
    shown = [row.upper_fraction or row.observed_fraction or 0.0 for row in rows]
    return min(max([*shown, *limits, 0.01]) * 1.08, 1.0)


def _draw_rate(axes: Axes, row: FalseCallRow, y: int) -> None:
    """Draw the observed rate as a diamond, the bar to its upper bound, a line to the lower one."""
    if row.observed_fraction is None:
        return
    if row.upper_fraction is not None:
        wide = row.upper_fraction - row.observed_fraction
        bar: dict[str, Any] = {"facecolor": BAND, "edgecolor": GREY, "linewidth": 0.5, "zorder": 2}
        axes.barh(y, wide, left=row.observed_fraction, height=0.36, **bar)
        cap = [row.upper_fraction] * 2
        axes.plot(cap, [y - 0.3, y + 0.3], color=INK, linewidth=1.2, zorder=3, clip_on=False)
    if row.lower_fraction is not None:
        reach = [row.lower_fraction, row.observed_fraction]
        axes.plot(reach, [y, y], color=GREY, linewidth=0.8, zorder=2)
        axes.plot(reach[:1], [y], color=GREY, marker="|", markersize=4, zorder=2, clip_on=False)
    style = {**MARKS["false_call"].style(4.2), "zorder": 4, "clip_on": False}
    axes.plot([row.observed_fraction], [y], gid=f"false-calls-{y}", **style)


def _limit_lane(
    page: Axes,
    axes: Axes,
    limits: list[tuple[str, float, dict[str, Any]]],
    box: tuple[float, float, float],
    high: float,
) -> None:
    """Draw limits as lines through the rows, named in a lane above."""
    left, top, width = box
    limits = sorted(limits, key=lambda item: item[1])
    texts = [(name, _percent(value)) for name, value, _ in limits]
    widths = [max(text_width_mm(text, TEXT_PT, bold=True) for text in pair) for pair in texts]
    wanted = [left + width * value / high for _, value, _ in limits]
    page_width = page.get_xlim()[1]
    centres = spread(wanted, widths, 1.0, page_width - 1.0, 1.5) or wanted
    for (_, value, style), text, x, centre in zip(limits, texts, wanted, centres, strict=True):
        axes.axvline(value, **style, zorder=1)
        stroke(page, [(centre, top - 3.1), (x, top - 0.2)], color=LIMIT, linewidth=0.5)
        middle = {"ha": "center", "color": LIMIT}
        write(page, centre, top - LANE_MM + 0.6, text[0], **middle)
        write(page, centre, top - LANE_MM + 3.6, text[1], bold=True, **middle)


def _false_call_keys(rows: tuple[FalseCallRow, ...]) -> list[Key]:
    keys = [Key("observed share of blank units with a call", MARKS["false_call"].style(4.2))]
    bar = {"fc": BAND, "ec": GREY, "lw": 0.5}
    keys.append(Key("up to the one-sided 95 % upper bound", bar, patch=True))
    if any(row.lower_fraction is not None for row in rows):
        line = {"color": GREY, "linewidth": 0.8}
        keys.append(Key("down to the one-sided 95 % lower bound", line))
    return keys


def _limits(observed: float | None, upper: float | None) -> list[tuple[str, float, dict[str, Any]]]:
    named = (
        ("limit on observed", observed, OBSERVED_LIMIT),
        ("limit on upper bound", upper, UPPER_LIMIT),
    )
    return [(name, value, style) for name, value, style in named if value is not None]


def _rate_axis(axes: Axes, high: float, rows: int, width_mm: float) -> None:
    axes.set_xlim(0.0, high)
    axes.set_ylim(rows - 0.5, -0.5)
    axes.set_yticks([])
    ticks = linear_ticks(0.0, 100 * high, 8 if width_mm > 70 else 4)
    axes.set_xticks([tick / 100 for tick in ticks], [number(tick) for tick in ticks])


@styled
def false_call_figure(
    rows: tuple[FalseCallRow, ...],
    *,
    limit_observed: float | None = None,
    limit_upper: float | None = None,
    width_mm: float = 170.0,
    mark: str = "",
) -> Figure:
    """Draw a row each, in the caller's order: observed share, its bounds, and 'k of n' at right."""
    if not rows:
        return words_only(NO_ROWS, width_mm, mark=mark)
    limits = _limits(limit_observed, limit_upper)
    names = [f"{row.label}, {row.mode}" if row.mode else row.label for row in rows]
    label_mm = min(max(text_width_mm(name) for name in names), 0.34 * width_mm)
    wrapped = [wrap(name, label_mm + 0.1) for name in names]
    counts = [f"{row.units_called} of {row.blank_units}" for row in rows]
    right = max(text_width_mm(text) for text in counts) + 5.0
    left = label_mm + 5.0
    step = max(ROW_MM, max(map(len, wrapped)) * line_height_mm(TEXT_PT) + 1.4)
    top = LANE_MM if limits else 4.0
    inner, deep = width_mm - left - right, step * len(rows)
    legend = legend_rows(_false_call_keys(rows), width_mm - 2.0)
    height = top + deep + 11.6 + legend_height_mm(legend)
    figure, page = new_page(width_mm, height, mark=mark)
    axes = frame(page, left, top, inner, deep, "false-calls")
    axes.set_zorder(-1)
    high = _top(rows, [value for _, value, _ in limits])
    _rate_axis(axes, high, len(rows), inner)
    for k, (row, lines, count) in enumerate(zip(rows, wrapped, counts, strict=True)):
        middle = top + (k + 0.5) * step
        y = middle - len(lines) * line_height_mm(TEXT_PT) / 2 + 0.3
        write_lines(page, left - 3.0, y, lines, ha="right")
        write(page, left + inner + 3.0, middle, count, va="center")
        _draw_rate(axes, row, k)
        if row.observed_fraction is None:
            write(page, left + 2.0, middle, "no blank unit examined", **UNEXAMINED)
    write(page, left + inner / 2, top + deep + 4.4, "blank units with a call (%)", ha="center")
    _limit_lane(page, axes, limits, (left, top, inner), high)
    draw_legend(page, legend, 1.0, top + deep + 9.2)
    return figure


def false_call_alt_text(
    rows: tuple[FalseCallRow, ...],
    *,
    limit_observed: float | None = None,
    limit_upper: float | None = None,
) -> str:
    """Return words for the figure: counts, observed rate and bounds of each row, and the limits."""
    if not rows:
        return NO_ROWS
    parts = ["False calls on blank units."]
    for row in rows:
        text = f"{row.label}, {row.mode}: {row.units_called} of {row.blank_units}"
        for name, value in (
            ("observed", row.observed_fraction),
            ("upper 95 % bound", row.upper_fraction),
            ("lower 95 % bound", row.lower_fraction),
        ):
            text += "" if value is None else f", {name} {_percent(value)}"
        parts.append(text + ".")
    for name, limit in (("observed", limit_observed), ("upper bound", limit_upper)):
        if limit is not None:
            parts.append(f"Limit on the {name}: {_percent(limit)}.")
    return " ".join(parts)

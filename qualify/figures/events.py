"""The order of events of a trial, on an axis of time."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.page import (
    FOOT_MM,
    HANDLE_MM,
    Key,
    Placed,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    spread,
    stroke,
    text_width_mm,
    words_only,
    wrap,
    write,
    write_lines,
)
from qualify.figures.palette import (
    GREY,
    INK,
    LIMIT,
    LIMIT_MARK,
    MARKS,
    RULE,
    SMALL_PT,
    TEXT_PT,
    styled,
)

DATE_LEFT_MM = 24.0
OPENED_GAP_MM, FAULT_GAP_MM = 1.2, 0.6
LABELS = {
    "recorded": "recorded in the log",
    "declared": "declared, not proven by this file",
    "not recorded": "not recorded",
}
OPEN: dict[str, Any] = {"color": INK, "linewidth": 0.9, "linestyle": LIMIT_MARK}
NO_EVENTS = "No event of this trial was recorded or declared."


@dataclass(frozen=True, slots=True)
class EventView:
    """A dated event of the trial; `date_iso` is empty where no date is known.

    `opens` marks the opening of truth, `late` what came too late to count.
    """

    date_iso: str
    label: str
    status: Literal["recorded", "declared", "not recorded"]
    opens: bool = False
    late: bool = False


def _moment(event: EventView) -> float:
    """Seconds since 1970 of an event, a date alone at midnight UTC; infinite without a date."""
    if not event.date_iso:
        return math.inf
    moment = datetime.fromisoformat(event.date_iso)
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


@dataclass(frozen=True, slots=True)
class _Line:
    event: EventView
    moment: float
    date: str
    lines: list[str]


def _time_axis(page: Axes, dated: list[_Line], x: float, span: tuple[float, float]) -> list[float]:
    """Draw the axis of time, true to scale; return where on it each event stands."""
    first, last = dated[0].moment, dated[-1].moment
    low, high = span
    share = [(line.moment - first) / (last - first) if last > first else 0.5 for line in dated]
    stroke(page, [(x, low), (x, high)], color=INK, linewidth=1.0)
    return [low + part * (high - low) for part in share]


def _draw_event(page: Axes, row: _Line, k: int, middle: float, text_left: float) -> float:
    """Write one event about a height; return the height of its first line, where its mark is."""
    step = line_height_mm(TEXT_PT)
    start = middle - len(row.lines) * step / 2
    first = start + 0.4 * step
    late = row.event.late
    red = {"color": LIMIT, "markeredgecolor": LIMIT} if late else {}
    style = MARKS[row.event.status].style() | red
    page.plot([20.5], [first], gid=f"event-{k}", **style, zorder=4)
    write(page, DATE_LEFT_MM, start, row.date, color=LIMIT if late else GREY)
    ink = {"color": LIMIT if late else INK, "bold": row.event.opens or late}
    write_lines(page, text_left, start, row.lines, **ink)
    return first


def _draw_faults(page: Axes, faults: Sequence[list[str]], top: float) -> None:
    """Write what speaks against the order in red, with a red bar."""
    step = line_height_mm(TEXT_PT)
    for k, lines in enumerate(faults):
        end = write_lines(page, DATE_LEFT_MM, top, lines, color=LIMIT, bold=True)
        bar = [(20.5, top - 0.2), (20.5, end - 0.25 * step)]
        stroke(page, bar, color=LIMIT, linewidth=3.0, gid=f"fault-{k}")
        top = end + FAULT_GAP_MM


def _event_lines(events: Sequence[EventView], width_mm: float) -> tuple[list[_Line], float]:
    """Events in order of time with their wrapped labels, and where the labels begin."""
    dates = [_day(event.date_iso) for event in events]
    left = DATE_LEFT_MM + max(text_width_mm(date) for date in dates) + 4.0
    rows = [
        _Line(event, _moment(event), date, _wrapped(event, width_mm - left - 2.0))
        for event, date in zip(events, dates, strict=True)
    ]
    return sorted(rows, key=lambda row: row.moment), left


def _day(date_iso: str) -> str:
    if date_iso.endswith("Z"):
        return f"{date_iso[:10]} {date_iso[11:16]} UTC"
    return date_iso.replace("T", " ") or "no date"


def _wrapped(event: EventView, width_mm: float) -> list[str]:
    return wrap(event.label, width_mm, bold=event.opens or event.late) or [""]


def _event_keys(rows: Sequence[_Line]) -> list[Key]:
    drawn = {row.event.status for row in rows}
    keys = [Key(words, MARKS[name].style()) for name, words in LABELS.items() if name in drawn]
    opened = any(row.event.opens for row in rows)
    return [*keys, *([Key("truth open from here", OPEN)] if opened else [])]


def _foot_is_free(legend: Sequence[Placed], width_mm: float, mark: str) -> bool:
    """Whether the mark finds room beside the last row of the legend."""
    if not (mark and legend):
        return False
    x, _, lines = legend[-1][-1]
    wide = max(text_width_mm(line, SMALL_PT) for line in lines)
    return x + HANDLE_MM + wide + text_width_mm(mark, TEXT_PT, bold=True) + 12.0 < width_mm


def _heights(sizes: Sequence[float], wanted: Sequence[float], deep: float) -> list[float]:
    """Heights of all labels: dated ones near their time, the others below."""
    count = len(wanted)
    centres = spread(wanted, sizes[:count], 1.0, 1.5 + deep, 0.0) or []
    below = 2.0 + deep
    for size in sizes[count:]:
        centres.append(below + size / 2)
        below += size
    return centres


@styled
def order_of_events_figure(
    events: tuple[EventView, ...],
    faults: tuple[str, ...] = (),
    *,
    width_mm: float = 170.0,
    dense: bool = False,
    mark: str = "",
) -> Figure:
    """Draw events down an axis of time that is true to scale; labels are moved apart.

    Events of one moment keep the caller's order; those without a date stand last, off the axis.
    `faults` are written below in red: what speaks against the order. `dense` saves height.

    Raises
    ------
    ValueError
        If a date is not in ISO form.
    """
    if not events:
        return words_only(NO_EVENTS, width_mm, mark=mark)
    rows, text_left = _event_lines(events, width_mm)
    pad, stretch = (0.5, 1.0) if dense else (1.4, 1.15)
    step = line_height_mm(TEXT_PT)
    sizes = [len(r.lines) * step + pad + OPENED_GAP_MM * r.event.opens for r in rows]
    dated = sum(row.moment < math.inf for row in rows)
    deep = sum(sizes[:dated]) * (stretch if dated > 1 else 1.0)
    end = 2.0 + deep + sum(sizes[dated:])
    told = [wrap(fault, width_mm - DATE_LEFT_MM - 2.0, bold=True) for fault in faults]
    foot = end + sum(len(lines) * step + FAULT_GAP_MM for lines in told) + 1.0 * bool(told)
    legend = legend_rows(_event_keys(rows), width_mm - 2.0)
    height = foot + 3.0 + legend_height_mm(legend)
    if _foot_is_free(legend, width_mm, mark):
        height -= FOOT_MM - 0.8
    figure, page = new_page(width_mm, height, mark=mark)
    _draw_events(page, rows, sizes, deep, text_left)
    _draw_faults(page, told, end + 1.0)
    draw_legend(page, legend, 1.0, foot + 2.0)
    return figure


def _draw_events(
    page: Axes, rows: Sequence[_Line], sizes: Sequence[float], deep: float, text_left: float
) -> None:
    """Draw the axis of time, every event beside it, and a line where truth is opened."""
    dated = [row for row in rows if row.moment < math.inf]
    wanted = _time_axis(page, dated, 4.0, (3.5, 0.5 + deep)) if dated else []
    for k, (row, middle) in enumerate(zip(rows, _heights(sizes, wanted, deep), strict=True)):
        first = _draw_event(page, row, k, middle - row.event.opens * OPENED_GAP_MM / 2, text_left)
        if k < len(wanted):
            stroke(page, [(3.0, wanted[k]), (5.0, wanted[k])], color=INK, linewidth=0.8)
            stroke(page, [(5.4, wanted[k]), (16.0, first), (18.0, first)], color=RULE)
        if row.event.opens:
            below = middle + sizes[k] / 2 - OPENED_GAP_MM / 2
            right = page.get_xlim()[1] - 1.0
            stroke(page, [(18.0, below), (right, below)], **OPEN, gid="opened")


def order_of_events_alt_text(events: tuple[EventView, ...], faults: tuple[str, ...] = ()) -> str:
    """Return words for the figure: every event with date and status, and what speaks against it."""
    if not events:
        return NO_EVENTS
    ordered = sorted(events, key=_moment)
    told = [
        f"{e.date_iso or 'no date'}: {e.label} ({e.status}"
        f"{', too late' if e.late else ''}{', truth open from here on' if e.opens else ''})."
        for e in ordered
    ]
    against = [f"Against the order: {fault.rstrip('.')}." for fault in faults]
    return " ".join(["Order of events.", *told, *against])

"""The order of events of a trial, on an axis of time."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from qualify.figures.page import (
    Key,
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
from qualify.figures.palette import GREY, INK, MARKS, RULE, TEXT_PT, styled

DATE_LEFT_MM = 24.0
NO_EVENTS = "No event of this trial was recorded or declared."


@dataclass(frozen=True, slots=True)
class EventView:
    """A dated event of the trial; `date_iso` is empty where no date is known."""

    date_iso: str
    label: str
    status: Literal["recorded", "declared", "not recorded"]


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
    page.plot([20.5], [first], gid=f"event-{k}", **MARKS[row.event.status].style(), zorder=4)
    write(page, DATE_LEFT_MM, start, row.date, color=GREY)
    write_lines(page, text_left, start, row.lines)
    return first


def _event_lines(events: Sequence[EventView], width_mm: float) -> tuple[list[_Line], float]:
    """Events in order of time with their wrapped labels, and where the labels begin."""
    dates = [event.date_iso.replace("T", " ") or "no date" for event in events]
    left = DATE_LEFT_MM + max(text_width_mm(date) for date in dates) + 4.0
    rows = [
        _Line(event, _moment(event), date, wrap(event.label, width_mm - left - 2.0) or [""])
        for event, date in zip(events, dates, strict=True)
    ]
    return sorted(rows, key=lambda row: row.moment), left


def _event_keys(rows: Sequence[_Line]) -> list[Key]:
    drawn = {row.event.status for row in rows}
    order = ("recorded", "declared", "not recorded")
    return [Key(status, MARKS[status].style()) for status in order if status in drawn]


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
    events: tuple[EventView, ...], *, width_mm: float = 170.0, mark: str = ""
) -> Figure:
    """Draw events down an axis of time that is true to scale; labels are moved apart.

    Events of one moment keep the caller's order; those without a date stand last, off the axis.

    Raises
    ------
    ValueError
        If a date is not in ISO form.
    """
    if not events:
        return words_only(NO_EVENTS, width_mm, mark=mark)
    rows, text_left = _event_lines(events, width_mm)
    sizes = [len(row.lines) * line_height_mm(TEXT_PT) + 1.4 for row in rows]
    dated = [row for row in rows if row.moment < math.inf]
    deep = sum(sizes[: len(dated)]) * (1.15 if len(dated) > 1 else 1.0)
    end = 2.0 + deep + sum(sizes[len(dated) :])
    legend = legend_rows(_event_keys(rows), width_mm - 2.0)
    height = end + 3.0 + legend_height_mm(legend)
    figure, page = new_page(width_mm, height, mark=mark)
    wanted = _time_axis(page, dated, 4.0, (3.5, 0.5 + deep)) if dated else []
    for k, (row, middle) in enumerate(zip(rows, _heights(sizes, wanted, deep), strict=True)):
        first = _draw_event(page, row, k, middle, text_left)
        if k < len(wanted):
            stroke(page, [(3.0, wanted[k]), (5.0, wanted[k])], color=INK, linewidth=0.8)
            stroke(page, [(5.4, wanted[k]), (16.0, first), (18.0, first)], color=RULE)
    draw_legend(page, legend, 1.0, end + 2.0)
    return figure


def order_of_events_alt_text(events: tuple[EventView, ...]) -> str:
    """Return words for the figure: every event with its date and status, in order of time."""
    if not events:
        return NO_EVENTS
    ordered = sorted(events, key=_moment)
    told = (f"{e.date_iso or 'no date'}: {e.label} ({e.status})." for e in ordered)
    return " ".join(["Order of events.", *told])

"""A recording before it is imaged: levels of the elements, and maps of its pairs."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray

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
    wrap,
    write,
    write_header,
    write_lines,
)
from qualify.figures.palette import (
    BAND,
    BOUND,
    GREY,
    HIT,
    INK,
    LIMIT,
    LIMIT_MARK,
    MISS,
    PAPER,
    SMALL_PT,
    TEXT_PT,
    TITLE_PT,
    styled,
)

Map = NDArray[np.float64]
LEFT_MM, LEVELS_MM, MAP_MM, BAR_MM = 13.0, 42.0, 58.0, 3.0
LOWEST_DB, FAINTEST_DB = -40.0, -60.0
SENT: dict[str, Any] = {
    "color": HIT, "marker": "o", "markersize": 2.6, "linewidth": 0.8,
}  # fmt: skip
HEARD: dict[str, Any] = {
    "color": MISS, "marker": "x", "markersize": 3.2, "linewidth": 0.8, "linestyle": BOUND,
}  # fmt: skip
DEAD: dict[str, Any] = {"color": LIMIT, "linewidth": 0.9, "linestyle": LIMIT_MARK}
DARKER = LinearSegmentedColormap.from_list("qualify-share", [PAPER, BAND, HIT, INK])


@dataclass(frozen=True, slots=True, eq=False)
class RecordingView:
    """What the figure of a recording shows.

    Attributes
    ----------
    title, answer : its name, and what the gate says of it.
    transmit_db, receive_db : (elements,) levels over the array; receive None where they are not
        told apart; transmit None with `no_levels`, the reason.
    dead_db : limit below which an element is dead.
    residual_db : (elements, elements) difference of each pair and its reciprocal over the mean
        power of the pairs; None with `no_residual`, the reason.
    clipped_fraction : (elements, elements) share of clipped samples.
    """

    title: str
    answer: str
    transmit_db: tuple[float, ...] | None
    receive_db: tuple[float, ...] | None
    dead_db: float
    residual_db: Map | None
    clipped_fraction: Map
    no_levels: str = ""
    no_residual: str = ""


@styled
def recording_figure(view: RecordingView, *, width_mm: float = 170.0, mark: str = "") -> Figure:
    """Draw levels of the elements above, maps of reciprocity and clipping of the pairs below."""
    head = [(line, TITLE_PT, True) for line in wrap(view.title, width_mm - 2, TITLE_PT, bold=True)]
    head += [(line, TEXT_PT, False) for line in wrap(view.answer, width_mm - 2)]
    legend = legend_rows(_keys(view), width_mm - 2.0)
    top = 2.0 + sum(line_height_mm(size) for _, size, _ in head)
    below = top + LEVELS_MM + 11.0 + legend_height_mm(legend)
    figure, page = new_page(width_mm, below + MAP_MM + 16.0, mark=mark)
    write_header(page, 1.0, 0.8, head)
    _draw_levels(page, view, top, width_mm)
    draw_legend(page, legend, 1.0, top + LEVELS_MM + 9.0)
    second = width_mm / 2.0 + LEFT_MM
    _draw_map(
        page, view.residual_db, (LEFT_MM, below), "reciprocity: difference of a pair, dB",
        (FAINTEST_DB, 0.0), view.no_residual,
    )  # fmt: skip
    share_percent = 100.0 * view.clipped_fraction
    most = max(float(share_percent.max()), 0.1)
    _draw_map(
        page, share_percent, (second, below), "clipped samples of a pair, %",
        (0.0, most), "",
    )  # fmt: skip
    return figure


def recording_alt_text(view: RecordingView) -> str:
    """Say what the figure shows, from its numbers."""
    parts = [f"{view.title}: {view.answer}."]
    if view.transmit_db is None:
        parts.append(f"No levels: {view.no_levels}.")
    else:
        levels = (*view.transmit_db, *(view.receive_db or ()))
        parts.append(
            f"Levels of the elements from {min(levels):.1f} to {max(levels) + 0.0:.1f} dB."
        )
    if view.residual_db is None:
        parts.append(f"No reciprocity: {view.no_residual}.")
    else:
        worst = float(np.nanmax(view.residual_db))
        parts.append(f"Reciprocal signals differ by at most {worst:.1f} dB.")
    share = float(np.mean(view.clipped_fraction > 0.0))
    parts.append(f"{number(100 * share)} % of the pairs hold clipped samples.")
    return " ".join(parts)


def _keys(view: RecordingView) -> list[Key]:
    if view.transmit_db is None:
        return []
    apart = view.receive_db is not None
    keys = [Key("as transmitter" if apart else "transmitter and receiver together", SENT)]
    if apart:
        keys.append(Key("as receiver", HEARD))
    return [*keys, Key(f"dead below {number(view.dead_db)} dB", DEAD)]


def _draw_levels(page: Axes, view: RecordingView, top: float, width_mm: float) -> None:
    if view.transmit_db is None:
        write_lines(page, LEFT_MM, top + 4.0, wrap(f"No levels: {view.no_levels}.", width_mm - 20))
        return
    axes = frame(page, LEFT_MM, top, width_mm - LEFT_MM - 2.0, LEVELS_MM, "levels")
    elements = np.arange(1, len(view.transmit_db) + 1)
    shown = [("transmit", view.transmit_db, SENT), ("receive", view.receive_db, HEARD)]
    for name, levels, look in shown:
        if levels is not None:
            axes.plot(elements, np.maximum(levels, LOWEST_DB), **look, gid=name, clip_on=False)
    axes.axhline(view.dead_db, **DEAD)
    highest = max(level for _, levels, _ in shown if levels for level in levels)
    axes.set_ylim(LOWEST_DB, max(3.0, highest + 2.0))
    axes.set_xlim(0.0, len(elements) + 1.0)
    _ticks(axes, "x", linear_ticks(1.0, float(len(elements)), 8))
    _ticks(axes, "y", linear_ticks(LOWEST_DB, max(0.0, highest)))
    write(page, LEFT_MM + (width_mm - LEFT_MM) / 2, top + LEVELS_MM + 4.2, "element", ha="center")
    write(page, 1.0, top + LEVELS_MM / 2, "level, dB", rotation=90, va="center")


def _draw_map(
    page: Axes,
    values: Map | None,
    place: tuple[float, float],
    title: str,
    ends: tuple[float, float],
    reason: str,
) -> None:
    left, top = place
    write(page, left, top, title, bold=True)
    if values is None:
        write_lines(page, left, top + 6.0, wrap(f"Not shown: {reason}.", MAP_MM))
        return
    top += 5.0
    axes = frame(page, left, top, MAP_MM, MAP_MM, title)
    reach = (0.5, values.shape[1] + 0.5, values.shape[0] + 0.5, 0.5)
    drawn = axes.imshow(
        np.ma.masked_invalid(values), cmap=DARKER, vmin=ends[0], vmax=ends[1], extent=reach,
        interpolation="nearest", aspect="auto",
    )  # fmt: skip
    drawn.set_gid(title.split(":")[0])
    ticks = linear_ticks(1.0, float(values.shape[0]), 6)
    _ticks(axes, "x", ticks)
    _ticks(axes, "y", ticks)
    write(page, left + MAP_MM / 2, top + MAP_MM + 4.2, "receiving element", ha="center")
    write(page, left - 9.0, top + MAP_MM / 2, "transmitting element", rotation=90, va="center")
    _draw_bar(page, (left + MAP_MM + 2.0, top), ends)


def _draw_bar(page: Axes, place: tuple[float, float], ends: tuple[float, float]) -> None:
    bar = frame(page, *place, BAR_MM, MAP_MM, f"bar {place[0]:.0f}")
    bar.imshow(
        np.linspace(1.0, 0.0, 128)[:, None], cmap=DARKER, vmin=0.0, vmax=1.0, aspect="auto",
        extent=(0.0, 1.0, ends[0], ends[1]),
    )  # fmt: skip
    bar.set_xticks([])
    bar.yaxis.tick_right()
    _ticks(bar, "y", linear_ticks(*ends, 5))
    for spine in bar.spines.values():
        spine.set_color(GREY)


def _ticks(axes: Axes, side: str, values: list[float]) -> None:
    axis = axes.xaxis if side == "x" else axes.yaxis
    axis.set_ticks(values, [number(value) for value in values])
    for label in axis.get_ticklabels():
        label.set_fontsize(SMALL_PT)

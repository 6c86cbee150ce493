"""POD curves of up to four modes on one pair of axes, with the hits and misses behind each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from qualify.figures.modes_pod_panel import (
    LETTERS,
    ModePod,
    draw_modes,
    height_mm,
    line_style,
    mark_style,
    modes_scale,
)
from qualify.figures.page import (
    Key,
    draw_legend,
    legend_height_mm,
    legend_rows,
    line_height_mm,
    new_page,
    size,
    words_only,
    wrap,
    write,
    write_header,
    write_lines,
)
from qualify.figures.palette import BAND, GREY, PAPER, TEXT_PT, TINT, TITLE_PT, styled
from qualify.figures.scale import with_unit

__all__ = ["ModePod", "ModesPodView", "draw_modes_pod", "modes_pod_alt_text"]

MOST = 4
LEFT_MM, RIGHT_MM = 13.0, 5.0
SAMPLE_MM = 20.0  # letter, line and mark of a mode before its words
NOTHING = "No mode to show: nothing was tested."


@dataclass(frozen=True, slots=True)
class ModesPodView:
    """Modes on one axis of sizes, which is logarithmic.

    Raises
    ------
    ValueError
        If there are more than four modes.
    """

    title: str
    size_label: str
    size_unit: str
    modes: tuple[ModePod, ...]

    def __post_init__(self) -> None:
        if len(self.modes) > MOST:
            msg = f"a figure shows up to {MOST} modes on one plot, found {len(self.modes)}"
            raise ValueError(msg)


def _value(view: ModesPodView, value: float) -> str:
    return f"{size(value)} {view.size_unit}".rstrip()


def _words(view: ModesPodView, mode: ModePod) -> str:
    """Return counts, a90 and a90/95 of a mode, or why there is none."""
    scale = modes_scale(view.modes)
    told = f"{mode.name}: {len(mode.hits)} of {len(mode.hits) + len(mode.misses)} found; "
    if not mode.sizes:
        return f"{told}no curve: {mode.reason}"
    parts = []
    for name, value, reason in (
        ("a90", mode.a90, mode.no_a90),
        ("a90/95", mode.a90_95, mode.no_a90_95),
    ):
        if value is None:
            parts.append(f"no {name}: {reason}")
            continue
        beyond = "" if scale.shows(value) else " (outside the axis)"
        parts.append(f"{name} {_value(view, value)}{beyond}")
    return told + ("; " if any(": " in part for part in parts) else ", ").join(parts)


def _keys(modes: Sequence[ModePod]) -> list[Key]:
    dot: dict[str, Any] = {
        "linestyle": "none", "marker": "o", "markersize": 3.2, "color": GREY,
        "markerfacecolor": GREY, "markeredgewidth": 0.8,
    }  # fmt: skip
    hollow = {**dot, "markerfacecolor": PAPER}
    keys = [
        Key("filled, above 1: hit", dot),
        Key("hollow, below 0: miss", hollow),
    ]
    fitted = [mode for mode in modes if mode.sizes]
    if any(mode.a90 is not None for mode in fitted):
        keys.append(Key("filled, on the line at 0.9: a90", {**dot, "markersize": 5.0}))
    if any(mode.a90_95 is not None for mode in fitted):
        words = "hollow, on that line: a90/95, one-sided 95 % upper bound on a90"
        keys.append(Key(words, {**hollow, "markersize": 5.0}))
    if any(mode.lower for mode in fitted):
        words = "down to the one-sided 95 % lower bound on POD"
        keys.append(Key(words, {"fc": TINT, "ec": BAND, "lw": 0.5}, patch=True))
    if any(mode.outside() for mode in fitted):
        keys.append(Key("thin: outside the sizes tested", {"color": GREY, "linewidth": 0.6}))
    return keys


def _draw_sample(page: Axes, left: float, top: float, k: int, mode: ModePod) -> None:
    """Draw letter, line (where a curve was fitted) and mark of a mode."""
    middle = top + 0.4 * line_height_mm(TEXT_PT)
    write(page, left, top, LETTERS[k], bold=True, color=line_style(k)["color"])
    if mode.sizes:
        page.add_line(Line2D([left + 3.5, left + 13.0], [middle] * 2, **line_style(k)))
    page.add_line(Line2D([left + 15.8], [middle], **mark_style(k, filled=True, size_pt=4.0)))


@styled
def draw_modes_pod(view: ModesPodView, *, width_mm: float = 170.0, mark: str = "") -> Figure:
    """Draw all curves on one plot; hits stand in a row of each mode above it, misses below.

    A mode without a curve has its hits and misses and, below the axes, the reason in words.
    """
    if not view.modes:
        return words_only(NOTHING, width_mm, mark=mark)
    head = [(line, TITLE_PT, True) for line in wrap(view.title, width_mm - 2, TITLE_PT, bold=True)]
    words_mm = width_mm - SAMPLE_MM - 2.0
    told = [wrap(_words(view, mode), words_mm, TEXT_PT) for mode in view.modes]
    step = line_height_mm(TEXT_PT)
    legend = legend_rows(_keys(view.modes), width_mm - 2.0)
    top = 0.5 + len(head) * line_height_mm(TITLE_PT) + 1.5
    deep = height_mm(len(view.modes))
    rows = sum(len(lines) * step + 0.8 for lines in told)
    height = top + deep + 9.0 + rows + 1.5 + legend_height_mm(legend) + 1.0
    figure, page = new_page(width_mm, height, mark=mark)
    write_header(page, 1.0, 0.5, head)
    inner = width_mm - LEFT_MM - RIGHT_MM
    draw_modes(page, view.modes, (LEFT_MM, top, inner, deep))
    label = with_unit(view.size_label, view.size_unit)
    write(page, LEFT_MM + inner / 2, top + deep + 4.2, label, ha="center")
    y = top + deep + 9.0
    for k, (mode, lines) in enumerate(zip(view.modes, told, strict=True)):
        _draw_sample(page, 1.0, y, k, mode)
        y = write_lines(page, 1.0 + SAMPLE_MM, y, lines) + 0.8
    page.add_line(Line2D([1.0, width_mm - 1.0], [y + 0.1] * 2, color=BAND, linewidth=0.5))
    draw_legend(page, legend, 1.0, y + 1.5)
    return figure


def modes_pod_alt_text(view: ModesPodView) -> str:
    """Return words for the figure: counts, a90 and a90/95 of each mode, or the reason for none."""
    if not view.modes:
        return NOTHING
    told = [_words(view, mode).rstrip(".") + "." for mode in view.modes]
    return " ".join([f"Probability of detection against size, {view.title}.", *told])

"""Colours, markers, line styles and the bytes of a figure.

Every kind of mark differs from the others by shape first, by lightness second and by hue last,
so that a figure survives a grey printer and every common colour vision. Sizes are for the printed
figure: no text is smaller than `SMALL_PT`.
"""

import functools
import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ParamSpec

from matplotlib import style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

MM_PER_INCH = 25.4
PNG_DPI = 150
SMALL_PT = 6.5
TEXT_PT = 7.0
TITLE_PT = 8.0
FAMILY = "DejaVu Sans"

INK = "#1b2430"
GREY = "#5c6570"
RULE = "#98a1ab"
TINT = "#e9edf1"
BAND = "#d3dce6"
PAPER = "#ffffff"
HIT = "#134b78"
MISS = "#bf5a17"
FALSE_CALL = "#a98bc0"
LIMIT = "#8c1d40"

Dash = tuple[float, tuple[float, ...]]
SOLID: Dash = (0.0, ())
OUTSIDE: Dash = (0.0, (4.0, 2.2))
BOUND: Dash = (0.0, (7.0, 1.6, 1.2, 1.6))
BOUND_OUTSIDE: Dash = (0.0, (1.2, 1.8))
ESTIMATE_MARK: Dash = (0.0, (2.4, 1.4))
LIMIT_MARK: Dash = (0.0, (10.0, 2.0))


@dataclass(frozen=True, slots=True)
class Mark:
    """How one kind of observation is drawn; `filled` also tells it apart without colour."""

    marker: str
    colour: str
    filled: bool
    size_pt: float = 3.4

    def style(self, size_pt: float | None = None) -> dict[str, Any]:
        """Keyword arguments of a line that shows only its markers."""
        return {
            "linestyle": "none",
            "marker": self.marker,
            "color": self.colour,
            "markerfacecolor": self.colour if self.filled else PAPER,
            "markeredgecolor": self.colour,
            "markeredgewidth": 0.8,
            "markersize": self.size_pt if size_pt is None else size_pt,
        }


MARKS = {
    "hit": Mark("o", HIT, filled=True),
    "miss": Mark("x", MISS, filled=False),
    "false_call": Mark("D", FALSE_CALL, filled=False),
    "unsized": Mark("^", FALSE_CALL, filled=False, size_pt=4.0),
    "recorded": Mark("s", HIT, filled=True, size_pt=4.5),
    "declared": Mark("^", MISS, filled=False, size_pt=5.0),
    "not recorded": Mark("x", LIMIT, filled=False, size_pt=4.5),
}

STYLE: dict[str, Any] = {
    "font.family": [FAMILY],
    "font.size": TEXT_PT,
    "text.color": INK,
    "text.parse_math": False,
    "text.usetex": False,
    "text.hinting": "none",
    "axes.unicode_minus": True,
    "axes.edgecolor": GREY,
    "axes.linewidth": 0.6,
    "hatch.linewidth": 0.4,
    "path.simplify": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "qualify",
    "pdf.fonttype": 42,
    "pdf.compression": 6,
}


@dataclass(frozen=True, slots=True)
class Rendered:
    """A figure in its three forms; `png` has `PNG_DPI` dots per inch."""

    svg: bytes
    png: bytes
    pdf: bytes


P = ParamSpec("P")


def styled(build: Callable[P, Figure]) -> Callable[P, Figure]:
    """Run a figure function under our own style, whatever the user's settings are."""

    @functools.wraps(build)
    def inside(*args: P.args, **kwargs: P.kwargs) -> Figure:
        with style.context(STYLE, after_reset=True):
            return build(*args, **kwargs)

    return inside


def new_figure(width_mm: float, height_mm: float) -> Figure:
    """Return an empty white figure of the printed size, with an Agg canvas and no window.

    Raises
    ------
    ValueError
        If a side is not positive.
    """
    if not (width_mm > 0 and height_mm > 0):
        msg = f"a figure needs a positive width and height, found {width_mm} x {height_mm} mm"
        raise ValueError(msg)
    size_inch = (width_mm / MM_PER_INCH, height_mm / MM_PER_INCH)
    figure = Figure(figsize=size_inch, dpi=PNG_DPI, facecolor=PAPER)
    FigureCanvasAgg(figure)
    return figure


def _bytes(figure: Figure, form: str, metadata: dict[str, Any]) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format=form, dpi=PNG_DPI, metadata=metadata, facecolor=PAPER)
    return out.getvalue()


def render(figure: Figure) -> Rendered:
    """Return the figure as SVG, PNG and PDF with neither date nor maker inside.

    The bytes are the same in every process, time zone and hash seed of one environment. Letters
    are outlines in the SVG, so that it looks the same without our font, and an embedded font in
    the PDF, so that they can be searched.
    """
    undated = {"Date": None, "Creator": None}
    unmade = {"CreationDate": None, "Producer": None, "Creator": None}
    with style.context(STYLE, after_reset=True):
        svg = _bytes(figure, "svg", undated)
        png = _bytes(figure, "png", {"Software": None})
        pdf = _bytes(figure, "pdf", unmade)
    return Rendered(svg, png, pdf)

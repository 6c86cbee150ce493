"""Figures ready for the page: rendered once, placed once."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from matplotlib import style
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer

from qualify.dossier.figures import Drawing
from qualify.dossier.place import FigureBox, Places
from qualify.dossier.style import CAPTION
from qualify.dossier.words import clean
from qualify.figures.palette import PAPER, PNG_DPI, STYLE

UNDATED = {"CreationDate": None, "Producer": None, "Creator": None}


@dataclass(frozen=True, slots=True)
class Pictures:
    """Rendered figures, their words, and where the layout puts them.

    Attributes
    ----------
    svg, png : by name.
    pdf : one document with a page a figure, in the order of `sizes_pt`; one document, so that
        all figures share one embedded font.
    sizes_pt : width and height by name.
    """

    svg: Mapping[str, bytes]
    png: Mapping[str, bytes]
    pdf: bytes
    sizes_pt: Mapping[str, tuple[float, float]]
    alt_texts: dict[str, str]
    places: Places

    def on_page(self, name: str, caption: str, *, bookmark: str = "") -> list[Flowable]:
        """Return a figure with its caption, kept together; nothing where there is none.

        A figure without caption may have a bookmark.
        """
        if name not in self.sizes_pt:
            return []
        box = FigureBox(name, self.sizes_pt[name], self.places, bookmark)
        if not caption:
            return [box, Spacer(1, 4)]
        return [KeepTogether([box, Paragraph(clean(caption), CAPTION)])]


def pictures_of(drawings: Sequence[Drawing], *, files: bool = True) -> Pictures:
    """Render every figure once; the bytes hold neither date nor maker.

    files : whether each is also rendered as a file of its own, SVG and PNG.
    """
    svg, png, sizes = {}, {}, {}
    pages = io.BytesIO()
    with style.context(STYLE, after_reset=True), PdfPages(pages, metadata=dict(UNDATED)) as book:
        for drawing in drawings:
            figure = drawing.draw()
            if files:
                svg[drawing.name] = _bytes(figure, "svg", {"Date": None, "Creator": None})
                png[drawing.name] = _bytes(figure, "png", {"Software": None})
            book.savefig(figure, facecolor=PAPER)
            width, height = figure.get_size_inches()
            sizes[drawing.name] = (float(width) * 72, float(height) * 72)
    alt_texts = {drawing.name: drawing.alt_text for drawing in drawings}
    return Pictures(svg, png, pages.getvalue(), sizes, alt_texts, Places())


def _bytes(figure: Figure, form: str, metadata: dict[str, Any]) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format=form, dpi=PNG_DPI, metadata=metadata, facecolor=PAPER)
    return out.getvalue()

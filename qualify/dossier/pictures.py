"""Figures ready for the page: rendered once, placed once."""

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer

from qualify.dossier.figures import Drawing
from qualify.dossier.place import FigureBox, Places, size_pt
from qualify.dossier.style import CAPTION
from qualify.dossier.words import clean
from qualify.figures.palette import Rendered, render


@dataclass(frozen=True, slots=True)
class Pictures:
    """Rendered figures by name, their words, and where the layout put them."""

    rendered: dict[str, Rendered]
    alt_texts: dict[str, str]
    places: Places

    def on_page(self, name: str, caption: str, *, bookmark: str = "") -> list[Flowable]:
        """Return a figure with its caption, kept together; nothing where there is none.

        A figure without caption may have a bookmark.
        """
        if name not in self.rendered:
            return []
        box = FigureBox(name, size_pt(self.rendered[name].pdf), self.places, bookmark)
        if not caption:
            return [box, Spacer(1, 4)]
        return [KeepTogether([box, Paragraph(clean(caption), CAPTION)])]


def pictures_of(drawings: Sequence[Drawing]) -> Pictures:
    """Render every figure once."""
    return Pictures(
        {drawing.name: render(drawing.draw()) for drawing in drawings},
        {drawing.name: drawing.alt_text for drawing in drawings},
        Places(),
    )

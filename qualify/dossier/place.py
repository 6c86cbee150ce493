"""Vector figures: boxes kept free by the layout, then filled with the figures' own pages."""

import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import pikepdf
from reportlab.platypus import Flowable

from qualify.dossier.style import HEIGHT_MM, MM, WIDTH_MM


@dataclass(slots=True)
class Places:
    """Where figures came to stand: name, page (from 1), x, y, width, height in points."""

    at: dict[str, tuple[int, float, float, float, float]] = field(default_factory=dict)


class FigureBox(Flowable):  # type: ignore[misc]
    """Keeps room for a figure of its own size, smaller only where it would not fit a page."""

    def __init__(
        self, name: str, size_pt: tuple[float, float], places: Places, bookmark: str = ""
    ) -> None:
        super().__init__()
        self.name, self.places, self.bookmark = name, places, bookmark
        most = (WIDTH_MM * MM, (HEIGHT_MM - 25) * MM)
        scale = min(1.0, most[0] / size_pt[0], most[1] / size_pt[1])
        self.width, self.height = size_pt[0] * scale, size_pt[1] * scale

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Return the size of the box."""
        return (self.width, self.height)

    def draw(self) -> None:
        """Note the place; make the bookmark."""
        if self.bookmark:
            key = f"figure-{self.name}"
            self.canv.bookmarkHorizontal(key, 0, self.height)
            self.canv.addOutlineEntry(self.bookmark, key, 2, closed=True)
        x, y = self.canv.absolutePosition(0, 0)
        self.places.at[self.name] = (self.canv.getPageNumber(), x, y, self.width, self.height)


def size_pt(pdf: bytes) -> tuple[float, float]:
    """Return the width and height of a figure's page in points."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        box = document.pages[0].mediabox
        return (float(box[2]) - float(box[0]), float(box[3]) - float(box[1]))


def finished(pages: bytes, places: Places, figures: Mapping[str, bytes], title: str) -> bytes:
    """Put the figures in their boxes and save; the same input gives the same bytes."""
    with pikepdf.open(io.BytesIO(pages)) as document:
        opened = []
        for name, (page, x, y, width, height) in sorted(places.at.items()):
            source = pikepdf.open(io.BytesIO(figures[name]))
            opened.append(source)
            document.pages[page - 1].add_overlay(
                source.pages[0], pikepdf.Rectangle(x, y, x + width, y + height)
            )
        document.Root.Lang = pikepdf.String("en-GB")
        document.Root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
        document.docinfo["/Title"] = title
        out = io.BytesIO()
        document.save(
            out,
            deterministic_id=True,
            compress_streams=True,
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
        )
        for source in opened:
            source.close()
    return out.getvalue()

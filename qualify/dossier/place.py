"""Vector figures: boxes kept free by the layout, then filled with the figures' own pages."""

import io
from collections.abc import Sequence
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


def finished(
    pages: bytes, places: Places, figures: bytes, names: Sequence[str], title: str
) -> bytes:
    """Put the figures in their boxes and save; the same input gives the same bytes.

    `figures` is a document with a page for each of `names`.
    """
    with (
        pikepdf.open(io.BytesIO(pages)) as document,
        pikepdf.open(io.BytesIO(figures)) as source,
    ):
        for number, name in enumerate(names):
            if name not in places.at:
                continue
            _put(document, source.pages[number], f"/Figure{number}", places.at[name])
        document.Root.Lang = pikepdf.String("en-GB")
        document.Root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
        document.docinfo["/Title"] = title
        for key in ("/CreationDate", "/ModDate", "/Keywords", "/Author"):
            if key in document.docinfo:
                del document.docinfo[key]  # the maker's stand-ins, not facts
        out = io.BytesIO()
        document.save(
            out,
            deterministic_id=True,
            compress_streams=True,
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
        )
    return out.getvalue()


def _put(
    document: pikepdf.Pdf,
    figure: pikepdf.Page,
    name: str,
    place: tuple[int, float, float, float, float],
) -> None:
    """Draw a figure's page in its box, under a name of our own: pikepdf's are drawn at random."""
    number, x, y, width, height = place
    page = document.pages[number - 1]
    box = [float(edge) for edge in figure.mediabox]
    form = document.copy_foreign(figure.as_form_xobject())
    page.add_resource(form, pikepdf.Name.XObject, pikepdf.Name(name))
    across, up = width / (box[2] - box[0]), height / (box[3] - box[1])
    matrix = f"{across:.6f} 0 0 {up:.6f} {x:.4f} {y:.4f} cm"
    page.contents_add(b"q\n", prepend=True)
    page.contents_add(f"\nQ\nq {matrix} {name} Do Q\n".encode())

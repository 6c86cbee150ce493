"""The page: margins fit for punching, footer, headings with bookmarks, contents."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    PageBreak,
    PageTemplate,
    Paragraph,
    Table,
    TableStyle,
)
from reportlab.platypus.doctemplate import IndexingFlowable
from reportlab.platypus.tableofcontents import TableOfContents

from qualify.dossier.style import (
    BODY,
    BOLD,
    BOTTOM_MM,
    BULLET,
    CHAPTER,
    CONTENTS,
    FONT,
    GREY_COLOUR,
    HEIGHT_MM,
    INK_COLOUR,
    LEFT_MM,
    MM,
    PAGE_HEIGHT,
    PAGE_WIDTH,
    RIGHT_MM,
    RULE_COLOUR,
    SECTION,
    SMALL,
    WIDTH_MM,
    register_fonts,
)
from qualify.dossier.words import clean

WHOLE_MM, FIRST_ROWS = 70.0, 4
"""A table up to this height stays with its heading; of a taller one, so many rows."""


@dataclass(frozen=True, slots=True)
class Footer:
    """What stands at the foot of every page; `mark` in a frame, as SYNTHETIC, or nothing."""

    study: str
    revision: str
    results_sha256: str
    mark: str
    digest_of: str = "results.json"


class Heading(Paragraph):  # type: ignore[misc]
    """A heading that makes a bookmark and a line of the contents.

    `label` is what both say where it is not the heading's own text.
    """

    def __init__(
        self,
        text: str,
        level: int,
        *,
        label: str = "",
        style: ParagraphStyle | None = None,
    ) -> None:
        super().__init__(clean(text), style or (CHAPTER, SECTION)[level])
        self.label = label or text
        self.level = level
        self.key = ""


class PageTotal(IndexingFlowable):  # type: ignore[misc]
    """Knows how many pages the last pass came to, and asks for another until it holds."""

    def __init__(self) -> None:
        super().__init__()
        self.total = 0
        self.counted = 0

    def isIndexing(self) -> int:  # noqa: D102
        return 1

    def isSatisfied(self) -> bool:  # noqa: D102
        return self.total == self.counted

    def beforeBuild(self) -> None:  # noqa: D102
        self.total, self.counted = self.counted, 0

    def notify(self, kind: str, stuff: Any) -> None:  # noqa: D102
        if kind == "Page":
            self.counted = int(stuff)

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:  # noqa: D102
        return (0.0, 0.0)

    def draw(self) -> None:  # noqa: D102
        return


class Template(BaseDocTemplate):  # type: ignore[misc]
    """A4 pages with our footer; the same story gives the same bytes."""

    def __init__(self, stream: io.BytesIO, title: str, footer: Footer, total: PageTotal) -> None:
        register_fonts()
        super().__init__(
            stream,
            pagesize=(PAGE_WIDTH, PAGE_HEIGHT),
            title=title,
            author="",
            subject=f"study {footer.study}, revision {footer.revision}",
            creator="qualify",
            lang="en-GB",
            invariant=1,
            initialFontName=FONT,
            allowSplitting=1,
        )
        frame = Frame(
            LEFT_MM * MM, BOTTOM_MM * MM, WIDTH_MM * MM, HEIGHT_MM * MM,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0, id="body",
        )  # fmt: skip
        self.addPageTemplates(PageTemplate("page", [frame], onPage=self._foot))
        self.footer, self.total = footer, total

    def afterFlowable(self, flowable: Flowable) -> None:
        """Bookmark a heading and list it in the contents."""
        if not isinstance(flowable, Heading):
            return
        canvas = self.canv
        canvas.bookmarkPage(flowable.key, fit="FitH", top=PAGE_HEIGHT)
        canvas.addOutlineEntry(flowable.label, flowable.key, flowable.level, closed=True)
        entry = (flowable.level, clean(flowable.label), self.page, flowable.key)
        self.notify("TOCEntry", entry)

    def afterPage(self) -> None:
        """Count the page."""
        self.notify("Page", self.page)

    def _foot(self, canvas: Canvas, _template: BaseDocTemplate) -> None:
        footer = self.footer
        y, right = 11.0 * MM, PAGE_WIDTH - RIGHT_MM * MM
        canvas.saveState()
        canvas.setStrokeColor(RULE_COLOUR)
        canvas.setLineWidth(0.4)
        canvas.line(LEFT_MM * MM, y + 9, right, y + 9)
        canvas.setFillColor(GREY_COLOUR)
        canvas.setFont(FONT, 6.5)
        name = _short(f"{footer.study} · revision {footer.revision}", 70)
        canvas.drawString(LEFT_MM * MM, y, name)
        canvas.drawString(LEFT_MM * MM, y - 8.5, f"{footer.digest_of} {footer.results_sha256[:16]}")
        canvas.drawRightString(right, y, f"page {self.page} of {self.total.total or self.page}")
        if footer.mark:
            canvas.setFillColor(INK_COLOUR)
            canvas.setStrokeColor(INK_COLOUR)
            canvas.setFont(BOLD, 8)
            middle = (LEFT_MM + WIDTH_MM / 2) * MM
            half = 0.5 * canvas.stringWidth(footer.mark, BOLD, 8) + 6
            canvas.rect(middle - half, y - 10, 2 * half, 13, stroke=1, fill=0)
            canvas.drawCentredString(middle, y - 6.5, footer.mark)
        canvas.restoreState()


def _short(text: str, most: int) -> str:
    printable = "".join(c if c.isprintable() else " " for c in text)
    return printable if len(printable) <= most else printable[: most - 1] + "…"


def contents() -> TableOfContents:
    """Return the table of contents, filled by the headings."""
    style = TableStyle(
        [
            ("FONTNAME", (0, 0), (-1, -1), FONT),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("RIGHTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 0.4),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 0.4),
        ]
    )
    return TableOfContents(
        levelStyles=list(CONTENTS), dotsMinLevel=0, rightColumnWidth=30, tableStyle=style
    )


def kept(story: Sequence[Flowable]) -> list[Flowable]:
    """Return the story with room asked for before headings, so that none parts from its matter."""
    out: list[Flowable] = []
    for i, flowable in enumerate(story):
        if isinstance(flowable, Heading) and not (i and isinstance(story[i - 1], Heading)):
            out.append(CondPageBreak(_room(story[i:])))
        out.append(flowable)
    return out


def _room(story: Sequence[Flowable]) -> float:
    """Return the height of headings, the text under them and the start of what follows."""
    width, high = WIDTH_MM * MM, HEIGHT_MM * MM
    total, texts = 0.0, 0
    for flowable in story:
        if isinstance(flowable, CondPageBreak):
            continue
        if isinstance(flowable, PageBreak | TableOfContents):
            break
        total += _tall(flowable, width, high) + flowable.getSpaceBefore()
        if not isinstance(flowable, Paragraph):
            break
        texts += not isinstance(flowable, Heading)
        if texts >= 3:
            break
        total += flowable.getSpaceAfter()
    return min(total + 2.0, high)


def _tall(flowable: Flowable, width: float, high: float) -> float:
    """Return the height of a flowable, of a tall table only that of its first rows."""
    if isinstance(flowable, KeepTogether):
        return sum(_tall(part, width, high) for part in flowable._content)
    tall = float(flowable.wrap(width, high)[1])
    if isinstance(flowable, Table) and tall > WHOLE_MM * MM:
        return float(sum(flowable._rowHeights[:FIRST_ROWS]))
    return tall


def build_pages(
    story: Sequence[Flowable], title: str, footer: Footer, total: PageTotal
) -> tuple[bytes, int]:
    """Lay out the story; return the PDF and the number of its pages."""
    headings = [f for f in story if isinstance(f, Heading)]
    for number, heading in enumerate(headings):
        heading.key = f"heading-{number}"
    for listed in (f for f in story if isinstance(f, TableOfContents)):
        for heading in headings:  # takes its room in the first pass already, so that two will do
            listed.addEntry(heading.level, clean(heading.label), 0, heading.key)
    stream = io.BytesIO()
    template = Template(stream, title, footer, total)
    template.multiBuild([*kept(story), total], maxPasses=8)
    return stream.getvalue(), total.counted


def chapter(text: str, need_mm: float = 60.0) -> list[Flowable]:
    """Return a chapter's heading, on a new page where little room is left."""
    return [CondPageBreak(need_mm * MM), Heading(text, 0)]


def section(text: str, need_mm: float = 38.0) -> list[Flowable]:
    """Return a section's heading, never alone at the foot of a page."""
    return [CondPageBreak(need_mm * MM), Heading(text, 1)]


def body(text: str) -> Paragraph:
    """Return a paragraph of plain text."""
    return Paragraph(clean(text), BODY)


def small(text: str) -> Paragraph:
    """Return a paragraph in small print."""
    return Paragraph(clean(text), SMALL)


def bullets(texts: Sequence[str]) -> list[Flowable]:
    """Return a list with dashes."""
    return [Paragraph(clean(text), BULLET, bulletText="–") for text in texts]

"""Tables on the page: paragraphs in cells, headers repeated over pages, thin rules."""

from collections.abc import Sequence
from typing import Any, TypeAlias

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Paragraph, Table, TableStyle

from qualify.dossier.style import (
    CELL,
    CELL_CENTRE,
    CELL_RIGHT,
    FONT,
    HEAD,
    HEAD_CENTRE,
    HEAD_RIGHT,
    MM,
    RED,
    RULE_COLOUR,
    TINT_COLOUR,
    WIDTH_MM,
)
from qualify.dossier.words import clean

Cell: TypeAlias = str | Paragraph
STYLES = {"l": (CELL, HEAD), "r": (CELL_RIGHT, HEAD_RIGHT), "c": (CELL_CENTRE, HEAD_CENTRE)}
LONG = 1200
SHORT_ROWS, SHORT_TEXT = 8, 1500
KEPT = 2
"""So many rows stay together at the head and at the foot of a table that breaks."""
PAD_PT, WORD_MOST_PT = 7.5, 130.0


def grid(
    heads: Sequence[Cell],
    rows: Sequence[Sequence[Cell]],
    widths_mm: Sequence[float],
    *,
    align: str = "",
    bars: Sequence[int] = (),
    extra: Sequence[tuple[Any, ...]] = (),
) -> Table:
    """Return a table; text is escaped, a cell that is a Paragraph stands as it is.

    Parameters
    ----------
    widths_mm : of the columns; stretched to the page's width.
    align : a letter a column, l, r or c; l where it ends.
    bars : rows, counted from 0 without the header, that get a red bar at their left.
    extra : further commands of a reportlab table style.
    """
    letters = [align[i] if i < len(align) else "l" for i in range(len(heads))]
    body = [[_cell(text, STYLES[c][1]) for text, c in zip(heads, letters, strict=True)]]
    body += [[_cell(t, STYLES[c][0]) for t, c in zip(row, letters, strict=True)] for row in rows]
    commands = [*_base(), *extra, *_together(rows)]
    commands += [("LINEBEFORE", (0, i + 1), (0, i + 1), 3.5, RED) for i in bars]
    long = any(isinstance(cell, str) and len(cell) > LONG for row in rows for cell in row)
    return Table(
        body,
        colWidths=_widths(heads, rows, widths_mm, letters),
        repeatRows=1,
        style=TableStyle(commands),
        hAlign="LEFT",
        splitInRow=int(long),
        spaceBefore=2,
        spaceAfter=6,
    )


def bold(text: str, *, align: str = "r") -> Paragraph:
    """Return a cell in bold type."""
    return Paragraph(f"<b>{clean(text)}</b>", STYLES[align][0])


def facts(rows: Sequence[tuple[str, Cell]], first_mm: float = 42.0) -> Table:
    """Return a two-column table of a name and what stands for it."""
    body = [[_cell(name, HEAD), _cell(value, CELL)] for name, value in rows]
    long = any(isinstance(value, str) and len(value) > LONG for _, value in rows)
    return Table(
        body,
        colWidths=[first_mm * MM, (WIDTH_MM - first_mm) * MM],
        style=TableStyle(_base(header=False)),
        hAlign="LEFT",
        splitInRow=int(long),
        spaceBefore=2,
        spaceAfter=6,
    )


def _together(rows: Sequence[Sequence[Cell]]) -> list[tuple[Any, ...]]:
    """Keep a short table whole, and never leave one row of a long one alone."""
    texts = [cell for row in rows for cell in row if isinstance(cell, str)]
    if any(len(text) > LONG / 3 for text in texts):
        return []
    if len(rows) <= SHORT_ROWS and sum(map(len, texts)) < SHORT_TEXT:
        return [("NOSPLIT", (0, 0), (-1, -1))]
    last = len(rows)
    if last <= 2 * KEPT:
        return []
    return [("NOSPLIT", (0, 0), (-1, KEPT)), ("NOSPLIT", (0, last - KEPT), (-1, last))]


def _widths(
    heads: Sequence[Cell],
    rows: Sequence[Sequence[Cell]],
    widths_mm: Sequence[float],
    letters: Sequence[str],
) -> list[float]:
    """Stretch columns to the page; widen those whose longest word would break."""
    stretch = WIDTH_MM * MM / sum(widths_mm)
    widths = [w * stretch for w in widths_mm]
    needs = [0.0] * len(heads)
    for level, row in enumerate((heads, *rows)):
        for i, (cell, c) in enumerate(zip(row, letters, strict=True)):
            if isinstance(cell, str):
                needs[i] = max(needs[i], _longest(cell, STYLES[c][0 if level else 1]))
    needs = [min(need, WORD_MOST_PT) + PAD_PT for need in needs]
    slack = sum(max(w - n, 0.0) for w, n in zip(widths, needs, strict=True))
    lack = sum(max(n - w, 0.0) for w, n in zip(widths, needs, strict=True))
    if not lack or lack > slack:
        return widths
    return [n if n > w else w - (w - n) * lack / slack for w, n in zip(widths, needs, strict=True)]


def _longest(text: str, style: ParagraphStyle) -> float:
    words = text.replace("\n", " ").split(" ")
    return max((stringWidth(word, style.fontName, style.fontSize) for word in words), default=0.0)


def _cell(content: Cell, style: Any) -> Paragraph:
    return content if isinstance(content, Paragraph) else Paragraph(clean(content), style)


def _base(*, header: bool = True) -> list[tuple[Any, ...]]:
    commands: list[tuple[Any, ...]] = [
        ("FONTNAME", (0, 0), (-1, -1), FONT),
        ("FONTSIZE", (0, 0), (-1, -1), 6.8),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2.5),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, RULE_COLOUR),
        ("LINEABOVE", (0, 0), (-1, 0), 0.6, RULE_COLOUR),
    ]
    if header:
        commands.append(("BACKGROUND", (0, 0), (-1, 0), TINT_COLOUR))
    return commands

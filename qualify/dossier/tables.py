"""Tables on the page: paragraphs in cells, headers repeated over pages, thin rules."""

from collections.abc import Sequence
from typing import Any, TypeAlias

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


def grid(
    heads: Sequence[str],
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
    stretch = WIDTH_MM / sum(widths_mm)
    body = [[_cell(text, STYLES[c][1]) for text, c in zip(heads, letters, strict=True)]]
    body += [[_cell(t, STYLES[c][0]) for t, c in zip(row, letters, strict=True)] for row in rows]
    commands = [*_base(), *extra]
    commands += [("LINEBEFORE", (0, i + 1), (0, i + 1), 3.5, RED) for i in bars]
    long = any(isinstance(cell, str) and len(cell) > LONG for row in rows for cell in row)
    return Table(
        body,
        colWidths=[w * stretch * MM for w in widths_mm],
        repeatRows=1,
        style=TableStyle(commands),
        hAlign="LEFT",
        splitInRow=int(long),
        spaceBefore=2,
        spaceAfter=6,
    )


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

"""Fonts, colours, paragraph styles and measures of the dossier's pages.

Only DejaVu is used, embedded; it comes with matplotlib, so that no font of the machine
decides how a page breaks.
"""

import functools
from pathlib import Path

import matplotlib
from reportlab.lib.colors import HexColor
from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from qualify.figures.palette import GREY, INK, LIMIT, RULE, TINT

MM = 72 / 25.4
PAGE_WIDTH, PAGE_HEIGHT = A4
LEFT_MM, RIGHT_MM, TOP_MM, BOTTOM_MM = 25.0, 15.0, 15.0, 20.0
WIDTH_MM = 170.0
HEIGHT_MM = 297.0 - TOP_MM - BOTTOM_MM

FONT, BOLD, ITALIC = "DejaVuSans", "DejaVuSans-Bold", "DejaVuSans-Oblique"
INK_COLOUR, GREY_COLOUR = HexColor(INK), HexColor(GREY)
RULE_COLOUR, TINT_COLOUR, RED = HexColor(RULE), HexColor(TINT), HexColor(LIMIT)


@functools.cache
def register_fonts() -> None:
    """Register the three DejaVu faces once a process."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (FONT, BOLD, ITALIC):
        pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=ITALIC, boldItalic=BOLD)


def _style(name: str, size: float, lead: float = 1.3, **more: object) -> ParagraphStyle:
    return ParagraphStyle(
        name,
        **{
            "fontName": FONT,
            "fontSize": size,
            "leading": size * lead,
            "textColor": INK_COLOUR,
            "bulletFontName": FONT,
            "splitLongWords": 1,
            "allowWidows": 0,
            "allowOrphans": 0,
            **more,
        },
    )


TITLE = _style("title", 13, fontName=BOLD, spaceAfter=3)
CHAPTER = _style("chapter", 13, fontName=BOLD, spaceBefore=12, spaceAfter=5)
SECTION = _style("section", 9.5, fontName=BOLD, spaceBefore=8, spaceAfter=3)
LEAD = _style("lead", 7.6, fontName=BOLD, spaceBefore=6, spaceAfter=2)
BODY = _style("body", 8, spaceAfter=4)
SMALL = _style("small", 7, spaceAfter=3)
CAPTION = _style("caption", 7, textColor=GREY_COLOUR, spaceBefore=2, spaceAfter=8)
BULLET = _style("bullet", 8, leftIndent=10, bulletIndent=1, spaceAfter=2.5)
CELL = _style("cell", 6.8, 1.25)
CELL_RIGHT = _style("cell-right", 6.8, 1.25, alignment=TA_RIGHT)
CELL_CENTRE = _style("cell-centre", 6.8, 1.25, alignment=TA_CENTER)
HEAD = _style("head", 6.5, 1.2, fontName=BOLD)
HEAD_RIGHT = _style("head-right", 6.5, 1.2, fontName=BOLD, alignment=TA_RIGHT)
HEAD_CENTRE = _style("head-centre", 6.5, 1.2, fontName=BOLD, alignment=TA_CENTER)
FACE = _style("face", 6.8, 1.16)
FACE_BOLD = _style("face-bold", 6.8, 1.16, fontName=BOLD)
CONTENTS = (
    _style("contents-1", 8, 1.2, spaceBefore=1.2, fontName=BOLD),
    _style("contents-2", 7, 1.12, leftIndent=14),
)

"""What every printed record shares: fonts that every printer has, text that they can set, a page with a foot.

The same record gives the same bytes on the same day's software: nothing in a file depends on when it was made.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, TableStyle

MARGIN = 12 * mm
WIDTH = A4[0] - 2 * MARGIN
RULES = [
    ("GRID", (0, 0), (-1, -1), 0.25, colors.grey),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("TOPPADDING", (0, 0), (-1, -1), 1.0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
    ("LEFTPADDING", (0, 0), (-1, -1), 2.5),
    ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
]
GRID = TableStyle(RULES)
HEADED = TableStyle([*RULES, ("BACKGROUND", (0, 0), (-1, 0), colors.Color(0.93, 0.92, 0.89))])


@lru_cache(maxsize=1)
def _fonts() -> TTFont:
    """The fonts that come with the PDF library, embedded so that every printer has them."""
    regular = TTFont("Warmgate", "Vera.ttf")
    pdfmetrics.registerFont(regular)
    pdfmetrics.registerFont(TTFont("Warmgate-Bold", "VeraBd.ttf"))
    return regular


def printable(text: str) -> str:
    """*text* in letters the font has: others lose their marks, and what is left over becomes a question mark."""
    glyphs = _fonts().face.charToGlyph
    out = []
    for letter in text:
        plain = letter if ord(letter) in glyphs else unicodedata.normalize("NFKD", letter)[:1]
        out.append(plain if ord(plain) in glyphs or plain == "\n" else "?")
    return "".join(out)


@lru_cache(maxsize=32)
def _style(size: float, bold: bool) -> ParagraphStyle:
    _fonts()
    return ParagraphStyle("w", fontName="Warmgate-Bold" if bold else "Warmgate", fontSize=size, leading=size * 1.2)


def text(words: str, size: float = 7.4, *, bold: bool = False) -> Paragraph:
    """A paragraph; what looks like markup is printed as it stands."""
    marked = escape(printable(words)).replace("\n", "<br/>")
    return Paragraph(marked, _style(size, bold))


def pdf_of(story: Sequence[Flowable], *, title: str, foot: str) -> bytes:
    """The pages of a story on A4, each with the foot and its number."""
    out = BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=title,
        author="warmgate",
        invariant=1,
    )

    def footer(canvas: Any, _: Any) -> None:
        canvas.setFont("Warmgate", 6)
        canvas.drawString(MARGIN, 7 * mm, printable(foot))
        canvas.drawRightString(A4[0] - MARGIN, 7 * mm, f"page {canvas.getPageNumber()}")

    document.build(list(story), onFirstPage=footer, onLaterPages=footer)
    return out.getvalue()

"""Write pages as PDF: the marks of each page as they are, letters embedded, the same bytes every time."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

from boxjoint import __version__
from boxjoint.errors import InputError
from boxjoint.export.papers.typeface import FONT_NAMES, font, printed, width_mm
from boxjoint.geometry.page import CircleMark, Mark, Page, PathMark, TextMark

__all__ = ["pages_pdf"]

#: A PDF counts in points of 1/72 in (ISO 32000-1, 8.3.2.3).
_POINTS = 72 / 25.4


def pages_pdf(pages: Sequence[Page], title: str, *, subject: str = "") -> bytes:
    """Return the pages as one PDF.

    Parameters
    ----------
    pages
        In their sequence; each may be of its own paper.
    title, subject
        Go into the document's own data, and tell readers what it is.

    Returns
    -------
    bytes
        Without a date and the same for the same pages. Printing programs are asked to print it as
        large as it is.

    Raises
    ------
    InputError
        There is no page.
    MissingExtra
        reportlab is not installed.
    """
    if not pages:
        raise InputError("a PDF needs a page")
    fonts = [font(bold) for bold in FONT_NAMES]  # first: says how to get reportlab
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfgen.canvas import Canvas

    for each in fonts:
        pdfmetrics.registerFont(each)
    out = BytesIO()
    paper = pages[0].paper
    canvas = Canvas(
        out,
        pagesize=(paper.wide * _POINTS, paper.high * _POINTS),
        invariant=1,
        pageCompression=1,
        initialFontName=FONT_NAMES[False],
        lang="en",
    )
    canvas.setTitle(printed(title))
    if subject:
        canvas.setSubject(printed(subject))
    canvas.setAuthor(f"boxjoint {__version__}")
    canvas.setCreator(f"boxjoint {__version__}")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    for page in pages:
        canvas.setPageSize((page.paper.wide * _POINTS, page.paper.high * _POINTS))
        for mark in page.marks:
            _draw(canvas, mark, page.paper.high)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Any, mark: Mark, high: float) -> None:
    if isinstance(mark, TextMark):
        _words(canvas, mark, high)
        return
    stroke, fill = mark.stroke != "none" and mark.width > 0, mark.fill != "none"
    if stroke:
        canvas.setStrokeColor(_colour(mark.stroke))
        canvas.setLineWidth(mark.width * _POINTS)
        canvas.setDash(*_dash(mark))
        canvas.setLineJoin(1)
    if fill:
        canvas.setFillColor(_colour(mark.fill))
    if isinstance(mark, CircleMark):
        x, y = mark.at
        canvas.circle(
            x * _POINTS, (high - y) * _POINTS, mark.radius * _POINTS, stroke=stroke, fill=fill
        )
        return
    path = canvas.beginPath()
    for ring in mark.rings:
        for i, (x, y) in enumerate(ring):
            (path.moveTo if i == 0 else path.lineTo)(x * _POINTS, (high - y) * _POINTS)
        if mark.closed:
            path.close()
    canvas.drawPath(path, stroke=stroke, fill=fill, fillMode=0)  # 0: even-odd


def _dash(mark: PathMark | CircleMark) -> tuple[list[float], int]:
    if isinstance(mark, PathMark) and mark.dash:
        return [d * _POINTS for d in mark.dash], 0
    return [], 0


def _words(canvas: Any, mark: TextMark, high: float) -> None:
    words = printed(mark.words)
    wide = width_mm(words, mark.size, bold=mark.bold)
    back = {"start": 0.0, "middle": wide / 2, "end": wide}[mark.anchor]
    a, b, c, d = mark.matrix
    x, y = mark.at[0] - a * back, mark.at[1] - b * back
    text = canvas.beginText()
    text.setFont(FONT_NAMES[mark.bold], mark.size * _POINTS)
    text.setFillColor(_colour(mark.fill))
    # y turns over on the way to the PDF, for the page and for the letters
    text.setTextTransform(a, -b, -c, d, x * _POINTS, (high - y) * _POINTS)
    text.textOut(words)
    canvas.drawText(text)


def _colour(rgb: str) -> Any:
    from reportlab.lib.colors import HexColor

    return HexColor(rgb)

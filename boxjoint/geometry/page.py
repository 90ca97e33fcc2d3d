"""A page of paper: words, lines and shapes in mm from its upper left corner, y down.

For printers, never for a machine: words are live text, and colours are black and greys. A page holds
plain marks and decides nothing; :func:`page_svg` writes them as SVG, and a writer of another format
reads the same marks. Rooms that print (gauge forms, shop papers) fill pages.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from html import escape
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError, nearest_name

__all__ = [
    "A4",
    "INK",
    "LETTER",
    "LINE",
    "PALE",
    "PAPERS",
    "STOCK",
    "Anchor",
    "CircleMark",
    "Mark",
    "Page",
    "Paper",
    "PathMark",
    "Point",
    "TextMark",
    "page_svg",
    "paper_named",
    "point",
]

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
#: (a, b, c, d) of SVG's matrix: where one unit to the right goes, and one down.
Matrix = tuple[float, float, float, float]

INK, LINE, PALE, STOCK = "#1b1b1b", "#8a8a8a", "#c9c9c9", "#ece9e2"
UPRIGHT: Matrix = (1.0, 0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A size of paper, upright, mm."""

    name: str
    wide: float
    high: float

    def __post_init__(self) -> None:
        if not (0 < self.wide <= 2000 and 0 < self.high <= 2000):
            raise InputError(
                "paper is above 0 and at most 2000 mm wide and high",
                where=f"paper {self.name!r}",
                value=f"{self.wide} x {self.high} mm",
            )


#: ISO 216.
A4 = Paper(name="A4", wide=210.0, high=297.0)
#: 8.5 x 11 in: ANSI/ASME Y14.1, size A (from memory).
LETTER = Paper(name="Letter", wide=215.9, high=279.4)
#: Every paper by its name in small letters.
PAPERS = {"a4": A4, "letter": LETTER}


def paper_named(name: str) -> Paper:
    """Return a paper by its name, whatever the capitals.

    Raises
    ------
    InputError
        There is none of that name.
    """
    found = PAPERS.get(name.strip().lower())
    if found is None:
        raise InputError(
            "no such paper",
            value=repr(name),
            limit="A4 or Letter",
            do=nearest_name(name.strip().lower(), PAPERS),
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class TextMark:
    """Words on one line, base line at ``at``.

    ``size`` is the font size and ``width``, where it is known, how long the words are in the font
    that the page was laid out with, mm: a writer then holds them to it. ``matrix`` turns or slants
    them about ``at``.
    """

    at: Point
    words: str
    size: float
    bold: bool = False
    anchor: Anchor = "start"
    fill: str = INK
    width: float | None = None
    matrix: Matrix = UPRIGHT


@dataclass(frozen=True, slots=True, kw_only=True)
class PathMark:
    """Polylines or, where ``closed``, polygons; filled by the even-odd rule."""

    rings: tuple[tuple[Point, ...], ...]
    closed: bool = True
    fill: str = "none"
    stroke: str = INK
    width: float = 0.2
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleMark:
    """A circle about ``at``."""

    at: Point
    radius: float
    fill: str = "none"
    stroke: str = INK
    width: float = 0.2


Mark = TextMark | PathMark | CircleMark


class Page:
    """Marks on a page, mm from its upper left corner, y down; later marks lie over earlier ones."""

    def __init__(self, paper: Paper = A4) -> None:
        self.paper = paper
        self.marks: list[Mark] = []

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = 3.0,
        *,
        bold: bool = False,
        anchor: Anchor = "start",
        fill: str = INK,
        width: float | None = None,
        matrix: Matrix = UPRIGHT,
    ) -> None:
        """Put words with their base line at (x, y); ``size`` is the font size."""
        mark = TextMark(
            at=(x, y),
            words=words,
            size=size,
            bold=bold,
            anchor=anchor,
            fill=fill,
            width=width,
            matrix=matrix,
        )
        self.marks.append(mark)

    def line(
        self,
        a: Point,
        b: Point,
        *,
        width: float = 0.2,
        stroke: str = INK,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a line from ``a`` to ``b``."""
        self.marks.append(
            PathMark(rings=((a, b),), closed=False, stroke=stroke, width=width, dash=dash)
        )

    def box(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        *,
        fill: str = "none",
        stroke: str = INK,
        width: float = 0.2,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a rectangle with its upper left corner at (x, y)."""
        corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        self.marks.append(
            PathMark(rings=(corners,), fill=fill, stroke=stroke, width=width, dash=dash)
        )

    def tick_box(self, x: float, y: float, side: float = 3.4) -> None:
        """A box to tick, its upper left corner at (x, y)."""
        self.box(x, y, side, side, fill="#ffffff", width=0.35)

    def shape(
        self,
        points: NDArray[np.float64] | Sequence[Point],
        *,
        closed: bool = True,
        fill: str = "none",
        stroke: str = INK,
        width: float = 0.2,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw a polyline, or a polygon."""
        self.shapes([points], closed=closed, fill=fill, stroke=stroke, width=width, dash=dash)

    def shapes(
        self,
        rings: Iterable[NDArray[np.float64] | Sequence[Point]],
        *,
        closed: bool = True,
        fill: str = "none",
        stroke: str = INK,
        width: float = 0.2,
        dash: tuple[float, ...] = (),
    ) -> None:
        """Draw polygons as one shape, so that rings inside others are holes."""
        plain = tuple(tuple((float(x), float(y)) for x, y in ring) for ring in rings)
        self.marks.append(
            PathMark(rings=plain, closed=closed, fill=fill, stroke=stroke, width=width, dash=dash)
        )

    def circle(
        self,
        at: Point,
        radius: float,
        *,
        fill: str = "none",
        stroke: str = INK,
        width: float = 0.2,
    ) -> None:
        """Draw a circle."""
        self.marks.append(CircleMark(at=at, radius=radius, fill=fill, stroke=stroke, width=width))

    def place(self, marks: Iterable[Mark], x: float, y: float, scale: float = 1.0) -> None:
        """Put marks of another page with their origin at (x, y), made smaller or larger."""

        def there(p: Point) -> Point:
            return x + p[0] * scale, y + p[1] * scale

        for mark in marks:
            if isinstance(mark, TextMark):
                width = None if mark.width is None else mark.width * scale
                mark = replace(mark, at=there(mark.at), size=mark.size * scale, width=width)
            elif isinstance(mark, CircleMark):
                mark = replace(
                    mark,
                    at=there(mark.at),
                    radius=mark.radius * scale,
                    width=mark.width * scale,
                )
            else:
                mark = replace(
                    mark,
                    rings=tuple(tuple(there(p) for p in ring) for ring in mark.rings),
                    width=mark.width * scale,
                    dash=tuple(d * scale for d in mark.dash),
                )
            self.marks.append(mark)


def page_svg(page: Page, title: str) -> str:
    """Return the page as SVG 1.1, as large as its paper.

    Returns
    -------
    str
        The same for the same page, byte for byte; write it as UTF-8. Words whose width is known are
        held to it, so that another font cannot make them run over.
    """
    w, h = _n(page.paper.wide), _n(page.paper.high)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{w}mm" '
        f'height="{h}mm" viewBox="0 0 {w} {h}">\n'
        f"<title>{escape(title)}</title>\n"
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>\n'
        "<g font-family=\"'DejaVu Sans', sans-serif\">\n"
        + "".join(_svg(mark) for mark in page.marks)
        + "</g>\n</svg>\n"
    )


def _svg(mark: Mark) -> str:
    if isinstance(mark, TextMark):
        weight = ' font-weight="bold"' if mark.bold else ""
        place = "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
        long = (
            f' textLength="{_n(mark.width)}" lengthAdjust="spacingAndGlyphs"' if mark.width else ""
        )
        (x, y), turn = mark.at, ""
        if mark.matrix != UPRIGHT:
            a, b, c, d = (f"{v:.5f}" for v in mark.matrix)
            turn = f' transform="matrix({a} {b} {c} {d} {_n(x)} {_n(y)})"'
            x = y = 0.0
        return (
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(mark.size)}" fill="{mark.fill}"'
            f"{weight}{place}{long}{turn}>{escape(mark.words)}</text>\n"
        )
    if isinstance(mark, CircleMark):
        return (
            f'<circle cx="{_n(mark.at[0])}" cy="{_n(mark.at[1])}" r="{_n(mark.radius)}" '
            f'fill="{mark.fill}" stroke="{mark.stroke}" stroke-width="{_n(mark.width)}"/>\n'
        )
    end = " Z" if mark.closed else ""
    data = " ".join(
        "M " + " L ".join(f"{_n(x)} {_n(y)}" for x, y in ring) + end for ring in mark.rings
    )
    dashes = f' stroke-dasharray="{" ".join(_n(d) for d in mark.dash)}"' if mark.dash else ""
    rule = ' fill-rule="evenodd"' if len(mark.rings) > 1 and mark.fill != "none" else ""
    return (
        f'<path d="{data}" fill="{mark.fill}" stroke="{mark.stroke}" '
        f'stroke-width="{_n(mark.width)}" stroke-linejoin="round"{dashes}{rule}/>\n'
    )


def _n(v: float) -> str:
    text = f"{v:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def point(p: NDArray[np.float64]) -> Point:
    """A point of an array as plain numbers."""
    return float(p[0]), float(p[1])

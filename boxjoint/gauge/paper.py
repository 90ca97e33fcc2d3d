"""A page of paper: lines, boxes and words in mm from its upper left corner, y down, written as SVG.

For printers, never for a machine: text is live, and colours are black and greys.
"""

from __future__ import annotations

from html import escape

import numpy as np
from numpy.typing import NDArray

__all__ = ["HIGH_MM", "INK", "LINE", "PALE", "STOCK", "WIDE_MM", "Page", "Point", "point"]

Point = tuple[float, float]

#: ISO 216 A4, mm.
WIDE_MM, HIGH_MM = 210.0, 297.0
INK, LINE, PALE, STOCK = "#1b1b1b", "#8a8a8a", "#c9c9c9", "#ece9e2"


class Page:
    """Marks on the page, mm from its upper left corner, y down."""

    def __init__(self) -> None:
        self.out: list[str] = []

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = 3.0,
        *,
        bold: bool = False,
        anchor: str = "start",
        fill: str = INK,
    ) -> None:
        """Put words with their base line at (x, y); ``size`` is the font size."""
        weight = ' font-weight="bold"' if bold else ""
        place = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.out.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" fill="{fill}"{weight}{place}>'
            f"{escape(words)}</text>\n"
        )

    def line(
        self, a: Point, b: Point, *, width: float = 0.2, stroke: str = INK, dash: str = ""
    ) -> None:
        """Draw a line from ``a`` to ``b``."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.out.append(
            f'<line x1="{_n(a[0])}" y1="{_n(a[1])}" x2="{_n(b[0])}" y2="{_n(b[1])}" '
            f'stroke="{stroke}" stroke-width="{_n(width)}"{dashes}/>\n'
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
    ) -> None:
        """Draw a rectangle with its upper left corner at (x, y)."""
        self.out.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}" fill="{fill}" '
            f'stroke="{stroke}" stroke-width="{_n(width)}"/>\n'
        )

    def shape(
        self,
        points: NDArray[np.float64] | list[Point],
        *,
        closed: bool = True,
        fill: str = "none",
        stroke: str = INK,
        width: float = 0.2,
    ) -> None:
        """Draw a polyline."""
        data = " L ".join(f"{_n(float(x))} {_n(float(y))}" for x, y in points)
        self.out.append(
            f'<path d="M {data}{" Z" if closed else ""}" fill="{fill}" stroke="{stroke}" '
            f'stroke-width="{_n(width)}" stroke-linejoin="round"/>\n'
        )

    def number(self, at: Point, row: int) -> None:
        """A row's number in a disc."""
        self.out.append(
            f'<circle cx="{_n(at[0])}" cy="{_n(at[1])}" r="2.3" fill="#ffffff" stroke="{INK}" '
            'stroke-width="0.3"/>\n'
        )
        self.text(at[0], at[1] + 1.05, str(row), 3.0, bold=True, anchor="middle")

    def jaws(
        self, a: Point, b: Point, *, inside: bool, row: int | None = None, share: float = 0.5
    ) -> None:
        """Two jaws that touch at ``a`` and ``b``, the measured length between, the row's number."""
        p, q = np.array(a), np.array(b)
        along = (q - p) / max(float(np.hypot(*(q - p))), 1e-9)
        across = np.array([-along[1], along[0]])
        self.line(a, b, width=0.25, stroke=INK, dash="1.2 0.8")
        for tip, way in ((p, -along), (q, along)):
            back = tip + (-way if inside else way) * 3.0
            self.shape(
                [point(tip), point(back + across * 1.3), point(back - across * 1.3)],
                fill=INK,
                width=0.1,
            )
        if row is not None:
            self.number(point(p + (q - p) * share), row)

    def svg(self, title: str) -> str:
        """Return the page as SVG, A4 upright."""
        return (
            '<?xml version="1.0" encoding="UTF-8"?>\n'
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{_n(WIDE_MM)}mm" '
            f'height="{_n(HIGH_MM)}mm" viewBox="0 0 {_n(WIDE_MM)} {_n(HIGH_MM)}">\n'
            f"<title>{escape(title)}</title>\n"
            f'<rect width="{_n(WIDE_MM)}" height="{_n(HIGH_MM)}" fill="#ffffff"/>\n'
            '<g font-family="sans-serif">\n' + "".join(self.out) + "</g>\n</svg>\n"
        )


def _n(v: float) -> str:
    text = f"{v:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def point(p: NDArray[np.float64]) -> Point:
    """A point of an array as plain numbers."""
    return float(p[0]), float(p[1])

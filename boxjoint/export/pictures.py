"""Pictures as plain shapes in millimetres of the page, for any writer, and the writer to SVG.

A picture knows nothing of boxes: filled and drawn outlines, one upon the other in their sequence, and
lines of text. Whoever makes pages of another kind (paper, a browser) takes the same shapes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

__all__ = ["INK", "Line", "Picture", "Shape", "picture_svg", "written_mm"]

INK = "#2B2118"

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """Outlines that are filled, drawn, or both.

    Parameters
    ----------
    rings
        (n, 2) each, mm, x to the right and y down; together one area by the even-odd rule.
    closed
        Whether a line leads from the last point of each back to its first.
    fill, stroke
        sRGB as ``#RRGGBB``; ``""`` for none.
    width_mm
        Of the line that is drawn.
    dash
        Lengths of dash and gap, mm; empty for a solid line.
    panel
        Whose it is; empty for what belongs to no panel.
    """

    rings: tuple[NDArray[np.float64], ...]
    closed: bool = True
    fill: str = ""
    stroke: str = ""
    width_mm: float = 0.0
    dash: tuple[float, ...] = ()
    panel: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of text.

    Parameters
    ----------
    at
        mm: the middle of the text's height, and along it what ``anchor`` says.
    size
        Font size, mm; capitals of usual sans letters are 0.7 of it.
    matrix
        (a, b, c, d) of SVG's matrix: where one unit to the right, and one down, go.
    anchor
        ``start``, ``middle`` or ``end``.
    """

    text: str
    at: Point
    size: float
    matrix: tuple[float, float, float, float] = (1.0, 0.0, 0.0, 1.0)
    anchor: str = "start"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """One picture.

    Parameters
    ----------
    width_mm, height_mm
        Of the rectangle that holds everything; its upper left corner is (0, 0).
    scale
        mm of the page a nm along any axis of the world.
    shapes
        The lowest first; lines of text lie above them all.
    lines
        Names of parts.
    about
        What is seen, in words.
    """

    width_mm: float
    height_mm: float
    scale: float
    shapes: tuple[Shape, ...]
    lines: tuple[Line, ...]
    about: str = ""


def picture_svg(picture: Picture) -> str:
    """Return a picture as SVG elements, mm, to be put into a page or a group; one group a panel."""
    out = ['<g stroke-linejoin="round" fill-rule="evenodd">\n']
    for look, alike in groupby(picture.shapes, key=_look):
        out.append(f"<g {look}>\n")
        for name, shapes in groupby(alike, key=lambda s: s.panel):
            if name:
                out.append(f"<g><title>{escape(name)}</title>\n")
            for s in shapes:
                fill = f'fill="{s.fill}" ' if s.fill else ""
                out.append(f'<path {fill}d="{_data(s)}"/>\n')
            if name:
                out.append("</g>\n")
        out.append("</g>\n")
    out.append("</g>\n")
    out += lines_svg(picture.lines)
    return "".join(out)


def lines_svg(lines: Iterable[Line], colour: str = INK) -> list[str]:
    """Return lines of text as SVG elements in one group."""
    every = list(lines)
    if not every:
        return []
    out = [f'<g fill="{colour}" stroke="none" font-family="sans-serif">\n']
    for line in every:
        a, b, d, e = (_ratio(v) for v in line.matrix)
        x, y = map(written_mm, line.at)
        out.append(
            f'<text transform="matrix({a} {b} {d} {e} {x} {y})" '
            f'text-anchor="{line.anchor}" font-size="{written_mm(line.size)}" '
            f'x="0" y="{written_mm(0.35 * line.size)}">{escape(line.text)}</text>\n'
        )
    out.append("</g>\n")
    return out


def _look(shape: Shape) -> str:
    words = [] if shape.fill else ['fill="none"']
    words.append(f'stroke="{shape.stroke or "none"}"')
    if shape.stroke:
        words.append(f'stroke-width="{written_mm(shape.width_mm)}"')
    if shape.dash:
        words.append(f'stroke-dasharray="{" ".join(map(written_mm, shape.dash))}"')
    return " ".join(words)


def _data(shape: Shape) -> str:
    data = []
    for ring in shape.rings:
        points = " L".join(f"{written_mm(x)} {written_mm(y)}" for x, y in ring.tolist())
        data.append(f"M{points}{'Z' if shape.closed else ''}")
    return "".join(data)


def written_mm(value: float) -> str:
    """Return a length to a micrometre, without needless digits."""
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _ratio(value: float) -> str:
    text = f"{value:.5f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text

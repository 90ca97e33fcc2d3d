"""SVG in millimetres: the page says its size in mm and its own unit is the same mm.

So no program can assume 72, 90 or 96 of them to the inch. The picture is y up like the drawing:
every y is written as the page's height less y, without a transformation, which some programs skip.
"""

from __future__ import annotations

import math
from html import escape
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from boxjoint.export.layout import BORDER_MM, Laid, lay_out, written
from boxjoint.export.palette import DASH_MM, PENS
from boxjoint.geometry.drawing import Drawing, Layer

__all__ = ["drawing_to_svg"]

# capitals of usual sans letters are 0.7 of the font's size
_CAPITAL = 0.7


def drawing_to_svg(drawing: Drawing) -> str:
    """Return a drawing as SVG 1.1.

    Parameters
    ----------
    drawing
        In mm. Title and notes go into ``<title>`` and ``<desc>``, which also says where on the page
        the drawing's origin lies, and into text beside the check square.

    Returns
    -------
    str
        Lines end with ``\\n``; the same for the same drawing, byte for byte. One group a layer, in
        the layers' sequence, named after it; ``ENGRAVE`` only where something is on it. Write it as UTF-8.

    Raises
    ------
    InputError
        The drawing has a coordinate that cannot be written.
    """
    laid = lay_out(drawing)
    border = BORDER_MM * 1_000_000
    width = laid.high[0] - laid.low[0] + 2 * border
    height = laid.high[1] - laid.low[1] + 2 * border
    # x on the page = x + right; y on the page = down - y
    right, down = border - laid.low[0], height - border + laid.low[1]
    w, h = written(width), written(height)
    origin = f"origin {written(right)} mm from the left and {written(height - down)} mm from below"
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>\n',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">\n',
        f"<title>{escape(laid.title)}</title>\n",
        f"<desc>{escape(chr(10).join((*laid.notes, f'lengths in mm; {origin}')))}</desc>\n",
    ]
    for layer in Layer:
        if layer is Layer.ENGRAVE:
            out += _engraved(laid, right, down)
            continue
        pen = PENS[layer]
        dashes = ' stroke-dasharray="{} {}"'.format(*map(_plain, DASH_MM)) if pen.dashed else ""
        # on the paths, not the group: letters are never dashed, and not every reader knows "none"
        out.append(
            f'<g id="{layer}" fill="none" stroke="{pen.rgb}" stroke-width="{_plain(pen.width_mm)}"'
            f">\n"
        )
        for path in laid.paths:
            if path.layer is layer:
                pieces = (_data(nm, bulge, closed, right, down) for nm, bulge, closed in path.parts)
                closed = any(closed for _, _, closed in path.parts)
                out.append(f'<path{dashes if closed else ""} d="{" ".join(pieces)}"/>\n')
        if layer is Layer.REFERENCE:
            out += _lines(laid, right, down)
        out.append("</g>\n")
    out.append("</svg>\n")
    return "".join(out)


def _engraved(laid: Laid, right: int, down: int) -> list[str]:
    """The group of what is filled, as one path, since rings and their holes belong together."""
    rings = [
        _data(nm, bulge, closed, right, down)
        for path in laid.paths
        if path.layer is Layer.ENGRAVE
        for nm, bulge, closed in path.parts
    ]
    if not rings:
        return []
    fill = f'fill="{PENS[Layer.ENGRAVE].rgb}" fill-rule="evenodd" stroke="none"'
    return [f'<g id="{Layer.ENGRAVE}" {fill}>\n', f'<path d="{" ".join(rings)}"/>\n', "</g>\n"]


def _data(
    nm: NDArray[np.int64],
    bulge: NDArray[np.float64] | None,
    closed: bool,
    right: int,
    down: int,
) -> str:
    """Path data of one polyline, in mm of the page."""
    page = np.column_stack([nm[:, 0] + right, down - nm[:, 1]])
    text = [f"{v:.6f}".rstrip("0").rstrip(".") for v in (page / 1e6).ravel().tolist()]
    if bulge is None:
        points = [f"{x} {y}" for x, y in zip(text[::2], text[1::2], strict=True)]
        return f"M {' L '.join(points)}{' Z' if closed else ''}"
    ring = nm.tolist()
    if closed:
        ring.append(ring[0])
    data = [f"M {text[0]} {text[1]}"]
    for (start, end), b in zip(pairwise(ring), bulge.tolist(), strict=False):
        data += _arc(start, end, b, right, down)
    return " ".join(data) + (" Z" if closed else "")


def _arc(start: list[int], end: list[int], bulge: float, right: int, down: int) -> list[str]:
    """One side from start to end, nm: a line, or arcs of a quarter circle at most.

    Arcs are split because close to a half circle a radius rounded by 1 nm moves the arc's middle by
    micrometres (10 um at 50 mm), and because a full turn has no chord.
    """
    if bulge == 0:
        return [f"L {written(end[0] + right)} {written(down - end[1])}"]
    a, z = complex(*start), complex(*end)
    turn = 4 * math.atan(bulge)
    centre = (a + z) / 2 + (z - a) * 1j * (1 - bulge * bulge) / (4 * bulge)
    radius = written(round(abs(a - centre)))
    parts = math.ceil(abs(turn) / (math.pi / 2) - 1e-9)
    sweep = 0 if bulge > 0 else 1  # SVG's positive way is clockwise to the eye
    data = []
    for k in range(1, parts + 1):
        angle = turn * k / parts
        p = z if k == parts else centre + (a - centre) * complex(math.cos(angle), math.sin(angle))
        x, y = written(round(p.real) + right), written(down - round(p.imag))
        data.append(f"A {radius} {radius} 0 0 {sweep} {x} {y}")
    return data


def _lines(laid: Laid, right: int, down: int) -> list[str]:
    """The lines of text beside the check square."""
    pen = PENS[Layer.REFERENCE]
    out = [f'<g fill="{pen.rgb}" stroke="none" font-family="sans-serif">\n']
    for line in laid.lines:
        x, y = written(round(line.x * 1e6) + right), written(down - round(line.y * 1e6))
        size = _plain(round(line.height / _CAPITAL, 3))
        out.append(f'<text x="{x}" y="{y}" font-size="{size}">{escape(line.text)}</text>\n')
    out.append("</g>\n")
    return out


def _plain(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")

"""The printable form of a gauge piece: one A4 page, with a picture of where the jaws go.

What stands between the jaws has the number of its row, so that nobody has to read to know where to
measure. No expected size is printed: who knows what to read, reads it. The page is SVG with live
text, for a printer and never for a machine; in black and greys, since many printers know no other.
"""

from __future__ import annotations

import math
import textwrap

import numpy as np
from numpy.typing import NDArray

from boxjoint import __version__
from boxjoint.gauge.checks import BLIND_SPOTS
from boxjoint.gauge.paper import HIGH_MM, INK, LINE, PALE, STOCK, WIDE_MM, FormPage, Point, point
from boxjoint.gauge.pieces import GaugeKind, GaugePart, GaugePiece, ReadingRow, plain
from boxjoint.gauge.readings import Form
from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.geometry.page import page_svg

__all__ = ["form_page", "form_svg"]

_EDGE = 13.0

_FIELDS = ("date", "machine", "sheet", "settings", "caliper step", "read by")
_MARKED = {
    Form.PLUG: "plug",
    Form.HOLE: "hole",
    Form.WINDOW: "window",
    Form.STACK: "stack",
    Form.STRIP: "strip",
    Form.DIFFERENCE: "difference",
}


def form_svg(piece: GaugePiece) -> str:
    """Return the printable form of a piece as SVG, A4 upright.

    Returns
    -------
    str
        The same for the same piece, byte for byte; write it as UTF-8. The picture is not to scale.
    """
    return page_svg(form_page(piece), f"Form of {piece.title}, {piece.code}")


def form_page(piece: GaugePiece) -> FormPage:
    """Return the printable form of a piece as marks on a page, A4 upright."""
    page = FormPage()
    y = _header(page, piece)
    y = _picture(page, piece, y)
    if piece.rows:
        y = _reading_table(page, piece, y)
    if piece.slots:
        y = _slot_table(page, piece, y)
    if piece.kind is GaugeKind.COUPON:
        y = _feel(page, y)
    _cautions(page, piece, y)
    return page


def _header(page: FormPage, piece: GaugePiece) -> float:
    y = _EDGE + 5.0
    page.text(_EDGE, y, piece.title, 5.6, bold=True)
    page.text(WIDE_MM - _EDGE, y, piece.code, 7.0, bold=True, anchor="end")
    y += 5.0
    stock = f"{piece.stock.material or 'material not named'}, {piece.stock.thickness_mm:.2f} mm"
    page.text(_EDGE, y, stock, 3.2)
    page.text(
        WIDE_MM - _EDGE, y, "the code marked on the piece must be this one", 2.6, anchor="end"
    )
    y += 3.0
    page.line((_EDGE, y), (WIDE_MM - _EDGE, y), width=0.5)
    y += 7.0
    each = (WIDE_MM - 2 * _EDGE) / 3
    for i, name in enumerate(_FIELDS):
        x = _EDGE + (i % 3) * each
        line = y + (i // 3) * 7.5
        page.text(x, line, name, 2.8)
        start = x + 1.55 * len(name) + 2.5
        page.line((start, line + 0.6), (x + each - 4, line + 0.6), stroke=LINE)
    y += 7.5 + 6.0
    if piece.slots:
        return y - 1.0
    page.text(_EDGE, y, "values are in", 2.8)
    for i, unit in enumerate(("mm", "inches")):
        x = _EDGE + 20.0 + i * 16.0
        page.box(x, y - 2.7, 3.2, 3.2)
        page.text(x + 4.5, y, unit, 2.8)
    return y + 4.0


# ---- pictures ------------------------------------------------------------------------------


def _picture(page: FormPage, piece: GaugePiece, y: float) -> float:
    if piece.kind is GaugeKind.KERF:
        return _kerf_picture(page, piece, y)
    if piece.kind is GaugeKind.STRIP:
        return _strip_picture(page, piece, y)
    width = max(p.at[0] + p.size[0] for p in piece.parts)
    height = max(p.at[1] + p.size[1] for p in piece.parts)
    room = WIDE_MM - 2 * _EDGE - 12.0 - (30.0 if piece.slots else 0.0)
    most = 78.0 if piece.slots else 92.0
    scale = min(room / width, most / height, 2.2)
    left = _EDGE + 6.0 + (room - width * scale) / 2
    bottom = y + 5.0 + height * scale
    for part in piece.parts:
        x, low = left + part.at[0] * scale, bottom - part.at[1] * scale
        _draw_part(page, part, x, low, scale)
        for row in piece.rows:
            if row.part == part.name:
                _touch(page, row, part, x, low, scale)
    if piece.slots:
        _standing(page, piece, WIDE_MM - _EDGE - 22.0, y + 5.0)
        bottom = max(bottom, y + 34.0)
    return bottom + (10.0 if piece.slots else 7.0)


def _standing(page: FormPage, piece: GaugePiece, x: float, y: float) -> None:
    """From the side: the plate lies flat, the tile stands in its slot."""
    page.box(x, y, 4.0, 16.0, fill=STOCK)
    page.box(x + 4.0, y + 16.0, 16.0, 4.0, fill=STOCK)
    page.box(x, y + 16.0, 4.0, 4.0, fill=STOCK)
    page.shape([(x + 2.0, y - 6.0), (x + 2.0, y - 1.5)], closed=False, width=0.4)
    page.shape(
        [(x + 0.8, y - 3.2), (x + 2.0, y - 1.2), (x + 3.2, y - 3.2)], closed=False, width=0.4
    )
    page.text(x + 6.0, y + 8.0, "tile", 2.6)
    page.text(x + 8.0, y + 24.0, "plate", 2.6)
    page.text(x - 4.0, y + 28.0, "from the side", 2.4, fill="#5a5a5a")


def _draw_part(
    page: FormPage, part: GaugePart, x: float, y: float, scale: float, *, words: bool = True
) -> None:
    """A part with its lower left corner at (x, y) of the page."""

    def there(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.column_stack([x + xy[:, 0] * scale, y - xy[:, 1] * scale])

    for curve in part.curves:
        if curve.layer is Layer.CUT_OUTER:
            page.shape(there(_flat(curve)), fill=STOCK, closed=curve.closed, width=0.3)
    if words:
        for label in part.labels:
            page.text(
                x + label.at[0] * scale,
                y - (label.at[1] - label.height / 2) * scale,
                label.text,
                max(label.height * scale / 0.72 * 0.9, 1.6),
                anchor="middle",
                fill=LINE,
            )
        for curve in part.curves:
            if curve.layer is Layer.MARK:
                page.shape(there(curve.xy), closed=False, stroke=LINE)


def _flat(curve: Curve) -> NDArray[np.float64]:
    """A curve's points, arcs as chords fine enough for a picture."""
    if curve.bulge is None:
        return curve.xy
    points: list[Point] = []
    ends = np.roll(curve.xy, -1, axis=0)
    for start, end, bulge in zip(curve.xy, ends, curve.bulge.tolist(), strict=True):
        points.append(point(start))
        if not bulge:
            continue
        a, z = complex(*start.tolist()), complex(*end.tolist())
        centre = (a + z) / 2 + (z - a) * 1j * (1 - bulge * bulge) / (4 * bulge)
        turn = 4 * math.atan(bulge)
        for i in range(1, 12):
            angle = turn * i / 12
            p = centre + (a - centre) * complex(math.cos(angle), math.sin(angle))
            points.append((p.real, p.imag))
    return np.array(points)


def _touch(
    page: FormPage, row: ReadingRow, part: GaugePart, x: float, y: float, scale: float
) -> None:
    """Jaws on a tab or a slot, with the number beside the part, since there is no room between."""
    if row.touch is None:
        return
    (ax, ay), (bx, by) = row.touch
    a, b = (x + ax * scale, y - ay * scale), (x + bx * scale, y - by * scale)
    page.jaws(a, b, inside=row.form.inside_jaws)
    k = 0 if ax == bx else 1  # across the measured length
    middle = [(ax + bx) / 2, (ay + by) / 2]
    far = middle[k] > part.size[k] / 2
    edge = (part.size[k] if far else 0.0) + (1 if far else -1) * 3.4 / scale
    middle[k] = edge
    page.number((x + middle[0] * scale, y - middle[1] * scale), row.row)


def _kerf_picture(page: FormPage, piece: GaugePiece, y: float) -> float:
    part = piece.parts[0]
    scale = min(112.0 / part.size[0], 76.0 / part.size[1])
    x = _EDGE + 6.0
    bottom = y + 6.0 + part.size[1] * scale
    page.box(
        x, bottom - part.size[1] * scale, part.size[0] * scale, part.size[1] * scale, fill=STOCK
    )
    for x0, y0, x1, y1 in part.holes:
        page.box(
            x + x0 * scale,
            bottom - y1 * scale,
            (x1 - x0) * scale,
            (y1 - y0) * scale,
            fill="#ffffff",
            width=0.3,
        )
    _stubs(page, part, x, bottom, scale)
    middle = [
        (x + (h[0] + h[2]) / 2 * scale, bottom - (h[1] + h[3]) / 2 * scale) for h in part.holes
    ]
    page.text(
        x + 0.36 * part.size[0] * scale, bottom - 0.62 * part.size[1] * scale, piece.code, 5.0,
        anchor="middle", fill=LINE,
    )  # fmt: skip
    page.text(
        middle[0][0], bottom - (part.holes[0][3] + 2.5) * scale, "window X", 2.8, anchor="middle"
    )
    page.text(
        x + (part.holes[1][0] - 5.0) * scale, bottom - 0.88 * part.size[1] * scale, "window Y", 2.8,
        anchor="end",
    )  # fmt: skip
    shares = {"x": 0.3, "y": 0.75}
    for row in piece.rows:
        if row.touch is None:
            continue
        a, b = ((x + p[0] * scale, bottom - p[1] * scale) for p in row.touch)
        long = row.form is Form.WINDOW and row.drawn_mm > 20
        share = shares[row.axis] if long else 0.3 if row.form is Form.PLUG else 0.5
        page.jaws(a, b, inside=row.form.inside_jaws, row=row.row, share=share)
    _loose(page, piece, x + part.size[0] * scale + 9.0, y + 1.0)
    end = y + 1.0 + 14.2 * sum(r.touch is None for r in piece.rows)
    return max(bottom + 7.0, end + 2.0)


def _stubs(page: FormPage, part: GaugePart, x: float, y: float, scale: float) -> None:
    """What is left of the bridges on the frame."""
    tips = [
        p
        for c in part.curves
        if c.layer is Layer.CUT_INNER and not c.closed and len(c.xy) > 1
        for p in (c.xy[0], c.xy[-1])
    ]
    for h in part.holes:
        for along_x, line in ((True, h[1]), (False, h[2])):
            k = 0 if along_x else 1
            ends = sorted(float(p[k]) for p in tips if p[1 - k] == line and h[k] < p[k] < h[k + 2])
            # cuts between slices end on this side too: a gap lies between two ends under 3 mm apart
            cuts = {
                float(c.xy[0][k])
                for c in part.curves
                if len(c.xy) == 2 and c.xy[0][k] == c.xy[1][k]
            }
            ends = [e for e in ends if e not in cuts]
            for a, b in zip(ends[::2], ends[1::2], strict=False):
                if along_x:
                    page.box(x + a * scale, y - (line + 0.6) * scale, (b - a) * scale, 0.6 * scale,
                             fill=INK, width=0.1)  # fmt: skip
                else:
                    page.box(x + (line - 0.6) * scale, y - b * scale, 0.6 * scale, (b - a) * scale,
                             fill=INK, width=0.1)  # fmt: skip


def _loose(page: FormPage, piece: GaugePiece, x: float, y: float) -> None:
    """What is read on loose slices, one small picture below the other."""
    scale = 0.56
    for row in piece.rows:
        if row.touch is not None:
            continue
        page.number((x, y + 6.6), row.row)
        if row.form is Form.STACK:
            n = row.slices or 0
            wide = min(row.drawn_mm, 78.0) / n * scale
            left = x + 8.0
            for i in range(n):
                over = row.turned and i % 2 == 1
                page.box(left + i * wide, y + 3.2, wide, 12 * scale, fill=PALE if over else STOCK)
                if not over:
                    page.text(left + (i + 0.5) * wide, y + 7.6, str(i + 1), min(2.8, 0.75 * wide + 0.6),
                              anchor="middle")  # fmt: skip
            page.jaws((left, y + 6.6), (left + n * wide, y + 6.6), inside=False)
            words = f"stack {row.axis.upper()}, {n} slices" + (
                ": even ones turned over" if row.turned else ", numbers up"
            )
        else:
            axis = row.contour[-1].upper()
            left = x + 8.0
            page.box(left, y + 3.2, 12 * 1.3, 9 * 0.75, fill=STOCK)
            page.box(left - 0.8, y + 9.0 - 0.6, 0.8, 0.7, fill=INK, width=0.1)
            page.jaws((left, y + 5.4), (left + 12 * 1.3, y + 5.4), inside=False)
            words = f"one slice of window {axis}, clear of its stub"
        page.text(x + 4.5, y + 2.2, words, 2.4)
        y += 14.2


def _strip_picture(page: FormPage, piece: GaugePiece, y: float) -> float:
    x, length = _EDGE + 22.0, 125.0
    for i, row in enumerate(r for r in piece.rows if r.form is Form.STRIP):
        top = y + 6.0 + i * 15.0
        page.box(x, top, length, 7.0, fill=STOCK)
        page.text(x - 20.0, top + 4.6, f"strip {row.axis.upper()}", 3.0)
        page.jaws((x, top + 3.5), (x + length, top + 3.5), inside=False, row=row.row)
    difference = next(r for r in piece.rows if r.form is Form.DIFFERENCE)
    top = y + 40.0
    page.box(x - 3.0, top - 2.0, 3.0, 20.0, fill=INK)
    page.text(x - 1.5, top + 22.0, "stop", 2.8, anchor="middle")
    page.box(x, top, length + 5.0, 7.0, fill=STOCK)
    page.box(x, top + 8.0, length, 7.0, fill=STOCK)
    page.text(x - 20.0, top + 4.6, "strip X", 3.0)
    page.text(x - 20.0, top + 12.6, "strip Y", 3.0)
    page.line((x + length, top + 6.0), (x + length, top + 21.0), stroke=INK, width=0.3)
    page.line((x + length + 5.0, top + 6.0), (x + length + 5.0, top + 21.0), stroke=INK, width=0.3)
    page.number((x + length + 2.5, top + 22.5), difference.row)
    page.text(x + length + 6.5, top + 18.5, "X stands out: plus", 2.6)
    page.text(x + length + 6.5, top + 22.0, "Y stands out: minus", 2.6)
    return top + 30.0


# ---- tables --------------------------------------------------------------------------------


def _reading_table(page: FormPage, piece: GaugePiece, y: float) -> float:
    x = _EDGE
    columns = (x + 3.5, x + 9.0, x + 46.5, x + 107.0, x + 126.5)
    wide, boxes = 18.5, 3
    for at, name in zip(columns[1:4], ("what", "how", "drawn, mm"), strict=True):
        page.text(at, y, name, 2.8, bold=True)
    page.text(columns[4], y, "read (more boxes: repeats)", 2.8, bold=True)
    y += 1.6
    page.line((x, y), (WIDE_MM - _EDGE, y), width=0.4)
    high = 8.2 if len(piece.rows) > 8 else 11.0
    for row in piece.rows:
        middle = y + high / 2
        page.number((columns[0], middle), row.row)
        kind = _MARKED[row.form] + (" turned" if row.turned else "")
        page.text(columns[1], middle - 0.3, row.what, 2.9, bold=not row.optional)
        under = kind + (", optional" if row.optional else "")
        if row.u_mm is not None:
            under += f", u {plain(row.u_mm)} mm"
        page.text(columns[1], middle + 2.8, under, 2.2, fill="#5a5a5a")
        lines = textwrap.wrap(row.jaws, 46)
        start = middle + 0.9 - (len(lines) - 1) * 1.35
        for i, words in enumerate(lines):
            page.text(columns[2], start + i * 2.7, words, 2.4)
        size = plain(round(row.drawn_mm, 3)) + (f" / {row.slices}" if row.slices else "")
        page.text(columns[3], middle + 1.0, size, 2.9)
        for k in range(boxes):
            wanted = k < row.times
            page.box(
                columns[4] + k * (wide + 1.0),
                y + 1.0,
                wide,
                high - 2.0,
                stroke=INK if wanted and not row.optional else LINE,
                width=0.45 if wanted and not row.optional else 0.15,
            )
        y += high
        page.line((x, y), (WIDE_MM - _EDGE, y), stroke=PALE)
    return y + 5.0


def _slot_table(page: FormPage, piece: GaugePiece, y: float) -> float:
    x = _EDGE
    words = ("no", "press", "slides", "loose")
    meaning = ("will not enter by hand", "enters, pressed", "slides, holds", "rattles")
    page.text(x, y, "slot", 2.8, bold=True)
    page.text(x + 14.0, y, "x drawn, mm", 2.8, bold=True)
    for i, (word, what) in enumerate(zip(words, meaning, strict=True)):
        page.text(x + 44.0 + i * 32.0, y - 3.4, word, 3.2, bold=True)
        page.text(x + 44.0 + i * 32.0, y, what, 2.3, fill="#5a5a5a")
    page.text(x + 172.0, y, "note", 2.8, bold=True)
    y += 1.6
    page.line((x, y), (WIDE_MM - _EDGE, y), width=0.4)
    high = min(9.0, 100.0 / len(piece.slots))
    for slot in piece.slots:
        middle = y + high / 2
        page.number((x + 3.5, middle), slot.slot)
        page.text(x + 14.0, middle + 1.0, f"{slot.x_mm:+.3f}", 3.0)
        for i in range(4):
            page.box(x + 44.0 + i * 32.0, middle - 2.0, 4.0, 4.0, width=0.35)
        y += high
        page.line((x, y), (WIDE_MM - _EDGE, y), stroke=PALE)
    return y + 5.0


def _feel(page: FormPage, y: float) -> float:
    page.text(_EDGE, y + 3.0, "both pressed together", 2.9, bold=True)
    for i, word in enumerate(("no", "press", "slides", "loose")):
        at = _EDGE + 52.0 + i * 32.0
        page.box(at, y, 4.0, 4.0, width=0.35)
        page.text(at + 6.0, y + 3.0, word, 3.0)
    return y + 10.0


def _cautions(page: FormPage, piece: GaugePiece, y: float) -> None:
    lines = list(piece.how)
    if piece.rows and piece.kind is not GaugeKind.STRIP:
        lines.append(
            "before you start: close the jaws and set the zero, of outside and inside jaws"
        )
        lines.append(
            "read each value afresh, jaws opened in between; write what is shown, no means"
        )
    unseen = BLIND_SPOTS if piece.kind is GaugeKind.KERF else ()
    if piece.kind is GaugeKind.COMB:
        lines.append(
            "a tile tried twice is worn: write down the first verdict; skip what was not tried"
        )
    lines += [f"CAUTION: {w}" for w in piece.warnings]
    page.text(_EDGE, y, "How", 3.0, bold=True)
    for line in lines:
        for i, words in enumerate(textwrap.wrap(line, 118)):
            page.text(_EDGE + 14.0, y, ("- " if i == 0 else "  ") + words, 2.6)
            y += 3.7
    if unseen:
        y += 1.0
        page.text(_EDGE, y, "No check sees", 3.0, bold=True)
        y += 3.9
        for line in unseen:
            for i, words in enumerate(textwrap.wrap(line, 118)):
                page.text(_EDGE + 14.0, y, ("- " if i == 0 else "  ") + words, 2.6)
                y += 3.7
    foot = HIGH_MM - _EDGE + 3.0
    page.line((_EDGE, foot - 4.0), (WIDE_MM - _EDGE, foot - 4.0), stroke=LINE)
    page.text(
        _EDGE,
        foot,
        f"boxjoint {__version__}, gauge {piece.code}; copy the values into its form file (TOML or "
        "CSV). Picture not to scale.",
        2.4,
    )

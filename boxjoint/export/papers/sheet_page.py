"""The picture of a sheet as it is cut: parts with their names, starts of cuts, keep-outs, what remains.

Drawn to a stated scale in black and greys. A name lies on its part where the whole of it finds room,
upright or turned, else beside the sheet with a line that leads to the part; where there is no room
even there, it is listed below with its place.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from boxjoint.export.papers.flow import GREY, SIDE, SMALL, Flow, put
from boxjoint.export.papers.records_cut import Area, PlacedPart, SheetPicture, Towards
from boxjoint.export.papers.typeface import printed, shrunk, width_mm
from boxjoint.export.papers.wording import both_units, in_unit, standing
from boxjoint.geometry.page import INK, LINE, STOCK, Page, Point

__all__ = ["LEAST_HIGH", "draw_sheet"]

#: The least height of a picture that still helps, mm of paper.
LEAST_HIGH = 45.0
_MOST_HIGH = 190.0
_WORDS = 29.0  # heading, legend and dimensions of a picture, at most, mm
_HALF = 0.7  # a picture is made smaller by as much to have two on a page
_SIZES = (3.4, 2.9, 2.4, 2.0, 1.7)  # of names on parts, mm
_PLACES = 9  # a side of the lattice of places that are tried on a part
_BESIDE = ((2.4, 3.1), (1.8, 2.3))  # size and pitch of names beside the sheet
_MOST_GUTTER = 38.0
_TURNED = (0.0, -1.0, 1.0, 0.0)
_UPRIGHT = (1.0, 0.0, 0.0, 1.0)
_WAY: dict[Towards, Point] = {
    "right": (1.0, 0.0),
    "up": (0.0, -1.0),
    "left": (-1.0, 0.0),
    "down": (0.0, 1.0),
}


def draw_sheet(flow: Flow, sheet: SheetPicture, *, high: float | None = None) -> None:
    """Draw one sheet with its heading and legend, as a whole on one page.

    ``high`` bounds the picture, mm of paper, :data:`LEAST_HIGH` or more.
    """
    most = high or _natural(flow, sheet)
    drawn = _Picture(flow, sheet, most)
    flow.need(drawn.high + 16.0 + flow.height_of(lambda f: _legend(f, sheet, drawn)))
    of = f"Sheet {sheet.number} of {sheet.of}"
    if sheet.copies > 1:
        of += f": cut {sheet.copies} like this"
    flow.heading(of, beside=sheet.file, keep=0.0)
    _about(flow, sheet)
    drawn.draw(flow)
    _legend(flow, sheet, drawn)


def _natural(flow: Flow, sheet: SheetPicture) -> float:
    """Height of a picture when nothing presses: two on a page where that costs little, mm."""
    wide, high = sheet.size
    natural = min(flow.width / wide, 1.0) * high + 8.0
    half = (flow.paper.high - 34.0) / 2 - _WORDS
    if half < natural * _HALF:
        half = flow.paper.high - 45.0 - _WORDS
    return min(natural, half, _MOST_HIGH)


def _about(flow: Flow, sheet: SheetPicture) -> None:
    thick = both_units(sheet.thickness, sheet.unit)
    words = [
        f"{sheet.name}: {sheet.material}" if sheet.name else sheet.material,
        f"{thick[0]} ({thick[1]}), {standing(sheet.thickness)}",
    ]
    if sheet.face_up:
        words.append(sheet.face_up)
    if sheet.used is not None:
        words.append(f"{sheet.used.value * 100:.0f} % becomes parts, {standing(sheet.used)}")
    flow.paragraph("; ".join(words), size=SMALL, fill=GREY)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Name:
    """A name on its part: where its middle is on the page, its size, whether it is turned."""

    at: Point
    size: float
    turned: bool
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """Names in a column at the left (-1) or the right (1), each with the place it leads to."""

    way: int
    size: float
    pitch: float
    named: tuple[tuple[Point, PlacedPart], ...]


class _Picture:
    """Where everything of a sheet goes, from the upper left corner of the picture, mm of paper."""

    def __init__(self, flow: Flow, sheet: SheetPicture, most_high: float) -> None:
        self.sheet = sheet
        self.left_dimension = 6.0
        self.names: list[_Name | None] = []
        room = flow.width - self.left_dimension
        gutter = 0.0
        for _ in range(2):  # names beside the sheet make the picture smaller, once
            self.gutter = gutter
            self.scale = min(
                (room - 2 * gutter) / sheet.size[0], (most_high - 8.0) / sheet.size[1], 1.0
            )
            self.names = [self._name(p) for p in sheet.parts]
            outside = [p for p, n in zip(sheet.parts, self.names, strict=True) if n is None]
            if not outside or gutter:
                break
            longest = max(width_mm(printed(_beside(p)), _BESIDE[0][0]) for p in outside)
            gutter = min(longest + 9.0, _MOST_GUTTER)
        self.wide, self.tall = sheet.size[0] * self.scale, sheet.size[1] * self.scale
        self.high = self.tall + 8.0
        # in the middle of what is left
        self.x = self.left_dimension + (room - self.wide) / 2
        self.unnamed: list[PlacedPart] = []
        self.columns = self._beside_columns()

    def there(self, x: float, y: float) -> Point:
        """A place on the sheet, mm from its upper left corner on the paper."""
        return x * self.scale, (self.sheet.size[1] - y) * self.scale

    def _rings(self, part: PlacedPart) -> list[np.ndarray[Any, Any]]:
        high = self.sheet.size[1]
        return [
            np.column_stack([r[:, 0] * self.scale, (high - r[:, 1]) * self.scale])
            for r in part.rings
        ]

    def _name(self, part: PlacedPart) -> _Name | None:
        """The name on the part, as near its middle as there is room, or ``None``."""
        import shapely

        rings = self._rings(part)
        area = shapely.buffer(shapely.Polygon(rings[0], rings[1:]), -0.3, join_style="mitre")
        if area.is_empty:
            return None
        shapely.prepare(area)
        x0, y0, x1, y1 = shapely.bounds(area).tolist()
        arrow = 3.2 if part.up is not None else 0.0
        texts = [(part.label, _cuts(part)), (_beside(part),)] if part.cuts else [(part.label,)]
        for size in _SIZES:
            for lines in texts:
                for turned in (False, True):
                    wide = max(
                        width_mm(printed(w), size if i == 0 else 0.75 * size, bold=i == 0)
                        for i, w in enumerate(lines)
                    )
                    w = wide + arrow * size / _SIZES[0] + 0.8
                    h = size * (1.0 if len(lines) == 1 else 1.95)
                    if turned:
                        w, h = h, w
                    if w > x1 - x0 or h > y1 - y0:
                        continue
                    gx, gy = np.meshgrid(
                        np.linspace(x0 + w / 2, x1 - w / 2, _PLACES),
                        np.linspace(y0 + h / 2, y1 - h / 2, _PLACES),
                    )
                    px, py = gx.ravel(), gy.ravel()
                    boxes = shapely.box(px - w / 2, py - h / 2, px + w / 2, py + h / 2)
                    fits = np.flatnonzero(shapely.contains(area, boxes))
                    if len(fits) == 0:
                        continue
                    away = np.hypot(px - (x0 + x1) / 2, py - (y0 + y1) / 2)[fits]
                    k = int(fits[int(np.argmin(np.round(away, 3)))])
                    return _Name(
                        at=(float(px[k]), float(py[k])), size=size, turned=turned, lines=lines
                    )
        return None

    # ---- drawing --------------------------------------------------------------------------

    def draw(self, flow: Flow) -> None:
        """Draw the picture where the flow stands."""
        page, sheet = flow.page, self.sheet
        left, top = SIDE + self.x, flow.y + 1.0
        page.box(left, top, self.wide, self.tall, fill="#ffffff", width=0.5)
        for area in sheet.remains:
            self._remainder(page, left, top, area)
        if sheet.margin_mm > 0 and 2 * sheet.margin_mm < min(sheet.size):
            m = sheet.margin_mm * self.scale
            page.box(
                left + m, top + m, self.wide - 2 * m, self.tall - 2 * m,
                stroke=LINE, width=0.15, dash=(0.5, 1.0),
            )  # fmt: skip
        for part in sheet.parts:
            rings = [r + np.array([left, top]) for r in self._rings(part)]
            page.shapes(rings, fill=STOCK, width=0.3)
        for area in sheet.keep_outs:
            self._keep_out(page, left, top, area)
        for part, name in zip(sheet.parts, self.names, strict=True):
            if name is not None:
                self._draw_name(page, left, top, part, name)
        for column in self.columns:
            self._draw_beside(page, left, top, column)
        self._starts(page, left, top)
        self._dimensions(page, left, top)
        flow.y = top + self.tall + 7.0

    def _draw_name(
        self, page: Page, left: float, top: float, part: PlacedPart, name: _Name
    ) -> None:
        x, y = left + name.at[0], top + name.at[1]
        arrow = 3.2 * name.size / _SIZES[0] if part.up is not None else 0.0
        first = width_mm(printed(name.lines[0]), name.size, bold=True)
        matrix = _TURNED if name.turned else _UPRIGHT
        lift = 0.36 * name.size - (0.0 if len(name.lines) == 1 else 0.47 * name.size)
        for i, words in enumerate(name.lines):
            size = name.size if i == 0 else 0.75 * name.size
            down = lift if i == 0 else lift + 0.95 * name.size
            along = arrow / 2 if i == 0 else 0.0
            # along and down in the letters' own frame, then on the page
            px = x + matrix[0] * along + matrix[2] * down
            py = y + matrix[1] * along + matrix[3] * down
            put(page, px, py, words, size, bold=i == 0, anchor="middle", matrix=matrix)
        if part.up is not None:
            back, down = -first / 2 - arrow * 0.12, lift - 0.36 * name.size
            px = x + matrix[0] * back + matrix[2] * down
            py = y + matrix[1] * back + matrix[3] * down
            _arrow(page, (px, py), part.up, 0.8 * name.size)

    def _beside_columns(self) -> list[_Beside]:
        """Where names go that found no room on their parts: at the left and the right of the sheet."""
        waiting = [
            (self._spot(p), p)
            for p, n in zip(self.sheet.parts, self.names, strict=True)
            if n is None
        ]
        waiting.sort(key=lambda w: (round(w[0][0], 3), round(w[0][1], 3)))
        # each to the nearer side, unless one side alone is too short for its own
        cut = sum(w[0][0] <= self.wide / 2 for w in waiting)
        if max(cut, len(waiting) - cut) * _BESIDE[0][1] > self.tall:
            cut = (len(waiting) + 1) // 2
        columns = []
        for way, group in ((-1, waiting[:cut]), (1, waiting[cut:])):
            group.sort(key=lambda w: (round(w[0][1], 3), round(w[0][0], 3)))
            size, pitch = next((b for b in _BESIDE if len(group) * b[1] <= self.tall), _BESIDE[-1])
            count = max(1, int(self.tall / pitch))
            self.unnamed += [p for _, p in group[count:]]
            columns.append(_Beside(way=way, size=size, pitch=pitch, named=tuple(group[:count])))
        return columns

    def _draw_beside(self, page: Page, left: float, top: float, column: _Beside) -> None:
        way, size = column.way, column.size
        edge = left - self.left_dimension if way < 0 else left + self.wide
        levels = _spread([p[1] for p, _ in column.named], column.pitch, self.tall)
        for ((px, py), part), level in zip(column.named, levels, strict=True):
            start = edge + way * 4.0
            a, b = (left + px, top + py), (start, top + level)
            page.line(a, b, width=0.55, stroke="#ffffff")
            page.line(a, b, width=0.13)
            page.circle(a, 0.45, fill=INK, width=0.1)
            y = top + level + 0.36 * size
            x = start + way * 0.8
            if part.up is not None:
                _arrow(page, (x + way * 1.0, top + level), part.up, 0.9 * size)
                x += way * 2.4
            put(
                page,
                x,
                y,
                _beside(part),
                size,
                bold=True,
                anchor="start" if way > 0 else "end",
                room=max(_MOST_GUTTER - 9.0, 1.0),
            )

    def _spot(self, part: PlacedPart) -> Point:
        """A place on the part that a line can lead to."""
        import shapely

        rings = self._rings(part)
        spot = shapely.point_on_surface(shapely.Polygon(rings[0], rings[1:]))
        return float(spot.x), float(spot.y)

    def _keep_out(self, page: Page, left: float, top: float, area: Area) -> None:
        x, y, w, h = self._on_paper(left, top, area)
        if w <= 0 or h <= 0:
            return
        page.box(x, y, w, h, fill="#ffffff", width=0.35)
        for a, b in _hatch(x, y, w, h, 1.8):
            page.line(a, b, width=0.2, stroke=GREY)
        name, size = shrunk(area.name or "keep out", 2.2, w - 1.0, least=1.5)
        wide = width_mm(name, size)
        if h > size * 1.3 and not name.endswith("…"):
            page.box(
                x + (w - wide) / 2 - 0.4, y + h / 2 - 0.6 * size, wide + 0.8, 1.2 * size,
                fill="#ffffff", stroke="none",
            )  # fmt: skip
            put(page, x + w / 2, y + h / 2 + 0.36 * size, name, size, anchor="middle")

    def _remainder(self, page: Page, left: float, top: float, area: Area) -> None:
        x, y, w, h = self._on_paper(left, top, area)
        if w <= 0 or h <= 0:
            return
        page.box(x, y, w, h, stroke=GREY, width=0.25, dash=(2.0, 0.8, 0.4, 0.8))
        unit = self.sheet.unit
        lines = [area.name or "remains", _rectangle(area.width, area.height, unit)]
        turned = w < 25.0 < h
        long, deep = (h, w) if turned else (w, h)
        size = 2.2
        if deep < 2 * size * 1.3:
            lines = [" ".join(lines)]
        if deep < size * 1.3:
            return
        matrix = _TURNED if turned else _UPRIGHT
        for i, words in enumerate(lines):
            down = (i - (len(lines) - 1) / 2) * 1.25 * size + 0.36 * size
            px, py = x + w / 2 + matrix[2] * down, y + h / 2 + matrix[3] * down
            put(
                page,
                px,
                py,
                words,
                size,
                anchor="middle",
                fill=GREY,
                room=long - 1.0,
                matrix=matrix,
            )

    def _on_paper(self, left: float, top: float, area: Area) -> tuple[float, float, float, float]:
        """A rectangle clipped to the sheet: left, top, width, height on the paper."""
        x0, x1 = max(area.x, 0.0), min(area.x + area.width, self.sheet.size[0])
        y0, y1 = max(area.y, 0.0), min(area.y + area.height, self.sheet.size[1])
        x, y = self.there(x0, y1)
        return left + x, top + y, (x1 - x0) * self.scale, (y1 - y0) * self.scale

    def _starts(self, page: Page, left: float, top: float) -> None:
        """Dots where cuts start; a number beside each that has room for it."""
        taken: list[tuple[float, float, float, float]] = []
        size = 1.7
        for start in self.sheet.starts:
            x, y = self.there(*start.at)
            x, y = left + x, top + y
            page.circle((x, y), 0.4, fill=INK, stroke="#ffffff", width=0.15)
            wide = width_mm(str(start.number), size, bold=True)
            for dx, dy in ((0.6, -0.5), (-0.6 - wide, -0.5), (0.6, 1.7), (-0.6 - wide, 1.7)):
                box = (x + dx, y + dy - 0.75 * size, x + dx + wide, y + dy)
                if all(
                    box[2] < t[0] or t[2] < box[0] or box[3] < t[1] or t[3] < box[1] for t in taken
                ):
                    page.box(
                        box[0] - 0.15, box[1] - 0.15, wide + 0.3, 0.75 * size + 0.3,
                        fill="#ffffff", stroke="none",
                    )  # fmt: skip
                    put(page, box[0], box[3], str(start.number), size, bold=True)
                    taken.append(box)
                    break

    def _dimensions(self, page: Page, left: float, top: float) -> None:
        """Size of the sheet along both sides, the corner of the bed, and the grain."""
        sheet, unit = self.sheet, self.sheet.unit
        y = top + self.tall + 3.6
        put(page, left + self.wide / 2, y, in_unit(sheet.size[0], unit, places=1), 2.4,
            anchor="middle")  # fmt: skip
        put(page, left - 1.6, top + self.tall / 2, in_unit(sheet.size[1], unit, places=1), 2.4,
            anchor="middle", matrix=_TURNED)  # fmt: skip
        page.line(
            (left - 1.0, top + self.tall + 1.0), (left + 5.0, top + self.tall + 1.0), width=0.3
        )
        page.line(
            (left - 1.0, top + self.tall + 1.0), (left - 1.0, top + self.tall - 5.0), width=0.3
        )
        put(page, left - 0.6, y + 0.2, "X0 Y0", 2.0, fill=GREY)


def _legend(flow: Flow, sheet: SheetPicture, drawn: _Picture) -> None:
    """Scale bar, grain, what the signs mean, and names that found no place."""
    bar = _bar(sheet, drawn.scale)
    y = flow.y + 2.0
    long = bar * drawn.scale
    for i in range(4):
        flow.page.box(
            SIDE + i * long / 4, y, long / 4, 1.2, fill=INK if i % 2 == 0 else "#ffffff", width=0.2
        )
    said = in_unit(bar, sheet.unit, places=0 if sheet.unit == "mm" else -1)
    x = SIDE + long + 1.5
    x += put(flow.page, x, y + 1.5, f"{said}, scale 1 : {1 / drawn.scale:.2f}", SMALL)
    words = []
    if sheet.grain:
        ax, ay = (3.5, 0.0) if sheet.grain == "x" else (0.0, 2.0)
        x += 5.0
        middle = (x + 3.5, y + 0.7)
        ends = ((middle[0] - ax, middle[1] - ay), (middle[0] + ax, middle[1] + ay))
        flow.page.line(*ends, width=0.35)
        for tip, way in zip(ends, ((-1, -1), (1, 1)), strict=True):
            _head(flow.page, tip, (way[0] * (ax > 0), way[1] * (ay > 0)), 1.1)
        x += 8.5
        x += put(flow.page, x, y + 1.5, f"grain along {sheet.grain.upper()}", SMALL)
    else:
        words.append("grain not stated")
    if any(p.up for p in sheet.parts):
        words.append("arrow: the part's own up")
    if sheet.starts:
        words.append("dot with number: where that cut starts")
    if any(p.cuts for p in sheet.parts):
        words.append("cut, cuts: the part's steps in the cut sequence")
    if sheet.keep_outs:
        words.append("hatched: keep out")
    if sheet.margin_mm > 0:
        words.append(f"dotted: {in_unit(sheet.margin_mm, sheet.unit, places=1)} margin")
    if sheet.remains:
        words.append("dash and dot: remains")
    flow.y = y + 3.6
    flow.paragraph("; ".join(words), size=SMALL, fill=GREY)
    if drawn.unnamed:
        listed = (f"{_beside(p)} at {_at(p, sheet)}" for p in drawn.unnamed)
        flow.paragraph(
            "Without a name in the picture, by the middle of the part from X0 Y0: "
            + "; ".join(listed),
            size=SMALL,
        )


def _at(part: PlacedPart, sheet: SheetPicture) -> str:
    x, y = ((part.rings[0].min(axis=0) + part.rings[0].max(axis=0)) / 2).tolist()
    return f"{in_unit(x, sheet.unit, places=0)}, {in_unit(y, sheet.unit, places=0)}"


def _cuts(part: PlacedPart) -> str:
    """``'cut 4'``, ``'cuts 5 to 8'``."""
    return f"{'cut' if part.cuts.isdigit() else 'cuts'} {part.cuts}"


def _beside(part: PlacedPart) -> str:
    """The name on one line, with its numbers in the cut sequence."""
    return f"{part.label}, {_cuts(part)}" if part.cuts else part.label


def _rectangle(wide: float, high: float, unit: str) -> str:
    a, b = (
        in_unit(wide, "in" if unit == "in" else "mm", places=0),
        in_unit(high, "in" if unit == "in" else "mm", places=0),
    )
    return f"{a.split()[0]} × {b}"


def _bar(sheet: SheetPicture, scale: float) -> float:
    """Length of the scale bar, mm on the sheet: about 40 mm on paper, round in its unit."""
    unit = 1.0 if sheet.unit == "mm" else 25.4
    wanted = 40.0 / scale / unit
    power = 10.0 ** math.floor(math.log10(wanted))
    return max(k * power for k in (1.0, 2.0, 4.0, 5.0) if k * power <= wanted) * unit


def _spread(levels: list[float], pitch: float, high: float) -> list[float]:
    """Levels in ascending sequence, moved apart to the pitch, within 0 to ``high``."""
    out: list[float] = []
    floor = pitch / 2
    for level in levels:
        floor = max(level, floor)
        out.append(floor)
        floor += pitch
    ceiling = high - pitch / 2
    for i in range(len(out) - 1, -1, -1):
        out[i] = min(out[i], ceiling)
        ceiling = out[i] - pitch
    return out


def _hatch(x: float, y: float, w: float, h: float, pitch: float) -> Iterator[tuple[Point, Point]]:
    """Lines at 45 degrees within a rectangle."""
    for k in range(1, int((w + h) / pitch) + 1):
        c = k * pitch  # the line x + y = c from the upper left corner
        a = (x + min(c, w), y + max(c - w, 0.0))
        b = (x + max(c - h, 0.0), y + min(c, h))
        if a[0] - b[0] > 0.05:
            yield a, b


def _arrow(page: Page, middle: Point, towards: Towards, long: float) -> None:
    """A short arrow about its middle."""
    dx, dy = _WAY[towards]
    half = long / 2
    tail = (middle[0] - dx * half, middle[1] - dy * half)
    tip = (middle[0] + dx * half, middle[1] + dy * half)
    page.line(tail, tip, width=0.3)
    _head(page, tip, (dx, dy), 0.45 * long)


def _head(page: Page, tip: Point, way: Point, long: float) -> None:
    """The head of an arrow."""
    (x, y), (dx, dy) = tip, way
    back = (x - dx * long, y - dy * long)
    half = 0.45 * long
    page.shape(
        [
            tip,
            (back[0] - dy * half, back[1] + dx * half),
            (back[0] + dy * half, back[1] - dx * half),
        ],
        fill=INK,
        width=0.1,
    )

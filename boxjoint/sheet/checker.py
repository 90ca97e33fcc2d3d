"""Prove a nest on the real outlines, sharing nothing with the search.

The search lays down rectangles in rounded units. Here the true cut paths, with their tabs, slots and
holes, are put where the nest says, and every distance is measured in whole nanometres:

- every copy is there once, on a sheet that exists, of its own material and thickness;
- it lies turned as its turn and grain allow, and the members of a strip lie end to end;
- it stays within margin and bed, and clear of keep-outs and of every other cut path by the spacing;
- no part lies on another's material, and one in another's window names it as its host.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import isqrt

import numpy as np

from boxjoint.errors import ProofFailed
from boxjoint.geometry.rings import Ints, Rings
from boxjoint.sheet.records import (
    Item,
    KeepOut,
    Nest,
    NestAsk,
    NestedSheet,
    Place,
    Placement,
    SheetStock,
    Strip,
    size_text,
)
from boxjoint.units import format_mm

__all__ = ["Outlines", "check_nest", "nest_faults"]

#: The compensated cut path of an item as it is placed, anywhere: it is moved to its place.
Outlines = Callable[[Placement], Rings]

_FAR = 2_000_000_000  # nm; distances beyond it are all the same, and their squares stay in int64


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """A cut path at its place: (n, 4) int64 sides as (least x, least y, greatest x, greatest y).

    The first ``outer`` sides are those of the outer ring, the others of holes.
    """

    sides: Ints
    outer: int
    extent: tuple[int, int, int, int]

    def near(self, box: tuple[int, int, int, int], reach: int) -> Ints:
        """Sides no further than ``reach`` from a box along x and along y."""
        s = self.sides
        return s[
            (s[:, 0] <= box[2] + reach)
            & (s[:, 2] >= box[0] - reach)
            & (s[:, 1] <= box[3] + reach)
            & (s[:, 3] >= box[1] - reach)
        ]

    def holds(self, x: int, y: int) -> bool:
        """Whether a point that lies on no side lies on material: crossings of the ray to the right."""
        return _crossings(self.sides, x, y) % 2 == 1

    def walls_in(self, x: int, y: int) -> bool:
        """Whether a point that lies on no side lies in a hole."""
        return _crossings(self.sides[: self.outer], x, y) % 2 == 1 and not self.holds(x, y)


def _crossings(sides: Ints, x: int, y: int) -> int:
    """How many upright sides a ray to the right meets; an end counts where it is the lower one."""
    upright = sides[:, 0] == sides[:, 2]
    met = upright & (sides[:, 1] <= y) & (y < sides[:, 3]) & (sides[:, 0] > x)
    return int(np.count_nonzero(met))


def _shape(rings: Rings, x: int, y: int) -> _Shape:
    x0, y0, x1, y1 = rings.extent
    a = rings.xy + np.array([x - x0, y - y0], dtype=np.int64)
    b = a[rings.following]
    sides = np.concatenate([np.minimum(a, b), np.maximum(a, b)], axis=1)
    return _Shape(sides, int(rings.start[1]), (x, y, x + x1 - x0, y + y1 - y0))


def _box(x0: int, y0: int, x1: int, y1: int) -> Ints:
    return np.array(
        [[x0, y0, x1, y0], [x1, y0, x1, y1], [x0, y1, x1, y1], [x0, y0, x0, y1]], dtype=np.int64
    )


def _plain(p: Placement) -> _Shape:
    """The rectangle of an item, less its windows."""
    boxes = [_box(*p.extent)]
    for x, y, w, h in p.item.windows_at(p.quarters):
        boxes.append(_box(p.x + x, p.y + y, p.x + x + w, p.y + y + h))
    return _Shape(np.concatenate(boxes), 4, p.extent)


def _distance(a: Ints, b: Ints) -> int:
    """Least distance between two sets of sides, nm, rounded down; 0 where any touch or cross."""
    if not len(a) or not len(b):
        return _FAR
    least = 2 * _FAR * _FAR
    for part in np.array_split(a, len(a) * len(b) // 2_000_000 + 1):
        gap = []
        for k in (0, 1):
            g = np.maximum(part[:, None, k], b[None, :, k]) - np.minimum(
                part[:, None, k + 2], b[None, :, k + 2]
            )
            gap.append(np.clip(g, 0, _FAR))
        least = min(least, int((gap[0] * gap[0] + gap[1] * gap[1]).min()))
    return isqrt(least)


def _meet(a: tuple[int, int, int, int], b: tuple[int, int, int, int], reach: int) -> bool:
    return (
        a[0] - b[2] < reach and b[0] - a[2] < reach and a[1] - b[3] < reach and b[1] - a[3] < reach
    )


def _within(inner: tuple[int, int, int, int], outer: tuple[int, int, int, int]) -> bool:
    return (
        outer[0] <= inner[0]
        and outer[1] <= inner[1]
        and inner[2] <= outer[2]
        and inner[3] <= outer[3]
    )


def nest_faults(
    nest: Nest,
    items: Sequence[Place],
    sheets: Sequence[SheetStock],
    ask: NestAsk,
    outlines: Outlines | None = None,
) -> tuple[str, ...]:
    """Return everything that is wrong with a nest, as sentences; nothing when it holds.

    Parameters
    ----------
    nest
        What is to be proved.
    items, sheets, ask
        What was asked.
    outlines
        The cut path of each placement as it lies (already turned and compensated for its
        direction), at any place. ``None``: the rectangles of the items, less their windows.
    """
    faults = [*_count_faults(nest, items), *_stock_faults(nest, sheets, ask)]
    known: dict[tuple[tuple[str, str], int], Rings] = {}
    for number, sheet in enumerate(nest.sheets, 1):
        shapes = []
        for p in sheet.placements:
            if outlines is None:
                shapes.append(_plain(p))
                continue
            mark = (p.item.key, p.quarters)
            if mark not in known:
                known[mark] = outlines(p)
            shapes.append(_shape(known[mark], p.x, p.y))
        where = f"sheet {number} ({sheet.stock.name})"
        faults += [f"{where}: {f}" for f in _sheet_faults(sheet, shapes, ask)]
    for item in items:
        if isinstance(item, Strip):
            faults += _strip_faults(nest, item)
    return tuple(faults)


def check_nest(
    nest: Nest,
    items: Sequence[Place],
    sheets: Sequence[SheetStock],
    ask: NestAsk,
    outlines: Outlines | None = None,
) -> None:
    """Raise unless the nest holds; see :func:`nest_faults`.

    Raises
    ------
    ProofFailed
        Names the first fault (the pair and the distance); ``data['faults']`` has all.
    """
    faults = nest_faults(nest, items, sheets, ask, outlines)
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        raise ProofFailed(
            f"the nest does not hold: {faults[0]}{more}",
            do="this is a fault of the program: report it with the job",
            faults=faults,
        )


def _members(items: Sequence[Place]) -> list[Item]:
    return [m for item in items for m in (item.members if isinstance(item, Strip) else (item,))]


def _count_faults(nest: Nest, items: Sequence[Place]) -> list[str]:
    wanted = {(m.key, c) for m in _members(items) for c in range(1, m.quantity + 1)}
    asked = {m.key: m for m in _members(items)}
    faults = []
    seen: set[tuple[tuple[str, str], int]] = set()
    for p in nest.placements:
        mark = (p.item.key, p.copy)
        if asked.get(p.item.key) != p.item:
            faults.append(f"{p.label} is not what was asked")
        elif mark in seen:
            faults.append(f"{p.label} is there twice")
        elif mark not in wanted:
            faults.append(f"{p.label} is one more than was asked")
        seen.add(mark)
    for key, copy in sorted(wanted - seen):
        faults.append(f"{' '.join(key).strip()} {copy} is missing")
    return faults


def _stock_faults(nest: Nest, sheets: Sequence[SheetStock], ask: NestAsk) -> list[str]:
    faults = []
    stock = {s.name: s for s in sheets}
    for used, count in nest.counted():
        if stock.get(used.name) != used:
            faults.append(f"sheet {used.name!r} is none of those given")
        elif used.count is not None and count > used.count:
            faults.append(f"{count} sheets {used.name!r} are used of {used.count}")
    for number, sheet in enumerate(nest.sheets):
        for p in sheet.placements:
            if p.sheet != number:
                faults.append(f"{p.label} names sheet {p.sheet + 1}, lies on {number + 1}")
            if p.item.material.casefold().split() != sheet.stock.material.casefold().split():
                faults.append(
                    f"{p.label} is of {p.item.material}, its sheet of {sheet.stock.material}"
                )
            off = abs(p.item.thickness - sheet.stock.thickness)
            if off > ask.thickness_band:
                faults.append(f"{p.label} lies on a sheet {format_mm(off)} off its thickness")
            if p.quarters not in p.item.turns_on(sheet.stock.grain):
                faults.append(
                    f"{p.label} is turned by {p.quarters} quarters: turn {p.item.turn}, "
                    f"grain {p.item.grain or 'free'}, sheet {sheet.stock.grain or 'without grain'}"
                )
    return faults


def _sheet_faults(sheet: NestedSheet, shapes: Sequence[_Shape], ask: NestAsk) -> list[str]:
    stock, placed = sheet.stock, sheet.placements
    faults = []
    room = [ask.margin, ask.margin, stock.width - ask.margin, stock.height - ask.margin]
    if ask.bed is not None:
        room[2], room[3] = min(room[2], ask.bed.width), min(room[3], ask.bed.height)
    keep_outs = (*ask.keep_outs, *stock.keep_outs)
    for p, shape in zip(placed, shapes, strict=True):
        x0, y0, x1, y1 = shape.extent
        said = p.item.size_at(p.quarters)
        if x1 - x0 > said[0] or y1 - y0 > said[1]:
            faults.append(
                f"{p.label} is cut {size_text(x1 - x0, y1 - y0)}, nested {size_text(*said)}"
            )
        over = max(room[0] - x0, room[1] - y0, x1 - room[2], y1 - room[3])
        if over > 0:
            faults.append(f"{p.label} reaches {format_mm(over, places=6)} beyond margin or bed")
        faults += [
            f"{p.label} is {format_mm(d, places=3)} from {k.name}, "
            f"spacing {format_mm(ask.spacing, places=3)}"
            for k in keep_outs
            if (d := _to_keep_out(shape, k, ask.spacing)) < ask.spacing
        ]
    for i, j in _near_pairs([s.extent for s in shapes], ask.spacing):
        faults += _pair_faults(i, j, placed, shapes, ask.spacing)
    for i, p in enumerate(placed):
        faults += _host_faults(i, p, placed, shapes)
    return faults


def _to_keep_out(shape: _Shape, keep_out: KeepOut, spacing: int) -> int:
    box = (
        keep_out.x,
        keep_out.y,
        keep_out.x + keep_out.width,
        keep_out.y + keep_out.height,
    )
    if not _meet(shape.extent, box, spacing):
        return spacing
    d = _distance(shape.near(box, spacing), _box(*box))
    if d and (shape.holds(box[0], box[1]) or _within(shape.extent, box)):
        return 0
    return d


def _near_pairs(extents: Sequence[tuple[int, int, int, int]], reach: int) -> list[tuple[int, int]]:
    """Pairs of extents that are less than ``reach`` apart along x and along y; a sweep along x."""
    order = sorted(range(len(extents)), key=lambda i: extents[i][0])
    pairs = []
    open_: list[int] = []
    for i in order:
        open_ = [j for j in open_ if extents[i][0] - extents[j][2] < reach]
        pairs += [(min(i, j), max(i, j)) for j in open_ if _meet(extents[i], extents[j], reach)]
        open_.append(i)
    return sorted(pairs)


def _pair_faults(
    i: int, j: int, placed: Sequence[Placement], shapes: Sequence[_Shape], spacing: int
) -> list[str]:
    a, b = shapes[i], shapes[j]
    names = f"{placed[i].label} and {placed[j].label}"
    d = _distance(a.near(b.extent, spacing), b.near(a.extent, spacing))
    if d == 0:
        return [f"{names} overlap or touch: distance 0.000 mm"]
    # outlines that do not meet: one lies on the other's material, or they are apart
    for outer, inner in ((a, b), (b, a)):
        x, y = int(inner.sides[0, 0]), int(inner.sides[0, 1])
        if _within(inner.extent, outer.extent) and outer.holds(x, y):
            return [f"{names} overlap: one lies on the other, distance 0.000 mm"]
    if d < spacing:
        return [
            f"{names} are {format_mm(d, places=6)} apart, spacing {format_mm(spacing, places=6)}"
        ]
    return []


def _host_faults(
    i: int, p: Placement, placed: Sequence[Placement], shapes: Sequence[_Shape]
) -> list[str]:
    """A part inside the extent of others lies in a window of the tightest of them: its host."""
    around = [
        j for j in range(len(placed)) if j != i and _within(shapes[i].extent, shapes[j].extent)
    ]
    # within the extent of a concave outline a part may still lie outside it
    x, y = int(shapes[i].sides[0, 0]), int(shapes[i].sides[0, 1])
    around = [j for j in around if shapes[j].walls_in(x, y)]
    if p.host is None:
        if around:
            return [f"{p.label} lies in a window of {placed[around[0]].label} and does not say so"]
        return []
    if p.host not in around:
        return [f"{p.label} says that it lies in a window where it does not"]
    seen, at = {i}, p.host
    while at is not None:
        if at in seen:
            return [f"{p.label} lies in a window of itself"]
        seen.add(at)
        after = placed[at].host
        if after is None:
            break
        at = after
    return []


def _strip_faults(nest: Nest, strip: Strip) -> list[str]:
    faults = []
    at = {(p.item.key, p.copy): p for p in nest.placements}
    for copy in range(1, strip.quantity + 1):
        found = [at.get((m.key, copy)) for m in strip.members]
        row = [p for p in found if p is not None]
        if len(row) < len(found):
            continue  # said already: missing
        if len({(p.sheet, p.quarters) for p in row}) > 1:
            faults.append(f"{strip.label} {copy} is not on one sheet, turned together")
            continue
        x, y = (
            row[0].x - strip.offsets(row[0].quarters)[0][0],
            row[0].y - strip.offsets(row[0].quarters)[0][1],
        )
        for p, (dx, dy) in zip(row, strip.offsets(row[0].quarters), strict=True):
            if (p.x, p.y) != (x + dx, y + dy):
                faults.append(f"{strip.label} {copy}: {p.label} does not follow on")
    return faults

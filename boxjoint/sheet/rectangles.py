"""The nesting problem in small whole numbers, and free space as maximal empty rectangles.

Here everything is a rectangle in units of 0.01 mm, already grown by the spacing: no two may overlap,
touching is allowed. A part has at most two ways to lie (as drawn, turned by a quarter), since a
rectangle upside down is the same rectangle.

The free space of a bin is the list of all maximal empty rectangles in it (a rectangle that is free
and lies in no larger free one). A part fits if and only if it fits into one of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

__all__ = [
    "UNIT_NM",
    "Bin",
    "Layout",
    "Part",
    "Problem",
    "Rect",
    "Spot",
    "Way",
    "empty_rectangles",
    "occupy",
    "release",
]

#: One unit of length of the search, nm: 0.01 mm.
UNIT_NM = 10_000
#: (x0, y0, x1, y1), x0 < x1, y0 < y1.
Rect = tuple[int, int, int, int]
#: (index of the part, x, y, index of the way) of a part in a bin.
Spot = tuple[int, int, int, int]
#: What lies in each bin.
Layout = list[list[Spot]]


@dataclass(frozen=True, slots=True)
class Way:
    """One way to lie: extent, the quarter turns that stand for it, windows relative to the corner."""

    width: int
    height: int
    quarters: int
    windows: tuple[Rect, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """Rectangles that are alike. ``ways[kind]`` are the ways to lie in a bin of that kind."""

    ways: tuple[tuple[Way, ...], ...]
    count: int

    @property
    def size(self) -> tuple[int, int]:
        """(long side, short side) of the first way."""
        way = next(ways[0] for ways in self.ways if ways)
        return max(way.width, way.height), min(way.width, way.height)

    @property
    def area(self) -> int:
        """Width times height of the first way."""
        long, short = self.size
        return long * short


@dataclass(frozen=True, slots=True)
class Bin:
    """Usable room of one sheet; ``kind`` picks the ways to lie, ``blocked`` is not free.

    ``spare`` marks a bin that costs nothing: an offcut.
    """

    width: int
    height: int
    kind: int = 0
    blocked: tuple[Rect, ...] = ()
    spare: bool = False

    @property
    def area(self) -> int:
        """Width times height, blocked room included."""
        return self.width * self.height

    def free(self) -> list[Rect]:
        """Maximal empty rectangles of the empty bin."""
        return empty_rectangles((0, 0, self.width, self.height), self.blocked)


@dataclass(frozen=True)
class Problem:
    """Parts, and the bins in the sequence in which they are filled; the last ones may stay empty."""

    parts: tuple[Part, ...]
    bins: tuple[Bin, ...]

    @cached_property
    def areas(self) -> tuple[int, ...]:
        """Area of each part."""
        return tuple(p.area for p in self.parts)

    @cached_property
    def total(self) -> int:
        """How many rectangles, copies counted."""
        return sum(p.count for p in self.parts)

    @cached_property
    def total_area(self) -> int:
        """Area of all copies."""
        return sum(p.area * p.count for p in self.parts)

    @cached_property
    def needed(self) -> int:
        """Area of all copies less their windows: no layout takes less."""
        windows = sum(
            p.count
            * max(
                sum((c - a) * (d - b) for a, b, c, d in way.windows)
                for ways in p.ways
                for way in ways
            )
            for p in self.parts
        )
        return self.total_area - windows

    @cached_property
    def least(self) -> int:
        """Shortest side of all parts: free rectangles that are narrower are of no use."""
        return min((p.size[1] for p in self.parts), default=1)

    @cached_property
    def windows(self) -> bool:
        """Whether any part offers a window."""
        return any(way.windows for p in self.parts for ways in p.ways for way in ways)

    @cached_property
    def free(self) -> tuple[tuple[Rect, ...], ...]:
        """Maximal empty rectangles of each empty bin."""
        known: dict[Bin, tuple[Rect, ...]] = {}
        for b in self.bins:
            if b not in known:
                known[b] = tuple(b.free())
        return tuple(known[b] for b in self.bins)

    def copies(self) -> list[int]:
        """The index of its part for every copy."""
        return [i for i, p in enumerate(self.parts) for _ in range(p.count)]

    def extent(self, bin_index: int, spots: Sequence[Spot]) -> tuple[int, int]:
        """How far the parts reach to the right and up; (0, 0) when there are none."""
        kind = self.bins[bin_index].kind
        right = up = 0
        for part, x, y, way in spots:
            w = self.parts[part].ways[kind][way]
            right = max(right, x + w.width)
            up = max(up, y + w.height)
        return right, up

    def used(self, bin_index: int, spots: Sequence[Spot]) -> int:
        """Area that is used up when the rest is cut off straight across, the better direction."""
        b = self.bins[bin_index]
        right, up = self.extent(bin_index, spots)
        return min(right * b.height, up * b.width)

    def cost(self, layout: Layout) -> tuple[int, int]:
        """(bins that cost something, area with one bin counted by what is used up); less is better.

        The one is the bin of which most can be kept, among those that cost something if there are any.
        """
        filled = [i for i, spots in enumerate(layout) if spots]
        bought = [i for i in filled if not self.bins[i].spare]
        kept = max(
            (self.bins[i].area - self.used(i, layout[i]) for i in bought or filled), default=0
        )
        return len(bought), sum(self.bins[i].area for i in filled) - kept


def _without_contained(pieces: Iterable[Rect], kept: list[Rect]) -> list[Rect]:
    """Append the pieces that lie in no other rectangle to ``kept``."""
    fresh = list(dict.fromkeys(pieces))
    alive = []
    for i, (a, b, c, d) in enumerate(fresh):
        for p, q, r, s in kept:
            if p <= a and q <= b and c <= r and d <= s:
                break
        else:
            for j, (p, q, r, s) in enumerate(fresh):
                if i != j and p <= a and q <= b and c <= r and d <= s:
                    break
            else:
                alive.append((a, b, c, d))
    return kept + alive


def occupy(free: list[Rect], taken: Rect, least: int = 1) -> list[Rect]:
    """Return the maximal empty rectangles after ``taken`` is taken, without those narrower than ``least``."""
    x0, y0, x1, y1 = taken
    kept: list[Rect] = []
    pieces: list[Rect] = []
    for r in free:
        a, b, c, d = r
        if x1 <= a or c <= x0 or y1 <= b or d <= y0:
            kept.append(r)
            continue
        # an old rectangle that stays is never inside a piece: it would have been inside the old one
        if x0 - a >= least:
            pieces.append((a, b, x0, d))
        if c - x1 >= least:
            pieces.append((x1, b, c, d))
        if y0 - b >= least:
            pieces.append((a, b, c, y0))
        if d - y1 >= least:
            pieces.append((a, y1, c, d))
    return _without_contained(pieces, kept) if pieces else kept


def release(free: list[Rect], room: Rect) -> list[Rect]:
    """Return the free rectangles with the window ``room`` added; a window touches no other room."""
    return [*free, room]


def empty_rectangles(room: Rect, taken: Iterable[Rect], least: int = 1) -> list[Rect]:
    """Return the maximal empty rectangles of ``room`` less ``taken``, none narrower than ``least``."""
    free = [room]
    for rect in taken:
        free = occupy(free, rect, least)
    return free

"""An independent judge of the solver: what the rules say, worked out slowly on a grid of cells.

Nothing here imports ``boxjoint``. Three references, each written from the rules alone:

* :class:`Grid` cuts space along every plane that occurs, asks of every cell which panels' rings
  cover it, and says what a box needs: one owner for every cell of the union of the slabs, none
  outside its slab, volumes that add up in Python ints, panels in one piece, an inside that is free;
* :func:`ownership` gives every cell to a slab by the rules for ends and corners, one by one;
* :func:`kept_by_beam` sweeps a rectangle ``kerf_x`` by ``kerf_y`` along drawn outlines with shapely
  and returns what stays on the sheet; :func:`moved_region` says what should have stayed.

Axes are 0, 1, 2 for x, y, z. A ring "in world coordinates" is an ``(n, 2)`` int64 array of the two
axes in the panel's plane, the lower axis first: (y, z), (x, z) or (x, y).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise
from typing import Any

import numpy as np

IN_PLANE = {0: (1, 2), 1: (0, 2), 2: (0, 1)}

Frame = tuple[tuple[int, int], tuple[int, int]]
Pair = frozenset[str]

# the frames of the glossary, seen from outside, by (normal, outward): ((axis, sign) of right, of up)
FRAMES: dict[tuple[int, int], Frame] = {
    (1, -1): ((0, 1), (2, 1)),  # front
    (1, 1): ((0, -1), (2, 1)),  # back
    (0, -1): ((1, -1), (2, 1)),  # left
    (0, 1): ((1, 1), (2, 1)),  # right
    (2, 1): ((0, 1), (1, 1)),  # top
    (2, -1): ((0, 1), (1, -1)),  # bottom
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A slab as the oracle knows it: a name, the axis of its normal and a cuboid in nm."""

    name: str
    normal: int
    lo: tuple[int, int, int]
    hi: tuple[int, int, int]


def world_points(drawing: np.ndarray, block: Block, frame: Frame) -> np.ndarray:
    """Return points drawn as (right, up) in world coordinates, lower axis first.

    The drawing's origin is the lower left corner of the slab as it is seen.
    """
    columns = {}
    for k, (axis, sign) in enumerate(frame):
        zero = block.lo[axis] if sign > 0 else block.hi[axis]
        columns[axis] = zero + sign * np.asarray(drawing)[:, k]
    return np.column_stack([columns[axis] for axis in sorted(columns)])


def mirrors(frame: Frame) -> bool:
    """Whether (right, up) turns the other way than the two axes, lower first."""
    (right, right_sign), (up, up_sign) = frame
    return (right_sign * up_sign < 0) != (right > up)


def drawing_matrix(block: Block, frame: Frame) -> list[float]:
    """The affine map from world mm (lower axis first) to the drawing's mm, as shapely takes it."""
    low, high = IN_PLANE[block.normal]
    rows, shifts = [], []
    for axis, sign in frame:
        zero = block.lo[axis] if sign > 0 else block.hi[axis]
        rows += [float(sign * (axis == low)), float(sign * (axis == high))]
        shifts.append(-sign * zero / 1e6)
    return [*rows, *shifts]


def signed_area(ring: np.ndarray) -> int:
    """Twice the signed area of a closed ring, exactly (anticlockwise is positive)."""
    points = [(int(u), int(v)) for u, v in ring]
    return sum(
        u0 * v1 - u1 * v0
        for (u0, v0), (u1, v1) in zip(points, points[1:] + points[:1], strict=True)
    )


# ---------------------------------------------------------------------------------------------
# the grid
# ---------------------------------------------------------------------------------------------


class Grid:
    """Cells between all planes of slabs and rings, and which panels cover each.

    Parameters
    ----------
    blocks
        The slabs.
    rings
        Per panel name its nominal rings in world coordinates, outer rings and holes alike.
    extra
        Further planes per axis, for instance those of the inside asked for.
    """

    def __init__(
        self,
        blocks: Sequence[Block],
        rings: Mapping[str, Sequence[np.ndarray]] | None = None,
        extra: Sequence[Iterable[int]] = ((), (), ()),
    ) -> None:
        self.blocks = {block.name: block for block in blocks}
        self.rings = rings or {}
        planes: list[set[int]] = [set(map(int, e)) for e in extra]
        for block in blocks:
            for axis in range(3):
                planes[axis] |= {block.lo[axis], block.hi[axis]}
        for name, outlines in self.rings.items():
            u, v = IN_PLANE[self.blocks[name].normal]
            for ring in outlines:
                planes[u] |= {int(c) for c in ring[:, 0]}
                planes[v] |= {int(c) for c in ring[:, 1]}
        self.planes = [np.array(sorted(p), dtype=np.int64) for p in planes]
        self.shape = tuple(len(p) - 1 for p in self.planes)
        self.union = np.zeros(self.shape, dtype=bool)
        for block in blocks:
            self.union[self.cells(block.lo, block.hi)] = True
        self.masks = {name: self.covered(name) for name in self.rings}
        self.count = np.zeros(self.shape, dtype=np.int16)
        self.owner = np.full(self.shape, -1, dtype=np.int16)
        for number, name in enumerate(self.blocks):
            if name in self.masks:
                view = self.layer(name)
                self.count[view] += self.spread(name)
                part = self.owner[view]
                part[np.broadcast_to(self.spread(name), part.shape)] = number

    # places ----------------------------------------------------------------------------------

    def index(self, axis: int, place: int) -> int:
        """The number of the plane at ``place``; a place that is no plane is an error."""
        found = int(np.searchsorted(self.planes[axis], place))
        if found >= len(self.planes[axis]) or int(self.planes[axis][found]) != place:
            raise ValueError(f"{place} is no plane of axis {axis}")
        return found

    def cells(self, lo: Sequence[int], hi: Sequence[int]) -> tuple[slice, slice, slice]:
        """The cells of a cuboid whose faces are planes of the grid."""
        a, b, c = (slice(self.index(k, lo[k]), self.index(k, hi[k])) for k in range(3))
        return a, b, c

    def layer(self, name: str) -> tuple[slice, slice, slice]:
        """All cells between the two faces of a slab, far beyond its rectangle too."""
        block = self.blocks[name]
        view = [slice(None)] * 3
        axis = block.normal
        view[axis] = slice(self.index(axis, block.lo[axis]), self.index(axis, block.hi[axis]))
        return view[0], view[1], view[2]

    def spread(self, name: str) -> np.ndarray:
        """The mask of a panel with its normal as a third axis of length 1."""
        return np.expand_dims(self.masks[name], self.blocks[name].normal)

    def covered(self, name: str) -> np.ndarray:
        """Cells of the panel's plane with winding number 1; any other number but 0 is an error."""
        u, v = IN_PLANE[self.blocks[name].normal]
        winding = np.zeros((self.shape[u] + 1, self.shape[v]), dtype=np.int32)
        for ring in self.rings[name]:
            for (u0, v0), (u1, v1) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
                if u0 != u1 and v0 != v1:
                    raise ValueError(f"{name}: a side that follows no axis")
                if u0 == u1 and v0 != v1:
                    i = self.index(u, int(u0))
                    j0, j1 = sorted((self.index(v, int(v0)), self.index(v, int(v1))))
                    winding[i, j0:j1] += 1 if v1 > v0 else -1
        # cells to the left of an upward side are inside an anticlockwise ring
        inside: np.ndarray = np.cumsum(winding[::-1], axis=0)[::-1][1:]
        if not np.isin(inside, (0, 1)).all():
            raise ValueError(f"{name}: rings overlap or turn the wrong way")
        covered: np.ndarray = inside == 1
        return covered

    # what a box needs --------------------------------------------------------------------------

    def faults(self) -> list[str]:
        """Everything that is wrong, in words; empty when the panels share the union exactly."""
        found = []
        if (self.count > 1).any():
            found.append(f"{int((self.count > 1).sum())} cells have two owners or more")
        if (self.union & (self.count == 0)).any():
            found.append(f"{int((self.union & (self.count == 0)).sum())} cells have no owner")
        if (~self.union & (self.count > 0)).any():
            found.append("material outside the union of the slabs")
        for name, mask in self.masks.items():
            block = self.blocks[name]
            allowed = np.zeros_like(mask)
            u, v = IN_PLANE[block.normal]
            view = self.cells(block.lo, block.hi)
            allowed[view[u], view[v]] = True
            if (mask & ~allowed).any():
                found.append(f"{name} leaves its slab")
            if self.pieces(name) != 1:
                found.append(f"{name} is in {self.pieces(name)} pieces")
        if sum(self.volume(name) for name in self.masks) != self.union_volume():
            found.append("volumes do not add up")
        return found

    def pieces(self, name: str) -> int:
        """How many pieces the panel is in; cells that meet at a point only do not connect."""
        from scipy.ndimage import label

        return int(label(self.masks[name])[1])

    def area(self, name: str) -> int:
        """Area in nm2, exactly."""
        u, v = IN_PLANE[self.blocks[name].normal]
        rows = self.masks[name] @ np.diff(self.planes[v])
        return sum(int(r) * int(w) for r, w in zip(rows, np.diff(self.planes[u]), strict=True))

    def volume(self, name: str) -> int:
        """Volume in nm3, exactly."""
        block = self.blocks[name]
        return self.area(name) * (block.hi[block.normal] - block.lo[block.normal])

    def union_volume(self) -> int:
        """Volume of the union of all slabs in nm3, exactly."""
        dx, dy, dz = ([int(d) for d in np.diff(p)] for p in self.planes)
        columns = (self.union @ np.array(dz, dtype=np.int64)).tolist()
        return sum(
            wide * sum(deep * tall for deep, tall in zip(dy, row, strict=True))
            for wide, row in zip(dx, columns, strict=True)
        )

    def is_free(self, lo: Sequence[int], hi: Sequence[int]) -> bool:
        """Whether no panel takes anything of this block of space."""
        return not self.count[self.cells(lo, hi)].any()

    def touches_all_faces(self, lo: Sequence[int], hi: Sequence[int], sides: Iterable[str]) -> bool:
        """Whether the block of space has material against all of each named face (``"x-"``...)."""
        view = list(self.cells(lo, hi))
        for side in sides:
            axis = "xyz".index(side[0])
            beyond = list(view)
            start = view[axis].start - 1 if side[1] == "-" else view[axis].stop
            if start < 0 or start >= self.shape[axis]:
                return False
            beyond[axis] = slice(start, start + 1)
            if not (self.count[tuple(beyond)] == 1).all():
                return False
        return True

    # sides and their roles -----------------------------------------------------------------------

    def sides(self, name: str, *, half_laps: Iterable[Pair] = ()) -> list[Side]:
        """Every unit side of a panel's boundary, with its role by the table of roles.

        ``mixed`` where the cells across differ through the panel's thickness.

        Anticlockwise around material: the panel lies to the left of each side, seen with the lower
        axis to the right and the higher one up.
        """
        laps = set(half_laps)
        mask = np.pad(self.masks[name], 1)
        sides = []
        for axis_in_plane in (0, 1):
            here = mask if axis_in_plane == 0 else mask.T
            for direction in (1, -1):
                beyond = np.roll(here, -direction, axis=0)
                for a, b in zip(*np.nonzero(here & ~beyond), strict=True):
                    i, j = int(a) - 1, int(b) - 1
                    cell = (i, j) if axis_in_plane == 0 else (j, i)
                    sides.append(self._side(name, cell, axis_in_plane, direction, laps))
        return sides

    def _side(
        self,
        name: str,
        cell: tuple[int, int],
        axis_in_plane: int,
        direction: int,
        laps: set[Pair],
    ) -> Side:
        block = self.blocks[name]
        axes = IN_PLANE[block.normal]
        axis = axes[axis_in_plane]
        other = axes[1 - axis_in_plane]
        line = self.planes[axis][cell[axis_in_plane] + (direction > 0)]
        start = self.planes[other][cell[1 - axis_in_plane]]
        stop = self.planes[other][cell[1 - axis_in_plane] + 1]
        thick = range(
            self.index(block.normal, block.lo[block.normal]),
            self.index(block.normal, block.hi[block.normal]),
        )
        found = {
            self._role(name, self._cell(block.normal, cell, k), axis, direction, laps)
            for k in thick
        }
        role, mate = found.pop() if len(found) == 1 else ("mixed", "")
        low, high = (int(line), int(start)), (int(line), int(stop))
        # walking with material on the left: up along the far side of axis 0, back along axis 1
        begin, end = (low, high) if (direction > 0) == (axis_in_plane == 0) else (high, low)
        if axis_in_plane == 1:
            begin, end = (begin[1], begin[0]), (end[1], end[0])
        return Side(begin=begin, end=end, role=role, mate=mate)

    @staticmethod
    def _cell(normal: int, cell: tuple[int, int], depth: int) -> list[int]:
        place = [depth, depth, depth]
        for axis, number in zip(IN_PLANE[normal], cell, strict=True):
            place[axis] = number
        return place

    def _role(
        self,
        name: str,
        place: list[int],
        axis: int,
        direction: int,
        laps: set[Pair],
    ) -> tuple[str, str]:
        names = list(self.blocks)
        beyond = list(place)
        beyond[axis] += direction
        within = 0 <= beyond[axis] < self.shape[axis]
        owner = int(self.owner[tuple(beyond)]) if within else -1
        if owner >= 0 and common(self.blocks[name], self.blocks[names[owner]]) is None:
            owner = -1  # they touch without crossing: no joint, so nothing of a joint's to bear on
        if owner < 0:
            for other, block in self.blocks.items():
                if other != name and block.normal == axis and self._holds(other, place):
                    return "tip", other
            return "rim", ""
        mate = names[owner]
        faced = mate if self.blocks[mate].normal == axis else self._run_through(name, beyond, axis)
        if faced:
            block, own = self.blocks[faced], self.blocks[name]
            both_sides = own.lo[axis] < block.lo[axis] and block.hi[axis] < own.hi[axis]
            return ("cheek" if both_sides else "shoulder"), faced
        return ("floor" if frozenset((name, mate)) in laps else "flank"), mate

    def _run_through(self, name: str, place: list[int], axis: int) -> str:
        """The slab whose stock face a side meets where segments of two others run through a corner.

        There the two own the corner in turn, also part-way through this panel's thickness, so that
        the side meets now a stock face, now a cut edge on the same plane; it counts as the face.
        """
        others = [n for n in self.blocks if n != name and self._holds(n, place)]
        if len(others) != 2 or not self._holds(name, place):
            return ""
        for _, inside in corner_inside([self.blocks[n] for n in (name, *others)]):
            if len(inside) == 1 and set(inside[0].pair) == set(others):
                return next((n for n in others if self.blocks[n].normal == axis), "")
        return ""

    def _holds(self, name: str, place: list[int]) -> bool:
        block = self.blocks[name]
        return all(
            block.lo[k] <= self.planes[k][place[k]] and self.planes[k][place[k] + 1] <= block.hi[k]
            for k in range(3)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """A stretch of a panel's boundary between two planes of the grid, in world coordinates."""

    begin: tuple[int, int]
    end: tuple[int, int]
    role: str
    mate: str


# ---------------------------------------------------------------------------------------------
# who owns what, by the rules
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """The space where two slabs cross, and its kind by geometry alone."""

    pair: tuple[str, str]
    axis: int
    lo: tuple[int, int, int]
    hi: tuple[int, int, int]
    kind: str
    tabbed: str  # of a mortise joint, the slab whose tabs go in; else ""


def common(*blocks: Block | Bar) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """The cuboid common to all, or None when they share no volume."""
    lo = tuple(max(b.lo[k] for b in blocks) for k in range(3))
    hi = tuple(min(b.hi[k] for b in blocks) for k in range(3))
    return (lo, hi) if all(a < b for a, b in zip(lo, hi, strict=True)) else None


def bars(blocks: Sequence[Block]) -> list[Bar]:
    """Every joint of the arrangement."""
    found = []
    for a, b in combinations(blocks, 2):
        both = common(a, b)
        if a.normal == b.normal or both is None:
            continue
        lo, hi = both

        def at_edge(of: Block, mate: Block) -> bool:
            k = mate.normal
            return of.lo[k] == mate.lo[k] or of.hi[k] == mate.hi[k]

        edges = [x.name for x, y in ((a, b), (b, a)) if at_edge(x, y)]
        kind = {2: "finger", 1: "mortise", 0: "half-lap"}[len(edges)]
        found.append(
            Bar(
                pair=(a.name, b.name),
                axis=3 - a.normal - b.normal,
                lo=(lo[0], lo[1], lo[2]),
                hi=(hi[0], hi[1], hi[2]),
                kind=kind,
                tabbed=edges[0] if kind == "mortise" else "",
            )
        )
    return found


def corner_inside(blocks: Sequence[Block]) -> list[tuple[tuple[str, str, str], list[Bar]]]:
    """Every corner, with those of its three bars that it lies inside of (not at an end)."""
    by_pair = {frozenset(bar.pair): bar for bar in bars(blocks)}
    found = []
    for three in combinations(blocks, 3):
        if {b.normal for b in three} != {0, 1, 2}:
            continue
        both = common(*three)
        if both is None:
            continue
        lo, hi = both
        inside = []
        for pair in combinations(three, 2):
            bar = by_pair[frozenset(b.name for b in pair)]
            if bar.lo[bar.axis] < lo[bar.axis] and hi[bar.axis] < bar.hi[bar.axis]:
                inside.append(bar)
        names = (three[0].name, three[1].name, three[2].name)
        found.append((names, inside))
    return found


def runs(blocks: Sequence[Block]) -> dict[Pair, list[tuple[int, int]]]:
    """Per joint the stretches of its bar between the corners that split it."""
    by_name = {b.name: b for b in blocks}
    splits: dict[Pair, list[tuple[int, int]]] = defaultdict(list)
    for names, inside in corner_inside(blocks):
        for bar in bars([by_name[n] for n in names]):
            undisturbed = len(inside) == 1 and inside[0].pair == bar.pair
            if not undisturbed:
                third = by_name[next(n for n in names if n not in bar.pair)]
                splits[frozenset(bar.pair)].append((third.lo[bar.axis], third.hi[bar.axis]))
    found = {}
    for bar in bars(blocks):
        pair = frozenset(bar.pair)
        place = bar.lo[bar.axis]
        stretches = []
        for lo, hi in sorted(splits[pair]):
            if lo > place:
                stretches.append((place, lo))
            place = max(place, hi)
        if place < bar.hi[bar.axis]:
            stretches.append((place, bar.hi[bar.axis]))
        found[pair] = stretches
    return found


def ownership(
    grid: Grid,
    ranks: Sequence[str],
    divisions: Mapping[Pair, Iterable[int]],
    half_laps: Mapping[Pair, tuple[str, int]],
) -> np.ndarray:
    """Who owns each cell by the rules for segments and corners.

    Parameters
    ----------
    grid
        A grid whose planes include every division.
    ranks
        All names, strongest first.
    divisions
        Per joint the planes between its segments, anywhere along the bar.
    half_laps
        Per half-lap the slab that owns the lower segment, and the plane where it ends.

    Returns
    -------
    np.ndarray
        The shape of the grid; numbers of slabs in the sequence of ``grid.blocks``, -1 for nobody.
    """
    blocks = list(grid.blocks.values())
    number = {b.name: k for k, b in enumerate(blocks)}
    by_name = grid.blocks
    strength = {name: -k for k, name in enumerate(ranks)}
    owner = np.full(grid.shape, -1, dtype=np.int16)
    for block in blocks:
        owner[grid.cells(block.lo, block.hi)] = number[block.name]
    stretches = runs(blocks)
    all_bars = {frozenset(bar.pair): bar for bar in bars(blocks)}

    def segments(pair: Pair, lo: int, hi: int) -> list[tuple[int, int, str]]:
        bar = all_bars[pair]
        if bar.kind == "half-lap":
            lower, middle = half_laps[pair]
            upper = next(n for n in pair if n != lower)
            halves = [(lo, min(hi, middle), lower), (max(lo, middle), hi, upper)]
            return [half for half in halves if half[0] < half[1]]
        strong, weak = sorted(pair, key=lambda n: -strength[n])
        if bar.kind == "mortise":
            weak = bar.tabbed
            strong = next(n for n in pair if n != weak)
        edges = [lo, *sorted({d for d in map(int, divisions[pair]) if lo < d < hi}), hi]
        if len(edges) % 2:
            raise ValueError(f"{sorted(pair)}: {len(edges) - 1} segments, which is even")
        return [(a, b, weak if k % 2 else strong) for k, (a, b) in enumerate(pairwise(edges))]

    def give(lo: Sequence[int], hi: Sequence[int], axis: int, a: int, b: int, name: str) -> None:
        low, high = list(lo), list(hi)
        low[axis], high[axis] = max(a, low[axis]), min(b, high[axis])
        if low[axis] < high[axis]:
            owner[grid.cells(low, high)] = number[name]

    for pair, bar in all_bars.items():
        for lo, hi in stretches[pair]:
            for a, b, name in segments(pair, lo, hi):
                give(bar.lo, bar.hi, bar.axis, a, b, name)
    for names, inside in corner_inside(blocks):
        both = common(*(by_name[n] for n in names))
        if both is None:
            raise ValueError("a corner without volume")
        low, high = both
        if len(inside) == 1:
            bar = inside[0]
            pair = frozenset(bar.pair)
            for start, stop in stretches[pair]:
                for a, b, name in segments(pair, start, stop):
                    give(low, high, bar.axis, a, b, name)
        elif len(inside) == 2:
            shared = next(n for n in inside[0].pair if n in inside[1].pair)
            owner[grid.cells(low, high)] = number[shared]
        else:
            holders = set(names)
            if not inside:  # the strongest must hang on to its panel by a segment that ends here
                holders = {
                    name
                    for bar in bars([by_name[n] for n in names])
                    for start, stop in stretches[frozenset(bar.pair)]
                    for a, b, name in segments(frozenset(bar.pair), start, stop)
                    if a == high[bar.axis] or b == low[bar.axis]
                }
            if not holders:
                raise ValueError(f"nobody holds the corner of {names}")
            owner[grid.cells(low, high)] = number[max(holders, key=lambda n: strength[n])]
    return owner


def best_counts(length: int, thicker: int, thinner: int) -> set[int]:
    """Counts that the rule may choose for a run of ``length`` nm: {1}, or the best odd ones.

    Target 2.5 x the thicker mate; least the greater of the thinner mate and 4 mm; most 4 x the
    thicker. An empty set where no odd count keeps the width within both, the rule being silent.
    """
    least, most = max(thinner, 4_000_000), 4 * thicker
    if length < 3 * least:
        return {1}
    target = Fraction(5, 2) * thicker
    allowed = [n for n in range(3, length // least + 1, 2) if Fraction(length, n) <= most]
    if not allowed:
        return set()
    misses = {n: abs(Fraction(length, n) - target) for n in allowed}
    return {n for n in allowed if misses[n] == min(misses.values())}


# ---------------------------------------------------------------------------------------------
# the beam
# ---------------------------------------------------------------------------------------------


def region(rings: Iterable[np.ndarray]) -> Any:
    """The even-odd region of closed rings as a shapely geometry."""
    import shapely

    whole = shapely.Polygon()
    for ring in rings:
        whole = whole.symmetric_difference(shapely.Polygon(ring))
    return whole


def kept_by_beam(
    rings_mm: Sequence[np.ndarray],
    *,
    kerf_x: float,
    kerf_y: float,
    scale_x: float = 1.0,
    scale_y: float = 1.0,
) -> Any:
    """What a rectangular beam leaves of a part when its middle follows the drawn rings.

    The machine cuts everything ``scale`` times as large as drawn; along each side the beam sweeps
    a rectangle half a kerf beyond the side all round, and what it sweeps is gone.
    """
    import shapely

    scaled = [np.asarray(r, dtype=float) * (scale_x, scale_y) for r in rings_mm]
    swept = []
    for ring in scaled:
        following = np.roll(ring, -1, axis=0)
        lo, hi = np.minimum(ring, following), np.maximum(ring, following)
        swept.append(
            shapely.box(
                lo[:, 0] - kerf_x / 2,
                lo[:, 1] - kerf_y / 2,
                hi[:, 0] + kerf_x / 2,
                hi[:, 1] + kerf_y / 2,
            )
        )
    return region(scaled).difference(shapely.union_all(np.concatenate(swept)))


def trace(sides: Sequence[Side]) -> list[list[Side]]:
    """Join unit sides into rings; at a point where two cells touch, stay with the same cell."""
    leaving: dict[tuple[int, int], list[Side]] = defaultdict(list)
    for side in sides:
        leaving[side.begin].append(side)
    rings = []
    unused = set(sides)
    while unused:
        first = side = min(unused, key=lambda s: (s.begin, s.end))
        ring = []
        while side in unused:
            unused.discard(side)
            ring.append(side)
            here = side

            def left_turn(s: Side, before: Side = here) -> int:
                dx, dy = before.end[0] - before.begin[0], before.end[1] - before.begin[1]
                ex, ey = s.end[0] - s.begin[0], s.end[1] - s.begin[1]
                cross = dx * ey - dy * ex
                return (cross > 0) - (cross < 0)

            side = max(leaving[here.end], key=left_turn)
        if side is not first:
            raise ValueError("a ring that does not close")
        rings.append(ring)
    return rings


def moved_rings(
    sides: Sequence[Side], amount_mm: Callable[[Side], float]
) -> list[list[tuple[float, float]]]:
    """Move every side along its outward normal and join them again, in mm.

    Where two collinear sides move differently, the step stands at their shared nominal vertex.
    """
    rings = []
    for ring in trace(sides):
        points: list[tuple[float, float]] = []
        for side, following in zip(ring, [*ring[1:], ring[0]], strict=True):
            x, y = side.end[0] / 1e6, side.end[1] / 1e6
            one, two = _shift(side, amount_mm(side)), _shift(following, amount_mm(following))
            if _along_x(side) == _along_x(following):
                points.append((x + one[0], y + one[1]))
                if one != two:
                    points.append((x + two[0], y + two[1]))
            else:
                points.append((x + one[0] + two[0], y + one[1] + two[1]))
        rings.append(points)
    return rings


def moved_region(sides: Sequence[Side], amount_mm: Callable[[Side], float]) -> Any:
    """The region within :func:`moved_rings`."""
    return region([np.array(r) for r in moved_rings(sides, amount_mm)])


def _along_x(side: Side) -> bool:
    return side.begin[1] == side.end[1]


def outward(side: Side) -> tuple[int, int]:
    """The unit normal that points away from the material (to the right of the side)."""
    dx, dy = side.end[0] - side.begin[0], side.end[1] - side.begin[1]
    return ((dy > 0) - (dy < 0), (dx < 0) - (dx > 0))


def _shift(side: Side, amount: float) -> tuple[float, float]:
    nx, ny = outward(side)
    return nx * amount, ny * amount


# ---------------------------------------------------------------------------------------------
# a solution as the oracle sees it (whatever has these attributes; nothing is imported)
# ---------------------------------------------------------------------------------------------


def blocks_of(arrangement: Any) -> list[Block]:
    """The slabs of an arrangement, strongest first."""
    return [
        Block(name=s.name, normal=s.normal, lo=s.box.lo, hi=s.box.hi) for s in arrangement.slabs
    ]


def world_rings(panel: Any) -> list[np.ndarray]:
    """A panel's nominal rings in world coordinates, outer ones anticlockwise again."""
    slab = panel.slab
    block = Block(name=slab.name, normal=slab.normal, lo=slab.box.lo, hi=slab.box.hi)
    frame = FRAMES[slab.normal, slab.outward]
    found = []
    for start, stop in pairwise(panel.rings.start.tolist()):
        ring = world_points(panel.rings.xy[start:stop], block, frame)
        found.append(ring[::-1] if mirrors(frame) else ring)
    return found


def shares(
    arrangement: Any, joints: Sequence[Any], tabs: Sequence[Any]
) -> tuple[dict[Pair, list[int]], dict[Pair, tuple[str, int]]]:
    """The planes between segments of every joint, and how each half-lap is halved."""
    names = [s.name for s in arrangement.slabs]
    divisions: dict[Pair, list[int]] = {}
    halves: dict[Pair, tuple[str, int]] = {}
    for joint, tab in zip(joints, tabs, strict=True):
        pair = frozenset((names[joint.a], names[joint.b]))
        divisions[pair] = sorted({*tab.lo.tolist(), *tab.hi.tolist()})
        # the stronger keeps the lower segment, and the bar is halved between its outermost runs
        middle = (int(tab.lo[0]) + int(tab.hi[-1])) // 2
        halves[pair] = (names[min(joint.a, joint.b)], middle)
    return divisions, halves


def share_planes(
    blocks: Sequence[Block],
    divisions: Mapping[Pair, Iterable[int]],
    halves: Mapping[Pair, tuple[str, int]],
    extra: Sequence[Iterable[int]] = ((), (), ()),
) -> list[set[int]]:
    """All planes between segments, by axis, and ``extra`` ones."""
    planes = [set(e) for e in extra]
    for bar in bars(blocks):
        pair = frozenset(bar.pair)
        planes[bar.axis] |= {halves[pair][1]} if bar.kind == "half-lap" else set(divisions[pair])
    return planes


def grid_of(solution: Any, extra: Sequence[Iterable[int]] = ((), (), ())) -> Grid:
    """The grid of a solution: cells and their owners from slabs and rings alone."""
    blocks = blocks_of(solution.arrangement)
    divisions, halves = shares(solution.arrangement, solution.joints, solution.tabs)
    return Grid(
        blocks,
        {panel.name: world_rings(panel) for panel in solution.panels},
        share_planes(blocks, divisions, halves, extra),
    )


def misowned(grid: Grid, solution: Any) -> int:
    """How many cells belong to another slab than the rules say."""
    divisions, halves = shares(solution.arrangement, solution.joints, solution.tabs)
    ranks = [s.name for s in solution.arrangement.slabs]
    return int((grid.owner != ownership(grid, ranks, divisions, halves)).sum())


def reference_grid(
    arrangement: Any, joints: Sequence[Any], tabs: Sequence[Any]
) -> tuple[Grid, np.ndarray]:
    """A grid without panels and, by the rules alone, the owner of each of its cells."""
    divisions, halves = shares(arrangement, joints, tabs)
    blocks = blocks_of(arrangement)
    grid = Grid(blocks, None, share_planes(blocks, divisions, halves))
    return grid, ownership(grid, [b.name for b in blocks], divisions, halves)


def owned_pieces(grid: Grid, owner: np.ndarray, name: str) -> int:
    """How many face-connected pieces the cells of one slab make, 0 when it has none."""
    from scipy.ndimage import label

    return int(label(owner == list(grid.blocks).index(name))[1])


def half_lap_pairs(blocks: Sequence[Block]) -> list[Pair]:
    """The pairs of slabs that cross inside both."""
    return [frozenset(bar.pair) for bar in bars(blocks) if bar.kind == "half-lap"]


def named_sides(panel: Any, solution: Any) -> list[Side]:
    """The panel's own sides with their roles and mates, in world coordinates."""
    slab, rings = panel.slab, panel.rings
    block = Block(name=slab.name, normal=slab.normal, lo=slab.box.lo, hi=slab.box.hi)
    frame = FRAMES[slab.normal, slab.outward]
    names = [s.name for s in solution.arrangement.slabs]
    found = []
    for first, stop in pairwise(rings.start.tolist()):
        here = world_points(rings.xy[first:stop], block, frame).tolist()
        for k, (begin, end) in enumerate(zip(here, [*here[1:], here[0]], strict=True)):
            j = int(rings.joint[first + k])
            mate = ""
            if j >= 0:
                joint = solution.joints[j]
                mate = names[joint.b if names[joint.a] == slab.name else joint.a]
            role = ROLES[int(rings.role[first + k])]
            found.append(Side(begin=tuple(begin), end=tuple(end), role=role, mate=mate))
    return found


ROLES = ("rim", "tip", "shoulder", "flank", "cheek", "floor", "step")


def differing_sides(grid: Grid, panel: Any, solution: Any) -> list[tuple[Side, Side | None]]:
    """Unit sides whose role or mate by the table is not the one the panel gives them."""
    given: dict[tuple[int, int], list[Side]] = defaultdict(list)
    for side in named_sides(panel, solution):
        axis = 0 if side.begin[0] == side.end[0] else 1
        given[axis, side.begin[axis]].append(side)
    wrong: list[tuple[Side, Side | None]] = []
    for unit in grid.sides(panel.name, half_laps=half_lap_pairs(list(grid.blocks.values()))):
        axis = 0 if unit.begin[0] == unit.end[0] else 1
        lo, hi = sorted((unit.begin[1 - axis], unit.end[1 - axis]))
        match = None
        for side in given[axis, unit.begin[axis]]:
            a, b = sorted((side.begin[1 - axis], side.end[1 - axis]))
            if a <= lo and hi <= b:
                match = side
        if match is None or (match.role, match.mate) != (unit.role, unit.mate):
            wrong.append((unit, match))
    return wrong


# ---------------------------------------------------------------------------------------------
# contents: things laid down one by one, and the box around them
# ---------------------------------------------------------------------------------------------

# quarter turns of a thing that lies flat, its length along x, its width along y: columns are where
# its length, width and thickness then point
_TURNS = {
    "flat": np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1]]),
    "on edge": np.array([[1, 0, 0], [0, 0, 1], [0, 1, 0]]),  # about its length: width up
    "on end": np.array([[0, 1, 0], [0, 0, 1], [1, 0, 0]]),  # length up, width along x
}
_QUARTER = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1]])


def lay_down(
    size: tuple[int, int, int],
    number: int,
    lie: str,
    turned: bool,
    rows: Mapping[int, int],
    floor: int = 0,
) -> list[tuple[tuple[int, ...], tuple[int, ...]]]:
    """Lay things down in rows on a floor, each as (lo, hi) in nm.

    ``rows`` says how many stand along an axis; the axis of the thickness takes as many as are needed
    unless it is named. Raises ``ValueError`` when the rows are full.
    """
    turn = _QUARTER @ _TURNS[lie] if turned else _TURNS[lie]
    box = turn @ np.array(size)
    thin = int(np.flatnonzero(turn[:, 2])[0])
    full = {axis: rows.get(axis, 1) for axis in range(3)}
    if thin not in rows:
        full[thin] = number
    others = [axis for axis in range(3) if axis != thin]
    placed = []
    for k in range(full[thin]):
        for j in range(full[others[1]]):
            for i in range(full[others[0]]):
                if len(placed) == number:
                    return placed
                at = np.zeros(3, dtype=np.int64)
                at[thin], at[others[1]], at[others[0]] = k, j, i
                lo = at * box + [0, 0, floor]
                placed.append((tuple(lo.tolist()), tuple((lo + box).tolist())))
    if len(placed) < number:
        raise ValueError("the rows are full")
    return placed


def around(things: Sequence[tuple[Sequence[int], Sequence[int]]]) -> tuple[int, int, int]:
    """Size of the cuboid around things that stand on the origin, after seeing that none overlap."""
    for (lo, hi), (other, its) in combinations(things, 2):
        assert any(hi[k] <= other[k] or its[k] <= lo[k] for k in range(3))
    x, y, z = (max(hi[k] for _, hi in things) for k in range(3))
    return x, y, z

"""Rectilinear rings whose sides carry a role and a joint, made from rectangles and moved exactly.

Glossary
--------
rings
    The closed outlines of one flat part: one outer ring, counter-clockwise, then its holes,
    clockwise. The outward normal of every side lies to the right of its travel; in a hole it points
    into the hole.
side
    The straight piece from one vertex to the next. Two neighbouring sides may lie on one line when
    they differ in role or joint; they are never merged.
role
    What a side does (:class:`Role`).
step
    A side of zero nominal length, put where two sides on one line move differently.

A part is a rectangle less some disjoint rectangles. Its boundary is the signed sum of their edges:
edges shared by two rectangles cancel. Sorting the edges by line and by position along it makes this
O(n log n); nothing here grows with the square of the number of sides.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from itertools import pairwise
from operator import mul

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Ints",
    "Rings",
    "Role",
    "cut_rectangles",
    "label",
    "mirrored",
    "move_sides",
    "rectangle",
    "shrunk",
    "turned",
]

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


class Role(IntEnum):
    """What a side of an outline does."""

    RIM = 0
    """Touches nothing."""
    TIP = 1
    """End of a tab: lies in the mate's outer face."""
    SHOULDER = 2
    """Bottom of a slot; bears on the mate's inner face and sets the inside size."""
    FLANK = 3
    """Side of a tab: cut edge against cut edge."""
    CHEEK = 4
    """Side of a slot or mortise that takes a sheet: cut edge against stock face."""
    FLOOR = 5
    """Bottom of a half-lap's slot."""
    STEP = 6
    """Joins two sides on one line that were moved differently."""
    SEAM = 7
    """Tip or bottom of a step of a seam: cut edge against the cut edge of the same panel."""


_ROLES = 8  # labels are (joint + 1) * _ROLES + role, one integer that a cumulative sum can carry


def label(role: Role, joint: int = -1) -> int:
    """Pack a role and a joint (-1 for none) into the one integer that :func:`cut_rectangles` takes."""
    return (joint + 1) * _ROLES + int(role)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rings:
    """The outlines of one flat part.

    Parameters
    ----------
    xy
        (n, 2) int64, nm: where each side starts.
    start
        (m + 1,) int64: ring k holds sides ``start[k]:start[k + 1]``; ring 0 is the outer one.
    role
        (n,) uint8, :class:`Role` of each side.
    joint
        (n,) int32, index of the joint each side belongs to, -1 for none.
    """

    xy: Ints
    start: Ints
    role: NDArray[np.uint8]
    joint: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.xy)

    @property
    def count(self) -> int:
        """How many rings."""
        return len(self.start) - 1

    @property
    def following(self) -> Ints:
        """(n,) index of the side that follows each side on its ring."""
        after = np.arange(1, len(self.xy) + 1)
        after[self.start[1:] - 1] = self.start[:-1]
        return after

    @property
    def leading(self) -> Ints:
        """(n,) index of the side that leads to each side on its ring."""
        before = np.arange(-1, len(self.xy) - 1)
        before[self.start[:-1]] = self.start[1:] - 1
        return before

    @property
    def ends(self) -> Ints:
        """(n, 2) int64, nm: where each side ends."""
        return self.xy[self.following]

    def ring(self, k: int) -> Ints:
        """(p, 2) int64, nm: the vertices of ring ``k``."""
        return self.xy[self.start[k] : self.start[k + 1]]

    def ring_area(self, k: int) -> int:
        """Signed area of ring ``k``, nm2, exact: positive counter-clockwise, negative for a hole."""
        p = self.ring(k)
        x = p[:, 0].tolist()
        y = p[:, 1]
        # Green: only sides along y count; int64 would overflow, Python integers do not
        dy = (np.roll(y, -1) - y).tolist()
        return sum(map(mul, x, dy))

    @property
    def area(self) -> int:
        """Area of the part, holes taken off, nm2, exact."""
        x = self.xy[:, 0].tolist()
        dy = (self.ends[:, 1] - self.xy[:, 1]).tolist()
        return sum(map(mul, x, dy))

    @property
    def perimeter(self) -> int:
        """Length of all sides together, nm."""
        return int(np.abs(self.ends - self.xy).sum())

    @property
    def extent(self) -> tuple[int, int, int, int]:
        """(least x, least y, greatest x, greatest y), nm."""
        lo = self.xy.min(axis=0)
        hi = self.xy.max(axis=0)
        return int(lo[0]), int(lo[1]), int(hi[0]), int(hi[1])

    def direction(self) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
        """Which way each side's outward normal points.

        Returns
        -------
        along_x
            (n,) bool: the normal is along x (the side runs along y).
        sign
            (n,) int64, +1 or -1: the sense of the normal on that axis. A side of zero length has
            sign 0.
        """
        d = self.ends - self.xy
        along_x = d[:, 0] == 0
        # travel +y -> normal +x; travel +x -> normal -y (the normal lies to the right)
        sign = np.where(along_x, np.sign(d[:, 1]), -np.sign(d[:, 0]))
        return along_x, sign

    def corners_only(self) -> list[Ints]:
        """Return each ring's vertices without those that lie on a straight line, (p, 2) nm each."""
        upright = self.ends[:, 0] == self.xy[:, 0]  # the side that starts here runs along y
        bends = upright != upright[self.leading]
        return [self.xy[a:b][bends[a:b]] for a, b in pairwise(self.start.tolist())]


def rectangle(x0: int, y0: int, x1: int, y1: int) -> Rings:
    """Return the plain rectangle from (x0, y0) to (x1, y1), nm, all rims."""
    xy = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=np.int64)
    return Rings(
        xy=xy,
        start=np.array([0, 4], dtype=np.int64),
        role=np.zeros(4, dtype=np.uint8),
        joint=np.full(4, -1, dtype=np.int32),
    )


def _sides(
    line: Ints, lo: Ints, hi: Ints, sign: Ints, tag: Ints
) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Sum the signed edges on parallel lines; return what does not cancel.

    All inputs are (e,): the line's coordinate, the edge's ends along it, the sense of its outward
    normal and its label. At most two edges lie on any place (one part on each side of it).

    Returns
    -------
    (line, lo, hi, sign, tag) of the sides, in ascending (line, lo); neighbours on one line differ in
    sign or tag.
    """
    at = np.concatenate([lo, hi])
    on = np.concatenate([line, line])
    value = np.concatenate([sign, -sign])
    tagged = np.concatenate([sign * tag, -sign * tag])
    order = np.lexsort((at, on))
    on, at = on[order], at[order]
    value, tagged = np.cumsum(value[order]), np.cumsum(tagged[order])
    last = np.empty(len(on), dtype=bool)  # last event of its place: the state that holds after it
    last[-1] = True
    np.logical_or(on[1:] != on[:-1], at[1:] != at[:-1], out=last[:-1])
    on, at, value, tagged = on[last], at[last], value[last], tagged[last]
    tagged = np.where(value == 0, 0, tagged)  # two different labels that cancel leave no side
    # the state sums to zero at the end of every line, so a change of line is a change of state
    change = np.empty(len(on), dtype=bool)
    change[0] = True
    change[1:] = (value[1:] != value[:-1]) | (tagged[1:] != tagged[:-1])
    on, at, value, tagged = on[change], at[change], value[change], tagged[change]
    full = np.flatnonzero(value)
    sgn = value[full]
    return on[full], at[full], at[full + 1], sgn, tagged[full] * sgn


def cut_rectangles(
    edges: tuple[Ints, Ints, Ints, Ints, Ints],
    removed: Ints,
    tag_x: Ints,
    tag_y: Ints,
) -> Rings:
    """Return the rings of a rectangle less disjoint rectangles inside it.

    Parameters
    ----------
    edges
        The outer rectangle's boundary as pieces with labels: (normal axis 0|1, line, lo, hi, label),
        each (e,); the sense of the normal follows from the line being the least or the greatest.
    removed
        (r, 4) int64, nm: x0, y0, x1, y1 of each removed rectangle; they share no area.
    tag_x, tag_y
        (r,) labels (see :func:`label`) for the sides of each removed rectangle whose normal is along
        x, and along y.

    Returns
    -------
    Rings
        Counter-clockwise rings first, in ascending sequence of their least vertex, then the holes.
        More than one counter-clockwise ring means that the part is not in one piece; two areas that
        touch in a point only are not connected.

    Notes
    -----
    O(n log n) in the number of rectangles.
    """
    axis, line, lo, hi, tag = edges
    ends = []
    for a, t in ((0, tag_x), (1, tag_y)):
        outer = axis == a
        far = line[outer] == line[outer].max()
        b = 1 - a
        ends.append(
            _sides(
                np.concatenate([line[outer], removed[:, a], removed[:, a + 2]]),
                np.concatenate([lo[outer], removed[:, b], removed[:, b]]),
                np.concatenate([hi[outer], removed[:, b + 2], removed[:, b + 2]]),
                np.concatenate(
                    [
                        np.where(far, 1, -1),
                        np.ones(len(removed), dtype=np.int64),
                        np.full(len(removed), -1, dtype=np.int64),
                    ]
                ),
                np.concatenate([tag[outer], t, t]),
            )
        )
    (vx, vlo, vhi, vs, vt), (hy, hlo, hhi, hs, ht) = ends
    # travel: normal +x goes up, normal +y goes left
    up, left = vs > 0, hs > 0
    sx = np.concatenate([vx, np.where(left, hhi, hlo)])
    sy = np.concatenate([np.where(up, vlo, vhi), hy])
    ex = np.concatenate([vx, np.where(left, hlo, hhi)])
    ey = np.concatenate([np.where(up, vhi, vlo), hy])
    heading = np.concatenate([np.where(up, 1, 3), np.where(left, 2, 0)])  # quarter turns from +x
    tags = np.concatenate([vt, ht])
    # at a vertex where two areas touch in a point, turn left: that keeps them apart
    leaves = np.lexsort((heading, sy, sx))
    arrives = np.lexsort(((heading + 1) % 4, ey, ex))
    after = np.empty(len(sx), dtype=np.int64)
    after[arrives] = leaves
    order, start = _trace(after.tolist(), leaves.tolist())
    picked = np.array(order, dtype=np.int64)
    rings = Rings(
        xy=np.stack([sx[picked], sy[picked]], axis=1),
        start=np.array(start, dtype=np.int64),
        role=(tags[picked] % _ROLES).astype(np.uint8),
        joint=(tags[picked] // _ROLES - 1).astype(np.int32),
    )
    return _outer_first(rings)


def _trace(after: list[int], seeds: list[int]) -> tuple[list[int], list[int]]:
    """Follow ``after`` from each seed in turn; return the sides ring by ring and the rings' starts."""
    order: list[int] = []
    start = [0]
    fresh = [True] * len(after)
    for seed in seeds:
        if not fresh[seed]:
            continue
        i = seed
        while fresh[i]:
            fresh[i] = False
            order.append(i)
            i = after[i]
        start.append(len(order))
    return order, start


def _outer_first(rings: Rings) -> Rings:
    if rings.count < 2:
        return rings
    solid = [k for k in range(rings.count) if rings.ring_area(k) > 0]
    sequence = solid + [k for k in range(rings.count) if k not in set(solid)]
    if sequence == list(range(rings.count)):
        return rings
    picked = np.concatenate([np.arange(rings.start[k], rings.start[k + 1]) for k in sequence])
    sizes = np.diff(rings.start)[sequence]
    return Rings(
        xy=rings.xy[picked],
        start=np.concatenate([[0], np.cumsum(sizes)]),
        role=rings.role[picked],
        joint=rings.joint[picked],
    )


def turned(rings: Rings, quarters: int) -> Rings:
    """Return the rings turned counter-clockwise by quarter turns about the origin."""
    xy = rings.xy
    for _ in range(quarters % 4):
        xy = np.stack([-xy[:, 1], xy[:, 0]], axis=1)
    return Rings(xy=xy, start=rings.start, role=rings.role, joint=rings.joint)


def mirrored(rings: Rings) -> Rings:
    """Return the rings as seen from behind: x becomes -x, and they still run counter-clockwise.

    Mirrored twice they are the same, vertex for vertex.
    """
    place = np.empty(len(rings.xy), dtype=np.int64)
    side = np.empty(len(rings.xy), dtype=np.int64)
    for a, b in pairwise(rings.start.tolist()):
        back = np.arange(b - a)[::-1]
        side[a:b] = a + back
        place[a:b] = a + np.roll(back, 1)
    return Rings(
        xy=rings.xy[place] * np.array([-1, 1]),
        start=rings.start,
        role=rings.role[side],
        joint=rings.joint[side],
    )


def shrunk(rings: Rings, distance: Floats) -> NDArray[np.bool_]:
    """Which sides lose their length when all are moved, without making the moved rings."""
    after = rings.following
    d = rings.xy[after] - rings.xy
    along_x = d[:, 0] == 0
    length = np.where(along_x, d[:, 1], -d[:, 0])
    sign = np.sign(length)
    # the length a side gains where the next one moves; a side on the same line changes nothing
    gain = sign * distance
    turns = along_x != along_x[after]
    at_end = np.where(turns, gain[after], 0.0)
    at_start = np.zeros(len(rings))
    at_start[after] = np.where(turns, gain, 0.0)
    travel = np.where(along_x, sign, -sign)
    return np.abs(length) + travel * (at_end - at_start) <= 0


def move_sides(
    rings: Rings,
    distance: Floats,
    *,
    step: tuple[float, float] = (0.0, 0.0),
    factor: tuple[float, float] = (1.0, 1.0),
) -> tuple[Rings, NDArray[np.bool_]]:
    """Move every side along its own outward normal, recompute the vertices, then stretch.

    Exact for rectilinear rings up to the one rounding to a nanometre at the end.

    Parameters
    ----------
    rings
        Rectilinear rings.
    distance
        (n,) nm, positive outward (a negative one eats into the part).
    step
        How far a step with its normal along x, along y, moves outward, nm. A step is put in where
        two sides on one line have different distances.
    factor
        Stretch of x and of y after moving.

    Returns
    -------
    moved
        The rings with steps put in; roles and joints are kept, steps have ``Role.STEP`` and -1.
    flipped
        (n',) bool: sides of ``moved`` that lost their length or turned round. Callers refuse.
    """
    along_x, sign = rings.direction()
    after = rings.following
    n = len(rings)
    straight = along_x == along_x[after]
    differs = distance != distance[after]
    put = np.flatnonzero(straight & differs)
    # sides of the result: each original side, with a step after it where one is needed
    extra = np.zeros(n + 1, dtype=np.int64)
    extra[put + 1] = 1
    where = np.arange(n) + np.cumsum(extra)[:n]
    total = n + len(put)
    at_step = where[put] + 1
    normal_x = np.empty(total, dtype=bool)
    sense = np.empty(total, dtype=np.int64)
    place = np.empty(total)  # the coordinate that the side is moved on
    other = np.empty(total)  # the coordinate of its start along itself, for straight vertices
    role = np.full(total, int(Role.STEP), dtype=np.uint8)
    joint = np.full(total, -1, dtype=np.int32)
    x, y = rings.xy[:, 0], rings.xy[:, 1]
    normal_x[where] = along_x
    sense[where] = sign
    place[where] = np.where(along_x, x, y) + sign * distance
    other[where] = np.where(along_x, y, x)
    role[where], joint[where] = rings.role, rings.joint
    if len(put):
        nxt = after[put]
        # outward in (x, y): a side with normal +x travels up, one with normal +y travels left
        outward = distance[nxt] > distance[put]
        normal_x[at_step] = ~along_x[put]
        # travel of the sides is +y for normal +x, -x for normal +y
        travel = np.where(along_x[put], sign[put], -sign[put])
        sense[at_step] = np.where(outward, -travel, travel)
        vertex = np.where(along_x[put], y[nxt], x[nxt])
        shift = np.where(~along_x[put], step[0], step[1])
        place[at_step] = vertex + sense[at_step] * shift
        other[at_step] = 0.0  # never used: a step stands square to both its neighbours
    start = rings.start + np.searchsorted(put, rings.start)
    moved = Rings(xy=np.empty((total, 2), dtype=np.int64), start=start, role=role, joint=joint)
    before = moved.leading
    # the vertex where a side starts: its own line crossed with the line of the side before it
    along = np.where(normal_x[before] == normal_x, other, place[before])
    xs = np.where(normal_x, place, along)
    ys = np.where(normal_x, along, place)
    moved.xy[:, 0] = np.rint(xs * factor[0])
    moved.xy[:, 1] = np.rint(ys * factor[1])
    d = moved.ends - moved.xy
    went = np.where(normal_x, d[:, 1], -d[:, 0]) * sense
    # a step that rounds to nothing leaves its neighbours on one line: drop it
    empty = (went == 0) & (role == Role.STEP)
    if empty.any():
        kept = ~empty
        moved = Rings(
            xy=moved.xy[kept],
            start=start - np.concatenate([[0], np.cumsum(empty)])[start],
            role=role[kept],
            joint=joint[kept],
        )
        went = went[kept]
    return moved, went <= 0

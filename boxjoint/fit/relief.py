"""Relief at inside corners: room for a mate's sharp corner where the tool leaves a fillet.

A round tool leaves a fillet in every inside corner, and brittle stock cracks from a sharp one. The
relief is a circle through the corner as cut, with its centre on the corner's bisector in the slot,
so that the mate's corner can go home and no stress gathers. It takes material from behind both sides
of its corner (:mod:`boxjoint.fit.bites`), so a corner goes without where a web, a neck or a tab would
become too thin; mates never touch what is gone, so proofs of joints on the outlines without it hold.

In the style ``side`` the centre lies on the line of one side instead, so that the circle touches the
other one in the corner and lies wholly in the first: in the cut edge (flank, floor, seam) that meets a
stock face, where the mate's own material covers it from inside the box. It bites a whole radius deep.
Corners of rims, and those where it finds no room, are relieved on the diagonal.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import atan2, pi, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from boxjoint.fit.bites import DEPTH, Bites, Kind, bites_of
from boxjoint.fit.compensate import Drawn
from boxjoint.geometry.rings import Role
from boxjoint.job.records import CornerStyle

__all__ = ["Relieved", "relieve"]

#: What a relief in a side leaves of that side beyond it, at least, in radii; our own choice, no source.
_HORN = 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Relieved:
    """Drawn rings as polylines with arcs.

    Parameters
    ----------
    rings
        Per ring (p, 2) float mm and (p,) bulge (tan of a quarter of the arc's angle, negative
        clockwise), the outer ring first.
    corners
        How many inside corners were relieved.
    left_out
        How many were not, for whatever reason.
    spared
        How many of these, since too little material would be left behind them.
    at
        (corners,) indices of the drawn sides that leave the relieved corners.
    radius
        Of the reliefs as cut, mm.
    web, neck, style
        The least that was to be left, mm, and how, for relieving the same part when it lies another
        way.
    lean
        (corners,) 0 on the diagonal, -1 in the arriving side, 1 in the leaving one.
    """

    rings: tuple[tuple[NDArray[np.float64], NDArray[np.float64]], ...]
    corners: int
    left_out: int
    spared: int = 0
    at: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    radius: float = 0.0
    web: float = 0.0
    neck: float = 0.0
    style: CornerStyle = "diagonal"
    lean: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    @property
    def deepest(self) -> float:
        """How far the deepest bite reaches past a side, mm."""
        if self.corners == 0:
            return 0.0
        return self.radius if self.lean.any() else DEPTH * self.radius


def relieve(
    drawn: Drawn,
    radius: float,
    *,
    web: float = 0.0,
    neck: float = 0.0,
    style: CornerStyle = "diagonal",
) -> Relieved:
    """Put a relief into every inside corner of drawn outlines that can bear it.

    Parameters
    ----------
    drawn
        Compensated outlines.
    radius
        Of the relief as cut, mm. A radius no larger than the beam's own fillet (kerf/2) changes
        nothing.
    web, neck
        Least material, mm, that must be left to a hole, and between two sides of the outer ring. Where
        it is less, but never less than the bite is deep, the corner keeps the tool's own fillet. The
        root of a tab keeps half its width.
    style
        ``"diagonal"`` or ``"side"``.

    Returns
    -------
    Relieved
        Straight sides where the radius is 0.
    """
    half = (drawn.beam.kerf.x / 2, drawn.beam.kerf.y / 2)
    rings = drawn.rings
    if radius <= 0 or radius <= 1.05 * max(half):
        plain = tuple(
            (r, np.zeros(len(r))) for r in (rings.ring(k) / 1e6 for k in range(rings.count))
        )
        return Relieved(rings=plain, corners=0, left_out=0, web=web, neck=neck, style=style)
    points, before = rings.xy / 1e6, rings.leading
    ahead = rings.ends / 1e6 - points
    back = ahead[before]
    turn = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    step = rings.role == Role.STEP
    sharp = (turn < 0) & ~step & ~step[before]
    length = np.abs(ahead).sum(axis=1)
    room_before = length[before] / np.where(sharp[before], 2, 1)
    room_after = length / np.where(sharp[rings.following], 2, 1)
    along_x = back[:, 0] != 0
    lean = np.zeros(len(rings), dtype=np.int64)
    if style == "side":
        lean = _leans(rings.role[before], rings.role)
        for into, room in ((-1, room_before), (1, room_after)):
            # what is left of the side beyond the relief must stand
            lean[(lean == into) & (room < (2 + _HORN) * radius)] = 0
    fits = np.zeros(len(rings), dtype=bool)
    paths: dict[tuple[bool, int], tuple[float, float, float] | None] = {}
    for flat in (True, False):
        # the side that arrives along x has its normal along y
        h = (half[1], half[0]) if flat else half
        for into in (0, -1, 1):
            path = _meets(radius, *h) if into == 0 else _meets_side(radius, *h, into)
            paths[flat, into] = path
            if path is not None:
                roomy = (path[0] <= room_before) & (path[1] <= room_after)
                fits |= sharp & (along_x == flat) & (lean == into) & roomy
    at = np.flatnonzero(fits)
    thin = _too_thin(bites_of(drawn), at, radius, web, neck, lean[at])
    at, spared = at[~thin], int(np.count_nonzero(thin))
    taken = np.zeros(len(rings), dtype=bool)
    taken[at] = True
    polylines = []
    for k in range(rings.count):
        out_xy: list[tuple[float, float]] = []
        out_bulge: list[float] = []
        for i in range(int(rings.start[k]), int(rings.start[k + 1])):
            x, y = points[i].tolist()
            path = paths[bool(along_x[i]), int(lean[i])]
            if not taken[i] or path is None:
                out_xy.append((x, y))
                out_bulge.append(0.0)
                continue
            first, second, sweep = path
            unit_back, unit_ahead = np.sign(back[i]), np.sign(ahead[i])
            out_xy.append((x - unit_back[0] * first, y - unit_back[1] * first))
            out_bulge.append(-tan(sweep / 4))  # the centre lies to the right of travel: clockwise
            out_xy.append((x + unit_ahead[0] * second, y + unit_ahead[1] * second))
            out_bulge.append(0.0)
        polylines.append((np.array(out_xy), np.array(out_bulge)))
    return Relieved(
        rings=tuple(polylines),
        corners=len(at),
        left_out=int(np.count_nonzero(sharp)) - len(at),
        spared=spared,
        at=at,
        radius=radius,
        web=web,
        neck=neck,
        style=style,
        lean=lean[at],
    )


def _leans(arriving: NDArray[np.uint8], leaving: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Which side of a corner takes the relief: the cut edge that meets a stock face, or a seam's."""
    edges, faces = (Role.FLANK, Role.FLOOR), (Role.SHOULDER, Role.CHEEK)
    before = np.isin(arriving, edges) & np.isin(leaving, faces)
    after = np.isin(leaving, edges) & np.isin(arriving, faces)
    # of a seam's step the bottom, so that its width stays
    before |= (arriving == Role.SEAM) & (leaving == Role.FLANK)
    after |= (leaving == Role.SEAM) & (arriving == Role.FLANK)
    return np.where(before, -1, np.where(after, 1, 0))


def _too_thin(
    bites: Bites,
    at: NDArray[np.int64],
    radius: float,
    web: float,
    neck: float,
    lean: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Which corners must go without, so that enough is left everywhere."""
    if len(at) == 0:
        return np.zeros(0, dtype=bool)
    depth = np.where(lean == 0, DEPTH, 1.0) * radius
    deepest = float(depth.max())
    left = bites.left(at, radius, max(web, neck, deepest) + 2 * deepest, lean)
    first = depth[left.first]
    second = np.where(left.second < 0, 0.0, depth[left.second])
    # a film thinner than the bite is deep is no web
    wanted = np.maximum(np.where(left.kind == Kind.WEB, web, neck), np.maximum(first, second))
    # half of a tab's root stays: what is left is no less than what is bitten off
    wanted = np.where(left.kind == Kind.TAB, first + second, wanted)
    poor = np.flatnonzero(left.width < wanted - 1e-6)
    thin = np.zeros(len(at), dtype=bool)
    thin[left.first[poor[left.second[poor] < 0]]] = True
    for p in poor[left.second[poor] >= 0].tolist():  # of two that meet the first one stays
        if not thin[left.first[p]]:
            thin[left.second[p]] = True
    return thin


def _meets_side(
    radius: float, h_first: float, h_second: float, into: int
) -> tuple[float, float, float] | None:
    """As :func:`_meets`, for a relief with its centre on the arriving (-1) or the leaving side (1).

    The circle touches the other side in the corner as cut, so that one is drawn beyond its drawn
    corner, by a negative distance.
    """
    own, other = (h_first, h_second) if into < 0 else (h_second, h_first)
    path = radius - other
    if path <= own:
        return None
    s = sqrt(path * path - own * own)
    along, beyond, sweep = radius + s - other, -own, pi + atan2(own, s)
    return (along, beyond, sweep) if into < 0 else (beyond, along, sweep)


def _meets(radius: float, h_first: float, h_second: float) -> tuple[float, float, float] | None:
    """Where the path of the relief meets the drawn sides, from the drawn corner.

    The corner as cut is at (0, 0), its slot where both coordinates are positive; the drawn sides lie
    ``h`` off the sides as cut. Returns (distance along the arriving side, along the leaving side,
    angle swept), or ``None`` where the path misses a side.
    """
    centre = radius / sqrt(2)
    path = radius - (h_first + h_second) / 2
    a, b = centre - h_first, centre - h_second
    if path <= max(abs(a), abs(b)):
        return None
    s, t = sqrt(path * path - a * a), sqrt(path * path - b * b)
    # the arriving side lies at h_first off its line and is met at centre + s along it
    first, second = centre + s - h_second, centre + t - h_first
    if min(first, second) <= 0:  # hardly larger than the beam's own fillet: it has room already
        return None
    sweep = 2 * pi - pi / 2 - atan2(a, s) - atan2(b, t)
    return first, second, sweep

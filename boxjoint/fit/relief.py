"""Relief at inside corners: room for a mate's sharp corner where the tool leaves a fillet.

A round tool leaves a fillet in every inside corner, and brittle stock cracks from a sharp one. The
relief is a circle through the corner as cut, with its centre on the corner's bisector in the slot,
so that the mate's corner can go home and no stress gathers. It takes material from behind both sides
of its corner (:mod:`boxjoint.fit.bites`), so a corner goes without where a web, a neck or a tab would
become too thin; mates never touch what is gone, so proofs of joints on the outlines without it hold.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import atan2, pi, sqrt, tan

import numpy as np
from numpy.typing import NDArray

from boxjoint.fit.bites import DEPTH, Bites, Kind, bites_of
from boxjoint.fit.compensate import Drawn
from boxjoint.geometry.rings import Role

__all__ = ["Relieved", "relieve"]


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
    web, neck
        The least that was to be left, mm, for relieving the same part when it lies another way.
    """

    rings: tuple[tuple[NDArray[np.float64], NDArray[np.float64]], ...]
    corners: int
    left_out: int
    spared: int = 0
    at: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    radius: float = 0.0
    web: float = 0.0
    neck: float = 0.0


def relieve(drawn: Drawn, radius: float, *, web: float = 0.0, neck: float = 0.0) -> Relieved:
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
        return Relieved(rings=plain, corners=0, left_out=0, web=web, neck=neck)
    points, before = rings.xy / 1e6, rings.leading
    ahead = rings.ends / 1e6 - points
    back = ahead[before]
    turn = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    step = rings.role == Role.STEP
    sharp = (turn < 0) & ~step & ~step[before]
    length = np.abs(ahead).sum(axis=1)
    # the side that arrives along x has its normal along y
    paths = {
        along_x: _meets(radius, half[1] if along_x else half[0], half[0] if along_x else half[1])
        for along_x in (True, False)
    }
    room_before = length[before] / np.where(sharp[before], 2, 1)
    room_after = length / np.where(sharp[rings.following], 2, 1)
    fits = np.zeros(len(rings), dtype=bool)
    for along_x, path in paths.items():
        if path is not None:
            roomy = (path[0] <= room_before) & (path[1] <= room_after)
            fits |= sharp & ((back[:, 0] != 0) == along_x) & roomy
    at = np.flatnonzero(fits)
    thin = _too_thin(bites_of(drawn), at, radius, web, neck)
    at, spared = at[~thin], int(np.count_nonzero(thin))
    taken = np.zeros(len(rings), dtype=bool)
    taken[at] = True
    polylines = []
    for k in range(rings.count):
        out_xy: list[tuple[float, float]] = []
        out_bulge: list[float] = []
        for i in range(int(rings.start[k]), int(rings.start[k + 1])):
            x, y = points[i].tolist()
            path = paths[bool(back[i, 0] != 0)]
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
    )


def _too_thin(
    bites: Bites, at: NDArray[np.int64], radius: float, web: float, neck: float
) -> NDArray[np.bool_]:
    """Which corners must go without, so that enough is left everywhere."""
    depth = DEPTH * radius
    # a film thinner than the bite is deep is no web
    least = np.array([max(web, depth), max(neck, depth), 0.0])
    left = bites.left(at, radius, float(least.max()) + 2 * depth)
    wanted = least[left.kind]
    # half of a tab's root stays: what is left is no less than what is bitten off
    bitten = np.where(left.second < 0, depth, 2 * depth)
    wanted = np.where(left.kind == Kind.TAB, bitten, wanted)
    poor = np.flatnonzero(left.width < wanted - 1e-6)
    thin = np.zeros(len(at), dtype=bool)
    thin[left.first[poor[left.second[poor] < 0]]] = True
    for p in poor[left.second[poor] >= 0].tolist():  # of two that meet the first one stays
        if not thin[left.first[p]]:
            thin[left.second[p]] = True
    return thin


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

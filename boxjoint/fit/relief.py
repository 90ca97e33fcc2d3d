"""Relief at inside corners: room for a mate's sharp corner where the tool leaves a fillet.

A round tool leaves a fillet in every inside corner, and brittle stock cracks from a sharp one. The
relief is a circle through the corner as cut, with its centre on the corner's bisector in the slot,
so that the mate's corner can go home and no stress gathers. It only takes material away, so proofs on
the outlines without it hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, pi, sqrt, tan

import numpy as np
from numpy.typing import NDArray

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
        How many were not, since their sides are too short for the radius.
    """

    rings: tuple[tuple[NDArray[np.float64], NDArray[np.float64]], ...]
    corners: int
    left_out: int


def relieve(drawn: Drawn, radius: float) -> Relieved:
    """Put a relief into every inside corner of drawn outlines.

    Parameters
    ----------
    drawn
        Compensated outlines.
    radius
        Of the relief as cut, mm. A radius no larger than the beam's own fillet (kerf/2) changes
        nothing.

    Returns
    -------
    Relieved
        Straight sides where the radius is 0.
    """
    half = (drawn.beam.kerf.x / 2, drawn.beam.kerf.y / 2)
    rings = drawn.rings
    polylines = []
    done = left_out = 0
    for k in range(rings.count):
        points = rings.ring(k) / 1e6
        roles = rings.role[rings.start[k] : rings.start[k + 1]]
        n = len(points)
        straight = np.zeros(n)
        if radius <= 0 or radius <= 1.05 * max(half):
            polylines.append((points, straight))
            continue
        ahead = np.roll(points, -1, axis=0) - points
        back = np.roll(ahead, 1, axis=0)
        turn = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
        sharp = (turn < 0) & (roles != Role.STEP) & (np.roll(roles, 1) != Role.STEP)
        length = np.abs(ahead).sum(axis=1)
        out_xy: list[tuple[float, float]] = []
        out_bulge: list[float] = []
        for i in range(n):
            x, y = points[i]
            if not sharp[i]:
                out_xy.append((x, y))
                out_bulge.append(0.0)
                continue
            along_x = abs(back[i, 0]) > 0  # the side that arrives runs along x, its normal along y
            cut_in = _meets(
                radius, half[1] if along_x else half[0], half[0] if along_x else half[1]
            )
            room_before = length[i - 1] / (2 if sharp[i - 1] else 1)
            room_after = length[i] / (2 if sharp[(i + 1) % n] else 1)
            if cut_in is None or cut_in[0] > room_before or cut_in[1] > room_after:
                out_xy.append((x, y))
                out_bulge.append(0.0)
                left_out += 1
                continue
            first, second, sweep = cut_in
            unit_back, unit_ahead = back[i] / length[i - 1], ahead[i] / length[i]
            out_xy.append((x - unit_back[0] * first, y - unit_back[1] * first))
            out_bulge.append(-tan(sweep / 4))  # the centre lies to the right of travel: clockwise
            out_xy.append((x + unit_ahead[0] * second, y + unit_ahead[1] * second))
            out_bulge.append(0.0)
            done += 1
        polylines.append((np.array(out_xy), np.array(out_bulge)))
    return Relieved(rings=tuple(polylines), corners=done, left_out=left_out)


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

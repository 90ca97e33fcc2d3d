"""Whether a hinged lid turns: from closed until it rests, without striking anything; exact.

Everything is judged in the plane across the pins, where slabs along the axes are rectangles: those of
the lid turn about the pins, the others stand still. Whether two such rectangles overlap can change only
at angles where a corner of one meets a line of a side of the other, and those angles are few and known in
closed form. Between two of them in sequence one look, in the middle, tells for the whole interval: no
sampling can miss a strike.

Slabs reach as far as their tabs do, so what is found holds for the panels; proud tips come on top, and
the least clearance has to be more than they stand out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import ArrangementError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.solve.arrangement import Arrangement, Hinge, Slab
from boxjoint.solve.hinges import LEAST_TURN

__all__ = ["Turn", "turn_of"]

#: No lid turns further than this, radians.
_MOST = math.radians(270)
#: What counts as overlap or as apart, nm: the arc cosine of what is nearly 1 keeps half the digits of a
#: float, and 1e-8 of a radius of a metre is 10 nm.
_OVER = 100.0

_Box = tuple[
    float, float, float, float
]  # least y, least z, greatest y, greatest z about the pins, nm


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """How a lid turns.

    Parameters
    ----------
    hinge
        As arranged.
    degrees
        How far it turns until it rests.
    rests
        (panel of the lid, panel that it comes to rest on).
    least
        The least distance on the way between what does not touch when the lid is closed, nm; before it
        comes to rest.
    least_of
        (panel of the lid, the other) there.
    least_at
        The angle there, degrees.
    dips
        How far the lid dips into the inside on the way, nm; 0 where it stays above it.
    pin_length
        What the pins have to be long at least, nm: through cheek, clearance and wall.
    """

    hinge: Hinge
    degrees: float
    rests: tuple[str, str]
    least: float
    least_of: tuple[str, str]
    least_at: float
    dips: float
    pin_length: int

    @property
    def passed(self) -> bool:
        """Whether it opens far enough to stay open."""
        return self.degrees >= LEAST_TURN


def turn_of(arrangement: Arrangement) -> Turn:
    """Turn the hinged body and see what it meets.

    Raises
    ------
    ArrangementError
        It strikes something before it is open; names both panels and the angle.
    """
    hinge = arrangement.hinge
    if hinge is None:
        raise ArrangementError("nothing here turns on pins")
    names = set(next(b.slabs for b in arrangement.bodies if b.name == hinge.body))
    lid = [s for s in arrangement.slabs if s.name in names]
    others = [s for s in arrangement.slabs if s.name not in names]
    stop, rests = _MOST, ("", "")
    pairs = [
        (a, b)
        for a in lid
        for b in others
        if a.box.lo[0] < b.box.hi[0] and b.box.lo[0] < a.box.hi[0]
    ]
    for a, b in pairs:
        angle = _strikes(_about(a.box, hinge), _about(b.box, hinge))
        if angle is not None and angle < stop:
            stop, rests = angle, (a.name, b.name)
    if math.degrees(stop) < LEAST_TURN:
        raise ArrangementError(
            f"{rests[0]} strikes {rests[1]} while the lid turns",
            where=f"after {math.degrees(stop):.1f} degrees",
            limit=f"it has to turn {LEAST_TURN:g} degrees to stay open",
            do="keep that panel lower there, make the box wider, the cheeks ([top] depth) less deep, or take "
            "another top",
            panels=rests,
        )
    least, of, at = math.inf, ("", ""), 0.0
    for a, b in pairs:
        found = _least(_about(a.box, hinge), _about(b.box, hinge), stop, rests=b.name == rests[1])
        if found is not None and found[0] < least:
            least, of, at = found[0], (a.name, b.name), found[1]
    return Turn(
        hinge=hinge,
        degrees=math.degrees(stop),
        rests=rests,
        least=least,
        least_of=of,
        least_at=math.degrees(at),
        dips=_dips(lid, arrangement, hinge, stop),
        pin_length=_pin_length(arrangement, hinge),
    )


def _about(box: Cuboid, hinge: Hinge) -> _Box:
    y, z = hinge.at
    return (
        float(box.lo[1] - y),
        float(box.lo[2] - z),
        float(box.hi[1] - y),
        float(box.hi[2] - z),
    )


def _corners(box: _Box) -> NDArray[np.float64]:
    y0, z0, y1, z1 = box
    return np.array([[y0, z0], [y1, z0], [y1, z1], [y0, z1]])


def _turned(points: NDArray[np.float64], angle: float) -> NDArray[np.float64]:
    """Points after the front of the lid has risen by an angle: (-1, 0) goes to (0, 1)."""
    c, s = math.cos(angle), math.sin(angle)
    there: NDArray[np.float64] = points @ np.array([[c, -s], [s, c]])
    return there


def _meetings(a: _Box, b: _Box) -> Iterator[float]:
    """Angles at which a corner of the one meets a line of a side of the other.

    A corner at the radius r and the angle f lies at f - angle once a has turned: its y is c there where
    cos(f - angle) = c / r. Corners of b turn the other way as seen from a.
    """
    for corners, box, sense in ((_corners(a), b, 1.0), (_corners(b), a, -1.0)):
        for y, z in corners.tolist():
            r, f = math.hypot(y, z), math.atan2(z, y)
            for line, along in ((box[0], 0), (box[2], 0), (box[1], 1), (box[3], 1)):
                if abs(line) > r or r == 0:
                    continue
                share = line / r
                bases = (
                    (math.acos(share), -math.acos(share))
                    if along == 0
                    else (math.asin(share), math.pi - math.asin(share))
                )
                for base in bases:
                    yield (sense * (f - base)) % (2 * math.pi)


def _overlap(a: NDArray[np.float64], b: _Box, angle: float) -> float:
    """How deep the turned rectangle lies in the other, nm, at most; negative or 0: not at all.

    The axes of both are tried: rectangles are apart where one of the four keeps them so.
    """
    there = _turned(a, angle)
    own = _corners(b)
    depth = math.inf
    c, s = math.cos(angle), math.sin(angle)
    for axis in ((1.0, 0.0), (0.0, 1.0), (c, -s), (s, c)):
        p, q = there @ axis, own @ axis
        depth = min(depth, float(min(p.max() - q.min(), q.max() - p.min())))
    return depth


def _strikes(a: _Box, b: _Box) -> float | None:
    """The first angle from which on a lies in b; ``None``: never up to the greatest."""
    angles = sorted({0.0, _MOST, *(m for m in _meetings(a, b) if m < _MOST)})
    corners = _corners(a)
    for first, last in pairwise(angles):
        if _overlap(corners, b, (first + last) / 2) > _OVER:
            return first
    return None


def _distance(a: NDArray[np.float64], b: _Box, angle: float) -> float:
    """Distance of the turned rectangle from the other, nm; 0 where they touch or overlap."""
    if _overlap(a, b, angle) > 0:
        return 0.0
    there, own = _turned(a, angle), _corners(b)
    best = math.inf
    for ring, points in ((there, own), (own, there)):
        ends = np.roll(ring, -1, axis=0)
        d = ends - ring
        for p in points:
            t = np.clip(((p - ring) * d).sum(axis=1) / (d * d).sum(axis=1), 0.0, 1.0)
            gaps = np.hypot(*(ring + t[:, None] * d - p).T)
            best = min(best, float(gaps.min()))
    return best


def _turning_points(a: _Box, b: _Box) -> Iterator[float]:
    """Angles at which a distance between the two can be least: it grows to both sides there.

    A corner comes nearest to a line where it lies across the pins from it, and to another corner where
    both lie in one direction from the pins.
    """
    quarter = math.pi / 2
    for y, z in _corners(a).tolist():
        f = math.atan2(z, y)
        for k in range(4):
            yield (f - k * quarter) % (2 * math.pi)
        for v, w in _corners(b).tolist():
            yield (f - math.atan2(w, v)) % (2 * math.pi)
    for v, w in _corners(b).tolist():
        g = math.atan2(w, v)
        for k in range(4):
            yield (k * quarter - g) % (2 * math.pi)


def _least(a: _Box, b: _Box, stop: float, *, rests: bool) -> tuple[float, float] | None:
    """The least distance on the way and its angle, of what touches neither closed nor at rest.

    Of two that touch at an end it is the least where the distance has a minimum between the ends;
    ``None`` where there is none. ``rests`` says that the lid comes to rest on b, with whatever part.
    """
    corners = _corners(a)
    inner = [t for t in _turning_points(a, b) if 0 < t < stop]
    angles = sorted({0.0, stop, *inner, *(m for m in _meetings(a, b) if 0 < m < stop)})
    gaps = [_distance(corners, b, t) for t in angles]
    first, last = 0, len(gaps)
    while first < last and gaps[first] <= _OVER:  # as long as it lies where it lay when closed
        first += 1
    while last > first and gaps[last - 1] <= _OVER:
        last -= 1
    if rests:
        last = min(last, len(gaps) - 1)
    touches = (first > 0, last < len(gaps))
    found: tuple[float, float] | None = None
    for k, (t, gap) in enumerate(zip(angles, gaps, strict=True)):
        if not first <= k < last:
            continue
        before = gaps[k - 1] if k else math.inf
        after = gaps[k + 1] if k + 1 < len(gaps) else math.inf
        least = gap <= before and gap <= after
        if (least or not any(touches)) and (found is None or gap < found[0]):
            found = (gap, t)
    return found


def _dips(lid: list[Slab], arrangement: Arrangement, hinge: Hinge, stop: float) -> float:
    """How far what turns reaches below the upper end of the insides, nm."""
    top = max((b.box.hi[2] for b in arrangement.insides), default=hinge.at[1]) - hinge.at[1]
    lowest = math.inf
    for slab in lid:
        corners = _corners(_about(slab.box, hinge))
        angles = [0.0, stop]
        for y, z in corners.tolist():  # a corner is lowest straight below the pins
            straight = (math.atan2(z, y) + math.pi / 2) % (2 * math.pi)
            angles += [straight] if straight < stop else []
        lowest = min(lowest, *(float(_turned(corners, angle)[:, 1].min()) for angle in angles))
    return max(0.0, top - lowest)


def _pin_length(arrangement: Arrangement, hinge: Hinge) -> int:
    boxes = {s.name: s.box for s in arrangement.slabs}
    lengths = []
    for cheek, wall in hinge.pairs:
        lo = min(boxes[cheek].lo[0], boxes[wall].lo[0])
        hi = max(boxes[cheek].hi[0], boxes[wall].hi[0])
        lengths.append(hi - lo)
    return max(lengths)

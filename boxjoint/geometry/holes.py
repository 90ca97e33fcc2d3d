"""Round and rounded holes of a flat part, kept exactly beside its rectilinear rings.

Every hole is an axis-aligned rectangle (its core, which may be a line or a point) grown by a disc: a
circle is a point and a disc, a slot with round ends a line and a disc, a window a rectangle and the
disc of its corners. So the distance between two holes, or between a hole and a straight side, is that
of two rectangles less the radii: whole numbers, and the one square root is never needed to compare.

Lengths are whole nanometres. Cores may lie on half ones (a circle 5 nm wide), so they are doubled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from boxjoint.errors import InputError
from boxjoint.geometry.rings import Ints, Rings

__all__ = [
    "Hole",
    "Opening",
    "between",
    "encloses",
    "mirrored_hole",
    "mouth_of",
    "to_rectangle",
    "to_sides",
    "turned_hole",
]

#: As cut, a rim may be off the mouth of a notch in it: by roundings, and by half the difference of two
#: kerfs where a controller offsets by one.
_RIM_OFF_NM = 200_000

#: The side of a hole that is open to a rim: (0 for x | 1 for y, sense).
Opening = tuple[Literal[0, 1], Literal[-1, 1]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """One hole, or a notch that is open to one side.

    Parameters
    ----------
    lo, hi
        Least and greatest x and y, nm; of a notch the open side lies on the rim.
    diameter
        Of the corners, nm: 0 where they are sharp, the whole width where it is a circle.
    open
        The open side of a notch; its two corners there are sharp.
    """

    lo: tuple[int, int]
    hi: tuple[int, int]
    diameter: int = 0
    open: Opening | None = None

    def __post_init__(self) -> None:
        if not (self.lo[0] < self.hi[0] and self.lo[1] < self.hi[1]):
            raise InputError("a hole needs a width and a height", value=f"{self.lo}, {self.hi}")
        most = list(self.size)
        if self.open is not None:
            most[self.open[0]] *= 2
        if not 0 <= self.diameter <= min(most):
            raise InputError(
                "the corners of a hole are larger than the hole",
                value=f"diameter {self.diameter} nm",
                limit=f"0 to {min(most)} nm",
            )

    @property
    def size(self) -> tuple[int, int]:
        """(right, up) extent, nm."""
        return self.hi[0] - self.lo[0], self.hi[1] - self.lo[1]

    @property
    def is_circle(self) -> bool:
        """Whether it is a full circle."""
        return self.open is None and self.size == (self.diameter, self.diameter)

    @property
    def core(self) -> tuple[int, int, int, int]:
        """Least x, least y, greatest x, greatest y of the core, in HALF nanometres."""
        d = self.diameter
        at = [2 * self.lo[0] + d, 2 * self.lo[1] + d, 2 * self.hi[0] - d, 2 * self.hi[1] - d]
        if self.open is not None:  # no corners there: the core reaches to the rim
            axis, sense = self.open
            at[axis + (2 if sense > 0 else 0)] = 2 * (self.hi if sense > 0 else self.lo)[axis]
        return at[0], at[1], at[2], at[3]

    @property
    def area(self) -> float:
        """Area that it takes, nm2."""
        corners = 4 if self.open is None else 2
        w, h = self.size
        return w * h - corners * (1 - math.pi / 4) * (self.diameter / 2) ** 2

    @property
    def perimeter(self) -> float:
        """Length of its edge, nm; of a notch without the mouth."""
        corners = 4 if self.open is None else 2
        w, h = self.size
        whole = 2 * (w + h) - corners * (2 - math.pi / 2) * (self.diameter / 2)
        return whole if self.open is None else whole - self.size[1 - self.open[0]]


def _apart(gap_squared: int, radii: int) -> int:
    """Distance in whole nm, rounded down, from a squared gap of cores and radii in half nm."""
    return (math.isqrt(gap_squared) - radii) // 2


def _gap_squared(a: tuple[int, int, int, int], b: tuple[int, int, int, int]) -> int:
    dx = max(0, a[0] - b[2], b[0] - a[2])
    dy = max(0, a[1] - b[3], b[1] - a[3])
    return dx * dx + dy * dy


def between(one: Hole, other: Hole) -> int:
    """Return the material between two holes, nm, rounded down; negative where they overlap.

    Examples
    --------
    >>> between(Hole(lo=(0, 0), hi=(10, 10), diameter=10), Hole(lo=(30, 0), hi=(40, 10), diameter=10))
    20
    """
    return _apart(_gap_squared(one.core, other.core), one.diameter + other.diameter)


def to_rectangle(hole: Hole, lo: tuple[int, int], hi: tuple[int, int]) -> int:
    """Return the distance from a hole to a rectangle, nm, rounded down; negative: they overlap.

    0 where they touch. Where the core itself reaches in, minus the radius (at most -1).
    """
    rectangle = (2 * lo[0], 2 * lo[1], 2 * hi[0], 2 * hi[1])
    core = hole.core
    inside = all(core[k] < rectangle[k + 2] and rectangle[k] < core[k + 2] for k in (0, 1))
    apart = _apart(_gap_squared(core, rectangle), hole.diameter)
    return min(apart, -1) if inside else apart


def to_sides(hole: Hole, rings: Rings) -> tuple[int, int]:
    """Return the least distance from a hole to the sides of a part, and the side's index.

    The side that a notch is open to does not count; its neighbours do, along the rim too.

    Returns
    -------
    distance
        nm, rounded down; negative where the hole reaches over a side, or where no single side holds
        the whole mouth of a notch.
    side
        Index of the nearest side.
    """
    start, end = rings.xy, rings.ends
    lo, hi = 2 * np.minimum(start, end), 2 * np.maximum(start, end)
    counts = np.ones(len(rings), dtype=bool)
    if hole.open is not None:
        mouth = mouth_of(hole, rings)
        if mouth is None:
            return -1, int(np.argmin(_float_gap(hole, lo, hi)))
        counts[mouth] = False
    gap = _float_gap(hole, lo, hi)
    gap[~counts] = np.inf
    # floats are off by less than 1e-5 of a half nm here; the nearest few are compared as integers
    near = np.flatnonzero(gap <= gap.min() + 1)
    core = hole.core
    squared = [
        _gap_squared(core, (a[0], a[1], b[0], b[1]))
        for a, b in zip(lo[near].tolist(), hi[near].tolist(), strict=True)
    ]
    least = min(range(len(near)), key=lambda i: squared[i])
    apart = _apart(squared[least], hole.diameter)
    # a sharp window has no radius that would tell "reaches over" from "touches"
    over = (lo < core[2:]).all(axis=1) & (core[:2] < hi).all(axis=1) & counts
    if over.any():
        return min(apart, -1), int(np.argmax(over))
    return apart, int(near[least])


def _float_gap(hole: Hole, lo: Ints, hi: Ints) -> np.ndarray:
    x0, y0, x1, y1 = hole.core
    dx = np.maximum(np.maximum(x0 - hi[:, 0], lo[:, 0] - x1), 0)
    dy = np.maximum(np.maximum(y0 - hi[:, 1], lo[:, 1] - y1), 0)
    return np.hypot(dx.astype(np.float64), dy.astype(np.float64))


def mouth_of(hole: Hole, rings: Rings) -> int | None:
    """Return the side of the outer ring that the whole mouth of a notch lies on, or ``None``."""
    if hole.open is None:
        return None
    axis, sense = hole.open
    line = (hole.hi if sense > 0 else hole.lo)[axis]
    other = 1 - axis
    along_x, sign = rings.direction()
    a, b = rings.xy[:, other], rings.ends[:, other]
    on = (
        (along_x == (axis == 0))
        & (sign == sense)
        & (np.abs(rings.xy[:, axis] - line) <= _RIM_OFF_NM)
        & (np.minimum(a, b) <= hole.lo[other])
        & (hole.hi[other] <= np.maximum(a, b))
    )
    on[rings.start[1] :] = False
    found = np.flatnonzero(on)
    return int(found[0]) if len(found) else None


def encloses(rings: Rings, hole: Hole) -> bool:
    """Tell whether the middle of a hole lies in the material of a part; exact."""
    x2, y2 = hole.lo[0] + hole.hi[0], hole.lo[1] + hole.hi[1]
    a, b = 2 * rings.xy, 2 * rings.ends
    upright = a[:, 0] == b[:, 0]
    right = upright & (a[:, 0] > x2)
    crossed = right & ((a[:, 1] <= y2) != (b[:, 1] <= y2))
    return bool(np.count_nonzero(crossed) % 2)


def mirrored_hole(hole: Hole) -> Hole:
    """Return a hole as seen from behind: x becomes -x."""
    opening = hole.open
    if opening is not None and opening[0] == 0:
        opening = (0, -1 if opening[1] > 0 else 1)
    return Hole(
        lo=(-hole.hi[0], hole.lo[1]),
        hi=(-hole.lo[0], hole.hi[1]),
        diameter=hole.diameter,
        open=opening,
    )


def turned_hole(hole: Hole, quarters: int) -> Hole:
    """Return a hole turned counter-clockwise by quarter turns about the origin."""
    for _ in range(quarters % 4):
        opening: Opening | None = None
        if hole.open is not None:
            axis, sense = hole.open
            opening = (1, sense) if axis == 0 else (0, -1 if sense > 0 else 1)
        hole = Hole(
            lo=(-hole.hi[1], hole.lo[0]),
            hi=(-hole.lo[1], hole.hi[0]),
            diameter=hole.diameter,
            open=opening,
        )
    return hole

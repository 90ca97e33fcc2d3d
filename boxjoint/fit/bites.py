"""What a relief leaves of the material behind its corner.

The circle of a relief reaches past both sides of its corner, by 0.29 of its radius, into the material
behind them: its two **bites**. What is left there, to the next side or to the next bite, is measured
here on the part as cut, so that no relief can thin a web unseen.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from boxjoint.fit.compensate import Drawn
from boxjoint.geometry.near import near_pairs
from boxjoint.geometry.rings import Role

__all__ = ["DEPTH", "Bites", "Kind", "Left", "bites_of"]

#: How far a circle through a corner reaches past each side, over its radius: 1 - 1/sqrt(2).
DEPTH = 1 - 1 / sqrt(2)

_Floats = NDArray[np.float64]
_Ints = NDArray[np.int64]
_EPS = 1e-9


class Kind(IntEnum):
    """What the material is that a bite leaves."""

    WEB = 0
    """One of its two sides belongs to a hole."""
    NECK = 1
    """Both belong to the outer ring."""
    TAB = 2
    """Both are flanks of one joint: the root of a tab, or what stands between two mortises."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Left:
    """Material that bites leave; (p,) each.

    Parameters
    ----------
    first, second
        Numbers of the bites' corners among those asked; ``second`` is -1 where it is left to a side.
    width
        mm; negative where nothing is left.
    kind
        :class:`Kind`.
    place
        (p, 2) mm as cut, in the sheet's axes: the middle of what is left.
    """

    first: _Ints
    second: _Ints
    width: _Floats
    kind: _Ints
    place: _Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bites:
    """The sides of a part as cut, ready for measuring what reliefs leave; mm, the sheet's axes.

    Parameters
    ----------
    start, end
        (n, 2) of every side as cut, in the sequence of the drawn rings.
    ahead
        (n, 2) unit vectors of travel; material lies to the left.
    leading
        (n,) index of the side before.
    hole
        (n,) whether the side belongs to a hole.
    role, joint
        As in :class:`~boxjoint.geometry.rings.Rings`.
    """

    start: _Floats
    end: _Floats
    ahead: _Floats
    leading: _Ints
    following: _Ints
    hole: NDArray[np.bool_]
    role: NDArray[np.uint8]
    joint: NDArray[np.int32]

    def left(self, corners: _Ints, radius: float, reach: float, lean: _Ints | None = None) -> Left:
        """Measure what circles of ``radius`` through ``corners`` leave, as far as ``reach``.

        Parameters
        ----------
        corners
            (k,) indices of inside corners: of the side that leaves each.
        radius, reach
            mm. What is wider than ``reach`` need not be found.
        lean
            (k,) 0 for a circle on the bisector, -1 for one with its centre on the arriving side, 1 on
            the leaving side; ``None``: all 0.

        Returns
        -------
        Left
            Distances across the material only, never across a slot.
        """
        arrive, leave = self.ahead[self.leading[corners]], self.ahead[corners]
        half = radius / sqrt(2)
        centre = self.start[corners] + half * (leave - arrive)
        if lean is not None:
            into = np.where((lean < 0)[:, None], -arrive, leave)
            centre = np.where((lean == 0)[:, None], centre, self.start[corners] + radius * into)
        to_sides = self._to_sides(corners, centre, radius, reach)
        to_bites = self._to_bites(corners, centre, radius, reach)
        return Left(
            first=np.concatenate([to_sides.first, to_bites.first]),
            second=np.concatenate([to_sides.second, to_bites.second]),
            width=np.concatenate([to_sides.width, to_bites.width]),
            kind=np.concatenate([to_sides.kind, to_bites.kind]),
            place=np.concatenate([to_sides.place, to_bites.place]),
        )

    def _to_sides(self, corners: _Ints, centre: _Floats, radius: float, reach: float) -> Left:
        low, high = np.minimum(self.start, self.end), np.maximum(self.start, self.end)
        i, j = near_pairs(centre, radius + reach, low, high)
        near = np.clip(centre[i], low[j], high[j])
        away = centre[i] - near
        keep = self._across_material(j, near, away)
        i, j, near, away = i[keep], j[keep], near[keep], away[keep]
        apart = np.hypot(away[:, 0], away[:, 1])
        toward = -away / np.maximum(apart, _EPS)[:, None]
        side = self._bitten(corners[i], centre[i] + radius * toward)
        keep = side >= 0
        i, j, near, side = i[keep], j[keep], near[keep], side[keep]
        apart, toward = apart[keep], toward[keep]
        return Left(
            first=i,
            second=np.full(len(i), -1, dtype=np.int64),
            width=apart - radius,
            kind=self._kind(side, j),
            place=(near + centre[i] + radius * toward) / 2,
        )

    def _to_bites(self, corners: _Ints, centre: _Floats, radius: float, reach: float) -> Left:
        i, j = near_pairs(centre, 2 * radius + reach, centre, centre)
        i, j = i[i < j], j[i < j]
        away = centre[j] - centre[i]
        apart = np.hypot(away[:, 0], away[:, 1])
        toward = away / np.maximum(apart, _EPS)[:, None]
        one = self._bitten(corners[i], centre[i] + radius * toward)
        other = self._bitten(corners[j], centre[j] - radius * toward)
        keep = (one >= 0) & (other >= 0)
        i, j = i[keep], j[keep]
        return Left(
            first=i,
            second=j,
            width=apart[keep] - 2 * radius,
            kind=self._kind(one[keep], other[keep]),
            place=(centre[i] + centre[j]) / 2,
        )

    def _across_material(self, side: _Ints, near: _Floats, away: _Floats) -> NDArray[np.bool_]:
        """Whether one arrives at the point ``near`` of a side out of material."""

        def on_left(k: _Ints) -> NDArray[np.bool_]:
            ahead = self.ahead[k]
            found: NDArray[np.bool_] = ahead[:, 0] * away[:, 1] - ahead[:, 1] * away[:, 0] > _EPS
            return found

        left = on_left(side)
        for vertex, mate, turn_in in (
            (self.start, self.leading, True),
            (self.end, self.following, False),
        ):
            at = (np.abs(near - vertex[side]) < _EPS).all(axis=1)
            other = mate[side]
            a, b = (self.ahead[other], self.ahead[side])[:: 1 if turn_in else -1]
            turn = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
            both = on_left(other)
            left = np.where(
                at & (turn > 0), left & both, np.where(at & (turn < 0), left | both, left)
            )
        result: NDArray[np.bool_] = left
        return result

    def _bitten(self, corner: _Ints, at: _Floats) -> _Ints:
        """The side of the corner past which a point of its circle lies; -1 in the slot."""
        before = self.leading[corner]
        off = at - self.start[corner]
        past_before = (off * self.ahead[corner]).sum(axis=1) < -_EPS
        past_after = (off * self.ahead[before]).sum(axis=1) > _EPS
        return np.where(past_before, before, np.where(past_after, corner, -1))

    def _kind(self, one: _Ints, other: _Ints) -> _Ints:
        flanks = (self.role[one] == Role.FLANK) & (self.role[other] == Role.FLANK)
        tab = flanks & (self.joint[one] == self.joint[other])
        hole = self.hole[one] | self.hole[other]
        return np.where(tab, int(Kind.TAB), np.where(hole, int(Kind.WEB), int(Kind.NECK)))


def bites_of(drawn: Drawn) -> Bites:
    """Cut drawn outlines by their own beam, every side kept in its sequence."""
    rings, beam = drawn.rings, drawn.beam
    d = (rings.ends - rings.xy).astype(np.float64)
    ahead = np.sign(d)
    before, after = rings.leading, rings.following
    # a side moves to its left, into the material; a vertex with both its sides
    shift = np.stack([-ahead[:, 1] * beam.kerf.x / 2, ahead[:, 0] * beam.kerf.y / 2], axis=1)
    bend = (ahead != ahead[before]).any(axis=1)
    scale = np.array([beam.scale.x, beam.scale.y])
    start = rings.xy / 1e6 * scale + shift + np.where(bend[:, None], shift[before], 0.0)
    return Bites(
        start=start,
        end=start[after],
        ahead=ahead,
        leading=before,
        following=after,
        hole=np.repeat(np.arange(rings.count) > 0, np.diff(rings.start)),
        role=rings.role,
        joint=rings.joint,
    )

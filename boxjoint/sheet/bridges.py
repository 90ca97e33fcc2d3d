"""Bridges: bits left uncut, so that a part that could fall or tip stays in its sheet.

A part needs them where it is smaller than the support pitch (the distance between slats or
honeycomb bars) in either direction. They go into the bottoms of slots, which the mate covers, else
to the middles of rims; never to tips, flanks or cheeks, and never near a corner. The outline is then cut
as open pieces between the gaps.

All coordinates are whole nanometres as drawn. A gap is drawn wider than its bridge by the kerf, since
the beam takes half its width beyond each end of a path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, dist

import numpy as np

from boxjoint.errors import InputError
from boxjoint.geometry.rings import Ints
from boxjoint.job.sheets import MOST_BRIDGES
from boxjoint.sheet.cuts import NM_PER_MM, Floats

__all__ = [
    "BRIDGE_WIDTH_NM",
    "CORNER_NM",
    "Bridge",
    "BridgeAsk",
    "BridgeSide",
    "bridges_needed",
    "place_bridges",
    "with_gaps",
]

#: As cut: 0.5 mm, assumed: common practice, no source.
BRIDGE_WIDTH_NM = 500_000
#: The least way from the end of a gap to a corner, nm, assumed: what breaks out there is seen.
CORNER_NM = 1_500_000
_SMALL_NM = 30 * NM_PER_MM  # up to so large one bridge holds a part: common practice, no source
_STEP_NM = 150 * NM_PER_MM  # one more above each: common practice, no source
_LONG_NM = 30 * NM_PER_MM  # a rim of this length has places beside its middle too


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeAsk:
    """Which parts get bridges, and which.

    Parameters
    ----------
    support
        Distance between slats or honeycomb bars, nm.
    count
        For each part that needs any; ``None``: by its size.
    width
        Left standing after the cut, nm.

    Raises
    ------
    InputError
        A pitch or width that is not positive, or no such count.
    """

    support: int
    count: int | None = None
    width: int = BRIDGE_WIDTH_NM

    def __post_init__(self) -> None:
        if self.support <= 0 or self.width <= 0:
            raise InputError(
                "support pitch and width of bridges must be positive",
                where="bridges",
                value=f"{self.support / NM_PER_MM:g} mm, {self.width / NM_PER_MM:g} mm",
            )
        if self.count is not None and not 1 <= self.count <= MOST_BRIDGES:
            raise InputError(
                "no such count of bridges",
                where="bridges",
                value=str(self.count),
                limit=f"1 to {MOST_BRIDGES}",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class BridgeSide:
    """A side of the outline that can bear a bridge: its ends, nm; hidden in the bottom of a slot or not."""

    low: tuple[int, int]
    high: tuple[int, int]
    hidden: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Bridge:
    """One gap in an outline.

    Parameters
    ----------
    side
        The side of the path that it lies on: from this vertex to the next.
    axis
        0 where that side runs along X, 1 along Y.
    low, high
        Ends of the gap as drawn, along that axis, nm.
    line
        The side's place across it, nm.
    hidden
        Whether it lies in the bottom of a slot.
    """

    side: int
    axis: int
    low: int
    high: int
    line: int
    hidden: bool

    @property
    def at(self) -> tuple[int, int]:
        """Its middle, nm."""
        return self._place((self.low + self.high) // 2)

    @property
    def ends(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """(lower, higher) end of the gap, nm."""
        return self._place(self.low), self._place(self.high)

    def _place(self, along: int) -> tuple[int, int]:
        return (along, self.line) if self.axis == 0 else (self.line, along)


def bridges_needed(size: tuple[int, int], ask: BridgeAsk) -> int:
    """How many bridges a part of this width and height (nm) needs; 0 where the bed carries it.

    Without an asked count: 1 up to 30 mm, 2 up to 150 mm, and one more for every further 150 mm of
    the greater side.
    """
    if min(size) >= ask.support:
        return 0
    if ask.count is not None:
        return ask.count
    long = max(size)
    return 1 if long <= _SMALL_NM else min(MOST_BRIDGES, 1 + max(1, ceil(long / _STEP_NM)))


def place_bridges(
    path: Ints,
    bulge: Floats | None,
    sides: Sequence[BridgeSide],
    *,
    count: int,
    gap: tuple[int, int],
    corner: int = CORNER_NM,
) -> tuple[Bridge, ...]:
    """Choose where the bridges of a closed outline go.

    Parameters
    ----------
    path, bulge
        The outline as drawn, as :class:`~boxjoint.sheet.cuts.Cut` has it.
    sides
        Where a bridge may be. What of them is not a straight side of the outline (a relief, a notch)
        is left out.
    count
        How many are wanted.
    gap
        Width of the gap as drawn on sides along X and along Y, nm.
    corner
        The least way from the end of a gap to any vertex of the outline and to the end of its side.

    Returns
    -------
    tuple of Bridge
        By side and place; fewer than ``count`` where there is no more room. They lie far from each
        other: hidden ones first, rims where the hidden ones lie too near each other.
    """
    found = _candidates(path, bulge, sides, gap, corner)
    if not found or count < 1:
        return ()
    low, high = path.min(axis=0).tolist(), path.max(axis=0).tolist()
    middle = ((low[0] + high[0]) / 2, (low[1] + high[1]) / 2)
    apart = max(high[0] - low[0], high[1] - low[1]) / 3
    hidden = [b for _, b in found if b.hidden]
    every = [b for _, b in found]
    if hidden:
        chosen = [_farthest(hidden, [middle])]
    else:
        longest = max(length for length, _ in found)
        chosen = [min((b for length, b in found if length == longest), key=lambda b: b.at)]
    while len(chosen) < count:
        taken = [b.at for b in chosen]
        next_one = _farthest(hidden or every, taken)
        if min(dist(next_one.at, t) for t in taken) < apart:
            next_one = _farthest(every, taken)
        if min(dist(next_one.at, t) for t in taken) < max(gap) + corner:
            break
        chosen.append(next_one)
    return tuple(sorted(chosen, key=lambda b: (b.side, b.low)))


def _farthest(among: Sequence[Bridge], taken: Sequence[tuple[float, float]]) -> Bridge:
    """The one whose nearest of ``taken`` is farthest; of equals the lower left one."""
    return min(among, key=lambda b: (-round(min(dist(b.at, t) for t in taken)), b.at))


def _candidates(
    path: Ints, bulge: Floats | None, sides: Sequence[BridgeSide], gap: tuple[int, int], corner: int
) -> list[tuple[int, Bridge]]:
    """(length of the side, bridge) for every place there is."""
    by_line: dict[tuple[int, int], list[tuple[int, int, bool]]] = {}
    for s in sides:
        axis = 0 if s.low[1] == s.high[1] else 1
        ends = sorted((s.low[axis], s.high[axis]))
        by_line.setdefault((axis, s.low[1 - axis]), []).append((ends[0], ends[1], s.hidden))
    out: list[tuple[int, Bridge]] = []
    points = path.tolist()
    for i, (p, q) in enumerate(zip(points, points[1:] + points[:1], strict=True)):
        if (bulge is not None and bulge[i]) or (p[0] != q[0] and p[1] != q[1]):
            continue
        axis = 0 if p[1] == q[1] else 1
        line, need = p[1 - axis], gap[axis]
        first, last = sorted((p[axis], q[axis]))
        near = [x for k in (-1, 0, 1) for x in by_line.get((axis, line + k), ())]
        for a, b, hidden in near:
            low, high = max(a, first), min(b, last)
            length = high - low
            shares = (2,) if hidden or length < _LONG_NM else (2, 1, 3)
            for quarter in shares:
                start = low + length * quarter // 4 - need // 2
                if start - low >= corner and high - (start + need) >= corner:
                    bridge = Bridge(
                        side=i, axis=axis, low=start, high=start + need, line=line, hidden=hidden
                    )
                    out.append((length, bridge))
    return out


def with_gaps(
    path: Ints, bulge: Floats | None, bridges: Sequence[Bridge]
) -> list[tuple[Ints, Floats | None]]:
    """Return a closed outline as the open pieces between its bridges, (path, bulge) each.

    The pieces run the way the outline does and keep its arcs; with the gaps they are the outline exactly.

    Raises
    ------
    InputError
        No bridge, or one that does not lie within its side.
    """
    if not bridges:
        raise InputError("an outline without bridges stays closed", where="bridges")
    points = path.tolist()
    arcs = [0.0] * len(points) if bulge is None else bulge.tolist()
    tokens: list[tuple[list[int], float, bool]] = []  # point, bulge, whether a gap begins here
    for i, p in enumerate(points):
        tokens.append((p, arcs[i], False))
        q = points[(i + 1) % len(points)]
        here = [b for b in bridges if b.side == i]
        if not here:
            continue
        axis = here[0].axis
        onward = q[axis] > p[axis]
        for b in sorted(here, key=lambda b: b.low if onward else -b.low):
            ends = b.ends if onward else b.ends[::-1]
            if arcs[i] or not min(p[axis], q[axis]) <= b.low < b.high <= max(p[axis], q[axis]):
                raise InputError("a bridge lies beside its side", where=f"side {i}", value=str(b))
            tokens += [(list(ends[0]), 0.0, True), (list(ends[1]), 0.0, False)]
    first = next(k for k, t in enumerate(tokens) if t[2]) + 1
    pieces: list[tuple[Ints, Floats | None]] = []
    piece: list[tuple[list[int], float, bool]] = []
    for token in tokens[first:] + tokens[:first]:
        piece.append(token)
        if token[2]:
            turning = np.array([t[1] for t in piece])
            pieces.append(
                (
                    np.array([t[0] for t in piece], dtype=np.int64),
                    turning if turning.any() else None,
                )
            )
            piece = []
    return pieces

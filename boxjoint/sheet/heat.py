"""Which cuts lie so near each other that they should not follow at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from boxjoint.geometry.rings import Ints
from boxjoint.sheet.cuts import NM_PER_MM, Cut, CutKind, Floats, SequenceAsk

__all__ = ["HeatTable", "near_pairs"]

_BLOCK = 2_000_000  # pairs of sides looked at in one go
_DENSE = 2500  # up to so many cuts a full table is faster than a search


def near_pairs(cuts: Sequence[Cut], distance: int) -> tuple[Ints, Ints, Floats]:
    """Pairs of inner and outer cuts nearer than ``distance`` (nm).

    Returns
    -------
    first, second
        (k,) int64, first < second.
    gap_mm
        (k,) their distance, mm: exact for sides along X and Y; a slanting side or an arc counts by
        the rectangle round it (round its chords), which is never too far.
    """
    boxes, owner = _sides(cuts)
    none = np.zeros(0, dtype=np.int64)
    if distance <= 0 or not len(boxes):
        return none, none, np.zeros(0)
    n = len(cuts)
    start = np.searchsorted(owner, np.arange(n + 1))
    extent = np.full((n, 4), 0, dtype=np.int64)
    filled = start[1:] > start[:-1]
    first = start[:-1][filled]
    extent[filled] = np.concatenate(
        [
            np.minimum.reduceat(boxes[:, :2], first, axis=0),
            np.maximum.reduceat(boxes[:, 2:], first, axis=0),
        ],
        axis=1,
    )
    a, b = _meeting(extent, np.nonzero(filled)[0], distance)
    gap = np.full(len(a), np.inf)
    # the sides of each that lie near the other at all, then every pair of those
    at_a, pair_a = _near_sides(boxes, start, a, extent[b], distance)
    at_b, pair_b = _near_sides(boxes, start, b, extent[a], distance)
    from_b = np.searchsorted(pair_b, np.arange(len(a) + 1))
    many = (from_b[1:] - from_b[:-1])[pair_a]
    ends = np.cumsum(many)
    done = 0
    while done < len(at_a):
        below = ends[done - 1] if done else 0
        to = max(done + 1, int(np.searchsorted(ends, below + _BLOCK, side="right")))
        rows = np.repeat(np.arange(done, to), many[done:to])
        inner = np.arange(len(rows)) - np.repeat(
            ends[done:to] - many[done:to] - below, many[done:to]
        )
        one, two = boxes[at_a[rows]], boxes[at_b[from_b[pair_a[rows]] + inner]]
        np.minimum.at(gap, pair_a[rows], _apart(one, two))
        done = to
    keep = gap < distance / NM_PER_MM
    return a[keep], b[keep], gap[keep]


def _sides(cuts: Sequence[Cut]) -> tuple[Ints, Ints]:
    """Rectangles round all sides of what is cut through, (s, 4), and whose they are."""
    boxes, owner = [np.zeros((0, 4), dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for i, cut in enumerate(cuts):
        if cut.kind is CutKind.MARK:
            continue
        p = cut.flat()
        q = np.roll(p, -1, axis=0)
        if not cut.closed:
            p, q = p[:-1], q[:-1]
        boxes.append(np.concatenate([np.minimum(p, q), np.maximum(p, q)], axis=1))
        owner.append(np.full(len(p), i, dtype=np.int64))
    return np.concatenate(boxes), np.concatenate(owner)


def _meeting(extent: Ints, which: Ints, reach: int) -> tuple[Ints, Ints]:
    """Pairs, first < second, whose extents are no further apart than ``reach``."""
    firsts, seconds = [], []
    for block in np.array_split(which, len(which) * len(which) // _BLOCK + 1):
        e, f = extent[block], extent[which]
        meet = np.ones((len(block), len(which)), dtype=np.bool_)
        for k in (0, 1):
            meet &= e[:, None, k] - reach <= f[None, :, k + 2]
            meet &= f[None, :, k] - reach <= e[:, None, k + 2]
        r, c = np.nonzero(meet)
        i, j = block[r], which[c]
        firsts.append(i[i < j])
        seconds.append(j[i < j])
    return np.concatenate(firsts), np.concatenate(seconds)


def _near_sides(boxes: Ints, start: Ints, cut: Ints, other: Ints, reach: int) -> tuple[Ints, Ints]:
    """Sides of ``cut[k]`` within ``reach`` of the rectangle ``other[k]``: (side, k), by k."""
    many = start[cut + 1] - start[cut]
    k = np.repeat(np.arange(len(cut)), many)
    at = np.arange(len(k)) - np.repeat(np.cumsum(many) - many, many) + np.repeat(start[cut], many)
    box, far = boxes[at], other[k]
    near = (box[:, :2] - reach <= far[:, 2:]).all(axis=1)
    near &= (far[:, :2] - reach <= box[:, 2:]).all(axis=1)
    return at[near], k[near]


def _apart(one: Ints, two: Ints) -> Floats:
    """Distance between rectangles, row by row, mm."""
    gap = np.maximum(one[:, :2], two[:, :2]) - np.minimum(one[:, 2:], two[:, 2:])
    d = np.maximum(gap, 0) / NM_PER_MM
    out: Floats = np.sqrt(d[:, 0] * d[:, 0] + d[:, 1] * d[:, 1])
    return out


class HeatTable:
    """What it costs, in mm of travel, that one cut follows another at once.

    Parameters
    ----------
    cuts
        All cuts of the sheet.
    ask
        Distance and weight of the heat spread.
    nodes
        Size of the table: the cuts, and any further nodes that cost nothing.
    """

    __slots__ = ("_cost", "_dense", "_key", "_nodes", "none")

    def __init__(self, cuts: Sequence[Cut], ask: SequenceAsk, nodes: int) -> None:
        a, b, gap = near_pairs(cuts, ask.heat_distance if ask.heat_weight else 0)
        cost = ask.heat_weight * (1.0 - gap / (ask.heat_distance / NM_PER_MM or 1.0))
        key = np.concatenate([a * nodes + b, b * nodes + a])
        order = np.argsort(key)
        self.none = not len(key)
        self._nodes = nodes
        self._key = key[order]
        self._cost: Floats = np.concatenate([cost, cost])[order]
        self._dense: Floats | None = None
        if nodes <= _DENSE and len(key):
            self._dense = np.zeros(nodes * nodes, dtype=np.float64)
            self._dense[self._key] = self._cost

    def __call__(self, before: Ints, after: Ints) -> Floats:
        """(k,) cost in mm of travel, for each pair of nodes."""
        key = before * self._nodes + after
        if self._dense is not None:
            dense: Floats = self._dense[key]
            return dense
        if self.none:
            return np.zeros(len(key))
        at = np.minimum(np.searchsorted(self._key, key), len(self._key) - 1)
        out: Floats = np.where(self._key[at] == key, self._cost[at], 0.0)
        return out

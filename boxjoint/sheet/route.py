"""Make a cut sequence shorter by moving stretches of it, within what must come before what.

Positions run from 1 to n; 0 is the start at home, n + 1 the end. Two moves are tried for all cuts at
once, and as many of those that gain as do not disturb each other are made:

- a stretch of one to three cuts, or all cuts of a part that follow each other, goes elsewhere, either
  way round; a single cut may change its mode as it goes;
- a stretch is run backwards.

What must come before what is given as pairs (earlier, later): a stretch may move on only to before the
first cut that must follow it, and back only to after the last cut that must precede it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from boxjoint.geometry.rings import Ints
from boxjoint.sheet.cuts import Floats
from boxjoint.sheet.entries import Modes, away
from boxjoint.sheet.heat import HeatTable

__all__ = ["Neighbours", "Route", "improve", "swap_stretches"]

_NEIGHBOURS = 8
_LENGTHS = (4, 5, 6, 7, 8, 10, 12, 14, 17, 20, 24, 29, 35, 42, 50)
_LONGEST_KICK, _TRIES = 30, 100
_PER_TILE = 20
_PROBES = 8  # vertices of a large cut from which near cuts are looked for
_LEAST_GAIN = 1e-6  # mm; below it a gain is rounding
_BLOCK = 4_000_000
_FAR = 1 << 60


@dataclass(slots=True, kw_only=True, eq=False)
class Route:
    """A sequence with its modes; changed in place.

    ``nodes`` (n + 2,) are the cuts by position, with the two ends n and n + 1; ``mode`` is by cut;
    ``begin`` and ``end`` (n + 2, 2) are the points by node; ``weight`` (n + 2,) is 0 for the end when
    the way back does not count. ``pairs`` (k, 2) are (earlier, later); the first ``marks`` positions
    are marks.
    """

    modes: Modes
    nodes: Ints
    mode: Ints
    begin: Floats
    end: Floats
    weight: Floats
    pairs: Ints
    related: Sequence[Sequence[int]]
    part: Ints
    marks: int
    heat: HeatTable
    gained: float = 0.0

    @classmethod
    def of(
        cls,
        modes: Modes,
        sequence: Ints,
        mode: Ints,
        *,
        home: Floats,
        back: bool,
        pairs: Ints,
        part: Ints,
        marks: int,
        heat: HeatTable,
    ) -> Route:
        """Build a route from a sequence of cuts and a mode for each."""
        n = len(sequence)
        related: list[list[int]] = [[] for _ in range(n)]
        for a, b in pairs.tolist():
            related[a].append(b)
            related[b].append(a)
        weight = np.ones(n + 2)
        weight[n + 1] = 1.0 if back else 0.0
        both = np.tile(home, (n + 2, 1))
        route = cls(
            modes=modes,
            nodes=np.concatenate([[n], sequence, [n + 1]]).astype(np.int64),
            mode=mode.copy(),
            begin=both,
            end=both.copy(),
            weight=weight,
            pairs=pairs,
            related=related,
            part=part,
            marks=marks,
            heat=heat,
        )
        route.set_modes(mode)
        return route

    @property
    def sequence(self) -> Ints:
        """(n,) cuts by position."""
        return self.nodes[1:-1]

    def set_modes(self, mode: Ints) -> None:
        """Take a mode for every cut."""
        n = len(mode)
        self.mode = mode.copy()
        self.begin[:n] = self.modes.begin[mode]
        self.end[:n] = self.modes.end[mode]

    def turn(self, cuts: Ints) -> None:
        """Run these cuts the other way."""
        self.mode[cuts] = self.modes.turned[self.mode[cuts]]
        self.begin[cuts] = self.modes.begin[self.mode[cuts]]
        self.end[cuts] = self.modes.end[self.mode[cuts]]

    def cost(self, before: Ints, after: Ints) -> Floats:
        """(k,) mm from one node to another, heat included."""
        return self.way(self.end[before], before, self.begin[after], after)

    def way(self, place: Floats, before: Ints, to: Floats, after: Ints) -> Floats:
        """The same, leaving from ``place`` and coming to ``to``."""
        out = away(place, to) * self.weight[after]
        return out if self.heat.none else out + self.heat(before, after)

    def steps_cost(self) -> Floats:
        """(n + 1,) cost of going on from each position."""
        return self.cost(self.nodes[:-1], self.nodes[1:])

    def position(self) -> Ints:
        """(n + 2,) position of each node."""
        at = np.empty_like(self.nodes)
        at[self.nodes] = np.arange(len(self.nodes))
        return at

    def backwards_from(self, at: Ints) -> Ints:
        """(n + 2,): positions a..b may be run backwards when ``result[b] <= a``."""
        n = len(self.mode)
        low = np.zeros(n + 2, dtype=np.int64)
        if len(self.pairs):
            np.maximum.at(low, at[self.pairs[:, 1]], at[self.pairs[:, 0]] + 1)
        fixed = self.modes.turned[self.mode[self.sequence]] < 0
        low[1:-1][fixed] = np.arange(1, n + 1)[fixed] + 1
        low[self.marks + 1] = max(low[self.marks + 1], self.marks + 1)
        low[0], low[n + 1] = 1, n + 2
        return np.maximum.accumulate(low)

    def limits(self, first: Ints, last: Ints, group: Ints) -> tuple[Ints, Ints]:
        """How far stretches may go: gaps p with ``back <= p < on`` (gap p is after position p).

        ``first`` and ``last`` are positions; ``group`` (n + 2,) gives stretches by position when they
        are disjoint, else all stretches have one length.
        """
        n = len(self.mode)
        on = np.where(first <= self.marks, self.marks + 1, n + 1)
        back = np.where(last > self.marks, self.marks, 0)
        if len(self.pairs):
            at = self.position()
            a, b = at[self.pairs[:, 0]], at[self.pairs[:, 1]]
            length = int(last[0] - first[0]) + 1 if len(first) else 1
            if len(group):
                out = group[a] != group[b]
                one, two = out & (group[a] >= 0), out & (group[b] >= 0)
                np.minimum.at(on, group[a[one]], b[one])
                np.maximum.at(back, group[b[two]], a[two])
            else:  # stretch k starts at position k + 1
                for shift in range(length):
                    k = a - shift - 1
                    ok = (k >= 0) & (k < len(first)) & (b > k + length)
                    np.minimum.at(on, k[ok], b[ok])
                    k = b - shift - 1
                    ok = (k >= 0) & (k < len(first)) & (a < k + 1)
                    np.maximum.at(back, k[ok], a[ok])
        return back, on


def _nearest(points: Floats, queries: Floats, k: int) -> Ints:
    """(q, k) about the k nearest points of each query, by number.

    The plane is cut into tiles of some twenty points; only points in a query's own tile and the
    eight around it are looked at, or all where those are too few.
    """
    k = min(k, len(points))
    low = points.min(axis=0)
    size = np.maximum(points.max(axis=0) - low, 1e-9)
    tiles = max(1, int((len(points) / _PER_TILE) ** 0.5))
    of_point = np.clip(((points - low) / size * tiles).astype(np.int64), 0, tiles - 1)
    of_query = np.clip(((queries - low) / size * tiles).astype(np.int64), 0, tiles - 1)
    code = of_query[:, 0] * tiles + of_query[:, 1]
    order = np.argsort(code, kind="stable")
    out = np.empty((len(queries), k), dtype=np.int64)
    for rows in np.split(order, np.nonzero(np.diff(code[order]))[0] + 1):
        seen = np.nonzero((np.abs(of_point - of_query[rows[0]]) <= 1).all(axis=1))[0]
        if len(seen) < 2 * k:
            seen = np.arange(len(points))
        for block in np.array_split(rows, len(rows) * len(seen) // _BLOCK + 1):
            d = queries[block][:, None, :] - points[seen][None, :, :]
            square = d[..., 0] * d[..., 0] + d[..., 1] * d[..., 1]
            # whole and distinct, so that no machine may choose otherwise among equals
            key = (square * 1e5).astype(np.int64) * len(seen) + np.arange(len(seen))
            out[block] = np.sort(seen[np.partition(key, k - 1, axis=1)[:, :k] % len(seen)], axis=1)
    return out


def _probes(modes: Modes) -> tuple[Ints, Floats]:
    """Points on every cut from which its neighbours are looked for: (owner, points)."""
    owner, at = [], []
    for i, (a, b) in enumerate(
        zip(modes.start[:-1].tolist(), modes.start[1:].tolist(), strict=True)
    ):
        few = np.unique(np.linspace(a, b - 1, min(_PROBES, b - a)).round().astype(np.int64))
        owner.append(np.full(len(few), i, dtype=np.int64))
        at.append(few)
    every = np.concatenate(at)
    return np.concatenate(owner), modes.begin[every]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbours:
    """Cuts that end near where others begin.

    Parameters
    ----------
    near
        (n, k) for the start of each cut.
    around
        (p, k) for each of some points on every cut.
    owner
        (p,) the cut of each such point.
    """

    near: Ints
    around: Ints
    owner: Ints

    @classmethod
    def of(cls, route: Route) -> Neighbours:
        """Look for them where a route has its starts."""
        n = len(route.mode)
        owner, points = _probes(route.modes)
        return cls(
            near=_nearest(route.end[:n], route.begin[:n], _NEIGHBOURS),
            around=_nearest(route.end[:n], points, _NEIGHBOURS),
            owner=owner,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Moves:
    """Candidate moves: stretch ``first..last`` to gap ``gap``, gaining; mode -1 keeps, -2 turns."""

    gain: Floats
    first: Ints
    last: Ints
    gap: Ints
    mode: Ints

    @staticmethod
    def joined(parts: Sequence[_Moves]) -> _Moves:
        """All of them together."""
        return _Moves(
            gain=np.concatenate([p.gain for p in parts]),
            first=np.concatenate([p.first for p in parts]),
            last=np.concatenate([p.last for p in parts]),
            gap=np.concatenate([p.gap for p in parts]),
            mode=np.concatenate([p.mode for p in parts]),
        )


def _stretches(route: Route, near: Ints, first: Ints, last: Ints, group: Ints) -> _Moves:
    """Moves of whole stretches that gain."""
    at, nodes = route.position(), route.nodes
    here = route.steps_cost()
    low = route.backwards_from(at)
    back, on = route.limits(first, last, group)
    head, tail = nodes[first], nodes[last]
    before, after = nodes[first - 1], nodes[last + 1]
    saved = here[first - 1] + here[last] - route.cost(before, after)
    found = []
    k = near.shape[1]
    for which, shift in ((head, 0), (tail, 0), (head, -1), (tail, -1)):
        gap = (at[near[which]] + shift).ravel()
        row = np.repeat(np.arange(len(first)), k)
        ok = (gap >= back[row]) & (gap < on[row])
        ok &= (gap < first[row] - 1) | (gap > last[row])
        ok &= saved[row] > _LEAST_GAIN
        row, gap = row[ok], gap[ok]
        a, b = nodes[gap], nodes[gap + 1]
        new = here[gap]
        plain = (
            saved[row]
            + new
            - route.cost(a, head[row])
            - route.way(route.end[tail[row]], tail[row], route.begin[b], b)
        )
        found.append((row, gap, plain, -1))
        turn = low[last[row]] <= first[row]
        row, gap, a, b = row[turn], gap[turn], a[turn], b[turn]
        turned = (
            saved[row]
            + here[gap]
            - route.way(route.end[a], a, route.end[tail[row]], tail[row])
            - route.way(route.begin[head[row]], head[row], route.begin[b], b)
        )
        found.append((row, gap, turned, -2))
    parts = []
    for row, gap, gain, mode in found:
        good = gain > _LEAST_GAIN
        row = row[good]
        parts.append(
            _Moves(
                gain=gain[good],
                first=first[row],
                last=last[row],
                gap=gap[good],
                mode=np.full(len(row), mode, dtype=np.int64),
            )
        )
    return _Moves.joined(parts)


def _single(route: Route, near: Ints, owner: Ints) -> _Moves:
    """Moves of one cut that gain, with the best mode at its new place."""
    n = len(route.mode)
    at, nodes, modes = route.position(), route.nodes, route.modes
    here = route.steps_cost()
    every = np.arange(1, n + 1)
    back, on = route.limits(every, every, np.zeros(0, dtype=np.int64))
    saved = here[:-1] + here[1:] - route.cost(nodes[:-2], nodes[2:])
    place = at[owner]  # of each probe's cut
    k = near.shape[1]
    row = np.repeat(place, 2 * k)
    gap = np.concatenate([at[near], at[near] - 1], axis=1).ravel()
    ok = (gap >= back[row - 1]) & (gap < on[row - 1]) & (gap != row) & (gap != row - 1)
    ok &= saved[row - 1] > _LEAST_GAIN
    code = np.unique(row[ok] * (n + 2) + gap[ok])
    row, gap = code // (n + 2), code % (n + 2)
    if not len(row):
        none = np.zeros(0, dtype=np.int64)
        return _Moves(gain=np.zeros(0), first=none, last=none, gap=none, mode=none)
    cut, a, b = nodes[row], nodes[gap], nodes[gap + 1]
    many = modes.start[cut + 1] - modes.start[cut]
    best = np.empty(len(row))
    chosen = np.empty(len(row), dtype=np.int64)
    ends = np.cumsum(many)
    done = 0
    while done < len(row):
        below = ends[done - 1] if done else 0
        to = max(done + 1, int(np.searchsorted(ends, below + _BLOCK, side="right")))
        s = slice(done, to)
        starts = ends[s] - many[s] - below
        which = np.repeat(np.arange(done, to), many[s])
        mode = np.arange(len(which)) - np.repeat(starts, many[s]) + modes.start[cut[which]]
        way = away(route.end[a[which]], modes.begin[mode])
        way += away(modes.end[mode], route.begin[b[which]]) * route.weight[b[which]]
        least = np.minimum.reduceat(way, starts)
        hit = np.nonzero(way == np.repeat(least, many[s]))[0][::-1]
        pick = np.empty(to - done, dtype=np.int64)
        pick[which[hit] - done] = mode[hit]  # the first of equals is written last
        best[s], chosen[s] = least, pick
        done = to
    new = best if route.heat.none else best + route.heat(a, cut) + route.heat(cut, b)
    gain = saved[row - 1] + here[gap] - new
    good = gain > _LEAST_GAIN
    return _Moves(
        gain=gain[good], first=row[good], last=row[good], gap=gap[good], mode=chosen[good]
    )


def _make_moves(route: Route, moves: _Moves) -> int:
    """Make the moves that gain most and do not disturb each other; how many."""
    n = len(route.mode)
    rank = np.lexsort((moves.mode, moves.gap, moves.last, moves.first, -moves.gain))
    used = np.zeros(n + 2, dtype=np.bool_)  # ways from each position
    barred = np.zeros(n + 2, dtype=np.bool_)  # cuts that a moved cut is bound to
    key = np.arange(n + 2, dtype=np.float64)
    made = 0
    rows = zip(
        moves.first[rank].tolist(),
        moves.last[rank].tolist(),
        moves.gap[rank].tolist(),
        moves.mode[rank].tolist(),
        moves.gain[rank].tolist(),
        strict=True,
    )
    nodes = route.nodes
    for first, last, gap, mode, gain in rows:
        if used[gap] or used[first - 1 : last + 1].any():
            continue
        cuts = nodes[first : last + 1]
        if barred[cuts].any():
            continue
        used[gap] = True
        used[first - 1 : last + 1] = True
        for c in cuts.tolist():
            barred[route.related[c]] = True
        length = last - first + 1
        inside = gap + np.arange(1, length + 1) / (length + 1)
        if mode == -2:
            inside = inside[::-1]
            route.turn(cuts)
        elif mode >= 0:
            cut = int(cuts[0])
            route.mode[cut] = mode
            route.begin[cut], route.end[cut] = route.modes.begin[mode], route.modes.end[mode]
        key[first : last + 1] = inside
        route.gained += gain
        made += 1
    if made:
        route.nodes = nodes[np.argsort(key, kind="stable")]
    return made


def _reversals(route: Route, near: Ints) -> int:
    """Run stretches backwards where it gains; how many."""
    n = len(route.mode)
    at, nodes = route.position(), route.nodes
    here = route.steps_cost()
    low = route.backwards_from(at)
    k = near.shape[1]
    one = np.repeat(at[np.arange(n)], k)
    two = at[near].ravel()
    # the way from p - 1 to p and that from q to q + 1 are replaced
    p = np.concatenate([np.minimum(one, two) + 1, np.minimum(one, two)])
    q = np.concatenate([np.maximum(one, two), np.maximum(one, two) - 1])
    ok = (p >= 1) & (q <= n) & (q > p)
    p, q = p[ok], q[ok]
    ok = low[q] <= p
    code = np.unique(p[ok] * (n + 2) + q[ok])
    p, q = code // (n + 2), code % (n + 2)
    a, b, c, d = nodes[p - 1], nodes[p], nodes[q], nodes[q + 1]
    gain = (
        here[p - 1]
        + here[q]
        - route.way(route.end[a], a, route.end[c], c)
        - route.way(route.begin[b], b, route.begin[d], d)
    )
    good = np.nonzero(gain > _LEAST_GAIN)[0]
    good = good[np.lexsort((q[good], p[good], -gain[good]))]
    used = np.zeros(n + 2, dtype=np.bool_)
    made = 0
    for m in good.tolist():
        x, y = int(p[m]), int(q[m])
        if used[x - 1 : y + 1].any():
            continue
        used[x - 1 : y + 1] = True
        cuts = nodes[x : y + 1].copy()
        route.nodes[x : y + 1] = cuts[::-1]
        route.turn(cuts)
        route.gained += float(gain[m])
        made += 1
    return made


def _part_runs(route: Route) -> tuple[Ints, Ints, Ints]:
    """Cuts of one part that follow each other, more than three: (first, last, group by position)."""
    part = route.part[route.sequence]
    change = np.nonzero(np.diff(part))[0] + 1
    first = np.concatenate([[0], change]) + 1
    last = np.concatenate([change, [len(part)]])
    long = (last - first >= 3) & ((last <= route.marks) | (first > route.marks))
    first, last = first[long], last[long]
    group = np.full(len(part) + 2, -1, dtype=np.int64)
    for k, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        group[a : b + 1] = k
    return first, last, group


def improve(route: Route, by: Neighbours, passes: int) -> int:
    """Improve a route until no move gains, or ``passes`` are used up; how many were used."""
    n = len(route.mode)
    if n < 2:
        return 0
    none = np.zeros(0, dtype=np.int64)
    for used in range(passes):
        parts = [_single(route, by.around, by.owner)]
        for length in (2, 3):
            if n >= length:
                first = np.arange(1, n - length + 2)
                parts.append(_stretches(route, by.near, first, first + length - 1, none))
        first, last, group = _part_runs(route)
        if len(first):
            parts.append(_stretches(route, by.near, first, last, group))
        made = _make_moves(route, _Moves.joined(parts))
        made += _reversals(route, by.near)
        if not made and not _long_stretches(route, by.near):
            return used + 1
    return passes


def _long_stretches(route: Route, near: Ints) -> int:
    """Move stretches of many lengths, when short ones gain no more; how many."""
    n = len(route.mode)
    none = np.zeros(0, dtype=np.int64)
    parts = []
    for length in _LENGTHS:
        if length > n // 2:
            break
        first = np.arange(1, n - length + 2)
        parts.append(_stretches(route, near, first, first + length - 1, none))
    return _make_moves(route, _Moves.joined(parts)) if parts else 0


def swap_stretches(route: Route, rng: random.Random) -> bool:
    """Swap two stretches that follow each other, at random where nothing forbids it; whether it was done."""
    n = len(route.mode)
    longest = max(1, min(_LONGEST_KICK, n // 3))
    at = route.position()
    a, b = at[route.pairs[:, 0]], at[route.pairs[:, 1]]
    for _ in range(_TRIES):
        first = rng.randrange(1, n)
        mid = first + rng.randrange(1, longest + 1)
        end = mid + rng.randrange(1, longest + 1)
        if end > n + 1 or first <= route.marks < end - 1:
            continue
        if ((a >= first) & (a < mid) & (b >= mid) & (b < end)).any():
            continue
        nodes = route.nodes
        route.nodes = np.concatenate([nodes[:first], nodes[mid:end], nodes[first:mid], nodes[end:]])
        return True
    return False

"""Who is in whose way: which part strikes which when it is moved along an axis, exactly.

A part that moves along +x, out to infinity, strikes another if and only if some point of the one and
some point of the other lie on one line along x, the other's farther on. Interiors only: parts that
slide along a shared face do not strike. Moving the other part along -x strikes the first one then,
so that three relations, one an axis, say all about six directions.

A part is a flat prism; its outline is cut into rectangles along its own lines, and the rectangles
make cuboids that fill the part without a gap. Two parts strike if and only if two of their cuboids
do, and for cuboids that is five comparisons of whole nanometres: nothing is sampled or rounded.

Most pairs need no such look. Where the boxes around two parts do not strike, nothing does; where two
of a few chosen cuboids (the largest, and the largest at each edge) strike, the parts do. What remains
are pairs that are joined or nest in each other, and their number grows with the number of joints.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import ArrangementError
from boxjoint.geometry.rings import Ints
from boxjoint.solve.panels import Panel

__all__ = ["Bools", "find_strikes"]

Bools = NDArray[np.bool_]

_BATCH = 20_000  # cuboids or pairs of them looked at in one go: bounds the memory, and fits a cache


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cuboids:
    """Cuboids of all parts: ``lo`` and ``hi`` (k, 3) nm; part i has ``start[i]:start[i + 1]``."""

    lo: Ints
    hi: Ints
    start: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Rectangles:
    """Rectangles of all outlines, each in its drawing's axes, nm; sorted by ``part``."""

    part: Ints
    lo: Ints
    hi: Ints


def find_strikes(panels: Sequence[Panel]) -> Bools:
    """Say of every pair of parts and every axis whether the one strikes the other.

    Parameters
    ----------
    panels
        Nominal panels; of each only the slab, its frame and the rings are looked at.

    Returns
    -------
    (3, n, n) bool: ``[a, i, j]`` is whether part i, moved along the positive sense of axis a,
    strikes part j. Along the negative sense it is ``[a, j, i]``.

    Raises
    ------
    ArrangementError
        When nothing is left of a panel.

    Notes
    -----
    O(n^2) comparisons of boxes for n parts, and for pairs that boxes and chosen cuboids leave open
    the product of the numbers of cuboids that lie in each other's way.
    """
    n = len(panels)
    if n == 0:
        return np.zeros((3, 0, 0), dtype=bool)
    rows, columns = _rectangles(panels, 0), _rectangles(panels, 1)
    have = np.bincount(rows.part, minlength=n)
    if not have.all():
        raise ArrangementError(f"nothing is left of panel {panels[int(have.argmin())].name}")
    cuboids = _cuboids(panels, rows)
    chosen = _some(cuboids, [_largest(rows, n), *(_largest(rows, n, 0, end) for end in (-1, 1))])
    across = [_largest(columns, n, axis, end, 4 - 4 * axis) for axis in (1, 0) for end in (-1, 1)]
    across_lo, across_hi = _some(_cuboids(panels, columns), across)
    some_lo = np.concatenate([chosen[0], across_lo], axis=1)
    some_hi = np.concatenate([chosen[1], across_hi], axis=1)
    box_lo = np.minimum.reduceat(cuboids.lo, cuboids.start[:-1])
    box_hi = np.maximum.reduceat(cuboids.hi, cuboids.start[:-1])
    begins_before = [box_lo[:, None, k] < box_hi[None, :, k] for k in range(3)]
    strikes = np.zeros((3, n, n), dtype=bool)
    for a in range(3):
        b, c = (a + 1) % 3, (a + 2) % 3
        may = begins_before[a] & begins_before[b] & begins_before[c]
        may &= begins_before[b].T & begins_before[c].T
        np.fill_diagonal(may, False)
        i, j = np.nonzero(may)
        step = max(1, _BATCH // some_lo.shape[1] ** 2)
        sure = np.zeros(len(i), dtype=bool)
        for k in range(0, len(i), step):
            p, q = i[k : k + step], j[k : k + step]
            hit = _hit(
                a,
                (some_lo[p, :, None], some_hi[p, :, None]),
                (some_lo[q, None, :], some_hi[q, None, :]),
            )
            sure[k : k + step] = hit.any(axis=(1, 2))
        strikes[a, i[sure], j[sure]] = True
        i, j = i[~sure], j[~sure]
        hit = _look(a, i, j, cuboids, (box_lo, box_hi))
        strikes[a, i[hit], j[hit]] = True
    return strikes


def _hit(a: int, p: tuple[Ints, Ints], q: tuple[Ints, Ints]) -> Bools:
    """Whether cuboids ``p`` moved along +a strike cuboids ``q``; (lo, hi) of shape (..., 3) each."""
    (p_lo, p_hi), (q_lo, q_hi) = p, q
    hit: Bools = p_lo[..., a] < q_hi[..., a]
    for k in ((a + 1) % 3, (a + 2) % 3):
        hit = hit & (p_lo[..., k] < q_hi[..., k]) & (q_lo[..., k] < p_hi[..., k])
    return hit


def _look(a: int, i: Ints, j: Ints, cuboids: _Cuboids, box: tuple[Ints, Ints]) -> Bools:
    """Whether parts i strike parts j along +a, (m,) each, cuboid by cuboid."""
    found = np.zeros(len(i), dtype=bool)
    movers, struck = _extreme(a, cuboids, -1), _extreme(a, cuboids, 1)
    sizes, others = np.diff(movers.start), np.diff(struck.start)
    for lo, hi in _batches(sizes[i] + others[j]):
        p, q = i[lo:hi], j[lo:hi]
        # only cuboids that strike the box around the other part can matter
        pair_p, mine = _spread(sizes[p], movers.start[p])
        around = q[pair_p]
        keep = _hit(a, (movers.lo[mine], movers.hi[mine]), (box[0][around], box[1][around]))
        pair_p, mine = pair_p[keep], mine[keep]
        pair_q, other = _spread(others[q], struck.start[q])
        around = p[pair_q]
        keep = _hit(a, (box[0][around], box[1][around]), (struck.lo[other], struck.hi[other]))
        pair_q, other = pair_q[keep], other[keep]
        count = np.bincount(pair_q, minlength=len(p))
        first = np.cumsum(count) - count
        for x, y in _batches(count[pair_p]):
            row, at = _spread(count[pair_p[x:y]], first[pair_p[x:y]])
            one, two = mine[x:y][row], other[at]
            hit = _hit(a, (movers.lo[one], movers.hi[one]), (struck.lo[two], struck.hi[two]))
            found[lo + pair_p[x:y][row[hit]]] = True
    return found


def _extreme(a: int, cuboids: _Cuboids, sense: int) -> _Cuboids:
    """Of each part's cuboids with one cross section keep the hindmost (-1) or foremost (+1) along a.

    A part that lies along the axis has few different cross sections, however many slots it has.
    """
    part = np.repeat(np.arange(len(cuboids.start) - 1), np.diff(cuboids.start))
    b, c = (a + 1) % 3, (a + 2) % 3
    section = [x[:, k] for k in (b, c) for x in (cuboids.lo, cuboids.hi)]
    depth = cuboids.lo[:, a] if sense < 0 else -cuboids.hi[:, a]
    order = np.lexsort((depth, *section, part))
    first = order[_changes(*(x[order] for x in (part, *section)))]
    start = np.searchsorted(part[first], np.arange(len(cuboids.start)))
    return _Cuboids(lo=cuboids.lo[first], hi=cuboids.hi[first], start=start)


def _spread(count: Ints, first: Ints) -> tuple[Ints, Ints]:
    """Repeat item k ``count[k]`` times; return (item, ``first[item]`` plus 0, 1, 2... within it)."""
    item = np.repeat(np.arange(len(count)), count)
    before = np.cumsum(count) - count
    return item, np.arange(len(item)) - before[item] + first[item]


def _batches(count: Ints) -> list[tuple[int, int]]:
    """Divide items into stretches whose counts add up to about ``_BATCH``, at least one item each."""
    if len(count) == 0:
        return []
    number = np.cumsum(count) // _BATCH
    cut = np.flatnonzero(np.diff(number)) + 1
    ends = [0, *cut.tolist(), len(count)]
    return list(pairwise(ends))


def _rectangles(panels: Sequence[Panel], k: int) -> _Rectangles:
    """Cut all outlines into rectangles.

    Every outline is cut along the ends of its sides whose normal is the drawing's axis ``k``; in
    the strips between, material begins at every other side. Strips with the same two sides are put
    together again, so that a plain edge costs nothing.
    """
    xy = np.concatenate([p.rings.xy for p in panels])
    end = np.concatenate([p.rings.ends for p in panels])
    part = np.repeat(np.arange(len(panels)), [len(p.rings) for p in panels])
    pick = (xy[:, k] == end[:, k]) & (xy[:, 1 - k] != end[:, 1 - k])
    line, one, two, part = xy[pick, k], xy[pick, 1 - k], end[pick, 1 - k], part[pick]
    m = len(line)
    if m == 0:
        empty = np.empty((0, 2), dtype=np.int64)
        return _Rectangles(part=part, lo=empty, hi=empty)
    # levels: all distinct places of ends, part by part; a strip goes by the level where it begins
    at = np.concatenate([np.minimum(one, two), np.maximum(one, two)])
    whose = np.concatenate([part, part])
    order = np.lexsort((at, whose))
    new = _changes(whose[order], at[order])
    level = np.empty(2 * m, dtype=np.int64)
    level[order] = np.cumsum(new) - 1
    place = at[order][new]
    side, strip = _spread(level[m:] - level[:m], level[:m])
    order = np.lexsort((line[side], strip))
    side, strip = side[order], strip[order]
    left, right, strip = line[side[0::2]], line[side[1::2]], strip[0::2]
    owner = part[side[0::2]]
    order = np.lexsort((strip, right, left, owner))
    owner, left, right, strip = owner[order], left[order], right[order], strip[order]
    # a strip goes on from the one before it when it is the next; number less index stays the same
    begins = _changes(owner, left, right, strip - np.arange(len(strip)))
    first = np.flatnonzero(begins)
    last = np.append(first[1:], len(strip)) - 1
    lo = np.empty((len(first), 2), dtype=np.int64)
    hi = np.empty((len(first), 2), dtype=np.int64)
    lo[:, k], hi[:, k] = left[first], right[first]
    lo[:, 1 - k], hi[:, 1 - k] = place[strip[first]], place[strip[last] + 1]
    return _Rectangles(part=owner[first], lo=lo, hi=hi)


def _changes(*keys: Ints) -> Bools:
    """Where any key differs from the one before; always at the first."""
    new = np.zeros(len(keys[0]), dtype=bool)
    new[:1] = True
    for key in keys:
        new[1:] |= key[1:] != key[:-1]
    return new


def _cuboids(panels: Sequence[Panel], rectangles: _Rectangles) -> _Cuboids:
    """Return the rectangles as cuboids in the world, in the same sequence."""
    part = rectangles.part
    at = np.arange(len(part))
    lo = np.empty((len(part), 3), dtype=np.int64)
    hi = np.empty((len(part), 3), dtype=np.int64)
    for k in (0, 1):
        axis = np.array([p.frame.axes[k] for p in panels])[part]
        sense = np.array([p.frame.senses[k] for p in panels])[part]
        origin = np.array([p.frame.origin[k] for p in panels], dtype=np.int64)[part]
        one = origin + sense * rectangles.lo[:, k]
        two = origin + sense * rectangles.hi[:, k]
        lo[at, axis], hi[at, axis] = np.minimum(one, two), np.maximum(one, two)
    normal = np.array([p.slab.normal for p in panels])[part]
    faces = np.array([p.slab.box.span(p.slab.normal) for p in panels], dtype=np.int64)[part]
    lo[at, normal], hi[at, normal] = faces[:, 0], faces[:, 1]
    start = np.searchsorted(part, np.arange(len(panels) + 1))
    return _Cuboids(lo=lo, hi=hi, start=start)


def _some(cuboids: _Cuboids, chosen: Sequence[Ints]) -> tuple[Ints, Ints]:
    """Of each part the chosen cuboids: lo and hi, (n, len(chosen), 3) each."""
    index = np.stack(chosen, axis=1)
    return cuboids.lo[index], cuboids.hi[index]


def _largest(rectangles: _Rectangles, n: int, axis: int = 0, end: int = 0, share: int = 0) -> Ints:
    """Index of each part's largest rectangle, (n,).

    With ``end`` -1 or +1 only rectangles count that reach the part's least or greatest place on
    the drawing's ``axis``, or, with a ``share`` s, the s-th part of its extent next to it.
    """
    # float areas: they choose which cuboids are tried first, never what is found
    area = np.prod((rectangles.hi - rectangles.lo).astype(np.float64), axis=1)
    start = np.searchsorted(rectangles.part, np.arange(n))
    if end:
        least = np.minimum.reduceat(rectangles.lo[:, axis], start)
        most = np.maximum.reduceat(rectangles.hi[:, axis], start)
        near = (most - least) // share if share else np.zeros_like(least)
        if end < 0:
            far = rectangles.lo[:, axis] > (least + near)[rectangles.part]
        else:
            far = rectangles.hi[:, axis] < (most - near)[rectangles.part]
        area[far] = 0.0
    order = np.lexsort((area, rectangles.part))
    last: Ints = order[np.append(start[1:], len(order)) - 1]
    return last

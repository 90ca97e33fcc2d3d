"""Fill bins by taking parts in a given sequence, each to its best place by one of five rules.

One bin is filled after the other: each takes from the sequence whatever still fits. That is the same
layout as taking every part in turn to the first bin that has room for it, and needs to keep the
free rectangles of one bin only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from boxjoint.sheet.rectangles import Layout, Part, Problem, Rect, Spot, occupy, release

__all__ = ["RULES", "SORTS", "best_spot", "construct", "fill", "sorted_copies"]

#: SHORT: least gap on the tighter side. LONG: least gap on the wider side. AREA: smallest free
#: rectangle. LOW: lowest top edge. LEFT: least right edge.
SHORT, LONG, AREA, LOW, LEFT = RULES = (0, 1, 2, 3, 4)

#: Keys to sort parts by, largest first: ``(long side, short side) -> key``.
SORTS: tuple[Callable[[int, int], int], ...] = (
    lambda a, b: a * b,
    lambda a, b: a,
    lambda a, b: b,
    lambda a, b: a + b,
    lambda a, b: a - b,
    lambda a, b: a * a + b * b,
)
_SHIFT = 24  # the second key of a score sits below the first: lengths stay under 2**24 (167 m)


def best_spot(
    free: Sequence[Rect], sizes: Sequence[tuple[int, int]], rule: int
) -> tuple[int, int, int, int] | None:
    """Where a part of these sizes lies best.

    Parameters
    ----------
    free
        Maximal empty rectangles.
    sizes
        (width, height) of each way to lie.
    rule
        One of :data:`RULES`.

    Returns
    -------
    (score, x, y, way), the least score first found; ``None`` where it fits nowhere.
    """
    best = -1
    found = None
    for way, (w, h) in enumerate(sizes):
        for x0, y0, x1, y1 in free:
            dw = x1 - x0 - w
            if dw < 0:
                continue
            dh = y1 - y0 - h
            if dh < 0:
                continue
            if rule == SHORT:
                score = (dw << _SHIFT) + dh if dw < dh else (dh << _SHIFT) + dw
            elif rule == LONG:
                score = (dh << _SHIFT) + dw if dw < dh else (dw << _SHIFT) + dh
            elif rule == AREA:
                score = (((x1 - x0) * (y1 - y0) - w * h) << _SHIFT) + (dw if dw < dh else dh)
            elif rule == LOW:
                score = ((y0 + h) << _SHIFT) + x0
            else:
                score = ((x0 + w) << _SHIFT) + y0
            if best < 0 or score < best:
                best = score
                found = (score, x0, y0, way)
    return found


class Sizes:
    """(width, height) of every way of every part, by kind of bin; kept since it is asked for often."""

    __slots__ = ("by_kind",)

    def __init__(self, parts: Sequence[Part]) -> None:
        kinds = max((len(p.ways) for p in parts), default=0)
        self.by_kind = [
            [tuple((w.width, w.height) for w in p.ways[kind]) for p in parts]
            for kind in range(kinds)
        ]


def put(
    problem: Problem, free: list[Rect], kind: int, part: int, spot: tuple[int, int, int, int]
) -> list[Rect]:
    """Return the free rectangles after the part was laid down at ``spot`` of :func:`best_spot`."""
    _, x, y, way = spot
    w = problem.parts[part].ways[kind][way]
    free = occupy(free, (x, y, x + w.width, y + w.height), problem.least)
    for a, b, c, d in w.windows:
        free = release(free, (x + a, y + b, x + c, y + d))
    return free


def fill(
    problem: Problem,
    sizes: Sizes,
    bin_index: int,
    sequence: Sequence[int],
    rule: int,
    room: tuple[int, int] | None = None,
) -> tuple[list[Spot], list[int]]:
    """Fill one bin.

    Parameters
    ----------
    sequence
        Indices of parts, one for each copy, in the sequence in which they are tried.
    room
        (width, height) to stay within, less than the bin's own; ``None``: all of it.

    Returns
    -------
    (what lies where, the copies that found no place in their sequence).
    """
    kind = problem.bins[bin_index].kind
    free: list[Rect] = list(problem.free[bin_index])
    if room is not None:
        right, up = room
        free = _without_beyond(free, right, up)
    table = sizes.by_kind[kind]
    spots: list[Spot] = []
    rest: Sequence[int] = sequence
    while True:
        left: list[int] = []
        failed: set[int] = set()
        opened = False
        for part in rest:
            if part in failed or not free:
                left.append(part)
                continue
            spot = best_spot(free, table[part], rule)
            if spot is None:
                failed.add(part)
                left.append(part)
                continue
            free = put(problem, free, kind, part, spot)
            spots.append((part, spot[1], spot[2], spot[3]))
            opened = opened or bool(problem.parts[part].ways[kind][spot[3]].windows)
        if not opened or not left:  # a window may take what failed before it was there
            return spots, left
        rest = left


def _without_beyond(free: Sequence[Rect], right: int, up: int) -> list[Rect]:
    cut = []
    for a, b, c, d in free:
        c, d = min(c, right), min(d, up)
        if a < c and b < d:
            cut.append((a, b, c, d))
    return list(dict.fromkeys(cut))


def sorted_copies(problem: Problem, key: Callable[[int, int], int]) -> list[int]:
    """All copies, largest first by ``key``; equal keys by area, then by index."""
    order = sorted(
        range(len(problem.parts)),
        key=lambda i: (-key(*problem.parts[i].size), -problem.areas[i], i),
    )
    return [i for i in order for _ in range(problem.parts[i].count)]


def construct(
    problem: Problem, sizes: Sizes, sequence: Sequence[int], rule: int
) -> tuple[Layout, list[int]]:
    """Fill the bins one after the other; return the layout and the copies left over."""
    layout: Layout = [[] for _ in problem.bins]
    rest = list(sequence)
    useless = None  # a bin that took nothing: others like it will not either
    for i, b in enumerate(problem.bins):
        if not rest:
            break
        if b == useless:
            continue
        layout[i], rest = fill(problem, sizes, i, rest, rule)
        useless = None if layout[i] else b
    return layout, rest


def construct_global(problem: Problem, sizes: Sizes, rule: int) -> tuple[Layout, list[int]]:
    """Fill the bins one after the other, always laying the part that fits best of all that are left."""
    layout: Layout = [[] for _ in problem.bins]
    counts = [p.count for p in problem.parts]
    order = sorted(range(len(counts)), key=lambda i: (-problem.areas[i], i))
    useless = None
    for i, b in enumerate(problem.bins):
        if not any(counts):
            break
        if b == useless:
            continue
        free: list[Rect] = list(problem.free[i])
        table = sizes.by_kind[b.kind]
        # a score changes only where a free rectangle did; parts that fit nowhere stay out
        live = [p for p in order if counts[p]]
        while live and free:
            best = None
            chosen = -1
            fits = []
            for p in live:
                spot = best_spot(free, table[p], rule)
                if spot is None:
                    continue
                fits.append(p)
                if best is None or spot[0] < best[0]:
                    best, chosen = spot, p
            if best is None:
                break
            free = put(problem, free, b.kind, chosen, best)
            layout[i].append((chosen, best[1], best[2], best[3]))
            counts[chosen] -= 1
            if problem.windows:
                live = [p for p in order if counts[p]]
            else:
                live = [p for p in fits if counts[p]]
        useless = None if layout[i] else b
    return layout, [p for p in order for _ in range(counts[p])]

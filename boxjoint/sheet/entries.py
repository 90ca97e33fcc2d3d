"""Where the beam may start each cut, and the best starts for a given sequence.

Glossary
--------
mode
    One way to run a cut: a closed path from one allowed vertex, an open one from one end to the other.

Only ``+ - * /`` and square roots on floats decide, which every machine rounds alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.rings import Ints
from boxjoint.sheet.cuts import NM_PER_MM, Cut, Floats

__all__ = ["Modes", "away", "best_entries", "greedy_sequence", "modes_of"]

_BLOCK = 1_000_000  # pairs of modes looked at in one go


def away(a: Floats, b: Floats) -> Floats:
    """Distance of points (..., 2) along the last axis, mm."""
    d = a - b
    x, y = d[..., 0], d[..., 1]
    out: Floats = np.sqrt(x * x + y * y)
    return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Modes:
    """All modes of all cuts.

    Parameters
    ----------
    start
        (n + 1,): cut i has modes ``start[i]:start[i + 1]``.
    begin, end
        (m, 2) float mm: where the head comes to, and where it leaves.
    vertex
        (m,) vertex of the path at ``begin``.
    turned
        (m,) the mode that runs the other way: itself for a closed path, -1 where not allowed.
    """

    start: Ints
    begin: Floats
    end: Floats
    vertex: Ints
    turned: Ints


def modes_of(cuts: Sequence[Cut]) -> Modes:
    """Return the modes of all cuts."""
    count, begin, end, vertex, turned = [], [], [], [], []
    total = 0
    for cut in cuts:
        at = cut.starts
        count.append(len(at))
        vertex.append(at)
        begin.append(cut.path[at])
        number = np.arange(total, total + len(at))
        if cut.closed:
            end.append(cut.path[at])
            turned.append(number)
        else:
            end.append(cut.path[len(cut.path) - 1 - at])
            turned.append(number[::-1] if len(at) == 2 else np.array([-1]))
        total += len(at)
    return Modes(
        start=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
        begin=np.concatenate(begin) / NM_PER_MM,
        end=np.concatenate(end) / NM_PER_MM,
        vertex=np.concatenate(vertex),
        turned=np.concatenate(turned).astype(np.int64),
    )


def best_entries(modes: Modes, sequence: Ints, home: Floats, back: bool) -> tuple[Ints, float]:
    """Choose the mode of every cut for the shortest travel of a given sequence; exact.

    Dynamic programming: the least travel up to each mode of a cut follows from those of the cut
    before it.

    Returns
    -------
    mode
        (n,) mode of each cut, by cut.
    travel
        mm, from home and, with ``back``, to it.
    """
    least = np.zeros(1)
    ends = home[None, :]
    came = []
    for i in sequence.tolist():
        a, b = int(modes.start[i]), int(modes.start[i + 1])
        begin = modes.begin[a:b]
        best, source = [], []
        for part in np.array_split(begin, len(begin) * len(ends) // _BLOCK + 1):
            cost = away(ends[:, None, :], part[None, :, :])
            cost += least[:, None]
            at = cost.argmin(axis=0)
            source.append(at)
            best.append(cost[at, np.arange(len(part))])
        came.append(np.concatenate(source))
        least = np.concatenate(best)
        ends = modes.end[a:b]
    if back:
        least = least + away(ends, home)
    k = int(least.argmin())
    travel = float(least[k])
    mode = np.zeros(len(modes.start) - 1, dtype=np.int64)
    for i, at in zip(sequence[::-1].tolist(), reversed(came), strict=True):
        mode[i] = modes.start[i] + k
        k = int(at[k])
    return mode, travel


def greedy_sequence(
    modes: Modes, before: Sequence[Sequence[int]], marks: int, home: Floats, part: Ints, stay: float
) -> tuple[Ints, Ints]:
    """Go to the nearest mode of any cut that may come next: (sequence, mode of each cut).

    Going to another part counts as ``stay`` mm^2 more.

    ``before[i]`` are the cuts that come before cut i; the first ``marks`` cuts are marks and come first.

    Raises
    ------
    InputError
        Cuts that must all come after another of them.
    """
    n = len(modes.start) - 1
    after: list[list[int]] = [[] for _ in range(n)]
    missing = [len(b) for b in before]
    for i, earlier in enumerate(before):
        for j in earlier:
            after[j].append(i)
    owner = np.repeat(np.arange(n), np.diff(modes.start))
    part_of = part[owner]
    barred: NDArray[np.float64] = np.full(len(owner), np.inf)
    begin_x, begin_y = modes.begin[:, 0].copy(), modes.begin[:, 1].copy()
    place = home
    out: list[int] = []
    mode = np.zeros(n, dtype=np.int64)

    def allow(i: int) -> None:
        barred[modes.start[i] : modes.start[i + 1]] = 0.0

    for group in (range(marks), range(marks, n)):
        for i in group:
            if not missing[i]:
                allow(i)
        for _ in group:
            dx, dy = begin_x - place[0], begin_y - place[1]
            cost = dx * dx + dy * dy + barred
            if stay and out:
                cost += np.where(part_of == part[out[-1]], 0.0, stay)
            k = int(cost.argmin())
            i = int(owner[k])
            if not np.isfinite(barred[k]):
                raise InputError(
                    "outlines and windows hold each other in a circle",
                    where=f"{n - len(out)} cuts are left that must all come after another of them",
                    do="check that every hole lies inside its part",
                )
            barred[modes.start[i] : modes.start[i + 1]] = np.inf
            mode[i] = k
            out.append(i)
            place = modes.end[k]
            for j in after[i]:
                missing[j] -= 1
                if not missing[j]:
                    allow(j)
    return np.array(out, dtype=np.int64), mode

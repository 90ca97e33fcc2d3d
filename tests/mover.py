"""An independent judge of assembly sequences: parts made of cells, moved one cell at a time.

Nothing here imports ``boxjoint``. Space is cut along every plane that occurs (see ``oracle.Grid``)
and a part is moved by whole cells until it is clear of everything. The cells need not be of one
size: whether one part strikes another on a straight way out depends on the sequence of the planes
only, not on the distances between them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
from oracle import Block, Grid, world_rings

WAYS = ((0, 1), (0, -1), (1, 1), (1, -1), (2, 1), (2, -1))


class Mover:
    """The parts as cells.

    Parameters
    ----------
    panels
        Of each its slab and rings are read, no joints and no owners.
    """

    def __init__(self, panels: Sequence[Any]) -> None:
        blocks = [
            Block(name=p.slab.name, normal=p.slab.normal, lo=p.slab.box.lo, hi=p.slab.box.hi)
            for p in panels
        ]
        grid = Grid(blocks, {p.name: world_rings(p) for p in panels})
        self.names = [b.name for b in blocks]
        self.cells: dict[str, np.ndarray] = {}
        for name in self.names:
            full = np.zeros(grid.shape, dtype=bool)
            view = full[grid.layer(name)]
            view[np.broadcast_to(grid.spread(name), view.shape)] = True
            self.cells[name] = full
        self.shares_space = bool((sum(c.astype(int) for c in self.cells.values()) > 1).any())

    def union(self, names: Iterable[str]) -> np.ndarray:
        return np.logical_or.reduce([self.cells[n] for n in names])

    def strikes(self, moved: Iterable[str], fixed: Iterable[str], way: tuple[int, int]) -> bool:
        """Move some parts cell by cell until they are clear; whether they ever share a cell."""
        axis, sense = way
        p = np.moveaxis(self.union(moved), axis, 0)
        q = np.moveaxis(self.union(fixed), axis, 0)
        n = len(p)
        for step in range(1, n):
            ahead, behind = (slice(step, n), slice(0, n - step))
            if sense > 0:
                met = p[behind] & q[ahead]
            else:
                met = p[ahead] & q[behind]
            if met.any():
                return True
        return False

    def table(self, names: Sequence[Sequence[str]]) -> dict[tuple[int, int], list[int]]:
        """For each way and each block of names a bit set of the blocks it strikes."""
        return {
            way: [
                sum(
                    1 << j
                    for j, fixed in enumerate(names)
                    if j != i and self.strikes(moved, fixed, way)
                )
                for i, moved in enumerate(names)
            ]
            for way in WAYS
        }

    def faults_of(self, steps: Sequence[Any], glued: Iterable[frozenset[str]] = ()) -> list[str]:
        """Put the parts together step by step; everything that is wrong, empty when all is well."""
        groups = list(glued)
        found: list[str] = []
        heaps: list[frozenset[str]] = []  # what is together so far, each heap apart from the others
        for number, step in enumerate(steps, 1):
            moved, there = frozenset(step.parts), frozenset(step.there)
            if step.direction is None:
                if len(step.parts) != 1 or there:
                    found.append(f"step {number}: more than one part laid on the bench")
                heaps.append(moved)
                continue
            if there not in heaps:
                found.append(f"step {number}: nothing of the kind is there")
                continue
            heaps.remove(there)
            if len(moved) > 1:
                if moved not in heaps:
                    found.append(f"step {number}: what is moved was never put together")
                    continue
                heaps.remove(moved)
            if any(moved & h for h in (*heaps, there)):
                found.append(f"step {number}: a part is there already")
            axis, sense = step.direction
            if self.strikes(moved, there, (axis, -sense)):
                found.append(f"step {number}: {sorted(moved)} strike on the way in")
            for group in groups:
                for heap in (moved, there):
                    if heap & group and not heap <= group and not group <= heap:
                        found.append(f"step {number}: a glued group in two")
            heaps.append(moved | there)
        if heaps != [frozenset(self.names)] and self.names:
            found.append(f"{len(heaps)} heaps in the end")
        return found


def parts_of(bits: int) -> list[int]:
    return [i for i in range(bits.bit_length()) if bits >> i & 1]


def leaves(table: Mapping[tuple[int, int], Sequence[int]], some: int, within: int) -> bool:
    """Whether a set of blocks can leave the rest of ``within`` in any single direction."""
    rest = within & ~some
    return any(all(not rows[i] & rest for i in parts_of(some)) for rows in table.values())


def is_locked(table: Mapping[tuple[int, int], Sequence[int]], within: int) -> bool:
    """Whether no proper part of a set, of all there are, can leave the rest."""
    some = (within - 1) & within
    while some:
        if leaves(table, some, within):
            return False
        some = (some - 1) & within
    return True


def least_locked(table: Mapping[tuple[int, int], Sequence[int]], count: int) -> int:
    """The number of blocks in the smallest locked set, 0 when there is none; tries every set."""
    sizes = [s.bit_count() for s in range(1, 1 << count) if s & (s - 1) and is_locked(table, s)]
    return min(sizes, default=0)

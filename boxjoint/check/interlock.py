"""Which blocks hold each other: moves of sets, and sets that lock, on the relation "strikes".

A block is one or several parts that move as one. Blocks and sets of blocks are whole numbers read as
bit sets, so that a step over all blocks is one operation.

A set can move away along a direction if and only if nothing in it strikes anything left behind. The
smallest such sets are strongly connected: blocks each of which strikes the next, round in a ring. A
set is *locked* when in each direction it is one such ring, so that no direction parts it.

Taking one movable set away never locks another: a locked set lies on one side of every parting. So
the greatest locked sets do not depend on any sequence, and when there are none, every sequence of
moves that can be begun can be finished.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb

import numpy as np

from boxjoint.check.blocking import Bools

__all__ = ["DIRECTIONS", "Blocks", "Direction", "block_rows", "members", "opposite"]

Direction = tuple[int, int]
"""(axis, sense): the axis 0, 1 or 2, the sense +1 or -1."""

DIRECTIONS: tuple[Direction, ...] = ((0, 1), (0, -1), (1, 1), (1, -1), (2, 1), (2, -1))
"""All six; the opposite of number d is number ``d ^ 1``."""

_TRIES = 20_000  # sets tried one by one for a smaller locked set


def opposite(direction: Direction) -> Direction:
    """Return the direction that leads back."""
    return direction[0], -direction[1]


def members(bits: int) -> Iterator[int]:
    """Give the numbers in a bit set, ascending."""
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocks:
    """Blocks of parts and whom each strikes.

    Parameters
    ----------
    parts
        Of each block, the indices of its parts.
    strikes
        ``strikes[d][i]``: bit set of the blocks that block i strikes along ``DIRECTIONS[d]``.
    """

    parts: tuple[tuple[int, ...], ...]
    strikes: tuple[tuple[int, ...], ...]

    @classmethod
    def of(cls, strikes: Bools, parts: Sequence[tuple[int, ...]]) -> Blocks:
        """Make blocks of the given parts from (3, n, n) bool, see ``find_strikes``.

        Parts in no block are as if they were not there.
        """
        rows = []
        for a in range(3):
            rows += [block_rows(strikes[a], parts), block_rows(strikes[a].T, parts)]
        return cls(parts=tuple(parts), strikes=tuple(rows))

    def apart(self, i: int, j: int) -> Blocks:
        """Return the same blocks as if i and j did not strike each other."""
        rows = [list(row) for row in self.strikes]
        for row in rows:
            row[i] &= ~(1 << j)
            row[j] &= ~(1 << i)
        return Blocks(parts=self.parts, strikes=tuple(map(tuple, rows)))

    @property
    def all(self) -> int:
        """The set of all blocks."""
        return (1 << len(self.parts)) - 1

    def rings(self, d: int, within: int) -> list[int]:
        """Return the strongly connected sets of ``within`` along direction number ``d``.

        Every set strikes only sets that come after it.
        """
        ahead, behind = self.strikes[d], self.strikes[d ^ 1]
        finished: list[int] = []
        fresh = within
        while fresh:
            low = fresh & -fresh
            fresh ^= low
            trail = [low.bit_length() - 1]
            while trail:
                further = ahead[trail[-1]] & fresh
                if further:
                    low = further & -further
                    fresh ^= low
                    trail.append(low.bit_length() - 1)
                else:
                    finished.append(trail.pop())
        found = []
        fresh = within
        for seed in reversed(finished):
            if not fresh >> seed & 1:
                continue
            ring, edge = 0, 1 << seed
            fresh ^= edge
            while edge:
                low = edge & -edge
                edge ^= low
                ring |= low
                more = behind[low.bit_length() - 1] & fresh
                fresh ^= more
                edge |= more
            found.append(ring)
        return found

    def movable(self, d: int, within: int) -> list[int]:
        """Return the smallest sets of ``within`` that can move away along direction number ``d``."""
        found = []
        for ring in self.rings(d, within):
            struck = 0
            for i in members(ring):
                struck |= self.strikes[d][i]
            if not struck & within & ~ring:
                found.append(ring)
        return found

    def is_locked(self, within: int) -> bool:
        """Whether no direction parts the set."""
        return within & (within - 1) != 0 and all(
            len(self.rings(2 * a, within)) == 1 for a in range(3)
        )

    def locked(self, within: int) -> list[int]:
        """Return the greatest locked sets of ``within``, ascending by their least block."""
        found, open_sets = [], [within]
        while open_sets:
            here = open_sets.pop()
            if here & (here - 1) == 0:
                continue
            for a in range(3):
                rings = self.rings(2 * a, here)
                if len(rings) > 1:
                    open_sets += rings
                    break
            else:
                found.append(here)
        return sorted(found, key=lambda s: s & -s)

    def smallest_locked(self, within: int) -> int:
        """Return the smallest locked set of ``within``, 0 when there is none.

        None of its blocks can be left out with the rest still locked. Where trying all smaller sets
        one by one takes too long (more than some ten thousand), another may have fewer blocks.
        """
        sets = self.locked(within)
        if not sets:
            return 0
        kept = min(sets, key=int.bit_count)
        for i in reversed(list(members(kept))):
            # what locks without block i locks with it too, so a block needed once stays needed
            if kept >> i & 1:
                rest = self.locked(kept & ~(1 << i))
                kept = min(rest, key=int.bit_count, default=kept)
        candidates = [i for s in sets for i in members(s)]
        tries = 0
        for size in range(2, kept.bit_count()):
            tries += comb(len(candidates), size)
            if tries > _TRIES:
                break
            for some in combinations(candidates, size):
                here = sum(1 << i for i in some)
                if self.is_locked(here):
                    return here
        return kept


def block_rows(held: Bools, parts: Sequence[tuple[int, ...]]) -> tuple[int, ...]:
    """Return a relation of parts, (n, n) bool, as one of blocks: a bit set for each; none to itself."""
    order = np.concatenate([np.array(p, dtype=np.int64) for p in parts])
    held = held[np.ix_(order, order)]
    if len(order) > len(parts):
        sizes = np.array([len(p) for p in parts])
        start = np.cumsum(sizes) - sizes
        held = np.logical_or.reduceat(np.logical_or.reduceat(held, start, axis=0), start, axis=1)
    np.fill_diagonal(held, False)
    packed = np.packbits(held, axis=1, bitorder="little")
    return tuple(int.from_bytes(row.tobytes(), "little") for row in packed)

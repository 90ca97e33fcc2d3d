"""What a maker does first: which part lies on the bench, what comes next, and from which side.

Nothing here decides whether a move is possible, only which of the possible ones is taken. All of it
is common practice, no source: the base lies on the bench, guests stand on it, walls are pushed on
along their own normal, what is loose is put in, the lid comes last.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from enum import IntEnum

import numpy as np

from boxjoint.check.blocking import Bools
from boxjoint.check.interlock import DIRECTIONS
from boxjoint.solve.arrangement import Slab

__all__ = ["Habits", "Turn"]

_UP, _DOWN = DIRECTIONS.index((2, 1)), DIRECTIONS.index((2, -1))
_SIDEWAYS = tuple(DIRECTIONS.index(d) for d in ((1, -1), (1, 1), (0, -1), (0, 1)))


class Turn(IntEnum):
    """When a block is taken away, first to last; it is put on in the reverse sequence."""

    LID = 0
    """The one slab that closes the top."""
    LOOSE = 1
    """What is joined to nothing: a drawer, a tray, a loose divider."""
    WALL = 2
    GUEST = 3
    """What stands inside, and shelves."""


class Habits:
    """The habits for one list of slabs, by rank.

    Parameters
    ----------
    slabs
        Of all parts.
    stays
        Index of the part that is never moved, or ``None``.
    glued
        Pairs of parts that are glued face to face.
    """

    __slots__ = ("_slabs", "_stays", "joined")

    joined: Bools
    """(n, n) bool: whether two parts hang on to each other, by a joint or by glue."""

    def __init__(
        self, slabs: Sequence[Slab], stays: int | None, glued: Iterable[Sequence[int]] = ()
    ) -> None:
        self._slabs = slabs
        self._stays = stays
        lo = np.array([s.box.lo for s in slabs], dtype=np.int64)
        hi = np.array([s.box.hi for s in slabs], dtype=np.int64)
        met = np.ones((len(slabs), len(slabs)), dtype=bool)
        for k in range(3):
            met &= lo[:, None, k] < hi[None, :, k]
        self.joined = met & met.T
        np.fill_diagonal(self.joined, False)
        for i, j in glued:
            self.joined[i, j] = self.joined[j, i] = True

    def base(self, parts: Sequence[int]) -> int:
        """Return the part that lies on the bench.

        It is the one that stays, else the lowest horizontal panel that is no guest (of equals the
        largest, then the strongest), else the strongest.
        """
        if self._stays in parts:
            return self._stays  # type: ignore[return-value]  # None is in no list of indices
        hosts = [i for i in parts if not self._slabs[i].guest] or list(parts)
        flat = [i for i in hosts if self._slabs[i].normal == 2]
        if not flat:
            return min(hosts)

        def height(i: int) -> tuple[int, int, int]:
            size = self._slabs[i].box.size
            return self._slabs[i].box.lo[2], -size[0] * size[1], i

        return min(flat, key=height)

    def turn(self, block: tuple[int, ...], everything: Sequence[int]) -> Turn:
        """Say when a block is taken away from ``everything`` around it, itself included."""
        slab = self._slabs[block[0]]
        if len(block) > 1 or not self.joined[block[0], everything].any():
            return Turn.LOOSE
        if slab.guest:
            return Turn.GUEST
        if slab.normal != 2:
            return Turn.WALL
        top = max(self._slabs[i].box.hi[2] for i in everything)
        return Turn.LID if slab.box.hi[2] == top else Turn.GUEST

    def ways(self, block: tuple[int, ...], turn: Turn) -> tuple[int, ...]:
        """Return the numbers of all six directions, the one to take it away first."""
        first: tuple[int, ...] = (_UP,)
        if turn == Turn.WALL:
            slab = self._slabs[block[0]]
            first = (DIRECTIONS.index((slab.normal, slab.outward)), _UP)
        return (*first, *(d for d in _SIDEWAYS if d not in first), _DOWN)

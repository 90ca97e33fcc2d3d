"""What a maker does first: which part lies on the bench, what comes next, and from which side.

Nothing here decides whether a move is possible, only which of the possible ones is taken. All of it
is common practice, no source: the base lies on the bench, guests stand on it, walls are pushed on
along their own normal, strips are glued on where they belong, what is loose is put in, the lid comes
last.
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
    STRIP = 2
    """What only glue holds: a rail, a stop, a lip; glued on when the joints around it are made."""
    WALL = 3
    GUEST = 4
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

    __slots__ = ("_slabs", "_stays", "joined", "stuck")

    joined: Bools
    """(n, n) bool: whether two parts hang on to each other, by a joint or by glue."""
    stuck: Bools
    """(n,) bool: whether a part is held by glue and has no joint."""

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
        jointed: Bools = np.array(self.joined.any(axis=1))
        for i, j in glued:
            self.joined[i, j] = self.joined[j, i] = True
        self.stuck = np.array(self.joined.any(axis=1)) & ~jointed

    def base(self, parts: Sequence[int]) -> int:
        """Return the part that lies on the bench.

        It is the one that stays, else the lowest horizontal panel that is no guest and has joints (of
        equals the largest, then the strongest), else the largest that only glue holds, else the
        strongest.
        """
        if self._stays in parts:
            return self._stays  # type: ignore[return-value]  # None is in no list of indices
        hosts = [i for i in parts if not self._slabs[i].guest] or list(parts)
        flat = [i for i in hosts if self._slabs[i].normal == 2]
        if not flat:
            return min(hosts)

        def height(i: int) -> tuple[bool, int, int, int]:
            box, stuck = self._slabs[i].box, bool(self.stuck[i])
            return stuck, 0 if stuck else box.lo[2], -box.size[0] * box.size[1], i

        return min(flat, key=height)

    def turn(self, block: tuple[int, ...], everything: Sequence[int]) -> Turn:
        """Say when a block is taken away from ``everything`` around it, itself included."""
        slab = self._slabs[block[0]]
        others = [i for i in everything if i not in block]
        held = bool(self.joined[np.ix_(block, others)].any())
        if held and self.stuck[list(block)].all():
            return Turn.STRIP
        if len(block) > 1 or not held:
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
        elif turn == Turn.STRIP:
            first = tuple(dict.fromkeys((*self._off(block), _UP)))
        return (*first, *(d for d in (*_SIDEWAYS, _DOWN) if d not in first))

    def _off(self, block: tuple[int, ...]) -> list[int]:
        """Numbers of the directions straight off the faces on which a block is glued to others."""
        found = []
        for i in block:
            for j in np.flatnonzero(self.joined[i]).tolist():
                mine, mate = self._slabs[i].box, self._slabs[j].box
                if j in block:
                    continue
                found += [
                    DIRECTIONS.index((k, sense))
                    for k in range(3)
                    for sense, flush in (
                        (1, mine.lo[k] == mate.hi[k]),
                        (-1, mine.hi[k] == mate.lo[k]),
                    )
                    if flush
                ]
        return found

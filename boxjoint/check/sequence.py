"""The assembly sequence: how the parts go together one after the other, or which of them lock.

The sequence is found backwards: from the whole, a block that strikes nothing on its way out is taken
away, again and again, and what was taken away as a set is taken apart in the same way. The assembly
sequence is the reverse. A move is one straight translation out to infinity; parts that would go
together only by turning, tilting or by two moves in turn are reported as locked.

What is joined is put together first, and then moves as one (a drawer is made, then pushed in). Where
that leads nowhere (a tray in a box without a lid to lift) the largest of these is taken apart too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby

import numpy as np

from boxjoint.check.assembly import Assembly, Fall, Lock, LockJoint, Removal, Step
from boxjoint.check.blocking import Bools, find_strikes
from boxjoint.check.habits import Habits, Turn
from boxjoint.check.interlock import DIRECTIONS, Blocks, Direction, block_rows, members, opposite
from boxjoint.errors import ArrangementError, InputError, nearest_name
from boxjoint.solve.arrangement import Body
from boxjoint.solve.panels import Panel

__all__ = ["assembly_sequence"]

_Parts = tuple[int, ...]


def assembly_sequence(
    panels: Sequence[Panel],
    *,
    stays: str | None = None,
    together: Iterable[frozenset[str]] = (),
    removable: Mapping[str, Direction] | None = None,
    bodies: Sequence[Body] = (),
) -> Assembly:
    """Find how the parts go together, exactly.

    Parameters
    ----------
    panels
        Nominal panels by rank; of each only the slab, its frame and the rings are looked at.
    stays
        The part that is never moved; ``None`` takes the base.
    together
        Groups of parts that are glued before anything else and then move as one, whatever comes. No
        part in two.
    removable
        Parts that must come out with everything else in place, and the (axis, sense) of the way; of
        a part in a group the whole group comes out.
    bodies
        What is joined or glued and has a name. A body is put together first and then moves as one
        where that is possible; one that comes out must do so past all bodies named before it.

    Returns
    -------
    Assembly
        With the steps, or the smallest set that locks; never raises for what locks, see
        :meth:`Assembly.require`.

    Raises
    ------
    InputError
        When a name is unknown or in two groups, or a direction is none of the six.
    """
    names = [p.name for p in panels]
    number = {name: i for i, name in enumerate(names)}
    groups = _groups(together, number)
    for name, direction in (removable or {}).items():
        _known(name, number, "removable")
        if direction not in DIRECTIONS:
            raise InputError(
                "no such direction",
                where=f"removable {name}",
                value=str(direction),
                limit="(axis 0, 1 or 2, sense 1 or -1)",
            )
    glued = [[_known(n, number, body.name) for n in pair] for body in bodies for pair in body.glued]
    home = {
        tuple(sorted(_known(n, number, body.name) for n in body.slabs)): body.name
        for body in bodies
    }
    fixed = None if stays is None else _known(stays, number, "stays")
    if not names:
        return Assembly(parts=(), steps=(), free={}, lock=None, removals=())
    search = _Search(panels, fixed, groups, glued, home)
    everything = tuple(range(len(names)))
    blocks = Blocks.of(search.strikes, list(dict.fromkeys(groups.get(i, (i,)) for i in everything)))
    block_of = {i: block for block in blocks.parts for i in block}
    free = {
        i: tuple(d for k, d in enumerate(DIRECTIONS) if not blocks.strikes[k][n])
        for n, block in enumerate(blocks.parts)
        for i in block
    }
    removals = [
        search.removal(name, block_of[number[name]], everything, direction)
        for name, direction in (removable or {}).items()
    ]
    inner: _Parts = ()
    for body, parts in zip(bodies, home, strict=True):
        inner += parts
        if body.out is not None:
            removals.append(search.removal(body.name, parts, inner, body.out))
    lock = search.find_lock(blocks)
    return Assembly(
        parts=tuple(names),
        steps=() if lock else tuple(search.put_together(everything)),
        free={name: free[i] for i, name in enumerate(names)},
        lock=lock,
        removals=tuple(removals),
        falls=tuple(search.falls()),
    )


def _known(name: str, number: Mapping[str, int], where: str) -> int:
    if name not in number:
        raise InputError(
            "no part of that name", where=where, value=name, do=nearest_name(name, number)
        )
    return number[name]


def _groups(together: Iterable[frozenset[str]], number: Mapping[str, int]) -> dict[int, _Parts]:
    """Return the group of every part that is in one."""
    found: dict[int, _Parts] = {}
    for group in together:
        parts = tuple(sorted(_known(name, number, "together") for name in group))
        for i in parts:
            if i in found:
                name = next(n for n, k in number.items() if k == i)
                raise InputError("a part is in two groups", where="together", value=name)
            found[i] = parts
    return found


class _Search:
    """The parts, what they strike, and how they are to move as blocks."""

    def __init__(
        self,
        panels: Sequence[Panel],
        stays: int | None,
        groups: Mapping[int, _Parts],
        glued: Iterable[Sequence[int]],
        bodies: Mapping[_Parts, str],
    ) -> None:
        self.slabs = [p.slab for p in panels]
        self.strikes = find_strikes(panels)
        self.habits = Habits(self.slabs, stays, glued)
        self.groups = groups
        self.bodies = bodies

    # blocks

    def finest(self, parts: _Parts) -> list[_Parts]:
        """Single parts, and glued groups as one; ``parts`` that lie within one group singly."""
        # a group lies within the parts, or apart from them, or around them
        groups = (self.groups.get(i, (i,)) for i in parts)
        return list(
            dict.fromkeys(
                g if len(g) < len(parts) else (i,) for i, g in zip(parts, groups, strict=True)
            )
        )

    def coarsest(self, parts: _Parts) -> list[_Parts]:
        """What is joined as one; where that is everything, strips glued to strips; else the finest."""
        finest = self.finest(parts)
        whole = self.pieces(finest)
        if len(whole) > 1:
            return whole
        strips = [b for b in finest if all(self.habits.stuck[i] for i in b)]
        some = [*(b for b in finest if b not in strips), *self.pieces(strips)]
        return some if len(some) > 1 else finest

    def pieces(self, finest: Sequence[_Parts]) -> list[_Parts]:
        """Blocks that are joined to each other, in some way, as one."""
        mates = self.habits.joined
        home = {i: k for k, block in enumerate(finest) for i in block}
        fresh = dict.fromkeys(range(len(finest)))
        found = []
        while fresh:
            near = [next(iter(fresh))]
            del fresh[near[0]]
            for k in near:  # grows as it goes
                for i in finest[k]:
                    for j in mates[i].nonzero()[0].tolist():
                        if home.get(j) in fresh:
                            near.append(home[j])
                            del fresh[home[j]]
            found.append(tuple(sorted(i for k in near for i in finest[k])))
        return found

    # the sequence

    def put_together(self, parts: _Parts) -> list[Step]:
        """Return the steps that put ``parts`` together, nothing else around."""
        if len(parts) == 1:
            return [Step(parts=self._names(parts), direction=None, there=())]
        there, removed = self._take_apart(parts)
        steps = self.put_together(there)
        placed = _sequence(steps)
        for block, d in reversed(removed):
            before = [] if len(block) == 1 else self.put_together(block)
            moved = _sequence(before) or self._names(block)
            steps += before
            steps.append(
                Step(
                    parts=moved,
                    direction=opposite(DIRECTIONS[d]),
                    there=placed,
                    body=self.bodies.get(block, "") if len(block) > 1 else "",
                )
            )
            placed += moved
        return steps

    def _take_apart(self, parts: _Parts) -> tuple[_Parts, list[tuple[_Parts, int]]]:
        """Return the block that stays, and what was taken away from it, in sequence, which way."""
        base = self.habits.base(parts)
        blocks = Blocks.of(self.strikes, self.coarsest(parts))
        alive = blocks.all
        removed: list[tuple[_Parts, int]] = []
        wishes = self._wishes(blocks, alive, base)
        joined = block_rows(self.habits.joined, blocks.parts)
        while True:
            stays = next(k for k in members(alive) if base in blocks.parts[k])
            if alive == 1 << stays:
                return blocks.parts[stays], removed
            last = removed[-1][1] if removed else -1
            move = _single(blocks, alive, wishes, joined, last) or _set(blocks, alive, stays)
            if move:
                away, d = move
                together = tuple(sorted(i for k in members(away) for i in blocks.parts[k]))
                removed.append((together, d))
                alive &= ~away
            else:
                blocks = self._finer(blocks, alive)
                alive = blocks.all
                wishes = self._wishes(blocks, alive, base)
                joined = block_rows(self.habits.joined, blocks.parts)

    def _finer(self, blocks: Blocks, alive: int) -> Blocks:
        """Take the largest block that was only joined, not glued, into its parts."""
        here = [blocks.parts[k] for k in members(alive)]
        finer = [b for b in here if len(b) > 1 and b != self.groups.get(b[0])]
        if not finer:  # nothing locks, so something moves
            raise ArrangementError("no assembly sequence", value=", ".join(self._names(here[0])))
        largest = max(finer, key=self._room)
        rest = [b for b in here if b != largest]
        return Blocks.of(self.strikes, [*rest, *self.coarsest(largest)])

    def _room(self, block: _Parts) -> tuple[int, int]:
        """Volume of the box around a block, and of equals the stronger."""
        volume = 1
        for k in range(3):
            boxes = [self.slabs[i].box for i in block]
            volume *= max(b.hi[k] for b in boxes) - min(b.lo[k] for b in boxes)
        return volume, -block[0]

    def _wishes(self, blocks: Blocks, alive: int, base: int) -> list[list[tuple[int, int]]]:
        """Return (block, direction) by what a maker takes away first; alike ones in one list."""
        parts = [i for k in members(alive) for i in blocks.parts[k]]
        keyed = []
        for k in members(alive):
            block = blocks.parts[k]
            if base in block:
                continue
            turn = self.habits.turn(block, parts)
            for nth, d in enumerate(self.habits.ways(block, turn)):
                # through the bench: last of all, but what is glued under goes on when it is turned over
                down = DIRECTIONS[d] == (2, -1) and (nth > 0 or turn != Turn.STRIP)
                keyed.append(((down, turn, nth), -block[0], k, d))
        keyed.sort()
        return [[(k, d) for _, _, k, d in alike] for _, alike in groupby(keyed, key=lambda w: w[0])]

    # what cannot be

    def removal(self, name: str, moved: _Parts, within: _Parts, direction: Direction) -> Removal:
        """Say whether parts come out past the others of ``within``."""
        others = [i for i in within if i not in set(moved)]
        struck: dict[Direction, _Parts] = {}
        for way in DIRECTIONS:
            hit = self._along(way)
            struck[way] = tuple(i for i in others if hit[list(moved), i].any())
        return Removal(
            name=name,
            direction=direction,
            struck=self._names(struck[direction]),
            free=tuple(way for way in DIRECTIONS if not struck[way]),
        )

    def falls(self) -> Iterator[Fall]:
        """Give what is joined to nothing else and has nothing below it, the box itself apart."""
        everything = tuple(range(len(self.slabs)))
        pieces = self.pieces(self.finest(everything))
        down = self._along((2, -1))
        bench = min(s.box.lo[2] for s in self.slabs)
        # what all else lies in: the first body, else the largest of what stands on the bench
        stand = [p for p in pieces if min(self.slabs[i].box.lo[2] for i in p) == bench]
        main = next(iter(self.bodies), max(stand, key=self._room))
        for parts in pieces:
            others = [i for i in everything if i not in set(parts)]
            if main[0] in parts or down[np.ix_(parts, others)].any():
                continue
            low = min(self.slabs[i].box.lo[2] for i in parts)
            aloft = low > bench
            if aloft or self._fenced(parts, others):
                name = self.bodies.get(parts) or self.slabs[parts[0]].name
                yield Fall(name=name, parts=self._names(parts), aloft=aloft)

    def _fenced(self, parts: _Parts, others: list[int]) -> bool:
        """Whether parts stand within the others: something is in their way towards three sides."""
        sides = ((0, 1), (0, -1), (1, 1), (1, -1))
        return sum(bool(self._along(d)[np.ix_(parts, others)].any()) for d in sides) >= 3

    def _along(self, direction: Direction) -> Bools:
        """(n, n) bool: whether part i strikes part j along a direction."""
        hit: Bools = self.strikes[direction[0]]
        return hit if direction[1] > 0 else hit.T

    def find_lock(self, blocks: Blocks) -> Lock | None:
        """Return the smallest set that locks, of all groups by themselves and of all together."""
        candidates = [
            Blocks.of(self.strikes, self.finest(group)) for group in set(self.groups.values())
        ]
        best: tuple[int, _Parts, Blocks, int] | None = None
        for some in [*candidates, blocks]:
            bits = some.smallest_locked(some.all)
            if bits:
                parts = tuple(sorted(i for k in members(bits) for i in some.parts[k]))
                if best is None or (bits.bit_count(), parts) < best[:2]:
                    best = (bits.bit_count(), parts, some, bits)
        return self._lock(best[2], best[3], best[1]) if best else None

    def _lock(self, blocks: Blocks, bits: int, parts: _Parts) -> Lock:
        home = {i: k for k in members(bits) for i in blocks.parts[k]}
        pairs: dict[Direction, tuple[tuple[str, str], ...]] = {}
        meet: set[tuple[int, int]] = set()
        for direction in DIRECTIONS:
            hit = self._along(direction)
            struck = [(i, j) for i in parts for j in parts if hit[i, j] and home[i] != home[j]]
            meet.update((min(p), max(p)) for p in struck)
            pairs[direction] = tuple((self.slabs[i].name, self.slabs[j].name) for i, j in struck)
        joints = [self._lock_joint(blocks, bits, i, j, home) for i, j in sorted(meet)]
        joints.sort(key=lambda j: (not j.opens, j.kind == "none"))
        return Lock(parts=self._names(parts), blocks=pairs, joints=tuple(joints))

    def _lock_joint(
        self, blocks: Blocks, bits: int, i: int, j: int, home: Mapping[int, int]
    ) -> LockJoint:
        a, b = self.slabs[i], self.slabs[j]
        edge_a, edge_b = (
            s.box.lo[m.normal] == m.box.lo[m.normal] or s.box.hi[m.normal] == m.box.hi[m.normal]
            for s, m in ((a, b), (b, a))
        )
        guest = b.name if (edge_b, b.guest) >= (edge_a, a.guest) else a.name
        if not self.habits.joined[i, j]:
            kind = "none"
        else:
            kind = "finger" if edge_a and edge_b else "mortise" if edge_a or edge_b else "halflap"
        loosened = blocks.apart(home[i], home[j])
        return LockJoint(
            a=a.name,
            b=b.name,
            kind=kind,  # type: ignore[arg-type]  # one of the four by construction
            guest=guest,
            opens=not loosened.is_locked(bits),
        )

    def _names(self, parts: _Parts) -> tuple[str, ...]:
        return tuple(self.slabs[i].name for i in parts)


def _sequence(steps: Sequence[Step]) -> tuple[str, ...]:
    """All parts of finished steps in the sequence in which they came together."""
    return steps[-1].there + steps[-1].parts if steps else ()


def _single(
    blocks: Blocks,
    alive: int,
    wishes: list[list[tuple[int, int]]],
    joined: Sequence[int],
    last: int,
) -> tuple[int, int] | None:
    """Return the block to take away, as a set, and its direction, or ``None`` where none can move.

    The first on the list of wishes that leaves what is joined in one piece, so that nothing is ever
    put where it hangs on to nothing; of those wished for alike, one that goes the last one's way.
    """
    spare: tuple[int, int] | None = None
    for alike in wishes:
        alike[:] = [w for w in alike if alive >> w[0] & 1]
        free = [(k, d) for k, d in alike if not blocks.strikes[d][k] & alive]
        for k, d in sorted(free, key=lambda w: w[1] != last):
            if _hold(alive & ~(1 << k), joined, joined[k]):
                return 1 << k, d
            spare = spare or (1 << k, d)
    return spare


def _hold(within: int, joined: Sequence[int], mates: int) -> bool:
    """Whether those of ``mates`` that are ``within`` are joined to each other, there, in some way."""
    mates &= within
    edge = mates & -mates
    fresh = within & ~edge
    while edge and mates:
        low = edge & -edge
        edge ^= low
        mates &= ~low
        more = joined[low.bit_length() - 1] & fresh
        fresh ^= more
        edge |= more
    return not mates


def _set(blocks: Blocks, alive: int, stays: int) -> tuple[int, int] | None:
    """Return the smallest set that can move away without what stays; upwards before sideways."""
    best: tuple[int, int, int] | None = None
    for nth, d in enumerate((4, 3, 2, 1, 0, 5)):
        for ring in blocks.movable(d, alive):
            if not ring >> stays & 1:
                size = ring.bit_count()
                if best is None or (size, nth) < best[:2]:
                    best = (size, nth, ring)
    return (best[2], (4, 3, 2, 1, 0, 5)[best[1]]) if best else None

"""A beam search over skylines: many half-filled layouts side by side, the best kept after each part.

A skyline is the upper contour of what lies in a bin that is filled from below. The next part always
goes into the lowest, leftmost dent; a dent that takes none of the parts left is raised to its lower
neighbour, and what is lost so is waste. All layouts of one step hold equally many parts, so they can
be compared: by the area they take for the area they hold, or by that over the mean part, which
brings large parts forward.

Bins with blocked room, and windows, are left to the other searches.
"""

from __future__ import annotations

from bisect import insort
from heapq import heappop, heappush
from typing import NamedTuple

from boxjoint.sheet.rectangles import Layout, Problem, Spot

__all__ = ["beam_search"]

#: (start, level) of each stretch, from left to right; neighbours differ in level.
Skyline = tuple[tuple[int, int], ...]


class _Node(NamedTuple):
    bin: int
    skyline: Skyline
    counts: tuple[int, ...]
    closed: int  # area of the bins that are done with
    below: int  # area under the skyline of this bin
    held: int  # area of the parts laid down
    parent: _Node | None
    spot: Spot | None
    empty: bool  # nothing lies in this bin yet


def beam_search(problem: Problem, *, width: int, by_mean: bool, sideways: bool) -> Layout | None:
    """Search.

    Parameters
    ----------
    width
        How many layouts are kept.
    by_mean
        Compare by taken area over held area over mean part, instead of taken over held.
    sideways
        Fill the bins from the left instead of from below.

    Returns
    -------
    The layout of least cost among those kept at the end; ``None`` when none holds all parts.
    """
    search = _Search(problem, sideways)
    first = search.settle(
        _Node(0, ((0, 0),), tuple(p.count for p in problem.parts), 0, 0, 0, None, None, True)
    )
    nodes = [first] if first else []
    for held in range(1, problem.total + 1):
        nodes = search.step(nodes, held, width, by_mean)
        if not nodes:
            return None
    layouts = [search.layout(n) for n in nodes]
    return min(layouts, key=problem.cost)  # the first of equals


class _Search:
    def __init__(self, problem: Problem, sideways: bool) -> None:
        self.problem = problem
        self.sideways = sideways
        self.rooms = [
            (b.height, b.width) if sideways else (b.width, b.height) for b in problem.bins
        ]
        self.kinds = [b.kind for b in problem.bins]
        kinds = max(self.kinds) + 1
        order = sorted(range(len(problem.parts)), key=lambda i: (-problem.areas[i], i))
        #: by kind: (part, way, width, height, area) with the largest parts first
        self.ways: list[list[tuple[int, int, int, int, int]]] = []
        #: by kind: (width, height, part), narrowest first
        self.slim: list[list[tuple[int, int, int]]] = []
        for kind in range(kinds):
            rows = []
            for i in order:
                seen = set()
                for k, way in enumerate(problem.parts[i].ways[kind]):
                    w, h = (way.height, way.width) if sideways else (way.width, way.height)
                    if (w, h) not in seen:
                        seen.add((w, h))
                        rows.append((i, k, w, h, w * h))
            self.ways.append(rows)
            self.slim.append(sorted((w, h, i) for i, _, w, h, _ in rows))

    def settle(self, node: _Node) -> _Node | None:
        """Raise dents that take nothing, go to the next bin where this one is full; ``None``: no bin left."""
        at, skyline, counts, closed, below, held, parent, spot, empty = node
        while True:
            width, height = self.rooms[at]
            slim = self.slim[self.kinds[at]]
            while True:
                i = _lowest(skyline)
                x, y = skyline[i]
                end = skyline[i + 1][0] if i + 1 < len(skyline) else width
                gap, room = end - x, height - y
                for w, h, part in slim:
                    if w > gap:
                        break
                    if h <= room and counts[part]:
                        return _Node(at, skyline, counts, closed, below, held, parent, spot, empty)
                # skyline[i] is lowest, so both neighbours are higher
                level = height
                if i:
                    level = skyline[i - 1][1]
                if i + 1 < len(skyline) and skyline[i + 1][1] < level:
                    level = skyline[i + 1][1]
                below += gap * (level - y)
                if len(skyline) == 1:
                    break
                skyline = _raised(skyline, i, level)
            if not empty:
                closed += width * height
            at += 1
            if at == len(self.rooms):
                return None
            skyline, below, empty = ((0, 0),), 0, True

    def step(self, nodes: list[_Node], held: int, width: int, by_mean: bool) -> list[_Node]:
        """Lay one more part in every way, and keep the best ``width`` layouts.

        Raising dents makes the area taken larger, never smaller, so the guide before it is a lower
        bound. It falls with the area of the part that is laid, and the ways are sorted by that: so the
        children of each node come in ascending sequence of the bound, are merged, and made whole
        only as long as they can still change the result.
        """
        done = held == self.problem.total
        dents = [self.dent(node) for node in nodes]
        waiting: list[tuple[float, int, int]] = []
        for number, node in enumerate(nodes):
            self.queue(waiting, node, dents[number], number, 0, held, by_mean)
        best: list[tuple[float, int, int]] = []
        made: dict[tuple[int, int], _Node] = {}
        seen: set[tuple[int, Skyline, tuple[int, ...]]] = set()
        worst = 0.0
        while waiting:
            guide, number, row = heappop(waiting)
            if len(best) >= width and guide >= worst:
                break
            node = nodes[number]
            self.queue(waiting, node, dents[number], number, row + 1, held, by_mean)
            child = self.child(node, dents[number][0], self.ways[self.kinds[node.bin]][row], done)
            if child is None:
                continue
            mark = (child.bin, child.skyline, child.counts)
            if mark in seen:
                continue
            seen.add(mark)
            true = (child.closed + child.below) / child.held
            if by_mean:
                true = true * held / child.held
            made[number, row] = child
            if len(best) < width:
                insort(best, (true, number, row))
            elif (true, number, row) < best[-1]:
                best.pop()
                insort(best, (true, number, row))
            worst = best[-1][0]
        return [made[number, row] for _, number, row in best]

    def dent(self, node: _Node) -> tuple[int, int, int]:
        """(index, width, height up to the bin's end) of the dent that is filled next."""
        room_w, room_h = self.rooms[node.bin]
        skyline = node.skyline
        i = _lowest(skyline)
        x, y = skyline[i]
        end = skyline[i + 1][0] if i + 1 < len(skyline) else room_w
        return i, end - x, room_h - y

    def queue(
        self,
        waiting: list[tuple[float, int, int]],
        node: _Node,
        dent: tuple[int, int, int],
        number: int,
        row: int,
        held: int,
        by_mean: bool,
    ) -> None:
        """Let the next child of a node wait: the first way from ``row`` on that fits into its dent."""
        _, gap, room = dent
        counts = node.counts
        ways = self.ways[self.kinds[node.bin]]
        for k in range(row, len(ways)):
            part, _, w, h, area = ways[k]
            if w <= gap and h <= room and counts[part]:
                holds = node.held + self.problem.areas[part]
                guide = (node.closed + node.below + area) / holds
                if by_mean:
                    guide = guide * held / holds
                heappush(waiting, (guide, number, k))
                return

    def child(
        self, node: _Node, i: int, row: tuple[int, int, int, int, int], done: bool
    ) -> _Node | None:
        """Lay a part into the dent ``i``, against its higher neighbour (a wall is highest).

        ``done``: it is the last one, so nothing has to be raised for a next.
        """
        part, way, w, h, area = row
        skyline = node.skyline
        room_w = self.rooms[node.bin][0]
        x, y = skyline[i]
        last = i + 1 == len(skyline)
        end = room_w if last else skyline[i + 1][0]
        # against the higher side: what is left of the dent lies at the lower one and is lost there
        right = i > 0 and (last or skyline[i + 1][1] > skyline[i - 1][1])
        top = y + h
        if w == end - x:
            new = _raised(skyline, i, top)
            at = x
        elif right:
            at = end - w
            tail = skyline[i + 1 :]
            if tail and tail[0][1] == top:
                tail = ((at, top), *tail[1:])
            else:
                tail = ((at, top), *tail)
            new = (*skyline[: i + 1], *tail)
        else:
            at = x
            head = skyline[:i]
            if not (head and head[-1][1] == top):
                head = (*head, (x, top))
            new = (*head, (x + w, y), *skyline[i + 1 :])
        counts = node.counts
        counts = (*counts[:part], counts[part] - 1, *counts[part + 1 :])
        spot = (part, y, at, way) if self.sideways else (part, at, y, way)
        child = _Node(
            node.bin,
            new,
            counts,
            node.closed,
            node.below + area,
            node.held + self.problem.areas[part],
            node,
            spot,
            False,
        )
        return child if done else self.settle(child)

    def layout(self, node: _Node | None) -> Layout:
        """Read a layout back from its last node.

        A node knows the bin that is filled next, so a part lies in the bin of the node's parent.
        """
        layout: Layout = [[] for _ in self.rooms]
        while node is not None and node.parent is not None and node.spot is not None:
            layout[node.parent.bin].append(node.spot)
            node = node.parent
        for spots in layout:
            spots.reverse()
        return layout


def _lowest(skyline: Skyline) -> int:
    best, at = skyline[0][1], 0
    for i, (_, y) in enumerate(skyline):
        if y < best:
            best, at = y, i
    return at


def _raised(skyline: Skyline, i: int, level: int) -> Skyline:
    """Set stretch ``i`` to ``level`` and join it with neighbours on the same one."""
    head, tail = skyline[:i], skyline[i + 1 :]
    if head and head[-1][1] == level:
        middle: Skyline = ()
    else:
        middle = ((skyline[i][0], level),)
    if tail and tail[0][1] == level:
        tail = tail[1:]
    return (*head, *middle, *tail)

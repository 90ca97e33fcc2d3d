"""Two offers: walls end to end in one strip, and mating edges cut along one machine axis.

Continuous grain: the four walls, in the sequence in which one walks round the box, are cut end to end
from one strip of the sheet, with only kerf and spacing between; the figure then runs round the box.

One axis: when the machine's scale along X differs from that along Y, two edges that mate fit only as
well as they were cut along the same axis. Three directions of edges on two axes can not all agree:
of the twelve edges of a closed box at least four do not, and they can all lie along one direction.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from boxjoint.errors import InputError
from boxjoint.sheet.records import Item, Strip
from boxjoint.solve.solution import Solution
from boxjoint.units import format_mm

__all__ = [
    "WALKING",
    "Mating",
    "Orientation",
    "continuous_strip",
    "mating_edges",
    "orient",
    "oriented",
    "strip_pieces",
]

#: The walls as one walks round the box, seen from outside: the right end of each meets the next.
WALKING = ("front", "right", "back", "left")
#: Up to so many panels that may be turned all placements are tried.
_EXHAUSTIVE = 16


def continuous_strip(items: Sequence[Item], spacing: int, *, name: str = "walls") -> Strip:
    """Return the walls among ``items`` as one strip in walking order.

    Parameters
    ----------
    items
        Items of one group; those named as in :data:`WALKING` are taken, two at least.
    spacing
        Between cut paths, nm; the nominal outlines are one kerf further apart.

    Raises
    ------
    InputError
        When there are fewer than two walls, when they are cut from different stock, or when the grain
        of one runs across that of another, so that nothing can run on.
    """
    by_name = {item.name: item for item in items}
    walls = [by_name[w] for w in WALKING if w in by_name]
    group = walls[0].group if walls else ""
    where = f"{group} {name}".strip()
    if len(walls) < 2:
        raise InputError(
            "continuous grain needs two walls or more",
            where=where,
            value=", ".join(sorted(by_name)) or "no items",
            limit=f"walls are {', '.join(WALKING)}",
        )
    strip = Strip(name=name, group=group, members=tuple(walls), gap=spacing)
    grains = {w.grain for w in walls if w.grain}
    if len(grains) > 1 or not strip.turns:
        raise InputError(
            "contradicting grain: these walls can not lie in one strip",
            where=where,
            value=", ".join(
                f"{w.name} (grain {w.grain or 'free'}, turn {w.turn}, {w.quarters} quarters)"
                for w in walls
            ),
            do="give all walls the same grain and the same turn",
        )
    return strip


def strip_pieces(strip: Strip, longest: int) -> tuple[Strip | Item, ...]:
    """Break a strip that is longer than any sheet into the fewest pieces that are not.

    Parameters
    ----------
    strip
        A strip.
    longest
        The greatest length that a sheet takes, nm.

    Returns
    -------
    Strips in walking order, filled as evenly as possible from the left; a wall alone is an item. The
    figure of the grain runs on within each piece, and breaks between them.

    Raises
    ------
    InputError
        When one wall alone is longer than that.
    """
    quarters = strip.turns[0] if strip.turns else 0
    lengths = [m.size_at(quarters)[quarters % 2] for m in strip.members]
    for member, length in zip(strip.members, lengths, strict=True):
        if length > longest:
            raise InputError(
                "longer than any sheet takes",
                where=member.label,
                value=format_mm(length),
                limit=f"at most {format_mm(longest)}",
            )
    if sum(lengths) + strip.gap * (len(lengths) - 1) <= longest:
        return (strip,)
    best: tuple[tuple[int, int], list[list[Item]]] | None = None
    for breaks in product((False, True), repeat=len(lengths) - 1):
        pieces: list[list[Item]] = [[strip.members[0]]]
        sizes = [lengths[0]]
        for member, length, apart in zip(strip.members[1:], lengths[1:], breaks, strict=True):
            if apart:
                pieces.append([member])
                sizes.append(length)
            else:
                pieces[-1].append(member)
                sizes[-1] += strip.gap + length
        if max(sizes) <= longest:
            price = (len(pieces), max(sizes))
            if best is None or price < best[0]:
                best = (price, pieces)
    if best is None:  # pragma: no cover - every wall alone fits, so the last break always does
        raise InputError("no piece of the strip fits", where=strip.label)
    return tuple(
        piece[0]
        if len(piece) == 1
        else replace(strip, name=f"{strip.name} {i}", members=tuple(piece))
        for i, piece in enumerate(best[1], 1)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Mating:
    """Two edges that mate: the panels, the axis (0 along X, 1 along Y) of each in its drawing, nm."""

    a: str
    axis_a: int
    b: str
    axis_b: int
    length: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Orientation:
    """Quarter turns (0 or 1) of each panel, and the edges that then lie along different axes."""

    quarters: Mapping[str, int]
    unlike: tuple[Mating, ...]

    @property
    def unlike_length(self) -> int:
        """Length of all edges that lie along different axes, nm."""
        return sum(m.length for m in self.unlike)


def mating_edges(solution: Solution) -> tuple[Mating, ...]:
    """Return the mating edges of a solution: one for each joint."""
    out = []
    for joint in solution.joints:
        a, b = solution.panels[joint.a], solution.panels[joint.b]
        out.append(
            Mating(
                a=a.name,
                axis_a=a.frame.axes.index(joint.axis),
                b=b.name,
                axis_b=b.frame.axes.index(joint.axis),
                length=joint.length,
            )
        )
    return tuple(out)


def orient(
    panels: Sequence[str], edges: Sequence[Mating], locked: Mapping[str, int] | None = None
) -> Orientation:
    """Turn panels so that mating edges lie along the same axis, the longest ones first.

    Parameters
    ----------
    panels
        Names of all panels.
    edges
        What mates.
    locked
        Panels that must not be turned from the given number of quarter turns.

    Returns
    -------
    Orientation
        The longest unlike edge is as short as it can be; of equals the least length of unlike edges
        together, then the fewest panels turned, then the first by name. So what can not match goes on
        the shortest edges: a difference in scale shifts the ends of an edge by half its length times the
        difference, and the joint that is shifted most decides how loose the box must be.

    Notes
    -----
    Exhaustive up to 16 panels that may be turned. Above, panels that mate alike (the same drawing
    axes towards the same directions) are turned together first, and then one by one as long as
    that gains.
    """
    names = sorted(panels)
    fixed = {n: q % 2 for n, q in (locked or {}).items()}
    for name in [*fixed, *(m.a for m in edges), *(m.b for m in edges)]:
        if name not in names:
            raise InputError("no panel of that name", value=name, limit=", ".join(names))
    loose = [n for n in names if n not in fixed]
    if len(loose) <= _EXHAUSTIVE:
        turns = _exhaustive([(n,) for n in loose], edges, fixed)
    else:
        turns = _exhaustive(_families(loose, edges), edges, fixed)
        turns = _one_by_one(loose, edges, turns)
    unlike = tuple(m for m in edges if _differs(m, turns))
    return Orientation(quarters={n: turns[n] for n in panels}, unlike=unlike)


def _differs(m: Mating, turns: Mapping[str, int]) -> bool:
    return (m.axis_a + turns[m.a]) % 2 != (m.axis_b + turns[m.b]) % 2


def _price(edges: Sequence[Mating], turns: Mapping[str, int]) -> tuple[int, int, int]:
    unlike = [m.length for m in edges if _differs(m, turns)]
    return max(unlike, default=0), sum(unlike), sum(turns.values())


def _exhaustive(
    families: Sequence[tuple[str, ...]], edges: Sequence[Mating], fixed: Mapping[str, int]
) -> dict[str, int]:
    """Try all turns of the families at once; ``families`` are at most a few dozen bits."""
    k = len(families)
    place = {name: i for i, family in enumerate(families) for name in family}
    numbers = np.arange(2**k, dtype=np.int64)
    # the first family is the highest bit, so that ascending numbers are ascending by name
    bits = [(numbers >> (k - 1 - i)) & 1 for i in range(k)]
    total = np.zeros(2**k, dtype=np.int64)
    longest = np.zeros(2**k, dtype=np.int64)
    for m in edges:
        side = np.full(2**k, (m.axis_a + m.axis_b) % 2, dtype=np.int64)
        for name in (m.a, m.b):
            side = side ^ (bits[place[name]] if name in place else fixed[name])
        total += side * m.length
        longest = np.maximum(longest, side * m.length)
    turned = sum((b * len(f) for b, f in zip(bits, families, strict=True)), np.zeros_like(total))
    best = int(np.lexsort((numbers, turned, total, longest))[0])
    found = dict(fixed)
    for i, family in enumerate(families):
        found.update(dict.fromkeys(family, int(bits[i][best])))
    return found


def _families(names: Sequence[str], edges: Sequence[Mating]) -> list[tuple[str, ...]]:
    """Panels with the same way of mating: the axes of theirs and of their mates' edges."""
    ways: dict[str, set[tuple[int, int]]] = {n: set() for n in names}
    for m in edges:
        for name, own, other in ((m.a, m.axis_a, m.axis_b), (m.b, m.axis_b, m.axis_a)):
            if name in ways:
                ways[name].add((own, other))
    by_way: dict[tuple[tuple[int, int], ...], list[str]] = {}
    for name in names:
        by_way.setdefault(tuple(sorted(ways[name])), []).append(name)
    groups = [tuple(g) for g in by_way.values()]
    return groups if len(groups) <= _EXHAUSTIVE else [tuple(names)]


def _one_by_one(
    names: Sequence[str], edges: Sequence[Mating], turns: dict[str, int]
) -> dict[str, int]:
    price = _price(edges, turns)
    gained = True
    while gained:
        gained = False
        for name in names:
            trial = turns | {name: 1 - turns[name]}
            if (now := _price(edges, trial)) < price:
                turns, price, gained = trial, now, True
    return turns


def oriented(items: Sequence[Item], orientation: Orientation) -> tuple[Item, ...]:
    """Lock the items to an orientation: turned by it, and by half turns more where allowed.

    Raises
    ------
    InputError
        When an item may not be turned so; lock it before asking for the orientation.
    """
    out = []
    for item in items:
        wanted = orientation.quarters.get(item.name)
        if wanted is None:
            out.append(item)
            continue
        turns = [q for q in item.turns if q % 2 == wanted % 2]
        if not turns:
            raise InputError(
                "this panel may not be turned as its mates want it",
                where=item.label,
                value=f"turn {item.turn!r}, {item.quarters} quarters",
                limit=f"{wanted} quarter turns",
                do="lock it before the others are oriented",
            )
        out.append(replace(item, quarters=turns[0], turn="half" if len(turns) > 1 else "none"))
    return tuple(out)

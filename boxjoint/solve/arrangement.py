"""Slabs and their arrangement: the only description of a box that the solver takes.

Glossary
--------
slab
    The full rectangle of stock that a panel is cut from, reaching through every mate.
guest
    A slab that stands inside a box (divider, shelf, tray).
rank
    The total order that decides who owns ends and corners: the sequence of the slabs, strongest
    first.
inside
    A block of space that was asked for and that no slab may enter.
body
    Slabs that hold together, by joints or by glue face to face, and move as one: a box, its lid, a
    drawer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from boxjoint.errors import ArrangementError
from boxjoint.geometry.cuboid import Cuboid

__all__ = ["Arrangement", "Body", "Hinge", "InsideBlock", "Slab", "place_text"]

_AXIS = "xyz"


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """One slab.

    Parameters
    ----------
    name
        Unique in its arrangement.
    normal
        0, 1 or 2: the axis along which it is thin.
    box
        The space it takes, nm.
    outward
        +1 or -1: the sense, along ``normal``, of the face that is looked at ("from outside").
    guest
        Whether it stands inside a box; its shoulders then keep a relief.
    """

    name: str
    normal: int
    box: Cuboid
    outward: Literal[1, -1] = 1
    guest: bool = False

    @property
    def thickness(self) -> int:
        """Extent along the normal, nm."""
        return self.box.hi[self.normal] - self.box.lo[self.normal]

    @property
    def plane(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """The drawing's right and up as (world axis, sense), seen from outside."""
        if self.normal == 1:
            return ((0, -self.outward), (2, 1))  # front (-y): +x; back: -x
        if self.normal == 0:
            return ((1, self.outward), (2, 1))  # left (-x): -y; right: +y
        return ((0, 1), (1, self.outward))  # top: +x, +y; bottom: +x, -y


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideBlock:
    """A block of space that was asked for; ``open`` names its faces that no slab closes.

    ``open`` holds (axis, sense) pairs; an open top is (2, 1). ``rim`` is how far above the block the
    rim of the walls lies, nm, where a lip under a lid takes that room. ``guests`` names the slabs that
    may stand in it: dividers, the drawer in its opening, the walls in a lid that goes over them. ``gap`` is how far short of a face's edges the slab that closes it may end, nm,
    as loose dividers do. ``compartment`` counts it along x and y from 1, where dividers bound it.
    """

    name: str
    box: Cuboid
    open: tuple[tuple[int, int], ...] = ()
    rim: int = 0
    guests: tuple[str, ...] = ()
    gap: int = 0
    compartment: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """Slabs that hold together and move as one.

    Parameters
    ----------
    name
        What people call it: ``box``, ``lid``, ``drawer-3``.
    slabs
        Names of its slabs.
    glued
        Pairs of its slabs that touch in a face and are glued there; joints need no mention.
    out
        (axis, sense) along which it comes out, with everything in its place that comes out later;
        ``None``: it stays where it is.
    """

    name: str
    slabs: tuple[str, ...]
    glued: tuple[tuple[str, str], ...] = ()
    out: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hinge:
    """What a body turns on: two pins on one line along x.

    Parameters
    ----------
    body
        The body that turns.
    at
        (y, z) of the line, nm.
    pin
        Diameter of the pins, nm.
    hole
        Diameter of the holes that turn on them, nm; those that hold them are as wide as the pins.
    pairs
        The panel of the body and the panel of what stands still that each pin goes through.
    clearance
        What the body keeps from all else while it turns, nm.
    """

    body: str
    at: tuple[int, int]
    pin: int
    hole: int
    pairs: tuple[tuple[str, str], ...]
    clearance: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Slabs by rank, strongest first, and the insides that were asked for.

    ``bodies`` may be empty: then nothing is said about what holds together. Else every slab belongs
    to one of them; the last comes out first. ``hinge`` says what one of them turns on once its pins are in.

    Raises
    ------
    ArrangementError
        When a name is used twice, two parallel slabs overlap, or a slab ends part-way through
        another's thickness; names both and the place. When a slab is attached by nothing, two
        bodies run through each other, or a body cannot come out.
    """

    slabs: tuple[Slab, ...]
    insides: tuple[InsideBlock, ...] = ()
    bodies: tuple[Body, ...] = ()
    hinge: Hinge | None = None

    def __post_init__(self) -> None:
        names = [s.name for s in self.slabs]
        if not names:
            raise ArrangementError("an arrangement needs at least one slab")
        seen: set[str] = set()
        for name in names:
            if name in seen:
                raise ArrangementError("two slabs have the same name", value=name)
            seen.add(name)
        met = self.overlaps()
        for i, j in met:
            _check_pair(self.slabs[i], self.slabs[j])
        if self.bodies:
            _check_bodies(self.slabs, self.bodies, met)

    def overlaps(self) -> list[tuple[int, int]]:
        """Pairs (i, j), i < j, of slabs that share volume, in ascending sequence."""
        lo = np.array([s.box.lo for s in self.slabs], dtype=np.int64)
        hi = np.array([s.box.hi for s in self.slabs], dtype=np.int64)
        met = np.ones((len(lo), len(lo)), dtype=bool)
        for k in range(3):
            met &= lo[:, None, k] < hi[None, :, k]
        met &= met.T
        i, j = np.nonzero(np.triu(met, 1))
        return list(zip(i.tolist(), j.tolist(), strict=True))

    def index(self, name: str) -> int:
        """Position of the named slab, which is its rank (0 is the strongest)."""
        for i, slab in enumerate(self.slabs):
            if slab.name == name:
                return i
        raise ArrangementError("no slab of that name", value=name)


def place_text(box: Cuboid) -> str:
    """Say where a cuboid lies, in mm, for messages."""
    return ", ".join(
        f"{_AXIS[k]} {box.lo[k] / 1e6:.6g} to {box.hi[k] / 1e6:.6g} mm" for k in range(3)
    )


def _check_pair(a: Slab, b: Slab) -> None:
    shared = a.box.common(b.box)
    if shared is None:
        return
    if a.normal == b.normal:
        raise ArrangementError(
            f"the parallel slabs {a.name} and {b.name} overlap",
            where=place_text(shared),
            value=f"{shared.size[a.normal] / 1e6:.6g} mm",
            limit="parallel slabs may touch, never overlap",
            panels=(a.name, b.name),
        )
    for s, mate in ((a, b), (b, a)):
        k = mate.normal
        if shared.span(k) != mate.box.span(k):
            raise ArrangementError(
                f"{s.name} ends part-way through the thickness of {mate.name}",
                where=place_text(shared),
                value=f"{shared.size[k] / 1e6:.6g} of {mate.thickness / 1e6:.6g} mm",
                limit="a slab reaches through every mate or stays clear of it",
                do=f"let {s.name} reach through {mate.name}",
                panels=(s.name, mate.name),
            )
        if s.box.span(k) == mate.box.span(k):
            raise ArrangementError(
                f"{s.name} is no longer than the thickness of {mate.name} that it meets",
                where=place_text(shared),
                value=f"{shared.size[k] / 1e6:.6g} mm",
                limit="a slab stretches beyond its mate on at least one side",
                panels=(s.name, mate.name),
            )


def _check_bodies(
    slabs: tuple[Slab, ...], bodies: tuple[Body, ...], met: list[tuple[int, int]]
) -> None:
    """Refuse parts that nothing holds, bodies that run through each other or cannot come out."""
    home: dict[str, int] = {}
    for b, body in enumerate(bodies):
        for name in body.slabs:
            if home.setdefault(name, b) != b:
                raise ArrangementError(
                    f"{name} belongs to two bodies",
                    value=f"{bodies[home[name]].name} and {body.name}",
                    panels=(name,),
                )
    by_name = {s.name: s for s in slabs}
    for name in home:
        if name not in by_name:
            raise ArrangementError(
                "no slab of that name", value=name, where=bodies[home[name]].name
            )
    held: dict[str, set[str]] = {s.name: set() for s in slabs}
    for i, j in met:
        one, other = slabs[i].name, slabs[j].name
        held[one].add(other)
        held[other].add(one)
        if home.get(one) != home.get(other):
            shared = slabs[i].box.common(slabs[j].box)
            raise ArrangementError(
                f"{one} and {other} run through each other and could never be taken apart",
                where=place_text(shared) if shared is not None else "",
                limit="slabs of different bodies may touch, never overlap",
                panels=(one, other),
            )
    for body in bodies:
        for one, other in body.glued:
            if home.get(one) != home.get(other) or not _touch(by_name[one].box, by_name[other].box):
                raise ArrangementError(
                    f"{one} is to be glued to {other} but does not touch it in a face",
                    where=body.name,
                    panels=(one, other),
                )
            held[one].add(other)
            held[other].add(one)
    for s in slabs:
        if s.name not in home:
            raise ArrangementError(
                f"{s.name} is attached by nothing",
                where=place_text(s.box),
                limit="every panel is jointed or glued to its box, lid or drawer",
                panels=(s.name,),
            )
    for b, body in enumerate(bodies):
        _check_whole(body, held, by_name)
        if body.out is not None:
            _check_way(body, [s for s in slabs if home[s.name] < b], by_name)


def _touch(a: Cuboid, b: Cuboid) -> bool:
    """Whether two cuboids share a face, or a part of one, and no volume."""
    apart = [k for k in range(3) if a.lo[k] == b.hi[k] or b.lo[k] == a.hi[k]]
    within = [k for k in range(3) if a.lo[k] < b.hi[k] and b.lo[k] < a.hi[k]]
    return len(apart) == 1 and len(within) == 2


def _check_whole(body: Body, held: dict[str, set[str]], by_name: dict[str, Slab]) -> None:
    reached, todo = {body.slabs[0]}, [body.slabs[0]]
    while todo:
        for mate in held[todo.pop()] - reached:
            reached.add(mate)
            todo.append(mate)
    loose = [name for name in body.slabs if name not in reached]
    if not loose:
        return
    # the smaller part is the one that a maker would call loose
    if len(loose) > len(reached):
        loose = [name for name in body.slabs if name in reached]
    raise ArrangementError(
        f"{loose[0]} is attached by nothing",
        where=f"{body.name}: {place_text(by_name[loose[0]].box)}",
        value=f"{', '.join(loose)} and the rest neither joint nor touch where they are glued",
        limit="every panel is jointed or glued to its box, lid or drawer",
        panels=tuple(loose),
    )


def _check_way(body: Body, others: list[Slab], by_name: dict[str, Slab]) -> None:
    """Sweep the slabs of a body out, exactly: what lies ahead in their way blocks it."""
    if body.out is None or not others:
        return
    axis, sense = body.out
    lo = np.array([s.box.lo for s in others], dtype=np.int64)
    hi = np.array([s.box.hi for s in others], dtype=np.int64)
    for name in body.slabs:
        box = by_name[name].box
        ahead = hi[:, axis] > box.lo[axis] if sense > 0 else lo[:, axis] < box.hi[axis]
        for k in range(3):
            if k != axis:
                ahead &= (lo[:, k] < box.hi[k]) & (hi[:, k] > box.lo[k])
        if ahead.any():
            other = others[int(np.flatnonzero(ahead)[0])]
            shared = [
                min(box.hi[k], other.box.hi[k]) - max(box.lo[k], other.box.lo[k])
                for k in range(3)
                if k != axis
            ]
            raise ArrangementError(
                f"{body.name} cannot come out: {name} strikes {other.name}",
                where=place_text(other.box),
                value=f"{min(shared) / 1e6:.6g} mm in its way",
                limit=f"a free way along {'+' if sense > 0 else '-'}{_AXIS[axis]}",
                panels=(name, other.name),
            )

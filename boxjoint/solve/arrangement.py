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
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from boxjoint.errors import ArrangementError
from boxjoint.geometry.cuboid import Cuboid

__all__ = ["Arrangement", "InsideBlock", "Slab", "place_text"]

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

    ``open`` holds (axis, sense) pairs; an open top is (2, 1).
    """

    name: str
    box: Cuboid
    open: tuple[tuple[int, int], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Slabs by rank, strongest first, and the insides that were asked for.

    Raises
    ------
    ArrangementError
        When a name is used twice, two parallel slabs overlap, or a slab ends part-way through
        another's thickness; names both and the place.
    """

    slabs: tuple[Slab, ...]
    insides: tuple[InsideBlock, ...] = ()

    def __post_init__(self) -> None:
        names = [s.name for s in self.slabs]
        if not names:
            raise ArrangementError("an arrangement needs at least one slab")
        seen: set[str] = set()
        for name in names:
            if name in seen:
                raise ArrangementError("two slabs have the same name", value=name)
            seen.add(name)
        for i, j in self.overlaps():
            _check_pair(self.slabs[i], self.slabs[j])

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

"""What fills a box: the things that go in, the dividers between them, and what the box goes into.

All lengths are ``int`` nanometres. A field that is ``None`` was left out of the job.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

from boxjoint.errors import InputError

__all__ = [
    "DIVIDER_NAME",
    "FIXINGS",
    "LIES",
    "REST",
    "Bottom",
    "Compartments",
    "Contents",
    "Dividers",
    "FitInto",
    "Fixing",
    "Item",
    "Lie",
    "divider_names",
]

Fixing = Literal["tabbed", "loose"]
FIXINGS: tuple[Fixing, ...] = ("tabbed", "loose")

Lie = Literal["flat", "on edge", "on end"]
LIES: tuple[Lie, ...] = ("flat", "on edge", "on end")

#: The compartment that takes what the others leave.
REST = "rest"

#: Names of the panels of dividers: ``x`` divides the length, ``y`` the width; counted from 1.
DIVIDER_NAME = re.compile(r"divider-([xy])([1-9][0-9]{0,3})")


def divider_names(axis: int, compartments: int) -> tuple[str, ...]:
    """Names of the dividers between the compartments along x (0) or y (1), in ascending sequence."""
    return tuple(f"divider-{'xy'[axis]}{k}" for k in range(1, compartments))


@dataclass(frozen=True, slots=True, kw_only=True)
class Compartments:
    """How one direction of the inside is divided.

    Parameters
    ----------
    count
        That many equal compartments; 1 leaves the direction undivided.
    sizes
        Instead of ``count``: each compartment's size, nm, or :data:`REST` (once), or the name of the
        item that it is for.
    """

    count: int = 1
    sizes: tuple[int | str, ...] = ()

    def __post_init__(self) -> None:
        if self.sizes and self.count != 1:
            raise InputError("a count and sizes of compartments exclude each other")
        if self.count < 1 or self.sizes.count(REST) > 1:
            raise InputError("compartments need a count of 1 or more, and at most one rest")

    def __len__(self) -> int:
        return len(self.sizes) or self.count


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One kind of thing that goes in.

    Parameters
    ----------
    size
        (length, width, thickness), nm, its largest; ``None`` where ``of`` names it.
    of
        Name of a standard item, as in ``boxjoint.job.standards``.
    thickness
        Of a standard item that has none of its own (a stack of sheets), or measured; nm.
    count
        How many the whole box takes.
    lie
        ``flat``: thickness up. ``on edge``: width up. ``on end``: length up.
    turned
        False: of the two edges that lie level, the longer-named one (length before width before
        thickness) runs along x. True: along y.
    rows
        How many stand along a direction in one compartment, by direction. The direction of the
        thickness takes the others, unless it is named.
    """

    size: tuple[int, int, int] | None = None
    of: str = ""
    thickness: int | None = None
    count: int = 1
    lie: Lie = "flat"
    turned: bool = False
    rows: dict[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if (self.size is None) == (not self.of):
            raise InputError("an item needs either a size or the name of a standard item")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """How everything that goes in is kept.

    Parameters
    ----------
    clearance
        Compartment minus what lies in it, along each direction, both sides together, nm.
    lining
        Thickness of the lining on every face that an item touches, nm.
    finger_room
        Space beside what lies in a compartment, to get hold of it, by direction, nm.
    """

    clearance: int | None = None
    lining: int = 0
    finger_room: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dividers:
    """The guests that divide the inside.

    Parameters
    ----------
    length, width
        Compartments along x, along y.
    height
        Of every divider above the base, nm; ``None``: the inside's.
    fixing
        ``tabbed`` into walls and base, or ``loose`` between the walls.
    clearance
        Of loose dividers: wall to wall minus divider, both ends together, nm.
    """

    length: Compartments = field(default_factory=Compartments)
    width: Compartments = field(default_factory=Compartments)
    height: int | None = None
    fixing: Fixing = "tabbed"
    clearance: int | None = None

    @property
    def along(self) -> tuple[Compartments, Compartments]:
        """(length, width)."""
        return (self.length, self.width)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all dividers, those across the length first."""
        return tuple(n for k in (0, 1) for n in divider_names(k, len(self.along[k])))


@dataclass(frozen=True, slots=True, kw_only=True)
class FitInto:
    """The space that the whole box must go into (a shelf, a drawer), nm; ``None``: no limit."""

    length: int | None = None
    width: int | None = None
    height: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottom:
    """The base: ``raised`` is how far the walls reach down below it as feet, nm.

    ``legs`` is how much of each wall is left at its ends there, nm; 0: all of it.
    """

    raised: int = 0
    legs: int = 0

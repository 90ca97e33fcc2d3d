"""What a job says of the sheets it is cut from, and how its panels shall lie on them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from boxjoint.job.thickness import Thickness

__all__ = [
    "AXES",
    "FACES",
    "MOST_BRIDGES",
    "MOST_LEVEL",
    "TURNS",
    "Face",
    "Nesting",
    "SheetAsk",
    "Turn",
]

Turn = Literal["free", "half", "none"]
Face = Literal["inside", "outside"]

TURNS: tuple[Turn, ...] = ("free", "half", "none")
FACES: tuple[Face, ...] = ("inside", "outside")
AXES = ("x", "y")
MOST_LEVEL = 3
MOST_BRIDGES = 12

#: (x, y, width, height), nm, from the lower left corner.
Rectangle = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetAsk:
    """Sheets of one size that there are.

    Parameters
    ----------
    size
        Along the bed's X and Y, nm.
    count
        How many; ``None``: as many as are needed.
    material, thickness
        ``None``: the job's stock.
    offcut
        True: used up before sheets that are none.
    grain
        Axis of the sheet that its grain runs along; ``""``: none, or nobody said.
    keep_outs
        Flaws and holes.
    """

    size: tuple[int, int]
    count: int | None = None
    material: str | None = None
    thickness: Thickness | None = None
    offcut: bool = False
    grain: str = ""
    keep_outs: tuple[Rectangle, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Nesting:
    """How panels shall lie on sheets; ``None`` where the job does not say.

    Parameters
    ----------
    spacing, margin
        Between cut paths, and from the edge of the sheet, nm.
    bed
        How far the head reaches along X and Y, nm.
    keep_outs
        Clamps and magnets, in bed coordinates.
    turn
        How every panel may be turned that says nothing for itself.
    face
        The side of the panels that lies up, and takes the marks.
    windows
        Panels may lie in windows of others.
    continuous
        The walls lie end to end in one strip, so that the grain runs round the box.
    one_axis
        Mating edges are cut along the same axis of the machine, as far as it can be.
    labels
        Score each panel's name, the letters of its mates and an arrow on the side that lies up.
    level
        0 to 3: how long to search.
    support
        Distance between the slats or bars that carry the sheet, nm: a panel smaller than it in either
        direction gets bridges. ``None``: none does.
    bridges, bridge_width
        How many for each such panel, and how wide as cut, nm.
    lead_in
        How far beside an outline the beam starts in the waste, nm; ``None``: on the outline.
    """

    spacing: int | None = None
    margin: int | None = None
    bed: tuple[int, int] | None = None
    keep_outs: tuple[Rectangle, ...] = field(default=())
    turn: Turn = "free"
    face: Face = "inside"
    windows: bool = False
    continuous: bool = False
    one_axis: bool = False
    labels: bool = True
    level: int = 2
    support: int | None = None
    bridges: int | None = None
    bridge_width: int | None = None
    lead_in: int | None = None

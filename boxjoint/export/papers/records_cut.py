"""What the papers are told about cutting: rows of the cut list, sheets, operations, settings.

Plain values, filled by whoever knows the order. Lengths are mm in floats, sheet coordinates have their
origin at the lower left corner of the sheet, y up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.page import Point
from boxjoint.job.figures import Figure
from boxjoint.units import Speed, System

__all__ = [
    "Area",
    "CutNumber",
    "CutRow",
    "Operation",
    "PlacedPart",
    "RecordedSettings",
    "SheetPicture",
    "SheetTime",
    "Towards",
    "above_zero",
    "finite",
]

#: A direction on the sheet.
Towards = Literal["right", "up", "left", "down"]


def finite(where: str, **values: float) -> None:
    """Raise InputError unless every value is a finite number."""
    for name, value in values.items():
        if not math.isfinite(value):
            raise InputError(f"{name} must be a finite number", where=where, value=repr(value))


def above_zero(where: str, **values: float) -> None:
    """Raise InputError unless every value is finite and above zero."""
    finite(where, **values)
    for name, value in values.items():
        if value <= 0:
            raise InputError(f"{name} must be above zero", where=where, value=repr(value))


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRow:
    """One line of the cut list.

    Parameters
    ----------
    part, job
        Name of the panel, and of the job it belongs to.
    quantity
        In the whole order.
    size
        Across and up, as the panel is drawn seen from outside, tabs included.
    material, thickness
        What it is cut from.
    grain
        In words: ``"along length"``, ``"none"``.
    sheets
        Numbers of the sheets that it lies on.
    label
        As it is written in the sheet pictures; empty: the same as ``part``.
    unit
        The job's own unit, shown first.
    note
        Anything more.
    """

    part: str
    job: str
    quantity: int
    size: tuple[Figure, Figure]
    material: str
    thickness: Figure
    grain: str = "not stated"
    sheets: tuple[int, ...] = ()
    label: str = ""
    unit: System = "mm"
    note: str = ""

    def __post_init__(self) -> None:
        where = f"{self.job} {self.part}".strip()
        above_zero(
            where,
            quantity=self.quantity,
            size=min(f.value for f in self.size),
            thickness=self.thickness.value,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedPart:
    """A part in its place on a sheet.

    Parameters
    ----------
    label
        What is written on it in the picture.
    rings
        (n, 2) float64 each, mm on the sheet: the outline, then holes; not closed by repetition.
    up
        Where on the sheet the part's own up points, or ``None`` where it does not matter.
    cuts
        Its numbers in the cut sequence, in words: ``"5 to 8"``.
    """

    label: str
    rings: tuple[NDArray[np.float64], ...]
    up: Towards | None = None
    cuts: str = ""

    def __post_init__(self) -> None:
        if not self.rings or any(r.ndim != 2 or r.shape[1] != 2 or len(r) < 3 for r in self.rings):
            raise InputError(
                "a part needs an outline of (n, 2) points, three or more", where=self.label
            )
        if not all(np.isfinite(r).all() for r in self.rings):
            raise InputError("a part lies at a place that is not finite", where=self.label)


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A rectangle on a sheet, mm: where nothing may be cut, or what remains."""

    x: float
    y: float
    width: float
    height: float
    name: str = ""

    def __post_init__(self) -> None:
        finite(self.name or "area", x=self.x, y=self.y)
        above_zero(self.name or "area", width=self.width, height=self.height)


@dataclass(frozen=True, slots=True, kw_only=True)
class CutNumber:
    """Where a cut starts, mm on the sheet, and its number in the cut sequence."""

    number: int
    at: Point


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetPicture:
    """One sheet as it is cut.

    Parameters
    ----------
    number, of
        This sheet, and how many the order takes.
    name
        As the shop calls it.
    size
        (along X, along Y), mm, as it lies on the bed.
    material, thickness
        What it is.
    parts
        In their places.
    grain
        Axis of the sheet, ``""`` where nobody said.
    face_up
        In words, empty where it does not matter: ``"outside faces up"``.
    copies
        How many sheets are cut like this one.
    margin_mm
        Width along the edges that is left free.
    keep_outs, remains
        Where nothing may be cut; what is worth keeping.
    used
        Share of the sheet's area that becomes parts, unit ``"1"``.
    starts
        Where cuts start, with their numbers.
    unit
        The unit shown first.
    file
        Name of the file to cut, empty where there is none.
    """

    number: int
    of: int
    name: str
    size: tuple[float, float]
    material: str
    thickness: Figure
    parts: tuple[PlacedPart, ...]
    grain: Literal["", "x", "y"] = ""
    face_up: str = ""
    copies: int = 1
    margin_mm: float = 0.0
    keep_outs: tuple[Area, ...] = ()
    remains: tuple[Area, ...] = ()
    used: Figure | None = None
    starts: tuple[CutNumber, ...] = ()
    unit: System = "mm"
    file: str = ""

    def __post_init__(self) -> None:
        where = f"sheet {self.number}"
        above_zero(
            where,
            number=self.number,
            copies=self.copies,
            width=self.size[0],
            height=self.size[1],
            thickness=self.thickness.value,
        )
        finite(where, margin=self.margin_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One step, or one run of like steps, of the cut sequence.

    Parameters
    ----------
    sheet
        Number of the sheet.
    steps
        First and last number in its cut sequence.
    layer
        As the file names it.
    part, what
        Whose it is, and what is cut: ``"outline"``, ``"3 holes"``.
    length
        Of the path, mm.
    time
        Seconds (unit ``"s"``), or ``None``.
    band
        Least and greatest time that is believed, seconds.
    """

    sheet: int
    steps: tuple[int, int]
    layer: str
    part: str
    what: str
    length: Figure
    time: Figure | None = None
    band: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetTime:
    """Time at the machine: of one sheet, or of all where ``sheet`` is ``None``.

    ``how`` says where it comes from, since a time nobody checked against the shop's own jobs can be
    far off.
    """

    sheet: int | None
    time: Figure
    band: tuple[float, float] | None = None
    how: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedSettings:
    """Machine settings as the shop recorded them; empty or ``None`` where nothing was recorded.

    A record is what was used once, never advice.
    """

    name: str
    machine: str
    material: str = ""
    layer: str = ""
    speed: Speed | None = None
    power: str = ""
    passes: int | None = None
    air: str = ""
    focus: str = ""
    recorded: str = ""
    note: str = ""

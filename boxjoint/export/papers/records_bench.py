"""What the papers are told about the bench: steps of assembly, inspection, packing, price."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from boxjoint.errors import InputError
from boxjoint.export.papers.records_cut import above_zero, finite
from boxjoint.geometry.page import Mark, PathMark, Point, TextMark
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source
from boxjoint.units import System

__all__ = [
    "Assembly",
    "AssemblyStep",
    "Diagonal",
    "Inspection",
    "PackedBox",
    "PaperPicture",
    "Price",
    "PriceLine",
    "SizeCheck",
]


class _Shape(Protocol):
    """Outlines as other rooms draw them; ``""`` is no fill and no line."""

    @property
    def rings(self) -> Sequence[Any]: ...
    @property
    def closed(self) -> bool: ...
    @property
    def fill(self) -> str: ...
    @property
    def stroke(self) -> str: ...
    @property
    def width_mm(self) -> float: ...
    @property
    def dash(self) -> tuple[float, ...]: ...


class _Line(Protocol):
    """Text as other rooms draw it: ``at`` is the middle of its height."""

    @property
    def text(self) -> str: ...
    @property
    def at(self) -> Point: ...
    @property
    def size(self) -> float: ...
    @property
    def matrix(self) -> tuple[float, float, float, float]: ...
    @property
    def anchor(self) -> str: ...


class _Drawn(Protocol):
    @property
    def width_mm(self) -> float: ...
    @property
    def height_mm(self) -> float: ...
    @property
    def shapes(self) -> Sequence[_Shape]: ...
    @property
    def lines(self) -> Sequence[_Line]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperPicture:
    """Marks within (0, 0) and (``wide``, ``high``), mm, y down; the page makes it as large as fits."""

    wide: float
    high: float
    marks: tuple[Mark, ...]

    def __post_init__(self) -> None:
        above_zero("picture", wide=self.wide, high=self.high)

    @classmethod
    def of(cls, drawn: _Drawn) -> PaperPicture:
        """Return a picture made of shapes and lines of text, such as the isometric ones, as marks."""
        marks: list[Mark] = []
        for s in drawn.shapes:
            rings = tuple(tuple((float(x), float(y)) for x, y in ring) for ring in s.rings)
            marks.append(
                PathMark(
                    rings=rings,
                    closed=s.closed,
                    fill=s.fill or "none",
                    stroke=s.stroke or "none",
                    width=s.width_mm,
                    dash=s.dash,
                )
            )
        for line in drawn.lines:
            if line.anchor not in ("start", "middle", "end"):
                raise InputError("an anchor is start, middle or end", value=repr(line.anchor))
            down = 0.35 * line.size  # from the middle of the height to the base line
            marks.append(
                TextMark(
                    at=(line.at[0] + line.matrix[2] * down, line.at[1] + line.matrix[3] * down),
                    words=line.text,
                    size=line.size,
                    anchor=line.anchor,  # type: ignore[arg-type]
                    matrix=line.matrix,
                )
            )
        return cls(wide=drawn.width_mm, high=drawn.height_mm, marks=tuple(marks))


@dataclass(frozen=True, slots=True, kw_only=True)
class AssemblyStep:
    """One step: what to do in words, the parts it takes, and a picture."""

    words: str
    parts: tuple[str, ...] = ()
    picture: PaperPicture | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Assembly:
    """How one job goes together, first step first; ``note`` stands above the steps."""

    job: str
    steps: tuple[AssemblyStep, ...]
    note: str = ""
    quantity: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeCheck:
    """A size to measure on the finished box.

    Parameters
    ----------
    name
        ``"length"``, ``"width"``, ``"height"``, or of a compartment.
    size
        Asked or computed, mm.
    limit
        It may be off by this either way, mm; ``None``: nobody set a limit, the size is for comparing.
    """

    name: str
    size: Figure
    limit: Figure | None = None

    def __post_init__(self) -> None:
        above_zero(self.name, size=self.size.value)
        if self.limit is not None:
            finite(self.name, limit=self.limit.value)


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagonal:
    """The two diagonals of one inside face, a by b mm, and how much they may differ.

    ``face`` names it: ``"opening, length x width"``.
    """

    face: str
    a: float
    b: float
    allowed: Figure

    def __post_init__(self) -> None:
        above_zero(self.face, a=self.a, b=self.b)
        finite(self.face, allowed=self.allowed.value)

    @property
    def length(self) -> Figure:
        """Both diagonals when the face is square: sqrt(a^2 + b^2), mm."""
        return Figure(value=math.hypot(self.a, self.b), source=Source.COMPUTED)

    @property
    def skew_mm(self) -> float:
        """How far a corner stands off square over the longer side when the diagonals just pass, mm.

        With D1 - D2 = d the angle is off by (D1^2 - D2^2)/(4ab) = d D/(2ab) rad for small d, D their
        mean (law of cosines); times the longer side.
        """
        longer = max(self.a, self.b)
        return self.allowed.value * self.length.value / (2 * self.a * self.b) * longer


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """What is checked on every box of one job.

    Parameters
    ----------
    job, quantity
        Whose, and how many boxes have to be checked.
    insides, outsides
        Inside sizes as asked, outside sizes as computed.
    diagonals
        Of the inside faces that calipers or a rule can reach.
    fit
        The fit that was chosen, in words with its source.
    felt
        Verdicts to tick, as the shop book takes them.
    unit
        The job's own unit, shown first.
    """

    job: str
    quantity: int
    insides: tuple[SizeCheck, ...]
    outsides: tuple[SizeCheck, ...] = ()
    diagonals: tuple[Diagonal, ...] = ()
    fit: str = ""
    felt: tuple[str, ...] = ("tight", "ok", "loose")
    unit: System = "mm"

    def __post_init__(self) -> None:
        above_zero(self.job, quantity=self.quantity)


@dataclass(frozen=True, slots=True, kw_only=True)
class PackedBox:
    """One line of the packing list: a box, or a set of parts packed flat."""

    label: str
    job: str
    what: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceLine:
    """One line of a price: what, how it was reckoned, the amount with its currency."""

    what: str
    amount: str
    how: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """A quote in short: its lines, the total, and for how long or on what terms it stands."""

    lines: tuple[PriceLine, ...]
    total: str
    note: str = ""

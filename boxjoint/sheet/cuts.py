"""What is cut on one sheet, and in which sequence: the records.

All coordinates are whole nanometres in sheet coordinates, as the head travels: kerf and scale are
already in the path.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.rings import Ints

__all__ = ["Cut", "CutKind", "CutSequence", "Floats", "SequenceAsk", "Step"]

Floats = NDArray[np.float64]

NM_PER_MM = 1_000_000
FARTHEST_NM = 10_000_000_000  # 10 m: beyond it a coordinate is a slip of units
_CHORDS = 16  # per half circle: off the arc by at most 0.5 % of its radius


class CutKind(StrEnum):
    """What a cut is for; also the sequence in which the kinds come within one part."""

    MARK = "mark"
    """Drawn on the face, not through the sheet."""
    INNER = "inner"
    """A hole, mortise or window: a slug drops out."""
    OUTER = "outer"
    """The outline: the part comes loose."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cut:
    """One path of the head with the beam on.

    Parameters
    ----------
    path
        (n, 2) int64, nm. A closed path does not repeat its first point.
    kind
        mark, inner or outer.
    part
        Which copy on this sheet it belongs to, from 0; -1 for marks on the waste.
    label
        The part's name as people see it.
    host
        The part in whose window this part lies, or ``None``. Its window is cut after it.
    closed
        Whether the path ends where it begins. An outline with bridges is several open paths.
    entries
        (n,) bool: vertices at which the beam may start; ``None``: all. Of an open path only the ends
        count.
    bulge
        (n,) float64 or ``None``: tan(angle / 4) of the arc from point i to the next, positive turning
        counter-clockwise (DXF's own definition).
    ring
        (m, 2) int64, nm, or ``None``: the whole outline that an open path is a piece of.

    Raises
    ------
    InputError
        Fewer than two points, an array of another shape or type, a coordinate beyond 10 m, or no
        vertex at which the beam may start.
    """

    path: Ints
    kind: CutKind
    part: int
    label: str = ""
    host: int | None = None
    closed: bool = True
    entries: NDArray[np.bool_] | None = None
    bulge: Floats | None = None
    ring: Ints | None = None

    def __post_init__(self) -> None:
        for name, path in (("path", self.path), ("ring", self.ring)):
            if path is None:
                continue
            if path.ndim != 2 or path.shape[1] != 2 or path.dtype != np.int64 or len(path) < 2:
                raise InputError(
                    f"a {name} is (n, 2) whole nanometres (int64) with two points or more",
                    where=self.name,
                    value=f"{path.shape} {path.dtype}",
                )
            if int(path.max()) > FARTHEST_NM or int(path.min()) < -FARTHEST_NM:
                raise InputError(
                    "a coordinate lies beyond 10 m",
                    where=self.name,
                    value=f"{max(path.max(), -path.min()) / NM_PER_MM:.0f} mm",
                    do="check the unit",
                )
        n = len(self.path)
        if self.entries is not None and self.entries.shape != (n,):
            raise InputError("entries hold one truth for each point", where=self.name)
        if self.bulge is not None and self.bulge.shape != (n,):
            raise InputError("bulges hold one number for each point", where=self.name)
        if not len(self.starts):
            raise InputError(
                "there is no vertex at which the beam may start",
                where=self.name,
                do="allow at least one entry" + ("" if self.closed else " at an end"),
            )

    @property
    def name(self) -> str:
        """``'front inner'``, as shown to people."""
        return f"{self.label or f'part {self.part}'} {self.kind}"

    @property
    def starts(self) -> Ints:
        """(k,) vertices at which the beam may start."""
        n = len(self.path)
        at = np.arange(n) if self.closed else np.array([0, n - 1])
        return at if self.entries is None else at[self.entries[at]]

    @property
    def extent(self) -> tuple[int, int, int, int]:
        """(least x, least y, greatest x, greatest y) of the whole outline, arcs included, nm."""
        points = self.flat() if self.ring is None else self.ring
        (x0, y0), (x1, y1) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        return x0, y0, x1, y1

    def flat(self) -> Ints:
        """(m, 2) the path with chords for arcs, nm; a closed path does not repeat its first point."""
        if self.bulge is None or not self.bulge.any():
            return self.path
        points = self.path.tolist()
        bulges = self.bulge.tolist() if self.closed else self.bulge.tolist()[:-1]
        out: list[list[int]] = []
        for i, b in enumerate(bulges):
            (x0, y0), (x1, y1) = points[i], points[(i + 1) % len(points)]
            out.append([x0, y0])
            if b:
                # centre to the left of the chord by its length * (1 - b^2) / 4b
                half = (1.0 - b * b) / (4.0 * b)
                cx = (x0 + x1) / 2 - (y1 - y0) * half
                cy = (y0 + y1) / 2 + (x1 - x0) * half
                angle = 4.0 * math.atan(b)
                count = max(1, math.ceil(abs(angle) / math.pi * _CHORDS))
                for k in range(1, count):
                    c, s = math.cos(angle * k / count), math.sin(angle * k / count)
                    dx, dy = x0 - cx, y0 - cy
                    out.append([round(cx + c * dx - s * dy), round(cy + s * dx + c * dy)])
        if not self.closed:
            out.append(points[-1])
        return np.array(out, dtype=np.int64)

    def lengths_mm(self) -> Floats:
        """(n,) length of every side, arcs by their arc, mm; (n - 1,) of an open path."""
        d = np.diff(self.path, axis=0, append=self.path[:1]).astype(np.float64) / NM_PER_MM
        size: Floats = np.sqrt(d[:, 0] ** 2 + d[:, 1] ** 2)
        if self.bulge is not None:
            b = np.abs(self.bulge)
            angle = 4.0 * np.arctan(b)  # chord = 2 r sin(angle / 2)
            with np.errstate(divide="ignore", invalid="ignore"):
                size = np.where(b > 1e-12, size * angle / 2.0 / np.sin(angle / 2.0), size)
        return size if self.closed else size[:-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class SequenceAsk:
    """How to put the cuts of one sheet in sequence.

    Parameters
    ----------
    home
        Where the head comes from and goes back to, nm, sheet coordinates.
    back
        Whether the way back to ``home`` counts.
    heat_distance
        Lines nearer than this should not follow each other at once, nm; 0 switches it off.
    heat_weight
        What it costs when they touch, in mm of travel; it falls in proportion to the distance and is
        nothing at ``heat_distance``. A wish, not a rule: the sequence goes a way round of up to this
        length to let the first line cool. Both values are assumed: common practice, no source.
    rounds
        How often sequence and entries are improved in turn; an iteration budget.
    passes
        How many passes of moves one round may take; an iteration budget.
    kicks
        How often the sequence is disturbed and improved again, fewer for many cuts; an iteration
        budget.

    Raises
    ------
    InputError
        A negative distance or weight, or a budget below zero.
    """

    home: tuple[int, int] = (0, 0)
    back: bool = True
    heat_distance: int = 5 * NM_PER_MM
    heat_weight: float = 10.0
    rounds: int = 6
    passes: int = 40
    kicks: int = 40

    def __post_init__(self) -> None:
        if self.heat_distance < 0 or not 0 <= self.heat_weight < math.inf:
            raise InputError(
                "distance and weight of the heat spread must not be negative",
                where="heat spread",
                value=f"{self.heat_distance / NM_PER_MM:g} mm, {self.heat_weight:g} mm",
            )
        if min(self.rounds, self.passes, self.kicks) < 0:
            raise InputError(
                "a budget of iterations must not be negative",
                value=f"{self.rounds} rounds, {self.passes} passes, {self.kicks} kicks",
            )
        if max(map(abs, self.home)) > FARTHEST_NM:
            raise InputError("home lies beyond 10 m", where="home", do="check the unit")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One cut of a sequence: which one, the vertex the beam starts at, and whether against its path.

    A closed path ends at its entry; an open one at its other end.
    """

    cut: int
    entry: int
    reverse: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSequence:
    """The cut sequence of one sheet.

    Parameters
    ----------
    steps
        Every cut once.
    travel_mm
        Way of the head with the beam off, from home and, when asked, back.
    close_followers
        How many cuts follow at once on a line nearer than the heat distance.
    heat_mm
        What those cost, in mm of travel, by the stated weight.
    """

    steps: tuple[Step, ...]
    travel_mm: float
    close_followers: int
    heat_mm: float

    def cuts(self, cuts: Sequence[Cut]) -> tuple[Cut, ...]:
        """The cuts as they follow each other."""
        return tuple(cuts[s.cut] for s in self.steps)

"""Where the marks of a job lie on its panels, as lines to score and areas to engrave.

Places are read as one looks at the face that is marked; what comes out is in the panel's drawing, seen
from outside, so that marks of the inside are mirrored here. Text and drawings become outlines by the
rooms of ``geometry``; nothing here knows letters or files.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.fit.cutouts import panels_named, placed_rectangle
from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.job.marks import Face, Mark
from boxjoint.job.records import Job
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution
from boxjoint.units import both

if TYPE_CHECKING:
    from boxjoint.geometry.outlines import Outlines

__all__ = ["HEIGHT", "MOST_POINTS", "PlacedMark", "place_marks"]

#: Height of capitals where the job asks for none, nm.
HEIGHT = 6_000_000
#: Of all marks of one job; a drawing of more holds up a machine for hours.
MOST_POINTS = 500_000


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedMark:
    """One mark on one panel.

    Parameters
    ----------
    index
        Its table of ``[[marks]]``, from 0.
    what
        The text in quotes, or the name of the drawing.
    face
        Which face it is on.
    curves
        mm, in the panel's drawing seen from outside, machine's scale not applied: closed ones on the
        layer ENGRAVE, which are filled by the even-odd rule, and those that are scored on MARK.
    panel
        The panel's name.
    """

    index: int
    what: str
    face: Face
    curves: tuple[Curve, ...]
    panel: str

    @property
    def name(self) -> str:
        """How it is named in messages."""
        return f"[[marks]] {self.index + 1} ({self.what})"

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y, mm."""
        every = np.concatenate([c.xy for c in self.curves])
        (x0, y0), (x1, y1) = every.min(axis=0), every.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)

    @property
    def extent_nm(self) -> tuple[int, int, int, int]:
        """The same in nm, rounded outward."""
        x0, y0, x1, y1 = (v * 1e6 for v in self.extent)
        return math.floor(x0), math.floor(y0), math.ceil(x1), math.ceil(y1)

    @property
    def scored_mm(self) -> float:
        """Length of all lines that are scored, mm."""
        return math.fsum(_length(c) for c in self.curves if c.layer is Layer.MARK)

    @property
    def engraved_mm2(self) -> float:
        """Area that is filled, mm2."""
        return abs(math.fsum(_area(c.xy) for c in self.curves if c.layer is Layer.ENGRAVE))

    def moved(self, x: float, y: float, panel: str) -> PlacedMark:
        """The same on a piece of the panel."""
        shift = np.array((x, y))
        return replace(
            self, panel=panel, curves=tuple(replace(c, xy=c.xy + shift) for c in self.curves)
        )


def _length(curve: Curve) -> float:
    xy = np.concatenate([curve.xy, curve.xy[:1]]) if curve.closed else curve.xy
    return float(np.hypot(*np.diff(xy, axis=0).T).sum())


def _area(xy: NDArray[np.float64]) -> float:
    """Signed area of a ring, counter-clockwise positive."""
    x, y = (xy - xy[0]).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def place_marks(job: Job, solution: Solution) -> dict[str, tuple[PlacedMark, ...]]:
    """Return the marks of every panel that has any, by its name.

    Raises
    ------
    InputError
        A panel is not there or faces no inside; a text, font or drawing cannot be marked.
    """
    found: dict[str, list[PlacedMark]] = {}
    points = 0
    for n, mark in enumerate(job.marks):
        at = f"[[marks]] {n + 1}"
        shape = _shape(mark, at)
        what = mark.drawing or repr(mark.text.replace("\n", " / "))
        for named in mark.panels:
            for panel in panels_named(solution, named, at):
                curves = _on(panel, shape, mark, solution.arrangement, at)
                points += sum(len(c.xy) for c in curves)
                if points > MOST_POINTS:
                    raise InputError(
                        "the marks of this job have too many points",
                        where=at,
                        limit=f"at most {MOST_POINTS:,}",
                        do="simplify the drawing, or mark fewer panels",
                    )
                found.setdefault(panel.name, []).append(
                    PlacedMark(index=n, what=what, face=mark.face, curves=curves, panel=panel.name)
                )
    return {name: tuple(marks) for name, marks in found.items()}


def _shape(mark: Mark, at: str) -> Outlines:
    """What a mark looks like, turned and at its size, wherever it lies."""
    if mark.drawing:
        from boxjoint.geometry.svg_import import svg_outlines

        shape = svg_outlines(
            mark.content,
            name=f"{at} {mark.drawing}",
            width_mm=None if mark.width is None else mark.width / 1e6,
            height_mm=None if mark.height is None else mark.height / 1e6,
        )
    else:
        shape = _letters(mark, at)
    if mark.is_engraved and not shape.areas:
        raise InputError(
            "there is nothing to engrave: it has lines but no areas",
            where=at,
            value=mark.drawing or mark.text,
            do='fill its shapes, or set work = "score"',
        )
    return shape.turned(mark.angle // 90)


def _letters(mark: Mark, at: str) -> Outlines:
    """A text at its size."""
    from boxjoint.geometry.typeface import stroke_outlines, text_outlines

    height = (HEIGHT if mark.height is None else mark.height) / 1e6
    letters = mark.letters or ("plain" if mark.is_engraved else "strokes")
    try:
        if letters == "strokes":
            shape = stroke_outlines(mark.text, height, align=mark.align)
        else:
            shape = text_outlines(
                mark.text,
                height,
                mark.content or None,
                bold=letters == "bold",
                align=mark.align,
            )
    except InputError as error:
        error.where = " ".join(filter(None, (at, error.where)))
        raise
    if not shape.areas and not shape.lines:
        raise InputError("there is nothing to see in the text", where=at, value=repr(mark.text))
    if mark.width is not None:
        x0, _, x1, _ = shape.extent
        if x1 <= x0:
            raise InputError(
                "the text has no width", where=f"{at} width", do="give its height instead"
            )
        shape = shape.scaled(mark.width / 1e6 / (x1 - x0))
    return shape


def _on(
    panel: Panel, shape: Outlines, mark: Mark, arrangement: Arrangement, at: str
) -> tuple[Curve, ...]:
    """The curves of a mark at its place on a panel."""
    place = mark.place
    if mark.face == "inside" and panel.slab.normal == 2:
        # one looks at it with the box's length from left to right: only up and down change places
        shape = shape.turned(2).mirrored()
        place = replace(place, from_bottom=place.from_top, from_top=place.from_bottom)
    elif mark.face == "inside":  # what is on one's left is on the drawing's right
        shape = shape.mirrored()
        place = replace(place, from_left=place.from_right, from_right=place.from_left)
    x0, y0, x1, y1 = shape.extent
    size = round((x1 - x0) * 1e6), round((y1 - y0) * 1e6)
    for k, name in enumerate(("wide", "high")):
        if size[k] > panel.size[k]:
            raise InputError(
                f"the mark is larger than {panel.name}",
                where=at,
                value=f"{both(size[k])} {name}",
                limit=f"the panel is {both(panel.size[k])} {name}",
                do="make it smaller, or turn it with angle = 90",
            )
    (x, y), _ = placed_rectangle(place, size, panel, arrangement, at)
    shape = shape.moved(x / 1e6 - x0, y / 1e6 - y0)
    curves: list[Curve] = []
    if mark.is_engraved:
        curves += [Curve(layer=Layer.ENGRAVE, xy=a) for a in shape.areas]
    if mark.is_scored:
        curves += [Curve(layer=Layer.MARK, xy=a) for a in shape.areas]
        curves += [Curve(layer=Layer.MARK, xy=a, closed=False) for a in shape.lines]
    return tuple(curves)

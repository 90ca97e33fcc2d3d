"""A pen of fontTools that flattens what is drawn with it. Importing this module imports fontTools."""

from __future__ import annotations

import cmath
import math

from fontTools.pens.basePen import BasePen
from fontTools.svgLib.path.arc import EllipticalArc

from boxjoint.geometry.outlines import flat_curve

__all__ = ["FlatArc", "FlatPen"]

Point = tuple[float, float]


class FlatPen(BasePen):  # type: ignore[misc]  # fontTools has no types
    """Gathers contours as polylines of complex numbers, in the unit that they are drawn in.

    Parameters
    ----------
    glyphs
        What composite letters are taken apart by; ``None`` where there are none.
    tolerance
        As in :func:`~boxjoint.geometry.outlines.flat_curve`.

    Attributes
    ----------
    rings
        Each contour; a closed one does not repeat its first point.
    closed
        Whether each was closed.
    """

    def __init__(self, glyphs: object, tolerance: float) -> None:
        super().__init__(glyphs)
        self.tolerance = tolerance
        self.rings: list[list[complex]] = []
        self.closed: list[bool] = []

    def _moveTo(self, pt: Point) -> None:
        self.rings.append([complex(*pt)])
        self.closed.append(False)

    def _lineTo(self, pt: Point) -> None:
        self.rings[-1].append(complex(*pt))

    def _curveToOne(self, pt1: Point, pt2: Point, pt3: Point) -> None:
        self._curve([complex(*pt1), complex(*pt2), complex(*pt3)])

    def _qCurveToOne(self, pt1: Point, pt2: Point) -> None:
        self._curve([complex(*pt1), complex(*pt2)])

    def _curve(self, points: list[complex]) -> None:
        ring = self.rings[-1]
        ring += flat_curve([ring[-1], *points], self.tolerance)

    def _closePath(self) -> None:
        ring = self.rings[-1]
        if len(ring) > 1 and ring[0] == ring[-1]:
            ring.pop()
        self.closed[-1] = True


class FlatArc(EllipticalArc):  # type: ignore[misc]
    """An arc of path data as points on it: fontTools' own becomes cubic curves that are off by 0.03 %."""

    def draw(self, pen: FlatPen) -> None:
        """Draw it, its sagittas within the pen's tolerance."""
        end = self.target_point
        if self._parametrize():
            reach = max(abs(self.rx), abs(self.ry))
            share = min(pen.tolerance / reach, 1.0)
            n = max(1, math.ceil(abs(self.theta_arc) / (2 * math.acos(1 - share))))
            turn = cmath.exp(1j * self.angle)
            for k in range(1, n):
                point = self.center_point + cmath.exp(1j * (self.theta1 + self.theta_arc * k / n))
                placed = turn * complex(point.real * self.rx, point.imag * self.ry)
                pen.lineTo((placed.real, placed.imag))
        if end != self.current_point:
            pen.lineTo((end.real, end.imag))

"""Shapes to mark: areas that may be filled, and lines; text and drawings alike become these.

Coordinates are float millimetres, y up. Areas are rings of which no two cross: what lies inside an odd
number of them is filled. So a controller that knows only the even-odd rule fills what is meant, however
the font or the drawing had wound and overlapped its contours.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError

__all__ = ["TOLERANCE_MM", "Outlines", "filled", "flat_curve"]

Floats = NDArray[np.float64]

#: How far a flattened curve may be off, mm: a tenth of a narrow kerf.
TOLERANCE_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlines:
    """Areas and lines of one text or drawing.

    Parameters
    ----------
    areas
        (n, 2) rings, n >= 3, mm; the first point is not repeated. Outer rings turn counter-clockwise,
        holes clockwise.
    lines
        (n, 2) open polylines, n >= 2, mm; one that closes repeats its first point.
    """

    areas: tuple[Floats, ...] = ()
    lines: tuple[Floats, ...] = ()

    @property
    def extent(self) -> tuple[float, float, float, float]:
        """Least x, least y, greatest x, greatest y, mm.

        Raises
        ------
        InputError
            There is nothing.
        """
        if not self.areas and not self.lines:
            raise InputError("there is nothing to see")
        every = np.concatenate([*self.areas, *self.lines])
        (x0, y0), (x1, y1) = every.min(axis=0).tolist(), every.max(axis=0).tolist()
        return x0, y0, x1, y1

    def _each(self, change: Callable[[Floats], Floats], *, over: bool = False) -> Outlines:
        """Change every point; ``over`` where that turns the plane over, which turns rings round."""
        areas = (change(a) for a in self.areas)
        return Outlines(
            areas=tuple(a[::-1] for a in areas) if over else tuple(areas),
            lines=tuple(change(a) for a in self.lines),
        )

    def moved(self, x: float, y: float) -> Outlines:
        """The same, moved by (x, y) mm."""
        return self._each(lambda a: a + np.array((x, y)))

    def scaled(self, factor: float) -> Outlines:
        """The same, ``factor`` times as large, about the origin."""
        return self._each(lambda a: a * factor)

    def turned(self, quarters: int) -> Outlines:
        """The same, turned counter-clockwise by quarter turns about the origin."""
        c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarters % 4]
        if quarters % 4 == 0:
            return self
        turn = np.array([[c, s], [-s, c]], dtype=np.float64)
        return self._each(lambda a: a @ turn)

    def mirrored(self) -> Outlines:
        """The same as seen from behind: x becomes -x."""
        return self._each(lambda a: a * (-1.0, 1.0), over=True)


def flat_curve(points: Sequence[complex], tolerance: float) -> list[complex]:
    """Flatten one Bezier curve of any degree.

    Parameters
    ----------
    points
        Its control points, two or more.
    tolerance
        Greatest distance between curve and polyline, in the unit of the points, above 0.

    Returns
    -------
    list of complex
        Points on the curve, without its first.

    Notes
    -----
    With n equal steps the distance is at most d (d - 1) / 8 M / n^2, d the degree and M the largest
    second difference of the control points (the bound of the second derivative; Wang, Computer-Aided
    Design 1984, from memory).
    """
    d = len(points) - 1
    if d < 2:
        return list(points[1:])
    bend = max(abs(points[i] - 2 * points[i + 1] + points[i + 2]) for i in range(d - 1))
    n = max(1, math.ceil(math.sqrt(d * (d - 1) / 8 * bend / tolerance)))
    t = np.arange(1, n + 1) / n
    rows = [np.full(n, p) for p in points]
    for level in range(d, 0, -1):  # de Casteljau
        rows = [(1 - t) * rows[i] + t * rows[i + 1] for i in range(level)]
    found: list[complex] = rows[0].tolist()
    found[-1] = points[-1]
    return found


def filled(rings: Iterable[Floats], *, even_odd: bool = False) -> tuple[Floats, ...]:
    """Return the rings of what a set of closed contours fills.

    Parameters
    ----------
    rings
        (n, 2) contours, that may cross themselves and each other, in any sense of turning.
    even_odd
        By the even-odd rule; else what the contours wind around at all (the nonzero rule).

    Returns
    -------
    tuple of (n, 2) float64
        As :class:`Outlines` has them; empty where nothing is filled.
    """
    import shapely

    closed = [np.concatenate([r, r[:1]]) for r in rings if len(r) >= 3]
    if not closed:
        return ()
    # the plane cut along all contours: each face is inside or outside as a whole
    lines = shapely.union_all([shapely.LineString(r) for r in closed])
    faces = list(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines))))
    if not faces:
        return ()
    inside = np.array([f.representative_point().coords[0] for f in faces])
    wound = np.zeros(len(faces), dtype=np.int64)
    for ring in closed:
        wound += _winding(ring, inside)
    # the parity of a winding number is that of the crossings
    take = [f for f, w in zip(faces, wound.tolist(), strict=True) if (w % 2 if even_odd else w)]
    out: list[Floats] = []
    for part in shapely.get_parts(shapely.union_all(take)):
        if part.geom_type != "Polygon" or part.area <= 0:
            continue
        part = shapely.geometry.polygon.orient(part)
        out += [
            np.asarray(r.coords, dtype=np.float64)[:-1] for r in (part.exterior, *part.interiors)
        ]
    return tuple(out)


def _winding(ring: Floats, points: Floats) -> NDArray[np.int64]:
    """How often a closed contour (first point repeated) turns counter-clockwise around each point."""
    a, b = ring[:-1], ring[1:]
    x, y = points[:, :1], points[:, 1:]
    up = (a[:, 1] <= y) & (b[:, 1] > y)
    down = (a[:, 1] > y) & (b[:, 1] <= y)
    side = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
    found: NDArray[np.int64] = (up & (side > 0)).sum(axis=1) - (down & (side < 0)).sum(axis=1)
    return found

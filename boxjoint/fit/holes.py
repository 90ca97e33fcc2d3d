"""From round and rounded holes to what is drawn for them, and back by the virtual cut.

The outward normal of a hole points into it, so a hole is drawn smaller: every side moves in by half
its kerf, and a corner keeps its centre and loses half the kerf of its radius. Where kerf and scale are
the same along X and Y the corners stay true arcs. Where they differ, the beam is taken for an ellipse
``kerf.x`` by ``kerf.y`` (on straight sides the same as the rectangle of the other outlines), and what
must be drawn is the hole's outline moved in by that ellipse: each quarter is then four arcs through
exact points (``docs/decisions/0005-round-holes-under-two-kerfs.md``).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import CannotBeCut, ProofFailed
from boxjoint.fit.compensate import Beam
from boxjoint.geometry.holes import Hole

__all__ = [
    "DrawnHole",
    "arc_length_mm",
    "chords",
    "compensate_hole",
    "spliced",
    "with_notches",
    "worst_error_mm",
]

Floats = NDArray[np.float64]

_NM = 1e6
_ARCS = 4  # a quarter, where it is no true arc
#: Towards the left, down, to the right, up.
_ALONG = np.array([[-1.0, 0], [0, -1.0], [1.0, 0], [0, 1.0]])
_QUARTER = math.tan(math.pi / 8)  # bulge of a quarter circle


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrawnHole:
    """One hole from nominal to cut.

    Parameters
    ----------
    hole
        Nominal: the size wanted as cut.
    xy
        (n, 2) mm: the drawn outline, clockwise; of a notch an open way from one end of its mouth to
        the other.
    bulge
        (n,): tan of a quarter of the angle of the arc to the next point, negative clockwise.
    as_cut
        What the beam leaves of it, nm.
    """

    hole: Hole
    xy: Floats
    bulge: Floats
    as_cut: Hole

    @property
    def length_mm(self) -> float:
        """Length of the drawn outline, mm."""
        return arc_length_mm(self.xy, self.bulge, closed=self.hole.open is None)

    @property
    def further_mm(self) -> float:
        """By how much it lengthens what is cut, mm: a notch takes its mouth from the rim."""
        mouth = 0.0 if self.hole.open is None else float(np.abs(self.xy[0] - self.xy[-1]).max())
        return self.length_mm - mouth

    @property
    def extent_mm(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Least and greatest x and y of the drawn outline, its arcs included, mm."""
        x, y, right, up = _supports(self.xy, self.bulge, _ALONG).tolist()
        return (-x, -y), (right, up)


def arc_length_mm(xy: Floats, bulge: Floats, *, closed: bool = True) -> float:
    """Length of a polyline with arcs, mm."""
    chord = np.hypot(*(np.roll(xy, -1, axis=0) - xy).T)
    angle = 4 * np.arctan(np.abs(bulge))
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.where(angle > 1e-12, chord * (angle / 2) / np.sin(angle / 2), chord)
    return float(length.sum() if closed else length[:-1].sum())


def compensate_hole(hole: Hole, beam: Beam, *, name: str = "panel") -> DrawnHole:
    """Return what to draw so that the beam leaves the hole.

    Parameters
    ----------
    hole
        As wanted, nm, in the axes of the sheet.
    name
        Of the panel, for messages.

    Raises
    ------
    CannotBeCut
        When the kerf would close the hole; the message has the place and the numbers.
    """
    half = (beam.kerf.x / 2 * _NM, beam.kerf.y / 2 * _NM)
    scale = (beam.scale.x, beam.scale.y)
    for k in (0, 1):
        # of a notch the depth is open, and only its width can close
        room = hole.size[k] - 2 * half[k] * (1 if hole.open is None or hole.open[0] != k else 0.5)
        if room <= 0:
            x, y = ((hole.lo[i] + hole.hi[i]) / 2 / _NM for i in (0, 1))
            raise CannotBeCut(
                f"the kerf would close a hole of {name}",
                where=f"at x {x:.3f}, y {y:.3f} mm on the panel",
                value=f"{hole.size[k] / _NM:.3f} mm wide, kerf {2 * half[k] / _NM:.3f} mm",
                do="make the hole larger than the kerf",
                panel=name,
                place=(x, y),
            )
    xy, bulge = _outline(hole, half, scale)
    drawn = np.rint(xy).astype(np.int64) / _NM  # what a file can hold
    return DrawnHole(hole=hole, xy=drawn, bulge=bulge, as_cut=_cut(hole, drawn, bulge, half, scale))


def _outline(
    hole: Hole, half: tuple[float, float], scale: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Drawn outline in nm, clockwise, from the corner after the open side."""
    radius = hole.diameter / 2
    even = half[0] == half[1] and scale[0] == scale[1]
    sharp = radius <= max(half)  # the beam itself leaves a rounder corner
    # clockwise from the upper right: right side down, lower right, bottom, lower left, ...
    corners = [(1, 1), (1, -1), (-1, -1), (-1, 1)]
    openings = {(1, 1): 0, (0, 1): 1, (1, -1): 2, (0, -1): 3}
    first = 0 if hole.open is None else openings[hole.open]
    points: list[tuple[float, float]] = []
    bulges: list[float] = []
    for i in range(4):
        sx, sy = corners[(first + i) % 4]
        x, y = (hole.hi if s > 0 else hole.lo for s in (sx, sy))
        cx, cy = x[0], y[1]
        moved = (cx - sx * half[0], cy - sy * half[1])
        at_mouth = hole.open is not None and i in (0, 3)
        if at_mouth or sharp:
            if at_mouth and hole.open is not None:  # the rim itself moves out
                k = hole.open[0]
                rim = (cx, cy)[k] + (sx, sy)[k] * half[k]
                moved = (rim, moved[1]) if k == 0 else (moved[0], rim)
            points.append((moved[0] / scale[0], moved[1] / scale[1]))
            bulges.append(0.0)
            continue
        centre = (cx - sx * radius, cy - sy * radius)
        # clockwise, normals turn from the one before the corner to the one after it
        start = {(1, 1): 90, (1, -1): 0, (-1, -1): -90, (-1, 1): 180}[sx, sy]
        if even:
            steps: list[float] = [start, start - 90]
            arcs = [-_QUARTER]
            quarter = [_moved_in(centre, radius, half, scale, a) for a in steps]
        else:
            steps = [start - 90 * n / _ARCS for n in range(_ARCS + 1)]
            quarter = [_moved_in(centre, radius, half, scale, a) for a in steps]
            middles = [
                _moved_in(centre, radius, half, scale, (a + b) / 2) for a, b in pairwise(steps)
            ]
            arcs = [
                _bulge(p, m, q) for p, m, q in zip(quarter[:-1], middles, quarter[1:], strict=True)
            ]
        points += quarter
        bulges += [*arcs, 0.0]
    return _merged(points, bulges, closed=hole.open is None, even=even)


def _moved_in(
    centre: tuple[float, float],
    radius: float,
    half: tuple[float, float],
    scale: tuple[float, float],
    degrees: float,
) -> tuple[float, float]:
    """The drawn point of a corner whose outward normal (out of the hole) has an angle."""
    c, s = (
        (round(v) if degrees % 90 == 0 else v)
        for v in (math.cos(math.radians(degrees)), math.sin(math.radians(degrees)))
    )
    a, b = half
    if a == b:
        x, y = (radius - a) * c, (radius - a) * s
    elif radius > max(a * a / b if b else math.inf, b * b / a if a else math.inf):
        reach = math.hypot(a * c, b * s)  # of the beam along the normal
        x, y = radius * c - a * a * c / reach, radius * s - b * b * s / reach
    else:  # a hole hardly wider than the beam: the moved outline would cross itself
        x, y = (radius - a) * c, (radius - b) * s
    return (centre[0] + x) / scale[0], (centre[1] + y) / scale[1]


def _bulge(p: tuple[float, float], m: tuple[float, float], q: tuple[float, float]) -> float:
    """Bulge of the clockwise arc from p to q on the circle through m: twice its height over its chord."""
    dx, dy = q[0] - p[0], q[1] - p[1]
    chord = math.hypot(dx, dy)
    # m from the middle of the chord; clockwise arcs lie to the left of it
    left = (dx * (m[1] - p[1]) - dy * (m[0] - p[0])) / chord
    along = (dx * (m[0] - p[0]) + dy * (m[1] - p[1])) / chord - chord / 2
    # the centre lies k to the left: (chord / 2)^2 + k^2 = along^2 + (left - k)^2
    k = (along * along + left * left - chord * chord / 4) / (2 * left)
    return -2 * (k + math.hypot(chord / 2, k)) / chord


def _merged(
    points: list[tuple[float, float]], bulges: list[float], *, closed: bool, even: bool
) -> tuple[Floats, Floats]:
    """Drop sides without length; join two quarters of one true circle to a half."""
    xy, bulge = list(points), list(bulges)
    i = 0
    while i < len(xy):
        j = (i + 1) % len(xy)
        last = not closed and i == len(xy) - 1
        if not last and not bulge[i] and math.dist(xy[i], xy[j]) < 0.5:
            # the arc that leaves the second point leaves the first one now
            bulge[i] = bulge[j]
            del xy[j], bulge[j]
            i -= j < i
            continue
        i += 1
    if even:
        i = 0
        while i < len(xy) - 1 and len(xy) > 2:
            if bulge[i] == bulge[i + 1] == -_QUARTER:
                del xy[i + 1], bulge[i + 1]
                bulge[i] = -1.0
            i += 1
        if closed and len(xy) > 2 and bulge[-1] == bulge[0] == -_QUARTER:
            del xy[0], bulge[0]
            bulge[-1] = -1.0
    return np.array(xy), np.array(bulge)


# The virtual cut


def _supports(xy: Floats, bulge: Floats, normals: Floats) -> Floats:
    """How far an outline of lines and arcs reaches along each normal, (m,); exact."""
    reach: Floats = (xy @ normals.T).max(axis=0)
    after = np.roll(xy, -1, axis=0)
    for p, q, b in zip(xy, after, bulge.tolist(), strict=True):
        if not b:
            continue
        chord = q - p
        across = np.array([-chord[1], chord[0]])
        centre = (p + q) / 2 + across * (1 - b * b) / (4 * b)
        radius = math.hypot(*(p - centre))
        middle = (p + q) / 2 - across * (b / 2)
        out = (middle - centre) / radius
        # a normal is met on the arc where it lies within half the arc's angle of its middle
        met = normals @ out >= math.cos(2 * math.atan(abs(b))) - 1e-12
        reach[met] = np.maximum(reach[met], normals[met] @ centre + radius)
    return reach


def _cut(
    hole: Hole, xy: Floats, bulge: Floats, half: tuple[float, float], scale: tuple[float, float]
) -> Hole:
    """What the beam leaves: extent from the drawn outline, corners as wanted."""
    reach = _supports(xy, bulge, _ALONG) * _NM
    lo, hi = [0, 0], [0, 0]
    for k in (0, 1):
        lo[k] = round(-reach[k] * scale[k] - half[k])
        hi[k] = round(reach[2 + k] * scale[k] + half[k])
    if hole.open is not None:
        k, sense = hole.open
        if sense > 0:
            hi[k] = round(reach[2 + k] * scale[k] - half[k])
        else:
            lo[k] = round(-reach[k] * scale[k] + half[k])
    most = [hi[k] - lo[k] for k in (0, 1)]
    if hole.open is not None:
        most[hole.open[0]] *= 2
    return Hole(
        lo=(lo[0], lo[1]),
        hi=(hi[0], hi[1]),
        diameter=min(hole.diameter, *most),
        open=hole.open,
    )


def worst_error_mm(drawn: DrawnHole, beam: Beam) -> float:
    """How far the hole as cut is off the wanted one, at worst of 64 directions, mm.

    The virtual cut of the drawn lines and arcs by an elliptic beam, held against the nominal hole by
    how far each reaches along a normal. Corners that the beam itself rounds are left out, and so are
    directions into the mouth of a notch.
    """
    hole = drawn.hole
    angles = np.arange(64) * (math.tau / 64)
    normals = np.column_stack([np.cos(angles), np.sin(angles)])
    half = np.array([beam.kerf.x / 2, beam.kerf.y / 2])
    if hole.diameter / 2 / _NM <= half.max():
        normals = normals[::16]
    if hole.open is not None:
        k, sense = hole.open
        normals = normals[sense * normals[:, k] < 1e-9]
    # scaling an outline stretches its normals the other way
    scaled = normals * (beam.scale.x, beam.scale.y)
    found = _supports(drawn.xy, drawn.bulge, scaled / np.hypot(*scaled.T)[:, None])
    found = found * np.hypot(*scaled.T) + np.hypot(*(normals * half).T)
    x0, y0, x1, y1 = (v / 2 / _NM for v in hole.core)
    core = np.maximum(normals[:, 0] * x0, normals[:, 0] * x1)
    core = core + np.maximum(normals[:, 1] * y0, normals[:, 1] * y1)
    wanted = core + hole.diameter / 2 / _NM
    return float(np.abs(found - wanted).max())


def chords(xy: Floats, bulge: Floats, steps: int = 8) -> Floats:
    """Return an outline with every arc as a few chords, for pictures on paper only."""
    points: list[Floats] = []
    for p, q, b in zip(xy, np.roll(xy, -1, axis=0), bulge.tolist(), strict=True):
        points.append(p)
        if b:
            turn = 4 * math.atan(b)
            a, z = complex(*p), complex(*q)
            centre = (a + z) / 2 + (z - a) * 1j * (1 - b * b) / (4 * b)
            on = [centre + (a - centre) * np.exp(1j * turn * k / steps) for k in range(1, steps)]
            points += [np.array([c.real, c.imag]) for c in on]
    return np.array(points)


# Notches


def with_notches(
    xy: Floats, bulge: Floats | None, holes: Iterable[DrawnHole], name: str
) -> tuple[Floats, Floats | None]:
    """Return an outer outline with all notches among the holes in it.

    Raises
    ------
    ProofFailed
        A notch does not lie on a straight side of the outline.
    """
    for notch in holes:
        if notch.hole.open is None:
            continue
        found = spliced(xy, np.zeros(len(xy)) if bulge is None else bulge, notch)
        if found is None:
            raise ProofFailed(f"a notch of {name} is not on its drawn rim", faults=())
        xy, bulge = found
    return xy, bulge


def spliced(xy: Floats, bulge: Floats, notch: DrawnHole) -> tuple[Floats, Floats] | None:
    """Return an outer outline with a notch in the side that holds its mouth, or ``None``.

    Parameters
    ----------
    xy, bulge
        The drawn outline, counter-clockwise, mm.
    """
    opening = notch.hole.open
    if opening is None:
        return None
    k = opening[0]
    a, b = notch.xy[0], notch.xy[-1]
    ends = np.roll(xy, -1, axis=0)
    other = 1 - k
    for i in range(len(xy)):
        p, q = xy[i], ends[i]
        on_line = abs(p[k] - a[k]) < 5e-6 and abs(q[k] - a[k]) < 5e-6 and not bulge[i]
        if not on_line:
            continue
        lo, hi = min(p[other], q[other]), max(p[other], q[other])
        if lo < min(a[other], b[other]) and max(a[other], b[other]) < hi:
            way, arcs = notch.xy.copy(), notch.bulge.copy()
            way[[0, -1], k] = p[k]
            arcs[-1] = 0.0
            return (
                np.concatenate([xy[: i + 1], way, xy[i + 1 :]]),
                np.concatenate([bulge[: i + 1], arcs, bulge[i + 1 :]]),
            )
    return None

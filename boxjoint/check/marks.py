"""Whether marks lie on their faces: clear of every edge, slot and cut-out, and of each other's lines.

Judged on the parts as cut. A mark that runs over an edge burns the bed or spoils the edge; one on the
inside that lies under a mate is not seen, and glue does not hold on char.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from boxjoint.check.cutouts import joint_rectangles
from boxjoint.errors import InputError
from boxjoint.fit.marks import PlacedMark
from boxjoint.geometry.drawing import Curve, Layer
from boxjoint.geometry.holes import Hole
from boxjoint.geometry.rings import Rings
from boxjoint.solve.panels import Panel
from boxjoint.solve.seams import Divided, piece_at
from boxjoint.solve.solution import Solution
from boxjoint.units import both

__all__ = ["APART_MM", "clear_marks", "marks_of_pieces", "segments_to_boxes"]

#: From every edge as cut (common practice, no source).
APART_MM = 1.0

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edges:
    """What a mark must keep clear of: rectangles (lo, hi) that may be lines, grown by radii; mm."""

    lo: Floats
    hi: Floats
    radius: Floats
    names: tuple[str, ...]


def clear_marks(
    panel: Panel,
    as_cut: Rings,
    holes: Sequence[Hole],
    placed: Sequence[PlacedMark],
    *,
    solution: Solution | None = None,
    bite_mm: float = 0.0,
) -> None:
    """Refuse marks that do not lie on the material, clear of its edges.

    Parameters
    ----------
    panel
        The panel, or one piece of it.
    as_cut
        Its outlines as cut, nm, in its own axes.
    holes
        Its cut-outs as cut.
    placed
        Its marks, in its own axes.
    solution
        Where its joints are; ``None`` for a piece, whose joints were looked at with the whole.
    bite_mm
        How far reliefs in inside corners reach past their sides.

    Raises
    ------
    InputError
        Names the mark, the place and the distance.
    """
    edges = _edges(as_cut, holes)
    least = APART_MM + bite_mm
    hidden = [] if solution is None else list(joint_rectangles(panel, solution))
    for mark in placed:
        at = f"{mark.name} on {panel.name}"
        for curve in mark.curves:
            gap, k, place = _nearest(curve, edges, least)
            if gap < least:
                raise _too_near(at, panel, gap, least, edges.names[k], place)
        if not _on_material(mark.curves, as_cut, holes):
            x0, y0, x1, y1 = mark.extent
            raise InputError(
                f"the mark does not lie on the material of {panel.name}",
                where=at,
                value=f"it takes x {x0:.2f} to {x1:.2f}, y {y0:.2f} to {y1:.2f} mm",
                limit=f"the panel is {panel.size[0] / 1e6:.2f} by {panel.size[1] / 1e6:.2f} mm",
                do="move it, or make it smaller",
            )
        if mark.face == "inside":
            for name, lo, hi in hidden:
                box = _Edges(
                    lo=np.array([lo]) / 1e6,
                    hi=np.array([hi]) / 1e6,
                    radius=np.zeros(1),
                    names=("",),
                )
                if any(_nearest(c, box, 1e-6)[0] <= 0.0 for c in mark.curves):
                    raise InputError(
                        f"the mark lies under the joint {name}, where its mate covers it",
                        where=at,
                        value="on the inside",
                        limit=f"the joint takes x {lo[0] / 1e6:.2f} to {hi[0] / 1e6:.2f}, "
                        f"y {lo[1] / 1e6:.2f} to {hi[1] / 1e6:.2f} mm",
                        do="move it, or make it smaller",
                    )
    _refuse_crossing(panel, placed)


def marks_of_pieces(
    divided: Divided, marks: Sequence[PlacedMark]
) -> tuple[tuple[PlacedMark, ...], ...]:
    """Give every piece of a divided panel its own marks, in its own drawing."""
    found: list[list[PlacedMark]] = [[] for _ in divided.pieces]
    for mark in marks:
        x0, y0, x1, y1 = mark.extent_nm
        n = piece_at(divided, (x0 + x1) // 2, (y0 + y1) // 2)
        a, b = divided.offsets[n]
        found[n].append(mark.moved(-a / 1e6, -b / 1e6, divided.pieces[n].name))
    return tuple(map(tuple, found))


def _edges(rings: Rings, holes: Sequence[Hole]) -> _Edges:
    start, end = rings.xy / 1e6, rings.ends / 1e6
    cores = np.array([h.core for h in holes], dtype=np.float64).reshape(-1, 4) / 2e6
    return _Edges(
        lo=np.concatenate([np.minimum(start, end), cores[:, :2]]),
        hi=np.concatenate([np.maximum(start, end), cores[:, 2:]]),
        radius=np.concatenate([np.zeros(len(start)), [h.diameter / 2e6 for h in holes]]),
        names=("an edge",) * len(start) + ("a cut-out",) * len(holes),
    )


def _segments(curve: Curve) -> tuple[Floats, Floats]:
    a = curve.xy if curve.closed else curve.xy[:-1]
    b = np.roll(curve.xy, -1, axis=0) if curve.closed else curve.xy[1:]
    return a, b


def _nearest(curve: Curve, edges: _Edges, reach: float) -> tuple[float, int, Floats]:
    """Distance to the nearest of the edges, which one, and where on the curve; ``inf`` beyond reach."""
    low, high = curve.xy.min(axis=0), curve.xy.max(axis=0)
    grown = reach + edges.radius[:, None]
    near = np.flatnonzero(((edges.lo <= high + grown) & (edges.hi >= low - grown)).all(axis=1))
    a, b = _segments(curve)
    best, which, place = np.inf, 0, curve.xy[0]
    for k in near.tolist():
        gaps = segments_to_boxes(a, b, edges.lo[k], edges.hi[k]) - edges.radius[k]
        i = int(gaps.argmin())
        if gaps[i] < best:
            best, which, place = float(gaps[i]), k, (a[i] + b[i]) / 2
    return best, which, place


def segments_to_boxes(a: Floats, b: Floats, lo: Floats, hi: Floats) -> Floats:
    """Distances from straight segments to one rectangle (or line, or point) along the axes.

    Parameters
    ----------
    a, b
        (n, 2) ends of the segments.
    lo, hi
        (2,) least and greatest x and y of the rectangle.

    Returns
    -------
    (n,)
        0 where a segment meets the rectangle.
    """
    ends = np.minimum(_to_box(a, lo, hi), _to_box(b, lo, hi))
    corners = np.array([[lo[0], lo[1]], [hi[0], lo[1]], [hi[0], hi[1]], [lo[0], hi[1]]])
    d = b - a
    squared = np.maximum((d * d).sum(axis=1), 1e-300)
    best: Floats = ends
    for corner in corners:
        t = np.clip(((corner - a) * d).sum(axis=1) / squared, 0.0, 1.0)
        foot = a + t[:, None] * d
        best = np.minimum(best, np.hypot(*(foot - corner).T))
    # a segment that passes right through has both ends and all corners away from it
    with np.errstate(divide="ignore", invalid="ignore"):
        t0, t1 = (lo - a) / d, (hi - a) / d
    first = np.where(d == 0, np.where((a >= lo) & (a <= hi), -np.inf, np.inf), np.minimum(t0, t1))
    last = np.where(d == 0, np.where((a >= lo) & (a <= hi), np.inf, -np.inf), np.maximum(t0, t1))
    enters = np.maximum(first.max(axis=1), 0.0)
    leaves = np.minimum(last.min(axis=1), 1.0)
    return np.where(enters <= leaves, 0.0, best)


def _to_box(points: Floats, lo: Floats, hi: Floats) -> Floats:
    away = np.maximum(np.maximum(lo - points, points - hi), 0.0)
    return np.hypot(away[:, 0], away[:, 1])


def _on_material(curves: Sequence[Curve], rings: Rings, holes: Sequence[Hole]) -> bool:
    """Whether the first point of each curve lies on material; none of them meets an edge."""
    p = np.array([c.xy[0] for c in curves]) * 1e6
    a, b = rings.xy.astype(np.float64), rings.ends.astype(np.float64)
    upright = a[:, 0] == b[:, 0]
    a, b = a[upright], b[upright]
    beyond = (a[None, :, 0] > p[:, None, 0]) & (
        (a[None, :, 1] <= p[:, None, 1]) != (b[None, :, 1] <= p[:, None, 1])
    )
    inside = beyond.sum(axis=1) % 2 == 1
    for hole in holes:  # clear of its edge, so its rectangle tells enough
        inside &= ~((p > hole.lo) & (p < hole.hi)).all(axis=1)
    return bool(inside.all())


def _too_near(
    at: str, panel: Panel, gap: float, least: float, what: str, place: Floats
) -> InputError:
    here = f"at x {place[0]:.2f}, y {place[1]:.2f} mm of {panel.name}"
    if gap <= 0:
        return InputError(
            f"the mark runs over {what} of {panel.name}",
            where=at,
            value=here,
            limit=f"it must stay {least:.2f} mm away",
            do="move it, or make it smaller",
        )
    return InputError(
        f"the mark is too near to {what} of {panel.name}: {both(round(gap * 1e6))}",
        where=at,
        value=here,
        limit=f"at least {both(round(least * 1e6))} as cut",
        do=f"move it by {both(round((least - gap) * 1e6))}, or make it smaller",
        distance=gap,
        least=least,
    )


def _refuse_crossing(panel: Panel, placed: Sequence[PlacedMark]) -> None:
    """Refuse two marks of one face whose lines cross: they would be burnt twice there."""
    for n, one in enumerate(placed):
        for other in placed[n + 1 :]:
            if one.face != other.face:
                continue
            for place in _crossings(one, other):
                raise InputError(
                    f"two marks on {panel.name} cross: {other.name}",
                    where=one.name,
                    value=f"at x {place[0]:.2f}, y {place[1]:.2f} mm of {panel.name}",
                    do="move one of them",
                )


def _crossings(one: PlacedMark, other: PlacedMark) -> Iterator[Floats]:
    ex, fx = one.extent, other.extent
    if ex[0] > fx[2] or fx[0] > ex[2] or ex[1] > fx[3] or fx[1] > ex[3]:
        return
    layers = {c.layer for c in one.curves} & {c.layer for c in other.curves}
    layer = Layer.MARK if Layer.MARK in layers else next(iter(layers), None)
    mine, theirs = (
        [_segments(c) for c in m.curves if layer is None or c.layer is layer] for m in (one, other)
    )
    a, b = (np.concatenate([s[k] for s in mine]) for k in (0, 1))
    c, d = (np.concatenate([s[k] for s in theirs]) for k in (0, 1))
    low, high = np.minimum(c, d), np.maximum(c, d)
    for p, q in zip(a, b, strict=True):
        near = ((low <= np.maximum(p, q)) & (high >= np.minimum(p, q))).all(axis=1)
        if not near.any():
            continue
        u, v = c[near], d[near]
        if ((_side(p, q, u) * _side(p, q, v) < 0) & (_side2(u, v, p) * _side2(u, v, q) < 0)).any():
            yield (p + q) / 2


def _side(p: Floats, q: Floats, points: Floats) -> Floats:
    d, e = q - p, points - p
    side: Floats = np.sign(d[0] * e[:, 1] - d[1] * e[:, 0])
    return side


def _side2(u: Floats, v: Floats, p: Floats) -> Floats:
    d, e = v - u, p - u
    side: Floats = np.sign(d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0])
    return side

"""Curves of gauge pieces: bridged outlines, arrows, labels that stand on end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError
from boxjoint.geometry.drawing import Curve, Label, Layer

__all__ = [
    "Floats",
    "Point",
    "arrow",
    "bridged",
    "curve_length",
    "rectangle_xy",
    "stacked",
]

Floats = NDArray[np.float64]
Point = tuple[float, float]


def rectangle_xy(x0: float, y0: float, x1: float, y1: float) -> Floats:
    """Return the corners of a rectangle, counter-clockwise from the lower left, (4, 2) mm."""
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])


def bridged(
    ring: Floats, places: Sequence[Point], gap_mm: float, layer: Layer
) -> tuple[Curve, ...]:
    """Return a closed ring as curves with a gap at each place, so that what it cuts stays held.

    Without a place or with a gap of 0 it is one closed curve. A gap is drawn as wide as the bridge
    plus the kerf, because the beam reaches half its width beyond each end.

    Parameters
    ----------
    ring
        (n, 2) corners, mm.
    places
        Middles of the gaps, mm, each on a side; a gap must lie within its side.
    gap_mm
        Width of each gap as drawn, mm.

    Raises
    ------
    InputError
        A place off the ring, or a gap that reaches beyond its side or into another gap.
    """
    if gap_mm <= 0 or not places:
        return (Curve(layer=layer, xy=ring),)
    ahead = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(ahead[:, 0], ahead[:, 1])
    start = np.concatenate([[0.0], np.cumsum(length)])
    middles = []
    for place in places:
        off = np.array(place) - ring
        along = (off * ahead).sum(axis=1) / length
        across = np.abs(off[:, 0] * ahead[:, 1] - off[:, 1] * ahead[:, 0]) / length
        within = (
            (across < 1e-9) & (along >= gap_mm / 2 - 1e-9) & (along <= length - gap_mm / 2 + 1e-9)
        )
        if not within.any():
            raise InputError(
                "a bridge does not fit its side",
                where=f"at x {place[0]:.3f}, y {place[1]:.3f} mm",
                value=f"gap of {gap_mm:.3f} mm",
                do="take a narrower bridge",
            )
        side = int(np.flatnonzero(within)[0])
        middles.append(float(start[side] + along[side]))
    middles.sort()
    total = float(start[-1])
    curves = []
    for here, there in zip(middles, [*middles[1:], middles[0] + total], strict=True):
        begin, end = here + gap_mm / 2, there - gap_mm / 2
        if end <= begin:
            raise InputError("two bridges run into each other", value=f"gap of {gap_mm:.3f} mm")
        corners = np.concatenate([start[:-1], start[:-1] + total])
        inner = np.flatnonzero((corners > begin + 1e-9) & (corners < end - 1e-9)) % len(ring)
        points = [_at(ring, start, begin), *ring[inner], _at(ring, start, end % total)]
        curves.append(Curve(layer=layer, xy=np.array(points), closed=False))
    # what lets go last is cut last: the long pieces first, then the short ones between gaps
    curves.sort(key=lambda c: -len(c.xy))
    return tuple(curves)


def _at(ring: Floats, start: Floats, s: float) -> Floats:
    """The point at distance ``s`` along a ring, with its corner exact on the side's own line."""
    side = min(int(np.searchsorted(start, s, side="right")) - 1, len(ring) - 1)
    a, b = ring[side], ring[(side + 1) % len(ring)]
    share = (s - start[side]) / (start[side + 1] - start[side])
    point: Floats = np.where(a == b, a, a + (b - a) * share)
    return point


def curve_length(curve: Curve) -> float:
    """Length of a curve, mm, arcs included."""
    ends = np.roll(curve.xy, -1, axis=0)
    chord = np.hypot(*(ends - curve.xy).T)
    if not curve.closed:
        chord[-1] = 0.0
    if curve.bulge is not None:
        half = 2 * np.arctan(np.abs(curve.bulge))  # half the angle of each arc
        chord = np.where(half > 1e-9, chord * half / np.sin(np.maximum(half, 1e-9)), chord)
    return math.fsum(chord.tolist())


def arrow(start: Point, end: Point, head_mm: float = 2.0) -> tuple[Curve, ...]:
    """Return an arrow along X or Y as strokes on ``MARK``."""
    a, b = np.array(start), np.array(end)
    along = (b - a) / np.hypot(*(b - a))
    across = np.array([-along[1], along[0]])
    barbs = [b - head_mm * along + s * head_mm / 2 * across for s in (1, -1)]
    return (
        Curve(layer=Layer.MARK, xy=np.array([a, b]), closed=False),
        Curve(layer=Layer.MARK, xy=np.array([barbs[0], b, barbs[1]]), closed=False),
    )


def stacked(label: Label) -> tuple[Label, ...]:
    """Return a word as one label a letter, the first on top, about the same middle.

    For narrow parts that stand upright. One or two letters are left as they are.
    """
    n = len(label.text)
    if n <= 2:
        return (label,)
    size = label.height * min(1.0, 6.0 / n)
    step = 1.35 * size
    x, y = label.at
    return tuple(
        replace(label, at=(x, y + ((n - 1) / 2 - i) * step), text=letter, height=size)
        for i, letter in enumerate(label.text)
        if letter != " "
    )

"""Where the names of panels go in a picture: on a face that has room, else beside the picture.

A name lies in the plane of its face, along the axes of the picture, wherever the whole of it is on
what is seen of the face. A panel without such a place gets its name outside the outline of the
whole, with a line that leads to a part of it that is seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from boxjoint.export.visible import Scene

__all__ = ["Caption", "place_captions"]

# letters of usual sans fonts are 0.5 to 0.6 of the font's size wide; a little room is wanted around
_LETTER, _LINE, _PAD = 0.6, 1.0, 0.5
_SHRINK = (1.0, 0.85, 0.7, 0.55)  # sizes that are tried on a face
_PLACES = 15  # a side of the lattice of places that are tried on a face
_MOST_BESIDE = 6
_CLEAR_MM = 1.5
_GAP_MM = 5.0  # from the outline of the whole to a name beside it

Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caption:
    """One name on the page, mm, y down.

    Parameters
    ----------
    text
        The panel's name.
    at
        Middle of the text's height, and along it what ``anchor`` says.
    size
        Font size.
    matrix
        (a, b, c, d) of SVG's matrix: where one unit to the right, and one down, go.
    anchor
        ``start``, ``middle`` or ``end``.
    extent
        Two corners of a box around text and leader.
    leader
        From the panel to the text, or ``None``.
    """

    text: str
    at: Point
    size: float
    matrix: tuple[float, float, float, float]
    anchor: str
    extent: tuple[Point, Point]
    leader: tuple[Point, Point] | None = None

    def moved(self, right: float, down: float) -> Caption:
        """Return the caption moved on the page."""

        def there(p: Point) -> Point:
            return p[0] + right, p[1] + down

        return replace(
            self,
            at=there(self.at),
            extent=(there(self.extent[0]), there(self.extent[1])),
            leader=None if self.leader is None else (there(self.leader[0]), there(self.leader[1])),
        )


def place_captions(
    scene: Scene,
    seen: NDArray[Any],
    outlines: list[Any],
    *,
    names: Mapping[str, str],
    keep_off: Sequence[Any] = (),
    scale: float,
    size: float,
) -> tuple[Caption, ...]:
    """Place a name for every named panel of which something is seen, at most six beside the picture.

    Where more have no room on a face, the six of which most is seen get theirs.

    Parameters
    ----------
    scene, seen, outlines
        The faces, what is seen of each, and of each panel, in (p, q) nm.
    names
        What is written for a panel; one that is missing gets no name.
    keep_off
        Lines, in (p, q) nm, that a name on a face keeps clear of.
    scale
        mm of the page a nm along any axis.
    size
        Font size, mm.
    """
    import shapely

    placed: list[Caption] = []
    beside: list[int] = []
    strip = shapely.buffer(shapely.union_all(list(keep_off)), _CLEAR_MM / scale, quad_segs=2)
    for i, outline in enumerate(outlines):
        name = names.get(scene.names[i])
        if outline.is_empty or name is None:
            continue
        face = int(np.flatnonzero((scene.panel == i) & scene.stock)[0])
        caption = _on_face(scene, face, name, shapely.difference(seen[face], strip), scale, size)
        if caption is None:
            beside.append(i)
        else:
            placed.append(caption)
    if len(beside) > _MOST_BESIDE:  # a thicket of lines tells nobody anything
        shown = [round(float(shapely.area(outlines[i]))) for i in beside]
        most = sorted(range(len(beside)), key=lambda k: (-shown[k], k))[:_MOST_BESIDE]
        beside = [beside[k] for k in sorted(most)]
    if beside:
        placed += _beside(scene, seen, outlines, beside, names, scale, size)
    return tuple(placed)


def _on_face(
    scene: Scene, face: int, name: str, seen: Any, scale: float, size: float
) -> Caption | None:
    """The name lying on a face, as near the middle of what is seen as there is room, or ``None``."""
    import shapely

    if seen.is_empty:
        return None
    axis, at = int(scene.axis[face]), int(scene.lo[face, scene.axis[face]])
    axes = scene.axes
    along, up = ((1, 2), (0, 2), (0, 1))[axis]
    right = 1 if axes[along, 0] > 0 else -1
    # not mirrored: up is counter-clockwise from right, so the cross product is negative with y down
    cross = right * (axes[along, 0] * axes[up, 1] - axes[along, 1] * axes[up, 0])
    rise = 1 if cross < 0 else -1
    plane = shapely.transform(seen, lambda pq: _in_plane(pq, axis, at))
    x0, y0, x1, y1 = plane.bounds
    parts = shapely.get_parts(plane)
    centre = parts[int(np.argmax(np.rint(shapely.area(parts))))].centroid
    middle = (round(centre.x), round(centre.y))
    shapely.prepare(plane)
    for shrink in _SHRINK:
        font = size * shrink
        w = (_LETTER * len(name) + 2 * _PAD) * font / scale
        h = (_LINE + 0.5 * _PAD) * font / scale
        if w > x1 - x0 or h > y1 - y0:
            continue
        gx, gy = np.meshgrid(
            np.append(np.linspace(x0 + w / 2, x1 - w / 2, _PLACES), middle[0]),
            np.append(np.linspace(y0 + h / 2, y1 - h / 2, _PLACES), middle[1]),
        )
        boxes = shapely.box(gx - w / 2, gy - h / 2, gx + w / 2, gy + h / 2).ravel()
        fits = np.flatnonzero(shapely.contains(plane, boxes))
        if len(fits) == 0:
            continue
        away = np.hypot(gx.ravel() - middle[0], gy.ravel() - middle[1])[fits]
        k = int(fits[np.argmin(np.rint(away))])  # whole nm, so that ties fall the same everywhere
        spot = np.zeros(3)
        spot[axis], spot[along], spot[up] = at, gx.ravel()[k], gy.ravel()[k]
        x, y = (spot @ axes * scale).tolist()
        a, b = (right * axes[along]).tolist()
        c, d = (-rise * axes[up]).tolist()
        return Caption(
            text=name,
            at=(x, y),
            size=font,
            matrix=(a, b, c, d),
            anchor="middle",
            extent=((x, y), (x, y)),  # it lies on the picture, so it takes no room beside it
        )
    return None


def _in_plane(pq: NDArray[np.float64], axis: int, at: int) -> NDArray[np.float64]:
    """Coordinates along the two axes of a face's plane, in ascending sequence, from (p, q)."""
    p, q = pq[:, 0], pq[:, 1]
    if axis == 0:
        return np.stack([q + at - p, at - p], axis=1)
    if axis == 1:
        return np.stack([p + at - q, at - q], axis=1)
    return np.stack([p + at, q + at], axis=1)


def _beside(
    scene: Scene,
    seen: NDArray[Any],
    outlines: list[Any],
    panels: list[int],
    names: Mapping[str, str],
    scale: float,
    size: float,
) -> list[Caption]:
    """Names beside the picture, spread so that they do not touch."""
    import shapely

    def flat(shape: Any) -> Any:
        return shapely.transform(shape, lambda pq: pq @ scene.axes[:2] * scale)

    whole = flat(shapely.union_all(outlines))
    x0, _, x1, _ = whole.bounds
    sides: dict[int, list[tuple[float, float, int]]] = {-1: [], 1: []}
    for i in panels:
        parts = shapely.get_parts(flat(seen[scene.panel == i]))
        area = shapely.area(parts)
        parts = parts[area >= 0.25 * area.max()]
        best: tuple[float, float, float, int] | None = None
        for spot in shapely.get_coordinates(shapely.point_on_surface(parts)).tolist():
            for side in (-1, 1):
                ray = shapely.LineString([spot, ((x0 if side < 0 else x1) + side, spot[1])])
                over = round(float(shapely.length(shapely.intersection(ray, whole))), 3)
                key = (over, round(spot[1], 3), round(spot[0], 3), side)
                if best is None or key < best:
                    best = key
        if best is not None:
            sides[best[3]].append((best[1], best[2], i))
    captions = []
    for side, spots in sides.items():
        floor = -np.inf
        for y, x, i in sorted(spots):
            level = max(y, floor + 1.3 * size)
            floor = level
            edge = _edge(whole, side, level - 0.7 * size, level + 0.7 * size, x)
            start = edge + side * _GAP_MM
            name = names[scene.names[i]]
            end = start + side * (_LETTER * len(name) * size + 0.5 * size)
            captions.append(
                Caption(
                    text=name,
                    at=(start + side * 0.4 * size, level),
                    size=size,
                    matrix=(1.0, 0.0, 0.0, 1.0),
                    anchor="start" if side > 0 else "end",
                    extent=(
                        (min(x, end), level - 0.7 * size),
                        (max(x, end), level + 0.7 * size),
                    ),
                    leader=((x, y), (start, level)),
                )
            )
    return captions


def _edge(whole: Any, side: int, y0: float, y1: float, x: float) -> float:
    """How far the outline of the whole reaches to a side between two heights."""
    import shapely

    left, _, right, _ = whole.bounds
    band = shapely.clip_by_rect(whole, left - 1, y0, right + 1, y1)
    if band.is_empty:
        return x
    bounds = band.bounds
    return float(bounds[0] if side < 0 else bounds[2])

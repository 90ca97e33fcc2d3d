"""What a viewer sees of a set of panels: every visible face, hidden parts removed, exact.

The viewer looks along a space diagonal (isometric). Axes are turned so that he stands at (+, +, +);
turned coordinates are called u, v, w. Points that differ by a multiple of (1, 1, 1) fall on one
another, so ``p = u - w`` and ``q = v - w`` are coordinates of the picture, and how near a point is
grows with w at fixed (p, q). Every edge of every panel then lies on a line of constant p, constant q
or constant p - q, and any two such lines with whole coordinates cross at a whole point: the picture
is exact in whole nanometres, with no tolerance anywhere; only the arcs of holes are chords.

A face is hidden where a nearer face that looks at the viewer covers it: a line of sight that runs
through a solid leaves it by such a face. There is no sequence of painting and so no question of
panels that overlap each other in a circle, as interlocked ones do. Two faces in planes that cross are
nearer to the viewer on either side of a line of the picture, and are compared on each side of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError, nearest_name
from boxjoint.geometry.cuboid import Triple
from boxjoint.geometry.holes import Hole
from boxjoint.geometry.rings import Ints
from boxjoint.solve.panels import Panel

__all__ = ["SIDES", "Scene", "View", "areas_of", "look", "near_enough"]

View = tuple[str, str, str]

#: The names of the six sides that a viewer may stand at, as (axis, sense).
SIDES: dict[str, tuple[int, int]] = {
    "left": (0, -1),
    "right": (0, 1),
    "front": (1, -1),
    "back": (1, 1),
    "bottom": (2, -1),
    "top": (2, 1),
}

_COS30 = 3**0.5 / 2
_FEW = 12

# far above any box; picture coordinates are differences of two, and floats are whole below 2**53
_FURTHEST_NM = 10**15


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """All faces that look at the viewer, in turned coordinates.

    Parameters
    ----------
    names
        The panels.
    signs
        (3,) sense of u, v, w on the world's x, y, z.
    box
        (panels, 2, 3) int64, nm: least and greatest turned coordinates of each slab where it is
        drawn.
    panel
        (f,) which panel each face belongs to.
    axis
        (f,) 0, 1 or 2: the axis that the face stands square to.
    lo, hi
        (f, 3) int64, nm: the face's extent; equal along ``axis``.
    stock
        (f,) bool: a face of the sheet (True) or its cut edge, end grain (False).
    flat
        (f,) shapely polygons in (p, q), nm, less what is seen right through holes and notches.
    whole
        (panels,) the face of each sheet without its holes, likewise.
    walls
        (face, area in (p, q)) where a line of sight enters a hole through a face and ends on its wall.
    """

    names: tuple[str, ...]
    signs: tuple[int, int, int]
    box: Ints
    panel: Ints
    axis: Ints
    lo: Ints
    hi: Ints
    stock: NDArray[np.bool_]
    flat: NDArray[Any]
    whole: tuple[Any, ...]
    walls: tuple[tuple[int, Any], ...]

    def __len__(self) -> int:
        return len(self.panel)

    def turned(self, vector: Triple) -> Triple:
        """Return a world vector in turned coordinates."""
        s = self.signs
        return s[0] * vector[0], s[1] * vector[1], s[2] * vector[2]

    @property
    def axes(self) -> NDArray[np.float64]:
        """(3, 2): where one unit along u, v and w goes on the page, x to the right and y down.

        z of the world is upright whether the viewer stands above or below.
        """
        hand = -self.signs[0] * self.signs[1]
        side, upright = hand * _COS30, self.signs[2]
        return np.array([[side, upright * 0.5], [-side, upright * 0.5], [0.0, -upright]])

    def outline(self, panel: int) -> Ints:
        """(n, 3) corners of a panel's outer ring on the face that looks at the viewer, nm."""
        import shapely

        f = int(np.flatnonzero((self.panel == panel) & self.stock)[0])
        ring = np.rint(shapely.get_coordinates(self.whole[panel].exterior)[:-1]).astype(np.int64)
        n = int(self.axis[f])
        at = int(self.lo[f, n])
        full = np.append(ring, np.zeros((len(ring), 1), dtype=np.int64), axis=1)
        # adding the same to u, v and w does not change p = u - w and q = v - w
        corners: Ints = full + (at - full[:, n : n + 1])
        return corners

    def regions(self) -> NDArray[Any]:
        """Return what is seen of each face.

        Returns
        -------
        (f,) shapely geometries in (p, q), nm; empty where nothing is seen of a face. They share no
        area and together cover the panels' picture.
        """
        import shapely

        tree = shapely.STRtree(self.flat)
        near, far = tree.query(self.flat)
        least, greatest = self._ahead(near, far)
        able = (greatest > 0) & (near != far) & self._overlap(near, far)
        near, far, whole = near[able], far[able], least[able] >= 0
        # most of what is hidden is hidden by one face: the mate's
        covered = np.zeros(len(far), dtype=bool)
        covered[whole] = shapely.covers(self.flat[near[whole]], self.flat[far[whole]])
        gone = np.zeros(len(self), dtype=bool)
        gone[far[covered]] = True
        # a face that is hidden throughout hides nothing that the faces before it do not hide
        open_ = ~(gone[near] | gone[far])
        near, far, whole = near[open_], far[open_], whole[open_]
        shares = shapely.intersects(self.flat[near], self.flat[far])
        near, far, whole = near[shares], far[shares], whole[shares]
        seen = self.flat.copy()
        seen[gone] = shapely.Polygon()
        order = np.lexsort((near, far))
        near, far, whole = near[order], far[order], whole[order]
        first = np.flatnonzero(np.diff(far, prepend=-1))
        for start, stop in zip(first, np.append(first, len(far))[1:], strict=True):
            f = int(far[start])
            axis, at = int(self.axis[f]), int(self.lo[f, self.axis[f]])
            before = [
                self.flat[g] if all_of_it else self._nearer_than(int(g), axis, at)
                for g, all_of_it in zip(near[start:stop], whole[start:stop], strict=True)
            ]
            if len(before) > _FEW:
                before = [shapely.union_all(before)]
            # a small face behind few large ones: joining those would cost more than the face
            for mask in before:
                seen[f] = shapely.difference(seen[f], mask)
        return seen

    def line(self, start: Triple, end: Triple) -> Any:
        """Return what is seen of a line from ``start`` to ``end``, turned coordinates, nm.

        It runs along one axis. The answer is a shapely geometry in (p, q), nm, empty when hidden.
        """
        import shapely

        along = [k for k in range(3) if start[k] != end[k]]
        if len(along) != 1:
            raise InputError("a line of travel runs along one axis", value=f"{start} to {end}")
        a = 0 if along[0] != 0 else 1  # a plane that the line lies in
        piece = shapely.LineString([_pq(start), _pq(end)])
        hidden = []
        for g in shapely.STRtree(self.flat).query(piece, predicate="intersects").tolist():
            part = self._nearer_than(g, a, start[a])
            if not part.is_empty:
                hidden.append(part)
        return shapely.difference(piece, shapely.union_all(hidden)) if hidden else piece

    def _ahead(self, near: Ints, far: Ints) -> tuple[Ints, Ints]:
        """Least and greatest amount by which ``near`` is ahead of ``far`` where both may be, nm."""
        a, b = self.axis[far], self.axis[near]
        at_far = self.lo[far, a]
        at_near = self.lo[near, b]
        # ahead = at_near - (far's place on b) on far, and (near's place on a) - at_far on near
        least = np.maximum(at_near - self.hi[far, b], self.lo[near, a] - at_far)
        greatest = np.minimum(at_near - self.lo[far, b], self.hi[near, a] - at_far)
        return least, greatest

    def _overlap(self, i: Ints, j: Ints) -> NDArray[np.bool_]:
        """Whether two faces' extents on the three families of lines overlap."""
        out = np.ones(len(i), dtype=bool)
        for a, b in ((0, 2), (1, 2), (0, 1)):
            least = self.lo[:, a] - self.hi[:, b]
            greatest = self.hi[:, a] - self.lo[:, b]
            out &= (least[i] < greatest[j]) & (least[j] < greatest[i])
        return out

    def _nearer_than(self, g: int, axis: int, at: int) -> Any:
        """The part of face ``g`` that is nearer to the viewer than the plane ``axis`` = ``at``."""
        import shapely

        lo, hi = self.lo[g].tolist(), self.hi[g].tolist()
        if hi[axis] <= at:
            return shapely.Polygon()
        if lo[axis] >= at:
            return self.flat[g]
        # the planes cross; the line where they do runs along a family of the picture's lines
        lo[axis] = at
        return areas_of(shapely.intersection(self.flat[g], _patch(int(self.axis[g]), lo, hi)))


def look(
    panels: Sequence[Panel],
    *,
    apart: Mapping[str, Triple] | None = None,
    holes: Mapping[str, Sequence[Hole]] | None = None,
    view: View,
) -> Scene:
    """Return the faces of the panels that look at the viewer.

    Parameters
    ----------
    panels
        What there is; they share no space where they are drawn.
    apart
        World offset, nm, of panels that are drawn away from their place.
    holes
        Round holes, windows and notches by panel's name, nominal.
    view
        Three of :data:`SIDES`, one along each axis: where the viewer stands.

    Raises
    ------
    InputError
        There is no panel, a name is unknown or used twice, the view is not three sides along three
        axes, or a panel is moved by more than 1000 km.
    """
    import shapely

    signs = _signs(view)
    moves = dict(apart or {})
    names = tuple(p.name for p in panels)
    _check_names(names, moves)
    fronts: list[_Faces] = []
    backs: list[_Faces] = []
    boxes = np.empty((len(panels), 2, 3), dtype=np.int64)
    for i, panel in enumerate(panels):
        shift = np.array(moves.get(panel.name, (0, 0, 0)), dtype=np.int64)
        ends = np.array([panel.slab.box.lo, panel.slab.box.hi], dtype=np.int64) + shift
        boxes[i] = np.sort(ends * signs, axis=0)
        front, back = _edges(panel, shift, signs, boxes[i])
        fronts.append(front)
        backs.append(back)
    keep = _uncovered(fronts, backs)
    panel_index, axis, lo, hi, flat = [], [], [], [], []
    for i, (panel, front) in enumerate(zip(panels, fronts, strict=True)):
        kept = keep[i]
        n = panel.slab.normal
        at = boxes[i][1, n]
        a, b = boxes[i].copy()
        a[n] = at
        panel_index += [i] * (1 + int(kept.sum()))
        axis.append(np.concatenate([[n], front.axis[kept]]))
        lo.append(np.concatenate([[a], front.lo[kept]]))
        hi.append(np.concatenate([[b], front.hi[kept]]))
        stock_face = _stock_face(panel, moves.get(panel.name, (0, 0, 0)), signs, int(at))
        flat.append(np.concatenate([[stock_face], _patches(front, kept)]))
    stock = np.zeros(len(panel_index), dtype=bool)
    stock[np.flatnonzero(np.diff(np.array(panel_index), prepend=-1))] = True
    flats = np.concatenate(flat)
    scene = Scene(
        names=names,
        signs=(int(signs[0]), int(signs[1]), int(signs[2])),
        box=boxes,
        panel=np.array(panel_index, dtype=np.int64),
        axis=np.concatenate(axis),
        lo=np.concatenate(lo),
        hi=np.concatenate(hi),
        stock=stock,
        flat=flats,
        whole=tuple(flats[stock]),
        walls=(),
    )
    walls = [
        wall
        for i, panel in enumerate(panels)
        for hole in (holes or {}).get(panel.name, ())
        for wall in _opened(scene, i, panel, hole, moves.get(panel.name, (0, 0, 0)))
    ]
    shapely.prepare(flats)
    return replace(scene, walls=tuple(walls))


def _opened(
    scene: Scene, index: int, panel: Panel, hole: Hole, shift: Triple
) -> list[tuple[int, Any]]:
    """Take a hole out of its panel's faces; return what of them its walls are seen through.

    A hole is convex: a line of sight is free where it both enters and leaves the hole by an opening,
    which is a mouth of it in either face of the sheet or, of a notch, in the rim.
    """
    import shapely

    frame, n = panel.frame, panel.slab.normal
    x0, y0, x1, y1 = (v / 2 for v in hole.core)
    shape = shapely.box(x0, y0, x1, y1)
    if hole.diameter:
        shape = shape.buffer(hole.diameter / 2, quad_segs=12)
        shape = shape.intersection(shapely.box(*hole.lo, *hole.hi))

    def turned(k: int, drawn: Any) -> Any:
        axis = frame.axes[k]
        return scene.signs[axis] * (frame.origin[k] + frame.senses[k] * drawn + shift[axis])

    xy = shapely.get_coordinates(shape.exterior)
    at = np.empty((len(xy), 3))
    for k in (0, 1):
        at[:, frame.axes[k]] = turned(k, xy[:, k])
    mouths = []
    for side in (1, 0):
        at[:, n] = scene.box[index, side, n]
        mouths.append(shapely.Polygon(at[:, :2] - at[:, 2:]))
    near, far = mouths
    mine = np.flatnonzero(scene.panel == index)
    stock = int(mine[scene.stock[mine]][0])
    entries = [(stock, near)]
    if hole.open is not None:
        k, sense = hole.open
        axis = frame.axes[k]
        rim = int(turned(k, (hole.hi if sense > 0 else hole.lo)[k]))
        ends = sorted(int(turned(1 - k, v[1 - k])) for v in (hole.lo, hole.hi))
        lo, hi = scene.box[index].tolist()
        lo[axis] = hi[axis] = rim
        lo[frame.axes[1 - k]], hi[frame.axes[1 - k]] = ends
        mouth = _patch(axis, lo, hi)
        if sense * frame.senses[k] * scene.signs[axis] > 0:
            on = (scene.axis[mine] == axis) & (scene.lo[mine, axis] == rim) & ~scene.stock[mine]
            entries += [(f, mouth) for f in mine[on].tolist()]
        else:
            far = shapely.union(far, mouth)
    walls = []
    for f, entry in entries:
        # the rest of the face has no part in this, were it even behind the mouth in the picture
        mouth = shapely.intersection(scene.flat[f], entry)
        wall = areas_of(shapely.difference(mouth, far))
        scene.flat[f] = areas_of(
            shapely.difference(scene.flat[f], shapely.intersection(entry, far))
        )
        if not wall.is_empty:
            walls.append((f, wall))
    return walls


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Faces:
    """Rectangles square to an axis: (n,) axis, (n, 3) lo and hi."""

    axis: Ints
    lo: Ints
    hi: Ints


def _signs(view: View) -> Ints:
    signs = np.zeros(3, dtype=np.int64)
    for side in view:
        if side not in SIDES:
            raise InputError(
                "unknown side to look from",
                value=repr(side),
                limit=", ".join(SIDES),
                do=nearest_name(str(side), SIDES),
            )
        axis, sense = SIDES[side]
        signs[axis] = sense
    if len(view) != 3 or not signs.all():
        raise InputError(
            "a view is from three sides, one along each axis",
            value=", ".join(view),
            limit="front or back, left or right, top or bottom",
        )
    return signs


def _check_names(names: tuple[str, ...], moves: Mapping[str, Triple]) -> None:
    if not names:
        raise InputError("a picture needs at least one panel")
    if len(set(names)) < len(names):
        twice = next(n for n in names if names.count(n) > 1)
        raise InputError("two panels have the same name", value=twice)
    for name in moves:
        if name not in names:
            raise InputError("no panel of that name", value=name, do=nearest_name(name, names))
        near_enough(name, moves[name])


def near_enough(name: str, vector: Triple) -> None:
    """Refuse to move a panel so far that the picture would no longer be exact."""
    if max(map(abs, vector)) > _FURTHEST_NM:
        raise InputError(
            "a panel moves too far", where=name, value=f"{vector} nm", limit="at most 1000 km"
        )


def _edges(panel: Panel, shift: Ints, signs: Ints, box: Ints) -> tuple[_Faces, _Faces]:
    """The cut edges that look at the viewer and those that look away, turned coordinates."""
    frame, n = panel.frame, panel.slab.normal
    axis, lo, hi, sense = [], [], [], []
    for ring in panel.rings.corners_only():
        x, y = frame.to_world(ring)
        start = np.zeros((len(ring), 3), dtype=np.int64)
        start[:, frame.axes[0]], start[:, frame.axes[1]] = x, y
        start = (start + shift) * signs
        start[:, n] = box[0, n]
        end = np.roll(start, -1, axis=0)
        d = np.roll(ring, -1, axis=0) - ring
        upright = d[:, 0] == 0
        # the outward normal lies to the right of the way the drawing's ring runs
        normal = np.where(upright, np.sign(d[:, 1]), -np.sign(d[:, 0]))
        which = np.where(upright, frame.axes[0], frame.axes[1])
        to_world = np.where(upright, frame.senses[0], frame.senses[1])
        axis.append(which)
        sense.append(normal * to_world * signs[which])
        lo.append(np.minimum(start, end))
        far = np.maximum(start, end)
        far[:, n] = box[1, n]
        hi.append(far)
    axes, lows, highs = np.concatenate(axis), np.concatenate(lo), np.concatenate(hi)
    senses = np.concatenate(sense)
    to, away = senses > 0, senses < 0
    return (
        _Faces(axis=axes[to], lo=lows[to], hi=highs[to]),
        _Faces(axis=axes[away], lo=lows[away], hi=highs[away]),
    )


def _uncovered(fronts: list[_Faces], backs: list[_Faces]) -> list[NDArray[np.bool_]]:
    """Which edges are not laid against an edge of exactly the same extent.

    Such an edge is inside the joint: it is not seen, and a line of sight that leaves its panel there
    enters the mate and leaves that one nearer to the viewer.
    """
    rows = [np.concatenate([f.lo, f.hi], axis=1) for f in backs]
    laid = {row.tobytes() for row in np.concatenate(rows)}
    return [
        np.array(
            [row.tobytes() not in laid for row in np.concatenate([f.lo, f.hi], axis=1)], dtype=bool
        )
        for f in fronts
    ]


def _stock_face(panel: Panel, shift: Triple, signs: Ints, at: int) -> Any:
    """The sheet's face that looks at the viewer, as a polygon in (p, q)."""
    import shapely

    frame, n = panel.frame, panel.slab.normal
    shells: list[NDArray[np.float64]] = []
    holes: list[NDArray[np.float64]] = []
    for ring in panel.rings.corners_only():
        x, y = frame.to_world(ring)
        turned = np.empty((len(ring), 3), dtype=np.int64)
        turned[:, frame.axes[0]] = signs[frame.axes[0]] * (x + shift[frame.axes[0]])
        turned[:, frame.axes[1]] = signs[frame.axes[1]] * (y + shift[frame.axes[1]])
        turned[:, n] = at
        flat = np.stack([turned[:, 0] - turned[:, 2], turned[:, 1] - turned[:, 2]], axis=1)
        (holes if shells else shells).append(flat.astype(np.float64))
    face = shapely.Polygon(shells[0], holes)
    # two slots that meet in a point make one ring that touches itself, which shapely writes as two
    return face if face.is_valid else shapely.make_valid(face)


def _patches(faces: _Faces, kept: NDArray[np.bool_]) -> NDArray[Any]:
    """Rectangles as polygons in (p, q)."""
    import shapely

    axis, lo, hi = faces.axis[kept], faces.lo[kept], faces.hi[kept]
    n = np.arange(len(axis))
    first, second = np.array([1, 0, 0])[axis], np.array([2, 2, 1])[axis]
    corners = np.repeat(lo[:, None, :], 4, axis=1)
    for k, (right, up) in enumerate(((0, 0), (1, 0), (1, 1), (0, 1))):
        corners[n, k, first] = (hi if right else lo)[n, first]
        corners[n, k, second] = (hi if up else lo)[n, second]
    flat = corners[:, :, :2] - corners[:, :, 2:]
    polygons: NDArray[Any] = shapely.polygons(flat.astype(np.float64))
    return polygons


def _patch(axis: int, lo: list[int], hi: list[int]) -> Any:
    one = _Faces(axis=np.array([axis]), lo=np.array([lo]), hi=np.array([hi]))
    return _patches(one, np.ones(1, dtype=bool))[0]


def _pq(point: Triple) -> tuple[int, int]:
    return point[0] - point[2], point[1] - point[2]


def areas_of(part: Any) -> Any:
    """A geometry less its points and lines."""
    import shapely

    if part.geom_type in ("Polygon", "MultiPolygon"):
        return part
    return shapely.union_all([g for g in shapely.get_parts(part) if g.geom_type == "Polygon"])

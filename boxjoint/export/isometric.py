"""Pictures of assembled boxes: isometric SVG with hidden parts removed, and parts drawn apart.

The view is isometric (ISO 5456-3): the three axes look equally long, 120 degrees apart, z upright.
Faces of the sheet are light and cut edges (end grain) dark, so that the joints can be read; each has
a tone for every direction, lightest above, and all differ in lightness and not in hue alone, so that
a print in black and white reads the same. Lines come in three widths: edges, outlines of a panel,
outline of the whole.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from types import MappingProxyType
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import InputError, nearest_name
from boxjoint.export.captions import Caption, place_captions
from boxjoint.export.pictures import INK, Line, Picture, Shape, picture_svg, written_mm
from boxjoint.export.visible import Scene, View, areas_of, look, near_enough
from boxjoint.fit.marks import PlacedMark
from boxjoint.geometry.cuboid import Triple
from boxjoint.geometry.drawing import Layer
from boxjoint.geometry.holes import Hole
from boxjoint.solve.box import outside_of
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

__all__ = [
    "EDGE_GRAIN",
    "FACE_GRAIN",
    "IsometricView",
    "exploded_offsets",
    "isometric_svg",
    "isometric_view",
]

#: Fills of the sheet's faces by the way they look on the page.
FACE_GRAIN: Mapping[str, str] = MappingProxyType(
    {"up": "#F3E5C6", "left": "#E4CD9F", "right": "#D0B27F", "down": "#BB9A66"}
)
#: Fills of cut edges, likewise.
EDGE_GRAIN: Mapping[str, str] = MappingProxyType(
    {"up": "#AB7F4B", "left": "#93693A", "right": "#79542C", "down": "#624220"}
)
_PALE = 0.72  # how far a panel that only stands around is drawn towards white
_TRAVEL = "#3F5F7F"
_BURNT = EDGE_GRAIN["down"]  # what is scored or engraved is as dark as the darkest cut edge
_WALL = EDGE_GRAIN["left"]  # walls of holes are round: one tone of the cut edge for all

# line widths of the ISO 128 series, mm
_EDGE_MM, _PANEL_MM, _WHOLE_MM = 0.13, 0.25, 0.5
_MARGIN_MM = 4.0
_HIGHEST = 1.5  # greatest height of the page over its width
_TEXT_MM = 3.6  # font size on a page 160 mm wide

_ARROW_MM = (1.0, 3.2, 3.8)  # width of the shaft, width and length of the head
_ARROW_LONG_MM = 12.0


def isometric_svg(
    panels: Sequence[Panel],
    *,
    apart: Mapping[str, Triple] | None = None,
    arrows: Mapping[str, Triple] | None = None,
    holes: Mapping[str, Sequence[Hole]] | None = None,
    marks: Mapping[str, Sequence[PlacedMark]] | None = None,
    width_mm: float = 160.0,
    labels: bool = True,
    view: View = ("front", "right", "top"),
    title: str = "Assembled box",
) -> str:
    """Return a picture of the panels in their places as SVG 1.1.

    Parameters
    ----------
    panels
        What is drawn: nominal outlines through the whole thickness of their slabs.
    apart
        World offset, nm, of panels that are drawn away from their places.
    arrows
        Travel, nm in the world and along one axis, of panels that are about to move: an arrow and
        broken lines lead from where the panel is drawn to where it goes. To show ``apart`` going
        home, give the opposite of its offset.
    holes
        Cut-outs by panel, nominal: open, with their walls, so that what lies behind shows through.
    marks
        What is scored and engraved, by panel: seen where its face is.
    width_mm
        Width of the page; its height follows, at most 1.5 times the width.
    labels
        Write the panels' names, lying on a face where there is room, else beside the picture. A
        panel of which nothing is seen gets none.
    view
        Where the viewer stands: front or back, left or right, top or bottom.
    title
        Goes into ``<title>``.

    Returns
    -------
    str
        Lines end with ``\\n``; the same for the same input, byte for byte. One group a panel, with
        the panel's name as its title. Names are live text: a picture is not cut. Write it as UTF-8.

    Raises
    ------
    InputError
        A name is unknown or used twice, the view is not three sides, a travel is not along one axis,
        or the width is not above 20 mm.
    """
    if not 20 <= width_mm <= 2000:
        raise InputError("a picture is 20 to 2000 mm wide", value=f"{width_mm} mm")
    drawn = isometric_view(
        panels, apart=apart, arrows=arrows, holes=holes, marks=marks, view=view
    ).picture(width_mm=width_mm, labels=labels)
    w, h = written_mm(drawn.width_mm), written_mm(drawn.height_mm)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">\n'
        f"<title>{escape(title)}</title>\n"
        f"<desc>{escape(drawn.about)}</desc>\n"
        f"{picture_svg(drawn)}</svg>\n"
    )


def isometric_view(
    panels: Sequence[Panel],
    *,
    apart: Mapping[str, Triple] | None = None,
    arrows: Mapping[str, Triple] | None = None,
    holes: Mapping[str, Sequence[Hole]] | None = None,
    marks: Mapping[str, Sequence[PlacedMark]] | None = None,
    view: View = ("front", "right", "top"),
) -> IsometricView:
    """Return what is seen of panels, ready to be drawn at any size; see :func:`isometric_svg`.

    Raises
    ------
    InputError
        A name is unknown or used twice, the view is not three sides, or a travel is not along one
        axis.
    """
    import shapely

    scene = look(panels, apart=apart, holes=holes, view=view)
    travels = _travels(scene, arrows or {})
    seen = scene.regions()
    outlines = [shapely.union_all(seen[scene.panel == i]) for i in range(len(scene.names))]
    burnt = tuple(_marks(scene, seen, panels, marks or {}, apart or {}))
    shown: dict[int, list[Any]] = {}
    for f, inside in scene.walls:
        shown.setdefault(int(scene.panel[f]), []).append(shapely.intersection(seen[f], inside))
        seen[f] = areas_of(shapely.difference(seen[f], inside))
    # a wall that is seen through the rim and through the face is one
    walls = [
        (i, part)
        for i, parts in shown.items()
        for part in shapely.get_parts(shapely.union_all(parts)).tolist()
        if part.geom_type == "Polygon"
    ]
    return IsometricView(
        scene=scene,
        seen=seen,
        outlines=tuple(outlines),
        travels=travels,
        view=view,
        walls=tuple(walls),
        marks=burnt,
    )


def _marks(
    scene: Scene,
    seen: NDArray[Any],
    panels: Sequence[Panel],
    marks: Mapping[str, Sequence[PlacedMark]],
    apart: Mapping[str, Triple],
) -> Iterator[tuple[int, Any, Any]]:
    """What is seen of marks: index of the panel, areas that are filled, lines; in (p, q) nm."""
    import shapely

    for i, panel in enumerate(panels):
        n, frame = panel.slab.normal, panel.frame
        towards = "outside" if scene.signs[n] == panel.slab.outward else "inside"
        face = np.flatnonzero((scene.panel == i) & scene.stock)
        if not len(face) or seen[face[0]].is_empty:
            continue
        shift = apart.get(panel.name, (0, 0, 0))

        def there(xy: NDArray[np.float64]) -> NDArray[np.float64]:
            at = np.empty((len(xy), 3))
            at[:, n] = scene.box[i, 1, n]  # noqa: B023 - called within this turn of the loop
            for k, axis in enumerate(frame.axes):  # noqa: B023
                moved = frame.origin[k] + frame.senses[k] * xy[:, k] * 1e6 + shift[axis]  # noqa: B023
                at[:, axis] = scene.signs[axis] * moved
            return at[:, :2] - at[:, 2:]

        solid: list[Any] = []
        hollow: list[Any] = []
        lines: list[Any] = []
        for mark in marks.get(panel.name, ()):
            if mark.face != towards:
                continue
            for curve in mark.curves:
                xy = there(curve.xy)
                if curve.layer is Layer.ENGRAVE:
                    outer = shapely.LinearRing(curve.xy).is_ccw == (mark.face == "outside")
                    (solid if outer else hollow).append(shapely.Polygon(xy))
                else:
                    lines.append(
                        shapely.LineString(np.concatenate([xy, xy[:1]]) if curve.closed else xy)
                    )
        if solid or lines:
            area = shapely.difference(shapely.union_all(solid), shapely.union_all(hollow))
            visible = seen[face[0]]
            yield (
                i,
                areas_of(shapely.intersection(area, visible)),
                shapely.intersection(shapely.MultiLineString(lines), visible),
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IsometricView:
    """What is seen of panels: faces, outlines of panels, lines of travel, in (p, q) nm.

    ``walls`` holds what is seen of the walls of holes, as (index of the panel, polygon), and ``marks``
    what is seen of marks, as (index of the panel, areas, lines).
    """

    scene: Scene
    seen: NDArray[Any]
    outlines: tuple[Any, ...]
    travels: tuple[_Travel, ...]
    view: View
    walls: tuple[tuple[int, Any], ...] = ()
    marks: tuple[tuple[int, Any, Any], ...] = ()

    def picture(
        self,
        *,
        width_mm: float,
        height_mm: float | None = None,
        labels: bool | Mapping[str, str] = True,
        strong: Collection[str] = (),
        text_mm: float | None = None,
        margin_mm: float = _MARGIN_MM,
        most_scale: float = np.inf,
        weight: float = 1.0,
    ) -> Picture:
        """Draw it as large as fits.

        Parameters
        ----------
        width_mm, height_mm
            Of the page; without a height it follows from what is drawn, at most 1.5 times the width.
        labels
            Whether to write the panels' names, or which panels get a name, and which one.
        strong
            Panels that the picture is about: the others are drawn pale. None: all are.
        text_mm
            Font size; ``None`` takes 3.6 mm on a page 160 mm wide, and in proportion.
        margin_mm
            Left free around all.
        most_scale
            mm of the page a nm, at most, so that several pictures can be of one scale.
        weight
            Factor on the widths of all lines, for small pictures.
        """
        import shapely

        scene, outlines = self.scene, self.outlines
        names = {n: n for n in scene.names} if labels is True else dict(labels or {})
        size = _TEXT_MM * width_mm / 160 if text_mm is None else text_mm
        page = _page(self, (width_mm, height_mm), margin_mm, size, names, most_scale)
        fills = _fills(scene)
        shapes = []
        for i, name in enumerate(scene.names):
            pale = _PALE if strong and name not in strong else 0.0
            shapes += [
                Shape(
                    rings=page.rings(self.seen[f]),
                    fill=_toned(fills[f], pale),
                    stroke=INK,
                    width_mm=_EDGE_MM * weight,
                    panel=name,
                )
                for f in np.flatnonzero(scene.panel == i).tolist()
                if not self.seen[f].is_empty
            ]

        for i, wall in self.walls:
            name = scene.names[i]
            shapes.append(
                Shape(
                    rings=page.rings(wall),
                    fill=_toned(_WALL, _PALE if strong and name not in strong else 0.0),
                    stroke=INK,
                    width_mm=_EDGE_MM * weight,
                    panel=name,
                )
            )

        for i, area, lines in self.marks:
            name = scene.names[i]
            tone = _toned(_BURNT, _PALE if strong and name not in strong else 0.0)
            if not area.is_empty:
                shapes.append(Shape(rings=page.rings(area), fill=tone, panel=name))
            shapes += [
                Shape(
                    rings=(page.place(np.array(line.coords)),),
                    closed=False,
                    stroke=tone,
                    width_mm=_EDGE_MM * weight,
                    panel=name,
                )
                for line in shapely.get_parts(lines).tolist()
                if line.geom_type == "LineString" and line.length > 0
            ]

        def outlined(shape: Any, width: float) -> Shape:
            return Shape(rings=page.rings(shape), stroke=INK, width_mm=width * weight)

        for name, o in zip(scene.names, outlines, strict=True):
            if not o.is_empty:
                pale = bool(strong) and name not in strong
                shapes.append(outlined(o, _EDGE_MM if pale else _PANEL_MM))
        bold = [o for n, o in zip(scene.names, outlines, strict=True) if n in strong]
        shapes.append(outlined(shapely.union_all(bold or outlines), _WHOLE_MM))
        shapes += _travel_shapes(page, self.travels, weight)
        shapes += _leader_shapes(page.captions)
        return Picture(
            width_mm=page.width,
            height_mm=page.height,
            scale=page.scale,
            shapes=tuple(shapes),
            lines=tuple(
                Line(text=c.text, at=c.at, size=c.size, matrix=c.matrix, anchor=c.anchor)
                for c in page.captions
            ),
            about=_described(scene, list(outlines), self.view),
        )


def exploded_offsets(solution: Solution) -> dict[str, Triple]:
    """Return how far to draw each panel from its place so that all of them are seen.

    Panels that are no guests move outward along their own normal, further where others lie between
    them and the inside. Guests rise out of the box; one that is halved over another rises above it,
    the way it is put in; a top rises above the guests.

    Returns
    -------
    dict
        World offset, nm, by panel's name. ``isometric_svg`` takes it as ``apart``.
    """
    slabs = solution.arrangement.slabs
    whole = outside_of(solution.arrangement)
    gap = max(
        3 * max(s.thickness for s in slabs),
        sum(whole.size) // 10,
    )
    offsets: dict[str, Triple] = {}
    ceiling = 0  # how far whatever lies above the guests has to rise to clear them
    above: dict[int, int] = {}  # by level of guests: how far they rise
    levels = _levels(solution)
    highest = whole.hi[2]
    for level in range(1 + max(levels.values(), default=-1)):
        members = [slabs[i] for i, at in levels.items() if at == level]
        above[level] = highest + gap - min(s.box.lo[2] for s in members)
        highest = above[level] + max(s.box.hi[2] for s in members)
        ceiling = highest - whole.hi[2]
    for axis in range(3):
        for sense in (1, -1):
            places = [
                (sense * s.box.lo[axis], s.name)
                for i, s in enumerate(slabs)
                if i not in levels and s.normal == axis and s.outward == sense
            ]
            steps = sorted({at for at, _ in places})
            for at, name in places:
                move = gap * (1 + steps.index(at))
                if (axis, sense) == (2, 1):
                    move += ceiling
                vector = [0, 0, 0]
                vector[axis] = sense * move
                offsets[name] = (vector[0], vector[1], vector[2])
    for i, at in levels.items():
        offsets[slabs[i].name] = (0, 0, above[at])
    return {s.name: offsets[s.name] for s in slabs}


def _levels(solution: Solution) -> dict[int, int]:
    """Level of each guest: above all stronger guests with which it is halved."""
    slabs = solution.arrangement.slabs
    levels: dict[int, int] = {}
    under: dict[int, list[int]] = {}
    for joint in solution.joints:
        if joint.kind == "halflap" and slabs[joint.a].guest and slabs[joint.b].guest:
            under.setdefault(joint.b, []).append(joint.a)
    for i, slab in enumerate(slabs):  # strongest first, so what lies below has its level already
        if slab.guest:
            levels[i] = 1 + max((levels[j] for j in under.get(i, ())), default=-1)
    return levels


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Travel:
    """What is seen of a panel's way, in (p, q) nm: lines, and (2, 2) the one that has the arrow."""

    lines: tuple[Any, ...]
    arrow: NDArray[np.float64] | None


def _travels(scene: Scene, arrows: Mapping[str, Triple]) -> tuple[_Travel, ...]:
    """The lines along which panels are about to move, hidden parts removed."""
    travels = []
    for name, vector in arrows.items():
        if name not in scene.names:
            raise InputError(
                "no panel of that name to draw an arrow for",
                value=name,
                do=nearest_name(name, scene.names),
            )
        near_enough(name, vector)
        along = [k for k in range(3) if vector[k]]
        if len(along) != 1:
            raise InputError(
                "a panel travels along one axis",
                where=name,
                value=f"{vector} nm",
                limit="x, y or z",
            )
        travels.append(_travel(scene, scene.names.index(name), along[0], scene.turned(vector)))
    return tuple(travels)


def _travel(scene: Scene, panel: int, axis: int, vector: Triple) -> _Travel:
    import shapely

    lines = []
    for corner in _leading_corners(scene, panel, axis, vector[axis] > 0):
        start = (corner[0], corner[1], corner[2])
        end = (start[0] + vector[0], start[1] + vector[1], start[2] + vector[2])
        part = scene.line(start, end)
        if not part.is_empty:
            lines.append(part)
    pieces = [
        np.array(p.coords) for p in shapely.get_parts(lines).tolist() if p.geom_type == "LineString"
    ]
    if not pieces:
        return _Travel(lines=(), arrow=None)
    way = np.array([vector[0] - vector[2], vector[1] - vector[2]], dtype=np.float64)
    # the longest; among equals the one furthest down the page, which is the nearest to the viewer
    best = max(pieces, key=lambda p: (np.abs(p[-1] - p[0]).sum(), p.sum(), p[0, 0]))
    if (best[-1] - best[0]) @ way < 0:
        best = best[::-1]
    return _Travel(lines=tuple(lines), arrow=best[[0, -1]])


def _leading_corners(scene: Scene, panel: int, axis: int, forward: bool) -> list[list[int]]:
    """Corners of a panel that go ahead when it travels, turned nm: four, or two where it is thin."""
    box, ring = scene.box[panel], scene.outline(panel)
    thin = int(scene.axis[np.flatnonzero((scene.panel == panel) & scene.stock)[0]])
    ahead = int(box[1 if forward else 0, axis])
    a, b = (k for k in range(3) if k != thin)
    if thin == axis:
        corners = [
            ring[np.lexsort((i * ring[:, a], i * ring[:, a] + j * ring[:, b]))[-1]]
            for i, j in product((1, -1), (1, -1))
        ]
        for corner in corners:
            corner[axis] = ahead
    else:
        other = b if a == axis else a
        foremost = ring[ring[:, axis] == (ring[:, axis].max() if forward else ring[:, axis].min())]
        corners = [foremost[np.argmin(foremost[:, other])], foremost[np.argmax(foremost[:, other])]]
        for corner in corners:
            corner[thin] = int(box[:, thin].sum()) // 2
    return [c.tolist() for c in corners]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Page:
    """From (p, q) in nm to millimetres of the page, x to the right and y down."""

    scale: float
    axes: NDArray[np.float64]
    right: float
    down: float
    width: float
    height: float
    captions: tuple[Caption, ...]

    def place(self, pq: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) page coordinates, mm."""
        return np.asarray(pq @ self.axes[:2] * self.scale + (self.right, self.down))

    def rings(self, shape: Any) -> tuple[NDArray[np.float64], ...]:
        """Rings of a polygon or several, mm of the page."""
        import shapely

        return tuple(
            self.place(_bends(np.array(ring.coords)[:-1]))
            for polygon in shapely.get_parts(shapely.normalize(shape)).tolist()
            for ring in (polygon.exterior, *polygon.interiors)
        )


def _page(
    subject: IsometricView,
    page_mm: tuple[float, float | None],
    margin: float,
    size: float,
    names: Mapping[str, str],
    most_scale: float,
) -> _Page:
    """Find the scale at which picture and names fill the page."""
    import shapely

    scene, outlines = subject.scene, list(subject.outlines)
    ways = [line for travel in subject.travels for line in travel.lines]
    drawn = [o for o in outlines if not o.is_empty] + ways
    flat = shapely.get_coordinates(drawn) @ scene.axes[:2]
    lo, hi = flat.min(axis=0), flat.max(axis=0)
    width, height = page_mm
    room = width - 2 * margin
    tall = room * _HIGHEST if height is None else height - 2 * margin
    scale = min(room / (hi[0] - lo[0]), tall / (hi[1] - lo[1]), most_scale)
    captions: tuple[Caption, ...] = ()
    low, high = lo * scale, hi * scale
    if names:
        for _ in range(6):  # names beside the picture take width from it; settles in two or three
            captions = place_captions(
                scene,
                subject.seen,
                outlines,
                names=names,
                keep_off=[
                    *ways,
                    *(wall for _, wall in subject.walls),
                    *(shapely.union(a.envelope, b.envelope) for _, a, b in subject.marks),
                ],
                scale=scale,
                size=size,
            )
            corners = np.array([c for cap in captions for c in cap.extent]).reshape(-1, 2)
            low = np.minimum(lo * scale, corners.min(axis=0, initial=np.inf))
            high = np.maximum(hi * scale, corners.max(axis=0, initial=-np.inf))
            if high[0] - low[0] <= room + 1e-6:
                break
            beside = (high[0] - low[0]) - (hi[0] - lo[0]) * scale
            scale = max(scale / 2, min(scale * 0.995, (room - beside) / (hi[0] - lo[0])))
    right = width / 2 - (low[0] + high[0]) / 2
    down = margin - low[1]
    if height is not None:
        down = height / 2 - (low[1] + high[1]) / 2
    return _Page(
        scale=float(scale),
        axes=scene.axes,
        right=float(right),
        down=float(down),
        width=width,
        height=float(high[1] - low[1] + 2 * margin) if height is None else height,
        captions=tuple(c.moved(float(right), float(down)) for c in captions),
    )


def _bends(ring: NDArray[np.float64]) -> NDArray[np.float64]:
    """A ring less its vertices on straight lines of the three families; arcs keep all of theirs."""
    way = np.roll(ring, -1, axis=0) - ring
    step = np.sign(way)
    family = (way == 0).any(axis=1) | (way[:, 0] == way[:, 1])
    straight = family & np.roll(family, 1) & (step == np.roll(step, 1, axis=0)).all(axis=1)
    bends: NDArray[np.float64] = ring[~straight]
    return bends


def _fills(scene: Scene) -> list[str]:
    """The fill of every face."""
    right = scene.axes[:, 0] > 0
    looks = (
        "right" if right[0] else "left",
        "right" if right[1] else "left",
        "up" if scene.signs[2] > 0 else "down",
    )
    return [
        (FACE_GRAIN if stock else EDGE_GRAIN)[looks[axis]]
        for axis, stock in zip(scene.axis.tolist(), scene.stock.tolist(), strict=True)
    ]


def _described(scene: Scene, outlines: list[Any], view: View) -> str:
    shown = [n for n, o in zip(scene.names, outlines, strict=True) if not o.is_empty]
    hidden = [n for n, o in zip(scene.names, outlines, strict=True) if o.is_empty]
    text = f"Isometric view from {', '.join(view)}. Seen: {', '.join(shown)}."
    return text + (f" Hidden: {', '.join(hidden)}." if hidden else "")


def _toned(rgb: str, pale: float) -> str:
    """A colour drawn towards white by a share."""
    parts = [int(rgb[k : k + 2], 16) for k in (1, 3, 5)]
    return "#" + "".join(f"{round(p + (255 - p) * pale):02X}" for p in parts)


def _travel_shapes(page: _Page, travels: tuple[_Travel, ...], weight: float) -> list[Shape]:
    """Broken lines and arrows."""
    import shapely

    out = []
    for travel in travels:
        parts = [p for line in travel.lines for p in shapely.get_parts(line).tolist()]
        out += [
            Shape(
                rings=(page.place(np.array(part.coords)),),
                closed=False,
                stroke=_TRAVEL,
                width_mm=_PANEL_MM * weight,
                dash=(1.6, 0.9),
            )
            for part in parts
        ]
        if travel.arrow is not None:
            ring = np.array(_arrow(page, travel.arrow))
            out.append(Shape(rings=(ring,), fill=_TRAVEL, stroke="#FFFFFF", width_mm=2 * _EDGE_MM))
    return out


def _arrow(page: _Page, way: NDArray[np.float64]) -> list[list[float]]:
    """Outline of a solid arrow on the middle of a way, mm of the page."""
    start, end = page.place(way)
    length = float(np.hypot(*(end - start)))
    along = (end - start) / max(length, 1e-9)
    across = np.array([-along[1], along[0]])
    drawn = min(_ARROW_LONG_MM, 0.7 * length)
    # on a short way the whole arrow is smaller
    shaft, head, point = (v * min(1.0, drawn / (1.5 * _ARROW_MM[2])) for v in _ARROW_MM)
    tail = (start + end - along * drawn) / 2
    neck = drawn - point
    outline = [
        (0.0, -shaft),
        (neck, -shaft),
        (neck, -head),
        (drawn, 0.0),
        (neck, head),
        (neck, shaft),
        (0.0, shaft),
    ]
    return [(tail + a * along + b / 2 * across).tolist() for a, b in outline]


def _leader_shapes(captions: tuple[Caption, ...]) -> list[Shape]:
    """The lines that lead to panels whose names stand beside the picture, each with a dot."""
    out = []
    around = np.array([(np.cos(t), np.sin(t)) for t in np.arange(12) * np.pi / 6])
    for c in captions:
        if c.leader is not None:
            line, dot = np.array(c.leader), c.leader[0] + 0.45 * around
            out.append(Shape(rings=(line,), closed=False, stroke=INK, width_mm=_EDGE_MM))
            out.append(Shape(rings=(dot,), fill=INK))
    return out

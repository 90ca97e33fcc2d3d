"""The few things that the solid kernel is asked for: prisms, booleans, volumes, lines through solids.

Only this file and ``boxjoint/export/step.py`` talk to the kernel (OCP, the bindings that cadquery
stands on), and only inside functions: importing this module loads nothing. The kernel is called
directly, since its own answer is wanted: each boolean is asked for its errors, and an error raises.
A boolean that failed would else look like two panels that share nothing.

Solids are ``Any``: the bindings ship no types. All lengths are mm; vertices are whole nanometres
divided once, so that two panels that share a plane share its coordinate to the last bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from boxjoint.errors import MissingExtra, ProofFailed
from boxjoint.geometry.holes import Hole
from boxjoint.geometry.rings import Ints, Rings
from boxjoint.solve.panels import Panel

__all__ = [
    "Extent",
    "boolean",
    "box_solid",
    "compound",
    "crossings",
    "extent",
    "hole_solid",
    "levels",
    "moved",
    "panel_solid",
    "pieces",
    "pierced",
    "plain_polygon",
    "require_kernel",
    "volume",
]

_NM = 1e6

Operation = Literal["common", "cut", "fuse"]


@dataclass(frozen=True, slots=True)
class Extent:
    """The smallest axis-aligned box around a solid: ``lo`` and ``hi`` (x, y, z), mm."""

    lo: tuple[float, float, float]
    hi: tuple[float, float, float]

    @property
    def size(self) -> tuple[float, float, float]:
        """Edge lengths, mm."""
        return (self.hi[0] - self.lo[0], self.hi[1] - self.lo[1], self.hi[2] - self.lo[2])

    @property
    def middle(self) -> tuple[float, float, float]:
        """Its centre, mm."""
        x, y, z = ((a + b) / 2 for a, b in zip(self.lo, self.hi, strict=True))
        return (x, y, z)

    def holds(self, point: tuple[float, float, float]) -> bool:
        """Whether a point lies in it, faces excluded."""
        return all(self.lo[k] < point[k] < self.hi[k] for k in range(3))

    def shares_volume(self, other: Extent) -> bool:
        """Whether the two boxes overlap in more than a face."""
        return all(self.lo[k] < other.hi[k] and other.lo[k] < self.hi[k] for k in range(3))

    def text(self) -> str:
        """Say where it lies, for messages; a nanometre shows."""
        return ", ".join(f"{'xyz'[k]} {self.lo[k]:.10g} to {self.hi[k]:.10g}" for k in range(3))


def require_kernel(wanted: str) -> None:
    """Raise unless the solid kernel can be imported.

    Parameters
    ----------
    wanted
        What needs it, for the message.

    Raises
    ------
    MissingExtra
        Says how to get it.
    """
    try:
        import OCP.BOPAlgo  # noqa: F401
    except ImportError as error:
        raise MissingExtra(
            f"{wanted} needs the solid kernel, which is not installed",
            value=str(error),
            do='run pip install "boxjoint[solid]" (about 1.6 GB)',
        ) from error


def plain_polygon(xy: Ints) -> Ints:
    """Return a rectilinear ring's vertices without repeats and without those on a straight line.

    A kernel edge of zero length is an error, and an outline as cut may hold one where a step closed.
    """
    p = [tuple(v) for v in xy.tolist()]
    while True:
        q = [p[i] for i in range(len(p)) if p[i] != p[i - 1]]  # repeats first: they hide what bends
        n = len(q)
        kept = [
            q[i]
            for i in range(n)
            if not q[i - 1][0] == q[i][0] == q[(i + 1) % n][0]
            and not q[i - 1][1] == q[i][1] == q[(i + 1) % n][1]
        ]
        if len(kept) == len(p):
            return np.array(kept, dtype=np.int64).reshape(-1, 2)
        p = kept


def panel_solid(panel: Panel, rings: Rings) -> Any:
    """Extrude rings in the panel's frame through its slab's thickness.

    Parameters
    ----------
    panel
        Gives the frame and the interval along the normal.
    rings
        Nominal or as cut, nm, in the panel's own axes; ring 0 is the outer one.

    Raises
    ------
    ProofFailed
        When the kernel makes no solid of it.
    """
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.gp import gp_Pnt, gp_Vec

    normal = panel.slab.normal
    lo, hi = panel.slab.box.span(normal)

    def wire(k: int) -> Any:
        polygon = BRepBuilderAPI_MakePolygon()
        corners = plain_polygon(rings.ring(k))
        if len(corners) < 4:
            raise _failed(f"nothing of ring {k}, which has no area", panel.name)
        place = [0.0, 0.0, 0.0]
        place[normal] = lo / _NM
        for right, up in zip(*(w.tolist() for w in panel.frame.to_world(corners)), strict=True):
            place[panel.frame.axes[0]], place[panel.frame.axes[1]] = right / _NM, up / _NM
            polygon.Add(gp_Pnt(*place))
        polygon.Close()
        if not polygon.IsDone():
            raise _failed(f"no closed outline from ring {k}", panel.name)
        return polygon.Wire()

    face = BRepBuilderAPI_MakeFace(wire(0), True)  # True: plane faces only
    for k in range(1, rings.count):
        face.Add(wire(k))
    if not face.IsDone():
        raise _failed("no face from the rings", panel.name)
    through = [0.0, 0.0, 0.0]
    through[normal] = (hi - lo) / _NM
    prism = BRepPrimAPI_MakePrism(face.Face(), gp_Vec(*through))
    if not prism.IsDone():
        raise _failed("no solid from the face", panel.name)
    return prism.Shape()


def hole_solid(panel: Panel, hole: Hole) -> Any:
    """Return a hole as a solid that reaches 1 mm beyond both faces of its panel, and beyond a rim.

    Parameters
    ----------
    hole
        nm, in the panel's own axes.

    Raises
    ------
    ProofFailed
        When the kernel makes no solid of it.
    """
    from OCP.BRepBuilderAPI import (
        BRepBuilderAPI_MakeEdge,
        BRepBuilderAPI_MakeFace,
        BRepBuilderAPI_MakeWire,
    )
    from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
    from OCP.GC import GC_MakeArcOfCircle
    from OCP.gp import gp_Pnt, gp_Vec

    normal, frame = panel.slab.normal, panel.frame
    lo, hi = (v / _NM for v in panel.slab.box.span(normal))

    def point(x: float, y: float) -> Any:
        at = [lo - 1.0] * 3
        for k, v in enumerate((x, y)):
            at[frame.axes[k]] = (frame.origin[k] + frame.senses[k] * v) / _NM
        return gp_Pnt(*at)

    low, high, r = list(hole.lo), list(hole.hi), hole.diameter / 2
    if hole.open is not None:
        axis, sense = hole.open
        (high if sense > 0 else low)[axis] += sense * 1_000_000
    stops: list[tuple[tuple[float, float], ...]] = []  # each corner: one point, or an arc's three
    for sx, sy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        x, y = (high if sx > 0 else low)[0], (high if sy > 0 else low)[1]
        if r == 0 or (hole.open is not None and (sx, sy)[hole.open[0]] == hole.open[1]):
            stops.append(((x, y),))
            continue
        cx, cy = x - sx * r, y - sy * r
        ends = [(x, cy), (cx, y)] if sx == sy else [(cx, y), (x, cy)]
        middle = (cx + sx * r * 0.5**0.5, cy + sy * r * 0.5**0.5)
        stops.append((ends[0], middle, ends[1]))
    wire = BRepBuilderAPI_MakeWire()
    for i, stop in enumerate(stops):
        if len(stop) == 3:
            arc = GC_MakeArcOfCircle(*(point(*p) for p in stop)).Value()
            wire.Add(BRepBuilderAPI_MakeEdge(arc).Edge())
        a, b = stop[-1], stops[(i + 1) % 4][0]
        if max(abs(a[0] - b[0]), abs(a[1] - b[1])) > 0.5:
            wire.Add(BRepBuilderAPI_MakeEdge(point(*a), point(*b)).Edge())
    if not wire.IsDone():
        raise _failed("no closed outline of a hole", panel.name)
    face = BRepBuilderAPI_MakeFace(wire.Wire(), True)
    through = [0.0, 0.0, 0.0]
    through[normal] = hi - lo + 2.0
    prism = BRepPrimAPI_MakePrism(face.Face(), gp_Vec(*through)) if face.IsDone() else None
    if prism is None or not prism.IsDone():
        raise _failed("no solid of a hole", panel.name)
    return prism.Shape()


def pierced(panel: Panel, solid: Any, holes: Sequence[Hole]) -> Any:
    """Return a panel's solid less its holes."""
    if not holes:
        return solid
    return boolean("cut", solid, [hole_solid(panel, hole) for hole in holes])


def _failed(what: str, where: str) -> ProofFailed:
    return ProofFailed(f"the solid kernel made {what}", where=where, faults=())


def box_solid(lo: Sequence[float], hi: Sequence[float]) -> Any:
    """Return the cuboid from ``lo`` to ``hi``, mm."""
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeBox
    from OCP.gp import gp_Pnt

    return BRepPrimAPI_MakeBox(gp_Pnt(*lo), gp_Pnt(*hi)).Shape()


def boolean(operation: Operation, one: Any, others: Sequence[Any]) -> Any:
    """Return ``one`` in common with, cut by, or fused with the union of ``others``.

    No fuzzy value is set: the kernel then tells planes apart that are more than its own 1e-7 mm
    from each other.

    Raises
    ------
    ProofFailed
        When the kernel reports an error: no answer is not the answer "nothing in common".
    """
    from OCP.BOPAlgo import BOPAlgo_BOP, BOPAlgo_Operation

    op = BOPAlgo_BOP()
    op.AddArgument(one)
    for other in others:
        op.AddTool(other)
    op.SetOperation(
        {
            "common": BOPAlgo_Operation.BOPAlgo_COMMON,
            "cut": BOPAlgo_Operation.BOPAlgo_CUT,
            "fuse": BOPAlgo_Operation.BOPAlgo_FUSE,
        }[operation]
    )
    op.SetNonDestructive(True)
    try:
        op.Perform()
    except Exception as error:
        # the bindings' own exceptions have no common root but the module that they come from
        if type(error).__module__.split(".")[0] != "OCP":
            raise
        raise _failed(f"an error instead of a {operation}", "boolean of solids") from error
    if op.HasErrors() or op.Shape().IsNull():
        raise _failed(f"an error instead of a {operation}", "boolean of solids")
    return op.Shape()


def compound(shapes: Sequence[Any]) -> Any:
    """Return several shapes as one; none as one that is empty."""
    from OCP.BRep import BRep_Builder
    from OCP.TopoDS import TopoDS_Compound

    builder, out = BRep_Builder(), TopoDS_Compound()
    builder.MakeCompound(out)
    for shape in shapes:
        builder.Add(out, shape)
    return out


def volume(shape: Any) -> float:
    """Volume of all solids in ``shape``, mm3; negative where a solid is turned inside out."""
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps

    found = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, found)
    return float(found.Mass())


def pieces(shape: Any) -> list[Any]:
    """Return the solids in ``shape``."""
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    found = []
    explorer = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_SOLID)
    while explorer.More():
        found.append(explorer.Current())
        explorer.Next()
    return found


def extent(shape: Any) -> Extent:
    """Box around the vertices of ``shape``: exact for plane faces, without the kernel's gap."""
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedMapOfShape

    corners = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_ShapeEnum.TopAbs_VERTEX, corners)
    at = []
    for i in range(1, corners.Extent() + 1):
        p = BRep_Tool.Pnt_s(TopoDS.Vertex_s(corners.FindKey(i)))
        at.append((p.X(), p.Y(), p.Z()))
    x, y, z = zip(*at, strict=True)
    return Extent((min(x), min(y), min(z)), (max(x), max(y), max(z)))


def levels(shape: Any, axis: int) -> list[float]:
    """Distinct coordinates of the vertices of ``shape`` on an axis, ascending, mm."""
    from OCP.BRep import BRep_Tool
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp
    from OCP.TopoDS import TopoDS
    from OCP.TopTools import TopTools_IndexedMapOfShape

    corners = TopTools_IndexedMapOfShape()
    TopExp.MapShapes_s(shape, TopAbs_ShapeEnum.TopAbs_VERTEX, corners)
    found = set()
    for i in range(1, corners.Extent() + 1):
        p = BRep_Tool.Pnt_s(TopoDS.Vertex_s(corners.FindKey(i)))
        found.add((p.X(), p.Y(), p.Z())[axis])
    return sorted(found)


def moved(shape: Any, by: Sequence[float]) -> Any:
    """Return ``shape`` moved by a vector, mm."""
    from OCP.gp import gp_Trsf, gp_Vec
    from OCP.TopLoc import TopLoc_Location

    there = gp_Trsf()
    there.SetTranslation(gp_Vec(*by))
    return shape.Moved(TopLoc_Location(there))


def crossings(solid: Any, axis: int, through: Sequence[Sequence[float]]) -> list[list[float]]:
    """Coordinates at which lines along ``axis`` cross the faces of a solid.

    Parameters
    ----------
    through
        One point (x, y, z) on each line, mm.

    Returns
    -------
    For each line its crossings in ascending sequence, mm, as world coordinates on ``axis``.
    """
    from OCP.gp import gp_Dir, gp_Lin, gp_Pnt
    from OCP.IntCurvesFace import IntCurvesFace_ShapeIntersector

    finder = IntCurvesFace_ShapeIntersector()
    finder.Load(solid, 1e-7)
    toward = [0.0, 0.0, 0.0]
    toward[axis] = 1.0
    found = []
    for point in through:
        start = list(point)
        start[axis] = 0.0
        finder.Perform(gp_Lin(gp_Pnt(*start), gp_Dir(*toward)), -1e6, 1e6)
        found.append(sorted(finder.WParameter(i) for i in range(1, finder.NbPnt() + 1)))
    return found

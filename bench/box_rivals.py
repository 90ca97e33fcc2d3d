"""The same box by general-purpose libraries, as a practised user of them would write it.

Nothing here comes from boxjoint. Both rivals do the whole job: outlines, kerf, DXF, and a check of
the assembly by booleans of solids. The lean check says the same as the exact proof with the fewest
booleans: every panel is a solid with the volume of its outline and lies in its slab, no two share
volume, and the volumes add up to the shell around the inside. The usual check (shapely's rival only)
tries all 15 pairs, and also takes the union, whose volume must be the shell's, and the block of the
inside, which must be free and must be what the union leaves of the outside.

``python bench/box_rivals.py NAME JOB OUT`` is a rival as a program: it reads the job file of the bench
and writes six DXF files.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

NAMES = ("bottom", "top", "front", "back", "left", "right")  # strongest first
NORMAL = {"bottom": 2, "top": 2, "front": 1, "back": 1, "left": 0, "right": 0}
HIGH = {"top", "back", "right"}  # they lie at the far end of their axis
COMMON_MM3 = 1e-6  # a kernel's rounding; a nanometre of one segment of the smallest tab is 4e-6

Box2 = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A closed box, mm: inside, thickness, kerf, and segments an edge along every axis."""

    inside: tuple[float, float, float]
    t: float
    kerf: float
    n: int

    @classmethod
    def read(cls, path: Path) -> Task:
        """Read what the bench's own job files hold."""
        with path.open("rb") as file:
            job = tomllib.load(file)
        inside = job["inside"]
        return cls(
            inside=(inside["length"], inside["width"], inside["height"]),
            t=job["stock"]["thickness"],
            kerf=job["cut"]["kerf"],
            n=job["joint"]["segments"]["length"],
        )

    @property
    def shell(self) -> float:
        """Volume of the outside less the inside, mm3."""
        a, b, c = self.inside
        t = 2 * self.t
        return (a + t) * (b + t) * (c + t) - a * b * c

    def walls(self, axis: int) -> list[float]:
        """Divisions along an axis: both mates take these very numbers."""
        nm = round(self.inside[axis] * 1e6)
        return [(2 * nm * i + self.n) // (2 * self.n) / 1e6 for i in range(self.n + 1)]

    def rectangle(self, name: str) -> Box2:
        """A panel's full rectangle in its plane's two axes, world coordinates."""
        a, b = plane(name)
        return (-self.t, -self.t, self.inside[a] + self.t, self.inside[b] + self.t)

    def low(self, name: str) -> float:
        """Where a panel begins along its normal."""
        return self.inside[NORMAL[name]] if name in HIGH else -self.t


def plane(name: str) -> tuple[int, int]:
    """The two axes in a panel's plane, in ascending sequence."""
    a, b = (k for k in range(3) if k != NORMAL[name])
    return a, b


def stronger(a: str, b: str) -> bool:
    """Whether ``a`` owns the ends of its joint with ``b``."""
    return NAMES.index(a) < NAMES.index(b)


def across(task: Task, mate: str) -> tuple[float, float]:
    """The interval of a mate along its own normal."""
    lo = task.low(mate)
    return lo, lo + task.t


def lost(task: Task, name: str) -> list[Box2]:
    """All rectangles that a panel gives up: segments of its mates, and corners."""
    a, b = plane(name)
    mates = [m for m in NAMES if NORMAL[m] != NORMAL[name]]
    boxes = []
    for mate in mates:
        along = b if NORMAL[mate] == a else a
        walls = task.walls(along)
        first = 1 if stronger(name, mate) else 0
        lo, hi = across(task, mate)
        for i in range(first, task.n, 2):
            if along == b:
                boxes.append((lo, walls[i], hi, walls[i + 1]))
            else:
                boxes.append((walls[i], lo, walls[i + 1], hi))
    if NORMAL[name] != 2:  # bottom and top own all corners
        for u in (m for m in mates if NORMAL[m] == a):
            for v in (m for m in mates if NORMAL[m] == b):
                (x0, x1), (y0, y1) = across(task, u), across(task, v)
                boxes.append((x0, y0, x1, y1))
    return boxes


# --- shapely + ezdxf + manifold3d ---------------------------------------------------------------


def shapely_outlines(task: Task) -> dict[str, Any]:
    """Nominal outlines: the rectangle less everything that is given up."""
    import numpy as np
    import shapely

    found = {}
    for name in NAMES:
        boxes = np.array(lost(task, name))
        gone = shapely.union_all(shapely.box(*boxes.T))
        found[name] = shapely.box(*task.rectangle(name)).difference(gone)
    return found


def shapely_kerf(task: Task, outlines: dict[str, Any]) -> dict[str, Any]:
    """Outlines moved out by half the kerf, corners kept square."""
    return {
        name: p.buffer(task.kerf / 2, join_style="mitre", mitre_limit=2.0)
        for name, p in outlines.items()
    }


def manifold_check(task: Task, outlines: dict[str, Any], *, lean: bool) -> None:
    """Prove the assembly on solids; stops the program where it is wrong.

    A clockwise ring would give an empty solid without an error, and empty solids overlap nothing: so
    every volume is compared with its outline's area.
    """
    import numpy as np
    from manifold3d import CrossSection, Manifold, OpType
    from shapely.geometry.polygon import orient

    solids, total = {}, 0.0
    for name, polygon in outlines.items():
        if polygon.geom_type != "Polygon":
            raise SystemExit(f"{name} is not in one piece")
        p = orient(polygon)
        rings = [np.asarray(r.coords)[:-1] for r in (p.exterior, *p.interiors)]
        a, b = plane(name)
        place = np.zeros((3, 4))
        place[a, 0] = place[b, 1] = place[NORMAL[name], 2] = 1.0
        place[NORMAL[name], 3] = task.low(name)
        solid = Manifold.extrude(CrossSection(rings), task.t).transform(place)
        volume = solid.volume()
        if not abs(volume - p.area * task.t) < COMMON_MM3 * 100 or volume <= 0:
            raise SystemExit(f"{name} has a volume of {volume}, its outline {p.area * task.t}")
        bounds = p.bounds
        if min(bounds[:2]) < -task.t or any(
            high > task.inside[k] + task.t for high, k in zip(bounds[2:], (a, b), strict=True)
        ):
            raise SystemExit(f"{name} leaves its slab: {bounds}")
        total += volume
        solids[name] = solid
    for one, first in solids.items():
        for other, second in solids.items():
            # opposite panels are apart: lean leaves them out
            if stronger(one, other) and not (lean and NORMAL[one] == NORMAL[other]):
                common = (first ^ second).volume()
                if abs(common) > COMMON_MM3:
                    raise SystemExit(f"{one} and {other} share {common} mm3")
    if abs(total - task.shell) > COMMON_MM3 * 100:
        raise SystemExit(f"volumes add up to {total}, the shell to {task.shell} mm3")
    if lean:
        return
    shell = Manifold.batch_boolean(list(solids.values()), OpType.Add)
    if abs(shell.volume() - task.shell) > COMMON_MM3 * 100:
        raise SystemExit(f"the union has {shell.volume()}, the shell {task.shell} mm3")
    inside = Manifold.cube(task.inside)
    outside = Manifold.cube([s + 2 * task.t for s in task.inside]).translate([-task.t] * 3)
    if abs((inside ^ shell).volume()) > COMMON_MM3:
        raise SystemExit("a panel enters the inside")
    if abs((outside - shell).volume() - inside.volume()) > COMMON_MM3 * 100:
        raise SystemExit("what the panels leave is not the inside")


def ezdxf_write(drawn: dict[str, Any], out: Path) -> None:
    """One DXF a panel, closed polylines, mm."""
    from ezdxf.filemanagement import new

    out.mkdir(parents=True, exist_ok=True)
    for name, p in drawn.items():
        document = new("R2000", units=4)
        model = document.modelspace()
        for ring in (p.exterior, *p.interiors):
            model.add_lwpolyline(ring.coords[:-1], close=True)
        document.saveas(out / f"{name}.dxf")


def shapely_rival(task: Task, out: Path | None, *, lean: bool = False) -> dict[str, float]:
    """The whole job; ``None`` leaves out the files. Returns the areas of the drawn outlines, mm2."""
    outlines = shapely_outlines(task)
    drawn = shapely_kerf(task, outlines)
    manifold_check(task, outlines, lean=lean)
    if out is not None:
        ezdxf_write(drawn, out)
    return {name: p.area for name, p in drawn.items()}


def lean_rival(task: Task, out: Path | None) -> dict[str, float]:
    """The same with the lean check."""
    return shapely_rival(task, out, lean=True)


# --- cadquery -----------------------------------------------------------------------------------


def walk(task: Task, name: str) -> list[tuple[float, float]]:
    """The corners of a panel's outline, counter-clockwise, without booleans (they are slower)."""
    a, b = plane(name)
    x0, y0, x1, y1 = task.rectangle(name)
    t = task.t
    low = {0: "left", 1: "front", 2: "bottom"}
    high = {0: "right", 1: "back", 2: "top"}
    keeps_corners = NORMAL[name] == 2
    # edges counter-clockwise from the low one: (mate, axis along, towards +)
    edges = [(low[b], a, True), (high[a], b, True), (high[b], a, False), (low[a], b, False)]
    kept = [[(i % 2 == 0) == stronger(name, mate) for i in range(task.n)] for mate, _, _ in edges]

    def place(e: int, u: float, v: float) -> tuple[float, float]:
        """A point ``u`` along edge ``e`` from its first corner and ``v`` inward of it."""
        return ((x0 + u, y0 + v), (x1 - v, y0 + u), (x1 - u, y1 - v), (x0 + v, y1 - u))[e]

    points: list[tuple[float, float]] = []
    for e, (_, along, forward) in enumerate(edges):
        before, here = kept[e - 1][-1], kept[e]
        if keeps_corners:
            corner = [(0.0, t)] if before else [(t, t), (0.0, t)]
            corner += [(0.0, 0.0), (t, 0.0)] + ([] if here[0] else [(t, t)])
        else:
            corner = ([(0.0, t)] if before else []) + [(t, t)] + ([(t, 0.0)] if here[0] else [])
        points += [place(e, u, v) for u, v in corner]
        walls = task.walls(along)
        for i in range(1, task.n):
            if here[i] != here[i - 1]:
                # the shared wall itself, never a sum that differs from it in the last bit
                wall = walls[i] if forward else walls[task.n - i]
                for level in (0.0 if here[i - 1] else t, 0.0 if here[i] else t):
                    x, y = place(e, 0.0, level)
                    points.append((wall, y) if along == a else (x, wall))
    return _corners(points)


def _corners(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Drop points that repeat or lie on a straight line."""
    distinct = [p for p, q in zip(points, points[-1:] + points[:-1], strict=True) if p != q]
    n = len(distinct)
    return [
        p
        for i, p in enumerate(distinct)
        if not any(distinct[i - 1][k] == p[k] == distinct[(i + 1) % n][k] for k in (0, 1))
    ]


def cadquery_rival(task: Task, out: Path | None) -> dict[str, float]:
    """The whole job; ``None`` leaves out the files. Returns the areas of the drawn outlines, mm2."""
    import cadquery as cq

    wires = {
        name: cq.Wire.makePolygon([cq.Vector(x, y) for x, y in walk(task, name)], close=True)
        for name in NAMES
    }
    drawn = {name: wire.offset2D(task.kerf / 2, "intersection")[0] for name, wire in wires.items()}
    solids, total = {}, 0.0
    for name, wire in wires.items():
        a, b = plane(name)
        axes = [cq.Vector(*(float(k == axis) for k in range(3))) for axis in (a, b)]
        origin = [0.0, 0.0, 0.0]
        sense = 1 if axes[0].cross(axes[1]).toTuple()[NORMAL[name]] > 0 else -1
        low = task.low(name)
        origin[NORMAL[name]] = low if sense > 0 else low + task.t
        place = cq.Plane(cq.Vector(*origin), axes[0], axes[0].cross(axes[1]))
        flat = cq.Solid.extrudeLinear(wire, [], cq.Vector(0, 0, task.t))
        solid = flat.moved(cq.Location(place))
        volume, area = solid.Volume(), cq.Face.makeFromWires(wire).Area()
        if volume <= 0 or abs(volume - area * task.t) > COMMON_MM3 * 100:
            raise SystemExit(f"{name} has a volume of {volume}")
        total += volume
        solids[name] = solid
    for a_name, first in solids.items():
        for b_name, second in solids.items():
            if stronger(a_name, b_name) and NORMAL[a_name] != NORMAL[b_name]:
                common = first.intersect(second).Volume()
                if abs(common) > COMMON_MM3:
                    raise SystemExit(f"{a_name} and {b_name} share {common} mm3")
    if abs(total - task.shell) > COMMON_MM3 * 100:
        raise SystemExit(f"volumes add up to {total}, the shell to {task.shell} mm3")
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        for name, wire in drawn.items():
            cq.exporters.export(cq.Workplane(obj=wire), str(out / f"{name}.dxf"), "DXF")
    return {name: float(cq.Face.makeFromWires(wire).Area()) for name, wire in drawn.items()}


RIVALS: dict[str, Callable[[Task, Path | None], Any]] = {
    "shapely": shapely_rival,
    "lean": lean_rival,
    "cadquery": cadquery_rival,
}


if __name__ == "__main__":
    RIVALS[sys.argv[1]](Task.read(Path(sys.argv[2])), Path(sys.argv[3]))

"""Faults planted into a sound box, and what each proof says of them.

Every fault adds a cuboid to a panel or takes one from it (shapely does the editing, so that nothing of
the solver's own making is used), or moves a whole panel. What was planted is known to the nanometre:
its kind, its extent and its panels.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from boxjoint.check.exact import exact_proof
from boxjoint.errors import MissingExtra, ProofFailed
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Rings
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

AXIS = "xyz"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """One spoiled solution.

    ``kind`` is the exact proof's word for it, ``box`` the cuboid that is wrong, nm; ``axis`` is set
    where only the extent along one axis is claimed (a panel outside its slab). ``depth`` is the size
    that the fault is about, nm.
    """

    name: str
    kind: str
    panel: str
    box: Cuboid
    depth: int
    solution: Solution
    axis: int | None = None


def _spoiled(solution: Solution, slab: int, box: Cuboid, *, add: bool) -> Solution | None:
    """Add a cuboid to a panel, or take it away; ``None`` where it would fall into pieces."""
    panel = solution.panels[slab]
    corners = []
    for axis in panel.frame.axes:
        lo, hi = box.span(axis)
        k, a, b = panel.frame.to_drawing(axis, np.array([lo]), np.array([hi]))
        corners.append((k, int(a[0]), int(b[0])))
    (_, x0, x1), (_, y0, y1) = sorted(corners)
    change = shapely.box(x0, y0, x1, y1)
    old = shapely.Polygon(
        panel.rings.ring(0), [panel.rings.ring(k) for k in range(1, panel.rings.count)]
    )
    new = old.union(change) if add else old.difference(change)
    if new.geom_type != "Polygon":
        return None
    rings = _rings(new)
    if abs(rings.area - panel.rings.area) != (x1 - x0) * (y1 - y0):
        raise SystemExit("the fault was not planted to the nanometre")
    return _with(solution, slab, replace(panel, rings=rings))


def _rings(polygon: Any) -> Rings:
    p = orient(polygon)
    rings = [
        np.rint(np.asarray(r.coords)[:-1]).astype(np.int64) for r in (p.exterior, *p.interiors)
    ]
    n = sum(map(len, rings))
    return Rings(
        xy=np.concatenate(rings),
        start=np.cumsum([0, *map(len, rings)]).astype(np.int64),
        role=np.zeros(n, dtype=np.uint8),
        joint=np.full(n, -1, dtype=np.int32),
    )


def _with(solution: Solution, slab: int, panel: Panel) -> Solution:
    panels = list(solution.panels)
    panels[slab] = panel
    return replace(solution, panels=tuple(panels))


def _slice(box: Cuboid, axis: int, lo: int, hi: int) -> Cuboid:
    a, b = list(box.lo), list(box.hi)
    a[axis], b[axis] = lo, hi
    return Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2]))


def plant(
    solution: Solution, rng: np.random.Generator, depths: tuple[int, ...]
) -> Iterator[Planted]:
    """Plant every kind of fault, each at a place of its own; ``depths`` in nm."""
    panels, joints = solution.panels, solution.joints

    def tab() -> tuple[Any, int, int, int]:
        """A joint, the owner of one of its inner segments, and where that begins and ends."""
        joint = joints[int(rng.integers(len(joints)))]
        t = solution.tabs[joint.index]
        i = int(rng.integers(1, len(t.lo) - 1))
        return joint, int(t.owner[i]), int(t.lo[i]), int(t.hi[i])

    for depth in depths:
        for add in (True, False):
            joint, owner, _, hi = tab()
            box = _slice(joint.bar, joint.axis, *((hi, hi + depth) if add else (hi - depth, hi)))
            spoiled = _spoiled(solution, owner, box, add=add)
            if spoiled is None:
                raise SystemExit("a wall that moved split its panel")
            yield Planted(
                name=f"a wall moved {'out' if add else 'in'}",
                kind="overlap" if add else "void",
                panel=panels[owner].name,
                box=box,
                depth=depth,
                solution=spoiled,
            )
    joint, owner, lo, hi = tab()
    box = _slice(joint.bar, joint.axis, lo, hi)
    spoiled = _spoiled(solution, owner, box, add=False)
    if spoiled is None:
        raise SystemExit("a lost tab split its panel")
    name = panels[owner].name
    yield Planted(
        name="a lost tab", kind="void", panel=name, box=box, depth=hi - lo, solution=spoiled
    )
    for depth in depths:
        joint, owner, lo, hi = tab()
        mate = panels[joint.mate(owner)].slab
        face = mate.box.hi[mate.normal] if mate.outward > 0 else mate.box.lo[mate.normal]
        along = _slice(joint.bar, joint.axis, lo, hi)
        span = (face, face + depth) if mate.outward > 0 else (face - depth, face)
        box = _slice(along, mate.normal, *span)
        spoiled = _spoiled(solution, owner, box, add=True)
        if spoiled is None:
            raise SystemExit("a tab too long split its panel")
        yield Planted(
            name="a tab too long",
            kind="outside",
            panel=panels[owner].name,
            box=box,
            depth=depth,
            solution=spoiled,
            axis=mate.normal,
        )
    for twice in (True, False):
        k = int(rng.integers(len(solution.corners)))
        corner, owner = solution.corners[k], solution.owners[k]
        if twice:
            found = (
                (s, _spoiled(solution, s, corner.box, add=True)) for s in corner.slabs if s != owner
            )
            owner, spoiled = next((s, made) for s, made in found if made is not None)
        else:
            spoiled = _spoiled(solution, owner, corner.box, add=False)
        if spoiled is None:
            raise SystemExit("a corner without an owner split its panel")
        yield Planted(
            name="a corner owned twice" if twice else "a corner owned by nobody",
            kind="overlap" if twice else "void",
            panel=panels[owner].name,
            box=corner.box,
            depth=corner.box.size[0],
            solution=spoiled,
        )
    for depth in depths:
        s = int(rng.integers(len(panels)))
        panel = panels[s]
        xy = panel.rings.xy + np.array([depth, 0])
        axis = panel.frame.axes[0]
        edge = panel.slab.box.hi[axis] if panel.frame.senses[0] > 0 else panel.slab.box.lo[axis]
        span = (edge, edge + depth) if panel.frame.senses[0] > 0 else (edge - depth, edge)
        yield Planted(
            name="a panel outside its slab",
            kind="outside",
            panel=panel.name,
            box=_slice(panel.slab.box, axis, *span),
            depth=depth,
            solution=_with(solution, s, replace(panel, rings=replace(panel.rings, xy=xy))),
            axis=axis,
        )


def by_exact(planted: Planted) -> str:
    """What the exact proof says: the fault with its size where it is right, else what went wrong."""
    solution = planted.solution
    proof = exact_proof(solution.panels, solution.arrangement.insides)
    for fault in proof.faults:
        if fault.kind != planted.kind or planted.panel not in fault.panels:
            continue
        if planted.axis is not None:
            if fault.size[planted.axis] == planted.depth and sum(map(bool, fault.size)) == 1:
                return f"outside by {_mm(planted.depth)} along {AXIS[planted.axis]}"
        elif (fault.lo, fault.size) == (planted.box.lo, planted.box.size):
            return f"{fault.kind} of {' x '.join(map(_mm, fault.size))}"
    return "NOT FOUND" if proof.passed else f"WRONG: {proof.faults[0]}"


def _mm(nm: int) -> str:
    return f"{nm / 1e6:.6f}".rstrip("0").rstrip(".")


def by_solid(planted: Planted) -> str:
    """What the solid proof says, in its own words; an empty text where the kernel is not installed."""
    from boxjoint.check.solid import solid_proof

    words = {"outside": "outside slab"}
    try:
        proof = solid_proof(planted.solution)
    except MissingExtra:
        return ""
    except ProofFailed as error:
        return f"refused: {error.what}"
    for fault in proof.faults:
        if fault.kind == words.get(planted.kind, planted.kind) and planted.panel in fault.panels:
            want = planted.depth / 1e6 if planted.axis is not None else planted.box.volume / 1e18
            return f"{fault.kind}, {fault.size:.9g} {fault.unit} (planted {want:.9g})"
    return "NOT FOUND" if proof.passed else f"WRONG: {proof.faults[0]}"

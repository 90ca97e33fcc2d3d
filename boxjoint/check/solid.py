"""The solid proof: the same claims as the exact proof, on solids, by a kernel that others wrote.

It shares no code with the exact proof. What it takes from the solution are the panels' rings and
frames, the slabs, the insides and, for the cut set, which slabs meet in a joint.

On NOMINAL solids:

1. every panel is a solid of positive volume, equal to the area of its rings times its thickness;
2. every panel lies inside its slab;
3. no two panels share volume;
4. the volumes add up to that of the union of the slabs. With 2 and 3 this leaves no void: panels
   that do not overlap, within a space, and with its volume, fill it;
5. no panel enters an inside that was asked for, and a layer one micrometre thin beyond each of its
   faces that is not open is filled by panels.

On CUT solids, each kept where its nominal panel stands:

6. every panel has the volume, and every pair shares the volume, that the clearances predict
   (``boxjoint.check.interference``);
7. every shoulder touches its mate's inner face, less a guest's relief: the panels are seated;
8. the inside, face to face, is as asked: between opposite panels, and between the shoulders of each
   panel that spans it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Any, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from boxjoint.check import kernel
from boxjoint.check.interference import (
    SIDE_MM,
    area_mm2,
    outward_mm,
    predict,
    predicted_outline,
)
from boxjoint.check.kernel import Extent
from boxjoint.errors import InputError, ProofFailed
from boxjoint.fit.compensate import Allowance
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Rings, Role
from boxjoint.solve.arrangement import InsideBlock
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

__all__ = ["Held", "InsideFound", "Shared", "SolidFault", "SolidProof", "solid_proof"]

_NM = 1e6
_T = TypeVar("_T")

VOLUME_MM3 = 1e-5
"""Volumes closer than this are equal, mm3. A micrometre over one square millimetre is a hundred
times as much; the kernel's sums over plane faces were seen to be off by less than 1e-8."""
LAYER_MM = 1e-3
"""Thickness of the layer that must be filled beyond a face of the inside, mm."""

Kind = Literal[
    "no solid",
    "volume",
    "outside slab",
    "overlap",
    "void",
    "inside entered",
    "inside not closed",
    "interference",
    "seat",
    "inside size",
]
Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidFault:
    """One claim that does not hold.

    Parameters
    ----------
    kind
        Which claim.
    panels
        The panels in it.
    where
        The place, mm, world axes, or the inside and its face.
    size, unit
        How large: shared or missing volume (mm3), missing face (mm2), distance (mm).
    extent
        Box around the faulty space, mm, where there is one.
    """

    kind: Kind
    panels: tuple[str, ...]
    where: str
    size: float
    unit: Literal["mm", "mm2", "mm3"]
    extent: Extent | None = None

    def __str__(self) -> str:
        return f"{self.kind}: {', '.join(self.panels)}: {self.size:.9g} {self.unit} at {self.where}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """The space that two cut panels share, mm3: predicted from the clearances, and found."""

    panels: tuple[str, str]
    predicted: float
    found: float
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The distance between two opposite panels to which a third holds them, by its shoulders, mm."""

    panel: str
    distance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideFound:
    """One direction of one inside, on cut solids.

    Parameters
    ----------
    inside, axis
        Name of the inside; 0, 1 or 2.
    asked
        mm.
    face_to_face
        Distance between the stock faces of the cut solids at its two ends, mm.
    held
        By each panel that spans both with its shoulders; guests, which keep a relief, are left out.
    """

    inside: str
    axis: int
    asked: float
    face_to_face: float
    held: tuple[Held, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SolidProof:
    """What the solid kernel found.

    Parameters
    ----------
    volumes
        (panel, nominal volume, mm3).
    union
        Volume of the union of all slabs, mm3.
    pairs
        How many pairs of nominal panels were tried for common volume; the others are apart.
    shared
        Pairs of cut panels that share space, or should; empty without a cut set.
    insides
        Directions of insides that are closed at both ends; empty without a cut set.
    faults
        Empty when all holds.
    """

    volumes: tuple[tuple[str, float], ...]
    union: float
    pairs: int
    shared: tuple[Shared, ...]
    insides: tuple[InsideFound, ...]
    faults: tuple[SolidFault, ...]

    @property
    def passed(self) -> bool:
        """Whether every claim holds."""
        return not self.faults

    def require(self) -> SolidProof:
        """Return itself.

        Raises
        ------
        ProofFailed
            When there are faults; ``data['faults']`` holds them.
        """
        if self.passed:
            return self
        first = self.faults[0]
        raise ProofFailed(
            f"the solid proof found {len(self.faults)} faults; the first is {first.kind}",
            where=f"{', '.join(first.panels)}, {first.where}",
            value=f"{first.size:.9g} {first.unit}",
            faults=self.faults,
        )


def solid_proof(
    solution: Solution,
    as_cut: Mapping[str, Rings] | None = None,
    allowances: Mapping[str, Allowance] | None = None,
    progress: Progress | None = None,
) -> SolidProof:
    """Prove a solution on solids.

    Parameters
    ----------
    solution
        The nominal panels.
    as_cut
        By panel: the rings that the beam leaves, nm, in the panel's own axes. ``None`` proves the
        nominal solids only.
    allowances
        By panel: what its outlines were drawn to allow for. Needed with ``as_cut``.
    progress
        Called with (stage, done, total). Booleans take about 0.03 s a pair at 11 segments an edge
        and grow faster than the number of segments.

    Raises
    ------
    MissingExtra
        When the solid kernel is not installed; says how to get it.
    InputError
        When a panel has no outline or no allowance.
    ProofFailed
        When the kernel itself fails; a claim that does not hold is a fault of the result instead.
    """
    kernel.require_kernel("the solid proof")
    told = progress or _silent
    given = allowances or {}
    for panel in solution.panels if as_cut is not None else ():
        if panel.name not in (as_cut or {}) or panel.name not in given:
            raise InputError("no cut outline or no allowance for a panel", value=panel.name)
    faults: list[SolidFault] = []
    solids = _nominal_solids(solution, faults, told)
    extents = {name: kernel.extent(solid) for name, solid in solids.items()}
    _in_slabs(solution, extents, faults)
    pairs = _near(extents)
    for a, b in _counted("pairs of nominal panels", pairs, told):
        _apart(a, b, solids, faults)
    volumes = {name: kernel.volume(solid) for name, solid in solids.items()}
    union = _filled(solution, solids, volumes, faults, told)
    for block in _counted("insides", solution.arrangement.insides, told):
        _entered(block, solids, extents, faults)
    layers = _closed(solution, solids, extents, faults, told)
    shared: tuple[Shared, ...] = ()
    insides: tuple[InsideFound, ...] = ()
    if as_cut is not None:
        cut = {
            panel.name: kernel.panel_solid(panel, as_cut[panel.name])
            for panel in _counted("cut solids", solution.panels, told)
            if panel.name in solids
        }
        shared = tuple(_interference(solution, cut, given, faults, told))
        seats = _seats(solution, cut, given, faults, told)
        insides = tuple(_inside_sizes(solution, cut, layers, seats, faults))
    return SolidProof(
        volumes=tuple(volumes.items()),
        union=union,
        pairs=len(pairs),
        shared=shared,
        insides=insides,
        faults=tuple(faults),
    )


def _silent(stage: str, done: int, total: int) -> None:
    pass


def _counted(stage: str, items: Iterable[_T], told: Progress) -> Iterator[_T]:
    every = list(items)
    for i, item in enumerate(every):
        told(stage, i, len(every))
        yield item
    told(stage, len(every), len(every))


def _extent_of(box: Cuboid) -> Extent:
    lo, hi = box.lo, box.hi
    return Extent((lo[0] / _NM, lo[1] / _NM, lo[2] / _NM), (hi[0] / _NM, hi[1] / _NM, hi[2] / _NM))


def _worst(shape: Any) -> tuple[Extent, int]:
    """Extent of the largest solid in ``shape``, and how many there are."""
    found = kernel.pieces(shape)
    return kernel.extent(max(found, key=kernel.volume)), len(found)


def _space_fault(kind: Kind, panels: tuple[str, ...], shape: Any, note: str = "") -> SolidFault:
    """Make the fault of a space that should not be there; place it by its largest piece."""
    worst, count = _worst(shape)
    where = worst.text() + (f" and {count - 1} more places" if count > 1 else "")
    return SolidFault(
        kind=kind,
        panels=panels,
        where=f"{note}{where}",
        size=kernel.volume(shape),
        unit="mm3",
        extent=worst,
    )


def _nominal_solids(solution: Solution, faults: list[SolidFault], told: Progress) -> dict[str, Any]:
    solids = {}
    for panel in _counted("nominal solids", solution.panels, told):
        # the rings' own area is exact: it tells when the kernel misread an outline or a hole
        want = panel.rings.area / _NM**2 * panel.slab.thickness / _NM if len(panel.rings) else 0.0
        if want <= 0:
            faults.append(
                SolidFault(
                    kind="no solid",
                    panels=(panel.name,),
                    where="the area of its rings",
                    size=want,
                    unit="mm3",
                )
            )
            continue
        solid = kernel.panel_solid(panel, panel.rings)
        found = kernel.volume(solid)
        if abs(found - want) > VOLUME_MM3:
            faults.append(
                SolidFault(
                    kind="volume",
                    panels=(panel.name,),
                    where=f"{found:.9g} mm3 as a solid, {want:.9g} mm3 by its rings",
                    size=found - want,
                    unit="mm3",
                    extent=kernel.extent(solid),
                )
            )
        solids[panel.name] = solid
    return solids


def _in_slabs(solution: Solution, extents: Mapping[str, Extent], faults: list[SolidFault]) -> None:
    slabs = {slab.name: slab.box for slab in solution.arrangement.slabs}
    for name, found in extents.items():
        for k in range(3):
            lo, hi = (v / _NM for v in slabs[name].span(k))
            for side, excess in (("low", lo - found.lo[k]), ("high", found.hi[k] - hi)):
                if excess > 1e-9:  # below the rounding of a sum of two coordinates in mm
                    faults.append(
                        SolidFault(
                            kind="outside slab",
                            panels=(name,),
                            where=f"the {side} {'xyz'[k]} face of its slab",
                            size=excess,
                            unit="mm",
                            extent=found,
                        )
                    )


def _near(extents: Mapping[str, Extent]) -> list[tuple[str, str]]:
    """Pairs whose boxes overlap; all others are apart."""
    return [(a, b) for a, b in combinations(extents, 2) if extents[a].shares_volume(extents[b])]


def _apart(a: str, b: str, solids: Mapping[str, Any], faults: list[SolidFault]) -> None:
    common = kernel.boolean("common", solids[a], [solids[b]])
    if abs(kernel.volume(common)) > VOLUME_MM3:
        faults.append(_space_fault("overlap", (a, b), common))


def _filled(
    solution: Solution,
    solids: Mapping[str, Any],
    volumes: Mapping[str, float],
    faults: list[SolidFault],
    told: Progress,
) -> float:
    """Compare the sum of volumes with that of the slabs' union; find the voids if they differ."""
    spaces = [_extent_of(s.box) for s in solution.arrangement.slabs]
    slabs = [kernel.box_solid(e.lo, e.hi) for e in spaces]
    told("union of the slabs", 0, 1)
    space = kernel.boolean("fuse", slabs[0], slabs[1:]) if len(slabs) > 1 else slabs[0]
    union = kernel.volume(space)
    told("union of the slabs", 1, 1)
    missing = union - sum(volumes.values())
    # a fault found before may have hidden a void of the same size
    if not faults and abs(missing) <= VOLUME_MM3:
        return union
    told("voids", 0, 1)
    voids = kernel.boolean("cut", space, list(solids.values())) if solids else space
    for void in kernel.pieces(voids):
        if kernel.volume(void) > VOLUME_MM3:
            near = kernel.extent(void)
            names = tuple(
                s.name for s in solution.arrangement.slabs if near.shares_volume(_extent_of(s.box))
            )
            faults.append(_space_fault("void", names, void))
    told("voids", 1, 1)
    if not faults:
        faults.append(
            SolidFault(
                kind="volume",
                panels=tuple(solids),
                where="the sum of all panels against the union of all slabs",
                size=-missing,
                unit="mm3",
            )
        )
    return union


@dataclass(slots=True)
class _Layer:
    """The thin layer beyond one face of an inside, what fills it (mm3), and who closes the face."""

    block: InsideBlock
    axis: int
    sense: int
    solid: Any
    extent: Extent
    filled: float = 0.0
    closers: list[str] = field(default_factory=list)


def _layers(block: InsideBlock) -> Iterator[_Layer]:
    for axis in range(3):
        for sense in (-1, 1):
            if (axis, sense) in block.open:
                continue
            lo, hi = [v / _NM for v in block.box.lo], [v / _NM for v in block.box.hi]
            if sense > 0:
                lo[axis], hi[axis] = hi[axis], hi[axis] + LAYER_MM
            else:
                lo[axis], hi[axis] = lo[axis] - LAYER_MM, lo[axis]
            yield _Layer(
                block=block,
                axis=axis,
                sense=sense,
                solid=kernel.box_solid(lo, hi),
                extent=Extent((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2])),
            )


def _entered(
    block: InsideBlock,
    solids: Mapping[str, Any],
    extents: Mapping[str, Extent],
    faults: list[SolidFault],
) -> None:
    """Check that no panel stands in an inside."""
    space = _extent_of(block.box)
    for name in [n for n, other in extents.items() if space.shares_volume(other)]:
        common = kernel.boolean("common", kernel.box_solid(space.lo, space.hi), [solids[name]])
        if abs(kernel.volume(common)) > VOLUME_MM3:
            faults.append(_space_fault("inside entered", (name,), common, f"{block.name}, "))


def _closed(
    solution: Solution,
    solids: Mapping[str, Any],
    extents: Mapping[str, Extent],
    faults: list[SolidFault],
    told: Progress,
) -> list[_Layer]:
    """Check that every face of an inside that is not open is closed, and say by whom."""
    layers = [layer for block in solution.arrangement.insides for layer in _layers(block)]
    normals = {slab.name: slab.normal for slab in solution.arrangement.slabs}
    # one boolean a panel, with all layers that it may fill: their number grows with the dividers'
    for name in _counted("faces of the insides", list(extents), told):
        near = [layer for layer in layers if layer.extent.shares_volume(extents[name])]
        if not near:
            continue
        for piece in kernel.pieces(
            kernel.boolean("common", solids[name], [layer.solid for layer in near])
        ):
            middle, part = kernel.extent(piece).middle, kernel.volume(piece)
            for layer in near:
                if layer.extent.holds(middle):
                    layer.filled += part
                    if normals[name] == layer.axis and name not in layer.closers:
                        layer.closers.append(name)
    for layer in layers:
        # the layer's own volume, as the kernel sees it: a thickness of 1e-3 mm is rounded at 300 mm
        missing = kernel.volume(layer.solid) - layer.filled
        if missing > VOLUME_MM3:
            near_solids = [solids[n] for n, e in extents.items() if e.shares_volume(layer.extent)]
            gap = kernel.boolean("cut", layer.solid, near_solids) if near_solids else layer.solid
            worst, count = _worst(gap) if kernel.pieces(gap) else (layer.extent, 1)
            faults.append(
                SolidFault(
                    kind="inside not closed",
                    panels=tuple(layer.closers),
                    where=f"{layer.block.name}, {'low' if layer.sense < 0 else 'high'} "
                    f"{'xyz'[layer.axis]} face, {worst.text()}"
                    + (f" and {count - 1} more places" if count > 1 else ""),
                    size=missing / LAYER_MM,
                    unit="mm2",
                    extent=worst,
                )
            )
    return layers


def _interference(
    solution: Solution,
    cut: Mapping[str, Any],
    allowances: Mapping[str, Allowance],
    faults: list[SolidFault],
    told: Progress,
) -> Iterator[Shared]:
    outlines = {
        p.name: predicted_outline(p.rings, allowances[p.name])
        for p in solution.panels
        if p.name in cut
    }
    for panel in solution.panels:
        if panel.name in cut:
            _cut_volume(panel, cut[panel.name], outlines[panel.name], faults)
    joints = {}
    for joint in solution.joints:
        mates = solution.panels[joint.a], solution.panels[joint.b]
        names = mates[0].name, mates[1].name
        if names[0] in cut and names[1] in cut:
            joints[names] = predict(joint, mates, (outlines[names[0]], outlines[names[1]]))
    near = _near({name: kernel.extent(solid) for name, solid in cut.items()})
    pairs = list(dict.fromkeys([*joints, *near]))
    for a, b in _counted("pairs of cut panels", pairs, told):
        want = joints.get((a, b)) or joints.get((b, a))
        predicted, tolerance = (want.volume, want.tolerance) if want else (0.0, VOLUME_MM3)
        common = kernel.boolean("common", cut[a], [cut[b]])
        found = kernel.volume(common)
        if want or found:
            yield Shared(panels=(a, b), predicted=predicted, found=found, tolerance=tolerance)
        if abs(found - predicted) > tolerance:
            where = kernel.extent(common) if kernel.pieces(common) else None
            faults.append(
                SolidFault(
                    kind="interference",
                    panels=(a, b),
                    where=f"{where.text() if where else 'nowhere'}; predicted {predicted:.9g} mm3, "
                    f"found {found:.9g} mm3",
                    size=found - predicted,
                    unit="mm3",
                    extent=where,
                )
            )


def _cut_volume(
    panel: Panel, solid: Any, outline: Sequence[NDArray[np.float64]], faults: list[SolidFault]
) -> None:
    """Hold a cut panel's volume against the outline that the clearances ask for."""
    thickness = panel.slab.thickness / _NM
    want = sum(area_mm2(ring) for ring in outline) * thickness
    found = kernel.volume(solid)
    # every side may be off by its rounding
    if abs(found - want) > SIDE_MM * panel.rings.perimeter / _NM * thickness + VOLUME_MM3:
        faults.append(
            SolidFault(
                kind="volume",
                panels=(panel.name,),
                where=f"{found:.9g} mm3 as cut, {want:.9g} mm3 by its clearances",
                size=found - want,
                unit="mm3",
                extent=kernel.extent(solid),
            )
        )


#: Where a panel's shoulders towards a mate lie, as (least, greatest) world coordinate, mm, by
#: (panel, mate, sense in which the shoulders face).
_SeatsFound = dict[tuple[str, str, int], tuple[float, float]]


def _seats(
    solution: Solution,
    cut: Mapping[str, Any],
    allowances: Mapping[str, Allowance],
    faults: list[SolidFault],
    told: Progress,
) -> _SeatsFound:
    """Measure where the shoulders of cut panels lie, by lines through the middle of each slot."""
    found: _SeatsFound = {}
    for panel in _counted("shoulders", solution.panels, told):
        if panel.name not in cut:
            continue
        rings, frame = panel.rings, panel.frame
        along_x, sign = rings.direction()
        lo, hi = panel.slab.box.span(panel.slab.normal)
        for k in (0, 1):
            axis = frame.axes[k]
            picked = np.flatnonzero((rings.role == Role.SHOULDER) & (along_x == (k == 0)))
            middles = (rings.xy[picked] + rings.ends[picked]) // 2
            world = [w / _NM for w in frame.to_world(middles)]
            points = np.empty((len(picked), 3))
            points[:, panel.slab.normal] = (lo + hi) / 2 / _NM
            points[:, frame.axes[0]], points[:, frame.axes[1]] = world
            hits = kernel.crossings(cut[panel.name], axis, points.tolist())
            for i, point, at in zip(picked.tolist(), points.tolist(), hits, strict=True):
                joint = solution.joints[int(rings.joint[i])]
                mate = solution.panels[
                    joint.b if solution.panels[joint.a].name == panel.name else joint.a
                ]
                sense = int(sign[i]) * frame.senses[k]
                off = outward_mm(Role.SHOULDER, joint.index, allowances[panel.name])
                face = mate.slab.box.span(axis)[0 if sense > 0 else 1] / _NM
                want = face + sense * off
                # a cut edge anywhere else than at the shoulder belongs to something further off
                got = min(at, key=lambda v: abs(v - want)) if at else float("inf")
                if abs(got - want) > SIDE_MM:
                    place = ", ".join(f"{'xyz'[q]} {point[q]:.6f}" for q in range(3) if q != axis)
                    faults.append(
                        SolidFault(
                            kind="seat",
                            panels=(panel.name, mate.name),
                            where=f"shoulder at {place}, {'xyz'[axis]} {got:.6f} where "
                            f"{want:.6f} was wanted",
                            size=(got - want) * sense,
                            unit="mm",
                        )
                    )
                key = (panel.name, mate.name, sense)
                least, greatest = found.get(key, (got, got))
                found[key] = (min(least, got), max(greatest, got))
    return found


def _inside_sizes(
    solution: Solution,
    cut: Mapping[str, Any],
    layers: Sequence[_Layer],
    seats: _SeatsFound,
    faults: list[SolidFault],
) -> Iterator[InsideFound]:
    """Measure each inside face to face where panels close both ends."""
    guests = {slab.name for slab in solution.arrangement.slabs if slab.guest}
    extents = {name: kernel.extent(solid) for name, solid in cut.items()}
    closers = {(la.block.name, la.axis, la.sense): la.closers for la in layers}
    for block in solution.arrangement.insides:
        for axis in range(3):
            ends = [closers.get((block.name, axis, sense), []) for sense in (-1, 1)]
            if not ends[0] or not ends[1]:
                continue  # open, or already a fault
            asked = block.box.size[axis] / _NM
            # a panel is a prism along its normal, so its extent there lies in its stock faces
            low_face = max(extents[name].hi[axis] for name in ends[0])
            high_face = min(extents[name].lo[axis] for name in ends[1])
            apart = high_face - low_face
            held = []
            for panel in cut:
                if panel in guests:
                    continue
                low = [seats[panel, m, -1][0] for m in ends[0] if (panel, m, -1) in seats]
                high = [seats[panel, m, 1][1] for m in ends[1] if (panel, m, 1) in seats]
                if low and high:
                    held.append(Held(panel=panel, distance=max(high) - min(low)))
            yield InsideFound(
                inside=block.name,
                axis=axis,
                asked=asked,
                face_to_face=apart,
                held=tuple(held),
            )
            for names, found in [
                ((*ends[0], *ends[1]), apart),
                *(((h.panel,), h.distance) for h in held),
            ]:
                if abs(found - asked) > 2 * SIDE_MM:
                    faults.append(
                        SolidFault(
                            kind="inside size",
                            panels=names,
                            where=f"{block.name} along {'xyz'[axis]}, {found:.6f} mm where "
                            f"{asked:.6f} mm was asked",
                            size=found - asked,
                            unit="mm",
                        )
                    )

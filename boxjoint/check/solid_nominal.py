"""Claims 1 to 5 of the solid proof: nominal solids share out their slabs and free the inside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from boxjoint.check import kernel
from boxjoint.check.crop import Croppable, common
from boxjoint.check.kernel import Extent
from boxjoint.check.solid_facts import (
    LAYER_MM,
    VOLUME_MM3,
    Progress,
    SolidFault,
    counted,
    extent_of,
    space_fault,
    worst_piece,
)
from boxjoint.solve.arrangement import InsideBlock
from boxjoint.solve.solution import Solution

__all__ = ["apart", "closed", "entered", "filled", "in_slabs", "nominal_solids"]

_NM = 1e6


def nominal_solids(solution: Solution, faults: list[SolidFault], told: Progress) -> dict[str, Any]:
    """Make the solid of every panel that is one; the others, and wrong volumes, are faults."""
    solids = {}
    for panel in counted("nominal solids", solution.panels, told):
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


def in_slabs(solution: Solution, extents: Mapping[str, Extent], faults: list[SolidFault]) -> None:
    """Check that every panel lies inside its slab."""
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


def apart(one: Croppable, other: Croppable, faults: list[SolidFault]) -> None:
    """Check that two panels share no volume."""
    both = common(one, other)
    if abs(kernel.volume(both)) > VOLUME_MM3:
        faults.append(space_fault("overlap", (one.panel.name, other.panel.name), both))


def filled(
    solution: Solution,
    solids: Mapping[str, Any],
    volumes: Mapping[str, float],
    faults: list[SolidFault],
    told: Progress,
) -> float:
    """Compare the sum of volumes with that of the slabs' union; find the voids if they differ."""
    spaces = [extent_of(s.box) for s in solution.arrangement.slabs]
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
                s.name for s in solution.arrangement.slabs if near.shares_volume(extent_of(s.box))
            )
            faults.append(space_fault("void", names, void))
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
            for k in (k for k in range(3) if k != axis):  # loose panels end short of the edges
                lo[k], hi[k] = lo[k] + block.gap / _NM, hi[k] - block.gap / _NM
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


def entered(
    block: InsideBlock,
    solids: Mapping[str, Any],
    extents: Mapping[str, Extent],
    faults: list[SolidFault],
) -> None:
    """Check that no panel but its guests stands in an inside."""
    space = extent_of(block.box)
    others = [n for n, e in extents.items() if n not in block.guests and space.shares_volume(e)]
    for name in others:
        within = kernel.boolean("common", kernel.box_solid(space.lo, space.hi), [solids[name]])
        if abs(kernel.volume(within)) > VOLUME_MM3:
            faults.append(space_fault("inside entered", (name,), within, f"{block.name}, "))


def closed(
    solution: Solution,
    solids: Mapping[str, Any],
    extents: Mapping[str, Extent],
    faults: list[SolidFault],
    told: Progress,
) -> dict[tuple[str, int, int], list[str]]:
    """Check that every face of an inside that is not open is closed.

    Returns
    -------
    By (inside, axis, sense): the panels that close that face with their stock face.
    """
    layers = [layer for block in solution.arrangement.insides for layer in _layers(block)]
    normals = {slab.name: slab.normal for slab in solution.arrangement.slabs}
    # one boolean a panel, with all layers that it may fill: their number grows with the dividers'
    for name in counted("faces of the insides", list(extents), told):
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
            worst, count = worst_piece(gap) if kernel.pieces(gap) else (layer.extent, 1)
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
    return {(la.block.name, la.axis, la.sense): la.closers for la in layers}

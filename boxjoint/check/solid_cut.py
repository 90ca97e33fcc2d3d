"""Claims 6 to 8 of the solid proof: cut solids share what the clearances say, seated, inside held."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from boxjoint.check import kernel
from boxjoint.check.crop import Croppable, common
from boxjoint.check.interference import (
    SIDE_MM,
    area_mm2,
    outward_mm,
    predict,
    predicted_outline,
)
from boxjoint.check.solid_facts import (
    VOLUME_MM3,
    Held,
    InsideFound,
    Progress,
    Shared,
    SolidFault,
    counted,
    near_pairs,
)
from boxjoint.fit.compensate import Allowance
from boxjoint.geometry.rings import Role
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

__all__ = ["Closers", "SeatsFound", "inside_sizes", "interference", "seats"]

_NM = 1e6


Closers = Mapping[tuple[str, int, int], Sequence[str]]
"""Which panels close a face of an inside: by (inside, axis, sense)."""


def interference(
    solution: Solution,
    cut: Mapping[str, Croppable],
    allowances: Mapping[str, Allowance],
    faults: list[SolidFault],
    told: Progress,
) -> Iterator[Shared]:
    """Hold volumes of cut panels, and what pairs share, against the clearances."""
    outlines = {
        p.name: predicted_outline(p.rings, allowances[p.name])
        for p in solution.panels
        if p.name in cut
    }
    for panel in solution.panels:
        if panel.name in cut:
            _cut_volume(panel, cut[panel.name].solid, outlines[panel.name], faults)
    joints = {}
    for joint in solution.joints:
        mates = solution.panels[joint.a], solution.panels[joint.b]
        names = mates[0].name, mates[1].name
        if names[0] in cut and names[1] in cut:
            joints[names] = predict(joint, mates, (outlines[names[0]], outlines[names[1]]))
    near = near_pairs({name: part.extent for name, part in cut.items()})
    pairs = list(dict.fromkeys([*joints, *near]))
    for a, b in counted("pairs of cut panels", pairs, told):
        want = joints.get((a, b)) or joints.get((b, a))
        predicted, tolerance = (want.volume, want.tolerance) if want else (0.0, VOLUME_MM3)
        both = common(cut[a], cut[b])
        found = kernel.volume(both)
        if want or found:
            yield Shared(panels=(a, b), predicted=predicted, found=found, tolerance=tolerance)
        if abs(found - predicted) > tolerance:
            where = kernel.extent(both) if kernel.pieces(both) else None
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
SeatsFound = dict[tuple[str, str, int], tuple[float, float]]


def seats(
    solution: Solution,
    cut: Mapping[str, Any],
    allowances: Mapping[str, Allowance],
    faults: list[SolidFault],
    told: Progress,
) -> SeatsFound:
    """Measure where the shoulders of cut panels lie, by lines through the middle of each slot."""
    found: SeatsFound = {}
    for panel in counted("shoulders", solution.panels, told):
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


def inside_sizes(
    solution: Solution,
    cut: Mapping[str, Any],
    closers: Closers,
    seats: SeatsFound,
    faults: list[SolidFault],
) -> Iterator[InsideFound]:
    """Measure each inside face to face where panels close both ends."""
    guests = {slab.name for slab in solution.arrangement.slabs if slab.guest}
    extents = {name: kernel.extent(solid) for name, solid in cut.items()}
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

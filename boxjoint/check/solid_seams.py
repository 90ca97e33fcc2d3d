"""Claim 9 of the solid proof: the pieces of a divided panel, nominal and as cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from typing import Any, Literal

import numpy as np

from boxjoint.check import kernel
from boxjoint.check.interference import SIDE_MM, area_mm2, predicted_outline
from boxjoint.check.solid_facts import VOLUME_MM3, SolidFault
from boxjoint.fit.compensate import Allowance
from boxjoint.geometry.rings import Rings, Role
from boxjoint.solve.seams import Divided

__all__ = ["seam_pieces"]

_NM = 1e6


def seam_pieces(
    divided: Divided,
    as_cut: Sequence[Rings],
    solids: Mapping[str, Any],
    allowance: Allowance,
    faults: list[SolidFault],
) -> None:
    """Hold the pieces of one panel against the panel, and against what their clearances predict.

    Parameters
    ----------
    as_cut
        Rings of the pieces, in their own axes, nm.
    solids
        Nominal solids of whole panels, by name.
    """
    panel = divided.panel
    if panel.name not in solids:
        return
    nominal = [kernel.panel_solid(p, p.rings) for p in divided.pieces]
    whole = kernel.volume(solids[panel.name])
    total = sum(map(kernel.volume, nominal))
    _hold(panel.name, "volume", "pieces together", total, whole, VOLUME_MM3, faults)
    beyond = kernel.volume(kernel.boolean("cut", solids[panel.name], nominal))
    _hold(panel.name, "volume", "left by its pieces", beyond, 0.0, VOLUME_MM3, faults)
    thickness = panel.slab.thickness / _NM
    cut = [kernel.panel_solid(p, r) for p, r in zip(divided.pieces, as_cut, strict=True)]
    for piece, solid in zip(divided.pieces, cut, strict=True):
        outline = predicted_outline(piece.rings, allowance)
        want = sum(area_mm2(ring) for ring in outline) * thickness
        allowed = SIDE_MM * piece.rings.perimeter / _NM * thickness + VOLUME_MM3
        _hold(piece.name, "volume", "as cut", kernel.volume(solid), want, allowed, faults)
    for i, j in combinations(range(len(cut)), 2):
        names = f"{divided.pieces[i].name} and {divided.pieces[j].name}"
        near = kernel.volume(kernel.boolean("common", nominal[i], [nominal[j]]))
        _hold(names, "overlap", "nominal", near, 0.0, VOLUME_MM3, faults)
        want = _shared(divided, i, allowance) * thickness if j == i + 1 else 0.0
        found = kernel.volume(kernel.boolean("common", cut[i], [cut[j]]))
        edge = SIDE_MM * panel.rings.perimeter / _NM * thickness + VOLUME_MM3
        _hold(names, "interference", "as cut", found, want, edge, faults)


def _shared(divided: Divided, left: int, allowance: Allowance) -> float:
    """Area that a piece shares with the next one by its interference, mm2."""
    rings = divided.pieces[left].rings
    joint = divided.joints[left]
    flank = (rings.role == Role.FLANK) & (rings.joint == joint)
    deep = max(-allowance.clearance[joint] / 2, 0.0)  # at one flank
    # tip and bottom stand back at either end of every flank
    length = np.abs(rings.ends - rings.xy).sum(axis=1)[flank] / _NM - allowance.seam_relief
    return float(length.sum()) * deep


def _hold(
    name: str,
    kind: Literal["volume", "overlap", "interference"],
    what: str,
    found: float,
    want: float,
    allowed: float,
    faults: list[SolidFault],
) -> None:
    if abs(found - want) > allowed:
        faults.append(
            SolidFault(
                kind=kind,
                panels=(name,),
                where=f"seam, {what}: {found:.9g} mm3 where {want:.9g} mm3 was wanted",
                size=found - want,
                unit="mm3",
            )
        )

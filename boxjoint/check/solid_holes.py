"""Claim 9 of the solid proof: every hole goes through its panel, and takes nothing but its own area.

The other claims are made on solids without cut-outs, which are clear of every joint. Here the holes are
cut into the panels as cut: what is lost must be the sum of the holes' areas times the thickness, so
that each lies wholly in material and none in another; the panel must stay one piece, as large as before.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from boxjoint.check import kernel
from boxjoint.check.solid_facts import VOLUME_MM3, SolidFault
from boxjoint.geometry.holes import Hole
from boxjoint.geometry.rings import Rings
from boxjoint.solve.solution import Solution

__all__ = ["pierced_faults"]

_NM = 1e6
#: A notch's mouth may be a rounding off its rim: 2 nm of its width.
_SIDE_MM = 2e-6


def pierced_faults(
    solution: Solution, as_cut: Mapping[str, Rings], holes: Mapping[str, Sequence[Hole]]
) -> tuple[SolidFault, ...]:
    """Cut the holes into the solids as cut and hold what is lost against their areas.

    Parameters
    ----------
    as_cut
        By panel: rings as cut, nm.
    holes
        By panel: its holes as cut, nm.

    Raises
    ------
    ProofFailed
        When the kernel itself fails.
    """
    faults = []
    for panel in solution.panels:
        own = holes.get(panel.name, ())
        if not own:
            continue
        whole = kernel.panel_solid(panel, as_cut[panel.name])
        left = kernel.pierced(panel, whole, own)
        thick = panel.slab.thickness / _NM
        want = sum(h.area for h in own) / _NM**2 * thick
        found = kernel.volume(whole) - kernel.volume(left)
        slack = sum(max(h.size) for h in own) / _NM * _SIDE_MM * thick
        before, after = kernel.extent(whole), kernel.extent(left)
        off = max(
            abs(a - b)
            for a, b in zip((*before.lo, *before.hi), (*after.lo, *after.hi), strict=True)
        )
        pieces = len(kernel.pieces(left))
        if abs(found - want) > VOLUME_MM3 + slack + 1e-9 * want or off > _SIDE_MM or pieces != 1:
            faults.append(
                SolidFault(
                    kind="volume",
                    panels=(panel.name,),
                    where=f"its {len(own)} cut-outs take {found:.9g} mm3, {want:.9g} mm3 by their "
                    f"areas; {pieces} pieces, {off:.6f} mm smaller",
                    size=found - want,
                    unit="mm3",
                    extent=after,
                )
            )
    return tuple(faults)

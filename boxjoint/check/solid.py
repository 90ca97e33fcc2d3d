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
   panel that spans it;
9. every cut-out takes its own area times the thickness and nothing else
   (``boxjoint.check.solid_holes``, after the others);
10. the pieces of a panel that a seam divides are together the panel, share nothing, and as cut have the
    volume and share the volume that the clearances predict.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from boxjoint.check import kernel
from boxjoint.check.crop import Croppable
from boxjoint.check.solid_cut import inside_sizes, interference, seats
from boxjoint.check.solid_facts import (
    Held,
    InsideFound,
    Progress,
    Shared,
    SolidFault,
    SolidProof,
    counted,
    near_pairs,
)
from boxjoint.check.solid_nominal import apart, closed, entered, filled, in_slabs, nominal_solids
from boxjoint.check.solid_seams import seam_pieces
from boxjoint.errors import InputError
from boxjoint.fit.compensate import Allowance
from boxjoint.geometry.rings import Rings
from boxjoint.solve.seams import Divided
from boxjoint.solve.solution import Solution

__all__ = ["Held", "InsideFound", "Shared", "SolidFault", "SolidProof", "solid_proof"]


def solid_proof(
    solution: Solution,
    as_cut: Mapping[str, Rings] | None = None,
    allowances: Mapping[str, Allowance] | None = None,
    progress: Progress | None = None,
    *,
    divided: Sequence[tuple[Divided, Sequence[Rings]]] = (),
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
    divided
        Panels that seams divide, each with its pieces as cut, in their own axes.
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
    solids = nominal_solids(solution, faults, told)
    extents = {name: kernel.extent(solid) for name, solid in solids.items()}
    in_slabs(solution, extents, faults)
    pairs = near_pairs(extents)
    whole = {
        p.name: Croppable.of(p, p.rings, solids[p.name])
        for p in solution.panels
        if p.name in solids
    }
    for a, b in counted("pairs of nominal panels", pairs, told):
        apart(whole[a], whole[b], faults)
    volumes = {name: kernel.volume(solid) for name, solid in solids.items()}
    union = filled(solution, solids, volumes, faults, told)
    for block in counted("insides", solution.arrangement.insides, told):
        entered(block, solids, extents, faults)
    closers = closed(solution, solids, extents, faults, told)
    shared: tuple[Shared, ...] = ()
    insides: tuple[InsideFound, ...] = ()
    if as_cut is not None:
        cut = {
            panel.name: kernel.panel_solid(panel, as_cut[panel.name])
            for panel in counted("cut solids", solution.panels, told)
            if panel.name in solids
        }
        parts = {
            p.name: Croppable.of(p, as_cut[p.name], cut[p.name])
            for p in solution.panels
            if p.name in cut
        }
        shared = tuple(interference(solution, parts, given, faults, told))
        seated = seats(solution, cut, given, faults, told)
        insides = tuple(inside_sizes(solution, cut, closers, seated, faults))
        for seam, pieces in counted("seams", divided, told):
            seam_pieces(seam, pieces, solids, given[seam.panel.name], faults)
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

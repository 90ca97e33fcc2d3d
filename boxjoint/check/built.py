"""Everything that was made for one job and everything that was found about it, in one record."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from boxjoint.check.as_cut import InsideAsCut, JointAsCut, SheetAsCut, Web
from boxjoint.check.assembly import Assembly
from boxjoint.check.compartments import CompartmentAsCut
from boxjoint.check.exact import ExactProof
from boxjoint.errors import ProofFailed
from boxjoint.fit.compensate import Beam, Drawn
from boxjoint.fit.controller import OneKerf, one_kerf
from boxjoint.fit.plan import Plan
from boxjoint.fit.relief import Relieved
from boxjoint.geometry.rings import Rings
from boxjoint.job.figures import Figure
from boxjoint.job.records import Job, Source
from boxjoint.solve.clearances import clearance_figures
from boxjoint.solve.guests import loose_clearance
from boxjoint.solve.inside import find_inside
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

if TYPE_CHECKING:  # loaded only where the solid proof is run
    from boxjoint.check.cutouts import CutHole
    from boxjoint.check.seams import SeamAsCut
    from boxjoint.check.solid import SolidProof
    from boxjoint.check.turning import Turn
    from boxjoint.fit.marks import PlacedMark
    from boxjoint.solve.seams import Divided

__all__ = ["Built", "Part"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One panel from nominal to cut.

    Parameters
    ----------
    panel
        Nominal.
    drawn
        Outlines to draw, without reliefs.
    relieved
        The same with reliefs at inside corners: what is written to files.
    as_cut
        What the beam leaves of ``drawn``, in the panel's own axes, nm. Where a controller offsets by
        one kerf and the machine has two, it is what really comes out.
    web, neck
        The least of each on the part as cut; ``None`` where there is none.
    holes
        Cut-outs, beside the rings: none of them is in ``drawn``, ``relieved`` or ``as_cut``.
    marks
        What is scored and engraved on its faces.
    pieces
        What is cut instead, where a seam divides the panel; the rest of this record is then the whole,
        as glued together. Each piece has a slab and a frame of its own for its place in the box.
    divided
        The seams, where there are any.
    of
        Of a piece the panel's name; ``""`` for a whole one.
    """

    panel: Panel
    drawn: Drawn
    relieved: Relieved
    as_cut: Rings
    web: Web | None = None
    neck: Web | None = None
    holes: tuple[CutHole, ...] = ()
    marks: tuple[PlacedMark, ...] = ()
    pieces: tuple[Part, ...] = ()
    divided: Divided | None = None
    of: str = ""

    @property
    def cut(self) -> tuple[Part, ...]:
        """What is really cut: the pieces where there are any, else the part itself."""
        return self.pieces or (self,)

    @property
    def home(self) -> str:
        """The name of the panel, of a piece too: what a job speaks of."""
        return self.of or self.panel.name

    @property
    def cut_length_mm(self) -> float:
        """Length of all drawn sides and cut-outs, mm, reliefs not counted."""
        return self.drawn.rings.perimeter / 1e6 + sum(h.drawn.further_mm for h in self.holes)

    @property
    def area_nm2(self) -> float:
        """Nominal area, cut-outs taken off, nm2."""
        return self.panel.rings.area - sum(h.placed.hole.area for h in self.holes)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """The whole result for one job.

    Parameters
    ----------
    beam
        The beam that the outlines were drawn for; its kerf is 0 where the controller offsets.
    kerf_by_controller
        Whether the outlines leave the kerf to the controller.
    seat_gap_mm
        How far a mate's sharp corner may stand off its shoulder on the fillet of a round beam.
    assembly
        How the panels go together, or which of them lock.
    turn
        How a hinged lid turns.
    faults
        What a proof found wrong on the parts as cut; empty when all hold.
    solid
        The solid proof, where it was run.
    warnings
        What the maker should look at; nothing here was refused.
    kept
        Axes along which the counts of segments were kept from an earlier box, not asked for.
    """

    job: Job
    solution: Solution
    plan: Plan
    beam: Beam
    kerf_by_controller: bool
    parts: tuple[Part, ...]
    exact: ExactProof
    joints: tuple[JointAsCut, ...]
    sheets: tuple[SheetAsCut, ...]
    insides: tuple[InsideAsCut, ...]
    seat_gap_mm: float
    assembly: Assembly
    turn: Turn | None = None
    compartments: tuple[CompartmentAsCut, ...] = ()
    seams: tuple[SeamAsCut, ...] = ()
    faults: tuple[str, ...] = ()
    solid: SolidProof | None = None
    warnings: tuple[str, ...] = field(default=())
    kept: frozenset[int] = frozenset()

    @property
    def one_kerf(self) -> OneKerf | None:
        """What the controller does where it offsets by one kerf and the machine has two."""
        return one_kerf(self.plan) if self.kerf_by_controller else None

    @property
    def cut_parts(self) -> tuple[Part, ...]:
        """Everything that is cut, pieces instead of the panels that seams divide."""
        return tuple(c for p in self.parts for c in p.cut)

    @property
    def passed(self) -> bool:
        """Whether every proof holds."""
        solid = self.solid is None or self.solid.passed
        return self.exact.passed and not self.faults and self.assembly.passed and solid

    def require(self) -> None:
        """Raise :class:`ProofFailed` unless every proof holds, ``ArrangementError`` for what locks."""
        self.exact.require()
        self.assembly.require()
        if self.faults:
            raise ProofFailed(
                "a proof on the parts as cut failed",
                value="; ".join(self.faults[:5]),
                faults=self.faults,
            )
        if self.solid is not None:
            self.solid.require()

    @property
    def figures(self) -> dict[str, Figure]:
        """What matters here of the plan's figures, and the clearances around lids and drawers."""
        solution = self.solution
        used = {
            "proud": False,
            "shoulder_relief": any(p.panel.slab.guest for p in self.parts),
            "floor_relief": any(j.kind == "halflap" for j in solution.joints),
            "seam_relief": any(p.pieces for p in self.parts),
            "sheet_clearance": bool(self.sheets),
            "web": any(p.web or p.holes for p in self.parts),
            "corner_relief": self.plan.corner_relief.value > 0,
        }
        found = {
            name: figure
            for name, figure in self.plan.figures.items()
            if figure.source is not Source.ASSUMED or used.get(name, True)
        }
        if self.job.dividers.fixing == "loose" and self.job.dividers.names:
            asked = self.job.dividers.clearance is not None
            found["divider_clearance"] = Figure(
                value=loose_clearance(self.job) / 1e6,
                source=Source.ASKED if asked else Source.ASSUMED,
                note="wall to wall minus loose divider, both ends together",
            )
        if self.job.cuts_out:
            from boxjoint.fit.cutouts import cutout_figures

            found |= cutout_figures(self.job)
        return found | clearance_figures(self.job)

    def inside_along(self, axis: int) -> InsideAsCut | None:
        """The inside that was asked for, along an axis: of equal ones the first that panels hold."""
        asked = find_inside(self.job).along[axis].nm
        first = [r for r in self.insides if r.axis == axis and r.block == "inside"]
        alike = [r for r in self.insides if r.axis == axis and r.asked == asked]
        return next((r for r in (*first, *alike) if r.by_panel), next(iter(first), None))

    def part(self, name: str) -> Part:
        """The named part."""
        return next(p for p in self.parts if p.panel.name == name)

"""Everything that was made for one job and everything that was found about it, in one record."""

from __future__ import annotations

from dataclasses import dataclass, field

from boxjoint.check.as_cut import InsideAsCut, JointAsCut, SheetAsCut, Web
from boxjoint.check.exact import ExactProof
from boxjoint.errors import ProofFailed
from boxjoint.fit.compensate import Beam, Drawn
from boxjoint.fit.plan import Plan
from boxjoint.fit.relief import Relieved
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import Job
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

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
        What the beam leaves of ``drawn``, in the panel's own axes, nm.
    web, neck
        The least of each on the part as cut; ``None`` where there is none.
    """

    panel: Panel
    drawn: Drawn
    relieved: Relieved
    as_cut: Rings
    web: Web | None = None
    neck: Web | None = None

    @property
    def cut_length_mm(self) -> float:
        """Length of all drawn sides, mm, reliefs not counted."""
        return self.drawn.rings.perimeter / 1e6


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
    faults
        What a proof found wrong on the parts as cut; empty when all hold.
    warnings
        What the maker should look at; nothing here was refused.
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
    faults: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())

    @property
    def passed(self) -> bool:
        """Whether every proof holds."""
        return self.exact.passed and not self.faults

    def require(self) -> None:
        """Raise :class:`ProofFailed` unless every proof holds."""
        self.exact.require()
        if self.faults:
            raise ProofFailed(
                "a proof on the parts as cut failed",
                value="; ".join(self.faults[:5]),
                faults=self.faults,
            )

    def part(self, name: str) -> Part:
        """The named part."""
        return next(p for p in self.parts if p.panel.name == name)

"""How large an inside may really be: what panels hold of it, and what the parts may do on their seats.

What panels hold from shoulder to shoulder is one thing, by the kerf and the scale as they are believed to
be. These are known to some +- only; a round beam's fillets keep walls off their shoulders, and a raised
base stands somewhere in its slots, at some thickness. Each of these is an entry of a budget, with what
it is, so that nobody has to take the range on trust.
"""

from __future__ import annotations

from dataclasses import dataclass

from boxjoint.check.as_cut import InsideAsCut
from boxjoint.check.built import Built
from boxjoint.check.compartments import CompartmentAsCut
from boxjoint.job.figures import COVERAGE
from boxjoint.job.records import Source
from boxjoint.solve.panels import Frame
from boxjoint.units import small_size

__all__ = ["BudgetEntry", "InsideRange", "inside_range"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetEntry:
    """One thing that an inside depends on: by how much it may change it, nm, and what that is."""

    what: str
    least: int
    greatest: int
    source: Source
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideRange:
    """From the least to the greatest that an inside may be, nm, and what that is made of.

    The entry of kerf and scale covers 95 %; the others are limits. ``held_least`` and ``held_greatest`` are what panels hold by themselves, the entries come on top.
    """

    held_least: int
    held_greatest: int
    budget: tuple[BudgetEntry, ...]

    @property
    def least(self) -> int:
        """The least that it may be, nm."""
        return self.held_least + sum(e.least for e in self.budget)

    @property
    def greatest(self) -> int:
        """The greatest that it may be, nm."""
        return self.held_greatest + sum(e.greatest for e in self.budget)


def inside_range(built: Built, row: InsideAsCut, raised: CompartmentAsCut | None) -> InsideRange:
    """Say what an inside may be along one axis.

    Parameters
    ----------
    row
        What panels hold of it; ``by_panel`` is not empty.
    raised
        The same axis where the slots of one panel place an end, as those for a raised base do.

    Returns
    -------
    The range; entries that cannot play a part are in the budget with 0, and say why.
    """
    block = next((b for b in built.solution.arrangement.insides if b.name == row.block), None)
    is_open = 0 if block is None else sum(axis == row.axis for axis, _ in block.open)
    ends = 2 - is_open - (0 if raised is None else 1)
    gap = ends * round(built.seat_gap_mm * 1e6)
    kerf = built.plan.kerf_x if built.plan.tool is None else built.plan.tool
    radius = "half the kerf" if built.plan.tool is None else "the tool's radius"
    seat = BudgetEntry(
        what="seat gap",
        least=0,
        greatest=gap,
        source=Source.COMPUTED,
        note=f"{ends} end{'s' if ends > 1 else ''} of {small_size(built.seat_gap_mm, built.job.unit)}, on fillets of {radius} ({kerf.standing})"
        if built.seat_gap_mm and ends
        else "no fillet keeps a wall off its shoulder",
    )
    known = _kerf_and_scale(built, row)
    if raised is None:
        spread = BudgetEntry(
            what="thickness spread",
            least=0,
            greatest=0,
            source=Source.COMPUTED,
            note="walls bear on shoulders with their inner faces, whatever their thickness",
        )
        return InsideRange(
            held_least=row.least, held_greatest=row.greatest, budget=(seat, spread, known)
        )
    thickness = built.job.thickness(raised.lower)
    low, high = sorted((raised.thickest - raised.mean, raised.thinnest - raised.mean))
    measured = thickness.source is Source.MEASURED
    spread = BudgetEntry(
        what="thickness spread",
        least=low,
        greatest=high,
        source=Source.MEASURED if measured else Source.ASSUMED,
        note=f"of {raised.lower}, {len(thickness.readings)} readings"
        if measured
        else f"{raised.lower} was given one thickness, so nobody measured its spread",
    )
    sheet = built.plan.sheet_clearance
    slots = BudgetEntry(
        what="clearance in slots",
        least=raised.least - raised.mean - low,
        greatest=raised.greatest - raised.mean - high,
        source=Source.COMPUTED,
        note=f"{raised.lower} pushed up or down in its slots; sheet clearance {small_size(sheet.value, built.job.unit)} "
        f"({sheet.standing})",
    )
    return InsideRange(
        held_least=row.least, held_greatest=row.greatest, budget=(seat, spread, slots, known)
    )


def _kerf_and_scale(built: Built, row: InsideAsCut) -> BudgetEntry:
    """By how much kerf and scale may be others than those that the panels were drawn for, 95 %."""
    plan = built.plan
    slabs = {p.name: p.slab for p in built.solution.panels}
    axes = {
        Frame.of(slabs[name]).axes.index(row.axis)
        for names in row.by_panel
        for name in names.split(" + ")
        if name in slabs and row.axis in Frame.of(slabs[name]).axes
    }
    u = max((plan.inside_u_mm(a, row.asked / 1e6) for a in axes or {0, 1}), default=0.0)
    more = round(COVERAGE * u * 1e6)
    beam = sorted({str((plan.kerf_x, plan.kerf_y)[a].source) for a in axes or {0, 1}})
    scale = sorted({str((plan.scale_x, plan.scale_y)[a].source) for a in axes or {0, 1}})
    measured = beam == scale == ["measured"]
    note = f"95 %: kerf {' and '.join(beam)}, scale {' and '.join(scale)}, edges 0.02 mm assumed"
    if plan.tool is not None:
        note = "95 %: edges 0.02 mm assumed; what the controller's offsets miss is not known here"
    return BudgetEntry(
        what="kerf and scale",
        least=-more,
        greatest=more,
        source=Source.MEASURED if measured else Source.ASSUMED,
        note=note,
    )

"""An order as asked, and as it lies on sheets."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from boxjoint.check.built import Built, Part
from boxjoint.errors import InputError, ProofFailed
from boxjoint.fit.compensate import Drawn
from boxjoint.fit.holes import DrawnHole
from boxjoint.fit.relief import Relieved
from boxjoint.geometry.drawing import Curve
from boxjoint.geometry.rings import Rings
from boxjoint.job.records import Job, Unit
from boxjoint.job.sheets import Nesting, SheetAsk
from boxjoint.sheet.records import Item, Nest, NestAsk, NestedSheet, Placement

__all__ = ["MOST_BOXES", "Copy", "Laid", "LaidSheet", "Line", "Order", "Piece"]

#: More boxes of one job than this are a slip of the keyboard.
MOST_BOXES = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One job of an order; ``group`` is what it goes by there."""

    job: Job
    quantity: int
    group: str

    def __post_init__(self) -> None:
        if not 1 <= self.quantity <= MOST_BOXES:
            raise InputError(
                "no such quantity",
                where=self.job.path or self.group,
                value=str(self.quantity),
                limit=f"1 to {MOST_BOXES}",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """What a customer wants.

    Parameters
    ----------
    title
        What it goes by: on papers, and in the shop book.
    unit
        The system shown first.
    lines
        Its jobs.
    sheets
        Sheets that there are for all jobs, beside those that the jobs state.
    nest
        How panels lie; ``None``: as the first job says.
    customer, note
        Free text for the papers.
    path
        The file it was read from.
    """

    title: str
    unit: Unit
    lines: tuple[Line, ...]
    sheets: dict[str, SheetAsk] = field(default_factory=dict)
    nest: Nesting | None = None
    customer: str = ""
    note: str = ""
    path: str = ""

    def __post_init__(self) -> None:
        if not self.lines:
            raise InputError("an order needs a job", where=self.path or self.title)

    @property
    def nesting(self) -> Nesting:
        """How panels lie on sheets."""
        return self.lines[0].job.nest if self.nest is None else self.nest

    @property
    def boxes(self) -> int:
        """How many boxes, stacks and cases."""
        return sum(line.quantity for line in self.lines)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """One panel of one job, lying one way: what all its copies that lie so share.

    Parameters
    ----------
    built, part
        The job, and the panel in it.
    mirrored
        True where the inside lies up.
    quarters
        Quarter turns counter-clockwise from how it is drawn (mirrored first).
    drawn
        Outlines to draw, nm, about the piece's own origin.
    relieved
        The same with reliefs at inside corners, mm.
    as_cut
        What the beam leaves, turned and mirrored back to the panel's own axes, nm.
    holes
        Its cut-outs, mirrored, turned and compensated for lying so, about the same origin.
    """

    built: Built
    part: Part
    mirrored: bool
    quarters: int
    drawn: Drawn
    relieved: Relieved
    as_cut: Rings
    holes: tuple[DrawnHole, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Copy:
    """One panel on one sheet.

    ``shift`` moves the piece's drawn outlines to their place on the sheet, nm. ``number`` is its own
    number on the sheet, from 1, in the sequence of the nest.
    """

    piece: Piece
    placement: Placement
    shift: tuple[int, int]
    number: int

    @property
    def name(self) -> str:
        """The panel's name."""
        return self.piece.part.panel.name

    @property
    def short(self) -> str:
        """The panel's name, with the number of the copy where there are several."""
        item = self.placement.item
        return self.name if item.quantity == 1 else f"{self.name} {self.placement.copy}"

    @property
    def group(self) -> str:
        """The job that it belongs to."""
        return self.placement.item.group

    @property
    def label(self) -> str:
        """Job, panel and copy, as shown to people."""
        return self.placement.label


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LaidSheet:
    """One sheet with its copies, numbered from 1 in the order.

    ``mark_groups`` are scored before any cut: what belongs together, such as the letters of a name,
    stroke after stroke. ``engraved`` is filled before that, one mark of the job in each group.
    """

    number: int
    nested: NestedSheet
    copies: tuple[Copy, ...]
    mark_groups: tuple[tuple[Curve, ...], ...] = ()
    engraved: tuple[tuple[Curve, ...], ...] = ()

    @property
    def marks(self) -> tuple[Curve, ...]:
        """All marks."""
        return tuple(m for group in self.mark_groups for m in group)

    @property
    def name(self) -> str:
        """``sheet-01``: how its files are called."""
        return f"sheet-{self.number:02d}"

    @property
    def engraved_blocks(self) -> tuple[tuple[float, float], ...]:
        """(width, height) of every engraved mark as it lies here, mm."""
        sizes = []
        for group in self.engraved:
            every = np.concatenate([c.xy for c in group])
            w, h = (every.max(axis=0) - every.min(axis=0)).tolist()
            sizes.append((w, h))
        return tuple(sizes)

    @property
    def cut_length_mm(self) -> float:
        """Length of all cut sides, mm, reliefs not counted."""
        return sum(
            c.piece.drawn.rings.perimeter / 1e6 + sum(h.further_mm for h in c.piece.holes)
            for c in self.copies
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """An order on its sheets.

    Parameters
    ----------
    order
        As asked.
    built
        One for each line of the order.
    items
        What was nested.
    ask, nest
        How, and the result.
    sheets
        Every sheet with what is cut from it.
    faults
        What the virtual cut of the sheets found wrong; empty when every panel as cut equals its
        nominal with the asked clearance.
    warnings
        What the maker should look at.
    notes
        What was assumed on the way, each with its source word.
    """

    order: Order
    built: tuple[Built, ...]
    items: tuple[Item, ...]
    ask: NestAsk
    nest: Nest
    sheets: tuple[LaidSheet, ...]
    faults: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether every proof holds, of the boxes and of the sheets."""
        return not self.faults and all(b.passed for b in self.built)

    def require(self) -> None:
        """Raise :class:`ProofFailed` unless every proof holds."""
        for built in self.built:
            built.require()
        if self.faults:
            raise ProofFailed(
                "a panel as cut from its sheet is not as asked",
                value="; ".join(self.faults[:5]),
                faults=self.faults,
            )

"""All that the shop papers of one order are made from."""

from __future__ import annotations

from dataclasses import dataclass

from boxjoint.errors import InputError
from boxjoint.export.papers.records_bench import Assembly, Inspection, PackedBox, Price
from boxjoint.export.papers.records_cut import (
    CutRow,
    Operation,
    RecordedSettings,
    SheetPicture,
    SheetTime,
    above_zero,
)
from boxjoint.gauge.pieces import GaugePiece
from boxjoint.geometry.page import A4, Paper
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source
from boxjoint.units import System

__all__ = ["KerfUsed", "OrderedJob", "ShopPapers"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedJob:
    """One job of the order: how often, and its inside (length, width, height) as asked."""

    title: str
    quantity: int
    inside: tuple[Figure, Figure, Figure] | None = None
    note: str = ""
    unit: System = "mm"

    def __post_init__(self) -> None:
        above_zero(self.title, quantity=self.quantity)


@dataclass(frozen=True, slots=True, kw_only=True)
class KerfUsed:
    """The full kerf that outlines were drawn with: removed across cuts along Y (x), along X (y).

    ``stock`` says on what it was measured, or what it stands for.
    """

    x: Figure
    y: Figure
    stock: str = ""

    @property
    def measured(self) -> bool:
        """Whether both values were measured."""
        return {self.x.source, self.y.source} == {Source.MEASURED}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopPapers:
    """The papers of one order.

    Parameters
    ----------
    title, date, reference
        Of the order; the date as the caller writes it, the customer's reference free. ``title`` must
        not be blank.
    jobs
        What is made.
    kerf
        One for each stock.
    cuts, sheets, operations, times, settings
        For the machine.
    assemblies, inspections, packing, price
        For the bench and the desk.
    gauges
        Pieces whose forms are printed too, where a kerf is not measured.
    warnings
        Shown on the first page.
    cautions
        Further cautions, beside the usual ones.
    paper
        A4 or Letter.
    """

    title: str
    date: str
    jobs: tuple[OrderedJob, ...]
    reference: str = ""
    kerf: tuple[KerfUsed, ...] = ()
    cuts: tuple[CutRow, ...] = ()
    sheets: tuple[SheetPicture, ...] = ()
    operations: tuple[Operation, ...] = ()
    times: tuple[SheetTime, ...] = ()
    settings: tuple[RecordedSettings, ...] = ()
    assemblies: tuple[Assembly, ...] = ()
    inspections: tuple[Inspection, ...] = ()
    packing: tuple[PackedBox, ...] = ()
    price: Price | None = None
    gauges: tuple[GaugePiece, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    paper: Paper = A4

    def __post_init__(self) -> None:
        if not self.title.strip():
            raise InputError("the papers of an order need its title")
        if not self.jobs:
            raise InputError("the papers of an order need a job", where=self.title)

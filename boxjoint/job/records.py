"""The records of a job: what was asked, what was measured, what was left open.

All lengths are ``int`` nanometres, read once and rounded once. A field that is ``None`` was left
out of the job; the room that needs it fills in an assumed value and says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from boxjoint.errors import InputError
from boxjoint.job.filling import (
    DIVIDER_NAME,
    Bottom,
    Contents,
    Dividers,
    FitInto,
    Item,
)
from boxjoint.job.joint_ask import JointAsk
from boxjoint.job.seams import SeamAsk
from boxjoint.job.sheets import Nesting, SheetAsk, Turn
from boxjoint.job.thickness import Source, Thickness
from boxjoint.job.tops import Drawers, Stack, Till, Top, further_panels, homes_of
from boxjoint.job.words import (
    AXES,
    CORNER_STYLES,
    DIRECTIONS,
    FITS,
    PANELS,
    CornerStyle,
    Ends,
    Unit,
)

if TYPE_CHECKING:  # loaded only where a job has some
    from boxjoint.job.cutouts import Cutout
    from boxjoint.job.marks import Mark

__all__ = [
    "AXES",
    "CORNER_STYLES",
    "DIRECTIONS",
    "FITS",
    "PANELS",
    "CornerStyle",
    "Cut",
    "Drawers",
    "Ends",
    "Inside",
    "Job",
    "JointAsk",
    "PanelAsk",
    "PerAxis",
    "SeamAsk",
    "ShopAsk",
    "Source",
    "Stack",
    "Stock",
    "Thickness",
    "Till",
    "Top",
    "Unit",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class PerAxis:
    """Two values, one along the sheet's X and one along its Y.

    For kerf: ``x`` is removed across a cut that runs along Y. Unit as the field says.
    """

    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Inside:
    """The space asked for, nm, along x, y and z.

    A size that is ``None`` was left open: it follows from the contents, the compartments or what the
    box goes into (``boxjoint.solve.inside``).
    """

    length: int | None = None
    width: int | None = None
    height: int | None = None

    @property
    def asked(self) -> tuple[int | None, int | None, int | None]:
        """(length, width, height), nm, as far as they were asked for."""
        return (self.length, self.width, self.height)

    @property
    def xyz(self) -> tuple[int, int, int]:
        """(length, width, height), nm.

        Raises
        ------
        InputError
            When one of them was left open.
        """
        x, y, z = self.asked
        if x is None or y is None or z is None:
            raise InputError("a size of the inside was left open", where="[inside]")
        return (x, y, z)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """The sheet that every panel is cut from unless the panel says otherwise.

    ``film`` is what finish adds to every face, nm, where parts move past each other.
    """

    material: str
    thickness: Thickness
    film: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelAsk:
    """What one panel asks for itself; ``None`` takes the job's stock.

    ``layers`` sheets are glued face to face and are one panel of their thickness together.
    ``grain`` is the axis of the panel's drawing that the sheet's grain has to run along, ``""`` where
    it does not matter; ``turn`` is how it may be turned on the sheet. ``seam`` is where it is
    divided, nm from the left (or lower) end of its drawing; ``None``: nowhere, or where the rule says.
    """

    thickness: Thickness | None = None
    material: str | None = None
    layers: int | None = None
    grain: str = ""
    turn: Turn | None = None
    seam: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """How it is cut: by a beam (``kerf``, mm, FULL width) or by a router (``tool``, nm, diameter).

    ``scale`` is size cut over size drawn, per axis; ``None`` means 1, assumed. ``edge_sd`` is the
    standard deviation of the place of one cut edge, nm: joints of many tabs get more clearance for it
    than the comb's slot of one.
    """

    kerf: PerAxis | None = None
    scale: PerAxis | None = None
    tool: int | None = None
    edge_sd: int | None = None

    def __post_init__(self) -> None:
        if self.tool is not None and self.kerf is not None:
            raise InputError("tool and kerf exclude each other", do="keep one of the two")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopAsk:
    """Where it is cut, by names in the shop book; ``""`` where the job does not say.

    ``sheet`` is the id that the book shows, or its first letters.
    """

    machine: str = ""
    sheet: str = ""
    settings: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One job as asked.

    ``unit`` is what a bare number in the file means, and the system shown first. ``text`` is the
    file as it was read, kept so that writing it back changes nothing but what was changed.
    ``divider_stock`` is what all dividers are cut from, unless a panel says otherwise.
    """

    title: str
    unit: Unit
    inside: Inside
    stock: Stock
    panels: dict[str, PanelAsk] = field(default_factory=dict)
    cut: Cut = field(default_factory=Cut)
    joint: JointAsk = field(default_factory=JointAsk)
    top: Top = field(default_factory=Top)
    bottom: Bottom = field(default_factory=Bottom)
    dividers: Dividers = field(default_factory=Dividers)
    divider_stock: PanelAsk = field(default_factory=PanelAsk)
    items: dict[str, Item] = field(default_factory=dict)
    contents: Contents = field(default_factory=Contents)
    fit_into: FitInto = field(default_factory=FitInto)
    till: Till = field(default_factory=Till)
    stack: Stack = field(default_factory=Stack)
    drawers: Drawers = field(default_factory=Drawers)
    cutouts: tuple[Cutout, ...] = ()
    marks: tuple[Mark, ...] = ()
    shop: ShopAsk = field(default_factory=ShopAsk)
    sheets: dict[str, SheetAsk] = field(default_factory=dict)
    nest: Nesting = field(default_factory=Nesting)
    seams: SeamAsk = field(default_factory=SeamAsk)
    path: str = field(default="", compare=False)
    text: str = field(default="", compare=False, repr=False)

    def _asks(self, panel: str) -> Iterator[PanelAsk]:
        """What the job asks of a panel, under each of its names, the most particular first."""
        for home in homes_of(panel):
            if home in self.panels:
                yield self.panels[home]
            if DIVIDER_NAME.fullmatch(home):
                yield self.divider_stock

    def sheet(self, panel: str) -> Thickness:
        """Thickness of the sheet that the named panel is cut from: its own, or the stock's."""
        for own in self._asks(panel):
            if own.thickness is not None:
                return own.thickness
        return self.stock.thickness

    def grain(self, panel: str) -> str:
        """Axis of the panel's drawing that the grain runs along, ``""`` where it does not matter."""
        return next((own.grain for own in self._asks(panel) if own.grain), "")

    def turn(self, panel: str) -> Turn:
        """How the named panel may be turned on a sheet."""
        return next((own.turn for own in self._asks(panel) if own.turn), self.nest.turn)

    def seam(self, panel: str) -> int | None:
        """Where the job says that the named panel is divided, nm; ``None`` where it says nothing."""
        return next((own.seam for own in self._asks(panel) if own.seam is not None), None)

    def layers(self, panel: str) -> int:
        """How many sheets the named panel is laminated from."""
        for own in self._asks(panel):
            if own.layers is not None:
                return own.layers
        return 1

    def thickness(self, panel: str) -> Thickness:
        """Thickness of the named panel, all its layers together; glue is not counted."""
        sheet, n = self.sheet(panel), self.layers(panel)
        if n == 1:
            return sheet
        return Thickness(readings=tuple(n * r for r in sheet.readings), measured=sheet.measured)

    def material(self, panel: str) -> str:
        """Material of the named panel: its own, or that of all dividers, or the stock's."""
        for own in self._asks(panel):
            if own.material is not None:
                return own.material
        return self.stock.material

    @property
    def cuts_out(self) -> bool:
        """Whether anything is cut out of panels: asked for by itself, to pull by, for pins, or
        between legs."""
        pulls = self.top.notch or self.till.notch or (self.drawers.count and self.drawers.pull)
        return bool(self.cutouts or pulls or self.bottom.legs or self.top.kind == "hinged")

    @property
    def panel_names(self) -> tuple[str, ...]:
        """Panels that this job may speak of: walls and base in the default rank, then the others.

        Of drawers, trays and shelves each name stands once, without its number.
        """
        gone = {"front"} if self.drawers.count else set()
        if self.top.kind != "closed" and not self.drawers.count:
            gone.add("top")
        box = tuple(p for p in PANELS if p not in gone)
        further = further_panels(self.top, self.stack, self.drawers, self.till)
        return box + further + self.dividers.names

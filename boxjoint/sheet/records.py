"""What is nested, on what, and what came of it.

All lengths are whole nanometres. Sheet coordinates: origin at the sheet's lower left corner, which
lies at the lower left corner of the bed; x to the right, y up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from boxjoint.errors import InputError
from boxjoint.units import System, both_sizes, format_mm

__all__ = [
    "Axis",
    "Bed",
    "Item",
    "KeepOut",
    "Left",
    "Nest",
    "NestAsk",
    "NestedSheet",
    "Place",
    "Placement",
    "SheetStock",
    "Strip",
    "Turn",
    "size_text",
]

Turn = Literal["none", "half", "free"]
Axis = Literal["", "x", "y"]
Face = Literal["outside", "inside"]

#: Quarter turns that each word allows.
TURNS: dict[str, tuple[int, ...]] = {"none": (0,), "half": (0, 2), "free": (0, 1, 2, 3)}
LARGEST_NM = 10_000_000_000  # 10 m: beyond it a length is a slip of units


def size_text(width: int, height: int, unit: System = "mm") -> str:
    """``'300.00 x 200.00 mm'`` from nm; in inches with mm beside where those come first."""
    if unit == "in":
        return both_sizes((width, height), unit)
    return f"{format_mm(width)[:-3]} x {format_mm(height)}"


def _lengths(where: str, **values: int) -> None:
    for name, value in values.items():
        if not isinstance(value, int):
            raise InputError(
                f"{name} must be a whole number of nanometres", where=where, value=repr(value)
            )
        if not 0 < value <= LARGEST_NM:
            raise InputError(
                f"{name} must be larger than zero and at most 10 m",
                where=where,
                value=format_mm(value),
                do="check the unit",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepOut:
    """A rectangle where nothing may be cut, nm, in sheet coordinates; it may reach beyond the sheet."""

    x: int
    y: int
    width: int
    height: int
    name: str = "keep-out"

    def __post_init__(self) -> None:
        _lengths(self.name, width=self.width, height=self.height)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """How far the head reaches, nm: lead-ins taken off by the caller."""

    width: int
    height: int

    def __post_init__(self) -> None:
        _lengths("bed", width=self.width, height=self.height)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStock:
    """Sheets of one size, as they lie on the bed.

    Parameters
    ----------
    name
        How the shop calls it; unique among the sheets of an order.
    width, height
        Along the bed's X and Y, nm.
    material, thickness
        What it is, and how thick as measured, nm.
    count
        How many there are; ``None``: as many as are needed.
    offcut
        True: used before sheets that are none.
    grain
        Axis of the sheet that the grain runs along, ``""`` where there is none or nobody said.
    keep_outs
        Flaws and holes of this sheet; clamps belong to :class:`NestAsk`.
    """

    name: str
    width: int
    height: int
    material: str
    thickness: int
    count: int | None = None
    offcut: bool = False
    grain: Axis = ""
    keep_outs: tuple[KeepOut, ...] = ()

    def __post_init__(self) -> None:
        where = f"sheet {self.name!r}"
        _lengths(where, width=self.width, height=self.height, thickness=self.thickness)
        if self.count is not None and self.count < 0:
            raise InputError("a count must be 0 or more", where=where, value=str(self.count))
        if self.grain not in ("", "x", "y"):
            raise InputError("grain runs along x or y", where=where, value=repr(self.grain))


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A panel to be cut, and how often.

    Parameters
    ----------
    name, group
        Together unique in an order; the group is the job it belongs to.
    width, height
        Extent of the compensated cut path as drawn, nm.
    turned
        Extent (along X, along Y) of the cut path compensated for lying turned by one quarter, nm;
        it differs from (height, width) where ``kerf_x`` and ``kerf_y`` differ. ``None``: the same.
    material, thickness
        The stock that it is cut from, nm.
    quantity
        How many copies.
    turn
        ``"none"`` lies as drawn, ``"half"`` as drawn or upside down, ``"free"`` any quarter turn.
    quarters
        Turned by this before ``turn`` applies (see :func:`~boxjoint.sheet.strips.orient`).
    grain
        Axis of the drawing that the sheet's grain has to run along; with ``turn="free"`` it allows
        the two turns that do.
    windows
        Rectangles (x, y, width, height) inside it that drop out, nm, from the lower left corner of
        its extent as drawn: each lies within the cut path of a hole.
    face_up
        The side of the panel that lies up.
    """

    name: str
    width: int
    height: int
    material: str
    thickness: int
    turned: tuple[int, int] | None = None
    quantity: int = 1
    turn: Turn = "free"
    quarters: int = 0
    grain: Axis = ""
    windows: tuple[tuple[int, int, int, int], ...] = ()
    group: str = ""
    face_up: Face = "outside"

    def __post_init__(self) -> None:
        where = self.label
        _lengths(where, width=self.width, height=self.height, thickness=self.thickness)
        if self.turned is not None:
            _lengths(where, turned_width=self.turned[0], turned_height=self.turned[1])
        if self.quantity < 1:
            raise InputError("a quantity must be 1 or more", where=where, value=str(self.quantity))
        if self.turn not in TURNS or self.grain not in ("", "x", "y"):
            raise InputError(
                "turn is none, half or free; grain is x, y or left out",
                where=where,
                value=f"turn {self.turn!r}, grain {self.grain!r}",
            )
        for x, y, w, h in self.windows:
            if min(x, y) <= 0 or min(w, h) <= 0 or x + w >= self.width or y + h >= self.height:
                raise InputError(
                    "a window must lie inside its panel",
                    where=where,
                    value=f"{size_text(w, h)} at {size_text(x, y)}",
                )

    @property
    def label(self) -> str:
        """``group name``, as shown to people."""
        return f"{self.group} {self.name}".strip()

    @property
    def key(self) -> tuple[str, str]:
        """(group, name): what tells items apart."""
        return self.group, self.name

    @property
    def turns(self) -> tuple[int, ...]:
        """Quarter turns that ``turn`` allows, whatever the sheet."""
        return tuple((self.quarters + q) % 4 for q in TURNS[self.turn])

    def turns_on(self, sheet_grain: Axis) -> tuple[int, ...]:
        """Quarter turns allowed on a sheet with this grain; none where they contradict."""
        if not self.grain:
            return self.turns
        if not sheet_grain:
            return ()
        odd = self.grain != sheet_grain
        return tuple(q for q in self.turns if q % 2 == odd)

    def size_at(self, quarters: int) -> tuple[int, int]:
        """(along X, along Y) of the cut path's extent when turned so, nm."""
        if quarters % 2 == 0:
            return self.width, self.height
        return self.turned or (self.height, self.width)

    def windows_at(self, quarters: int) -> tuple[tuple[int, int, int, int], ...]:
        """Windows when turned so, from the lower left corner of the turned extent, nm.

        Where the turned extent is not just the swapped one, the windows are drawn in by the
        difference, so that they never reach beyond the hole as cut.
        """
        w, h = self.width, self.height
        out = []
        for x, y, a, b in self.windows:
            for _ in range(quarters % 4):  # (x, y) -> (-y, x), then back into the positive quadrant
                x, y, a, b, w, h = h - y - b, x, b, a, h, w
            w, h = self.width, self.height
            if quarters % 2 and self.turned:
                less = max(abs(self.turned[0] - self.height), abs(self.turned[1] - self.width))
                x, y, a, b = x + less, y + less, a - 2 * less, b - 2 * less
            if min(a, b) > 0:
                out.append((x, y, a, b))
        return tuple(out)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Items end to end in one piece of the sheet, from left to right as drawn, on one base line.

    ``gap`` is the distance between their cut paths, nm; their quantities agree, and so does their
    stock. They are turned together.
    """

    name: str
    members: tuple[Item, ...]
    gap: int
    group: str = ""

    def __post_init__(self) -> None:
        first = self.members[0] if self.members else None
        if first is None or len(self.members) < 2:
            raise InputError("a strip needs two items or more", where=self.label)
        if self.gap <= 0:
            raise InputError("a strip needs a gap", where=self.label, value=format_mm(self.gap))
        for item in self.members[1:]:
            if (item.material, item.thickness) != (first.material, first.thickness):
                raise InputError(
                    f"{item.label} is cut from other stock than {first.label}", where=self.label
                )
            if item.quantity != first.quantity:
                raise InputError(
                    f"{item.label} is wanted {item.quantity} times, "
                    f"{first.label} {first.quantity} times",
                    where=self.label,
                )

    @property
    def label(self) -> str:
        """``group name``, as shown to people."""
        return f"{self.group} {self.name}".strip()

    @property
    def key(self) -> tuple[str, str]:
        """(group, name)."""
        return self.group, self.name

    @property
    def quantity(self) -> int:
        """How many strips."""
        return self.members[0].quantity

    @property
    def material(self) -> str:
        """Material of all members."""
        return self.members[0].material

    @property
    def thickness(self) -> int:
        """Thickness of all members, nm."""
        return self.members[0].thickness

    @property
    def turns(self) -> tuple[int, ...]:
        """Quarter turns that all members allow."""
        return tuple(q for q in range(4) if all(q in m.turns for m in self.members))

    def turns_on(self, sheet_grain: Axis) -> tuple[int, ...]:
        """Quarter turns that all members allow on such a sheet."""
        return tuple(
            q for q in self.turns if all(q in m.turns_on(sheet_grain) for m in self.members)
        )

    def size_at(self, quarters: int) -> tuple[int, int]:
        """(along X, along Y) when turned so, nm."""
        sizes = [m.size_at(quarters) for m in self.members]
        along = quarters % 2
        length = sum(s[along] for s in sizes) + self.gap * (len(sizes) - 1)
        across = max(s[1 - along] for s in sizes)
        return (length, across) if along == 0 else (across, length)

    def windows_at(self, quarters: int) -> tuple[tuple[int, int, int, int], ...]:
        """Windows of all members when turned so, nm."""
        return tuple(
            (dx + x, dy + y, a, b)
            for member, (dx, dy) in zip(self.members, self.offsets(quarters), strict=True)
            for x, y, a, b in member.windows_at(quarters)
        )

    def offsets(self, quarters: int) -> tuple[tuple[int, int], ...]:
        """Lower left corner of each member from the strip's own, when turned so, nm."""
        q = quarters % 4
        along = q % 2
        sizes = [m.size_at(q) for m in self.members]
        across = max(s[1 - along] for s in sizes)
        back = q in (2, 3)  # the strip then runs towards the left, or down
        at, places = 0, []
        for size in reversed(sizes) if back else sizes:
            # the base line is the lower edge as drawn: right after one turn, top after two
            base = across - size[1 - along] if q in (1, 2) else 0
            places.append((at, base) if along == 0 else (base, at))
            at += size[along] + self.gap
        return tuple(reversed(places)) if back else tuple(places)


#: What :func:`~boxjoint.sheet.nest.nest` takes.
Place = Item | Strip


@dataclass(frozen=True, slots=True, kw_only=True)
class NestAsk:
    """How to nest.

    Parameters
    ----------
    spacing
        Least distance between cut paths, and from keep-outs, nm; at least ``kerf``.
    kerf
        The wider of ``kerf_x`` and ``kerf_y``, nm.
    margin
        Least distance from the edges of the sheet, nm; 0 is allowed.
    bed
        How far the head reaches, or ``None``.
    keep_outs
        Clamps and magnets, the same on every sheet.
    windows
        Whether panels may lie in windows of others.
    level
        0 to 3: how long to search. 1 while editing, 2 for the final nest; 3 gains about half a percent.
    seconds
        A time budget that chooses the level (never above ``level``), by a table of this project's
        own measurements; ``None``: no budget.
    seed
        Of the search.
    least_offcut
        (long side, short side) of the smallest rectangle worth keeping, nm.
    thickness_band
        How far a sheet's thickness may differ from the panel's, nm. Our own choice, no source.
    unit
        The system that messages show first.
    """

    spacing: int
    kerf: int
    margin: int = 0
    bed: Bed | None = None
    keep_outs: tuple[KeepOut, ...] = ()
    windows: bool = False
    level: int = 1
    seconds: float | None = None
    seed: int = 0
    least_offcut: tuple[int, int] = (100_000_000, 50_000_000)
    thickness_band: int = 50_000
    unit: System = "mm"

    def __post_init__(self) -> None:
        if self.kerf < 0:
            raise InputError("a kerf must not be negative", value=format_mm(self.kerf, places=3))
        if self.spacing <= 0 or self.spacing < self.kerf:
            raise InputError(
                "spacing must be larger than zero and at least the kerf, "
                "or neighbours cut into each other",
                where="spacing",
                value=format_mm(self.spacing, places=3),
                limit=f"kerf {format_mm(self.kerf, places=3)}",
                do="1 to 3 mm is usual (common practice, no source)",
            )
        if self.margin < 0:
            raise InputError("a margin must not be negative", value=format_mm(self.margin))
        if self.level not in (0, 1, 2, 3):
            raise InputError("a level is 0, 1, 2 or 3", where="level", value=str(self.level))
        if self.seconds is not None and not self.seconds > 0:
            raise InputError(
                "a time budget must be larger than zero", where="seconds", value=str(self.seconds)
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One copy of an item on a sheet.

    Parameters
    ----------
    item, copy
        Which, and the how-many-eth copy, from 1.
    sheet
        Index of the sheet in :attr:`Nest.sheets`.
    x, y
        Lower left corner of the extent of the cut path, nm, sheet coordinates.
    quarters
        Quarter turns counter-clockwise from how it is drawn.
    host
        Index, among the placements of its sheet, of the panel in whose window it lies: it must be cut
        before that window. ``None`` where it lies in none.
    """

    item: Item
    copy: int
    sheet: int
    x: int
    y: int
    quarters: int
    host: int | None = None

    @property
    def label(self) -> str:
        """The item's label, with the copy where there are several."""
        return f"{self.item.label} {self.copy}" if self.item.quantity > 1 else self.item.label

    @property
    def extent(self) -> tuple[int, int, int, int]:
        """(x0, y0, x1, y1) of the cut path on the sheet, nm."""
        w, h = self.item.size_at(self.quarters)
        return self.x, self.y, self.x + w, self.y + h


@dataclass(frozen=True, slots=True, kw_only=True)
class NestedSheet:
    """One sheet with what is cut from it.

    ``fill`` is the share of the usable area taken by panels with their spacing; ``used`` the share that
    is used up when the rest is cut off straight across, in the better of both directions.
    ``remains`` are the offcuts (x, y, width, height), nm, largest first.
    """

    stock: SheetStock
    placements: tuple[Placement, ...]
    fill: float
    used: float
    remains: tuple[tuple[int, int, int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """Sheets of a kind that were not used; ``None``: as many as one buys."""

    stock: SheetStock
    count: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Nest:
    """Where everything lies.

    Parameters
    ----------
    sheets
        Used sheets; sheets of one stock follow each other, offcuts first, the emptiest last.
    bound
        Sheets that the area alone needs, added up over the kinds of stock: no nest can do better than
        the next whole number of each.
    equivalent
        Sheets used, the last of each kind of stock counted by what is used up of it.
    left
        Sheets not used.
    level
        The level that was searched at.
    seed
        Of the search.
    """

    sheets: tuple[NestedSheet, ...]
    bound: float
    equivalent: float
    left: tuple[Left, ...]
    level: int
    seed: int

    @property
    def placements(self) -> tuple[Placement, ...]:
        """All placements, sheet by sheet."""
        return tuple(p for sheet in self.sheets for p in sheet.placements)

    def counted(self) -> Sequence[tuple[SheetStock, int]]:
        """How many sheets of each stock are used, in the sequence of first use."""
        found: dict[str, tuple[SheetStock, int]] = {}
        for sheet in self.sheets:
            name = sheet.stock.name
            found[name] = (sheet.stock, found[name][1] + 1 if name in found else 1)
        return tuple(found.values())

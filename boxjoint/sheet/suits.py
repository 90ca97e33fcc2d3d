"""What fits on which sheets, settled before anything is searched, and refused by name where nothing does."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from boxjoint.errors import InputError, nearest_name
from boxjoint.sheet.records import Item, NestAsk, Place, SheetStock, Strip, size_text
from boxjoint.sheet.rectangles import UNIT_NM, Bin, Rect
from boxjoint.units import System, format_mm, own_first

__all__ = ["MOST_COPIES", "Group", "Room", "check_names", "groups_of"]

#: More than this is not one order.
MOST_COPIES = 20_000


def check_names(items: Sequence[Place], sheets: Sequence[SheetStock]) -> None:
    """Refuse an empty order, no sheets, names that are there twice, and too many panels."""
    if not items:
        raise InputError("there is nothing to nest")
    if not any(s.count != 0 for s in sheets):
        raise InputError(
            "there are no sheets to cut from",
            value=f"{len(sheets)} kinds, all with a count of 0" if sheets else "",
            do="state at least one sheet with its size, material and thickness",
        )
    keys = Counter(k for i in items for k in _keys(i))
    for key, times in sorted(keys.items()):
        if times > 1:
            raise InputError(
                "two items have one name",
                where=" ".join(key).strip(),
                do="ask for a quantity, or give each job a group of its own",
            )
    for name, times in sorted(Counter(s.name for s in sheets).items()):
        if times > 1:
            raise InputError(
                "two kinds of sheet have one name", where=f"sheet {name!r}", do="rename one"
            )
    copies = sum(i.quantity for i in items)
    if copies > MOST_COPIES:
        raise InputError(
            "this is more than one order", value=f"{copies} panels", limit=f"{MOST_COPIES} panels"
        )


def _keys(item: Place) -> list[tuple[str, str]]:
    if isinstance(item, Strip):
        return [item.key, *(m.key for m in item.members)]
    return [item.key]


@dataclass(frozen=True, slots=True)
class Room:
    """A kind of sheet: its usable room, nm, and what blocks it."""

    stock: SheetStock
    x0: int
    y0: int
    x1: int
    y1: int
    blocked: tuple[Rect, ...]

    @classmethod
    def of(cls, stock: SheetStock, ask: NestAsk) -> Room:
        """The room within margin and bed; clamps and flaws block it."""
        x1, y1 = stock.width - ask.margin, stock.height - ask.margin
        if ask.bed is not None:
            x1, y1 = min(x1, ask.bed.width), min(y1, ask.bed.height)
        keep_outs = (*ask.keep_outs, *stock.keep_outs)
        return cls(
            stock,
            ask.margin,
            ask.margin,
            x1,
            y1,
            tuple(sorted({(k.x, k.y, k.x + k.width, k.y + k.height) for k in keep_outs})),
        )

    def openings(self, spacing: int) -> list[tuple[int, int]]:
        """(width, height) of every maximal rectangle that a cut path may fill, nm, as the search has it."""
        if self.x1 <= self.x0 or self.y1 <= self.y0:
            return []
        sizes = (
            ((c - a) * UNIT_NM - spacing, (d - b) * UNIT_NM - spacing)
            for a, b, c, d in self.bin(spacing, 0).free()
        )
        return [size for size in sizes if min(size) > 0]

    def bin(self, spacing: int, kind: int) -> Bin:
        """The same for the search: grown by the spacing, rounded so that room is never gained."""
        width = (self.x1 - self.x0 + spacing) // UNIT_NM
        height = (self.y1 - self.y0 + spacing) // UNIT_NM
        blocked = []
        for a, b, c, d in self.blocked:
            p = max((a - self.x0) // UNIT_NM, 0)
            q = max((b - self.y0) // UNIT_NM, 0)
            r = min(-((self.x0 - c - spacing) // UNIT_NM), width)
            s = min(-((self.y0 - d - spacing) // UNIT_NM), height)
            if p < r and q < s:
                blocked.append((p, q, r, s))
        return Bin(width, height, kind, tuple(blocked), self.stock.offcut)


@dataclass(frozen=True, slots=True)
class Group:
    """Items that the same sheets suit."""

    items: tuple[Place, ...]
    rooms: tuple[Room, ...]

    @property
    def label(self) -> str:
        """Material and thickness."""
        first = self.items[0]
        return f"{first.material} {format_mm(first.thickness)}"

    def require_fit(self, ask: NestAsk) -> None:
        """Refuse an item that lies on none of the sheets."""
        openings = [(r, r.openings(ask.spacing)) for r in self.rooms]
        if not any(free for _, free in openings):
            raise InputError(
                "margin, bed and keep-outs leave nothing of any sheet",
                where=self.label,
                value=", ".join(
                    f"{r.stock.name} {size_text(r.stock.width, r.stock.height, ask.unit)}"
                    for r in self.rooms
                ),
                limit=f"margin {own_first(ask.margin, ask.unit)}, keep-outs: {len(ask.keep_outs)}",
                do="make the margin smaller or move the clamps",
            )
        for item in self.items:
            _require_fit(item, openings, ask.unit)


def _require_fit(
    item: Place, openings: Sequence[tuple[Room, Sequence[tuple[int, int]]]], unit: System
) -> None:
    best: tuple[int, int, tuple[int, int], tuple[int, int], int, SheetStock] | None = None
    turns = 0
    for number, (room, sizes) in enumerate(openings):
        for q in item.turns_on(room.stock.grain):
            turns += 1
            w, h = item.size_at(q)
            for width, height in sizes:
                dx, dy = max(w - width, 0), max(h - height, 0)
                if dx == 0 and dy == 0:
                    return
                if best is None or (dx + dy, number) < best[:2]:
                    fits = (min(w, width), min(h, height))
                    best = (dx + dy, number, (w, h), fits, q, room.stock)
    if not turns:
        _refuse_grain(item, [r.stock for r, _ in openings])
    if best is None:
        raise InputError(
            "no sheet that its grain allows has room", where=item.label, do="give another sheet"
        )
    _, _, size, fits, quarters, stock = best
    # said for the panel as drawn
    drawn = fits if quarters % 2 == 0 else (fits[1], fits[0])
    as_drawn = size if quarters % 2 == 0 else (size[1], size[0])
    over = (as_drawn[0] - drawn[0], as_drawn[1] - drawn[1])
    turn = item.turn if isinstance(item, Item) else "of all its members"
    raise InputError(
        "fits on no sheet in any turn that is allowed",
        where=item.label,
        value=f"cut {size_text(*as_drawn, unit)}, turn {turn}, too large by "
        f"{own_first(over[0], unit)} and {own_first(over[1], unit)}",
        limit=f"the nearest that fits is {size_text(*drawn, unit)}, on {stock.name} "
        f"({size_text(stock.width, stock.height, unit)})",
        do=_advice(item, size, openings),
        item=item.label,
        size_nm=as_drawn,
        fits_nm=drawn,
        over_nm=over,
        sheet=stock.name,
    )


#: A sheet with no side longer than this, or a panel with none shorter than the other, hints at a slip
#: of units. Our own choice, no source.
_SMALL_SHEET_NM, _LARGE_PANEL_NM = 150_000_000, 1_000_000_000


def _advice(
    item: Place,
    size: tuple[int, int],
    openings: Sequence[tuple[Room, Sequence[tuple[int, int]]]],
) -> str:
    rooms = [size for _, sizes in openings for size in sizes]
    stocks = [room.stock for room, _ in openings]
    if any(size[1] <= w and size[0] <= h for w, h in rooms):
        return "let it be turned, or turn the sheet"
    if any(size[0] * 10 <= w * 254 and size[1] * 10 <= h * 254 for w, h in rooms):
        if all(max(s.width, s.height) <= _SMALL_SHEET_NM for s in stocks):
            return "these sheets are small: were inches taken for mm?"
        if min(size) >= _LARGE_PANEL_NM:
            return "the panel is large: check its unit"
    if isinstance(item, Strip):
        return "break the strip into pieces, or use a longer sheet"
    return "make the inside smaller by as much, or use a larger sheet"


def _refuse_grain(item: Place, stocks: Sequence[SheetStock]) -> None:
    members = item.members if isinstance(item, Strip) else (item,)
    said = ", ".join(
        f"{m.name}: grain along its {m.grain or '(free)'}, turn {m.turn}, {m.quarters} quarters"
        for m in members
    )
    raise InputError(
        "contradicting grain: no turn that is allowed brings it along the sheet's",
        where=item.label,
        value=said,
        limit=", ".join(f"{s.name}: {s.grain or 'no grain stated'}" for s in stocks),
        do="state the sheet's grain, or let the panel be turned",
    )


def _same_material(a: str, b: str) -> bool:
    return a.casefold().split() == b.casefold().split()


def groups_of(items: Sequence[Place], sheets: Sequence[SheetStock], ask: NestAsk) -> list[Group]:
    """Items by the sheets that suit them, in a sequence that does not depend on the caller's."""
    there = sorted((s for s in sheets if s.count != 0), key=lambda s: s.name)
    by_stock: dict[tuple[str, ...], list[Place]] = {}
    for item in sorted(items, key=lambda i: (i.material.casefold(), i.thickness, i.key)):
        suits = [s for s in there if _same_material(s.material, item.material)]
        if not suits:
            near = nearest_name(item.material, {s.material for s in there})
            raise InputError(
                "no sheet of this material",
                where=item.label,
                value=item.material,
                limit="sheets are of " + ", ".join(sorted({s.material for s in there})),
                do=near or "add a sheet of it",
            )
        right = [s for s in suits if abs(s.thickness - item.thickness) <= ask.thickness_band]
        if not right:
            raise InputError(
                "every sheet of this material has the wrong thickness",
                where=item.label,
                value=f"{own_first(item.thickness, ask.unit)} wanted",
                limit="sheets are "
                + ", ".join(f"{s.name} {own_first(s.thickness, ask.unit)}" for s in suits)
                + f"; at most {own_first(ask.thickness_band, ask.unit)} off",
                do="measure the sheet and cut for its thickness, or take another sheet",
            )
        by_stock.setdefault(tuple(s.name for s in right), []).append(item)
    named = {s.name: s for s in there}
    return [
        Group(tuple(group), tuple(Room.of(named[n], ask) for n in names))
        for names, group in by_stock.items()
    ]

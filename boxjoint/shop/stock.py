"""What the shop has to cut with and from: the bed of a machine, and offcuts that are left."""

from __future__ import annotations

from boxjoint.sheet.records import SheetStock
from boxjoint.shop.book import Book
from boxjoint.shop.measured import find_sheet
from boxjoint.shop.records import Machine, Offcut, OffcutUse, Sheet, content_id, same_words

__all__ = ["bed_of", "offcuts_left"]


def bed_of(book: Book, machine: str) -> tuple[int, int] | None:
    """How far the head of a machine reaches along X and Y, nm, by its latest record; ``None``: unknown."""
    found = None
    for entry in book.entries(Machine.kind):
        record = entry.record
        if (
            isinstance(record, Machine)
            and entry.counts
            and same_words(record.name) == same_words(machine)
            and record.bed_x_mm
            and record.bed_y_mm
        ):
            found = round(record.bed_x_mm * 1e6), round(record.bed_y_mm * 1e6)
    return found


def offcuts_left(book: Book, sheet: str) -> tuple[SheetStock, ...]:
    """Return the offcuts left of a sheet (its id, or the first letters), largest first.

    Kerf and fit hold for the sheet that they were measured in, so only its own offcuts are offered.
    """
    record: Sheet = find_sheet(book, sheet)
    identity = content_id(record)
    used: dict[str, int] = {}
    for entry in book.entries(OffcutUse.kind):
        if isinstance(entry.record, OffcutUse) and entry.counts:
            used[entry.record.offcut] = used.get(entry.record.offcut, 0) + entry.record.count
    found = []
    thickness = round(sum(record.thickness_mm) / len(record.thickness_mm) * 1e6)
    for entry in book.entries(Offcut.kind):
        offcut = entry.record
        if not isinstance(offcut, Offcut) or not entry.counts or offcut.sheet != identity:
            continue
        count = offcut.count - used.get(entry.id, 0)
        if count > 0:
            found.append(
                SheetStock(
                    name=f"offcut {entry.id[:8]}",
                    width=round(offcut.x_mm * 1e6),
                    height=round(offcut.y_mm * 1e6),
                    material=record.material,
                    thickness=thickness,
                    count=count,
                    offcut=True,
                )
            )
    return tuple(sorted(found, key=lambda s: (-s.width * s.height, s.name)))

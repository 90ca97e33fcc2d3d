"""Standard things that boxes are made for, by name: sheets, slides, cards, cells.

The table, ``standard_contents.json``, is a copy of published sizes; every row names its source and says
whether the limits are stated there. Names are met without regard to case, spaces and the multiplication
sign; of an unknown name the nearest is suggested.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from boxjoint.errors import InputError, nearest_name
from boxjoint.units import to_nm

__all__ = ["STANDARDS_PATH", "Standard", "standard_item", "standard_items"]

#: Where the table stands.
STANDARDS_PATH = Path(__file__).with_name("standard_contents.json")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """A standard item: its limits (least, greatest), nm.

    ``thickness`` is ``None`` for a single sheet, whose stack is as thick as its maker makes it.
    ``limits_stated`` is False where the source gives a nominal size only; both limits are then that
    size.
    """

    name: str
    standard: str
    length: tuple[int, int]
    width: tuple[int, int]
    thickness: tuple[int, int] | None
    limits_stated: bool
    source: str


def _plain(name: str) -> str:
    return "".join(name.lower().replace("×", "x").split())


def _limits(row: list[Decimal]) -> tuple[int, int]:
    least, greatest = (to_nm(Fraction(value)) for value in row)
    return least, greatest


@cache
def _table() -> tuple[tuple[Standard, ...], dict[str, Standard]]:
    """All items, and by every name that each goes by, without spaces and capitals."""
    rows: list[dict[str, Any]] = json.loads(
        STANDARDS_PATH.read_text(encoding="utf-8"), parse_float=Decimal, parse_int=Decimal
    )["items"]
    items, names = [], {}
    for row in rows:
        item = Standard(
            name=row["name"],
            standard=row["standard"],
            length=_limits(row["length"]),
            width=_limits(row["width"]),
            thickness=None if row["thickness"] is None else _limits(row["thickness"]),
            limits_stated=row["limits_stated"],
            source=row["source"],
        )
        items.append(item)
        for name in (item.name, *row["aliases"]):
            names[_plain(name)] = item
    return tuple(items), names


def standard_items() -> tuple[Standard, ...]:
    """Return all standard items, in the sequence of the table."""
    return _table()[0]


def standard_item(name: str) -> Standard:
    """Return the standard item of a name.

    Raises
    ------
    InputError
        There is none; suggests the nearest.
    """
    items, names = _table()
    found = names.get(_plain(name))
    if found is not None:
        return found
    near = nearest_name(_plain(name), names)
    for plain, item in names.items():  # the name as one writes it
        near = near.replace(repr(plain), repr(item.name))
    raise InputError(
        "no standard item of that name",
        value=repr(name[:60]),
        limit=f"known are {', '.join(sorted({item.standard for item in items}))}, such as "
        "'A5', 'ISO 8037 slide 76 x 26', 'ID-1', 'AA'",
        do=near or "give its size instead: size = [length, width, thickness]",
    )

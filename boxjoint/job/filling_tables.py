"""The tables of what fills a box: items and how they are kept, dividers, the base, an outer limit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import cast

from boxjoint.errors import InputError, nearest_name
from boxjoint.job.filling import (
    FIXINGS,
    LIES,
    REST,
    Bottom,
    Compartments,
    Contents,
    Dividers,
    FitInto,
    Fixing,
    Item,
    Lie,
)
from boxjoint.job.keys import Keys
from boxjoint.job.limits import FILLING_WINDOWS, MOST_COMPARTMENTS, MOST_GRID, MOST_ITEMS
from boxjoint.job.problems import Problem
from boxjoint.job.records import DIRECTIONS, PanelAsk
from boxjoint.job.standards import standard_item
from boxjoint.job.values import ValueReader
from boxjoint.units import to_nm

__all__ = ["Filling", "FillingReader"]

_SIZE_WANTED = "[length, width, thickness], such as [148, 210, 12]"
_COMPARTMENTS_WANTED = (
    'a count of equal ones, or a list of sizes such as [26, 26, "rest"]; a name of [items] takes the '
    "size that the item needs"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Filling:
    """What the tables say of all that fills the box."""

    bottom: Bottom = field(default_factory=Bottom)
    dividers: Dividers = field(default_factory=Dividers)
    divider_stock: PanelAsk = field(default_factory=PanelAsk)
    items: dict[str, Item] = field(default_factory=dict)
    contents: Contents = field(default_factory=Contents)
    fit_into: FitInto = field(default_factory=FitInto)

    def settles(self, direction: str) -> bool:
        """Whether the inside along a direction follows from something other than ``[inside]``."""
        if self.items or getattr(self.fit_into, direction) is not None:
            return True
        if direction == "height":
            return False
        sizes = getattr(self.dividers, direction).sizes
        return bool(sizes) and REST not in sizes


class FillingReader(ValueReader):
    """Reads these tables; as :class:`~boxjoint.job.values.ValueReader`."""

    def _read_filling(self) -> Filling | None:
        """All of them, or ``None`` with at least one problem noted."""
        known = len(self.problems)
        items = self._read_items()
        dividers = self._table(("dividers",))
        filling = Filling(
            bottom=self._read_bottom(),
            dividers=self._read_dividers(dividers, items),
            divider_stock=PanelAsk(
                thickness=self._thickness(("dividers", "thickness"), dividers.get("thickness")),
                material=self._name(("dividers", "material"), dividers.get("material")),
            ),
            items={name: item for name, item in items.items() if item is not None},
            contents=self._read_contents(),
            fit_into=self._read_fit_into(),
        )
        return filling if len(self.problems) == known else None

    def _nm(self, keys: Keys, value: object, window: str) -> int | None:
        """A length in nm; ``None`` where it is left out or wrong."""
        mm = None if value is None else self._length(keys, value, FILLING_WINDOWS[window])
        return None if mm is None else to_nm(mm)

    def _whole(self, keys: Keys, value: object, most: int) -> int | None:
        """A whole number from 1 up to ``most``."""
        if isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= most:
            return value
        self._wrong(
            keys,
            f"{keys[-1]} must be a whole number",
            value,
            limit=f"from 1 to {most}",
        )
        return None

    def _by_direction(self, keys: Keys, value: object, example: str) -> dict[str, object]:
        """A table whose keys are directions."""
        if not isinstance(value, dict):
            self._wrong(keys, f"{keys[-1]} must name its directions", value, limit=example)
            return {}
        return {name: v for name, v in self._table(keys).items() if name in DIRECTIONS}

    def _read_bottom(self) -> Bottom:
        table = self._table(("bottom",))
        raised = self._nm(("bottom", "raised"), table.get("raised"), "raised") or 0
        legs = self._nm(("bottom", "legs"), table.get("legs"), "legs") or 0
        return Bottom(raised=raised, legs=legs)

    def _read_fit_into(self) -> FitInto:
        table = self._table(("fit_into",))
        return FitInto(
            **{d: self._nm(("fit_into", d), table.get(d), "fit into") for d in DIRECTIONS}
        )

    def _read_contents(self) -> Contents:
        table = self._table(("contents",))
        keys: Keys = ("contents", "finger_room")
        rooms = {}
        example = "such as { width = 20 }"
        for name, value in self._by_direction(keys, table.get("finger_room", {}), example).items():
            room = self._nm((*keys, name), value, "finger room")
            if room is not None:
                rooms[name] = room
        return Contents(
            clearance=self._nm(
                ("contents", "clearance"), table.get("clearance"), "contents clearance"
            ),
            lining=self._nm(("contents", "lining"), table.get("lining"), "lining") or 0,
            finger_room=rooms,
        )

    # Items

    def _read_items(self) -> dict[str, Item | None]:
        """Every named item; ``None`` where it is wrong."""
        found: dict[str, Item | None] = {}
        for name, table in self._table(("items",)).items():
            keys: Keys = ("items", name)
            if not isinstance(table, dict):
                self._wrong(keys, f"{name} must be a table", table, limit='such as { of = "A5" }')
                found[name] = None
                continue
            if name == REST or not name.strip() or self._name(keys, name) is None:
                if name == REST or not name.strip():
                    self._wrong(keys, "an item cannot be called so", name, do="name what it is")
                found[name] = None
                continue
            known = len(self.problems)
            item = self._read_item(keys)
            found[name] = item if len(self.problems) == known else None
        return found

    def _read_item(self, keys: Keys) -> Item | None:
        table = self._table(keys)
        size = self._item_size((*keys, "size"), table.get("size"))
        of = self._name((*keys, "of"), table.get("of"))
        if "of" in table and "size" in table:
            self._wrong(
                (*keys, "size"), "of and size exclude each other", table["size"],
                do="keep one of the two",
            )  # fmt: skip
        elif "of" not in table and "size" not in table:
            example = f'of = "A5", or size = {_SIZE_WANTED}'
            self.problems.append(
                Problem(keys=keys, table=True, what="no size", do=f"write {example}")
            )
        thickness = self._nm((*keys, "thickness"), table.get("thickness"), "item")
        if "size" in table and "thickness" in table:
            self._wrong(
                (*keys, "thickness"), "the size has a thickness already", table["thickness"],
                do="change the last number of size",
            )  # fmt: skip
        if of is not None:
            self._check_standard(keys, of, "thickness" in table)
        count = self._whole((*keys, "count"), table.get("count", 1), MOST_ITEMS)
        lie = self._choice((*keys, "lie"), table.get("lie"), LIES)
        turned = table.get("turned", False)
        if not isinstance(turned, bool):
            self._wrong((*keys, "turned"), "turned is true or false", turned)
        rows: dict[str, int] = {}
        example = "such as { length = 4 }"
        place: Keys = (*keys, "rows")
        for d, value in self._by_direction(place, table.get("rows", {}), example).items():
            number = self._whole((*place, d), value, MOST_ITEMS)
            if number is not None:
                rows[d] = number
        if (size is None) == (not of):
            return None
        return Item(
            size=size,
            of=of or "",
            thickness=thickness,
            count=count or 1,
            lie=cast(Lie, lie or "flat"),
            turned=bool(turned),
            rows=rows,
        )

    def _item_size(self, keys: Keys, value: object) -> tuple[int, int, int] | None:
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 3:
            self._wrong(keys, "size must have three lengths", value, limit=_SIZE_WANTED)
            return None
        read = [self._nm((*keys, n), v, "item") for n, v in enumerate(value)]
        length, width, thickness = read
        if length is None or width is None or thickness is None:
            return None
        return length, width, thickness

    def _check_standard(self, keys: Keys, of: str, thick: bool) -> None:
        """Note an unknown name, or a sheet whose stack has no thickness."""
        try:
            standard = standard_item(of)
        except InputError as error:
            self._wrong((*keys, "of"), error.what, of, limit=error.limit, do=error.do)
            return
        if standard.thickness is None and not thick:
            self.problems.append(
                Problem(
                    keys=keys,
                    table=True,
                    what="thickness is missing",
                    value=f"{standard.name} is a sheet of {standard.standard}",
                    do="write thickness = ... of the stack or book",
                )
            )

    # Dividers

    def _read_dividers(self, table: dict[str, object], items: dict[str, Item | None]) -> Dividers:
        length, width = (self._read_compartments(d, items) for d in DIRECTIONS[:2])
        if len(length) * len(width) > MOST_GRID and min(len(length), len(width)) > 1:
            self.problems.append(
                Problem(
                    keys=("dividers",),
                    table=True,
                    what="too many compartments",
                    value=f"{len(length)} x {len(width)} = {len(length) * len(width)}",
                    limit=f"at most {MOST_GRID} in one box",
                    do="make several boxes",
                )
            )
        fixing = self._choice(("dividers", "fixing"), table.get("fixing"), FIXINGS)
        if "clearance" in table and fixing != "loose":
            self._wrong(
                ("dividers", "clearance"), "only loose dividers have a clearance of their own",
                table["clearance"], do='set fixing = "loose", or leave clearance out',
            )  # fmt: skip
        return Dividers(
            length=length,
            width=width,
            height=self._nm(("dividers", "height"), table.get("height"), "divider height"),
            fixing=cast(Fixing, fixing or "tabbed"),
            clearance=self._nm(
                ("dividers", "clearance"), table.get("clearance"), "divider clearance"
            ),
        )

    def _read_compartments(self, direction: str, items: dict[str, Item | None]) -> Compartments:
        keys: Keys = ("dividers", direction, "compartments")
        value = self._table(keys[:-1]).get("compartments", 1)
        if not isinstance(value, list):
            if isinstance(value, int) and not isinstance(value, bool):
                return Compartments(count=self._whole(keys, value, MOST_COMPARTMENTS) or 1)
            self._wrong(keys, "no such compartments", value, limit=_COMPARTMENTS_WANTED)
            return Compartments()
        if not 1 <= len(value) <= MOST_COMPARTMENTS:
            self._wrong(
                keys, f"{len(value)} compartments", value, limit=f"1 to {MOST_COMPARTMENTS}"
            )
            return Compartments()
        sizes = [self._compartment((*keys, n), v, items) for n, v in enumerate(value)]
        if sizes.count(REST) > 1:
            again = [n for n, s in enumerate(sizes) if s == REST][1]
            self._wrong(
                (*keys, again), "a second rest", REST,
                limit="at most one compartment takes the rest", do="give it a size",
            )  # fmt: skip
            return Compartments()
        return Compartments(sizes=tuple(size for size in sizes if size is not None))

    def _compartment(
        self, keys: Keys, value: object, items: dict[str, Item | None]
    ) -> int | str | None:
        """A size, nm, or rest, or the name of an item."""
        if isinstance(value, str) and (value == REST or value in items):
            return value
        known = len(self.problems)
        size = self._nm(keys, value, "compartment") if value is not None else None
        if size is None and isinstance(value, str) and not any(c.isdigit() for c in value):
            names = (REST, *items)
            del self.problems[known:]
            self._wrong(
                keys,
                "no such compartment",
                value,
                limit=f'a length, "{REST}", or one of [items]' + _listed(tuple(items)),
                do=nearest_name(value, names),
            )
        return size


def _listed(names: tuple[str, ...]) -> str:
    return f": {', '.join(names[:8])}" if names else ", of which there are none"

"""The tables of what stands on, in and around a box: its top, a stack, drawers; and layers of panels."""

from __future__ import annotations

from typing import cast

from boxjoint.errors import InputError
from boxjoint.job.filling_tables import FillingReader
from boxjoint.job.keys import Keys
from boxjoint.job.limits import MOST_LAYERS, TOP_WINDOWS
from boxjoint.job.tops import (
    INSIDE_OF,
    MOST_DRAWERS,
    PULLS,
    TILL_ON,
    TOPS,
    Drawers,
    InsideOf,
    Pull,
    Stack,
    Till,
    TillOn,
    Top,
    TopKind,
)
from boxjoint.units import to_nm

__all__ = ["TopReader"]

#: Compartments of a till in one direction.
MOST_TILL = 100


class TopReader(FillingReader):
    """Reads the tables of tops, stacks and drawers."""

    def _around(self, keys: Keys, value: object) -> int | None:
        """A length with the window of its table and key, nm."""
        if value is None:
            return None
        mm = self._length(keys, value, TOP_WINDOWS[str(keys[0]), str(keys[1])])
        return None if mm is None else to_nm(mm)

    def _count(self, keys: Keys, value: object, most: int) -> int | None:
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= most:
            self._wrong(
                keys, f"no such count of {keys[0] if keys[-1] == 'count' else keys[-1]}", value,
                limit=f"a whole number from 1 to {most}",
            )  # fmt: skip
            return None
        return value

    def _read_top(self) -> Top | None:
        table = self._table(("top",))
        before = len(self.problems)
        kind = self._choice(("top", "kind"), table.get("kind"), TOPS)
        clearance, depth, lip, gap, pin = (
            self._around(("top", key), table.get(key))
            for key in ("clearance", "depth", "lip", "gap", "pin")
        )
        notch = table.get("notch", False)
        if not isinstance(notch, bool):
            self._wrong(("top", "notch"), "notch is neither true nor false", notch)
        if len(self.problems) > before:
            return None
        return Top(
            notch=bool(notch),
            kind=cast("TopKind", kind or "open"),
            clearance=clearance,
            depth=depth,
            lip=lip,
            gap=gap,
            pin=pin,
        )

    def _read_till(self) -> Till | None:
        table = self._table(("till",))
        before = len(self.problems)
        on = self._choice(("till", "on"), table.get("on"), TILL_ON)
        height, clearance = (
            self._around(("till", key), table.get(key)) for key in ("height", "clearance")
        )
        columns, rows = (
            self._count(("till", key), table.get(key), MOST_TILL) or 1
            for key in ("columns", "rows")
        )
        notch = table.get("notch", False)
        if not isinstance(notch, bool):
            self._wrong(("till", "notch"), "notch is neither true nor false", notch)
        if len(self.problems) > before:
            return None
        return Till(
            on=cast("TillOn | None", on),
            height=height,
            clearance=clearance,
            columns=columns,
            rows=rows,
            notch=bool(notch),
        )

    def _read_stack(self) -> Stack | None:
        table = self._table(("stack",))
        before = len(self.problems)
        count = self._count(("stack", "count"), table.get("count"), MOST_DRAWERS)
        clearance = self._around(("stack", "clearance"), table.get("clearance"))
        if len(self.problems) > before:
            return None
        return Stack(count=1 if count is None else count, clearance=clearance)

    def _read_drawers(self) -> Drawers | None:
        table = self._table(("drawers",))
        before = len(self.problems)
        count = self._count(("drawers", "count"), table.get("count"), MOST_DRAWERS)
        clearance, above, behind = (
            self._around(("drawers", key), table.get(key))
            for key in ("clearance", "above", "behind")
        )
        inside_of = self._choice(("drawers", "inside_of"), table.get("inside_of"), INSIDE_OF)
        pull = self._choice(("drawers", "pull"), table.get("pull"), PULLS)
        stops = table.get("stops", True)
        if not isinstance(stops, bool):
            self._wrong(("drawers", "stops"), "stops is neither true nor false", stops)
        heights = table.get("heights", [])
        if not isinstance(heights, list) or ("heights" in table and not heights):
            self._wrong(
                ("drawers", "heights"), "heights must be a list of lengths", heights,
                limit="one for each drawer, from the top down, such as [30, 30, 60]",
            )  # fmt: skip
            heights = []
        read = [self._around(("drawers", "heights", n), h) for n, h in enumerate(heights[:1000])]
        if "heights" in table and "count" in table and count and len(heights) != count:
            self._wrong(
                ("drawers", "heights"), f"{len(heights)} heights for {count} drawers", heights,
                limit="one for each drawer, or none at all",
            )  # fmt: skip
        if len(heights) > MOST_DRAWERS:
            self._wrong(
                ("drawers", "heights"), "too many drawers", heights, limit=f"at most {MOST_DRAWERS}"
            )
        if len(self.problems) > before:
            return None
        try:
            return Drawers(
                count=len(read) if count is None else count,
                heights=tuple(h for h in read if h is not None),
                inside_of=cast("InsideOf", inside_of or "case"),
                clearance=clearance,
                above=above,
                behind=behind,
                stops=bool(stops),
                pull=cast("Pull | None", pull),
            )
        except InputError as error:
            self._wrong(("drawers",), error.what, table, limit=error.limit)
            return None

    def _layers(self, keys: Keys, value: object) -> int | None:
        return self._count(keys, value, MOST_LAYERS)

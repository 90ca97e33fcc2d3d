"""The tables of the sheets that a job is cut from, of how its panels lie on them, and of seams."""

from __future__ import annotations

from typing import cast

from boxjoint.job.keys import Keys
from boxjoint.job.limits import (
    MOST_KEEP_OUTS,
    MOST_SHEETS,
    SHEET_WINDOWS,
    segments_problem,
)
from boxjoint.job.seams import SeamAsk
from boxjoint.job.sheets import (
    AXES,
    FACES,
    MOST_BRIDGES,
    MOST_LEVEL,
    TURNS,
    Face,
    Nesting,
    Rectangle,
    SheetAsk,
    Turn,
)
from boxjoint.job.top_tables import TopReader
from boxjoint.units import to_nm

__all__ = ["SheetReader"]


class SheetReader(TopReader):
    """Reads the tables of sheets and nesting."""

    def _sheet_nm(self, keys: Keys, value: object, window: str) -> int | None:
        if value is None:
            return None
        mm = self._length(keys, value, SHEET_WINDOWS[window])
        return None if mm is None else to_nm(mm)

    def _lengths(self, keys: Keys, value: object, windows: tuple[str, ...], like: str) -> list[int]:
        """A list of as many lengths as there are windows; empty where one is wrong."""
        if not isinstance(value, list) or len(value) != len(windows):
            self._wrong(keys, f"{keys[-1]} is no list of {len(windows)} lengths", value, limit=like)
            return []
        found = [
            self._sheet_nm((*keys, n), item, window)
            for n, (item, window) in enumerate(zip(value, windows, strict=True))
        ]
        return [] if None in found else cast("list[int]", found)

    def _flag(self, keys: Keys, value: object, plain: bool) -> bool:
        if value is None:
            return plain
        if not isinstance(value, bool):
            self._wrong(keys, f"{keys[-1]} is neither true nor false", value)
            return plain
        return value

    def _axis(self, keys: Keys, value: object) -> str:
        return self._choice(keys, value, AXES) or ""

    def _turn(self, keys: Keys, value: object) -> Turn | None:
        return cast("Turn | None", self._choice(keys, value, TURNS))

    def _keep_outs(self, keys: Keys, value: object) -> tuple[Rectangle, ...]:
        like = "such as [[0, 0, 30, 20]]: x, y, width, height of each"
        if not isinstance(value, list) or len(value) > MOST_KEEP_OUTS:
            self._wrong(
                keys, f"keep_outs is no list of at most {MOST_KEEP_OUTS}", value, limit=like
            )
            return ()
        windows = ("place", "place", "reach", "reach")
        read = [self._lengths((*keys, n), item, windows, like) for n, item in enumerate(value)]
        return tuple((r[0], r[1], r[2], r[3]) for r in read if r)

    def _read_sheets(self) -> dict[str, SheetAsk]:
        found = {}
        for name, table in self._table(("sheets",)).items():
            keys: Keys = ("sheets", name)
            if not isinstance(table, dict):
                self._wrong(keys, f"{name} must be a table", table, limit="size = [600, 300]")
                continue
            if not name.strip() or self._name(keys, name) is None:
                if not name.strip():
                    self._wrong(keys, "a sheet needs a name", name)
                continue
            table = self._table(keys)
            if "size" not in table:
                self._missing((*keys, "size"), "size = [600, 300], along the bed's X and Y")
            size = self._lengths(
                (*keys, "size"), table.get("size", [1, 1]), ("size", "size"), "such as [600, 300]"
            )
            count = table.get("count")
            if count is not None and (
                isinstance(count, bool)
                or not isinstance(count, int)
                or not 0 < count <= MOST_SHEETS
            ):
                self._wrong(
                    (*keys, "count"), "no such count of sheets", count,
                    limit=f"a whole number from 1 to {MOST_SHEETS}; left out: as many as needed",
                )  # fmt: skip
                count = None
            sheet = SheetAsk(
                size=(size[0], size[1]) if size else (1, 1),
                count=count,
                material=self._name((*keys, "material"), table.get("material")),
                thickness=self._thickness((*keys, "thickness"), table.get("thickness")),
                offcut=self._flag((*keys, "offcut"), table.get("offcut"), False),
                grain=self._axis((*keys, "grain"), table.get("grain")),
                keep_outs=self._keep_outs((*keys, "keep_outs"), table.get("keep_outs", [])),
            )
            found[name] = sheet
        return found

    def _read_nest(self) -> Nesting:
        table, plain = self._table(("nest",)), Nesting()
        bed = None
        if "bed" in table:
            like = "such as [400, 300]"
            read = self._lengths(("nest", "bed"), table["bed"], ("bed", "bed"), like)
            bed = (read[0], read[1]) if read else None
        level = table.get("level", plain.level)
        if isinstance(level, bool) or not isinstance(level, int) or not 0 <= level <= MOST_LEVEL:
            self._wrong(
                ("nest", "level"), "no such level", level,
                limit=f"0 to {MOST_LEVEL}; higher searches longer",
            )  # fmt: skip
            level = plain.level
        flags = {
            name: self._flag(("nest", name), table.get(name), getattr(plain, name))
            for name in ("windows", "continuous", "one_axis", "labels")
        }
        if flags["continuous"] and flags["one_axis"]:
            self._wrong(
                ("nest", "one_axis"), "continuous and one_axis exclude each other", True,
                do="the walls in one strip lie as they lie; keep one of the two",
            )  # fmt: skip
        bridges = table.get("bridges")
        if bridges is not None and (
            isinstance(bridges, bool)
            or not isinstance(bridges, int)
            or not 0 < bridges <= MOST_BRIDGES
        ):
            self._wrong(
                ("nest", "bridges"), "no such count of bridges", bridges,
                limit=f"a whole number from 1 to {MOST_BRIDGES}; left out: by the size of the panel",
            )  # fmt: skip
            bridges = None
        return Nesting(
            spacing=self._sheet_nm(("nest", "spacing"), table.get("spacing"), "spacing"),
            margin=self._sheet_nm(("nest", "margin"), table.get("margin"), "margin"),
            bed=bed,
            keep_outs=self._keep_outs(("nest", "keep_outs"), table.get("keep_outs", [])),
            turn=self._turn(("nest", "turn"), table.get("turn")) or plain.turn,
            face=cast(
                "Face", self._choice(("nest", "face"), table.get("face"), FACES) or plain.face
            ),
            level=level,
            support=self._sheet_nm(("nest", "support"), table.get("support"), "support"),
            bridges=bridges,
            lead_in=self._sheet_nm(("nest", "lead_in"), table.get("lead_in"), "lead_in"),
            bridge_width=self._sheet_nm(
                ("nest", "bridge_width"), table.get("bridge_width"), "bridge_width"
            ),
            **flags,
        )

    def _read_seams(self) -> SeamAsk:
        table = self._table(("seams",))
        steps = table.get("steps")
        if steps is not None:
            if not isinstance(steps, int) or isinstance(steps, bool):
                self._wrong(("seams", "steps"), "a count of steps must be a whole number", steps)
                steps = None
            elif problem := segments_problem(("seams", "steps"), steps):
                self.problems.append(problem)
                steps = None
        lengths = {
            name: self._sheet_nm(("seams", name), table.get(name), window)
            for name, window in (("longest", "longest"), ("depth", "depth"), ("relief", "relief"))
        }
        return SeamAsk(
            allowed=self._flag(("seams", "allowed"), table.get("allowed"), False),
            steps=steps,
            **lengths,
        )

"""From the tables of a job file to its records: every key, its kind and its window.

Nothing is guessed and nothing stops at the first slip: a reader walks all tables and notes what is
wrong with each value; a job comes out only when nothing was.
"""

from __future__ import annotations

import dataclasses
import unicodedata
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, cast

from boxjoint.errors import UnitError, nearest_name
from boxjoint.job.keys import TABLES, Keys, known_keys, suggest_key
from boxjoint.job.limits import (
    MOST_READINGS,
    WINDOWS,
    Window,
    outside,
    rank_problem,
    segments_problem,
    thickness_problem,
)
from boxjoint.job.problems import Problem, quoted
from boxjoint.job.records import (
    DIRECTIONS,
    FITS,
    PANELS,
    Cut,
    Ends,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    ShopAsk,
    Stock,
    Thickness,
    Top,
    Unit,
)
from boxjoint.units import read_length, to_nm

__all__ = ["TableReader"]

_MOST_NAME = 200
_LENGTH_WANTED = 'a number, or a text with its unit such as "6.35 mm" or "3 1/8 in"'
_SIGNED = ("clearance", "sheet_clearance")
_JOINT_LENGTHS = (
    "clearance",
    "sheet_clearance",
    "tab_width",
    "web",
    "shoulder_relief",
    "floor_relief",
    "corner_relief",
)


def _plain(value: object) -> str:
    """A value as TOML would have it, as far as a message needs it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(f'"{value}"')
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > 10**30:
        return "a number of many digits"
    return quoted(str(value))


class TableReader:
    """Reads the tables of one document and gathers what is wrong on the way in ``problems``.

    Parameters
    ----------
    data
        The document, its floats as ``Decimal``.
    path
        Name of the file; without its ending it is the title when there is none.
    proceed
        True accepts a kerf outside the window of plausible kerfs.

    Notes
    -----
    Every method returns ``None`` for what is left out and for what it has found wrong; the caller
    builds a job only when nothing was.
    """

    def __init__(self, data: dict[str, Any], path: str, proceed: bool) -> None:
        self.data = data
        self.path = path
        self.proceed = proceed
        self.unit: Unit | None = None
        self.problems: list[Problem] = []

    # What every table needs

    def _wrong(
        self, keys: Keys, what: str, value: object, *, limit: str = "", do: str = ""
    ) -> None:
        """Note that the value at ``keys`` cannot stay."""
        self.problems.append(
            Problem(keys=keys, what=what, value=_plain(value), written=True, limit=limit, do=do)
        )

    def _missing(self, keys: Keys, example: str) -> None:
        """Note that a key has to be written; the place named is its table."""
        *table, name = keys
        self.problems.append(
            Problem(keys=tuple(table), table=True, what=f"{name} is missing", do=f"write {example}")
        )

    def _table(self, keys: Keys) -> dict[str, Any]:
        """The table at ``keys``, empty where it is left out or not a table; refuses unknown keys."""
        value: Any = self.data
        for key in keys:
            value = value.get(key, {})
        if not isinstance(value, dict):
            self._wrong(keys, f"{keys[-1]} must be a table", value)
            return {}
        known = known_keys(keys) or ()
        for name, inner in value.items():
            if name not in known:
                whole = (*keys, name)
                self.problems.append(
                    Problem(
                        keys=whole,
                        what="no such table" if isinstance(inner, dict) else "no such key",
                        table=isinstance(inner, dict),
                        limit=f"known here: {', '.join(known)}",
                        do=suggest_key(whole),
                    )
                )
        return value

    def _length(
        self, keys: Keys, value: object, window: Window, *, signed: bool = False
    ) -> Fraction | None:
        """A length inside its window, mm, exact."""
        if isinstance(value, bool) or not isinstance(value, int | Decimal | str):
            self._wrong(keys, f"{window.name} is not a length", value, limit=_LENGTH_WANTED)
            return None
        if self.unit is None and not isinstance(value, str):
            return None  # the missing unit is the problem
        try:
            mm = read_length(value, unit=self.unit or "mm", what=window.name, signed=signed)
        except UnitError as error:
            self._wrong(keys, error.what, value, limit=error.limit, do=error.do)
            return None
        return self._inside_window(keys, value, window, mm)

    def _inside_window(
        self, keys: Keys, value: object, window: Window, read: Fraction
    ) -> Fraction | None:
        """The value as read, or ``None`` where its window refuses it."""
        problem = outside(window, keys, read, unit=self.unit or "mm", proceed=self.proceed)
        if problem is None:
            return read
        shown = "" if window.form == "ratio" else problem.value
        self.problems.append(
            dataclasses.replace(problem, value=_plain(value), read=shown, written=True)
        )
        return None

    def _length_nm(self, keys: Keys, value: object, *, signed: bool = False) -> int | None:
        """A length with the window of its key, rounded once to nm; ``None`` where it is left out."""
        if value is None:
            return None
        mm = self._length(keys, value, WINDOWS[str(keys[-1])], signed=signed)
        return None if mm is None else to_nm(mm)

    def _choice(self, keys: Keys, value: object, names: tuple[str, ...]) -> str | None:
        """One of the names."""
        if value is None or (isinstance(value, str) and value in names):
            return value
        near = nearest_name(value.lower(), names) if isinstance(value, str) else ""
        quoted_names = ", ".join(f'"{name}"' for name in names)
        self._wrong(keys, f"{keys[-1]} is none of the known", value, limit=quoted_names, do=near)
        return None

    def _name(self, keys: Keys, value: object) -> str | None:
        """A line of text."""
        if value is None:
            return None
        if not isinstance(value, str):
            self._wrong(keys, f"{keys[-1]} must be text", value, limit="a text in quotes")
        elif len(value) > _MOST_NAME:
            self._wrong(keys, f"{keys[-1]} is too long", value, limit=f"{_MOST_NAME} characters")
        elif any(unicodedata.category(char) in ("Cc", "Zl", "Zp") for char in value):
            self._wrong(keys, f"{keys[-1]} must be one line of plain text", value)
        else:
            return value
        return None

    # The tables of a job

    def job(self) -> Job | None:
        """The job, or ``None`` with at least one problem noted."""
        top = self._table(())
        self.unit = self._read_unit(top.get("unit"))
        title = self._name(("title",), top.get("title"))
        inside = self._read_inside()
        stock = self._read_stock()
        panels = self._read_panels()
        cut = self._read_cut()
        joint = self._read_joint()
        shop = self._read_shop()
        kind = self._choice(("top", "kind"), self._table(("top",)).get("kind"), ("open", "closed"))
        if self.problems or self.unit is None or inside is None or stock is None:
            return None
        if title is None:
            stem = Path(self.path).stem[:_MOST_NAME]
            title = "".join(char if char.isprintable() else " " for char in stem)
        return Job(
            title=title,
            unit=self.unit,
            inside=inside,
            stock=stock,
            panels=panels,
            cut=cut or Cut(),
            joint=joint or JointAsk(),
            top=Top(kind=cast(Literal["open", "closed"], kind or "open")),
            shop=shop,
            path=self.path,
        )

    def _read_shop(self) -> ShopAsk:
        table = self._table(("shop",))
        names = {k: self._name(("shop", k), table[k]) for k in TABLES["shop",] if k in table}
        return ShopAsk(**{k: v for k, v in names.items() if v is not None})

    def _read_unit(self, value: object) -> Unit | None:
        if value is None:
            self._missing(
                ("unit",), 'unit = "mm" or unit = "in" at the top: what a bare number means'
            )
        return cast("Unit | None", self._choice(("unit",), value, ("mm", "in")))

    def _read_inside(self) -> Inside | None:
        table = self._table(("inside",))
        sizes = {}
        for name in DIRECTIONS:
            if name not in table:
                self._missing(("inside", name), f"{name} = ... under [inside], the space asked for")
                continue
            mm = self._length(("inside", name), table[name], WINDOWS["inside"])
            if mm is not None:
                sizes[name] = to_nm(mm)
        return Inside(**sizes) if len(sizes) == len(DIRECTIONS) else None

    def _read_stock(self) -> Stock | None:
        table = self._table(("stock",))
        material = self._name(("stock", "material"), table.get("material"))
        if "material" not in table:
            self._missing(("stock", "material"), 'material = "birch plywood", or what it is')
        elif material is not None and not material.strip():
            self._wrong(("stock", "material"), "material is empty", material)
        thickness = self._thickness(("stock", "thickness"), table.get("thickness"))
        if "thickness" not in table:
            self._missing(("stock", "thickness"), "thickness = ... as measured with calipers")
        if material is None or thickness is None:
            return None
        return Stock(material=material, thickness=thickness)

    def _read_panels(self) -> dict[str, PanelAsk]:
        panels = {}
        for name in self._table(("panels",)):
            if name in PANELS:
                table = self._table(("panels", name))
                keys = ("panels", name)
                panels[name] = PanelAsk(
                    thickness=self._thickness((*keys, "thickness"), table.get("thickness")),
                    material=self._name((*keys, "material"), table.get("material")),
                )
        return panels

    def _thickness(self, keys: Keys, value: object) -> Thickness | None:
        """One number, or a list of readings."""
        if value is None:
            return None
        window = WINDOWS["thickness"]
        if not isinstance(value, list):
            mm = self._length(keys, value, window)
            return None if mm is None else Thickness(readings=(to_nm(mm),), measured=False)
        if not value:
            self._wrong(keys, "no thickness readings in the list", value, limit="at least one")
            return None
        if len(value) > MOST_READINGS:
            self._wrong(
                keys, f"{len(value)} thickness readings", value, limit=f"at most {MOST_READINGS}"
            )
            return None
        read = [self._length((*keys, n), item, window) for n, item in enumerate(value)]
        readings = [mm for mm in read if mm is not None]
        if len(readings) < len(value):
            return None
        problem = thickness_problem(keys, readings, unit=self.unit or "mm")
        if problem is not None:
            self.problems.append(problem)
            return None
        return Thickness(readings=tuple(map(to_nm, readings)), measured=True)

    def _read_cut(self) -> Cut | None:
        table = self._table(("cut",))
        keys: Keys = ("cut", "tool")
        tool = self._length_nm(keys, table.get("tool"))
        if "tool" in table and "kerf" in table:
            self._wrong(
                keys, "tool and kerf exclude each other", table["tool"],
                limit="tool is a router's cutter, kerf the width that a beam removes",
                do="keep one of the two",
            )  # fmt: skip
        pairs = {name: self._pair(("cut", name), table.get(name)) for name in ("kerf", "scale")}
        return None if self.problems else Cut(kerf=pairs["kerf"], scale=pairs["scale"], tool=tool)

    def _pair(self, keys: Keys, value: object) -> PerAxis | None:
        """One value for both axes of the sheet, or ``{ x = ..., y = ... }``."""
        if value is None:
            return None
        read = self._ratio if keys[-1] == "scale" else self._length
        window = WINDOWS[str(keys[-1])]
        if not isinstance(value, dict):
            both = read(keys, value, window)
            return None if both is None else PerAxis(x=float(both), y=float(both))
        table = self._table(keys)
        for name in ("x", "y"):
            if name not in table:
                self.problems.append(
                    Problem(
                        keys=keys,
                        what=f"{name} is missing",
                        value=_plain(value),
                        written=True,
                        do="write both x and y, or one value for both",
                    )
                )
        x, y = (read((*keys, n), table[n], window) if n in table else None for n in ("x", "y"))
        return None if x is None or y is None else PerAxis(x=float(x), y=float(y))

    def _ratio(self, keys: Keys, value: object, window: Window) -> Fraction | None:
        """A plain number without a unit."""
        number = isinstance(value, int | Decimal) and not isinstance(value, bool)
        if not number or not Decimal(cast(Decimal, value)).is_finite():
            self._wrong(
                keys, f"{window.name} must be a plain number", value, limit="such as 1.0012"
            )
            return None
        if abs(Decimal(cast(Decimal, value)).adjusted()) > 30:
            self._wrong(keys, f"{window.name} is no likely number", value, do=window.hint)
            return None
        return self._inside_window(keys, value, window, Fraction(cast(Decimal, value)))

    def _read_joint(self) -> JointAsk | None:
        table = self._table(("joint",))
        for one, other in (("clearance", "fit"), ("tab_width", "segments")):
            if one in table and other in table:
                self._wrong(
                    ("joint", other), f"{one} and {other} exclude each other", table[other],
                    do="keep one of the two",
                )  # fmt: skip
        lengths = {
            name: self._length_nm(("joint", name), table.get(name), signed=name in _SIGNED)
            for name in _JOINT_LENGTHS
        }
        proud = self._length_nm(("joint", "proud"), table.get("proud", 0), signed=True)
        fit = self._choice(("joint", "fit"), table.get("fit"), FITS)
        ends = self._choice(("joint", "ends"), table.get("ends"), ("inner", "outer"))
        segments = self._segments(table)
        rank = self._rank(table.get("rank", []))
        if self.problems:
            return None
        return JointAsk(
            **lengths,
            proud=proud or 0,
            fit=fit,
            ends=cast(Ends, ends or "inner"),
            segments=segments,
            rank=rank,
        )

    def _segments(self, joint: Mapping[str, object]) -> dict[str, int]:
        """Odd counts by direction; a direction that is left out follows the rule."""
        keys: Keys = ("joint", "segments")
        value = joint.get("segments", {})
        if not isinstance(value, dict):
            self._wrong(
                keys, "segments must name its directions", value,
                limit="such as { length = 9, width = 5, height = 3 }",
            )  # fmt: skip
            return {}
        counts = {}
        for name, count in self._table(keys).items():
            if name not in DIRECTIONS:
                continue
            if not isinstance(count, int) or isinstance(count, bool):
                self._wrong((*keys, name), "a count of segments must be a whole number", count)
                continue
            problem = segments_problem((*keys, name), count)
            if problem is None:
                counts[name] = count
            else:
                self.problems.append(dataclasses.replace(problem, written=True))
        return counts

    def _rank(self, value: object) -> tuple[str, ...]:
        """Names of panels, strongest first; those left out follow in the default rank."""
        keys: Keys = ("joint", "rank")
        if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
            self._wrong(keys, "rank must be a list of names of panels", value)
            return ()
        problem = rank_problem(keys, value)
        if problem is not None:
            self.problems.append(dataclasses.replace(problem, written=True))
        return tuple(value)

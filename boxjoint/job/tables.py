"""From the tables of a job file to its records: every key, its kind and its window.

Nothing is guessed and nothing stops at the first slip: a reader walks all tables and notes what is
wrong with each value; a job comes out only when nothing was.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar, cast

from boxjoint.job.filling_tables import Filling
from boxjoint.job.keys import TABLES, Keys, is_known
from boxjoint.job.limits import WINDOWS, Window, rank_problem, segments_problem
from boxjoint.job.problems import Problem
from boxjoint.job.records import (
    CORNER_STYLES,
    DIRECTIONS,
    FITS,
    CornerStyle,
    Cut,
    Drawers,
    Ends,
    Inside,
    Job,
    JointAsk,
    PanelAsk,
    PerAxis,
    ShopAsk,
    Stack,
    Stock,
    Till,
    Top,
    Unit,
)
from boxjoint.job.sheet_tables import SheetReader
from boxjoint.job.values import MOST_NAME, plain_value
from boxjoint.units import to_nm

if TYPE_CHECKING:
    from boxjoint.job.cutouts import Cutout
    from boxjoint.job.marks import Mark

__all__ = ["TableReader"]

Reader = TypeVar("Reader", bound=SheetReader)

_SIGNED = ("clearance", "sheet_clearance")
_JOINT_LENGTHS = (
    "clearance",
    "sheet_clearance",
    "tab_width",
    "web",
    "shoulder_relief",
    "floor_relief",
    "corner_relief",
    "corner_allowance",
)


class TableReader(SheetReader):
    """Reads the tables of one document and gathers what is wrong on the way in ``problems``.

    Parameters and notes as for :class:`boxjoint.job.values.ValueReader`.
    """

    # The tables of a job

    def job(self) -> Job | None:
        """The job, or ``None`` with at least one problem noted."""
        top = self._table(())
        self.unit = self._read_unit(top.get("unit"))
        title = self._name(("title",), top.get("title"))
        filling = self._read_filling()
        inside = self._read_inside(filling)
        stock = self._read_stock()
        panels = self._read_panels()
        cut = self._read_cut()
        joint = self._read_joint()
        shop = self._read_shop()
        sheets, nest, seams = self._read_sheets(), self._read_nest(), self._read_seams()
        top_ask, stack, drawers = self._read_top(), self._read_stack(), self._read_drawers()
        till = self._read_till()
        cutouts, marks = self._read_cutouts(), self._read_marks()
        if self.problems or self.unit is None or filling is None or stock is None:
            return None
        if title is None:
            stem = Path(self.path).stem[:MOST_NAME]
            title = "".join(char if char.isprintable() else " " for char in stem)
        return Job(
            title=title,
            unit=self.unit,
            inside=inside,
            stock=stock,
            panels=panels,
            cut=cut or Cut(),
            joint=joint or JointAsk(),
            top=top_ask or Top(),
            till=till or Till(),
            stack=stack or Stack(),
            drawers=drawers or Drawers(),
            bottom=filling.bottom,
            dividers=filling.dividers,
            divider_stock=filling.divider_stock,
            items=filling.items,
            contents=filling.contents,
            fit_into=filling.fit_into,
            cutouts=cutouts,
            marks=marks,
            shop=shop,
            sheets=sheets,
            nest=nest,
            seams=seams,
            path=self.path,
        )

    def _read_cutouts(self) -> tuple[Cutout, ...]:
        """What is cut out of panels; its reader is loaded only where there is something."""
        if "cutouts" not in self.data:
            return ()
        from boxjoint.job.cutout_tables import CutoutReader

        return self._as(CutoutReader).cutouts()

    def _read_marks(self) -> tuple[Mark, ...]:
        """What is marked on panels, likewise."""
        if "marks" not in self.data:
            return ()
        from boxjoint.job.mark_tables import MarkReader

        return self._as(MarkReader).marks()

    def _as(self, kind: type[Reader]) -> Reader:
        """Another reader of the same document, which notes what is wrong in the same list."""
        reader = kind(self.data, self.path, self.proceed)
        reader.unit, reader.problems = self.unit, self.problems
        return reader

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

    def _read_inside(self, filling: Filling | None) -> Inside:
        """The sizes that are asked for; one may be left out where something else settles it."""
        table = self._table(("inside",))
        sizes = {}
        for name in DIRECTIONS:
            if name in table:
                mm = self._length(("inside", name), table[name], WINDOWS["inside"])
                if mm is not None:
                    sizes[name] = to_nm(mm)
            elif filling is not None and not filling.settles(name):
                self._missing(("inside", name), f"{name} = ... under [inside], the space asked for")
        return Inside(**sizes)

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
        film = self._around(("stock", "film"), table.get("film"))
        if material is None or thickness is None:
            return None
        return Stock(material=material, thickness=thickness, film=film)

    def _read_panels(self) -> dict[str, PanelAsk]:
        panels = {}
        for name in self._table(("panels",)):
            if is_known(("panels", name)):
                table = self._table(("panels", name))
                keys = ("panels", name)
                panels[name] = PanelAsk(
                    thickness=self._thickness((*keys, "thickness"), table.get("thickness")),
                    material=self._name((*keys, "material"), table.get("material")),
                    layers=self._layers((*keys, "layers"), table.get("layers")),
                    grain=self._axis((*keys, "grain"), table.get("grain")),
                    turn=self._turn((*keys, "turn"), table.get("turn")),
                    seam=self._sheet_nm((*keys, "seam"), table.get("seam"), "seam"),
                )
        return panels

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
        edge_sd = self._length_nm(("cut", "edge_sd"), table.get("edge_sd"))
        if self.problems:
            return None
        return Cut(kerf=pairs["kerf"], scale=pairs["scale"], tool=tool, edge_sd=edge_sd)

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
                        value=plain_value(value),
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
        style = self._choice(("joint", "corner_style"), table.get("corner_style"), CORNER_STYLES)
        segments = self._segments(table)
        rank = self._rank(table.get("rank", []))
        if self.problems:
            return None
        return JointAsk(
            **lengths,
            proud=proud or 0,
            fit=fit,
            ends=cast(Ends, ends or "inner"),
            corner_style=cast(CornerStyle, style or "diagonal"),
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

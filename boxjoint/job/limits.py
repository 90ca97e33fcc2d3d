"""How large each value of a job may be, and what is usual: one table, one rule for a wrong value.

A value outside its window is refused. Inside it, but outside what is usual, it is only questioned
(:mod:`boxjoint.job.questions`). The windows are common practice, no source, and wide on purpose: they
catch a wrong unit or a decimal slip, they do not judge a design. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from boxjoint.errors import nearest_name
from boxjoint.job.keys import Keys
from boxjoint.job.problems import Problem
from boxjoint.job.words import PANELS, Unit
from boxjoint.units import both, mm_and_thou, to_nm

__all__ = [
    "CUTOUT_WINDOWS",
    "FILLING_WINDOWS",
    "MARK_WINDOWS",
    "MOST_COMPARTMENTS",
    "MOST_GRID",
    "MOST_ITEMS",
    "MOST_LAYERS",
    "MOST_READINGS",
    "MOST_SEGMENTS",
    "MOST_SPREAD",
    "TOP_WINDOWS",
    "WINDOWS",
    "Window",
    "outside",
    "rank_problem",
    "segments_problem",
    "shown",
    "thickness_problem",
]

#: More readings than this of one sheet are a mistake.
MOST_READINGS = 1000
#: (greatest - least) / mean of the readings of one sheet; above it, one of them is a slip.
MOST_SPREAD = Fraction(15, 100)
#: Segments of one run.
MOST_SEGMENTS = 20001


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """What a value may be.

    Parameters
    ----------
    name
        What it is called in messages.
    least, most
        Refused outside, mm (a plain ratio for scale).
    usual
        Questioned outside, in the same unit; ``None``: never.
    form
        How it is shown: ``"length"`` in mm and inches, ``"small"`` in mm and thou, ``"ratio"``.
    hint
        What is usually behind a value outside.
    """

    name: str
    least: Fraction
    most: Fraction
    usual: tuple[Fraction, Fraction] | None = None
    form: str = "length"
    hint: str = ""

    def holds(self, value: Fraction) -> bool:
        """Tell whether the value is accepted."""
        return self.least <= value <= self.most

    def is_usual(self, value: Fraction) -> bool:
        """Tell whether the value needs no question."""
        return self.usual is None or self.usual[0] <= value <= self.usual[1]


_F = Fraction
_HOUSE = _F(5000)  # no sheet is longer

_UNIT_HINT = "check the unit of the file and the decimal point"
_KERF_HINT = (
    "kerf is the full width that the beam removes, not the half that one edge loses; check for half "
    "a kerf, a double one, thou read as inches, and a slip of the decimal point"
)
_FIT_HINT = "clearance is slot minus tab: positive is loose, negative is interference"
_SCALE_HINT = "scale is size cut over size drawn, not the other way round and not in per cent"

#: Windows by the name of the key; ``inside`` and ``panels`` share theirs.
WINDOWS: dict[str, Window] = {
    "inside": Window(
        name="inside size", least=_F(1, 10), most=_HOUSE, usual=(_F(5), _F(2500)),
        hint=_UNIT_HINT,
    ),
    "thickness": Window(
        name="thickness", least=_F(3, 10), most=_F(50), usual=(_F(1), _F(20)), hint=_UNIT_HINT
    ),
    "kerf": Window(
        name="kerf", least=_F(1, 100), most=_F(3, 2), usual=(_F(5, 100), _F(40, 100)),
        form="small", hint=_KERF_HINT,
    ),
    "scale": Window(
        name="scale", least=_F(9, 10), most=_F(11, 10), usual=(_F(98, 100), _F(102, 100)),
        form="ratio", hint=_SCALE_HINT,
    ),
    "tool": Window(
        name="tool", least=_F(1, 10), most=_F(25),
        hint="tool is the diameter of a router's cutter",
    ),
    "edge_sd": Window(
        name="edge sd", least=_F(0), most=_F(2, 10), usual=(_F(0), _F(5, 100)), form="small",
        hint="edge sd is the standard deviation of the place of one cut edge",
    ),
    "clearance": Window(
        name="clearance", least=_F(-5, 10), most=_F(1), usual=(_F(-15, 100), _F(30, 100)),
        form="small", hint=_FIT_HINT,
    ),
    "sheet_clearance": Window(
        name="sheet clearance", least=_F(-5, 10), most=_F(1), usual=(_F(-15, 100), _F(30, 100)),
        form="small", hint="sheet clearance is slot minus sheet thickness: positive is loose",
    ),
    "tab_width": Window(
        name="tab width", least=_F(1, 10), most=_HOUSE, hint=_UNIT_HINT
    ),
    "proud": Window(
        name="proud", least=_F(-5), most=_F(10), usual=(_F(-2), _F(2)),
        hint="proud is how far a tip stands out beyond the mate's face; negative is shy",
    ),
    "web": Window(name="web", least=_F(0), most=_HOUSE, hint=_UNIT_HINT),
    "shoulder_relief": Window(name="shoulder relief", least=_F(0), most=_F(5), form="small"),
    "floor_relief": Window(name="floor relief", least=_F(0), most=_F(5), form="small"),
    "corner_relief": Window(
        name="corner relief", least=_F(0), most=_F(5), form="small",
        hint="corner relief is a radius",
    ),
    "corner_allowance": Window(
        name="corner allowance", least=_F(0), most=_F(1), form="small",
        hint="corner allowance is added to the radius of a router's cutter",
    ),
}  # fmt: skip

#: Windows of what fills a box; :func:`boxjoint.job.measures.measures` says which key takes which.
FILLING_WINDOWS: dict[str, Window] = {
    "legs": Window(
        name="width of the legs", least=_F(1), most=_F(1000), usual=(_F(8), _F(150)),
        hint="legs is how much of each wall is left at its ends, below the base",
    ),
    "raised": Window(
        name="height of the raised base", least=_F(0), most=_F(1000), usual=(_F(0), _F(100)),
        hint="raised is how far the walls reach down below the base",
    ),
    "compartment": Window(name="compartment", least=_F(1, 10), most=_HOUSE, hint=_UNIT_HINT),
    "divider height": Window(
        name="height of the dividers", least=_F(1, 10), most=_HOUSE, hint=_UNIT_HINT
    ),
    "divider clearance": Window(
        name="clearance of loose dividers", least=_F(0), most=_F(20), usual=(_F(2, 10), _F(3)),
        form="small", hint="wall to wall minus divider, both ends together",
    ),
    "item": Window(
        name="size of an item", least=_F(1, 100), most=_HOUSE, hint=_UNIT_HINT
    ),
    "contents clearance": Window(
        name="clearance of the contents", least=_F(0), most=_F(200), usual=(_F(1, 2), _F(20)),
        form="small", hint="compartment minus what lies in it, both sides together",
    ),
    "lining": Window(
        name="lining", least=_F(0), most=_F(100), usual=(_F(0), _F(10)), form="small",
        hint="lining is its thickness on one face",
    ),
    "finger room": Window(
        name="finger room", least=_F(0), most=_F(500), usual=(_F(0), _F(60)), hint=_UNIT_HINT
    ),
    "fit into": Window(
        name="space to fit into", least=_F(1), most=_HOUSE * 2, hint=_UNIT_HINT
    ),
}  # fmt: skip

#: Windows of tops, stacks and drawers, by table and key; :func:`boxjoint.job.measures.measures` uses the same.
TOP_WINDOWS: dict[tuple[str, str], Window] = {
    ("stock", "film"): Window(
        name="film", least=_F(0), most=_F(1), usual=(_F(0), _F(2, 10)), form="small",
        hint="film is what all coats of finish add to one face",
    ),
    ("top", "clearance"): Window(
        name="clearance of the lid", least=_F(5, 100), most=_F(5), usual=(_F(1, 10), _F(1)),
        form="small", hint="clearance of a lid is on each side, not both together",
    ),
    ("top", "depth"): Window(name="depth of the lid", least=_F(1), most=_HOUSE, hint=_UNIT_HINT),
    ("top", "lip"): Window(name="lip", least=_F(1), most=_HOUSE, hint=_UNIT_HINT),
    ("top", "gap"): Window(
        name="gap of the lid", least=_F(5, 100), most=_F(5), usual=(_F(1, 10), _F(1)),
        form="small",
        hint="gap is what a sliding lid leaves free between the rails, above it; of a hinged one it "
        "is hole less pin",
    ),
    ("top", "pin"): Window(
        name="diameter of the pins", least=_F(1), most=_F(20), usual=(_F(15, 10), _F(8)),
        hint=_UNIT_HINT,
    ),
    ("till", "height"): Window(
        name="height of the till's inside", least=_F(1), most=_HOUSE, hint=_UNIT_HINT
    ),
    ("till", "clearance"): Window(
        name="clearance of the till", least=_F(5, 100), most=_F(20), usual=(_F(2, 10), _F(2)),
        form="small", hint="clearance of a till is on each side, not both together",
    ),
    ("stack", "clearance"): Window(
        name="clearance of the lip", least=_F(5, 100), most=_F(5), usual=(_F(1, 10), _F(1)),
        form="small", hint="clearance of a lip is on each side, not both together",
    ),
    ("drawers", "heights"): Window(
        name="height of an opening", least=_F(1), most=_HOUSE, hint=_UNIT_HINT
    ),
    ("drawers", "clearance"): Window(
        name="clearance of the drawers", least=_F(5, 100), most=_F(20), usual=(_F(3, 10), _F(2)),
        form="small", hint="clearance of a drawer is on each side, not both together",
    ),
    ("drawers", "above"): Window(
        name="clearance above the drawers", least=_F(5, 100), most=_F(1000),
        usual=(_F(3, 10), _F(5)), form="small",
    ),
    ("drawers", "behind"): Window(
        name="clearance behind the drawers", least=_F(0), most=_F(1000), usual=(_F(0), _F(20)),
        form="small",
    ),
}  # fmt: skip

#: Windows of sheets and of how panels lie on them; :func:`boxjoint.job.measures.measures` uses the same.
SHEET_WINDOWS: dict[str, Window] = {
    "size": Window(name="size of a sheet", least=_F(5), most=_HOUSE, hint=_UNIT_HINT),
    "bed": Window(name="size of the bed", least=_F(5), most=_HOUSE, hint=_UNIT_HINT),
    "place": Window(name="place of a keep-out", least=_F(0), most=_HOUSE, hint=_UNIT_HINT),
    "reach": Window(name="size of a keep-out", least=_F(1, 10), most=_HOUSE, hint=_UNIT_HINT),
    "spacing": Window(
        name="spacing", least=_F(1, 100), most=_F(100), usual=(_F(1), _F(6)), form="small",
        hint="spacing is between cut paths; 2 to 3 mm is usual (common practice, no source)",
    ),
    "margin": Window(
        name="margin", least=_F(0), most=_F(500), usual=(_F(1), _F(30)), form="small",
        hint="margin is from the edge of the sheet; 3 to 5 mm is usual (common practice, no source)",
    ),
    "longest": Window(name="longest piece", least=_F(20), most=_HOUSE, hint=_UNIT_HINT),
    "seam": Window(name="place of a seam", least=_F(5), most=_HOUSE, hint=_UNIT_HINT),
    "depth": Window(name="depth of a seam's steps", least=_F(2), most=_F(500), hint=_UNIT_HINT),
    "relief": Window(name="relief of a seam", least=_F(0), most=_F(2), form="small"),
    "support": Window(
        name="support pitch", least=_F(1), most=_F(1000), usual=(_F(3), _F(150)), form="small",
        hint="support is the distance between slats or honeycomb bars",
    ),
    "lead_in": Window(
        name="length of a lead-in", least=_F(1, 10), most=_F(20), usual=(_F(1, 2), _F(5)),
        form="small", hint="1 to 3 mm is usual (reported by practitioners)",
    ),
    "bridge_width": Window(
        name="width of a bridge", least=_F(1, 10), most=_F(5), usual=(_F(3, 10), _F(12, 10)),
        form="small", hint="0.5 mm is usual (common practice, no source)",
    ),
}  # fmt: skip
#: Sheets of one size, and keep-outs on one.
MOST_SHEETS = 10_000
MOST_KEEP_OUTS = 100

#: Windows of cut-outs, by key.
CUTOUT_WINDOWS: dict[str, Window] = {
    "from": Window(
        name="distance from the edge", least=_F(0), most=_HOUSE,
        hint="distances from edges are positive; name the other edge instead",
    ),
    "diameter": Window(
        name="diameter", least=_F(1, 10), most=_F(1000), usual=(_F(1), _F(150)), hint=_UNIT_HINT
    ),
    "clearance": Window(
        name="clearance of the hole", least=_F(-1), most=_F(20), usual=(_F(-2, 10), _F(5)),
        form="small", hint="clearance is hole minus what goes in, on the diameter",
    ),
    "size": Window(
        name="size of the cut-out", least=_F(1, 10), most=_HOUSE, usual=(_F(1), _F(2000)),
        hint=_UNIT_HINT,
    ),
    "radius": Window(name="radius", least=_F(0), most=_F(1000), hint=_UNIT_HINT),
    "gap": Window(name="gap between the slots", least=_F(1, 10), most=_F(1000), hint=_UNIT_HINT),
}  # fmt: skip

#: Letters under 2.5 mm are hard to read (common practice, no source).
MARK_WINDOWS: dict[str, Window] = {
    "letters": Window(
        name="height of capitals", least=_F(1), most=_F(1000), usual=(_F(5, 2), _F(200)),
        hint="lower letters run together",
    ),
    "height": Window(name="height of the mark", least=_F(1), most=_HOUSE, hint=_UNIT_HINT),
    "width": Window(name="width of the mark", least=_F(1), most=_HOUSE, hint=_UNIT_HINT),
}  # fmt: skip

#: Sheets that one panel is laminated from.
MOST_LAYERS = 20

#: Compartments along one direction, and of a box that is divided along both.
MOST_COMPARTMENTS = 1001
MOST_GRID = 2500
#: Items of one kind.
MOST_ITEMS = 1_000_000


def shown(window: Window, value: Fraction, unit: Unit = "mm") -> str:
    """Return a value for people, in both systems, the job's own first."""
    if abs(value) > 10**15:  # a float may not hold it
        return (
            ("-" if value < 0 else "")
            + "more than 10^15"
            + ("" if window.form == "ratio" else " mm")
        )
    if window.form == "ratio":
        return f"{float(value):g}"
    if window.form == "small" and abs(value) < 100:
        return mm_and_thou(float(value), first=unit, places=3)
    if 0 < abs(value) < Fraction(1, 100):
        return mm_and_thou(float(value), first=unit, places=6)
    if abs(value) > 10**9:
        return f"{float(value):.3g} mm"
    return both(to_nm(value), first=unit)


def _range(window: Window, bounds: tuple[Fraction, Fraction], unit: Unit) -> str:
    low, high = (shown(window, bound, unit) for bound in bounds)
    return f"{low} to {high}"


def outside(
    window: Window,
    keys: Keys,
    value: Fraction,
    *,
    unit: Unit = "mm",
    proceed: bool = False,
) -> Problem | None:
    """Return what is wrong with a value, or ``None`` where its window holds it.

    Parameters
    ----------
    window
        What the value may be.
    keys
        The way to the value.
    value
        mm, or the ratio.
    unit
        The system shown first.
    proceed
        True lets a kerf pass that is out of the window but above zero: the maker has been asked.
    """
    if window.holds(value) or (proceed and window is WINDOWS["kerf"] and value > 0):
        return None
    if value == 0:
        what = f"{window.name} is zero"
    elif value < 0 <= window.least:
        what = f"{window.name} is negative"
    else:
        what = f"{window.name} is too {'small' if value < window.least else 'large'}"
    return Problem(
        keys=keys,
        what=what,
        value=shown(window, value, unit),
        limit=f"accepted are {_range(window, (window.least, window.most), unit)}",
        do=window.hint,
    )


def segments_problem(keys: Keys, count: int) -> Problem | None:
    """Return what is wrong with an asked count of segments: it is odd, from 3 to 20001."""
    if 3 <= count <= MOST_SEGMENTS and count % 2:
        return None
    near = [n for n in (count - 1, count + 1) if 3 <= n <= MOST_SEGMENTS and n % 2]
    even = count % 2 == 0 and near
    return Problem(
        keys=keys,
        what="a count of segments must be odd" if even else "no such count of segments",
        value=str(count) if abs(count) < 10**12 else "a number of many digits",
        limit=f"odd, from 3 to {MOST_SEGMENTS}",
        do=f"use {' or '.join(map(str, near))}" if even else "",
    )


def thickness_problem(
    keys: Keys, readings: Sequence[Fraction], *, unit: Unit = "mm"
) -> Problem | None:
    """Return what is wrong with readings (mm, at least one) taken together: too many, too far apart."""
    if len(readings) > MOST_READINGS:
        return Problem(
            keys=keys,
            what="too many thickness readings",
            value=str(len(readings)),
            limit=f"at most {MOST_READINGS}",
        )
    least, most = min(readings), max(readings)
    mean = sum(readings, Fraction(0)) / len(readings)
    if most - least <= MOST_SPREAD * mean:
        return None
    window = WINDOWS["thickness"]
    return Problem(
        keys=keys,
        what="thickness readings disagree",
        value=(
            f"reading {readings.index(least) + 1} is {shown(window, least, unit)}, "
            f"reading {readings.index(most) + 1} is {shown(window, most, unit)}, "
            f"{float((most - least) / mean):.1%} of the mean apart"
        ),
        limit=f"at most {float(MOST_SPREAD):.0%}",
        do="measure again, or correct the one that is a slip",
    )


def rank_problem(keys: Keys, names: Sequence[str]) -> Problem | None:
    """Return what is wrong with a rank: each name is a panel, and stands once."""
    for number, name in enumerate(names):
        if name not in PANELS:
            return Problem(
                keys=(*keys, number),
                what="no such panel",
                value=repr(name[:40]),
                limit=f"panels are {', '.join(PANELS)}",
                do=nearest_name(name.lower(), PANELS),
            )
        if name in names[:number]:
            return Problem(
                keys=(*keys, number),
                what="a panel stands twice in the rank",
                value=repr(name),
                limit="each panel at most once, strongest first",
            )
    return None

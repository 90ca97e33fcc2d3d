"""What stands on, in and around a box: tops, tills, stacks, and drawers with their case.

All lengths are ``int`` nanometres. A field that is ``None`` was left out of the job; the starting
value that takes its place, and its source, stand in ``boxjoint.solve.clearances``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from boxjoint.errors import InputError
from boxjoint.job.filling import DIVIDER_NAME, divider_names

__all__ = [
    "FURTHER_PANELS",
    "INSIDE_OF",
    "MOST_DRAWERS",
    "PULLS",
    "TILL_ON",
    "TOPS",
    "Drawers",
    "InsideOf",
    "Pull",
    "Stack",
    "Till",
    "TillOn",
    "Top",
    "TopKind",
    "further_panels",
    "homes_of",
    "is_further_panel",
    "speaks_of",
    "unused_keys",
]

TopKind = Literal["open", "closed", "lift-off", "rim", "cut-through", "sliding", "hinged"]
TOPS: tuple[TopKind, ...] = (
    "open",
    "closed",
    "lift-off",
    "rim",
    "cut-through",
    "sliding",
    "hinged",
)

InsideOf = Literal["case", "drawer"]
INSIDE_OF: tuple[InsideOf, ...] = ("case", "drawer")

#: More boxes than this in one job are a slip.
MOST_DRAWERS = 100

_WALLS = ("front", "back", "left", "right")
#: Names of panels beyond the six of a box, without the numbers of drawers, trays and shelves.
FURTHER_PANELS = (
    "lid",
    "lid-top",
    *(f"lid-{w}" for w in _WALLS),
    "lip",
    *(f"lip-{w}" for w in _WALLS),
    "rail-back",
    "rail-left",
    "rail-right",
    "keeper-left",
    "keeper-right",
    "shelf",
    "stop",
    "drawer-bottom",
    *(f"drawer-{w}" for w in _WALLS),
    "ledge",
    "till-bottom",
    *(f"till-{w}" for w in _WALLS),
)
_NUMBERED = re.compile(r"(drawer|tray|shelf|stop)-[1-9][0-9]{0,2}(?:-(.+))?")


def homes_of(name: str) -> Iterator[str]:
    """Give the names under which a job may speak of a panel, the most particular first.

    ``drawer-3-front`` is spoken of by its own name or as ``drawer-front``; ``tray-2-left`` as
    ``left``; a wall of a lid is as the box's wall unless the job says otherwise.

    Examples
    --------
    >>> list(homes_of("drawer-3-front")), list(homes_of("tray-2-lip")), list(homes_of("lid-back"))
    (['drawer-3-front', 'drawer-front'], ['tray-2-lip', 'lip'], ['lid-back', 'back'])
    """
    yield name
    if DIVIDER_NAME.fullmatch(name):
        return
    if match := _NUMBERED.fullmatch(name):
        kind, rest = match[1], match[2]
        if rest is None:
            yield kind
        else:
            if kind != "tray":
                yield f"{kind}-{rest}"
            if kind == "tray" or DIVIDER_NAME.fullmatch(rest):
                yield rest
    elif DIVIDER_NAME.fullmatch(name.removeprefix("drawer-")):
        yield name.removeprefix("drawer-")
    elif DIVIDER_NAME.fullmatch(name.removeprefix("till-")):
        yield name.removeprefix("till-")
    elif name.startswith("ledge-"):
        yield "ledge"
    elif name.startswith("lid-"):
        yield name.removeprefix("lid-")
    elif name.startswith("lip-"):
        yield "lip"


def is_further_panel(name: str) -> bool:
    """Tell whether a job may speak of such a panel beyond the six of a box."""
    if name in FURTHER_PANELS or name in ("ledge-front", "ledge-back"):
        return True
    if any(DIVIDER_NAME.fullmatch(name.removeprefix(p)) for p in ("drawer-", "till-")):
        return True
    match = _NUMBERED.fullmatch(name)
    if match is None:
        return False
    kind, rest = match[1], match[2]
    if rest is not None and kind in ("drawer", "tray") and DIVIDER_NAME.fullmatch(rest):
        return True
    if kind == "tray":
        return rest in (*_WALLS, "bottom", "lip")
    return (kind if rest is None else f"{kind}-{rest}") in FURTHER_PANELS


Pull = Literal["hole", "notch"]
PULLS: tuple[Pull, ...] = ("hole", "notch")


@dataclass(frozen=True, slots=True, kw_only=True)
class Top:
    """The top of the box.

    Parameters
    ----------
    kind
        ``open``; ``closed``, jointed like the bottom; ``lift-off``, a flat lid with a lip glued
        under it; ``rim``, a lid whose walls go outside over the box; ``cut-through``, the box cut
        through at a height, both halves jointed; ``sliding``, a lid between rails of layered strips;
        ``hinged``, a lid that turns on two pins.
    clearance
        Between the lid and what it goes into or over, on each side, without finish film, nm.
    depth
        Of ``rim``: how far the lid's walls reach down; of ``hinged`` its cheeks. Of ``cut-through``: the lid's part of the
        inside's height. nm.
    lip
        Of ``cut-through``: how far a frame that stands in the box reaches up into the lid, nm.
    gap
        Of ``sliding``: the rails' gap less the lid's thickest reading. Of ``hinged``: the hole that
        turns on a pin less the pin, on the diameter. nm.
    pin
        Of ``hinged``: diameter of its pins, nm.
    notch
        Whether a finger notch of the starting size is cut where the lid is taken hold of.
    """

    kind: TopKind = "open"
    clearance: int | None = None
    depth: int | None = None
    lip: int | None = None
    gap: int | None = None
    pin: int | None = None
    notch: bool = False


TillOn = Literal["dividers", "ledges"]
TILL_ON: tuple[TillOn, ...] = ("dividers", "ledges")


@dataclass(frozen=True, slots=True, kw_only=True)
class Till:
    """A tray that lies in the box, above the rest of what is in it, and lifts out.

    Parameters
    ----------
    on
        What it rests on: ``dividers`` that are lower than the inside, or ``ledges``, strips glued to
        front and back; ``None``: there is no till.
    height
        Of its own inside, nm; ``None``: as much as there is up to the upper end of the box's inside.
    clearance
        To the box's walls on each side, and above it, without film, nm.
    columns, rows
        Equal compartments of its own along the length and along the width.
    notch
        Whether finger notches are cut into the rims of its left and right to lift it by.
    """

    on: TillOn | None = None
    height: int | None = None
    clearance: int | None = None
    columns: int = 1
    rows: int = 1
    notch: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """Equal boxes that stand on each other, each with a lip under its bottom.

    ``clearance`` is between the lip and the walls below, on each side, without film, nm.
    """

    count: int = 1
    clearance: int | None = None

    def __post_init__(self) -> None:
        if not 1 <= self.count <= MOST_DRAWERS:
            raise InputError(
                "no such count of boxes in a stack",
                where="[stack] count",
                value=str(self.count),
                limit=f"1 to {MOST_DRAWERS}",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawers:
    """Drawers in a case that is open at the front, the first one on top.

    Parameters
    ----------
    count
        How many; 0: no case.
    heights
        Of the openings, nm, from the top down; empty: all alike.
    inside_of
        Whose inside the job's is: the ``case``'s, or each ``drawer``'s.
    clearance
        Between drawer and case on each side, without film, nm.
    above, behind
        Between the drawer's rim and what is above it, and between its back and the case's, nm.
    stops
        Whether a strip behind each drawer lets it stop flush with the front; it then takes the place
        of ``behind``.
    pull
        What is cut out of each drawer's front to pull it by: a finger ``hole``, or a finger ``notch``
        in its upper rim; ``None``: nothing.
    """

    count: int = 0
    heights: tuple[int, ...] = ()
    inside_of: InsideOf = "case"
    clearance: int | None = None
    above: int | None = None
    behind: int | None = None
    stops: bool = True
    pull: Pull | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.count <= MOST_DRAWERS:
            raise InputError(
                "no such count of drawers",
                where="[drawers] count",
                value=str(self.count),
                limit=f"1 to {MOST_DRAWERS}",
            )
        if self.heights and len(self.heights) != self.count:
            raise InputError(
                "as many heights as drawers are needed",
                where="[drawers] heights",
                value=f"{len(self.heights)} heights for {self.count} drawers",
            )


def further_panels(
    top: Top, stack: Stack, drawers: Drawers, till: Till | None = None
) -> tuple[str, ...]:
    """Names of the panels beyond the box's own that tops, stacks and drawers bring, without numbers."""
    names: list[str] = []
    if top.kind == "lift-off":
        names += ["lid", "lip"]
    if top.kind in ("rim", "cut-through"):
        names += ["lid-top", *(f"lid-{w}" for w in _WALLS)]
    if top.kind == "hinged":
        names += ["lid-top", "lid-left", "lid-right"]
    if top.kind == "cut-through" and top.lip:
        names += [f"lip-{w}" for w in _WALLS]
    if top.kind == "sliding":
        names += ["lid", *(n for n in FURTHER_PANELS if n.startswith(("rail-", "keeper-")))]
    if till is not None and till.on:
        names += ["till-bottom", *(f"till-{w}" for w in _WALLS)]
        names += ["ledge"] if till.on == "ledges" else []
        across = (divider_names(k, n) for k, n in enumerate((till.columns, till.rows)))
        names += [f"till-{name}" for found in across for name in found]
    if stack.count > 1 and "lip" not in names:
        names.append("lip")
    if drawers.count:
        names += [n for n in FURTHER_PANELS if n.startswith("drawer-")]
        names += ["shelf"] if drawers.count > 1 else []
        names += ["stop"] if drawers.stops else []
    return tuple(names)


def speaks_of(name: str, names: tuple[str, ...], stack: Stack, drawers: Drawers) -> bool:
    """Tell whether a name of ``[panels]`` is that of a panel which is there.

    Parameters
    ----------
    names
        What the job may speak of, numbers left out.
    """
    if name in names or (name.startswith("ledge-") and "ledge" in names):
        return True
    match = _NUMBERED.fullmatch(name)
    if match is None:
        return DIVIDER_NAME.fullmatch(name.removeprefix("drawer-")) is not None and (
            drawers.count > 0 and name.removeprefix("drawer-") in names
        )
    most = {
        "drawer": drawers.count,
        "stop": drawers.count,
        "shelf": drawers.count - 1,
        "tray": stack.count if stack.count > 1 else 0,
    }[match[1]]
    number = int(name.split("-")[1])
    return number <= most and any(home in names for home in homes_of(name))


def unused_keys(top: Top) -> tuple[str, ...]:
    """Keys of ``[top]`` that say something which its kind does not use."""
    used = {
        "open": (),
        "closed": (),
        "lift-off": ("clearance",),
        "rim": ("clearance", "depth"),
        "cut-through": ("depth", "lip", *(("clearance",) if top.lip else ())),
        "sliding": ("clearance", "gap"),
        "hinged": ("clearance", "depth", "gap", "pin"),
    }[top.kind]
    return tuple(
        key
        for key in ("clearance", "depth", "lip", "gap", "pin")
        if getattr(top, key) is not None and key not in used
    )

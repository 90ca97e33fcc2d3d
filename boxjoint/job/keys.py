"""The keys of a job file: which tables there are and what each may hold.

The reader refuses every other key; the schema and ``docs/job-file.md`` must list the same keys, which
a test compares.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from boxjoint.errors import nearest_name
from boxjoint.job.filling import DIVIDER_NAME
from boxjoint.job.tops import is_further_panel
from boxjoint.job.words import DIRECTIONS, PANELS

__all__ = ["TABLES", "Keys", "all_keys", "is_known", "key_name", "known_keys", "suggest_key"]

#: The way to a value: names of tables and keys, and places in lists counted from 0.
Keys = tuple[str | int, ...]

#: What each table may hold. ``"*"`` stands for the name of any panel, or of any item, and for the
#: place of a table in its list.
TABLES: Mapping[tuple[str, ...], tuple[str, ...]] = {
    (): (
        "title",
        "unit",
        "inside",
        "stock",
        "panels",
        "bottom",
        "dividers",
        "items",
        "contents",
        "fit_into",
        "cut",
        "joint",
        "top",
        "till",
        "stack",
        "drawers",
        "cutouts",
        "marks",
        "shop",
        "sheets",
        "nest",
        "seams",
    ),
    ("inside",): DIRECTIONS,
    ("stock",): ("material", "thickness", "film"),
    ("panels",): PANELS,
    ("panels", "*"): ("thickness", "material", "layers", "grain", "turn", "seam"),
    ("bottom",): ("raised", "legs"),
    ("dividers",): ("length", "width", "thickness", "material", "height", "fixing", "clearance"),
    ("dividers", "length"): ("compartments",),
    ("dividers", "width"): ("compartments",),
    ("items",): ("*",),
    ("items", "*"): ("of", "size", "thickness", "count", "lie", "turned", "rows"),
    ("items", "*", "rows"): DIRECTIONS,
    ("contents",): ("clearance", "lining", "finger_room"),
    ("contents", "finger_room"): DIRECTIONS,
    ("fit_into",): DIRECTIONS,
    ("cut",): ("kerf", "scale", "tool", "edge_sd"),
    ("cut", "kerf"): ("x", "y"),
    ("cut", "scale"): ("x", "y"),
    ("joint",): (
        "clearance",
        "fit",
        "sheet_clearance",
        "tab_width",
        "segments",
        "ends",
        "rank",
        "proud",
        "web",
        "shoulder_relief",
        "floor_relief",
        "corner_relief",
        "corner_style",
        "corner_allowance",
    ),
    ("joint", "segments"): DIRECTIONS,
    ("top",): ("kind", "clearance", "depth", "lip", "gap", "pin", "notch"),
    ("till",): ("on", "height", "clearance", "columns", "rows", "notch"),
    ("stack",): ("count", "clearance"),
    ("drawers",): (
        "count",
        "heights",
        "inside_of",
        "clearance",
        "above",
        "behind",
        "stops",
        "pull",
    ),
    ("cutouts",): ("*",),
    ("cutouts", "*"): (
        "panel",
        "kind",
        "from_left",
        "from_right",
        "from_bottom",
        "from_top",
        "edges",
        "to",
        "diameter",
        "clearance",
        "size",
        "radius",
        "rows",
        "columns",
        "gap",
        "edge",
    ),
    ("marks",): ("*",),
    ("marks", "*"): (
        "panel",
        "text",
        "drawing",
        "letters",
        "height",
        "width",
        "align",
        "angle",
        "work",
        "face",
        "from_left",
        "from_right",
        "from_bottom",
        "from_top",
        "edges",
        "to",
    ),
    ("shop",): ("machine", "sheet", "settings"),
    ("sheets",): ("*",),
    ("sheets", "*"): (
        "size",
        "count",
        "material",
        "thickness",
        "offcut",
        "grain",
        "keep_outs",
    ),
    ("nest",): (
        "spacing",
        "margin",
        "bed",
        "keep_outs",
        "turn",
        "face",
        "windows",
        "continuous",
        "one_axis",
        "labels",
        "level",
        "support",
        "bridges",
        "bridge_width",
        "lead_in",
    ),
    ("seams",): ("allowed", "longest", "depth", "steps", "relief"),
}

# a value with keys of its own, written as { x = ..., y = ... } behind its key
_INLINE = (
    ("cut", "kerf"),
    ("cut", "scale"),
    ("joint", "segments"),
    ("items", "*", "rows"),
    ("contents", "finger_room"),
)
# tables whose keys are names that the job gives
_NAMED = ("panels", "items", "sheets", "cutouts", "marks")
# lists of tables, each written under [[...]]
_LISTS = ("cutouts", "marks")


def _pattern(keys: Keys) -> tuple[str, ...]:
    names = tuple(str(k) for k in keys)
    return (
        (names[0], "*", *names[2:])
        if names[:1] != () and names[0] in _NAMED and names[1:]
        else names
    )


def is_known(keys: Keys) -> bool:
    """Tell whether a table may hold the last of the keys."""
    name, known = str(keys[-1]), known_keys(keys[:-1]) or ()
    if keys[:-1] == ("panels",) and (DIVIDER_NAME.fullmatch(name) or is_further_panel(name)):
        return True
    return name in known or "*" in known


def known_keys(keys: Keys) -> tuple[str, ...] | None:
    """Return what the table at ``keys`` may hold, or ``None`` where there is no such table."""
    return TABLES.get(_pattern(keys))


def all_keys() -> Iterator[tuple[str, ...]]:
    """Give every key that holds a value, tables left out, ``"*"`` for the name of a panel or item."""
    for table, names in TABLES.items():
        for name in names:
            key = (*table, name)
            named = len(table) == 1 and table[0] in _NAMED
            if key in _INLINE or (key not in TABLES and not named):
                yield key


def key_name(keys: Keys, *, table: bool = False) -> str:
    """Return how a key is named to people: ``[panels.bottom] thickness``, ``[cut] kerf.x``.

    Parameters
    ----------
    keys
        The way to the value.
    table
        True where the whole way names a table, as in ``[panels.bottom]``. The second table of a
        list is ``[[cutouts]] 2``.
    """
    head = ""
    if len(keys) > 1 and keys[0] in _LISTS and isinstance(keys[1], int):
        head, keys = f"[[{keys[0]}]] {keys[1] + 1}", keys[2:]
        if not keys:
            return head
    names = [str(k) for k in keys if isinstance(k, str)]
    places = [k for k in keys if isinstance(k, int)]
    if head:
        item = f", item {places[0] + 1} of its list" if places else ""
        return f"{head} {'.'.join(names)}{item}"
    depth = len(names) if table else 0
    while not table and depth < len(names) - 1 and _pattern(tuple(names[: depth + 1])) in TABLES:
        if _pattern(tuple(names[: depth + 1])) in _INLINE:
            break
        depth += 1
    head = f"[{'.'.join(names[:depth])}]" if depth else ""
    tail = ".".join(names[depth:])
    item = f", item {places[0] + 1} of its list" if places else ""
    return f"{head} {tail}".strip() + item


def suggest_key(keys: Keys) -> str:
    """Return what an unknown key was probably meant to be, as a hint; ``''`` when nothing is near.

    A name that is known elsewhere is sent to its table: the usual slip is a key below the wrong
    ``[table]``.
    """
    name = str(keys[-1])
    homes = [table for table, names in TABLES.items() if name in names and table not in _INLINE]
    siblings = known_keys(keys[:-1]) or ()
    near = nearest_name(name.lower(), siblings)
    if near or not homes:
        return near
    home = homes[0]
    if not home:
        return f"{name!r} belongs at the top of the file, before the first [table]"
    if home[0] in _LISTS:
        return f"{name!r} belongs in [[{home[0]}]]"
    return f"{name!r} belongs in [{'.'.join(home).replace('*', 'NAME')}]"

"""What a job asks to be cut out of its panels: kinds, sizes, places and their starting values.

Every cut-out is one shape or a grid of equal ones: a circle, a rectangle with round or sharp corners,
or a notch that is open to a rim. All lengths are ``int`` nanometres. A field that is ``None`` was left
out of the job; what takes its place stands in ``boxjoint.fit.cutouts``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from boxjoint.errors import InputError
from boxjoint.job.tops import homes_of

__all__ = [
    "CUTOUTS",
    "EDGES",
    "KEYS_OF",
    "MOST_CUTOUTS",
    "MOST_VENTS",
    "REFERENCES",
    "ROUND",
    "TO",
    "Cutout",
    "CutoutKind",
    "Edge",
    "Place",
    "Reference",
    "To",
    "is_for",
]

CutoutKind = Literal[
    "round hole",
    "slot",
    "hand hole",
    "window",
    "vents",
    "finger notch",
    "screw hole",
    "cable hole",
    "magnet",
    "hinge pin",
]
CUTOUTS: tuple[CutoutKind, ...] = get_args(CutoutKind)
#: The kinds that are one circle, placed by its middle.
ROUND: tuple[CutoutKind, ...] = ("round hole", "screw hole", "cable hole", "magnet", "hinge pin")

Edge = Literal["top", "bottom", "left", "right"]
EDGES: tuple[Edge, ...] = ("top", "bottom", "left", "right")
Reference = Literal["panel", "inside"]
REFERENCES: tuple[Reference, ...] = ("panel", "inside")
To = Literal["middle", "edge"]
TO: tuple[To, ...] = ("middle", "edge")

#: More tables of one sort than this in one job are a slip.
MOST_CUTOUTS = 500
#: Slots of vents in one direction.
MOST_VENTS = 100

_PLACE = ("from_left", "from_right", "from_bottom", "from_top", "edges", "to")
#: Beside ``panel`` and ``kind``: what each kind takes, and what it needs.
KEYS_OF: Mapping[CutoutKind, tuple[tuple[str, ...], tuple[str, ...]]] = {
    **dict.fromkeys(ROUND, (("diameter", "clearance", *_PLACE), ("diameter",))),
    "slot": (("size", *_PLACE), ("size",)),
    "hand hole": (("size", *_PLACE), ()),
    "window": (("size", "radius", *_PLACE), ("size",)),
    "vents": (("size", "rows", "columns", "gap", *_PLACE), ("size",)),
    "finger notch": (("size", "radius", "edge", *_PLACE), ()),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where something lies on a panel as seen from outside; centred where no edge is named.

    Parameters
    ----------
    from_left, from_right, from_bottom, from_top
        Distance from an edge, nm; at most one along each direction.
    edges
        Whose edges: the ``panel``'s own, tabs included, or those of the ``inside`` behind it.
    to
        What the distances lead to: the ``middle`` of the thing, or its nearest ``edge``. ``None``: by
        its kind.
    """

    from_left: int | None = None
    from_right: int | None = None
    from_bottom: int | None = None
    from_top: int | None = None
    edges: Reference = "panel"
    to: To | None = None

    def __post_init__(self) -> None:
        for one, other in (("from_left", "from_right"), ("from_bottom", "from_top")):
            if getattr(self, one) is not None and getattr(self, other) is not None:
                raise InputError(f"{one} and {other} exclude each other", do="keep one of the two")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutout:
    """One table of ``[[cutouts]]``.

    Parameters
    ----------
    panels
        Names, as under ``[panels.NAME]``; ``drawer-front`` means that of every drawer.
    kind
        What it is.
    place
        Where.
    diameter
        Of a hole; of a magnet or a pin that of the thing that goes in, nm.
    clearance
        Hole minus ``diameter``, on the diameter, nm.
    size
        (left to right, bottom to top), nm; of ``finger notch`` (along its edge, depth); of ``vents``
        that of one slot.
    radius
        Of the corners of a ``window``, and of the two inner ones of a ``finger notch``, nm.
    rows, columns, gap
        Of ``vents``: how many, and what is left between them, nm.
    edge
        Of ``finger notch``: the edge that it is open to.
    """

    panels: tuple[str, ...]
    kind: CutoutKind
    place: Place = Place()
    diameter: int | None = None
    clearance: int | None = None
    size: tuple[int, int] | None = None
    radius: int | None = None
    rows: int = 1
    columns: int = 1
    gap: int | None = None
    edge: Edge = "top"


def is_for(named: str, panel: str) -> bool:
    """Tell whether what is asked of ``named`` is asked of ``panel``.

    Unlike thickness, a cut-out in the back is not one in the back of its lid.

    Examples
    --------
    >>> is_for("drawer-front", "drawer-2-front"), is_for("front", "tray-1-front")
    (True, True)
    >>> is_for("back", "lid-back")
    False
    """
    if panel.startswith(("lid-", "lip-")):
        return named == panel
    return named in homes_of(panel)

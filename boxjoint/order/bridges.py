"""Which panels on a sheet get bridges, where, and what people are told of them."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np

from boxjoint.geometry.drawing import Curve
from boxjoint.geometry.rings import Role
from boxjoint.job.records import Unit
from boxjoint.job.sheets import Nesting
from boxjoint.order.records import Copy
from boxjoint.sheet.bridges import (
    BRIDGE_WIDTH_NM,
    CORNER_NM,
    Bridge,
    BridgeAsk,
    BridgeSide,
    bridges_needed,
    place_bridges,
)
from boxjoint.units import both

__all__ = ["Held", "bridge_ask", "bridge_notes", "bridge_warnings", "hold"]

_NM = 1_000_000
_HIDDEN = (Role.SHOULDER, Role.FLOOR)

#: A copy that needs bridges, how many, and those that it got.
Held = tuple[Copy, int, tuple[Bridge, ...]]


def bridge_ask(nesting: Nesting) -> BridgeAsk | None:
    """Return what is asked of bridges; ``None``: none are."""
    if nesting.support is None:
        return None
    width = BRIDGE_WIDTH_NM if nesting.bridge_width is None else nesting.bridge_width
    return BridgeAsk(support=nesting.support, count=nesting.bridges, width=width)


def hold(copy: Copy, outline: Curve, ask: BridgeAsk) -> Held | None:
    """Return the bridges of one copy at its place on the sheet; ``None`` where the bed carries it.

    A router's control offsets outlines, and can do so only while they are closed: such a copy gets
    none.
    """
    path = np.rint(outline.xy * _NM).astype(np.int64)
    width, height = (path.max(axis=0) - path.min(axis=0)).tolist()
    count = bridges_needed((width, height), ask)
    if not count:
        return None
    if copy.piece.built.plan.tool is not None:
        return copy, count, ()
    beam = copy.piece.drawn.beam
    gap = (
        ceil((ask.width + beam.kerf.x * _NM) / beam.scale.x),
        ceil((ask.width + beam.kerf.y * _NM) / beam.scale.y),
    )
    rings, shift = copy.piece.drawn.rings, np.array(copy.shift)
    sides = [
        BridgeSide(
            low=_point(rings.xy[i] + shift),
            high=_point(rings.ends[i] + shift),
            hidden=rings.role[i] in _HIDDEN,
        )
        for i in range(rings.start[0], rings.start[1])
        if rings.role[i] in (*_HIDDEN, Role.RIM)
    ]
    return copy, count, place_bridges(path, outline.bulge, sides, count=count, gap=gap)


def _point(xy: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> tuple[int, int]:
    return int(xy[0]), int(xy[1])


def bridge_notes(held: Sequence[Held], nesting: Nesting, unit: Unit) -> tuple[str, ...]:
    """Return the tally of an order, one line; nothing where no bridges are asked."""
    ask = bridge_ask(nesting)
    if ask is None:
        if nesting.bridges is None and nesting.bridge_width is None:
            return ()
        return ("no bridges: [nest] support, the distance between slats or bars, is not stated",)
    pitch = f"the support pitch of {both(ask.support, unit)} (asked)"
    bridges = [b for _, _, found in held for b in found]
    if not bridges:
        return (f"no bridges: no panel with room for one is smaller than {pitch}",)
    hidden = sum(b.hidden for b in bridges)
    width = "assumed, common practice" if nesting.bridge_width is None else "asked"
    count = "assumed, common practice" if nesting.bridges is None else "asked"
    return (
        f"{len(bridges)} bridges on {sum(bool(b) for _, _, b in held)} panels smaller than {pitch}: "
        f"{both(ask.width, unit)} wide as cut ({width}), count ({count}); {hidden} in the bottoms of "
        f"slots, {len(bridges) - hidden} on rims, none within {both(CORNER_NM, unit)} of a corner "
        "(assumed)",
    )


def bridge_warnings(held: Sequence[Held], sheet: str) -> tuple[str, ...]:
    """Return what the maker has to do or to look at on one sheet."""
    out = []
    trim = [(c.label, b) for c, _, b in held if b]
    if trim:
        hidden = sum(x.hidden for _, b in trim for x in b)
        names = ", ".join(f"{label} {len(b)}" for label, b in trim)
        where = (
            "" if not hidden else "; what is left of one in the bottom of a slot holds the mate off"
        )
        out.append(
            f"{sheet}: cut through {sum(len(b) for _, b in trim)} bridges and trim them flush "
            f"({names}){where}"
        )
    for copy, count, found in held:
        if copy.piece.built.plan.tool is not None:
            why = "no bridges: a router's control offsets closed outlines only; set them there"
        elif len(found) < count:
            why = f"room for {len(found)} of {count} bridges, clear of corners and tabs"
        else:
            continue
        out.append(f"{sheet}: {copy.label} can fall or tip; {why}")
    return tuple(out)

"""boxjoint: finger-jointed boxes with exact inside sizes, proved before any wood burns.

Glossary
--------
panel, slab, guest
    One flat part; the full rectangle of stock that it is cut from; a slab that stands inside a box.
joint, bar, run, segment, division
    Where two slabs cross; the space they share; a stretch of it between corners; one piece of a run;
    the plane between two segments.
tab, slot, mortise, half-lap
    A segment that a panel keeps; one that it gives up, open to the outside; one closed all round; a
    joint of two segments.
flank, shoulder, cheek, tip, floor, rim
    The sides of an outline, by what they do.
rank
    The total order that decides who owns ends and corners.
kerf, scale, clearance, fit
    The FULL width the beam removes; size cut over size drawn; slot minus tab as cut (negative is
    interference); a wanted clearance with a name.
web, neck, relief
    The least material left between two facing edges; the root of a tab; material taken away so that
    two edges cannot meet.
beam, tool
    What cuts: a laser, with a kerf; a router's cutter, with a diameter.
gap, seat gap, pin
    What the rails of a sliding lid leave free above it; how far a mate's corner stands off its shoulder
    on the fillet of a round beam; the round rod that a hinge turns on.
+-
    The expanded uncertainty, 95 %, wherever a person reads it.
body
    Panels that hold together and move as one: a box, a lid, a drawer.
sheet, spacing, margin, keep-out, offcut
    A piece of stock as bought; the least distance between cut paths; from the sheet's edge; where
    nothing may be cut; what is worth keeping.
job, order
    What is to be made; what a customer wants: jobs and quantities.
cut sequence, assembly sequence
    What is cut after what; what goes together after what. Never just "order".
shop book
    What the shop knows: machines, sheets, settings, readings, results, rates, times.
inside
    The space that was asked for, and that no thickness, kerf or fit may change.
asked, measured, assumed, computed
    What a figure is; every figure shown to a person says one of these.

Rooms
-----
errors, units, geometry, job, solve, fit, gauge, sheet, check, export, shop, make, again, order, cli. Each
imports only from rooms named before it; ``tests/test_rooms.py`` fails on a back edge. Data flows one way:
job and shop book -> arrangement -> panels -> sheets of drawn outlines -> files.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

#: Public names and the rooms that hold them; each is loaded when it is first used.
_PUBLIC = {
    "Arrangement": "boxjoint.solve.arrangement",
    "BoxjointError": "boxjoint.errors",
    "Built": "boxjoint.check.built",
    "Cuboid": "boxjoint.geometry.cuboid",
    "Job": "boxjoint.job.records",
    "Slab": "boxjoint.solve.arrangement",
    "TabAsk": "boxjoint.solve.tabs",
    "build": "boxjoint.make",
    "compensate": "boxjoint.fit.compensate",
    "exact_proof": "boxjoint.check.exact",
    "files": "boxjoint.make",
    "parse_job": "boxjoint.job.read",
    "read_job": "boxjoint.job.read",
    "report": "boxjoint.export.report",
    "report_text": "boxjoint.export.report",
    "restock": "boxjoint.again",
    "solid": "boxjoint.make",
    "virtual_cut": "boxjoint.fit.compensate",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str) -> Any:
    """Load a public name from its room, so that ``import boxjoint`` stays light."""
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'boxjoint' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)

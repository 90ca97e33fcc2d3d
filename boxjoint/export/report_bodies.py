"""The part of the report that says what holds together, what comes out, and every block asked for."""

from __future__ import annotations

from typing import Any

from boxjoint.check.built import Built
from boxjoint.export.report_inside import held
from boxjoint.job.records import DIRECTIONS
from boxjoint.units import both, own_first

__all__ = ["bodies", "bodies_lines", "insides"]

_WAYS = (("to the left", "to the right"), ("at the front", "at the back"), ("below", "above"))


def insides(built: Built) -> list[dict[str, Any]]:
    """Every block of space that was asked for, of lids, trays and drawers too; compartments apart."""
    return [
        {
            "name": r.block,
            "direction": DIRECTIONS[r.axis],
            "nominal": round(r.asked / 1e6, 6),
            "unit": "mm",
            "source": "computed",
            "as_cut": held(r),
        }
        for r in built.insides
    ]


def bodies(built: Built) -> list[dict[str, Any]]:
    """What holds together, what is glued face to face, and which way it comes out."""
    return [
        {
            "name": b.name,
            "panels": list(b.slabs),
            "glued": [list(pair) for pair in b.glued],
            "out": None if b.out is None else f"{'+' if b.out[1] > 0 else '-'}{'xyz'[b.out[0]]}",
        }
        for b in built.solution.arrangement.bodies
    ]


def bodies_lines(built: Built) -> list[str]:
    """What holds together and what comes out; nothing where all is one box."""
    found = built.solution.arrangement.bodies
    if len(found) < 2:
        return []
    lines = ["", "## Bodies", ""]
    for b in found:
        text = f"- {b.name}: {', '.join(b.slabs)}"
        if b.glued:
            text += "; glued face to face: " + ", ".join(
                f"{one} on {other}" for one, other in b.glued
            )
        if b.out is not None:
            text += f"; comes out {_WAYS[b.out[0]][b.out[1] > 0]}"
        lines.append(text)
    lines += [
        "",
        "| inside of | along | nominal, computed | as cut, least, computed | binds |",
        "|---|---|---|---|---|",
    ]
    for r in built.insides:
        least = own_first(r.least, built.job.unit, places=3) if r.by_panel else ""
        lines.append(
            f"| {r.block} | {DIRECTIONS[r.axis]} | {both(r.asked, built.job.unit)} | {least} | {r.binds} |"
        )
    return lines

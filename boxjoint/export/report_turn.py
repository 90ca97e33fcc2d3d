"""What the report says of a lid that turns on pins."""

from __future__ import annotations

from typing import Any

from boxjoint.check.built import Built
from boxjoint.units import both

__all__ = ["turn", "turn_lines"]


def turn(built: Built) -> dict[str, Any] | None:
    """How the hinged lid turns; ``None`` where there is none."""
    found = built.turn
    if found is None:
        return None
    hinge = found.hinge
    return {
        "body": hinge.body,
        "at": [round(v / 1e6, 6) for v in hinge.at],
        "pins": [{"turns": cheek, "holds": wall} for cheek, wall in hinge.pairs],
        "pin": round(hinge.pin / 1e6, 6),
        "hole": round(hinge.hole / 1e6, 6),
        "pin_length": round(found.pin_length / 1e6, 6),
        "degrees": round(found.degrees, 3),
        "rests": list(found.rests),
        "least_clearance": round(found.least / 1e6, 6),
        "least_of": list(found.least_of),
        "least_at": round(found.least_at, 3),
        "dips": round(found.dips / 1e6, 6),
    }


def turn_lines(built: Built) -> list[str]:
    """The same for people."""
    found = built.turn
    if found is None:
        return []
    hinge, unit = found.hinge, built.job.unit
    y, z = (both(v, unit) for v in hinge.at)
    lines = [
        "",
        "## Hinge",
        "",
        f"- {hinge.body} turns on {len(hinge.pairs)} pins of {both(hinge.pin, unit)}, at least "
        f"{both(found.pin_length, unit)} long (computed), at {y} from the inside's front and {z} above "
        "its bottom",
        f"- holes: {both(hinge.pin, unit)} in the walls, which hold the pins, "
        f"{both(hinge.hole, unit)} in the cheeks, which turn on them",
        f"- it turns {found.degrees:.0f} degrees (computed), until {found.rests[0]} rests on "
        f"{found.rests[1]}",
        f"- least clearance on the way {both(round(found.least), unit)} (computed): "
        f"{found.least_of[0]} and {found.least_of[1]}, after {found.least_at:.0f} degrees",
    ]
    if found.dips > 0:
        lines.append(
            f"- while it turns, its rear dips {both(round(found.dips), unit)} (computed) into the "
            "inside, along the back: leave that free of what stands up"
        )
    return lines

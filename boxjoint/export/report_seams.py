"""What the report says of seams: where panels are divided, and what holds them."""

from __future__ import annotations

from typing import Any

from boxjoint.check.built import Built
from boxjoint.units import both, format_mm

__all__ = ["seams", "seams_lines"]


def _mm(nm: float) -> float:
    return round(float(nm) / 1e6, 6)


def seams(built: Built) -> list[dict[str, Any]]:
    """Return every seam as plain data, mm."""
    return [
        {
            "panel": s.panel,
            "pieces": list(s.pieces),
            "along": "xy"[s.along],
            "place": _mm(s.place),
            "steps": s.steps,
            "width": _mm(s.width),
            "depth": _mm(s.depth),
            "clearance": {
                "wanted": built.plan.clearances[s.joint],
                "source": str(built.plan.joint_source),
                "least": _mm(s.least),
                "greatest": _mm(s.greatest),
            },
            "relief": {"least": _mm(s.least_relief), "greatest": _mm(s.greatest_relief)},
        }
        for s in built.seams
    ]


def seams_lines(built: Built) -> list[str]:
    """Return the section for people; nothing where no panel is divided."""
    if not built.seams:
        return []
    lines = ["", "## Seams", ""]
    lines += [
        "The straight steps of a seam hold by glue only. The mates set the length of a panel that is "
        "glued together: put the box together dry, or lay the panel on its mate, until the glue has "
        "set.",
        "",
        "| seam between | its middle, from the left or lower end | steps | width, depth | "
        "clearance as cut | left free at tips |",
        "|---|---|---|---|---|---|",
    ]
    relief = built.plan.seam_relief
    for s in built.seams:
        lines.append(
            f"| {s.pieces[0]} and {s.pieces[1]} | {both(s.place, built.job.unit)} | {s.steps} | "
            f"{format_mm(s.width)}, {format_mm(s.depth)} | {s.least / 1e6:+.3f} to "
            f"{s.greatest / 1e6:+.3f} mm | {s.greatest_relief / 1e6:.3f} mm ({relief.source}) |"
        )
    return lines

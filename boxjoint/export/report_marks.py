"""What the report says of marks on faces."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from boxjoint.check.built import Built
from boxjoint.geometry.drawing import Layer
from boxjoint.units import both

if TYPE_CHECKING:
    from boxjoint.fit.marks import PlacedMark

__all__ = ["mark", "mark_lines"]


def mark(placed: PlacedMark) -> dict[str, Any]:
    """One mark: what it is, its place in the panel's drawing, and how much of it there is."""
    x0, y0, x1, y1 = (round(v, 6) for v in placed.extent)
    return {
        "table": placed.index + 1,
        "what": placed.what,
        "face": placed.face,
        "from": [x0, y0],
        "to": [x1, y1],
        "scored": round(placed.scored_mm, 3),
        "engraved_area": round(placed.engraved_mm2, 3),
    }


def mark_lines(built: Built) -> list[str]:
    """What is marked on the panels."""
    rows = [(part, m) for part in built.parts for m in part.marks]
    if not rows:
        return []
    lines = ["", "## Marks", "", "Place and size are computed, in the panel's drawing."]
    lines += [
        "",
        "| panel | mark | face | work | size | middle x, y |",
        "|---|---|---|---|---|---|",
    ]
    for part, placed in rows:
        x0, y0, x1, y1 = placed.extent
        layers = {c.layer for c in placed.curves}
        work = []
        if Layer.ENGRAVE in layers:
            work.append(f"{placed.engraved_mm2 / 100:.2f} cm2 engraved")
        if Layer.MARK in layers:
            work.append(f"{placed.scored_mm:.0f} mm scored")
        size = " x ".join(both(round(v * 1e6), built.job.unit) for v in (x1 - x0, y1 - y0))
        what = placed.what.replace("|", "\\|")
        lines.append(
            f"| {part.panel.name} | {what} | {placed.face} | {', then '.join(work)} | {size} | "
            f"{(x0 + x1) / 2:.2f}, {(y0 + y1) / 2:.2f} mm |"
        )
    return lines

"""What the report says of cut-outs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from boxjoint.check.built import Built
from boxjoint.units import both

if TYPE_CHECKING:
    from boxjoint.check.cutouts import CutHole

__all__ = ["cutout", "cutout_lines"]


_OPEN = {(1, 1): "top", (1, -1): "bottom", (0, -1): "left", (0, 1): "right"}


def _mm(nm: float) -> float:
    return round(nm / 1e6, 6)


def cutout(hole: CutHole) -> dict[str, Any]:
    """One cut-out: place and size as wanted when cut, and the least material beside it."""
    h = hole.placed.hole
    drawn_lo, drawn_hi = hole.drawn.extent_mm
    return {
        "table": None if hole.placed.index is None else hole.placed.index + 1,
        "asked_by": hole.placed.asked_by,
        "kind": hole.placed.kind,
        "from": [_mm(v) for v in h.lo],
        "to": [_mm(v) for v in h.hi],
        "corner_radius": _mm(h.diameter / 2),
        "drawn_from": [round(v, 6) for v in drawn_lo],
        "drawn_to": [round(v, 6) for v in drawn_hi],
        "as_cut_from": [_mm(v) for v in hole.as_cut.lo],
        "as_cut_to": [_mm(v) for v in hole.as_cut.hi],
        "open": None if h.open is None else _OPEN[h.open],
        "least_web": _mm(hole.web.width),
    }


def cutout_lines(built: Built) -> list[str]:
    """What is cut out of the panels, equal ones on one line."""
    rows: dict[tuple[str, str, str], list[CutHole]] = {}
    for part in built.parts:
        for hole in part.holes:
            h = hole.placed.hole
            size = " x ".join(both(v, built.job.unit) for v in h.size)
            if h.is_circle:
                size = f"diameter {both(h.diameter, built.job.unit)}"
            rows.setdefault((part.panel.name, hole.placed.kind, size), []).append(hole)
    if not rows:
        return []
    lines = ["", "## Cut-outs", "", "Sizes as cut; the least web is the material left beside it."]
    lines += ["", "| panel | kind | how many | size | middle x, y | least web |"]
    lines += ["|---|---|---|---|---|---|"]
    for (panel, kind, size), holes in rows.items():
        first = holes[0].placed.hole
        x, y = ((first.lo[k] + first.hi[k]) / 2e6 for k in (0, 1))
        web = min(h.web.width for h in holes)
        place = f"{x:.2f}, {y:.2f} mm" + (" (the first)" if len(holes) > 1 else "")
        lines.append(
            f"| {panel} | {kind} | {len(holes)} | {size} | {place} | {both(web, built.job.unit)} |"
        )
    return lines

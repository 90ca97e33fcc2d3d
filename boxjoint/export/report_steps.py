"""The part of the report that says how the panels go together, and what comes out again."""

from __future__ import annotations

from typing import Any

from boxjoint.check.assembly import direction_text
from boxjoint.check.built import Built
from boxjoint.export.stages import stages, words

__all__ = ["assembly", "assembly_lines"]


def assembly(built: Built) -> dict[str, Any]:
    """How the panels go together: every stage with its steps, what comes out, or what locks."""
    found = built.assembly
    return {
        "stages": [
            {
                "number": s.number,
                "steps": list(s.steps),
                "text": s.text,
                "laid": s.laid or None,
                "moved": [list(parts) for parts in s.moved],
                "direction": None if s.direction is None else direction_text(s.direction),
                "joins": list(s.joins),
                "alike": list(s.alike),
            }
            for s in stages(built)
        ],
        "steps": [
            {
                "parts": list(s.parts),
                "body": s.body or None,
                "direction": None if s.direction is None else direction_text(s.direction),
            }
            for s in found.steps
        ],
        "comes_out": [
            {
                "name": r.name,
                "direction": direction_text(r.direction),
                "strikes": list(r.struck),
            }
            for r in found.removals
        ],
        "locked": list(found.locked),
        "falls": [list(f.parts) for f in found.falls],
    }


def assembly_lines(built: Built) -> list[str]:
    """How the panels go together, in words."""
    found = built.assembly
    lines = ["", "## How it goes together", ""]
    if not found.passed:
        return lines + [f"- {fault}" for fault in found.faults]
    lines += list(words(built))
    if found.removals:
        lines += ["", "Comes out with everything else in its place:", ""]
        lines += [f"- {r.name}, towards {direction_text(r.direction)}" for r in found.removals]
    return lines

"""Reliefs and proud tips in proportion: what is taken off must leave a joint to hold.

A window of the job file catches a slip of the unit; what is absurd on thin stock is known only here,
where the mates and their segments are. The limits are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from boxjoint.errors import CannotBeCut
from boxjoint.fit.plan import Plan
from boxjoint.job.figures import Figure
from boxjoint.solve.solution import Solution
from boxjoint.units import mm_and_thou

__all__ = ["refuse_out_of_proportion"]


@dataclass(frozen=True, slots=True)
class _Limit:
    least: float
    most: float
    why: str
    joint: int


def refuse_out_of_proportion(plan: Plan, solution: Solution) -> None:
    """Refuse a proud tip, a shoulder relief or a floor relief that the joints cannot bear.

    Raises
    ------
    CannotBeCut
        Where tips stand out by more than the mate's thickness or end more than half of it below its
        face; where a guest's shoulders stand off by more than half the mate's thickness; where a
        half-lap loses more at its floors than the thinner mate's thickness or a quarter of its length.
    """
    found: dict[str, _Limit] = {}
    for joint in solution.joints:
        mates = (solution.panels[joint.a].slab, solution.panels[joint.b].slab)
        thin = min(s.thickness for s in mates) / 1e6
        here = {}
        if joint.kind == "halflap":
            most = min(thin, joint.length / 4e6)
            here["floor_relief"] = (0.0, most, "the thinner mate, and a quarter of the half-lap")
        else:
            here["proud"] = (-thin / 2, thin, "half the thinner mate shy, all of it proud")
            others = [mates[1 - k].thickness / 2e6 for k in (0, 1) if mates[k].guest]
            if others:
                why = "half the thickness of the mate that the shoulder stands off"
                here["shoulder_relief"] = (0.0, min(others), why)
        for name, (least, most, why) in here.items():
            if name not in found or most < found[name].most:
                found[name] = _Limit(least, most, why, joint.index)
    for name, limit in found.items():
        figure: Figure = getattr(plan, name)
        # a nanometre of a float is no reason
        if not limit.least - 1e-6 <= figure.value <= limit.most + 1e-6:
            low = f"{mm_and_thou(limit.least, places=3)} to " if limit.least else "at most "
            raise CannotBeCut(
                f"{name.replace('_', ' ')} is out of proportion to the joint of "
                f"{solution.joint_name(limit.joint)}",
                where=f"[joint] {name}",
                value=f"{mm_and_thou(figure.value, places=3)} ({figure.standing})",
                limit=f"{low}{mm_and_thou(limit.most, places=3)} here: {limit.why}",
            )

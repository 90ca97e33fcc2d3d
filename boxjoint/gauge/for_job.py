"""The gauge pieces of one job: which tabs a comb should have, where it starts, whether strips matter."""

from __future__ import annotations

from collections import Counter

from boxjoint.errors import ArrangementError
from boxjoint.fit.fits import assumed_clearance
from boxjoint.gauge.pieces import GaugeStock
from boxjoint.gauge.readings import Axis
from boxjoint.gauge.strips import ScaleQuestion, scale_matters
from boxjoint.solve.solution import Solution

__all__ = ["first_centre_mm", "scale_of_job", "usual_tab"]


def usual_tab(solution: Solution) -> tuple[float, float, str]:
    """Return the width of most tabs of a job's finger joints, how long they are, and where they are.

    Returns
    -------
    width_mm
        Nominal width of the segments of which there are most; of several, the widest.
    length_mm
        Thickness of the thicker mate there: how deep the slots are.
    joint
        Name of the first joint that has them.

    Raises
    ------
    ArrangementError
        No finger joint of the job interlocks.
    """
    found: Counter[int] = Counter()
    where: dict[int, int] = {}
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        if joint.kind != "finger":
            continue
        for run in tabs.runs:
            if run.count >= 3:
                found[run.width] += run.count
                where.setdefault(run.width, joint.index)
    if not found:
        raise ArrangementError(
            "no finger joint of this job interlocks, so there is no tab to try",
            do="ask for segments along one of its directions",
        )
    width = max(found, key=lambda w: (found[w], w))
    joint = solution.joints[where[width]]
    thick = max(solution.panels[s].slab.thickness for s in (joint.a, joint.b))
    return width / 1e6, thick / 1e6, solution.joint_name(joint.index)


def first_centre_mm(
    stock: GaugeStock, fit: str, axis: Axis, *, slots: int, step_mm: float
) -> float:
    """Return x of the middle slot of a first comb: the assumed clearance of a fit less two kerfs.

    In brittle stock the tightest slot then has no interference by the kerf that is known.

    Raises
    ------
    InputError
        Unknown fit, or one that the material does not bear.
    """
    kerf = stock.kerf_mm(axis)
    centre = assumed_clearance(stock.material, fit) - 2 * kerf
    if stock.brittle:
        centre = max(centre, (slots - 1) / 2 * step_mm - 2 * kerf)
    # to a micrometre: nobody can cut closer, and a code then does not depend on the last bit
    return round(centre, 3)


def scale_of_job(solution: Solution) -> ScaleQuestion:
    """Say whether the edges of a job's joints are long enough for the scale of the axes to matter."""
    return scale_matters(j.length / 1e6 for j in solution.joints)

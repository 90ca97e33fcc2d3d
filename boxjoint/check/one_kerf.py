"""What comes of a job with two kerfs on a controller that takes one: predicted, and said."""

from __future__ import annotations

from collections.abc import Sequence

from boxjoint.check.as_cut import InsideAsCut, JointAsCut
from boxjoint.check.built import Built
from boxjoint.fit.controller import OneKerf
from boxjoint.fit.fits import family_of
from boxjoint.solve.solution import Solution
from boxjoint.units import mm_and_thou

__all__ = ["clearance_off", "inside_off", "one_kerf_warnings", "sheet_off"]


def _off(solution: Solution, panel: int, axis: int, one: OneKerf) -> float:
    """How far a panel's sides with their normal along a world axis end up outside, nm."""
    return one.off[solution.panels[panel].frame.axes.index(axis)] * 1e6


def clearance_off(solution: Solution, joint: int, one: OneKerf | None) -> float:
    """By how much one kerf changes the clearance of a joint, nm: both mates' two flanks grow."""
    if one is None:
        return 0.0
    j = solution.joints[joint]
    return -2 * sum(_off(solution, s, j.axis, one) for s in (j.a, j.b))


def inside_off(solution: Solution, inside: InsideAsCut, panel: str, one: OneKerf | None) -> float:
    """By how much one kerf changes what a panel, or two rim on rim, hold of an inside, nm."""
    if one is None:
        return 0.0
    index = {p.name: i for i, p in enumerate(solution.panels)}
    return 2 * sum(_off(solution, index[n], inside.axis, one) for n in panel.split(" + "))


def sheet_off(one: OneKerf | None) -> float:
    """The most by which one kerf moves the middle between two shoulders or rims, nm."""
    return 0.0 if one is None else 2 * max(abs(v) for v in one.off) * 1e6


def _range(values: Sequence[float]) -> str:
    low, high = min(values) / 1e6, max(values) / 1e6
    return f"{low:+.3f} mm" if f"{low:.3f}" == f"{high:.3f}" else f"{low:+.3f} to {high:+.3f} mm"


def one_kerf_warnings(built: Built) -> list[str]:
    """Say what clearances and insides will really be, where a controller gets one kerf for two."""
    one = built.one_kerf
    if one is None:
        return []
    kerf = one.beam.kerf
    text = (
        f"the controller offsets by one kerf, {mm_and_thou(one.kerf, places=3)}, and this machine "
        f"removes {mm_and_thou(kerf.x, places=3)} across cuts along Y and "
        f"{mm_and_thou(kerf.y, places=3)} across cuts along X"
    )
    cut = [j for j in built.joints if j.flanks]
    if cut:
        wanted = [built.plan.clearances[j.joint] * 1e6 for j in cut]
        text += (
            f": clearances will come out at {_range([v for j in cut for v in (j.least, j.greatest)])}"
            f" (computed), wanted {_range(wanted)}"
        )
    off = [v - i.asked for i in built.insides for v in i.by_panel.values()]
    if off:
        text += f"; what panels hold of the inside is off by {_range(off)}"
    return [text, *_brittle(built, cut)]


def _brittle(built: Built, cut: Sequence[JointAsCut]) -> list[str]:
    """Name joints of brittle stock that one kerf makes tight."""
    names = []
    for j in cut:
        joint = built.solution.joints[j.joint]
        panels = [built.solution.panels[s].name for s in (joint.a, joint.b)]
        if j.least < 0 and any(family_of(built.job.material(p)).brittle for p in panels):
            names.append(built.solution.joint_name(j.joint))
    if not names:
        return []
    return [
        f"{', '.join(names)}: one kerf leaves interference in brittle stock, which cracks from it"
    ]

"""The first-article coupon: two short stretches of a job that truly mate, cut as the job is cut.

The two stretches are one run of one finger joint, with the job's own divisions and owners, each with
some stock behind its shoulders. They are panels of an arrangement of two slabs that lie where the
job's slabs lie, so that drawing directions, and with them the kerf along each axis, are the job's;
outlines, reliefs and clearance are made by the same functions as the job's panels.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from boxjoint.errors import ArrangementError, InputError
from boxjoint.fit.compensate import Allowance, Beam, Drawn, compensate
from boxjoint.fit.plan import Plan
from boxjoint.fit.relief import relieve
from boxjoint.gauge.pieces import (
    SPACING_MM,
    GaugeKind,
    GaugePart,
    GaugePiece,
    GaugeStock,
    Point,
    ReadingRow,
    code_of,
    plain,
    require_range,
)
from boxjoint.gauge.readings import Axis, Form
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.drawing import Curve, Label, Layer
from boxjoint.geometry.rings import Role
from boxjoint.job.records import PerAxis, Source
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.joints import Joint, Run, find_joints
from boxjoint.solve.panels import Panel, make_panels
from boxjoint.solve.solution import Solution
from boxjoint.solve.tabs import JointTabs, RunTabs

__all__ = ["coupon", "stretches"]

_BODY_MM = 15.0


def stretches(
    solution: Solution, *, body_mm: float = _BODY_MM, most_segments: int | None = None
) -> tuple[int, tuple[Panel, Panel]]:
    """Return the joint with the shortest run that interlocks, and its two stretches as panels.

    Parameters
    ----------
    solution
        The job's.
    body_mm
        Stock behind the shoulders, mm.
    most_segments
        At most so many segments, from the run's low end, an odd number of 3 or more; ``None`` takes
        the whole run. A shortened run feels looser than the whole one: fewer flanks.

    Returns
    -------
    joint, panels
        Index of the joint in ``solution``; nominal panels of the stronger and of the weaker mate,
        under the job's names and in its drawing frames.

    Raises
    ------
    ArrangementError
        When no finger joint of the job interlocks.
    InputError
        ``most_segments`` even or below 3, or ``body_mm`` outside 5 to 60.
    """
    require_range("stock behind the shoulders", body_mm, 5.0, 60.0)
    if most_segments is not None and (most_segments < 3 or most_segments % 2 == 0):
        raise InputError("segments of a coupon", value=str(most_segments), limit="odd, 3 or more")
    found: tuple[int, int, Run] | None = None
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        if joint.kind != "finger":
            continue
        for each in tabs.runs:
            if each.count >= 3 and (found is None or each.run.length < found[0]):
                found = each.run.length, joint.index, each.run
    if found is None:
        raise ArrangementError(
            "no finger joint of this job interlocks, so there is nothing to try",
            do="ask for segments along one of its directions",
        )
    _, index, run = found
    joint, tabs = solution.joints[index], solution.tabs[index]
    inside = (tabs.lo >= run.lo) & (tabs.hi <= run.hi)
    lo, hi, owner = tabs.lo[inside], tabs.hi[inside], tabs.owner[inside]
    if most_segments is not None:
        lo, hi, owner = lo[:most_segments], hi[:most_segments], owner[:most_segments]
    arrangement = _two_slabs(solution, joint, int(lo[0]), int(hi[-1]), round(body_mm * 1e6))
    joints = find_joints(arrangement)
    short = JointTabs(
        lo=lo,
        hi=hi,
        owner=np.where(owner == joint.a, 0, 1).astype(np.int64),
        runs=(
            RunTabs(
                run=Run(lo=int(lo[0]), hi=int(hi[-1]), before=0, behind=0),
                count=len(lo),
                width=int(hi[1] - lo[1]),
                why="as in the job",
            ),
        ),
    )
    first, second = make_panels(arrangement, joints, (), (short,), ())
    return index, (first, second)


def _two_slabs(solution: Solution, joint: Joint, lo: int, hi: int, body: int) -> Arrangement:
    """The two mates along [lo, hi], each reaching ``body`` beyond the other's inner face."""
    slabs = []
    for mine, other in ((joint.a, joint.b), (joint.b, joint.a)):
        slab, mate = solution.arrangement.slabs[mine], solution.arrangement.slabs[other]
        a, b = list(slab.box.lo), list(slab.box.hi)
        a[joint.axis], b[joint.axis] = lo, hi
        k = mate.normal
        if slab.box.lo[k] == mate.box.lo[k]:  # the bar lies at the low edge
            b[k] = mate.box.hi[k] + body
        else:
            a[k] = mate.box.lo[k] - body
        slabs.append(
            Slab(
                name=slab.name,
                normal=slab.normal,
                box=Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2])),
                outward=slab.outward,
                guest=slab.guest,
            )
        )
    return Arrangement(slabs=tuple(slabs))


def coupon(
    solution: Solution,
    plan: Plan,
    *,
    title: str,
    material: str,
    thickness_source: Source = Source.ASKED,
    beam: Beam | None = None,
    quarters: Mapping[str, int] | None = None,
    body_mm: float = _BODY_MM,
    most_segments: int | None = None,
) -> GaugePiece:
    """Return the coupon of a job: two stretches that mate, with kerf and clearance applied.

    Parameters
    ----------
    solution, plan
        The job's.
    title
        The job's title.
    material
        Of the two panels.
    beam
        The beam that the job is drawn for where it is not the plan's own.
    quarters
        By panel: quarter turns by which the job's panels lie on the sheet; 0 where left out.
    body_mm, most_segments
        As for :func:`stretches`.

    Raises
    ------
    ArrangementError, InputError
        As :func:`stretches`.
    CannotBeCut
        When the kerf would close a slot, as for the job's panels.
    """
    index, panels = stretches(solution, body_mm=body_mm, most_segments=most_segments)
    beam = beam or plan.beam
    joint = solution.joints[index]
    turns = quarters or {}
    drawn: list[Drawn] = []
    for panel in panels:
        base = plan.allowance(guest=panel.slab.guest)
        allowance: Allowance = replace(base, clearance=(plan.clearances[index],))
        turn = turns.get(panel.name, 0) % 4
        drawn.append(compensate(panel.rings, beam, allowance, quarters=turn, name=panel.name))
    facts = [plain(v) for d in drawn for v in (d.rings.xy - d.rings.xy.min(axis=0)).ravel() / 1e6]
    stock = [f"{p.name} {plain(p.slab.thickness / 1e6)}" for p in panels]
    code = code_of(GaugeKind.COUPON, *stock, *facts)

    parts: list[GaugePart] = []
    rows: list[ReadingRow] = []
    x = y = 0.0
    for panel, d in zip(panels, drawn, strict=True):
        part = _part(panel, d, plan.corner_relief.value, code, at=(x, y))
        parts.append(part)
        if part.size[0] < part.size[1]:  # upright ones stand side by side
            x += part.size[0] + SPACING_MM
        else:
            y += part.size[1] + SPACING_MM
        rows += _rows(part, d, len(rows))
    clearance = plan.clearances[index]
    own = clearance == plan.clearance.value
    standing = plan.clearance.standing if own else str(plan.joint_source)
    thick = [p.slab.thickness / 1e6 for p in panels]
    apart = (
        f"{panels[0].name} is cut from stock of {thick[0]:.2f} mm, {panels[1].name} from stock of "
        f"{thick[1]:.2f} mm: cut each from its own sheet"
    )
    return GaugePiece(
        kind=GaugeKind.COUPON,
        code=code,
        title=f"First-article coupon of {title}",
        stock=GaugeStock(
            material=material,
            thickness_mm=panels[0].slab.thickness / 1e6,
            thickness_source=thickness_source,
            kerf=PerAxis(x=max(plan.kerf_x.value, 0.01), y=max(plan.kerf_y.value, 0.01)),
            kerf_source=plan.kerf_x.source,
        ),
        parts=tuple(parts),
        rows=tuple(rows),
        kerf_applied=beam.kerf.x > 0 or beam.kerf.y > 0,
        warnings=(apart,) if thick[0] != thick[1] else (),
        how=(
            f"the run of {panels[0].name} and {panels[1].name}, {_length(joint, panels[0]):.2f} mm, "
            "with the divisions of the job",
            "press both together as in the box: does it feel as it should?",
        ),
        extra=(
            f"clearance {clearance:+.3f} mm ({standing}), "
            f"scale X {plan.scale_x.value:.5g}, Y {plan.scale_y.value:.5g}",
        ),
    )


def _length(joint: Joint, panel: Panel) -> float:
    lo, hi = panel.slab.box.span(joint.axis)
    return (hi - lo) / 1e6


def _part(panel: Panel, drawn: Drawn, relief: float, code: str, *, at: Point) -> GaugePart:
    rings = drawn.rings
    low = rings.xy.min(axis=0)
    width, height = ((rings.xy.max(axis=0) - low) / 1e6).tolist()
    curves = [
        Curve(
            layer=Layer.CUT_OUTER if k == 0 else Layer.CUT_INNER,
            xy=xy - low / 1e6,
            bulge=bulge if bulge.any() else None,
        )
        for k, (xy, bulge) in enumerate(relieve(drawn, relief).rings)
    ]
    # marks go on the body, between the shoulders and the rim behind them
    along_x, sign = rings.direction()
    i = int(np.flatnonzero(rings.role == Role.SHOULDER)[0])
    k = 0 if bool(along_x[i]) else 1
    shoulder = float(rings.xy[i, k] - low[k]) / 1e6
    size = [width, height]
    centre = [width / 2, height / 2]
    body = shoulder if sign[i] > 0 else size[k] - shoulder
    centre[k] = body / 2 if sign[i] > 0 else size[k] - body / 2
    size[k] = body
    words = (panel.name, code)
    letter = min(3.0, size[1] / 5, *(0.9 * size[0] / (len(w) + 1) for w in words))
    return GaugePart(
        name=panel.name,
        size=(width, height),
        curves=tuple(reversed(curves)),
        labels=tuple(
            Label(
                layer=Layer.MARK,
                at=(centre[0], centre[1] + up * 0.85 * letter),
                text=word,
                height=letter,
            )
            for word, up in zip(words, (1, -1), strict=True)
        ),
        at=at,
    )


def _rows(part: GaugePart, drawn: Drawn, before: int) -> list[ReadingRow]:
    """One tab and one slot of a stretch, by its flanks as drawn."""
    rings = drawn.rings
    flank = np.flatnonzero(rings.role == Role.FLANK)
    along_x, sign = rings.direction()
    axis: Axis = "x" if bool(along_x[flank[0]]) else "y"
    k = 0 if axis == "x" else 1
    low = rings.xy.min(axis=0)
    at = (rings.xy[flank, k] - low[k]) / 1e6
    order = np.argsort(at, kind="stable")
    flank, at = flank[order], at[order]
    middle = (rings.xy[flank, 1 - k] + rings.ends[flank, 1 - k]) / 2
    across = (middle - low[1 - k]) / 1e6
    rows: list[ReadingRow] = []
    wanted = {Form.PLUG, Form.HOLE}
    # the middle of the run first: its segments are the run's own width
    pairs = sorted(range(len(flank) - 1), key=lambda i: (abs(i - (len(flank) - 2) / 2), i))
    for i in pairs:
        form = Form.PLUG if sign[flank[i]] < 0 else Form.HOLE
        if form not in wanted:
            continue
        wanted.remove(form)
        ends = [(float(at[j]), float(across[i])) for j in (i, i + 1)]
        touch = [p if axis == "x" else (p[1], p[0]) for p in ends]
        tab = form is Form.PLUG
        rows.append(
            ReadingRow(
                row=before + len(rows) + 1,
                form=form,
                axis=axis,
                drawn_mm=round(ends[1][0] - ends[0][0], 6),
                what=f"{part.name}, one {'tab' if tab else 'slot'}",
                jaws="outside jaws, across the tab" if tab else "inside jaws, between its flanks",
                part=part.name,
                touch=(touch[0], touch[1]),
            )
        )
    return rows

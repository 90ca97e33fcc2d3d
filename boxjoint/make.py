"""The whole flow in one place, read top to bottom: a job in, everything made and proved out.

Commands, notebooks and the page call this and hold no rules of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from boxjoint.check.as_cut import (
    JointAsCut,
    inside_as_cut,
    joints_as_cut,
    least_void,
    sheets_as_cut,
    sides_off,
)
from boxjoint.check.built import Built, Part
from boxjoint.check.compartments import compartments_as_cut
from boxjoint.check.exact import exact_proof
from boxjoint.check.one_kerf import clearance_off, inside_off, one_kerf_warnings, sheet_off
from boxjoint.check.sequence import assembly_sequence
from boxjoint.check.webs import web_left
from boxjoint.errors import CannotBeCut, InputError, nearest_name
from boxjoint.export.dxf import DxfVersion, drawing_to_dxf
from boxjoint.export.panels import all_panels_drawing, panel_drawing
from boxjoint.export.report import report_json, report_text
from boxjoint.export.said import names_together
from boxjoint.export.svg import drawing_to_svg
from boxjoint.fit.bounds import refuse_out_of_proportion
from boxjoint.fit.compensate import Beam, compensate, virtual_cut
from boxjoint.fit.controller import OneKerf, one_kerf
from boxjoint.fit.fits import ASSUMED_KERF_MM
from boxjoint.fit.plan import Measured, Plan, plan_cut, seat_gap
from boxjoint.fit.relief import relieve
from boxjoint.geometry.drawing import Drawing
from boxjoint.geometry.rings import Rings
from boxjoint.geometry.valid import ring_problem
from boxjoint.job.questions import question_job, question_kerf
from boxjoint.job.records import DIRECTIONS, Job, PerAxis, Unit
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.box import outside_of
from boxjoint.solve.cases import job_arrangement
from boxjoint.solve.inside import find_inside
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution, solve
from boxjoint.solve.tabs import GREATEST, LEAST_WIDTH, TabAsk
from boxjoint.units import both, own_first, small_size

if TYPE_CHECKING:  # cut-outs and seams are loaded only where a job may have some
    from boxjoint.check.cutouts import CutHole
    from boxjoint.check.seams import SeamAsCut
    from boxjoint.check.turning import Turn
    from boxjoint.fit.cutouts import Placed
    from boxjoint.fit.marks import PlacedMark
    from boxjoint.fit.seams import Seams
    from boxjoint.solve.seams import Divided

__all__ = ["build", "clearance_faults", "files", "seam_faults", "solid", "tab_ask"]

#: A clearance as cut is the sum of four roundings to a nanometre; an inside is the sum of two.
CLEARANCE_TOLERANCE_NM = 4
INSIDE_TOLERANCE_NM = 2


def tab_ask(job: Job) -> TabAsk:
    """What the job asks of its tabs, for the solver."""
    return TabAsk(
        width=job.joint.tab_width,
        counts={DIRECTIONS.index(d): n for d, n in job.joint.segments.items()} or None,
        ends=job.joint.ends,
    )


def build(
    job: Job,
    *,
    arrangement: Arrangement | None = None,
    measured: Measured | None = None,
    held: Mapping[tuple[str, str], tuple[tuple[int, ...], ...]] | None = None,
    kerf_by_controller: bool = False,
    confirmed: bool = False,
    kept: frozenset[int] = frozenset(),
) -> Built:
    """Solve, compensate, cut virtually and prove one job.

    Parameters
    ----------
    job
        What was asked.
    arrangement
        The slabs; ``None`` takes the job's own.
    measured
        What the shop book knows of kerf, scale and clearance here.
    held
        Divisions that mates which are cut already have; as in
        :class:`~boxjoint.solve.tabs.TabAsk`.
    kerf_by_controller
        Draw with clearance, proud and reliefs, but leave the kerf to the controller.
    confirmed
        The maker has confirmed what would otherwise be asked about.
    kept
        Axes along which the job's counts of segments were kept from an earlier box, not asked for.

    Returns
    -------
    Built
        With every fault found; ``built.require()`` raises when there is one.

    Raises
    ------
    BoxjointError
        When the job cannot be solved or cut; nothing was proved then.
    """
    arrangement = arrangement or job_arrangement(job)
    _refuse_outside(job, arrangement)
    solution = solve(arrangement, replace(tab_ask(job), held=held))
    exact = exact_proof(solution.panels, arrangement.insides)

    names = [p.name for p in solution.panels]
    mates = [
        (names[j.a], names[j.b], len(t.lo))
        for j, t in zip(solution.joints, solution.tabs, strict=True)
    ]
    plan = plan_cut(job, names, mates, measured)
    refuse_out_of_proportion(plan, solution)
    placed = _placed(job, solution, plan)
    marks = _placed_marks(job, solution)
    seams = _seams(job, solution, plan, measured.bed if measured else None, placed, marks)
    divisions = {} if seams is None else seams.divided
    if seams is not None:
        if divisions:  # the flanks of a seam have a clearance like those of a joint
            mates += [
                (d.panel.name, d.panel.name, d.line.steps)
                for d in divisions.values()
                for _ in d.joints
            ]
            plan = plan_cut(job, names, mates, measured)
        plan = replace(plan, warnings=(*plan.warnings, *seams.warnings))
    beam = plan.beam
    if kerf_by_controller:
        _confirm_one_kerf(plan, confirmed, job.unit)
        for panel in solution.panels:  # what the kerf would close, it closes in any case
            compensate(
                panel.rings, plan.beam, plan.allowance(guest=panel.slab.guest), name=panel.name
            )
            for cutout in placed.get(panel.name, ()):
                from boxjoint.fit.holes import compensate_hole

                compensate_hole(cutout.hole, plan.beam, name=panel.name)
        beam = Beam(kerf=PerAxis(x=0.0, y=0.0), scale=plan.beam.scale)

    single = one_kerf(plan) if kerf_by_controller else None
    parts = []
    for i, (panel, web) in enumerate(zip(solution.panels, plan.webs, strict=True)):
        whole = _part(plan, beam, single, panel, web)
        bite = whole.relieved.deepest
        holes = _holes(
            solution, panel, whole.as_cut, placed.get(panel.name, ()), beam, web, bite_mm=bite
        )
        marked = marks.get(panel.name, ())
        whole = replace(whole, holes=holes, marks=marked)
        if (divided := divisions.get(i)) is not None:
            from boxjoint.check.cutouts import holes_of_pieces

            pieces = tuple(
                replace(_part(plan, beam, single, p, web), of=panel.name, holes=h)
                for p, h in zip(divided.pieces, holes_of_pieces(divided, holes, beam), strict=True)
            )
            whole = replace(whole, pieces=pieces, divided=divided)
        if marked:
            whole = _marked(whole, solution, bite_mm=bite)
        parts.append(whole)
    # what is measured of the box is measured on what is really cut
    cut = [
        p.as_cut if p.divided is None else _joined(p.divided, [c.as_cut for c in p.pieces])
        for p in parts
    ]
    joints = joints_as_cut(solution, cut)
    found: Sequence[float] = plan.clearances
    if single is not None:  # what comes out is not what was wanted
        found = [j.least / 1e6 for j in joints if j.flanks]
    built = Built(
        job=job,
        solution=solution,
        plan=plan,
        beam=beam,
        kerf_by_controller=kerf_by_controller,
        parts=tuple(parts),
        exact=exact,
        joints=joints,
        sheets=sheets_as_cut(solution, cut),
        insides=tuple(
            r
            for b in arrangement.insides
            if b.compartment is None
            for r in inside_as_cut(solution, b, cut)
        ),
        compartments=compartments_as_cut(solution, cut, job.thickness),
        seams=tuple(
            s
            for p in parts
            if p.divided is not None
            for s in _seams_as_cut(p.divided, [c.as_cut for c in p.pieces])
        ),
        assembly=assembly_sequence(solution.panels, bodies=arrangement.bodies),
        turn=_turn(arrangement),
        seat_gap_mm=_seat_gap(
            plan, found, all(not c.relieved.left_out for p in parts for c in p.cut)
        ),
        kept=kept,
    )
    return _judged(built, measured)


def _part(plan: Plan, beam: Beam, single: OneKerf | None, panel: Panel, web: float) -> Part:
    """Compensate, cut and relieve one panel, or one piece of a panel."""
    drawn = compensate(panel.rings, beam, plan.allowance(guest=panel.slab.guest), name=panel.name)
    if plan.tool is not None:
        _refuse_narrow(drawn.rings, plan.tool.value, panel.name)
    if single is not None:
        as_cut = single.cut(drawn, name=panel.name)
    else:
        as_cut = virtual_cut(drawn.rings, beam, name=panel.name)
    neck = panel.slab.thickness / 1e6 if web > 0 else 0.0
    relieved = relieve(drawn, plan.corner_relief.value, web=web, neck=neck, style=plan.corner_style)
    return Part(
        panel=panel,
        drawn=drawn,
        relieved=relieved,
        as_cut=as_cut,
        web=web_left(as_cut, drawn, relieved) if web > 0 or as_cut.count > 1 else None,
        neck=web_left(as_cut, drawn, relieved, necks=True) if web > 0 else None,
    )


def _placed(job: Job, solution: Solution, plan: Plan) -> Mapping[str, tuple[Placed, ...]]:
    """Cut-outs by panel; what they need is loaded only where there are some."""
    if not job.cuts_out:
        return {}
    from boxjoint.fit.cutouts import place_cutouts

    return place_cutouts(job, solution, plan)


def _turn(arrangement: Arrangement) -> Turn | None:
    """How a hinged lid turns."""
    if arrangement.hinge is None:
        return None
    from boxjoint.check.turning import turn_of

    return turn_of(arrangement)


def _placed_marks(job: Job, solution: Solution) -> Mapping[str, tuple[PlacedMark, ...]]:
    """Marks by panel."""
    if not job.marks:
        return {}
    from boxjoint.fit.marks import place_marks

    return place_marks(job, solution)


def _marked(whole: Part, solution: Solution, *, bite_mm: float) -> Part:
    """Refuse marks of a panel that are not clear, and give each piece of it its own."""
    from boxjoint.check.marks import clear_marks, marks_of_pieces

    holes = [h.as_cut for h in whole.holes]
    clear_marks(whole.panel, whole.as_cut, holes, whole.marks, solution=solution, bite_mm=bite_mm)
    if whole.divided is None:
        return whole
    pieces = []
    own = marks_of_pieces(whole.divided, whole.marks)
    for piece, marks in zip(whole.pieces, own, strict=True):
        holes = [h.as_cut for h in piece.holes]
        clear_marks(piece.panel, piece.as_cut, holes, marks, bite_mm=bite_mm)
        pieces.append(replace(piece, marks=marks))
    return replace(whole, pieces=tuple(pieces))


def _seams(
    job: Job,
    solution: Solution,
    plan: Plan,
    bed: tuple[int, int] | None,
    placed: Mapping[str, tuple[Placed, ...]],
    marks: Mapping[str, tuple[PlacedMark, ...]],
) -> Seams | None:
    """Seams, where anything is said that can ask for one: a bed, a sheet, a length or a place."""
    said = bed or job.nest.bed or job.sheets or job.seams.allowed or job.seams.longest
    if not said and all(job.seam(p.name) is None for p in solution.panels):
        return None
    from boxjoint.fit.seams import find_seams

    keep_off = {name: [(*p.hole.lo, *p.hole.hi) for p in holes] for name, holes in placed.items()}
    for name, marked in marks.items():
        keep_off.setdefault(name, []).extend(m.extent_nm for m in marked)
    return find_seams(job, solution, plan, bed, keep_off)


def _joined(divided: Divided, pieces: Sequence[Rings]) -> Rings:
    """The pieces of a panel laid together as cut."""
    from boxjoint.check.seams import joined

    return joined(divided, pieces)


def _seams_as_cut(divided: Divided, pieces: Sequence[Rings]) -> tuple[SeamAsCut, ...]:
    """What the seams of one panel have as cut."""
    from boxjoint.check.seams import seams_as_cut

    return seams_as_cut(divided, pieces)


def _holes(
    solution: Solution,
    panel: Panel,
    as_cut: Rings,
    placed: tuple[Placed, ...],
    beam: Beam,
    web: float,
    *,
    bite_mm: float,
) -> tuple[CutHole, ...]:
    """Cut-outs of one panel as cut, clear of all else."""
    if not placed:
        return ()
    from boxjoint.check.cutouts import clear_holes

    return clear_holes(solution, panel, as_cut, placed, beam, web, bite_mm=bite_mm)


def _refuse_outside(job: Job, arrangement: Arrangement) -> None:
    """Refuse a box that is larger than the space it must go into, whatever it is made of."""
    for name, size in zip(DIRECTIONS, outside_of(arrangement).size, strict=True):
        limit: int | None = getattr(job.fit_into, name)
        if limit is not None and size > limit:
            raise InputError(
                f"the box does not fit: its {name} is {both(size - limit, job.unit)} too large",
                where=f"[fit_into] {name}",
                value=f"outside {both(size, job.unit)}",
                limit=f"at most {both(limit, job.unit)}",
            )


def _confirm_one_kerf(plan: Plan, confirmed: bool, unit: Unit) -> None:
    """A controller offsets by one kerf: with two that differ the maker has to say yes."""
    apart = round(abs(plan.kerf_x.value - plan.kerf_y.value), 9)  # 0.17 - 0.16 is 0.01
    if apart > 0.01 and not confirmed:
        raise InputError(
            "a controller offsets by one kerf, and this machine has two",
            value=f"kerf X {small_size(plan.kerf_x.value, unit)}, kerf Y {small_size(plan.kerf_y.value, unit)}",
            limit="at most 0.01 mm apart",
            do="let this program apply the kerf, or confirm with --yes",
        )


def _refuse_narrow(rings: Rings, tool: float, name: str) -> None:
    """Refuse a slot or hole that the router's cutter does not enter."""
    void = least_void(rings)
    if void is not None and void.width < tool * 1e6:
        x, y = void.place
        raise CannotBeCut(
            f"the cutter does not enter a slot of {name}",
            where=f"at x {x / 1e6:.2f}, y {y / 1e6:.2f} mm",
            value=f"slot {void.width / 1e6:.3f} mm, tool {tool:.3f} mm",
            do="ask for fewer, wider segments, or take a thinner cutter",
        )


def _seat_gap(plan: Plan, clearances: Sequence[float], all_relieved: bool) -> float:
    """The largest seat gap on the joints' flanks; none where every corner is relieved."""
    radius = max(plan.kerf_x.value, plan.kerf_y.value) / 2
    if plan.tool is not None:
        radius = plan.tool.value / 2
    if all_relieved and plan.corner_relief.value >= radius > 0:
        return 0.0
    return max((seat_gap(radius, c) for c in clearances), default=0.0)


def _judged(built: Built, measured: Measured | None) -> Built:
    """Add what is wrong on the parts as cut, and what is worth a look."""
    faults: list[str] = []
    solution, plan = built.solution, built.plan
    faults += clearance_faults(built, built.joints)
    for inside in built.insides:
        for panel, held in inside.by_panel.items():
            off = inside_off(solution, inside, panel, built.one_kerf)
            if abs(held - inside.asked - off) > INSIDE_TOLERANCE_NM:
                faults.append(
                    f"{inside.block} along {'xyz'[inside.axis]}: {panel} holds {held / 1e6:.6f} mm, "
                    f"asked {inside.asked / 1e6:.6f} mm"
                )
    for c in built.compartments:
        allowed = CLEARANCE_TOLERANCE_NM + sheet_off(built.one_kerf)
        if c.binds and abs(c.mean - c.asked) > allowed:
            faults.append(
                f"{c.block} along {'xyz'[c.axis]}: the slots of {c.binds} hold {c.mean / 1e6:.6f} mm, "
                f"asked {c.asked / 1e6:.6f} mm"
            )
    for whole in built.parts:
        for part in dict.fromkeys((whole, *whole.cut)):
            faults += _outline_faults(built, part)
        if whole.divided is not None:
            from boxjoint.check.seams import pieces_problem

            if problem := pieces_problem(whole.divided):
                faults.append(problem)
    if built.turn is not None and built.turn.least <= max(plan.proud.value, 0.0) * 1e6:
        one, other = built.turn.least_of
        faults.append(
            f"{one} comes within {built.turn.least / 1e6:.3f} mm of {other} while the lid turns, and tips "
            f"stand out by {plan.proud.value:.3f} mm"
        )
    # a controller of one kerf is off on purpose, and says so
    for seam in built.seams if built.one_kerf is None else ():
        faults += seam_faults(plan, seam)
    for part, least in [(c, w) for p, w in zip(built.parts, plan.webs, strict=True) for c in p.cut]:
        if part.web is not None and (part.web.width <= 0 or part.web.width / 1e6 < least - 1e-6):
            x, y = part.web.place
            faults.append(
                f"{part.panel.name}: web of {part.web.width / 1e6:.3f} mm at x {x / 1e6:.2f}, "
                f"y {y / 1e6:.2f} mm, least {least:.3f} mm ({plan.web.source}); set [joint] web to "
                "accept less"
            )
    return replace(built, faults=tuple(faults), warnings=tuple(_warnings(built, measured)))


def _outline_faults(built: Built, part: Part) -> list[str]:
    """What is wrong with one panel's outlines: no single piece, or a side out of its place."""
    plan, name = built.plan, part.panel.name
    faults = []
    for what, rings in (("as drawn", part.drawn.rings), ("as cut", part.as_cut)):
        if (found := ring_problem(rings)) is not None:
            x, y = found[1]
            faults.append(f"{name} {what}: {found[0]} at x {x / 1e6:.3f}, y {y / 1e6:.3f} mm")
    outward = plan.outward(guest=part.panel.slab.guest)
    along = built.one_kerf.off if built.one_kerf else (0.0, 0.0)
    flanks = [-c / 4 for c in plan.clearances]
    off = sides_off(part.panel.rings, part.as_cut, outward, flanks, along)
    if off and not faults:
        x, y = off[0].place
        faults.append(
            f"{name} as cut: {len(off)} sides are not where their role says, the worst a "
            f"{off[0].role.name.lower()} by {off[0].off / 1e6:.6f} mm at x {x / 1e6:.3f}, "
            f"y {y / 1e6:.3f} mm"
        )
    if part.neck is not None and part.neck.width <= 0 and not faults:
        faults.append(f"{name} as cut: a neck of {part.neck.width / 1e6:.3f} mm is cut through")
    return faults


def clearance_faults(built: Built, joints: Sequence[JointAsCut]) -> list[str]:
    """What is wrong with the clearances of joints as cut: a flank without a mate, or another size.

    Parameters
    ----------
    joints
        As :func:`~boxjoint.check.as_cut.joints_as_cut` finds them on the panels as they are cut.
    """
    faults = []
    for j in joints:
        name = built.solution.joint_name(j.joint)
        if j.unmatched:
            faults.append(f"{name}: {j.unmatched} flanks face no flank of the mate")
        off = clearance_off(built.solution, j.joint, built.one_kerf)
        asked = built.plan.clearances[j.joint] * 1e6 + off
        found = (j.least, j.greatest, j.least_flank, j.greatest_flank)
        if j.flanks and max(abs(f - asked) for f in found) > CLEARANCE_TOLERANCE_NM:
            faults.append(
                f"{name}: clearance as cut {min(found) / 1e6:.6f} to {max(found) / 1e6:.6f} mm, "
                f"wanted {asked / 1e6:.6f} mm"
            )
    return faults


def seam_faults(plan: Plan, seam: SeamAsCut) -> list[str]:
    """What is wrong with the gaps between two pieces as cut."""
    name = " and ".join(seam.pieces)
    faults = []
    if seam.unmatched:
        faults.append(f"{name}: {seam.unmatched} sides of the seam face none of the other piece")
    clearance, relief = plan.clearances[seam.joint] * 1e6, plan.seam_relief.value * 1e6
    for what, least, most, asked in (
        ("clearance", seam.least, seam.greatest, clearance),
        ("relief", seam.least_relief, seam.greatest_relief, relief),
    ):
        if max(abs(least - asked), abs(most - asked)) > CLEARANCE_TOLERANCE_NM:
            faults.append(
                f"{name}: {what} of the seam as cut {least / 1e6:.6f} to {most / 1e6:.6f} mm, wanted "
                f"{asked / 1e6:.6f} mm"
            )
    return faults


def _warnings(built: Built, measured: Measured | None) -> list[str]:
    found = [str(q) for q in question_job(built.job)]
    shop = None
    if measured is not None and measured.kerf_x is not None and measured.kerf_y is not None:
        shop = PerAxis(x=measured.kerf_x.value, y=measured.kerf_y.value)
    found += [str(q) for q in question_kerf(built.job, usual_mm=ASSUMED_KERF_MM, measured=shop)]
    found += built.plan.warnings
    if not built.solution.arrangement.insides:
        found.append("NO INSIDE WAS PROVED: the arrangement names no space that was asked for")
    found += one_kerf_warnings(built)
    found += _tab_warnings(built.solution, built.job.unit, built.kept)
    found += _sheet_warnings(built)
    found += built.assembly.warnings
    if built.turn is not None and built.turn.dips > 0:
        found.append(
            f"the hinged lid dips {both(round(built.turn.dips), built.job.unit)} into the inside along "
            "the back while it turns: what stands there must be lower"
        )
    tabs = min((r.width for t in built.solution.tabs for r in t.runs), default=0)
    for part in built.parts:
        if part.holes:
            from boxjoint.check.cutouts import hole_warnings

            found += hole_warnings(part.panel, part.holes)
        if part.relieved.left_out:
            found.append(
                f"{part.panel.name}: {part.relieved.left_out} inside corners have no relief of "
                f"{small_size(built.plan.corner_relief.value, built.job.unit)} radius and keep the "
                "tool's own: " + _why_left_out(part)
            )
        if part.neck and tabs and part.neck.width < min(tabs, part.panel.slab.thickness):
            x, y = part.neck.place
            found.append(
                f"{part.panel.name}: a neck of {part.neck.width / 1e6:.2f} mm at x {x / 1e6:.1f}, "
                f"y {y / 1e6:.1f} mm is thinner than any tab"
            )
    return found


def _why_left_out(part: Part) -> str:
    spared = part.relieved.spared
    short = part.relieved.left_out - spared
    why = [f"the sides of {short} are too short"] if short else []
    return " and ".join(
        [*why, f"{spared} would lose their web, neck or tab to it"] if spared else why
    )


def _tab_warnings(solution: Solution, unit: Unit, kept: frozenset[int]) -> list[str]:
    """Say where nothing interlocks, and where asked or kept widths lie beyond the rule's limits."""
    said: dict[str, list[str]] = {}
    for joint, tabs in zip(solution.joints, solution.tabs, strict=True):
        if joint.kind == "halflap":
            continue
        thick = sorted(solution.panels[s].slab.thickness for s in (joint.a, joint.b))
        least, greatest = max(LEAST_WIDTH, thick[0]), GREATEST * thick[1]
        text = ""
        if not tabs.interlocks:
            text = (
                f"one segment of {own_first(tabs.runs[0].run.length, unit)}: nothing interlocks; ask for "
                f"segments along {DIRECTIONS[joint.axis]} to get tabs"
            )
        elif any(r.why.startswith(("asked", "nearest to the asked")) for r in tabs.runs):
            width = min(r.width for r in tabs.runs if r.count > 1)
            if not least <= width <= greatest:
                text = (
                    f"{'kept' if joint.axis in kept else 'asked'} tabs of {own_first(width, unit)} "
                    f"lie outside the usual {own_first(least, unit)} to {own_first(greatest, unit)}"
                )
        if text:
            said.setdefault(text, []).append(solution.joint_name(joint.index))
    return [f"{', '.join(names)}: {text}" for text, names in said.items()]


def _sheet_warnings(built: Built) -> list[str]:
    """Say which sheets may not go into their slots, and what stands loose or out of the box."""
    found = []
    unit = built.job.unit
    tight: dict[str, int] = {}
    for s in built.sheets:
        over = built.job.thickness(s.sheet).greatest - s.least
        if over > 0:
            tight[s.sheet] = max(over, tight.get(s.sheet, 0))
    if tight:
        worst = max(tight, key=lambda name: tight[name])
        found.append(
            f"{', '.join(tight)}: the thickest reading does not go into every slot; {worst} is "
            f"{small_size(tight[worst] / 1e6, unit)} too thick; give more [joint] sheet_clearance"
        )
    found += _spread_warnings(built, tight)
    if built.job.items:
        height = find_inside(built.job).along[2]
        if height.room is not None and height.room < 0:
            found.append(
                f"the contents want {own_first(height.nm - height.room, unit)} of height and the inside has "
                f"{own_first(height.nm, unit)}: they may stand out of the open box"
            )
    dividers = built.job.dividers
    if dividers.fixing == "loose" and dividers.names and min(map(len, dividers.along)) == 1:
        found.append(
            f"{', '.join(dividers.names)}: loose dividers along one direction only are held by "
            'nothing; divide the other direction too, or set [dividers] fixing = "tabbed"'
        )
    return found


def _spread_warnings(built: Built, tight: Mapping[str, int]) -> list[str]:
    """Say where the readings of a sheet differ much, and what that does.

    Much is, for a sheet that goes into slots, more than half the sheet clearance: cheeks are cut for
    the mean. For another it is more than the whole and a fiftieth of the sheet.
    """
    unit, clearance = built.job.unit, max(0, round(built.plan.sheet_clearance.value * 1e6))
    slots: dict[str, list[int]] = {}
    for s in built.sheets:
        slots.setdefault(s.sheet, []).extend((s.least, s.greatest))
    said: dict[str, list[str]] = {}
    for part in built.parts:
        name = part.panel.name
        t = built.job.thickness(name)
        spread = t.greatest - t.least
        if t.nm != part.panel.slab.thickness or name in tight:
            continue
        text = (
            f"thickness readings {own_first(t.least, unit)} to {own_first(t.greatest, unit)} "
            "(measured)"
        )
        if name in slots and 2 * spread > clearance:
            thick, thin = min(slots[name]) - t.greatest, max(slots[name]) - t.least
            text += (
                f": slots are cut for the mean, so cheeks hold the thickest place with "
                f"{small_size(thick / 1e6, unit, sign=True)} and the thinnest with "
                f"{small_size(thin / 1e6, unit, sign=True)} (computed)"
            )
        elif name not in slots and spread > max(clearance, t.nm // 50):
            text += (
                f": tips of the mates stand up to {small_size((t.greatest - t.nm) / 1e6, unit)} shy "
                f"or {small_size((t.nm - t.least) / 1e6, unit)} proud of its face (computed); the "
                "inside is not changed"
            )
        else:
            continue
        said.setdefault(text, []).append(name)
    return [f"{names_together(names)}: {text}" for text, names in said.items()]


def _pieces(built: Built) -> tuple[tuple[Divided, tuple[Rings, ...]], ...]:
    """Panels that seams divide, with their pieces as the outlines allow for."""
    return tuple(
        (
            p.divided,
            tuple(virtual_cut(c.drawn.rings, built.beam, name=c.panel.name) for c in p.pieces),
        )
        for p in built.parts
        if p.divided is not None
    )


def solid(
    built: Built, *, progress: Callable[[str, int, int], None] | None = None
) -> tuple[Built, bytes]:
    """Run the solid proof on a built job and make its STEP file.

    Parameters
    ----------
    progress
        Called with (stage, done, total).

    Returns
    -------
    built
        With the solid proof in it.
    step
        The assembled box as cut, one named solid a panel.

    Raises
    ------
    MissingExtra
        When the solid kernel is not installed; says how to get it.
    """
    from boxjoint.check.replay import replay
    from boxjoint.check.solid import solid_proof
    from boxjoint.check.solid_holes import pierced_faults
    from boxjoint.export.step import panels_to_step

    as_cut = {p.panel.name: p.as_cut for p in built.parts}
    allowances = {p.panel.name: built.plan.allowance(guest=p.panel.slab.guest) for p in built.parts}
    asked = as_cut
    if built.one_kerf is not None:  # the outlines are proved for what they allow for
        asked = {
            p.panel.name: virtual_cut(p.drawn.rings, built.beam, name=p.panel.name)
            for p in built.parts
        }
    proof = solid_proof(built.solution, asked, allowances, progress, divided=_pieces(built))
    holes = {p.panel.name: [h.as_cut for h in p.holes] for p in built.parts if p.holes}
    proof = replace(proof, faults=(*proof.faults, *pierced_faults(built.solution, as_cut, holes)))
    moves = replay(built.solution.panels, built.assembly.steps, progress)
    proof = replace(
        proof,
        faults=(*proof.faults, *moves.faults),
        moves=moves.moves,
        positions=moves.positions,
        sampled=moves.sampled,
    )
    cut = built.cut_parts
    step = panels_to_step(
        [p.panel for p in cut],
        {p.panel.name: p.as_cut for p in cut},
        holes={p.panel.name: [h.as_cut for h in p.holes] for p in cut if p.holes},
        title=built.job.title,
    )
    return replace(built, solid=proof), step


def files(
    built: Built,
    *,
    dxf: DxfVersion = "R2000",
    step: bytes | None = None,
    picture: bool = False,
    only: str | None = None,
) -> dict[str, bytes]:
    """Return what is written for a built job, by path relative to the output folder.

    Parameters
    ----------
    dxf
        DXF release of all drawings.
    step
        The assembled box as STEP, where the solid kernel made it.
    picture
        Also draw the assembled box (``box.svg``), what comes out of it on its way
        (``box-open.svg``), and how it goes together step by step (``steps.svg``).
    only
        The name of one panel: only its drawings are written.
    """
    content: dict[str, bytes] = {}
    for part in built.cut_parts:
        if only in (None, part.panel.name, part.home):
            _draw(content, f"panels/{part.panel.name}", panel_drawing(built, part), dxf)
    if only is not None:
        if not content:
            raise InputError(
                "no panel of that name",
                value=only,
                limit="one of " + ", ".join(p.panel.name for p in built.cut_parts),
                do=nearest_name(only, [p.panel.name for p in built.cut_parts]),
            )
        return content
    _draw(content, "panels", all_panels_drawing(built), dxf)
    if step is not None:
        content["box.step"] = step
    if picture:
        from boxjoint.export.bodies import bodies_apart
        from boxjoint.export.isometric import isometric_svg  # shapely is loaded only for pictures

        cut = built.cut_parts  # of a divided panel its pieces, so that the seam is seen
        panels = [p.panel for p in cut]
        holes = {p.panel.name: [h.placed.hole for h in p.holes] for p in cut if p.holes}
        marks = {p.panel.name: p.marks for p in cut}
        from boxjoint.export.steps import step_pages

        content |= {name: page.encode() for name, page in step_pages(built).items()}
        content["box.svg"] = isometric_svg(
            panels, holes=holes, marks=marks, title=built.job.title
        ).encode()
        if apart := bodies_apart(built.solution.arrangement):
            apart = {p.panel.name: apart[p.home] for p in cut if p.home in apart}
            content["box-open.svg"] = isometric_svg(
                panels,
                apart=apart,
                holes=holes,
                marks=marks,
                title=f"{built.job.title}, taken apart",
            ).encode()
    content["report.json"] = report_json(built).encode()
    content["report.md"] = report_text(built).encode()
    return content


def _draw(content: dict[str, bytes], stem: str, drawing: Drawing, dxf: DxfVersion) -> None:
    content[f"{stem}.dxf"] = drawing_to_dxf(drawing, version=dxf).encode()
    content[f"{stem}.svg"] = drawing_to_svg(drawing).encode()

"""Whether cut-outs are clear: of every cut edge of their panel, of joints, and of each other.

Judged on the parts as cut, in whole nanometres: a hole that stands too near to something, over a
joint or off its panel is refused, with the distance, the limit and the place.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from boxjoint.check.as_cut import Web
from boxjoint.errors import InputError, ProofFailed
from boxjoint.fit.compensate import Beam
from boxjoint.fit.cutouts import HAND_HOLE_EDGE, Placed
from boxjoint.fit.holes import DrawnHole, compensate_hole, worst_error_mm
from boxjoint.geometry.holes import Hole, between, encloses, mouth_of, to_rectangle, to_sides
from boxjoint.geometry.rings import Rings, Role
from boxjoint.solve.panels import Panel
from boxjoint.solve.seams import Divided, piece_at
from boxjoint.solve.solution import Solution
from boxjoint.units import both

__all__ = [
    "CutHole",
    "clear_holes",
    "hole_fault",
    "hole_warnings",
    "holes_of_pieces",
    "joint_rectangles",
]

#: A hole as cut may be off by the roundings of its drawn points to a nanometre.
_ROUNDING_NM = 2
#: How far an arc may be off the wanted one, mm; a hole hardly wider than the beam may more.
_ARC_MM, _TINY_ARC_MM = 0.001, 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutHole:
    """One cut-out of a panel from asked to cut, and the least material beside it."""

    placed: Placed
    drawn: DrawnHole
    web: Web

    @property
    def as_cut(self) -> Hole:
        """What the beam leaves, nm."""
        return self.drawn.as_cut


def clear_holes(
    solution: Solution,
    panel: Panel,
    as_cut: Rings,
    placed: Sequence[Placed],
    beam: Beam,
    web_mm: float,
    *,
    bite_mm: float = 0.0,
) -> tuple[CutHole, ...]:
    """Compensate the holes of a panel, cut them virtually, and refuse those that are not clear.

    Parameters
    ----------
    as_cut
        The panel's outlines as cut, nm, in its own axes.
    placed
        Its holes.
    web_mm
        The least material that must be left between two edges.
    bite_mm
        How far the reliefs in the panel's inside corners reach past their sides: every side but rims
        and tips is taken to be bitten.

    Raises
    ------
    InputError
        A hole is too near to an edge, a joint or another hole; names both and the place.
    CannotBeCut
        The kerf would close a hole.
    ProofFailed
        The virtual cut of a hole is not the hole that was asked for.
    """
    least = round(web_mm * 1e6)
    bite = math.ceil(bite_mm * 1e6)
    drawn = [compensate_hole(p.hole, beam, name=panel.name) for p in placed]
    webs: list[Web] = []
    for p, d in zip(placed, drawn, strict=True):
        _as_asked(p, d, beam, panel)
        _off_joints(p, panel, solution)
        webs.append(_to_edges(p, d.as_cut, panel, as_cut, least, bite))
    # sorted by their lower ends, each needs to look at those that begin before its web ends
    order = sorted(range(len(drawn)), key=lambda i: drawn[i].as_cut.lo[1])
    for a, i in enumerate(order):
        one = drawn[i].as_cut
        for j in order[a + 1 :]:
            other = drawn[j].as_cut
            if other.lo[1] > one.hi[1] + max(least, webs[i].width):
                break
            apart = between(one, other)
            place = _middle(one, other)
            if apart < least - _ROUNDING_NM or apart <= 0:
                raise _too_near(placed[i], panel, apart, least, f"from {placed[j].name}", place)
            for n in (i, j):
                if apart < webs[n].width:
                    webs[n] = Web(width=apart, place=place)
    return tuple(
        CutHole(placed=p, drawn=d, web=w) for p, d, w in zip(placed, drawn, webs, strict=True)
    )


def holes_of_pieces(
    divided: Divided, holes: Sequence[CutHole], beam: Beam
) -> tuple[tuple[CutHole, ...], ...]:
    """Give every piece of a divided panel its own cut-outs, in its own drawing."""
    found: list[list[CutHole]] = [[] for _ in divided.pieces]
    for cut in holes:
        x, y = _middle(cut.placed.hole, cut.placed.hole)
        n = piece_at(divided, x, y)
        a, b = divided.offsets[n]
        (x0, y0), (x1, y1) = cut.placed.hole.lo, cut.placed.hole.hi
        own = replace(cut.placed.hole, lo=(x0 - a, y0 - b), hi=(x1 - a, y1 - b))
        found[n].append(
            CutHole(
                placed=replace(cut.placed, hole=own),
                drawn=compensate_hole(own, beam, name=divided.pieces[n].name),
                web=Web(width=cut.web.width, place=(cut.web.place[0] - a, cut.web.place[1] - b)),
            )
        )
    return tuple(map(tuple, found))


def _middle(one: Hole, other: Hole) -> tuple[int, int]:
    """A place between two holes."""
    x, y = ((max(one.lo[k], other.lo[k]) + min(one.hi[k], other.hi[k])) // 2 for k in (0, 1))
    return x, y


def hole_fault(drawn: DrawnHole, beam: Beam) -> str:
    """Say how far a hole as cut is off the one that was asked for; ``""`` where it is not."""
    want, found = drawn.hole, drawn.as_cut
    off = max(abs(a - b) for a, b in zip((*want.lo, *want.hi), (*found.lo, *found.hi), strict=True))
    tiny = want.diameter / 1e6 < 4 * max(beam.kerf.x, beam.kerf.y)
    worst = worst_error_mm(drawn, beam)
    if off > _ROUNDING_NM or worst > (_TINY_ARC_MM if tiny else _ARC_MM):
        return f"off by {off / 1e6:.6f} mm along x or y, {worst:.6f} mm elsewhere"
    return ""


def _as_asked(placed: Placed, drawn: DrawnHole, beam: Beam, panel: Panel) -> None:
    """Hold the virtual cut against what was asked."""
    if fault := hole_fault(drawn, beam):
        raise ProofFailed(
            f"a hole of {panel.name} as cut is not the one that was asked for",
            where=placed.name,
            value=fault,
            faults=(),
        )


def joint_rectangles(
    panel: Panel, solution: Solution
) -> Iterator[tuple[str, tuple[int, int], tuple[int, int]]]:
    """Name, and least and greatest (x, y) of the bar of every joint of a panel, nm, in its drawing."""
    index = solution.panels.index(panel)
    frame = panel.frame
    for joint in solution.joints:
        if index not in (joint.a, joint.b):
            continue
        lo, hi = [0, 0], [0, 0]
        for k in (0, 1):
            span = joint.bar.span(frame.axes[k])
            ends = [(v - frame.origin[k]) * frame.senses[k] for v in span]
            lo[k], hi[k] = min(ends), max(ends)
        yield solution.joint_name(joint.index), (lo[0], lo[1]), (hi[0], hi[1])


def _off_joints(placed: Placed, panel: Panel, solution: Solution) -> None:
    """Refuse a hole over a joint's bar, also where no tab goes through the panel."""
    for name, lo, hi in joint_rectangles(panel, solution):
        if to_rectangle(placed.hole, lo, hi) < 0:
            h = placed.hole
            raise InputError(
                f"the cut-out lies over the joint {name}",
                where=f"{placed.name} on {panel.name}",
                value=f"it takes x {h.lo[0] / 1e6:.2f} to {h.hi[0] / 1e6:.2f}, "
                f"y {h.lo[1] / 1e6:.2f} to {h.hi[1] / 1e6:.2f} mm of the panel",
                limit=f"the joint takes x {lo[0] / 1e6:.2f} to {hi[0] / 1e6:.2f}, "
                f"y {lo[1] / 1e6:.2f} to {hi[1] / 1e6:.2f} mm",
                do="move it, or make it smaller",
            )


def _to_edges(placed: Placed, hole: Hole, panel: Panel, rings: Rings, least: int, bite: int) -> Web:
    """The least material between a hole and its panel's edges; refuses too little."""
    x, y = ((hole.lo[k] + hole.hi[k]) // 2 for k in (0, 1))
    at = f"{placed.name} on {panel.name}"
    if hole.open is not None:
        mouth = mouth_of(hole, rings)
        if mouth is None or rings.role[mouth] != Role.RIM:
            edge = {(1, 1): "upper", (1, -1): "lower", (0, -1): "left", (0, 1): "right"}[hole.open]
            raise InputError(
                f"the {edge} edge of {panel.name} is no free rim there",
                where=at,
                value=f"mouth {min(hole.size[1 - hole.open[0]], 10**10) / 1e6:.2f} mm wide "
                f"about x {x / 1e6:.2f}, y {y / 1e6:.2f} mm",
                limit="a notch needs one straight rim that touches nothing",
                do="name another edge, or move it",
            )
    elif not encloses(rings, hole):
        raise InputError(
            f"the cut-out does not lie on {panel.name}",
            where=at,
            value=f"its middle is at x {x / 1e6:.2f}, y {y / 1e6:.2f} mm",
            limit=f"the panel is {panel.size[0] / 1e6:.2f} by {panel.size[1] / 1e6:.2f} mm",
        )
    apart, side = to_sides(hole, rings)
    if apart >= 0 and bite and rings.role[side] not in (Role.RIM, Role.TIP):
        apart = max(apart - bite, 0)
    start, end, core = rings.xy[side].tolist(), rings.ends[side].tolist(), hole.core
    place = (
        _nearest(start[0], end[0], core[0] // 2, core[2] // 2),
        _nearest(start[1], end[1], core[1] // 2, core[3] // 2),
    )
    if apart < least - _ROUNDING_NM or apart <= 0:
        role = Role(int(rings.role[side])).name.lower()
        raise _too_near(placed, panel, apart, least, f"from a {role}", place)
    return Web(width=apart, place=place)


def _nearest(a: int, b: int, lo: int, hi: int) -> int:
    """The coordinate between a and b that is nearest to an interval; the middle of what they share."""
    first, last = max(min(a, b), lo), min(max(a, b), hi)
    if first <= last:
        return (first + last) // 2
    return max(a, b) if max(a, b) < lo else min(a, b)


def _too_near(
    placed: Placed, panel: Panel, apart: int, least: int, what: str, place: tuple[int, int]
) -> InputError:
    x, y = place
    here = f"at x {x / 1e6:.2f}, y {y / 1e6:.2f} mm of {panel.name}"
    where = f"{placed.name} on {panel.name}"
    if apart < 0:
        return InputError(
            f"the cut-out reaches over {what.removeprefix('from ')}",
            where=where,
            value=here,
            limit=f"it must stay {both(least)} away",
            do="move it, or make it smaller",
        )
    return InputError(
        f"the cut-out is too near: {both(apart)} {what}",
        where=where,
        value=here,
        limit=f"least web {both(least)}",
        do=f"move it by {both(least - apart)}, or set [joint] web to accept less",
        distance=apart,
        least=least,
    )


def hole_warnings(panel: Panel, holes: Sequence[CutHole]) -> list[str]:
    """What is worth a look: hand holes near an edge."""
    found = []
    for hole in holes:
        if hole.placed.kind == "hand hole" and hole.web.width < HAND_HOLE_EDGE - _ROUNDING_NM:
            found.append(
                f"{hole.placed.name} on {panel.name}: {both(hole.web.width)} of material beside a "
                f"hand hole; {both(HAND_HOLE_EDGE)} is usual where a box is lifted"
            )
    return found

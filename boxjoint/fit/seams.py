"""Which panels must be divided to be cut, and where: the bed, the sheets and the web decide.

A panel is divided only when the job allows it, or states where. Two mates that are both divided along
the edge on which they meet get their seams apart, so that no joint is cut through at one place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor

from boxjoint.errors import CannotBeCut
from boxjoint.fit.plan import Plan
from boxjoint.job.records import Job
from boxjoint.solve.panels import Panel
from boxjoint.solve.seams import (
    Divided,
    Extent,
    Line,
    choose_places,
    divide_panel,
    free_places,
    lines_of,
    upright,
)
from boxjoint.solve.solution import Solution
from boxjoint.units import both, format_mm

__all__ = ["MARGIN_NM", "Seams", "find_seams"]

#: From the edge of a sheet or bed, where nobody says: common practice, no source.
MARGIN_NM = 5_000_000
#: Seams of two mates lie at least so many thicknesses apart; our own choice, no source.
APART = 10

_Size = tuple[int, int]
#: Places are shown to this, nm.
_SHOWN = 10_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Seams:
    """The panels of a job that are divided, by index, and what the maker should know."""

    divided: dict[int, Divided]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """A rectangle that a piece can be cut from, and whether it may lie unturned, turned; nm."""

    size: _Size
    plain: bool
    quarter: bool
    what: str

    def longest(self, along: int, across: int) -> int:
        """The longest piece along an axis of the panel's drawing, of such a size across; 0: none."""
        w, h = self.size if along == 0 else self.size[::-1]
        found = [w] if self.plain and across <= h else []
        found += [h] if self.quarter and across <= w else []
        return max(found, default=0)


def find_seams(
    job: Job,
    solution: Solution,
    plan: Plan,
    bed: tuple[int, int] | None = None,
    keep_off: Mapping[str, Sequence[Extent]] | None = None,
) -> Seams:
    """Settle which panels are divided and where, and divide them.

    Parameters
    ----------
    plan
        For the webs, and for what the tool takes beyond the nominal outline.
    bed
        How far the head reaches, nm, where the job does not say.
    keep_off
        Cut-outs and marks by panel, which seams keep clear of: least x, least y, greatest x, greatest
        y, nm, in the panel's drawing.

    Raises
    ------
    CannotBeCut
        When there is no place for a seam that is needed or stated; names the panel and the numbers.
    """
    divided: dict[int, Divided] = {}
    warnings: list[str] = []
    number = len(solution.joints)
    for i, panel in enumerate(solution.panels):
        stated = job.seam(panel.name)
        rooms = _rooms(job, panel, plan, bed)
        w, h = panel.size
        fits = not rooms or any(r.longest(0, h) >= w for r in rooms)
        longest = job.seams.longest
        if longest is not None and max(w, h) > longest:
            fits = False
        if fits and stated is None:
            continue
        if stated is None and not job.seams.allowed:
            warnings.append(
                f"{panel.name}: {_size(panel.size)} does not fit {_names(rooms)}; a seam would divide "
                "it: set [seams] allowed = true (glue alone holds a seam)"
            )
            continue
        along = 0 if w >= h else 1
        most = _most(panel, along, rooms, longest)
        lines = lines_of(
            upright(panel.rings, along),
            panel.slab.thickness,
            depth=job.seams.depth,
            steps=job.seams.steps,
            name=panel.name,
        )
        line, places, beside = _places(
            job,
            solution,
            plan,
            divided,
            i,
            along,
            lines,
            most,
            stated,
            (keep_off or {}).get(panel.name, ()),
        )
        if beside:
            warnings.append(
                f"{panel.name}: its seam lies beside that of {beside}, and their joint is cut through "
                f"there twice; there is no place {format_mm(APART * panel.slab.thickness)} away from it"
            )
        found = divide_panel(panel, along, line, places, number)
        number += len(places)
        divided[i] = found
        warnings.append(_glued(found))
    return Seams(divided=divided, warnings=tuple(warnings))


def _glued(found: Divided) -> str:
    pieces = [p.name for p in found.pieces]
    depth, width = format_mm(2 * found.line.half), format_mm(found.line.width)
    return (
        f"{', '.join(pieces[:-1])} and {pieces[-1]} are glued to {found.panel.name} along "
        f"{found.line.steps} straight steps, {width} wide and {depth} deep: they hold by glue only, "
        "and the mates set the length while it sets"
    )


def _size(size: _Size) -> str:
    return f"{format_mm(size[0])} x {format_mm(size[1])}"


def _names(rooms: Sequence[_Room]) -> str:
    return (
        " or ".join(dict.fromkeys(r.what for r in rooms)) or "the longest piece that was asked for"
    )


def _rooms(job: Job, panel: Panel, plan: Plan, bed: tuple[int, int] | None) -> tuple[_Room, ...]:
    """What a piece may be cut from: the bed, and the sheets of its kind, less what is lost at edges."""
    reach = job.nest.bed or bed
    margin = MARGIN_NM if job.nest.margin is None else job.nest.margin
    tool = plan.tool.value if plan.tool is not None else 0.0
    lost = [
        2 * margin + round((max(kerf.value, tool) + 2 * max(plan.proud.value, 0.0)) * 1e6)
        for kerf in (plan.kerf_x, plan.kerf_y)
    ]
    name, turn, grain = panel.name, job.turn(panel.name), job.grain(panel.name)
    sheet = job.sheet(name)
    kinds: list[tuple[_Size, str, str]] = []
    for label, ask in job.sheets.items():
        own = (ask.material or job.stock.material) == job.material(name)
        if own and abs((ask.thickness or job.stock.thickness).nm - sheet.nm) <= 50_000:
            w, h = ask.size if reach is None else map(min, ask.size, reach)
            kinds.append(((w, h), f"sheet {label!r} ({_size(ask.size)})", ask.grain))
    if reach is not None and not kinds:
        kinds.append((reach, "", ""))
    rooms = []
    for (w, h), what, runs in kinds:
        grained = bool(grain and runs)
        size = tuple(
            floor((s - less) * scale)
            for s, less, scale in zip(
                (w, h), lost, (plan.scale_x.value, plan.scale_y.value), strict=True
            )
        )
        rooms.append(
            _Room(
                size=(size[0], size[1]),
                plain=not grained or grain == runs,
                quarter=turn == "free" and (not grained or grain != runs),
                what=what if reach is None else f"the bed of {_size(reach)}",
            )
        )
    return tuple(rooms)


def _most(panel: Panel, along: int, rooms: Sequence[_Room], longest: int | None) -> int:
    """The longest piece of a panel, nm."""
    across = panel.size[1 - along]
    most = max((r.longest(along, across) for r in rooms), default=panel.size[along])
    if most <= 0:
        raise CannotBeCut(
            f"{panel.name} is too wide for {_names(rooms)}, even in pieces",
            value=f"{format_mm(across)} across",
            limit=f"at most {format_mm(max(max(r.size) for r in rooms))}, less edges and margin",
            do="take a larger bed, or a smaller box",
            panel=panel.name,
        )
    return most if longest is None else min(most, longest)


def _places(
    job: Job,
    solution: Solution,
    plan: Plan,
    divided: dict[int, Divided],
    index: int,
    along: int,
    lines: Sequence[Line],
    most: int,
    stated: int | None,
    keep_off: Sequence[Extent],
) -> tuple[Line, tuple[int, ...], str]:
    """The line and the middles of a panel's seams, and the mate whose seam lies beside one (else "")."""
    panel = solution.panels[index]
    rings = upright(panel.rings, along)
    extent = rings.extent[0], rings.extent[2]
    web = round(plan.webs[index] * 1e6)
    boxes = list(keep_off)
    if along == 1:
        boxes = [(y0, -x1, y1, -x0) for x0, y0, x1, y1 in boxes]
    free = {line: free_places(rings, line, web, boxes) for line in lines}
    if stated is not None:
        return _stated(job, panel, free, extent, most, stated, web), (stated,), ""
    shunned, mates = _shunned(solution, divided, index, along)
    for line in lines:
        if places := choose_places(_without(free[line], shunned), extent, line, most, web):
            return line, places, ""
    for line in lines if shunned else ():
        if places := choose_places(free[line], extent, line, most, web):
            return line, places, " and ".join(mates)
    line = lines[0]
    shown = ", ".join(f"{format_mm(a)} to {format_mm(b)}" for a, b in free[line][:8])
    more = f" and {len(free[line]) - 8} more" if len(free[line]) > 8 else ""
    raise CannotBeCut(
        f"there is no place for a seam in {panel.name}",
        value=f"{format_mm(extent[1] - extent[0])} long; the middle of a seam of "
        f"{line.steps} steps {format_mm(2 * line.half)} deep can lie at {shown or 'no place'}{more}",
        limit=f"pieces of at most {format_mm(most)}, clear of corners, flanks, mortises, "
        f"cut-outs and marks by {format_mm(web)}",
        do="ask for less [seams] depth, a smaller [joint] web or wider tabs",
        panel=panel.name,
    )


def _stated(
    job: Job,
    panel: Panel,
    free: dict[Line, list[tuple[int, int]]],
    extent: tuple[int, int],
    most: int,
    stated: int,
    web: int,
) -> Line:
    """The first line that can lie where the job says."""
    for line, spans in free.items():
        if any(a <= stated <= b for a, b in spans):
            longest = max(stated + line.half - extent[0], extent[1] - stated + line.half)
            if longest > most:
                raise CannotBeCut(
                    f"a piece of {panel.name} is longer than the bed",
                    where=f"[panels.{panel.name}] seam",
                    value=format_mm(longest),
                    limit=f"at most {format_mm(most)}",
                    panel=panel.name,
                )
            return line
    # rounded into their spans, so that they can be typed
    ends = [
        e
        for spans in free.values()
        for a, b in spans
        for e in (-(-a // _SHOWN) * _SHOWN, b // _SHOWN * _SHOWN)
        if a <= e <= b
    ]
    near = sorted(set(ends), key=lambda e: (abs(e - stated), e))[:2]
    raise CannotBeCut(
        f"a seam of {panel.name} cannot lie here",
        where=f"[panels.{panel.name}] seam",
        value=both(stated, job.unit),
        limit=f"clear of corners, flanks, mortises and cut-outs by the web, {format_mm(web)}",
        do=f"the nearest free places are {' and '.join(format_mm(e) for e in sorted(near))}"
        if near
        else "ask for fewer or less deep steps, or a smaller [joint] web",
        panel=panel.name,
    )


def _without(free: list[tuple[int, int]], shunned: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """What open spans, ascending, leave of closed ones."""
    found = []
    for a, b in free:
        at = a
        for lo, hi in shunned:
            if lo <= b and hi >= at:
                if lo > at:
                    found.append((at, lo))
                at = max(at, hi)
        if at <= b:
            found.append((at, b))
    return found


def _shunned(
    solution: Solution, divided: dict[int, Divided], index: int, along: int
) -> tuple[list[tuple[int, int]], list[str]]:
    """Open spans of a panel's axis where mates that share an edge along it are divided already."""
    panel = solution.panels[index]
    axis, sense, origin = (
        panel.frame.axes[along], panel.frame.senses[along], panel.frame.origin[along]
    )  # fmt: skip
    spans, names = [], []
    for joint in solution.joints:
        if (
            joint.axis != axis
            or index not in (joint.a, joint.b)
            or joint.mate(index) not in divided
        ):
            continue
        other = divided[joint.mate(index)]
        frame = other.panel.frame
        if frame.axes[other.along] != axis:
            continue
        reach = APART * max(panel.slab.thickness, other.panel.slab.thickness)
        for place in other.places:
            world = frame.origin[other.along] + frame.senses[other.along] * place
            own = (world - origin) * sense
            spans.append((own - reach, own + reach))
            names.append(other.panel.name)
    return sorted(spans), list(dict.fromkeys(names))

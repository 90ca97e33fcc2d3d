"""Where the cut-outs of a job lie on its panels, and how large they are, as wanted when cut.

Places are read from the panel as it is drawn, seen from outside: from its own edges, or from those of
the insides that lie against it. What a job leaves out is filled in here: sizes that are common
practice, clearances of magnets and pins, radii that the stock or the router's cutter asks for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from boxjoint.errors import CannotBeCut, InputError, nearest_name
from boxjoint.fit.fits import family_of
from boxjoint.fit.plan import Plan
from boxjoint.geometry.holes import Hole, Opening
from boxjoint.job.cutouts import ROUND, Cutout, Edge, Place, is_for
from boxjoint.job.figures import Figure
from boxjoint.job.records import Job, Source
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.hinges import PIN
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution
from boxjoint.units import both

__all__ = ["HAND_HOLE_EDGE", "Placed", "cutout_figures", "place_cutouts", "placed_rectangle"]

_MM = 1_000_000
#: Common practice, no source.
HAND_HOLE = (100 * _MM, 25 * _MM)
HAND_HOLE_EDGE = 20 * _MM
#: To pull a drawer by: as wide as a finger notch, 18 to 25 mm; common practice, no source.
FINGER_HOLE = 22 * _MM
FINGER_NOTCH = (20 * _MM, 12 * _MM)
#: Clearance of what goes into a hole, on the diameter, nm, where the job asks for none.
CLEARANCES = {"magnet": 100_000, "hinge pin": 150_000}
#: Of a window in brittle stock, which cracks from sharp corners.
BRITTLE_RADIUS = 1 * _MM

_OPENINGS: Mapping[Edge, Opening] = {
    "top": (1, 1),
    "bottom": (1, -1),
    "left": (0, -1),
    "right": (0, 1),
}

#: Between legs: radius of the upper corners, and the least height that is worth cutting, nm (common
#: practice, no source); and what clearances take off a web above, beside kerf.
LEG_RADIUS = 6 * _MM
LEAST_SPACE = 3 * _MM
_LEG_SPARE = 300_000

#: Where lids other than lift-off ones are taken hold of.
_HOLDS: Mapping[str, tuple[str, Edge]] = {
    "rim": ("lid-front", "bottom"),
    "cut-through": ("lid-front", "bottom"),
    "sliding": ("lid", "bottom"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """One hole of a panel: which table of ``[[cutouts]]`` asked for it (from 0), and its kind.

    ``index`` is ``None`` where another key did, which ``asked_by`` then names.
    """

    index: int | None
    kind: str
    hole: Hole
    asked_by: str

    @property
    def name(self) -> str:
        """How it is named in messages."""
        return f"{self.asked_by} ({self.kind})"


def cutout_figures(job: Job) -> dict[str, Figure]:
    """Clearances of magnets and pins by name, with what they are."""
    found: dict[str, Figure] = {}
    for kind, nm in CLEARANCES.items():
        asked = [c.clearance for c in job.cutouts if c.kind == kind]
        name = f"{kind.replace(' ', '_')}_clearance"
        if None in asked:
            found[name] = Figure(
                value=nm / 1e6,
                source=Source.ASSUMED,
                note=f"hole minus {kind}, on the diameter; try it in an offcut",
            )
        elif asked and asked[0] is not None:
            found[name] = Figure(value=asked[0] / 1e6, source=Source.ASKED)
    if job.top.kind == "hinged":
        asked_pin = job.top.pin is not None
        found["pin"] = Figure(
            value=(PIN if job.top.pin is None else job.top.pin) / 1e6,
            source=Source.ASKED if asked_pin else Source.ASSUMED,
            note="diameter of the pins of the lid" + ("" if asked_pin else "; usual are 2 to 4 mm"),
        )
    for at, cutout in _to_pull_by(job):
        of = {"[drawers] pull": "drawer_pull", "[till] notch": "till_notch"}.get(at, "lid_notch")
        found[of] = Figure(
            value=(cutout.diameter or FINGER_NOTCH[0]) / 1e6,
            source=Source.ASSUMED,
            note="width of what a finger goes into; 18 to 25 mm is common practice",
        )
    return found


def place_cutouts(job: Job, solution: Solution, plan: Plan) -> dict[str, tuple[Placed, ...]]:
    """Return the holes of every panel that has any, by its name.

    Raises
    ------
    InputError
        A panel is not there, faces no inside, or the size cannot be.
    CannotBeCut
        A router's cutter does not enter.
    """
    found: dict[str, list[Placed]] = {}
    asked: list[tuple[int | None, str, Cutout]] = [
        (n, f"[[cutouts]] {n + 1}", cutout) for n, cutout in enumerate(job.cutouts)
    ]
    asked += [(None, at, cutout) for at, cutout in _to_pull_by(job, solution.arrangement)]
    for index, at, cutout in asked:
        for named in cutout.panels:
            for panel in panels_named(solution, named, at):
                for hole in _holes(cutout, panel, job, solution.arrangement, plan, at):
                    _refuse_for_cutter(hole, cutout, plan, at, panel.name)
                    found.setdefault(panel.name, []).append(
                        Placed(index=index, kind=cutout.kind, hole=hole, asked_by=at)
                    )
    for name, space in _between_legs(job, solution, plan):
        _refuse_for_cutter(
            space.hole, Cutout(panels=(name,), kind="finger notch"), plan, space.name, name
        )
        found.setdefault(name, []).append(space)
    for name, pin in _pins(solution):
        _refuse_for_cutter(pin.hole, Cutout(panels=(name,), kind="hinge pin"), plan, pin.name, name)
        found.setdefault(name, []).append(pin)
    return {name: tuple(holes) for name, holes in found.items()}


def _between_legs(job: Job, solution: Solution, plan: Plan) -> Iterator[tuple[str, Placed]]:
    """What is cut out of the walls between the legs of a raised base."""
    legs = job.bottom.legs
    if not legs:
        return
    at = "[bottom] legs"
    if not job.bottom.raised:
        raise InputError(
            "only a raised base has legs",
            where=at,
            value=both(legs, job.unit),
            do="say how high it stands: [bottom] raised = 20",
        )
    for wall in ("front", "back", "left", "right"):
        for panel in panels_named(solution, wall, at):
            web = round(plan.webs[solution.panels.index(panel)] * 1e6)
            deep = job.bottom.raised - web - _LEG_SPARE
            wide = panel.size[0] - 2 * legs
            tool = round(plan.tool.value * 1e6) if plan.tool is not None else 0
            for value, least, what in (
                (
                    deep,
                    max(LEAST_SPACE, tool),
                    f"no height is left between the legs of {panel.name}",
                ),
                (wide, max(2 * LEAST_SPACE, tool), f"the legs of {panel.name} take all its length"),
            ):
                if value < least:
                    raise InputError(
                        what,
                        where=at,
                        value=f"{both(max(value, 0), job.unit)} left; legs of {both(legs, job.unit)}, "
                        f"raised {both(job.bottom.raised, job.unit)}, web {both(web, job.unit)}",
                        limit=f"at least {both(least, job.unit)}",
                        do="raise the base more, make the legs narrower, or ask for a smaller [joint] web",
                    )
            diameter = max(tool, min(2 * deep, 2 * LEG_RADIUS, wide))
            hole = Hole(lo=(legs, 0), hi=(legs + wide, deep), diameter=diameter, open=(1, -1))
            yield (
                panel.name,
                Placed(index=None, kind="space between legs", hole=hole, asked_by=at),
            )


def _pins(solution: Solution) -> Iterator[tuple[str, Placed]]:
    """Holes for the pins of a hinged lid: to turn in the lid, to be held in the box."""
    hinge = solution.arrangement.hinge
    if hinge is None:
        return
    for turns, holds in hinge.pairs:
        for name, wide in ((turns, hinge.hole), (holds, hinge.pin)):
            frame = next(p.frame for p in solution.panels if p.name == name)
            middle = [
                (hinge.at[axis - 1] - frame.origin[k]) * frame.senses[k]
                for k, axis in enumerate(frame.axes)
            ]
            x, y = (m - wide // 2 for m in middle)
            hole = Hole(lo=(x, y), hi=(x + wide, y + wide), diameter=wide)
            yield name, Placed(index=None, kind="hinge pin", hole=hole, asked_by="[top] kind")


def _shallow(arrangement: Arrangement | None) -> tuple[int, int] | None:
    """Size of a notch in a till's rim: the starting one, no deeper than half the till's inside."""
    till = next((b for b in (arrangement.insides if arrangement else ()) if b.name == "till"), None)
    if till is None:
        return None
    wide, deep = FINGER_NOTCH
    return wide, min(deep, till.box.size[2] // 2)


def _off_dividers(job: Job, arrangement: Arrangement | None) -> int | None:
    """The middle of a compartment nearest to the middle of a till, nm; ``None``: that is the middle."""
    rows = job.till.rows
    till = next((b for b in (arrangement.insides if arrangement else ()) if b.name == "till"), None)
    if rows % 2 or till is None:
        return None
    t = job.thickness("till-divider-y1").nm
    one = (till.box.size[1] - (rows - 1) * t) // rows
    return (rows // 2 - 1) * (one + t) + one // 2


def _to_pull_by(job: Job, arrangement: Arrangement | None = None) -> Iterator[tuple[str, Cutout]]:
    """Cut-outs that drawers and lids are taken hold of by, with the key that asks for them."""
    if job.drawers.count and job.drawers.pull == "hole":
        yield (
            "[drawers] pull",
            Cutout(
                panels=("drawer-front",),
                kind="round hole",
                diameter=FINGER_HOLE,
                place=Place(edges="inside"),
            ),
        )
    elif job.drawers.count and job.drawers.pull:
        yield "[drawers] pull", Cutout(panels=("drawer-front",), kind="finger notch")
    if job.till.on and job.till.notch:
        for wall in ("left", "right"):
            place = Place(edges="inside", from_left=_off_dividers(job, arrangement), to="middle")
            yield (
                "[till] notch",
                Cutout(
                    panels=(f"till-{wall}",),
                    kind="finger notch",
                    place=place,
                    size=_shallow(arrangement),
                ),
            )
    if job.top.notch:
        # the panel whose free rim meets the other half, or of a sliding lid its front edge
        front = f"tray-{job.stack.count}-front" if job.stack.count > 1 else "front"
        panel, edge = _HOLDS.get(job.top.kind, (front, "top"))
        yield "[top] notch", Cutout(panels=(panel,), kind="finger notch", edge=edge)


def panels_named(solution: Solution, named: str, at: str) -> list[Panel]:
    """Return the panels that a name stands for, at least one."""
    panels = [p for p in solution.panels if is_for(named, p.name)]
    if not panels:
        names = [p.name for p in solution.panels]
        raise InputError(
            "the box has no such panel",
            where=f"{at} panel",
            value=repr(named),
            limit=f"panels are {', '.join(names[:12])}{' and more' if len(names) > 12 else ''}",
            do=nearest_name(named, names),
        )
    return panels


def _holes(
    cutout: Cutout, panel: Panel, job: Job, arrangement: Arrangement, plan: Plan, at: str
) -> Iterator[Hole]:
    place = cutout.place
    if cutout.kind in ROUND:
        clearance = cutout.clearance
        if clearance is None:
            clearance = CLEARANCES.get(cutout.kind, 0)
        wide = (cutout.diameter or 0) + clearance
        if wide <= 0:
            raise InputError(
                "nothing is left of the hole", where=at, value=f"{both(wide, job.unit)} wide"
            )
        (x, y), _ = placed_rectangle(place, (wide, wide), panel, arrangement, at, to="middle")
        yield Hole(lo=(x, y), hi=(x + wide, y + wide), diameter=wide)
        return
    if cutout.kind == "finger notch":
        yield _notch(cutout, panel, job, arrangement, at)
        return
    if cutout.kind == "vents":
        w, h = cutout.size or (0, 0)
        gap = cutout.gap
        if gap is None:
            gap = 3 * panel.slab.thickness // 2
        whole = (
            cutout.columns * (w + gap) - gap,
            cutout.rows * (h + gap) - gap,
        )
        (x, y), _ = placed_rectangle(place, whole, panel, arrangement, at)
        for row in range(cutout.rows):
            for column in range(cutout.columns):
                lo = (x + column * (w + gap), y + row * (h + gap))
                yield Hole(lo=lo, hi=(lo[0] + w, lo[1] + h), diameter=min(w, h))
        return
    size = cutout.size or HAND_HOLE
    if cutout.kind == "hand hole" and place.from_bottom is None and place.from_top is None:
        place = Place(
            from_left=place.from_left,
            from_right=place.from_right,
            from_top=HAND_HOLE_EDGE + (size[1] // 2 if place.to == "middle" else 0),
            edges=place.edges,
            to=place.to,
        )
    lo, hi = placed_rectangle(place, size, panel, arrangement, at)
    if cutout.kind == "window":
        diameter = 2 * cutout.radius if cutout.radius is not None else _corners(panel, job, plan)
        diameter = min(diameter, *size)
    else:
        diameter = min(size)
    yield Hole(lo=lo, hi=hi, diameter=diameter)


def _corners(panel: Panel, job: Job, plan: Plan) -> int:
    """Diameter of a window's corners where none is asked for, nm."""
    if plan.tool is not None:
        return round(plan.tool.value * 1e6)
    return 2 * BRITTLE_RADIUS if family_of(job.material(panel.name)).brittle else 0


def _notch(cutout: Cutout, panel: Panel, job: Job, arrangement: Arrangement, at: str) -> Hole:
    along, deep = cutout.size or FINGER_NOTCH
    axis, sense = opening = _OPENINGS[cutout.edge]
    other = 1 - axis
    size = [0, 0]
    size[axis], size[other] = deep, along
    most = panel.size[axis]
    if deep >= most:
        raise InputError(
            f"the notch is as deep as {panel.name}",
            where=f"{at} size",
            value=both(deep, job.unit),
            limit=f"less than {both(most, job.unit)}",
        )
    place = cutout.place
    lo, hi = (list(v) for v in placed_rectangle(place, (size[0], size[1]), panel, arrangement, at))
    lo[axis], hi[axis] = (most - deep, most) if sense > 0 else (0, deep)
    largest = min(along // 2, deep)
    radius = largest if cutout.radius is None else cutout.radius
    if radius > largest:
        raise InputError(
            "the radius is too large for the notch",
            where=f"{at} radius",
            value=both(radius, job.unit),
            limit=f"at most {both(largest, job.unit)}",
        )
    return Hole(lo=(lo[0], lo[1]), hi=(hi[0], hi[1]), diameter=2 * radius, open=opening)


def placed_rectangle(
    place: Place,
    size: tuple[int, int],
    panel: Panel,
    arrangement: Arrangement,
    at: str,
    *,
    to: str = "edge",
) -> tuple[tuple[int, int], tuple[int, int]]:
    """Return where something of a size lies on a panel, nm, in the panel's drawing.

    Parameters
    ----------
    at
        Where it was asked, for messages.
    to
        What distances lead to where the place does not say.

    Returns
    -------
    (least x, least y), (greatest x, greatest y)
        A middle that falls between two nanometres is rounded down.

    Raises
    ------
    InputError
        The panel faces no inside whose edges could be meant.
    """
    region = ((0, 0), panel.size)
    if place.edges == "inside":
        region = _inside_region(panel, arrangement, at)
    lead = place.to or to
    low = []
    for k, (first, last) in enumerate(
        ((place.from_left, place.from_right), (place.from_bottom, place.from_top))
    ):
        a, b = region[0][k], region[1][k]
        back = size[k] // 2 if lead == "middle" else 0
        if first is not None:
            low.append(a + first - back)
        elif last is not None:
            low.append(b - last - size[k] + back)
        else:
            low.append((a + b - size[k]) // 2)
    return (low[0], low[1]), (low[0] + size[0], low[1] + size[1])


def _inside_region(
    panel: Panel, arrangement: Arrangement, at: str
) -> tuple[tuple[int, int], tuple[int, int]]:
    """The insides that lie against a panel, together, in its drawing."""
    slab, frame = panel.slab, panel.frame
    n = slab.normal
    spans: list[list[tuple[int, int]]] = [[], []]
    for block in arrangement.insides:
        against = block.box.lo[n] == slab.box.hi[n] or block.box.hi[n] == slab.box.lo[n]
        beside = all(
            block.box.lo[k] < slab.box.hi[k] and slab.box.lo[k] < block.box.hi[k]
            for k in frame.axes
        )
        if against and beside:
            for k in (0, 1):
                lo, hi = block.box.span(frame.axes[k])
                ends = [(v - frame.origin[k]) * frame.senses[k] for v in (lo, hi)]
                spans[k].append((min(ends), max(ends)))
    if not spans[0]:
        raise InputError(
            f"{panel.name} faces no inside",
            where=f"{at} edges",
            value='"inside"',
            do='give the distances from the panel\'s own edges: edges = "panel"',
        )
    return (
        (min(s[0] for s in spans[0]), min(s[0] for s in spans[1])),
        (max(s[1] for s in spans[0]), max(s[1] for s in spans[1])),
    )


def _refuse_for_cutter(hole: Hole, cutout: Cutout, plan: Plan, at: str, panel: str) -> None:
    """Refuse what a router's cutter does not enter, and corners rounder than asked."""
    if plan.tool is None:
        return
    tool = round(plan.tool.value * 1e6)
    width = min(hole.size) if hole.open is None else hole.size[1 - hole.open[0]]
    if width < tool:
        raise CannotBeCut(
            f"the cutter does not enter a hole of {panel}",
            where=at,
            value=f"{width / 1e6:.3f} mm wide, tool {tool / 1e6:.3f} mm",
            do="make it wider, or take a thinner cutter",
        )
    if hole.diameter < tool:
        raise CannotBeCut(
            f"the cutter leaves larger corners in {panel} than asked",
            where=f"{at} radius",
            value=f"radius {hole.diameter / 2e6:.3f} mm, cutter's {tool / 2e6:.3f} mm",
            do="ask for the cutter's radius or more, or take a thinner cutter",
        )

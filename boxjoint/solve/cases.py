"""Boxes within and on each other: a case with its drawers, and stacks of equal boxes.

Every drawer and every tray is a box of its own, made like any other and moved to its place; what it
keeps from its neighbours is a clearance, never a joint.

Glossary
--------
case
    The box that is open at the front and holds drawers.
opening
    The space of one drawer in its case; the first is on top.
shelf
    The guest between two openings.
stop
    A strip glued on the case's back, on which a drawer comes to rest flush with the front.
"""

from __future__ import annotations

from dataclasses import replace

from boxjoint.errors import ArrangementError, InputError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.filling import Bottom, FitInto
from boxjoint.job.records import DIRECTIONS, Job, PanelAsk
from boxjoint.job.tops import Drawers, Stack, Top, homes_of
from boxjoint.solve.arrangement import Arrangement, Body, InsideBlock, Slab
from boxjoint.solve.box import box_slabs, outside_of
from boxjoint.solve.clearances import gap, spread
from boxjoint.solve.guests import filled_box
from boxjoint.solve.inside import find_inside
from boxjoint.solve.lids import WALLS, box_with_lid, lip_plate, on_top, walls_raised
from boxjoint.solve.moves import as_body, moved
from boxjoint.units import both

__all__ = ["case_with_drawers", "job_arrangement", "stack_of_boxes"]

_OUT = (1, -1)
_DRAWER = ("bottom", *WALLS)


def job_arrangement(job: Job) -> Arrangement:
    """Return all slabs of a job: its box, and whatever stands on, in and around it.

    Raises
    ------
    InputError
        A value of the job that this arrangement cannot have.
    ArrangementError
        No such arrangement exists; names the panel and the place.
    """
    if job.drawers.count and (job.stack.count > 1 or job.top.kind not in ("open", "closed")):
        raise InputError(
            "a case with drawers has a closed top and stands by itself",
            where="[drawers] count",
            value=f"{job.drawers.count}, with [top] kind {job.top.kind!r} and [stack] count "
            f"{job.stack.count}",
            do="leave [top] kind and [stack] out",
        )
    if job.top.notch and job.top.kind in ("open", "closed"):
        raise InputError(
            "there is no lid to take hold of",
            where="[top] notch",
            value=f"[top] kind {job.top.kind!r}",
            limit='"lift-off", "rim", "cut-through", "sliding" or "hinged"',
            do="leave notch out, or name a kind of lid",
        )
    if job.till.on and (job.drawers.count or job.stack.count > 1):
        raise InputError(
            "a till goes into a single box",
            where="[till] on",
            value=repr(job.till.on),
            do="leave [till] out, or [drawers] and [stack]",
        )
    if job.drawers.count:
        made = case_with_drawers(job)
    elif job.stack.count > 1:
        made = stack_of_boxes(job)
    else:
        made = box_with_lid(job)
    _fits(job, made)
    return made


def _fits(job: Job, made: Arrangement) -> None:
    """Refuse what with its lid, or as a stack or case, does not go into the space it is meant for."""
    for name, size in zip(DIRECTIONS, outside_of(made).size, strict=True):
        limit = getattr(job.fit_into, name)
        if limit is not None and size > limit:
            raise InputError(
                f"the whole is {both(size - limit, job.unit)} too large for the space it goes into",
                where=f"[fit_into] {name}",
                value=f"outside {both(size, job.unit)}",
                limit=both(limit, job.unit),
                do="ask for less inside, or thinner stock",
            )


# Stacks


def stack_of_boxes(job: Job) -> Arrangement:
    """Return equal open boxes that stand on each other, the first one lowest.

    Each has a lip under its bottom that reaches into the box below, the lowest too: any of them may
    stand on any other. The inside asked for is what is free below the lip.
    """
    if job.top.kind not in ("open", "lift-off"):
        raise InputError(
            "boxes of a stack are open above",
            where="[top] kind",
            value=repr(job.top.kind),
            limit='"open" or "lift-off"',
        )
    lips = {name: job.thickness(name).nm for name in _lips(job)}
    highest = max(lips.values())
    one = as_body(filled_box(replace(job, top=Top(), stack=Stack())))
    one = walls_raised(one, highest)
    walls = {w: one.slabs[one.index(w)] for w in WALLS}
    base = one.slabs[one.index("bottom")].box
    if walls["front"].box.lo[2] < base.lo[2]:
        raise InputError(
            "a raised base leaves no room for the lip under it",
            where="[stack] count",
            do="leave the base where it is, or do without the stack",
        )
    step = walls["front"].box.hi[2] - base.lo[2]
    air = gap(job, "stack_clearance")
    whole: Arrangement | None = None
    for k in range(1, job.stack.count + 1):
        low = base.lo[2]
        lip = lip_plate("lip", walls, air, low - lips[f"tray-{k}-lip"], low)
        tray = replace(
            one,
            slabs=(*one.slabs, lip),
            bodies=(
                replace(
                    one.bodies[0],
                    slabs=(*one.bodies[0].slabs, "lip"),
                    glued=(*one.bodies[0].glued, ("lip", "bottom")),
                    out=(2, 1) if k > 1 else None,
                ),
                *one.bodies[1:],
            ),
        )
        tray = moved(tray, f"tray-{k}-", (0, 0, (k - 1) * step))
        whole = tray if whole is None else _together(whole, tray)
    if whole is None:
        raise InputError("a stack needs a box", where="[stack] count")
    if job.top.kind == "lift-off":
        top = f"tray-{job.stack.count}-"
        whole = on_top(job, whole, top)
    return whole


def _lips(job: Job) -> list[str]:
    names = [f"tray-{k}-lip" for k in range(1, job.stack.count + 1)]
    return [*names, "lip"] if job.top.kind == "lift-off" else names


def _together(one: Arrangement, other: Arrangement) -> Arrangement:
    return Arrangement(
        slabs=(*one.slabs, *other.slabs),
        insides=(*one.insides, *other.insides),
        bodies=(*one.bodies, *other.bodies),
    )


# Cases


def case_with_drawers(job: Job) -> Arrangement:
    """Return a case, the shelves between its openings, and a drawer in each.

    Openings without heights of their own are alike; what does not divide into whole nanometres is
    left above the lowest drawer, so that equal drawers are equal.

    Raises
    ------
    InputError
        Heights that do not add up to the case's inside.
    ArrangementError
        A drawer of which nothing is left; names it, the distance and the limit.
    """
    ask = job.drawers
    n = ask.count
    if job.joint.proud > 0:
        raise InputError(
            "proud tips would stand in the drawers' way",
            where="[joint] proud",
            value=both(job.joint.proud, job.unit),
            limit="0 or less in a case",
        )
    if job.bottom.raised:
        raise InputError(
            "the base of a case cannot be raised",
            where="[bottom] raised",
            value=both(job.bottom.raised, job.unit),
            do="leave it out",
        )
    shelves = [job.thickness(f"shelf-{k}").nm for k in range(1, n)]
    side, above = gap(job, "drawer_clearance"), gap(job, "drawer_above")
    outer = [_walls_of(job, k) for k in range(1, n + 1)]
    stop = [job.thickness(f"stop-{k}").nm for k in range(1, n + 1)]
    behind = [s if ask.stops else gap(job, "drawer_behind") for s in stop]
    left = [side + spread(job, f"drawer-{k}-left", "thicker") for k in range(1, n + 1)]
    right = [side + spread(job, f"drawer-{k}-right", "thicker") for k in range(1, n + 1)]
    over = [
        above
        + spread(job, f"drawer-{k}-bottom", "thicker")
        + (spread(job, f"shelf-{k}", "thicker") if k < n else 0)
        for k in range(1, n + 1)
    ]
    length, width, height = find_inside(job).xyz
    heights = list(ask.heights)
    if ask.inside_of == "drawer":
        if not heights:
            heights = [height] * n
        heights = [h + t["bottom"] + o for h, t, o in zip(heights, outer, over, strict=True)]
        length += max(
            t["left"] + t["right"] + a + b for t, a, b in zip(outer, left, right, strict=True)
        )
        width += max(t["front"] + t["back"] + b for t, b in zip(outer, behind, strict=True))
        height = sum(heights) + sum(shelves)
    elif heights:
        total = sum(heights) + sum(shelves)
        if total != height:
            raise InputError(
                "the openings do not add up to the inside's height",
                where="[drawers] heights",
                value=f"{n} openings and {n - 1} shelves make {both(total, job.unit)}, "
                f"{both(abs(total - height), job.unit)} too {'much' if total > height else 'little'}",
                limit=f"the inside's height is {both(height, job.unit)}",
                do="change a height, or the inside",
            )
    else:
        free = height - sum(shelves)
        if free < n:
            raise ArrangementError(
                f"{n - 1} shelves leave nothing of the case",
                value=both(sum(shelves), job.unit),
                limit=f"less than the inside's height, {both(height, job.unit)}",
                panels=tuple(f"shelf-{k}" for k in range(1, n)),
            )
        heights = [free // n] * n
    inside = Cuboid((0, 0, 0), (length, width, height))
    slabs = list(_case(job, inside))
    tb = {s.name: s.thickness for s in slabs}
    insides, glued, drawers = [], [], []
    ceiling = height
    for k in range(1, n + 1):
        # the lowest opening takes what did not divide
        floor = ceiling - heights[k - 1] if k < n else 0
        opening = Cuboid((0, 0, floor), (length, width, ceiling))
        top = floor + heights[k - 1]
        drawer = _drawer(
            job, k, opening, outer[k - 1], (left[k - 1], right[k - 1]), over[k - 1] + ceiling - top,
            behind[k - 1],
        )  # fmt: skip
        drawers.append(drawer)
        names = [s.name for s in drawer.slabs]
        if ask.stops:
            strip = _stop(k, opening, stop[k - 1])
            slabs.append(strip)
            glued.append((strip.name, "back"))
            names.append(strip.name)
        insides.append(
            InsideBlock(name=f"opening-{k}", box=opening, open=(_OUT,), guests=tuple(names))
        )
        if k < n:
            slabs.append(
                Slab(
                    name=f"shelf-{k}",
                    normal=2,
                    box=Cuboid(
                        (-tb["left"], 0, floor - shelves[k - 1]),
                        (length + tb["right"], width + tb["back"], floor),
                    ),
                    guest=True,
                )
            )
            ceiling = floor - shelves[k - 1]
    case = Body(name="case", slabs=tuple(s.name for s in slabs), glued=tuple(glued))
    return Arrangement(
        slabs=(*slabs, *(s for d in drawers for s in d.slabs)),
        insides=(*insides, *(b for d in drawers for b in d.insides)),
        bodies=(case, *(b for d in drawers for b in d.bodies)),
    )


def _case(job: Job, inside: Cuboid) -> tuple[Slab, ...]:
    t = {p: job.thickness(p).nm for p in job.panel_names}
    return box_slabs(inside, t, rank=job.joint.rank)


def _walls_of(job: Job, k: int) -> dict[str, int]:
    """Thickness of the panels of a drawer, by their names without its own."""
    return {p: job.thickness(f"drawer-{k}-{p}").nm for p in _DRAWER}


def _drawer(
    job: Job,
    k: int,
    opening: Cuboid,
    t: dict[str, int],
    sides: tuple[int, int],
    above: int,
    behind: int,
) -> Arrangement:
    """One drawer in its opening: flush with the front, its bottom on the shelf."""
    length, width, height = opening.size
    taken = (
        t["left"] + t["right"] + sum(sides),
        t["front"] + t["back"] + behind,
        t["bottom"] + above,
    )
    inside = []
    for size, less, word in zip(
        (length, width, height), taken, ("length", "width", "height"), strict=True
    ):
        if size <= less:
            raise ArrangementError(
                f"nothing is left of drawer-{k}'s inside along its {word}",
                where=f"opening-{k}",
                value=f"its panels and clearances take {both(less, job.unit)}",
                limit=f"less than the opening's {word}, {both(size, job.unit)}",
                do="make the case larger, take thinner stock, or ask for fewer drawers",
                panels=(f"drawer-{k}-bottom",),
            )
        inside.append(size - less)
    panels = {p: _asked(job, f"drawer-{k}-{p}") for p in _DRAWER}
    box = replace(
        job,
        inside=replace(job.inside, length=inside[0], width=inside[1], height=inside[2]),
        panels={**job.panels, **panels},
        top=Top(),
        bottom=Bottom(),
        fit_into=FitInto(),
        drawers=Drawers(),
        stack=Stack(),
    )
    made = as_body(filled_box(box))
    # loose dividers stay in their drawer, and come out of it only when it is out itself
    loose = tuple(replace(b, out=None) for b in made.bodies[1:])
    made = replace(made, bodies=(replace(made.bodies[0], out=_OUT), *loose))
    at = (sides[0] + t["left"], t["front"], opening.lo[2] + t["bottom"])
    return moved(made, f"drawer-{k}-", at)


def _asked(job: Job, name: str) -> PanelAsk:
    """What the job asks of a drawer's panel, gathered from all names it goes by."""
    asks = [job.panels[home] for home in homes_of(name) if home in job.panels]
    found = PanelAsk()
    for ask in reversed(asks):
        found = PanelAsk(
            thickness=ask.thickness or found.thickness,
            material=found.material if ask.material is None else ask.material,
            layers=found.layers if ask.layers is None else ask.layers,
        )
    return found


def _stop(k: int, opening: Cuboid, thickness: int) -> Slab:
    """A strip on the case's back, half as long as the opening and a third as high, on the shelf."""
    length, width, height = opening.size
    z0 = opening.lo[2]
    return Slab(
        name=f"stop-{k}",
        normal=1,
        box=Cuboid(
            (length // 4, width - thickness, z0),
            (length - length // 4, width, z0 + max(height // 3, 1)),
        ),
        outward=-1,
    )

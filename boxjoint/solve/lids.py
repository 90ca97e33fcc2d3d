"""Tops that are no panel of the box itself: further slabs on, over and beside it.

Glossary
--------
lip
    What reaches into the space between walls and keeps a lid (or the next box of a stack) in place: a
    plate glued under it, or a frame that stands in the box and reaches up.
rail, keeper
    Strips that make the groove of a sliding lid: a rail is glued outside on a wall and stands up
    above its rim; a keeper is glued inside on the rail, above the lid.

A lid is a body of its own. What moves past something else keeps the clearance of
``boxjoint.solve.clearances``; what is glued touches.
"""

from __future__ import annotations

from dataclasses import replace

from boxjoint.errors import ArrangementError, InputError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.records import Job
from boxjoint.job.tops import Top
from boxjoint.solve.arrangement import Arrangement, Body, InsideBlock, Slab
from boxjoint.solve.box import box_slabs
from boxjoint.solve.clearances import gap, spread
from boxjoint.solve.guests import filled_box
from boxjoint.solve.inside import with_inside
from boxjoint.solve.moves import as_body, closed_above, closed_by, moved
from boxjoint.units import both

__all__ = ["WALLS", "box_with_lid", "lip_plate", "on_top", "walls_raised"]

WALLS = ("front", "back", "left", "right")
_UP = (2, 1)

LEAST_DEPTH = 15_000_000
"""How far a rim reaches down where the job does not say, nm, at least (common practice, no source)."""
LEAST_GLUE = 10_000_000
"""Height of a rail's glue face on its wall, nm, at least (common practice, no source)."""


def box_with_lid(job: Job) -> Arrangement:
    """Return the job's box with its top, whatever kind that is.

    Raises
    ------
    InputError
        A depth or lip that this box cannot have.
    ArrangementError
        Nothing is left of a lip or lid; names it.
    """
    kind = job.top.kind
    if job.till.on and kind in ("closed", "cut-through"):
        raise InputError(
            f"a till cannot be lifted out of a box whose top is {kind}",
            where="[till] on",
            value=repr(job.till.on),
            do="take another [top] kind, or leave the till out",
        )
    if kind == "open" and job.till.on:
        return _plain(with_inside(job))
    if kind in ("open", "closed"):
        return filled_box(job)
    job = with_inside(job)
    if kind == "cut-through":
        return _cut_through(job)
    base = _plain(job)
    if kind == "lift-off":
        base = walls_raised(base, job.thickness("lip").nm)
        return on_top(job, base)
    if kind == "rim":
        return _rim(job, base)
    if kind == "hinged":
        from boxjoint.solve.hinges import cheek_depth, with_hinged_lid

        return with_hinged_lid(job, walls_raised(base, cheek_depth(job)))
    return _sliding(job, base)


def _plain(job: Job, inside: tuple[int, int, int] | None = None) -> Arrangement:
    """The open box as a body, of the job's inside or another."""
    job = replace(job, top=Top())
    if inside is not None:
        length, width, height = inside
        job = replace(job, inside=replace(job.inside, length=length, width=width, height=height))
    box = as_body(filled_box(job))
    if not job.till.on:
        return box
    from boxjoint.solve.tills import with_till

    return with_till(job, box)


def walls_raised(arrangement: Arrangement, by: int) -> Arrangement:
    """Return an open box with walls that stand ``by`` nm above its inside, to take a lip."""
    slabs = []
    for slab in arrangement.slabs:
        if slab.name in WALLS:
            x, y, z = slab.box.hi
            slab = replace(slab, box=Cuboid(slab.box.lo, (x, y, z + by)))
        slabs.append(slab)
    insides = tuple(replace(b, rim=b.rim + by) if _UP in b.open else b for b in arrangement.insides)
    return replace(arrangement, slabs=tuple(slabs), insides=insides)


def _walls(arrangement: Arrangement, prefix: str = "") -> dict[str, Slab]:
    """The four walls of a box, by their names without prefix."""
    return {w: arrangement.slabs[arrangement.index(prefix + w)] for w in WALLS}


def _around(walls: dict[str, Slab]) -> tuple[int, int, int, int]:
    """Outside of four walls: x from and to, y from and to."""
    return (
        walls["left"].box.lo[0],
        walls["right"].box.hi[0],
        walls["front"].box.lo[1],
        walls["back"].box.hi[1],
    )


def _within(walls: dict[str, Slab]) -> tuple[int, int, int, int]:
    """Inside of four walls: x from and to, y from and to."""
    return (
        walls["left"].box.hi[0],
        walls["right"].box.lo[0],
        walls["front"].box.hi[1],
        walls["back"].box.lo[1],
    )


def lip_plate(name: str, walls: dict[str, Slab], air: int, low: int, high: int) -> Slab:
    """Return the plate that reaches down between four walls with ``air`` nm on each side.

    Raises
    ------
    ArrangementError
        When nothing is left of it.
    """
    x0, x1, y0, y1 = _within(walls)
    least = min(x1 - x0, y1 - y0)
    if least <= 2 * air:
        raise ArrangementError(
            f"nothing is left of {name} between the walls",
            value=f"clearance and film take {2 * air / 1e6:.6g} mm on both sides together",
            limit=f"the space between the walls is {least / 1e6:.6g} mm",
            do="ask for a smaller clearance, or another top",
            panels=(name,),
        )
    box = Cuboid((x0 + air, y0 + air, low), (x1 - air, y1 - air, high))
    return Slab(name=name, normal=2, box=box, outward=-1)


def on_top(job: Job, base: Arrangement, prefix: str = "") -> Arrangement:
    """Return the arrangement with a lift-off lid on the box of that prefix, whose walls are raised."""
    walls = _walls(base, prefix)
    rim = walls["front"].box.hi[2]
    x0, x1, y0, y1 = _around(walls)
    plate = lip_plate("lip", walls, gap(job, "lid_clearance"), rim - job.thickness("lip").nm, rim)
    lid = Slab(
        name="lid", normal=2, box=Cuboid((x0, y0, rim), (x1, y1, rim + job.thickness("lid").nm))
    )
    return replace(
        base,
        slabs=(*base.slabs, lid, plate),
        insides=tuple(closed_by(b, plate) for b in base.insides),
        bodies=(
            *base.bodies,
            Body(name="lid", slabs=("lid", "lip"), glued=(("lip", "lid"),), out=_UP),
        ),
    )


def _lid_box(job: Job, inside: Cuboid) -> tuple[Slab, ...]:
    """Top and four walls of a lid around a block that is open below."""
    t = {p: job.thickness(f"lid-{p}").nm for p in ("top", *WALLS)}
    return box_slabs(inside, t, rank=job.joint.rank, prefix="lid-")


def _with_lid(
    base: Arrangement, lid: tuple[Slab, ...], insides: tuple[InsideBlock, ...]
) -> Arrangement:
    names = tuple(s.name for s in lid)
    return replace(
        base,
        slabs=(*base.slabs, *lid),
        insides=insides,
        bodies=(*base.bodies, Body(name="lid", slabs=names, out=_UP)),
    )


def _rim(job: Job, base: Arrangement) -> Arrangement:
    """A lid whose walls reach down outside over the box's."""
    walls = _walls(base)
    low, rim = walls["front"].box.span(2)
    most = rim - low
    depth = job.top.depth
    if depth is None:
        depth = min(most, max(LEAST_DEPTH, most // 4))
    if depth > most:
        raise InputError(
            "the rim of the lid reaches down below the box",
            where="[top] depth",
            value=both(depth, job.unit),
            limit=f"at most the outside's height, {both(most, job.unit)}",
            do="ask for less depth",
        )
    air = gap(job, "lid_clearance")
    room = {w: air + spread(job, w, "thicker") for w in WALLS}
    x0, x1, y0, y1 = _around(walls)
    block = InsideBlock(
        name="lid",
        box=Cuboid(
            (x0 - room["left"], y0 - room["front"], rim - depth),
            (x1 + room["right"], y1 + room["back"], rim),
        ),
        open=((2, -1),),
        guests=tuple(s.name for s in base.slabs),
    )
    closed = tuple(closed_above(b, rim) for b in base.insides)
    return _with_lid(base, _lid_box(job, block.box), (*closed, block))


def _cut_through(job: Job) -> Arrangement:
    """The box cut through at a height: two halves with their own joints, rim on rim."""
    length, width, height = job.inside.xyz
    depth = height // 3 if job.top.depth is None else job.top.depth
    if depth >= height:
        raise InputError(
            "the lid's part is all of the inside's height",
            where="[top] depth",
            value=both(depth, job.unit),
            limit=f"less than the inside's height, {both(height, job.unit)}",
        )
    cut = height - depth
    lip = job.top.lip or 0
    if lip >= depth:
        raise InputError(
            "the lid is lower than its lip",
            where="[top] lip",
            value=f"the lip reaches {both(lip, job.unit)} up into the lid",
            limit=f"less than the lid's depth, {both(depth, job.unit)}",
            do="ask for less lip, or more depth",
        )
    # the frame of the lip stands within the walls; the inside asked for is within the frame
    frame = {w: job.thickness(f"lip-{w}").nm for w in WALLS}
    room = {w: gap(job, "lid_clearance") + frame[w] if lip else 0 for w in WALLS}
    within = Cuboid(
        (-room["left"], -room["front"], 0),
        (length + room["right"], width + room["back"], height),
    )
    base = _plain(job, inside=(within.size[0], within.size[1], cut))
    base = moved(base, "", (within.lo[0], within.lo[1], 0))
    base = replace(base, insides=tuple(b for b in base.insides if b.name != "inside"))
    guests = job.dividers.names
    whole = InsideBlock(
        name="inside", box=Cuboid((0, 0, 0), (length, width, height)), guests=guests
    )
    above = InsideBlock(
        name="lid",
        box=Cuboid((within.lo[0], within.lo[1], cut), within.hi),
        open=((2, -1),),
    )
    lid = _lid_box(job, above.box)
    if not lip:
        return _with_lid(base, lid, (whole, *base.insides, above))
    if guests:
        raise InputError(
            "a lip needs the box's inside to itself",
            where="[top] lip",
            do="leave the dividers out, or the lip",
        )
    block = InsideBlock(
        name="lip", box=Cuboid((0, 0, 0), (length, width, cut + lip)), open=((2, 1),)
    )
    slabs = box_slabs(block.box, frame, rank=job.joint.rank, prefix="lip-")
    names = tuple(s.name for s in slabs)
    base = replace(
        base,
        slabs=(*base.slabs, *slabs),
        bodies=(*base.bodies, Body(name="lip", slabs=names, out=_UP)),
    )
    sides = tuple((axis, sense) for axis in (0, 1) for sense in (-1, 1))
    return _with_lid(base, lid, (replace(whole, open=sides), block, replace(above, guests=names)))


def _sliding(job: Job, base: Arrangement) -> Arrangement:
    """A lid that lies on the rims and slides between rails, under keepers, out at the front."""
    walls = _walls(base)
    low, rim = walls["front"].box.span(2)
    x0, x1, y0, y1 = _around(walls)
    across = gap(job, "slide_clearance")
    left, right = (across + spread(job, w, "thinner") for w in ("left", "right"))
    for wall, air in (("left", left), ("right", right)):
        if air >= walls[wall].thickness:
            raise ArrangementError(
                f"the lid does not reach its bearing on {wall}",
                value=f"clearance and film take {air / 1e6:.6g} mm",
                limit=f"less than the wall's {walls[wall].thickness / 1e6:.6g} mm",
                do="ask for a smaller clearance, or a thicker wall",
                panels=("lid", wall),
            )
    t = job.thickness("lid")
    lid = Slab(name="lid", normal=2, box=Cuboid((x0 + left, y0, rim), (x1 - right, y1, rim + t.nm)))
    under = rim + t.greatest + gap(job, "slide_gap")  # where the keepers begin
    slabs, glued = [], []
    keep = {w: job.thickness(f"keeper-{w}").nm for w in ("left", "right")}
    rails = {w: job.thickness(f"rail-{w}").nm for w in ("left", "right", "back")}
    top = under + 2 * max(keep.values())  # twice as high as thick: a strip that can be handled
    foot = max(low, rim - max(LEAST_GLUE, 3 * max(rails.values())))
    spans = {
        "left": ((x0 - rails["left"], y0), (x0, y1)),
        "right": ((x1, y0), (x1 + rails["right"], y1)),
        "back": ((x0 - rails["left"], y1), (x1 + rails["right"], y1 + rails["back"])),
    }
    for wall, (lo, hi) in spans.items():
        slabs.append(
            Slab(
                name=f"rail-{wall}",
                normal=walls[wall].normal,
                box=Cuboid((*lo, foot), (*hi, top)),
                outward=walls[wall].outward,
            )
        )
        glued.append((f"rail-{wall}", wall))
    for wall in ("left", "right"):
        at = (x0, x0 + keep[wall]) if wall == "left" else (x1 - keep[wall], x1)
        if keep[wall] > walls[wall].thickness:
            raise ArrangementError(
                f"keeper-{wall} stands in over the inside",
                value=f"{keep[wall] / 1e6:.6g} mm thick",
                limit=f"at most as thick as its wall, {walls[wall].thickness / 1e6:.6g} mm",
                do=f"take thinner stock for keeper-{wall}",
                panels=(f"keeper-{wall}",),
            )
        slabs.append(
            Slab(
                name=f"keeper-{wall}",
                normal=0,
                box=Cuboid((at[0], y0, under), (at[1], y1, top)),
                outward=walls[wall].outward,
            )
        )
        glued.append((f"keeper-{wall}", f"rail-{wall}"))
    body = base.bodies[0]
    body = replace(body, slabs=(*body.slabs, *(s.name for s in slabs)), glued=(*body.glued, *glued))
    return replace(
        base,
        slabs=(*base.slabs, *slabs, lid),
        insides=tuple(closed_above(b, rim) for b in base.insides),
        bodies=(body, *base.bodies[1:], Body(name="lid", slabs=("lid",), out=(1, -1))),
    )

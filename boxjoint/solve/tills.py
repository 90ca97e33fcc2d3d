"""A till: a tray that lies in the box above the rest of what is in it, on dividers or on ledges.

It is a box of its own, made like any other and set in its place; what it keeps from the walls is a
clearance. A ledge is a strip glued inside to the front or the back, whose upper edge bears the till.
"""

from __future__ import annotations

from dataclasses import replace

from boxjoint.errors import InputError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.filling import Bottom, Compartments, Contents, Dividers, FitInto
from boxjoint.job.records import Inside, Job, PanelAsk
from boxjoint.job.tops import Drawers, Stack, Till, Top
from boxjoint.solve.arrangement import Arrangement, Slab
from boxjoint.solve.clearances import gap, spread
from boxjoint.solve.guests import filled_box
from boxjoint.solve.moves import as_body, closed_by, moved
from boxjoint.units import both

__all__ = ["with_till"]

_WALLS = ("front", "back", "left", "right")
#: Height of a ledge's glue face, nm, at least (common practice, no source).
LEAST_LEDGE = 12_000_000
#: What a ledge stays short of the walls at its ends, nm.
_SHORT = 500_000


def with_till(job: Job, base: Arrangement) -> Arrangement:
    """Return the open box with the job's till in it, and the ledges that it needs.

    Parameters
    ----------
    base
        The box, a body; its walls not raised yet.

    Raises
    ------
    InputError
        No room for the till, or nothing that it could rest on; names the distance and the limit.
    """
    ask = job.till
    inside = next(b for b in base.insides if b.name == "inside")
    length, width, height = inside.box.size
    if job.joint.proud > 0:
        raise InputError(
            "proud tips would stand in the till's way",
            where="[joint] proud",
            value=both(job.joint.proud, job.unit),
            limit="0 or less with a till",
        )
    air = gap(job, "till_clearance")
    bottom = job.thickness("till-bottom").nm
    above = air + spread(job, "till-bottom", "thicker")
    own = ask.height
    if ask.on == "dividers":
        rest = _on_dividers(job, height)
        if own is None:
            own = height - rest - bottom - above
    else:
        own = height // 3 if own is None else own
        rest = height - own - bottom - above
    if own <= 0 or rest <= 0 or rest + bottom + own + above > height:
        raise InputError(
            "the till does not go into the box",
            where="[till] height",
            value=f"its inside {both(max(own, 0), job.unit)}, its bottom {both(bottom, job.unit)}, above it "
            f"{both(above, job.unit)}"
            + (f", on dividers of {both(rest, job.unit)}" if ask.on == "dividers" else ""),
            limit=f"the inside is {both(height, job.unit)} high",
            do="ask for a lower till, lower dividers, or a higher inside",
        )
    till = _till(job, (length, width, own), air, rest)
    ledges, glued = _ledges(job, (length, width, rest)) if ask.on == "ledges" else ((), ())
    guests = (*(s.name for s in till.slabs), *(s.name for s in ledges))
    floor = till.slabs[till.index("till-bottom")]
    body = base.bodies[0]
    body = replace(
        body,
        slabs=(*body.slabs, *(s.name for s in ledges)),
        glued=(*body.glued, *glued),
    )
    return replace(
        base,
        slabs=(*base.slabs, *ledges, *till.slabs),
        insides=(
            *(
                replace(b, guests=(*b.guests, *guests))
                if b.name == "inside"
                else closed_by(b, floor)
                for b in base.insides
            ),
            *till.insides,
        ),
        bodies=(body, *base.bodies[1:], *till.bodies),
    )


def _on_dividers(job: Job, height: int) -> int:
    """Height of the dividers that bear the till, nm."""
    if not job.dividers.names:
        raise InputError(
            "there are no dividers for the till to rest on",
            where="[till] on",
            value='"dividers"',
            do='divide the inside ([dividers.length] compartments), or set on = "ledges"',
        )
    if job.dividers.height is None or job.dividers.height >= height:
        raise InputError(
            "the dividers are as high as the inside: nothing is left for the till",
            where="[dividers] height",
            value=both(height if job.dividers.height is None else job.dividers.height, job.unit),
            limit=f"less than the inside's height, {both(height, job.unit)}",
        )
    return job.dividers.height


def _till(job: Job, room: tuple[int, int, int], air: int, rest: int) -> Arrangement:
    """The till itself, as high inside as ``room`` says, on what is ``rest`` nm above the bottom."""
    length, width, own = room
    t = {p: job.thickness(f"till-{p}").nm for p in ("bottom", *_WALLS)}
    side = {w: air + spread(job, f"till-{w}", "thicker") for w in _WALLS}
    inner = (
        length - side["left"] - side["right"] - t["left"] - t["right"],
        width - side["front"] - side["back"] - t["front"] - t["back"],
    )
    for size, word in zip(inner, ("length", "width"), strict=True):
        if size <= 0:
            raise InputError(
                f"nothing is left of the till's inside along its {word}",
                where="[till] on",
                value=both(room[("length", "width").index(word)], job.unit),
                limit=f"more than its walls and clearances, "
                f"{both(room[('length', 'width').index(word)] - size, job.unit)}",
            )
    box = replace(
        job,
        inside=Inside(length=inner[0], width=inner[1], height=own),
        panels={
            **job.panels,
            **{p: job.panels.get(f"till-{p}", PanelAsk()) for p in ("bottom", *_WALLS)},
        },
        top=Top(),
        bottom=Bottom(),
        items={},
        contents=Contents(),
        fit_into=FitInto(),
        drawers=Drawers(),
        stack=Stack(),
        till=Till(),
        dividers=Dividers(
            length=Compartments(count=job.till.columns), width=Compartments(count=job.till.rows)
        ),
    )
    made = as_body(filled_box(box))
    made = replace(made, bodies=(replace(made.bodies[0], out=(2, 1)),))
    at = (side["left"] + t["left"], side["front"] + t["front"], rest + t["bottom"])
    return moved(made, "till-", at)


def _ledges(
    job: Job, room: tuple[int, int, int]
) -> tuple[tuple[Slab, ...], tuple[tuple[str, str], ...]]:
    """Strips along front and back, their upper edges at the height of ``room``."""
    length, width, rest = room
    slabs, glued = [], []
    for wall in ("front", "back"):
        t = job.thickness(f"ledge-{wall}").nm
        low = max(0, rest - max(LEAST_LEDGE, 3 * t))
        if job.dividers.names and (job.dividers.height or rest + 1) > low:
            raise InputError(
                "dividers stand where the ledges of the till go",
                where="[till] on",
                value=f"ledges from {both(low, job.unit)} to {both(rest, job.unit)} above the bottom",
                limit="dividers end below them",
                do='let the till rest on the dividers: on = "dividers", or make them lower '
                "([dividers] height)",
            )
        if 2 * t >= width or length <= 2 * _SHORT:
            raise InputError(
                "the ledges of the till fill the box",
                where="[till] on",
                value=both(2 * t, job.unit),
                limit=f"less than the inside's width, {both(width, job.unit)}",
            )
        y0, y1 = (0, t) if wall == "front" else (width - t, width)
        slabs.append(
            Slab(
                name=f"ledge-{wall}",
                normal=1,
                box=Cuboid((_SHORT, y0, low), (length - _SHORT, y1, rest)),
                outward=-1 if wall == "front" else 1,
            )
        )
        glued.append((f"ledge-{wall}", wall))
    return tuple(slabs), tuple(glued)

"""A lid that turns on two pins: its cheeks hang between the walls, the pins go through walls and cheeks.

Glossary
--------
cheek
    A strip under the lid's plate, beside the left or the right wall, that a pin goes through.
pin
    A rod of wood or metal, one on each side, held in the wall; the cheek turns on it.

The plate lies on the front's rim, between side walls and a back that stand up as high as the plate: what
lies behind the pins sinks when the front rises, so it must not lie on anything. The walls are higher than
the inside by the depth of the cheeks, so that these take nothing of it while the lid is closed.

In the plane across the pins let a be how far they lie before the plate's rear edge, h how far below the
front's rim, t the plate's thickness. The plate's rear upper corner turns at the radius R = hypot(a, h + t),
so the plate ends R - a and the clearance before the back. Open, it lies against the back's rim: it has
turned by 2 atan(d / (h + t)) then, where d is the way from the pins to the back.
"""

from __future__ import annotations

import math
from dataclasses import replace

from boxjoint.errors import InputError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.records import Job
from boxjoint.solve.arrangement import Arrangement, Body, Hinge, Slab
from boxjoint.solve.clearances import STARTING, gap
from boxjoint.units import both

__all__ = ["LEAST_TURN", "PIN", "cheek_depth", "with_hinged_lid"]

#: Diameter of the pins where the job does not say, nm (common practice, no source).
PIN = 3_000_000
#: Further than this the lid has to turn, or it falls shut, degrees (common practice, no source).
LEAST_TURN = 95.0
#: Beyond a web, for what clearance and kerf take off the edges beside a pin, nm.
_SPARE = 300_000


def _holes(job: Job) -> tuple[int, int]:
    """Diameters of the holes that hold the pins, and of those that turn on them, nm."""
    pin = PIN if job.top.pin is None else job.top.pin
    # bare: nobody finishes a hole that a pin turns in
    return pin, pin + (STARTING["pin_clearance"].nm if job.top.gap is None else job.top.gap)


def _around(job: Job) -> int:
    """From the middle of a pin to the nearest edge, at least, nm."""
    web = job.joint.web
    if web is None:  # one thickness; of brittle stock 1.5
        web = 3 * max(job.thickness(p).nm for p in ("lid-left", "lid-right", "left", "right")) // 2
    return web + _SPARE + -(-_holes(job)[1] // 2)


def cheek_depth(job: Job) -> int:
    """Return how far the cheeks hang down below the plate, nm.

    Raises
    ------
    InputError
        The depth that was asked for leaves no web around the pins.
    """
    least = 2 * _around(job)
    depth = job.top.depth
    if depth is not None and depth < least:
        raise InputError(
            "the cheeks of the lid leave no web around its pins",
            where="[top] depth",
            value=both(depth, job.unit),
            limit=f"at least {both(least, job.unit)}",
            do="ask for more depth, thinner pins or a smaller [joint] web",
        )
    return least if depth is None else depth


def with_hinged_lid(job: Job, base: Arrangement) -> Arrangement:
    """Return the box with its lid, hinged at the back.

    Parameters
    ----------
    base
        The open box, a body, its walls raised by :func:`cheek_depth`.

    Raises
    ------
    InputError
        The box is too narrow for a lid that turns.
    """
    box = {w: base.slabs[base.index(w)].box for w in ("front", "back", "left", "right")}
    rim = box["front"].hi[2]
    t = job.thickness("lid-top")
    pin, hole = _holes(job)
    depth, h = cheek_depth(job), _around(job)
    reach = h + t.greatest
    a = 2 * reach  # the gap behind the plate is then less than a quarter of that reach
    air = gap(job, "lid_clearance")
    behind = math.ceil(math.hypot(a, reach)) - a + air
    end = box["back"].lo[1] - behind
    at = (end - a, rim - h)
    inner = box["front"].hi[1]
    before = at[0] - inner
    if before < h:
        raise InputError(
            "the box is too narrow for a lid that turns",
            where="[inside] width",
            value=both(box["back"].lo[1] - inner, job.unit),
            limit=f"at least {both(behind + a + h, job.unit)}",
            do="ask for thinner pins or stock, or another top",
        )
    # the cheeks' lower front corners swing out towards the front wall
    down = depth - h
    clear = (before - air) ** 2 - down**2
    if clear <= 0:
        raise InputError(
            "the cheeks of the lid reach down too far to turn",
            where="[top] depth",
            value=both(depth, job.unit),
            limit=f"less than {both(h + before - air, job.unit)}",
            do="ask for less depth",
        )
    front = before - math.isqrt(clear)
    x0, x1 = box["left"].hi[0] + air, box["right"].lo[0] - air
    cheeks = {w: job.thickness(f"lid-{w}").nm for w in ("left", "right")}
    lid = (
        Slab(
            name="lid-top",
            normal=2,
            box=Cuboid((x0, box["front"].lo[1], rim), (x1, end, rim + t.nm)),
        ),
        Slab(
            name="lid-left",
            normal=0,
            box=Cuboid((x0, inner + front, rim - depth), (x0 + cheeks["left"], end, rim + t.nm)),
            outward=-1,
        ),
        Slab(
            name="lid-right",
            normal=0,
            box=Cuboid((x1 - cheeks["right"], inner + front, rim - depth), (x1, end, rim + t.nm)),
        ),
    )
    slabs = []
    for slab in base.slabs:
        if slab.name in ("left", "right", "back"):
            x, y, z = slab.box.hi
            slab = replace(slab, box=Cuboid(slab.box.lo, (x, y, z + t.nm)))
        slabs.append(slab)
    return replace(
        base,
        slabs=(*slabs, *lid),
        bodies=(*base.bodies, Body(name="lid", slabs=tuple(s.name for s in lid), out=(2, 1))),
        hinge=Hinge(
            body="lid",
            at=at,
            pin=pin,
            hole=hole,
            pairs=(("lid-left", "left"), ("lid-right", "right")),
            clearance=air,
        ),
    )

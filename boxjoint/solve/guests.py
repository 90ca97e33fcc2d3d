"""Guests: dividers inside a box, tabbed or loose, on a base that may be raised.

All of it is slabs. A tabbed divider reaches through the walls that it meets and through the base, so
that it gets tabs in their mortises; a loose one ends short of the walls and stands on the base. Where
dividers cross, they are half-lapped. A base is raised by letting the walls reach down below it.
"""

from __future__ import annotations

from dataclasses import replace

from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.filling import divider_names
from boxjoint.job.records import Inside, Job
from boxjoint.solve.arrangement import Arrangement, Body, InsideBlock, Slab
from boxjoint.solve.box import box_arrangement
from boxjoint.solve.inside import InsideFound, find_inside

__all__ = [
    "LOOSE_CLEARANCE_NM",
    "filled_box",
    "loose_clearance",
    "with_dividers",
    "with_raised_base",
]

LOOSE_CLEARANCE_NM = 500_000
"""Wall to wall minus a loose divider, both ends together, nm (common practice, no source)."""


def filled_box(job: Job) -> Arrangement:
    """Return the job's box without lids and the like: its base raised as asked, its dividers.

    Raises
    ------
    InputError
        When sizes do not add up or do not fit; see :func:`boxjoint.solve.inside.find_inside`.
    ArrangementError
        When there is no such arrangement.
    """
    found = find_inside(job)
    x, y, z = found.xyz
    box = box_arrangement(replace(job, inside=Inside(length=x, width=y, height=z)))
    return with_dividers(with_raised_base(box, job), job, found)


def loose_clearance(job: Job) -> int:
    """Wall to wall minus a loose divider, nm: as asked, else assumed."""
    asked = job.dividers.clearance
    return LOOSE_CLEARANCE_NM if asked is None else asked


def with_raised_base(arrangement: Arrangement, job: Job) -> Arrangement:
    """Let the walls of the box reach down below its base by what the job asks."""
    if not job.bottom.raised:
        return arrangement
    floor = -job.thickness("bottom").nm - job.bottom.raised
    slabs = []
    for slab in arrangement.slabs:
        if slab.name in ("front", "back", "left", "right"):
            box = Cuboid((*slab.box.lo[:2], floor), slab.box.hi)
            slab = replace(slab, box=box)
        slabs.append(slab)
    return replace(arrangement, slabs=tuple(slabs))


def with_dividers(arrangement: Arrangement, job: Job, inside: InsideFound) -> Arrangement:
    """Add the job's dividers to the arrangement of its box, and a block for every compartment.

    Parameters
    ----------
    arrangement
        The box, with its inside at the origin as the block ``inside``.
    inside
        The sizes of its compartments.

    Returns
    -------
    Arrangement
        Dividers rank below everything else. The block ``inside`` may hold them; compartment
        ``(i, j)``, counted from 1 along x and y, is the block ``compartment i-j``.
    """
    names = job.dividers.names
    if not names:
        return arrangement
    size = inside.xyz
    height = size[2] if job.dividers.height is None else job.dividers.height
    loose = job.dividers.fixing == "loose"
    before, behind = _reach(job, size, loose)
    gap = size[0] - behind[0] if loose else 0
    spans: list[list[tuple[int, int]]] = []
    guests: list[Slab] = []
    for axis in (0, 1):
        at, cells = 0, []
        sizes = inside.along[axis].compartments
        for cell, name in zip(sizes, (*divider_names(axis, len(sizes)), ""), strict=True):
            cells.append((at, at + cell))
            at += cell
            if name:
                lo, hi = [before[0], before[1], before[2]], [behind[0], behind[1], height]
                lo[axis], hi[axis] = at, at + job.thickness(name).nm
                at = hi[axis]
                box = Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
                guests.append(Slab(name=name, normal=axis, box=box, guest=True))
        spans.append(cells)
    closed = "top" in job.panel_names and height == size[2]
    blocks = [
        InsideBlock(
            name=f"compartment {i}-{j}",
            box=Cuboid((x[0], y[0], 0), (x[1], y[1], height)),
            open=() if closed else ((2, 1),),
            gap=gap,
            compartment=(i, j),
        )
        for i, x in enumerate(spans[0], 1)
        for j, y in enumerate(spans[1], 1)
    ]
    insides = tuple(
        replace(block, guests=names) if block.name == "inside" else block
        for block in arrangement.insides
    )
    return Arrangement(
        slabs=(*arrangement.slabs, *guests),
        insides=(*insides, *blocks),
        bodies=_bodies(arrangement, job, closed=closed),
    )


def _reach(
    job: Job, size: tuple[int, int, int], loose: bool
) -> tuple[tuple[int, int, int], tuple[int, int]]:
    """Where dividers begin along x, y, z and end along x, y, nm."""
    if loose:
        clearance = loose_clearance(job)
        first = clearance // 2
        last = clearance - first
        return (first, first, 0), (size[0] - last, size[1] - last)
    t = {name: job.thickness(name).nm for name in ("left", "right", "front", "back", "bottom")}
    return (
        (-t["left"], -t["front"], -t["bottom"]),
        (size[0] + t["right"], size[1] + t["back"]),
    )


def _bodies(arrangement: Arrangement, job: Job, *, closed: bool) -> tuple[Body, ...]:
    """What holds together: tabbed dividers belong to their box, loose ones come out by themselves."""
    names = job.dividers.names
    bodies = arrangement.bodies or (
        Body(name="box", slabs=tuple(s.name for s in arrangement.slabs)),
    )
    home = next(k for k, body in enumerate(bodies) if "front" in body.slabs)
    if job.dividers.fixing == "tabbed":
        box = replace(bodies[home], slabs=(*bodies[home].slabs, *names))
        return (*bodies[:home], box, *bodies[home + 1 :])
    out = None if "top" in bodies[home].slabs else (2, 1)
    crossing = min(len(along) for along in job.dividers.along) > 1
    groups = [("dividers", names)] if crossing else [(name, (name,)) for name in names]
    loose = [Body(name=name, slabs=slabs, out=out) for name, slabs in groups]
    return (*bodies[: home + 1], *loose, *bodies[home + 1 :])

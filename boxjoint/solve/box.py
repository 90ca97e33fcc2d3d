"""The arrangement of a box: six slabs (five when it is open) around the inside that was asked for.

The inside is held whatever the thicknesses: every slab grows outward from its face of the inside.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.records import PANELS, Job
from boxjoint.solve.arrangement import Arrangement, InsideBlock, Slab

__all__ = ["OUTWARD", "box_arrangement", "box_slabs", "outside_of"]

#: Which way each panel of a box faces, as (axis, sense).
OUTWARD: dict[str, tuple[int, int]] = {
    "bottom": (2, -1),
    "top": (2, 1),
    "front": (1, -1),
    "back": (1, 1),
    "left": (0, -1),
    "right": (0, 1),
}


def box_arrangement(job: Job) -> Arrangement:
    """Return the slabs of the job's box, strongest first.

    The job's rank comes first; panels it does not name follow in the default rank.
    """
    names = tuple(p for p in job.panel_names if p in PANELS)
    inside = job.inside.xyz
    slabs = box_slabs(
        Cuboid((0, 0, 0), inside),
        {name: job.thickness(name).nm for name in names},
        rank=job.joint.rank,
    )
    block = InsideBlock(
        name="inside",
        box=Cuboid((0, 0, 0), inside),
        open=() if "top" in names else ((2, 1),),
    )
    return Arrangement(slabs=slabs, insides=(block,))


def box_slabs(
    inside: Cuboid,
    thickness: Mapping[str, int],
    *,
    rank: Sequence[str] = (),
    prefix: str = "",
    walls_to: int | None = None,
    walls_from: int | None = None,
) -> tuple[Slab, ...]:
    """Return the slabs of one box around a block of space, strongest first.

    Parameters
    ----------
    inside
        The block, nm.
    thickness
        nm, by name of panel; a panel without one is left out, and its side stays open.
    rank
        Names of panels, strongest first; those left out follow in the default rank.
    prefix
        Set in front of every name, as in ``drawer-3-``.
    walls_to, walls_from
        Where the rims of the four walls end, nm along z, where the box has no top or no bottom;
        ``None``: with the inside.
    """
    t = {name: thickness.get(name, 0) for name in PANELS}
    lo = [inside.lo[k] - t[p] for k, p in enumerate(("left", "front", "bottom"))]
    hi = [inside.hi[k] + t[p] for k, p in enumerate(("right", "back", "top"))]
    if walls_from is not None:
        lo[2] = walls_from
    if walls_to is not None:
        hi[2] = walls_to
    slabs = []
    ranked = [p for p in rank if t[p]]
    for name in [*ranked, *(p for p in PANELS if t[p] and p not in ranked)]:
        axis, sense = OUTWARD[name]
        a, b = list(lo), list(hi)
        if sense < 0:
            a[axis], b[axis] = inside.lo[axis] - t[name], inside.lo[axis]
        else:
            a[axis], b[axis] = inside.hi[axis], inside.hi[axis] + t[name]
        slabs.append(
            Slab(
                name=prefix + name,
                normal=axis,
                box=Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2])),
                outward=1 if sense > 0 else -1,
            )
        )
    return tuple(slabs)


def outside_of(arrangement: Arrangement) -> Cuboid:
    """Return the smallest cuboid around all slabs."""
    boxes = [s.box for s in arrangement.slabs]
    return Cuboid(
        (min(b.lo[0] for b in boxes), min(b.lo[1] for b in boxes), min(b.lo[2] for b in boxes)),
        (max(b.hi[0] for b in boxes), max(b.hi[1] for b in boxes), max(b.hi[2] for b in boxes)),
    )

"""The arrangement of a box: six slabs (five when it is open) around the inside that was asked for.

The inside is held whatever the thicknesses: every slab grows outward from its face of the inside.
"""

from __future__ import annotations

from boxjoint.geometry.cuboid import Cuboid
from boxjoint.job.records import PANELS, Job
from boxjoint.solve.arrangement import Arrangement, InsideBlock, Slab

__all__ = ["OUTWARD", "box_arrangement", "outside_of"]

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
    names = job.panel_names
    t = {p: job.thickness(p).nm if p in names else 0 for p in PANELS}
    inside = job.inside.xyz
    lo = (-t["left"], -t["front"], -t["bottom"])
    hi = (inside[0] + t["right"], inside[1] + t["back"], inside[2] + t["top"])
    slabs = []
    ranked = [p for p in job.joint.rank if p in names]
    for name in [*ranked, *(p for p in PANELS if p in names and p not in ranked)]:
        axis, sense = OUTWARD[name]
        a, b = list(lo), list(hi)
        if sense < 0:
            b[axis] = 0
        else:
            a[axis] = inside[axis]
        slabs.append(
            Slab(
                name=name,
                normal=axis,
                box=Cuboid((a[0], a[1], a[2]), (b[0], b[1], b[2])),
                outward=1 if sense > 0 else -1,
            )
        )
    block = InsideBlock(
        name="inside",
        box=Cuboid((0, 0, 0), inside),
        open=() if "top" in names else ((2, 1),),
    )
    return Arrangement(slabs=tuple(slabs), insides=(block,))


def outside_of(arrangement: Arrangement) -> Cuboid:
    """Return the smallest cuboid around all slabs."""
    boxes = [s.box for s in arrangement.slabs]
    return Cuboid(
        (min(b.lo[0] for b in boxes), min(b.lo[1] for b in boxes), min(b.lo[2] for b in boxes)),
        (max(b.hi[0] for b in boxes), max(b.hi[1] for b in boxes), max(b.hi[2] for b in boxes)),
    )

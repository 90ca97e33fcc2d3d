"""How far to draw lids, trays and drawers from their places in a picture, so that each is seen."""

from __future__ import annotations

from boxjoint.geometry.cuboid import Cuboid, Triple
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.box import outside_of

__all__ = ["bodies_apart"]


def bodies_apart(arrangement: Arrangement) -> dict[str, Triple]:
    """Return world offsets, nm, of all panels of bodies that come out.

    What lifts off is drawn clear above whatever it stands on or in, far enough to look below it.
    Drawers stand out less and less from the lowest up, so that one looks into each of them.

    Returns
    -------
    dict
        Offset by panel's name, for ``isometric_svg``'s ``apart``; empty where nothing comes out.
    """
    whole = outside_of(arrangement)
    out: dict[str, Triple] = {}
    leaving = [b for b in arrangement.bodies if b.out is not None]
    drawers = [b for b in leaving if b.out == (1, -1)]
    boxes = {s.name: s.box for s in arrangement.slabs}
    up = {n for b in leaving if b.out == (2, 1) for n in b.slabs}
    tops = [box for n, box in boxes.items() if n not in up]  # where it is drawn
    air = max(min(whole.size[:2]) // 3, 1)
    for body in leaving:
        if body.out is None:
            continue
        axis, sense = body.out
        size = whole.size[axis]
        if body.out == (2, 1):
            mine = [boxes[n] for n in body.slabs]
            under = [t for t in tops if any(_below(t, m) for m in mine)]
            far = max((t.hi[2] for t in under), default=0) + air - min(m.lo[2] for m in mine)
            tops += [Cuboid((*m.lo[:2], m.lo[2] + far), (*m.hi[:2], m.hi[2] + far)) for m in mine]
        elif axis == 2:
            far = size // 3
        else:
            far = size * 2 // 3 * (1 + drawers.index(body)) // len(drawers)
        vector = [0, 0, 0]
        vector[axis] = sense * far
        for name in body.slabs:
            out[name] = (vector[0], vector[1], vector[2])
    return out


def _below(one: Cuboid, other: Cuboid) -> bool:
    """Whether two boxes lie one above the other, as seen from above."""
    return all(one.lo[k] < other.hi[k] and other.lo[k] < one.hi[k] for k in (0, 1))

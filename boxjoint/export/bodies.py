"""How far to draw lids, trays and drawers from their places in a picture, so that each is seen."""

from __future__ import annotations

from boxjoint.geometry.cuboid import Triple
from boxjoint.solve.arrangement import Arrangement
from boxjoint.solve.box import outside_of

__all__ = ["bodies_apart"]


def bodies_apart(arrangement: Arrangement) -> dict[str, Triple]:
    """Return world offsets, nm, of all panels of bodies that come out.

    What lifts off is drawn above whatever it stands on; what lies further on its way moves with it.
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
    lifted = 0
    for body in leaving:
        if body.out is None:
            continue
        axis, sense = body.out
        size = whole.size[axis]
        if axis == 2:
            lifted += max(size // 3, 1)
            far = lifted
        else:
            far = size * 2 // 3 * (1 + drawers.index(body)) // len(drawers)
        vector = [0, 0, 0]
        vector[axis] = sense * far
        for name in body.slabs:
            out[name] = (vector[0], vector[1], vector[2])
    return out

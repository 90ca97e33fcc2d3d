"""What two panels have in common, asked of the solid kernel on no more of them than that takes.

A base with hundreds of mortises costs the kernel seconds a boolean. What two parts share lies in what
their boxes share: so both are cropped to that, and a margin, before they are made solid, which changes
nothing of what they share. Cropping is done in the plane of each panel, by shapely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from boxjoint.check import kernel
from boxjoint.check.kernel import Extent
from boxjoint.geometry.rings import Rings
from boxjoint.solve.panels import Panel

__all__ = ["Croppable", "common", "cropped"]

_MANY_SIDES = 60
"""Panels of more sides than this are cropped."""
_MARGIN_MM = 1.0
"""Beyond what two boxes share: far more than the kernel's own tolerance."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Croppable:
    """A solid of the kernel, and the outlines that it was made from.

    Parameters
    ----------
    rings
        In the panel's own axes, nm; all that the solid was extruded from.
    extent
        Of the solid.
    """

    panel: Panel
    rings: Rings
    solid: Any
    extent: Extent

    @classmethod
    def of(cls, panel: Panel, rings: Rings, solid: Any) -> Croppable:
        """With the extent as the kernel has it."""
        return cls(panel=panel, rings=rings, solid=solid, extent=kernel.extent(solid))


def common(mine: Croppable, other: Croppable, by: Sequence[float] = (0.0, 0.0, 0.0)) -> Any:
    """Return what a panel, moved by ``by`` mm, has in common with one that stands still."""
    lo = [
        max(a + d, b) - _MARGIN_MM
        for a, b, d in zip(mine.extent.lo, other.extent.lo, by, strict=True)
    ]
    hi = [
        min(a + d, b) + _MARGIN_MM
        for a, b, d in zip(mine.extent.hi, other.extent.hi, by, strict=True)
    ]
    back = [[v - d for v, d in zip(ends, by, strict=True)] for ends in (lo, hi)]
    found = []
    for part in cropped(mine, back[0], back[1]):
        place = kernel.moved(part, by)
        mates = [other.solid]
        if len(other.rings) >= _MANY_SIDES:
            own = kernel.extent(place)
            mates = cropped(
                other,
                [max(a, b - _MARGIN_MM) for a, b in zip(lo, own.lo, strict=True)],
                [min(a, b + _MARGIN_MM) for a, b in zip(hi, own.hi, strict=True)],
            )
        if mates:
            found.append(kernel.boolean("common", place, mates))
    return kernel.compound(found)


def cropped(part: Croppable, lo: Sequence[float], hi: Sequence[float]) -> list[Any]:
    """Return a panel's solid cropped in its plane to a box of the world, mm, in as many as that makes.

    What the whole panel has in common with anything inside the box, these have too, and no more. A
    panel of few sides, or whose outlines make no plain area, is returned whole.
    """
    import shapely

    rings, frame = part.rings, part.panel.frame
    if len(rings) < _MANY_SIDES:
        return [part.solid]
    spans = []
    for k in (0, 1):
        axis = frame.axes[k]
        ends = [round((v * 1e6 - frame.origin[k]) * frame.senses[k]) for v in (lo[axis], hi[axis])]
        spans.append((min(ends), max(ends)))
    low, high = (f.reduceat(rings.xy, rings.start[:-1]) for f in (np.minimum, np.maximum))
    near = ((high >= [s[0] for s in spans]) & (low <= [s[1] for s in spans])).all(axis=1)
    within = [rings.ring(0), *(rings.ring(k) for k in np.flatnonzero(near).tolist() if k)]
    area = shapely.Polygon(within[0], within[1:])
    if not area.is_valid:
        return [part.solid]
    left = shapely.intersection(
        area, shapely.box(spans[0][0], spans[1][0], spans[0][1], spans[1][1])
    )
    solids = []
    for piece in shapely.get_parts(left).tolist():
        if piece.geom_type != "Polygon" or piece.area <= 0:
            continue
        piece = shapely.geometry.polygon.orient(piece)
        outlines = [
            np.rint(np.asarray(r.coords)[:-1]).astype(np.int64)
            for r in (piece.exterior, *piece.interiors)
        ]
        n = sum(map(len, outlines))
        plain = Rings(
            xy=np.concatenate(outlines),
            start=np.cumsum([0, *map(len, outlines)]),
            role=np.zeros(n, dtype=np.uint8),
            joint=np.full(n, -1, dtype=np.int32),
        )
        solids.append(kernel.panel_solid(part.panel, plain))
    return solids

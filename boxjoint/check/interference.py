"""How much two panels must share when they are cut with the stated clearances, from nominal rings.

A negative clearance makes tabs wider than their slots: seated panels then share space, and how much
follows from the clearances alone. This is worked out here on paper's terms, without the solid kernel
and without the code that compensates outlines, so that a proof on solids can be held against it.

Two square slabs cross in a bar along an axis s. At any s, the one panel keeps some of the mate's
thickness, over its own whole thickness, and the mate likewise; what they share is the product of the
two, summed along s. For tabs alone that is the number of flanks times half the interference times
both thicknesses; the same sum also holds for cheeks, for half-laps, for tips that stand out or stay
shy, and for the small terms where they meet.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from boxjoint.fit.compensate import Allowance
from boxjoint.geometry.rings import Rings, Role
from boxjoint.solve.joints import Joint
from boxjoint.solve.panels import Panel

__all__ = ["SIDE_MM", "Predicted", "area_mm2", "outward_mm", "predict", "predicted_outline"]

Floats = NDArray[np.float64]

_NM = 1e6

SIDE_MM = 2e-6
"""How far a side as cut may lie from where it was asked, mm: half a nanometre of rounding when it is
drawn, half when it is cut, each stretched by the scale (under 2)."""


_BEYOND_MM = 0.5
"""How far from a bar's ends two panels may still share space: more than any clearance moves a side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Predicted:
    """What two panels share, mm3, and how far that may be off through rounding (:data:`SIDE_MM`)."""

    volume: float
    tolerance: float


def outward_mm(role: int, joint: int, allowance: Allowance) -> float:
    """How far a side as cut lies outside its nominal line, mm (section 5 of the design).

    Parameters
    ----------
    role, joint
        Of the nominal side; joint -1 for none.
    """
    if role == Role.FLANK and joint >= 0:
        return -allowance.clearance[joint] / 4
    if role == Role.CHEEK:
        return -allowance.sheet_clearance / 2
    if role == Role.FLOOR:
        return -allowance.floor_relief / 2
    if role == Role.SEAM:
        return -allowance.seam_relief / 2
    if role == Role.TIP:
        return allowance.proud
    if role == Role.SHOULDER:
        return -allowance.shoulder_relief
    return 0.0


def predicted_outline(rings: Rings, allowance: Allowance) -> list[Floats]:
    """Return the outlines that the clearances ask for, as cut.

    Parameters
    ----------
    rings
        Nominal rings, nm, with roles and joints.

    Returns
    -------
    One (p, 2) array of vertices a ring, mm, in the panel's own axes. Where two sides on one line move
    apart, the step between them stands at their nominal vertex.
    """
    along_x, sign = rings.direction()
    line = np.where(along_x, rings.xy[:, 0], rings.xy[:, 1]) / _NM
    line += sign * [
        outward_mm(r, j, allowance)
        for r, j in zip(rings.role.tolist(), rings.joint.tolist(), strict=True)
    ]
    out = []
    before = rings.leading
    for k in range(rings.count):
        vertices: list[tuple[float, float]] = []
        for i in range(int(rings.start[k]), int(rings.start[k + 1])):
            b = int(before[i])
            x, y = (rings.xy[i] / _NM).tolist()
            if along_x[i] and along_x[b]:
                vertices += [(line[b], y), (line[i], y)]
            elif along_x[i]:
                vertices.append((line[i], line[b]))
            elif along_x[b]:
                vertices.append((line[b], line[i]))
            else:
                vertices += [(x, line[b]), (x, line[i])]
        out.append(np.array(vertices))
    return out


def area_mm2(outline: Floats) -> float:
    """Signed area of one ring of vertices (p, 2) in mm, mm2: a hole's is negative."""
    x, y = (outline - outline[0]).T  # near the origin, where less is lost
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)) / 2)


def predict(
    joint: Joint,
    panels: tuple[Panel, Panel],
    outlines: tuple[list[Floats], list[Floats]],
) -> Predicted:
    """Return what the two panels of a joint share when seated, within its bar.

    Parameters
    ----------
    panels
        Of slab ``joint.a`` and of slab ``joint.b``.
    outlines
        Theirs, from :func:`predicted_outline`.
    """
    at: list[Floats] = []
    kept: list[Floats] = []
    area = 0.0  # of all sides that meet in this joint, mm2
    for panel, mate, outline in zip(panels, reversed(panels), outlines, strict=True):
        s, m = _kept(panel, outline, joint.axis, mate)
        at.append(s)
        kept.append(m)
        rings = panel.rings
        length = np.abs(rings.ends - rings.xy).sum(axis=1)[rings.joint == joint.index]
        area += float(length.sum()) / _NM * panel.slab.thickness / _NM
    # a flank at a panel's own edge, which its mate goes on beyond, may reach out of the bar a little
    lo, hi = (v / _NM for v in joint.bar.span(joint.axis))
    lo, hi = lo - _BEYOND_MM, hi + _BEYOND_MM
    cuts = np.unique(np.clip(np.concatenate([*at, np.array([lo, hi])]), lo, hi))
    middle = (cuts[:-1] + cuts[1:]) / 2
    shared = np.ones(len(middle))
    for s, m in zip(at, kept, strict=True):
        shared *= m[np.searchsorted(s, middle, side="right")]
    return Predicted(
        volume=float(np.sum(shared * np.diff(cuts))),
        # both mates' sides may be off
        tolerance=2 * SIDE_MM * area + 1e-6,
    )


def _kept(panel: Panel, outline: list[Floats], axis: int, mate: Panel) -> tuple[Floats, Floats]:
    """How much of the mate's thickness a panel keeps, as a function of the place along ``axis``.

    Returns
    -------
    at
        (e,) ascending, mm, world: where it changes.
    kept
        (e + 1,) mm: its value before the first, between, and after the last.
    """
    frame = panel.frame
    k = frame.axes.index(axis)
    lo, hi = mate.slab.box.span(mate.slab.normal)
    across = [(v - frame.origin[1 - k]) * frame.senses[1 - k] / _NM for v in (lo, hi)]
    places, steps = [np.empty(0)], [np.empty(0)]
    for p in outline:
        q = np.roll(p, -1, axis=0)
        level = np.clip(p[:, 1 - k], min(across), max(across))
        # sides that run along the axis; the normal lies to the right of their travel, and a side
        # whose normal points up bounds the material from above
        travel = np.where(p[:, 1 - k] == q[:, 1 - k], np.sign(q[:, k] - p[:, k]), 0.0)
        bound = (travel if k == 1 else -travel) * level
        ends = [(frame.origin[k] / _NM + frame.senses[k] * e[:, k]) for e in (p, q)]
        places += [np.minimum(*ends), np.maximum(*ends)]
        steps += [bound, -bound]
    at, step = np.concatenate(places), np.concatenate(steps)
    order = np.argsort(at, kind="stable")
    return at[order], np.concatenate([[0.0], np.cumsum(step[order])])

"""Proofs of seams: the pieces are the panel, and fit each other as cut.

1. nominal, exact: along every line of the drawing the signed sides of the pieces add up to those of the
   panel, so the pieces cover every place as often as the panel does, which is 0 or 1 times; and their
   areas add up. Pieces that are one flat part each (``geometry/valid.py``) then share the panel without
   overlap or void;
2. as cut: the gap between every two sides that face each other along a seam, flank by flank and tip by
   tip, is half the clearance, or the relief.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from boxjoint.geometry.rings import Rings, Role
from boxjoint.geometry.valid import ring_problem
from boxjoint.solve.seams import Divided

__all__ = ["SeamAsCut", "joined", "pieces_problem", "seams_as_cut"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeamAsCut:
    """One seam as cut, nm.

    Parameters
    ----------
    panel, pieces
        Names: the panel, and its pieces left and right of the seam.
    joint
        Number that its flanks carry, for its clearance in the plan.
    place
        Its middle, from the left (or lower) end of the panel's drawing.
    along
        Axis of the panel's drawing that it divides.
    steps, width, depth
        Of its steps.
    flanks
        How many pairs of flanks face each other.
    least, greatest
        Slot minus tab: twice the gap at a flank.
    least_relief, greatest_relief
        Between tips and bottoms.
    unmatched
        Sides that face none of the other piece: a fault.
    """

    panel: str
    pieces: tuple[str, str]
    joint: int
    place: int
    along: int
    steps: int
    width: int
    depth: int
    flanks: int
    least: int
    greatest: int
    least_relief: int
    greatest_relief: int
    unmatched: int


def joined(divided: Divided, pieces: Sequence[Rings]) -> Rings:
    """Lay rings of the pieces where they belong in the panel's own drawing, all in one record.

    It holds one outer ring for each piece, so it bounds no single part; it is for measuring sides.
    """
    shifted = [r.xy + np.array(o) for r, o in zip(pieces, divided.offsets, strict=True)]
    sizes = np.concatenate([np.diff(r.start) for r in pieces])
    return Rings(
        xy=np.concatenate(shifted),
        start=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        role=np.concatenate([r.role for r in pieces]),
        joint=np.concatenate([r.joint for r in pieces]),
    )


def _marks(rings: Rings) -> dict[tuple[int, int], dict[int, int]]:
    """By line (axis, place): where the signed sides on it begin and end, those that cancel left out."""
    found: dict[tuple[int, int], dict[int, int]] = defaultdict(lambda: defaultdict(int))
    for (x0, y0), (x1, y1) in zip(rings.xy.tolist(), rings.ends.tolist(), strict=True):
        key, a, b = ((0, x0), y0, y1) if x0 == x1 else ((1, y0), x0, x1)
        found[key][a] += 1  # a side that runs back counts the other way by itself
        found[key][b] -= 1
    whole = {key: {at: n for at, n in marks.items() if n} for key, marks in found.items()}
    return {key: marks for key, marks in whole.items() if marks}


def pieces_problem(divided: Divided) -> str:
    """Say what is wrong with the nominal pieces of a panel; ``""`` when they are exactly the panel."""
    for piece in divided.pieces:
        if (found := ring_problem(piece.rings)) is not None:
            x, y = found[1]
            return f"{piece.name}: {found[0]} at x {x / 1e6:.3f}, y {y / 1e6:.3f} mm"
    rings = joined(divided, [p.rings for p in divided.pieces])
    if _marks(rings) != _marks(divided.panel.rings):
        return f"{divided.panel.name}: its pieces do not cover it exactly once"
    area, whole = sum(p.rings.area for p in divided.pieces), divided.panel.rings.area
    if area != whole:
        return f"{divided.panel.name}: its pieces have {area} nm2 of area, it has {whole}"
    return ""


def seams_as_cut(divided: Divided, as_cut: Sequence[Rings]) -> tuple[SeamAsCut, ...]:
    """Measure every seam of a panel on its pieces as cut, each in its own axes."""
    out = []
    laid = [
        joined(
            Divided(
                panel=divided.panel, pieces=(p,), offsets=(o,), places=(), along=divided.along,
                line=divided.line, joints=(),
            ),
            [rings],
        )
        for p, o, rings in zip(divided.pieces, divided.offsets, as_cut, strict=True)
    ]  # fmt: skip
    line, k = divided.line, divided.along
    for number, (place, joint) in enumerate(zip(divided.places, divided.joints, strict=True)):
        one, other = laid[number], laid[number + 1]
        flank_gaps, unmatched = _gaps(one, other, Role.FLANK, joint, 1 - k)
        relief_gaps, more = _gaps(one, other, Role.SEAM, joint, k)
        out.append(
            SeamAsCut(
                panel=divided.panel.name,
                pieces=(divided.pieces[number].name, divided.pieces[number + 1].name),
                joint=joint,
                place=place,
                along=k,
                steps=line.steps,
                width=line.width,
                depth=2 * line.half,
                flanks=len(flank_gaps),
                least=2 * min(flank_gaps, default=0),
                greatest=2 * max(flank_gaps, default=0),
                least_relief=min(relief_gaps, default=0),
                greatest_relief=max(relief_gaps, default=0),
                unmatched=unmatched + more,
            )
        )
    return tuple(out)


def _gaps(one: Rings, other: Rings, role: Role, joint: int, axis: int) -> tuple[list[int], int]:
    """Gaps between sides of two pieces that face each other, and how many face none."""
    sides = []
    for rings in (one, other):
        along_x, sign = rings.direction()
        pick = (rings.role == role) & (rings.joint == joint) & (along_x == (axis == 0))
        place = rings.xy[:, axis]
        # flanks follow each other in their places, tips and bottoms in where they lie across
        across = (rings.xy[:, 1 - axis] + rings.ends[:, 1 - axis]) // 2
        key = place if role == Role.FLANK else across
        rows = sorted(zip(*(v[pick].tolist() for v in (key, place, sign)), strict=True))
        sides.append(rows)
    if len(sides[0]) != len(sides[1]):
        return [], abs(len(sides[0]) - len(sides[1]))
    gaps, wrong = [], 0
    for (_, p, s), (_, q, r) in zip(*sides, strict=True):
        if s == r:
            wrong += 1
        gaps.append((q - p) * s)
    return gaps, wrong

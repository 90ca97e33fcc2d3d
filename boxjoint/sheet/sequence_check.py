"""Prove a cut sequence on the real outlines, sharing nothing with the search.

The search orders by what the caller says of parts and by extents. Here every outline drops what is
inside it at the moment it is closed, found by points in polygons in whole nanometres; a cut that
comes later and lies inside has lost its footing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from boxjoint.errors import ProofFailed
from boxjoint.geometry.rings import Ints
from boxjoint.sheet.cuts import Cut, CutKind, Step

__all__ = ["check_sequence", "points_inside", "sequence_faults"]


def points_inside(points: Ints, ring: Ints) -> NDArray[np.bool_]:
    """Which points lie strictly inside a closed polygon; exact.

    Parameters
    ----------
    points
        (p, 2) int64.
    ring
        (n, 2) int64, the first point not repeated; it may run either way.

    Returns
    -------
    (p,) bool; False for a point on the outline.
    """
    a = ring
    b = np.roll(ring, -1, axis=0)
    px, py = points[:, :1], points[:, 1:]
    ax, ay, bx, by = a[:, 0], a[:, 1], b[:, 0], b[:, 1]
    met = (ay <= py) != (by <= py)  # the side goes across the height of the point
    right = met & (ax > px) & (bx > px)
    # beside the side's own extent the answer is plain; within it the cross product decides
    unsure = met & ~right & ((ax >= px) | (bx >= px))
    crossings = right.sum(axis=1)
    on = np.zeros(len(points), dtype=np.bool_)
    for k, i in zip(*np.nonzero(unsure), strict=True):
        x, y = points[k].tolist()
        (x0, y0), (x1, y1) = a[i].tolist(), b[i].tolist()
        turn = (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)  # Python integers: no overflow
        on[k] |= turn == 0
        crossings[k] += turn > 0 if y1 > y0 else turn < 0
    level = (ay == by) & (ay == py) & (np.minimum(ax, bx) <= px) & (px <= np.maximum(ax, bx))
    corner = (ax == px) & (ay == py)
    on |= (level | corner).any(axis=1)
    inside: NDArray[np.bool_] = (crossings % 2 == 1) & ~on
    return inside


def _outline(cut: Cut) -> Ints | None:
    """What drops out when the cut is done; ``None`` where nothing does."""
    if cut.kind is CutKind.MARK:
        return None
    if cut.ring is not None:
        return cut.ring
    return cut.flat() if cut.closed else None


def sequence_faults(cuts: Sequence[Cut], steps: Sequence[Step]) -> list[str]:
    """Everything wrong with a sequence, in words; empty where nothing is.

    Checked: every cut comes once; the beam starts at an allowed vertex, an open path at an end and
    runs to the other; all marks come first; no cut has a point inside an outline that was cut
    before it. Pieces of an outline with bridges drop nothing, but count as if they did.
    """
    faults = []
    when: dict[int, int] = {}
    for t, step in enumerate(steps):
        if not 0 <= step.cut < len(cuts):
            faults.append(f"step {t + 1} names cut {step.cut}, which there is not")
        elif step.cut in when:
            faults.append(
                f"{cuts[step.cut].name} is cut twice: steps {when[step.cut] + 1}, {t + 1}"
            )
        else:
            when[step.cut] = t
            faults += _entry_faults(cuts[step.cut], step, t)
    faults += [f"{cut.name} is never cut" for i, cut in enumerate(cuts) if i not in when]
    marks = [when[i] for i in when if cuts[i].kind is CutKind.MARK]
    for i in sorted(when, key=when.__getitem__):
        if cuts[i].kind is not CutKind.MARK and marks and when[i] < max(marks):
            faults.append(
                f"{cuts[i].name} (step {when[i] + 1}) comes before a mark (step {max(marks) + 1})"
            )
            break
    return faults + _loose_faults(cuts, when)


def _entry_faults(cut: Cut, step: Step, t: int) -> list[str]:
    last = len(cut.path) - 1
    if not 0 <= step.entry <= last:
        return [f"step {t + 1} starts {cut.name} at vertex {step.entry} of {last + 1}"]
    found = []
    if cut.entries is not None and not cut.entries[step.entry]:
        found.append(f"step {t + 1} starts {cut.name} at vertex {step.entry}: not allowed there")
    if not cut.closed and step.entry != (last if step.reverse else 0):
        found.append(f"step {t + 1} starts {cut.name} at neither end, or runs off the path")
    return found


def _loose_faults(cuts: Sequence[Cut], when: dict[int, int]) -> list[str]:
    index = sorted(when, key=when.__getitem__)
    if not index:
        return []
    flat = [cuts[i].flat() for i in index]
    box = np.array([[*p.min(axis=0), *p.max(axis=0)] for p in flat], dtype=np.int64)
    faults = []
    for early, i in enumerate(index):
        ring = _outline(cuts[i])
        if ring is None:
            continue
        lo, hi = ring.min(axis=0), ring.max(axis=0)
        later = box[early + 1 :]
        near = (later[:, :2] <= hi).all(axis=1) & (later[:, 2:] >= lo).all(axis=1)
        for late in (np.nonzero(near)[0] + early + 1).tolist():
            other = cuts[index[late]]
            if _reaches_into(flat[late], other.closed, ring):
                faults.append(
                    f"{other.name} (step {late + 1}) is cut after {cuts[i].name} "
                    f"(step {early + 1}), in which it lies, has come loose"
                )
    return faults


def _reaches_into(path: Ints, closed: bool, ring: Ints) -> bool:
    """Whether any vertex of a path, or the middle of any of its sides, lies inside a ring."""
    if points_inside(path, ring).any():
        return True
    after = np.roll(path, -1, axis=0) if closed else path[1:]
    before = path if closed else path[:-1]
    # doubled, so that middles are whole numbers too
    return bool(points_inside(before + after, 2 * ring).any())


def check_sequence(cuts: Sequence[Cut], steps: Sequence[Step]) -> None:
    """Raise :class:`~boxjoint.errors.ProofFailed` with all faults of a sequence."""
    faults = sequence_faults(cuts, steps)
    if faults:
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        raise ProofFailed(f"the cut sequence is wrong: {faults[0]}{more}", faults=tuple(faults))

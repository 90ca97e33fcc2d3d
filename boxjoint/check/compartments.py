"""Compartments as cut: how far apart the stock faces stand that bound them.

A divider is placed by the slots that take it, a wall by the shoulders that bear on it or, beside a loose
divider, by the clearance that is left. What a sheet does in its slot is not known, so the size of a
compartment is a range: in the middle of their slots at the mean, the thinnest and the thickest reading,
and pushed together or apart as far as slots and clearance allow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from boxjoint.check.as_cut import world_sides
from boxjoint.geometry.rings import Ints, Rings, Role
from boxjoint.job.records import Thickness
from boxjoint.solve.arrangement import InsideBlock
from boxjoint.solve.solution import Solution

__all__ = ["CompartmentAsCut", "Readings", "compartments_as_cut"]

Readings = Callable[[str], Thickness]
"""From the name of a panel to its thickness."""

_Sides = tuple[Ints, Ints, Ints, Ints]


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentAsCut:
    """One compartment, or the inside where a slot places one of its ends, along one axis; all nm.

    Parameters
    ----------
    block
        Name of a block that it bounds; of compartments in one row, the first.
    number
        Counted from 1 along the axis; 0 for the inside.
    asked
        Face to face, nominal.
    lower, upper
        The panels at its ends; empty where the rim ends it.
    mean, thinnest, thickest
        With both sheets in the middle of their slots, at the mean and at the extreme readings.
    least, greatest
        With both sheets pushed together, and apart, as far as their slots allow.
    binds
        The panel whose slots give the least; empty where no one panel holds both ends, and then
        nothing is known as cut.
    """

    block: str
    number: int
    axis: int
    asked: int
    lower: str
    upper: str
    mean: int = 0
    thinnest: int = 0
    thickest: int = 0
    least: int = 0
    greatest: int = 0
    binds: str = ""


@dataclass(frozen=True, slots=True)
class _Face:
    """Where a stock face stands in the frame of the panel that places it, nm along the axis."""

    mean: float
    thinnest: float
    thickest: float
    low: float
    high: float


def compartments_as_cut(
    solution: Solution, as_cut: Sequence[Rings], readings: Readings
) -> tuple[CompartmentAsCut, ...]:
    """Measure every compartment on the parts.

    Parameters
    ----------
    solution
        The nominal solution.
    as_cut
        Rings as cut, in the sequence of ``solution.panels``, each in its own axes.
    readings
        Gives the thickness of a panel.

    Returns
    -------
    One record for each compartment along x and each along y that a guest bounds (all compartments in
    one row share their ends), and one for the inside along z where a raised base ends it.
    """
    found: dict[tuple[int, int, int], CompartmentAsCut] = {}
    hosts = _Hosts(solution, as_cut, readings)
    for block in solution.arrangement.insides:
        for axis in (0, 1) if block.compartment else (0, 1, 2):
            key = (axis, *block.box.span(axis))
            if key in found:
                continue
            one = _measure(solution, hosts, block, axis)
            if one is not None:
                found[key] = one
    return tuple(sorted(found.values(), key=lambda c: (c.axis, c.number)))


class _Hosts:
    """For every panel, the sides as cut that place others, by axis and mate."""

    def __init__(self, solution: Solution, as_cut: Sequence[Rings], readings: Readings) -> None:
        self.solution = solution
        self.as_cut = as_cut
        self.readings = readings
        self.sides: dict[tuple[int, int], _Sides] = {}
        self.faces: dict[tuple[int, int, int], _Face | None] = {}
        self.joint: dict[tuple[int, int], int] = {}
        self.mates: dict[int, set[int]] = {}
        for j in solution.joints:
            self.joint[j.a, j.b] = self.joint[j.b, j.a] = j.index
            self.mates.setdefault(j.a, set()).add(j.b)
            self.mates.setdefault(j.b, set()).add(j.a)

    def _of_joint(self, host: int, axis: int, joint: int) -> _Sides:
        key = (host, axis)
        if key not in self.sides:
            sides = world_sides(self.solution.panels[host], self.as_cut[host], axis)
            order = np.argsort(sides[3], kind="stable")
            self.sides[key] = (sides[0][order], sides[1][order], sides[2][order], sides[3][order])
        place, sense, role, index = self.sides[key]
        here = slice(*np.searchsorted(index, (joint, joint + 1)).tolist())
        return place[here], sense[here], role[here], index[here]

    def face(self, host: int, slab: int, sense: int) -> _Face | None:
        """Where the face of ``slab`` that looks along ``sense`` stands, as ``host`` places it."""
        key = (host, slab, sense)
        if key not in self.faces:
            self.faces[key] = self._face(*key)
        return self.faces[key]

    def _face(self, host: int, slab: int, sense: int) -> _Face | None:
        mate = self.solution.arrangement.slabs[slab]
        panel = self.solution.panels[host]
        joint = self.joint.get((host, slab))
        if mate.normal not in panel.frame.axes:
            return None
        if joint is None:
            return self._beside(host, slab, sense)
        place, out, role, _ = self._of_joint(host, mate.normal, joint)
        cheek = role == Role.CHEEK
        below, above = place[cheek & (out > 0)], place[cheek & (out < 0)]
        if len(below) and len(above):
            t = self.readings(mate.name)
            lo, hi = float(below.max()), float(above.min())
            middle = (lo + hi) / 2
            # pushed to either cheek; a sheet thicker than its slot stays squeezed in the middle
            if sense > 0:
                low = min(lo + t.least, middle + t.least / 2)
                high = max(hi, middle + t.greatest / 2)
            else:
                low = min(lo, middle - t.greatest / 2)
                high = max(hi - t.least, middle - t.least / 2)
            return _Face(
                mean=middle + sense * t.nm / 2,
                thinnest=middle + sense * t.least / 2,
                thickest=middle + sense * t.greatest / 2,
                low=low,
                high=high,
            )
        bears = place[(role == Role.SHOULDER) & (out == -sense)]
        if panel.slab.guest or not len(bears):
            return None
        # the shoulder that stands out farthest bears
        at = float(bears.min() if sense > 0 else bears.max())
        return _Face(at, at, at, at, at)

    def _beside(self, host: int, slab: int, sense: int) -> _Face | None:
        """Where the face of a wall stands that a loose guest ends short of: anywhere in its clearance.

        A guest stands in the middle nominally; it may move to either wall.
        """
        panel, wall = self.solution.panels[host], self.solution.arrangement.slabs[slab]
        axis = wall.normal
        face = wall.box.hi[axis] if sense > 0 else wall.box.lo[axis]
        end = panel.slab.box.lo[axis] if sense > 0 else panel.slab.box.hi[axis]
        gap = (end - face) * sense
        if not panel.slab.guest or gap < 0:
            return None
        place, out, role, _ = self._of_joint(host, axis, -1)
        ends = place[(role == Role.RIM) & (out == -sense)]
        if not len(ends):
            return None
        at = float(ends.min() if sense > 0 else ends.max())
        low, high = sorted((at, at - sense * 2 * gap))
        middle = at - sense * gap
        return _Face(middle, middle, middle, low, high)

    def rim(self, host: int, axis: int, sense: int, nominal: int) -> _Face | None:
        """Where the rim of a host ends, at its side that looks along ``sense``."""
        panel = self.solution.panels[host]
        if axis not in panel.frame.axes or panel.slab.guest:
            return None
        if (panel.slab.box.hi if sense > 0 else panel.slab.box.lo)[axis] != nominal:
            return None
        place, out, role, _ = self._of_joint(host, axis, -1)
        ends = place[(role == Role.RIM) & (out == sense)]
        if not len(ends):
            return None
        at = float(ends.max() if sense > 0 else ends.min())
        return _Face(at, at, at, at, at)


def _measure(
    solution: Solution, hosts: _Hosts, block: InsideBlock, axis: int
) -> CompartmentAsCut | None:
    """Measure one block along one axis; ``None`` where shoulders hold both its ends."""
    slabs = solution.arrangement.slabs
    lo, hi = block.box.span(axis)
    lower = _closer(solution, block, axis, -1)
    upper = _closer(solution, block, axis, 1)
    if lower is None or (upper is None and (axis, 1) not in block.open):
        return None
    ends = [lower] if upper is None else [lower, upper]
    near = hosts.mates.get(lower, set())
    loose = {i for i, s in enumerate(slabs) if s.guest} if block.gap else set()
    raised = axis == 2 and any(
        not solution.joints[hosts.joint[lower, mate]].at_edge(mate) for mate in near
    )
    if not raised and not any(slabs[s].guest for s in ends):
        return None
    best: CompartmentAsCut | None = None
    numbers = {
        "block": block.name,
        "number": 0 if block.compartment is None or axis == 2 else block.compartment[axis],
        "axis": axis,
        "asked": hi - lo,
    }
    names = (slabs[lower].name, "" if upper is None else slabs[upper].name)
    if upper is not None:
        near = (near | loose) & (hosts.mates.get(upper, set()) | loose)
    for host in sorted(near):
        below = hosts.face(host, lower, 1)
        above = (
            hosts.rim(host, axis, 1, hi + block.rim)
            if upper is None
            else hosts.face(host, upper, -1)
        )
        if below is None or above is None:
            continue
        # the walls may stand up above what was asked for, to take a lip or the cheeks of a lid
        over = block.rim if upper is None else 0
        one = CompartmentAsCut(
            **numbers,  # type: ignore[arg-type]
            lower=names[0],
            upper=names[1],
            mean=round(above.mean - below.mean) - over,
            thinnest=round(above.thinnest - below.thinnest) - over,
            thickest=round(above.thickest - below.thickest) - over,
            least=round(above.low - below.high) - over,
            greatest=round(above.high - below.low) - over,
            binds=slabs[host].name,
        )
        if best is None or (one.least, one.mean) < (best.least, best.mean):
            best = one
    return best or CompartmentAsCut(**numbers, lower=names[0], upper=names[1])  # type: ignore[arg-type]


def _closer(solution: Solution, block: InsideBlock, axis: int, sense: int) -> int | None:
    """The slab whose face lies against an end of a block."""
    face = block.box.hi[axis] if sense > 0 else block.box.lo[axis]
    for i, slab in enumerate(solution.arrangement.slabs):
        own = slab.box.lo[axis] if sense > 0 else slab.box.hi[axis]
        if slab.normal == axis and own == face and _beside(slab.box.lo, slab.box.hi, block, axis):
            return i
    return None


def _beside(lo: Sequence[int], hi: Sequence[int], block: InsideBlock, axis: int) -> bool:
    return all(lo[k] < block.box.hi[k] and hi[k] > block.box.lo[k] for k in range(3) if k != axis)

"""Joints and corners of an arrangement: where slabs cross, and who owns the crossing of three.

Two slabs with different normals that overlap make a joint: a cuboid bar whose length runs along the
third axis. Its kind is geometric and there is no other kind:

========  =========================  ==========================================================
finger    bar at the edge of both    odd number of segments, ends owned by the stronger
mortise   bar at the edge of one     that one's tabs in mortises of the other, which owns both ends
halflap   bar inside both            two segments; the stronger keeps the lower one
========  =========================  ==========================================================

A corner is where three slabs cross. It lies at the end of, or inside, each of its three bars:

=============================  ===================================  ==========================
at the end of                  owner                                bars that it splits
=============================  ===================================  ==========================
all three                      strongest that owns a segment there  all three
two (inside exactly one)       the segments of that one bar         the other two
one (inside two)               the slab common to those two         all three
none (inside all three)        strongest                            all three
=============================  ===================================  ==========================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from boxjoint.errors import ArrangementError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.solve.arrangement import Arrangement, place_text

__all__ = ["Corner", "Joint", "Kind", "Run", "find_corners", "find_joints"]

Kind = Literal["finger", "mortise", "halflap"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """Two slabs that cross.

    Parameters
    ----------
    index
        Position in the list of joints.
    a, b
        Indices of the slabs, ``a`` the stronger.
    axis
        Along which the bar runs.
    bar
        The shared space, nm.
    kind
        See the module's table.
    edge_a, edge_b
        Whether the bar lies at the edge of ``a``, of ``b``.
    """

    index: int
    a: int
    b: int
    axis: int
    bar: Cuboid
    kind: Kind
    edge_a: bool
    edge_b: bool

    @property
    def first(self) -> int:
        """The slab that owns the ends (of a half-lap: the lower segment)."""
        return self.b if self.kind == "mortise" and self.edge_a else self.a

    @property
    def second(self) -> int:
        """The other slab."""
        return self.b if self.first == self.a else self.a

    @property
    def length(self) -> int:
        """Length of the bar, nm."""
        lo, hi = self.bar.span(self.axis)
        return hi - lo

    def at_edge(self, slab: int) -> bool:
        """Whether the bar lies at the edge of ``slab``."""
        return self.edge_a if slab == self.a else self.edge_b

    def mate(self, slab: int) -> int:
        """The other slab."""
        return self.b if slab == self.a else self.a


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """Three slabs that cross.

    ``joints[k]`` is the bar between ``slabs[k - 2]`` and ``slabs[k - 1]``, the one that runs along
    the normal of ``slabs[k]``. ``owner`` is -1 where ``through`` (a joint) runs on undisturbed, and
    -2 until the segments are known (see ``boxjoint.solve.tabs``).
    """

    slabs: tuple[int, int, int]
    joints: tuple[int, int, int]
    box: Cuboid
    at_end: tuple[bool, bool, bool]
    owner: int
    through: int = -1

    def splits(self, joint: int) -> bool:
        """Whether the bar of ``joint`` is split here."""
        return joint != self.through


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """A stretch of a bar between corners that split it, nm along the joint's axis.

    ``before`` and ``behind`` are the lengths of the corners at its ends, 0 at a free end.
    """

    lo: int
    hi: int
    before: int
    behind: int

    @property
    def length(self) -> int:
        """Length, nm."""
        return self.hi - self.lo


def find_joints(arrangement: Arrangement) -> tuple[Joint, ...]:
    """Return all joints of the arrangement, by (stronger, weaker) slab."""
    joints: list[Joint] = []
    slabs = arrangement.slabs
    for i, j in arrangement.overlaps():
        a, b = slabs[i], slabs[j]
        bar = a.box.common(b.box)
        if bar is None:
            continue
        edge_a = _at_edge(a.box, b.box, b.normal)
        edge_b = _at_edge(b.box, a.box, a.normal)
        kind: Kind = "finger" if edge_a and edge_b else "mortise" if edge_a or edge_b else "halflap"
        joints.append(
            Joint(
                index=len(joints),
                a=i,
                b=j,
                axis=3 - a.normal - b.normal,
                bar=bar,
                kind=kind,
                edge_a=edge_a,
                edge_b=edge_b,
            )
        )
    return tuple(joints)


def _at_edge(box: Cuboid, mate: Cuboid, axis: int) -> bool:
    return box.lo[axis] == mate.lo[axis] or box.hi[axis] == mate.hi[axis]


def find_corners(arrangement: Arrangement, joints: tuple[Joint, ...]) -> tuple[Corner, ...]:
    """Return all corners, by the indices of their slabs.

    Boxes that meet pair by pair have common space (Helly), so corners are the triangles in the graph
    of joints.
    """
    mates: dict[int, dict[int, int]] = {}
    for joint in joints:
        mates.setdefault(joint.a, {})[joint.b] = joint.index
    corners = []
    for joint in joints:
        i, j = joint.a, joint.b
        further = mates.get(j, {})
        for k, ik in mates[i].items():
            if k > j and k in further:
                corners.append(
                    _corner(arrangement, joints, (i, j, k), (further[k], ik, joint.index))
                )
    corners.sort(key=lambda c: c.slabs)
    return tuple(corners)


def _corner(
    arrangement: Arrangement,
    joints: tuple[Joint, ...],
    slabs: tuple[int, int, int],
    around: tuple[int, int, int],
) -> Corner:
    third = arrangement.slabs[slabs[2]]
    box = joints[around[2]].bar.common(third.box)
    if box is None:
        names = ", ".join(arrangement.slabs[s].name for s in slabs)
        raise ArrangementError("three slabs that meet in pairs share no space", value=names)
    at_end = tuple(_at_edge(joints[around[k]].bar, box, joints[around[k]].axis) for k in range(3))
    inside = [k for k in range(3) if not at_end[k]]
    owner, through = -2, -1
    if len(inside) == 1:
        owner, through = -1, around[inside[0]]
    elif len(inside) == 2:
        # bar k joins the two slabs other than slabs[k]; the slab common to two bars is the third
        owner = slabs[3 - inside[0] - inside[1]]
    elif len(inside) == 3:
        owner = min(slabs)
    return Corner(
        slabs=slabs,
        joints=around,
        box=box,
        at_end=(at_end[0], at_end[1], at_end[2]),
        owner=owner,
        through=through,
    )


def runs_of(joint: Joint, corners: list[Corner], names: tuple[str, str]) -> tuple[Run, ...]:
    """Return the runs of a bar, given the corners that split it and its panels' names.

    Raises
    ------
    ArrangementError
        When corners leave nothing of the bar.
    """
    lo, hi = joint.bar.span(joint.axis)
    cuts = sorted(c.box.span(joint.axis) for c in corners)
    runs = []
    at, before = lo, 0
    for c0, c1 in cuts:
        if c0 > at:
            runs.append(Run(lo=at, hi=c0, before=before, behind=c1 - c0))
            before = 0
        before = (before if c0 == at and at != lo else 0) + c1 - c0
        at = c1
    if at < hi:
        runs.append(Run(lo=at, hi=hi, before=before, behind=0))
    if not runs:
        raise ArrangementError(
            f"corners leave nothing of the joint between {names[0]} and {names[1]}",
            where=place_text(joint.bar),
            do="make the slabs longer where they meet",
            panels=names,
        )
    return tuple(runs)

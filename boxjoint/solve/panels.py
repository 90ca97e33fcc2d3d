"""Panels: each slab less every segment and corner that another slab owns, as rings with roles.

The role of a side follows from the cell across it. Owned by a slab whose normal is the side's (a
stock face): cheek where the bar lies inside this panel, so that it has material on the mate's other
face too, else shoulder. Owned by a slab of another normal (a cut edge): floor in a half-lap, else
flank. Owned by nobody: tip where the side lies in the outer face of a mate, box corners included,
else rim. A corner that the segments of one bar run through may be owned by both its slabs in turn;
towards the third slab both count as stock faces, since a cut edge there would only stand back.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from boxjoint.errors import ArrangementError
from boxjoint.geometry.rings import Ints, Rings, Role, cut_rectangles, label
from boxjoint.solve.arrangement import Arrangement, Slab, place_text
from boxjoint.solve.joints import Corner, Joint
from boxjoint.solve.tabs import JointTabs

__all__ = ["Frame", "Panel", "make_panels"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where a panel's drawing lies in the world.

    The drawing's origin is the lower left corner of the slab as seen from outside. ``axes`` and
    ``senses`` are those of the drawing's right and up; ``origin`` is the world coordinate of the
    drawing's zero on these axes, nm.
    """

    axes: tuple[int, int]
    senses: tuple[int, int]
    origin: tuple[int, int]

    @classmethod
    def of(cls, slab: Slab) -> Frame:
        """Return the frame of a slab."""
        (ax, sx), (ay, sy) = slab.plane
        lo, hi = slab.box.lo, slab.box.hi
        return cls(
            axes=(ax, ay),
            senses=(sx, sy),
            origin=(lo[ax] if sx > 0 else hi[ax], lo[ay] if sy > 0 else hi[ay]),
        )

    def to_drawing(self, axis: int, lo: Ints, hi: Ints) -> tuple[int, Ints, Ints]:
        """Map spans along a world axis to (drawing axis 0|1, lo, hi), nm."""
        k = self.axes.index(axis)
        if self.senses[k] > 0:
            return k, lo - self.origin[k], hi - self.origin[k]
        return k, self.origin[k] - hi, self.origin[k] - lo

    def to_world(self, xy: Ints) -> tuple[Ints, Ints]:
        """Map drawing coordinates (n, 2) to world coordinates on ``axes``, (n,) each, nm."""
        return (
            self.origin[0] + self.senses[0] * xy[:, 0],
            self.origin[1] + self.senses[1] * xy[:, 1],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """One flat part: the nominal rings of a slab in its own drawing frame."""

    slab: Slab
    frame: Frame
    rings: Rings

    @property
    def name(self) -> str:
        """The slab's name."""
        return self.slab.name

    @property
    def size(self) -> tuple[int, int]:
        """(right, up) extent of the slab's rectangle, nm."""
        s = self.slab.box.size
        return s[self.frame.axes[0]], s[self.frame.axes[1]]


def make_panels(
    arrangement: Arrangement,
    joints: tuple[Joint, ...],
    corners: tuple[Corner, ...],
    tabs: tuple[JointTabs, ...],
    owners: tuple[int, ...],
) -> tuple[Panel, ...]:
    """Make the panel of every slab.

    Raises
    ------
    ArrangementError
        When a panel is not in one piece, or nothing is left of it; names it and the place.
    """
    own: list[list[Joint]] = [[] for _ in arrangement.slabs]
    for joint in joints:
        own[joint.a].append(joint)
        own[joint.b].append(joint)
    met: list[list[tuple[Corner, int]]] = [[] for _ in arrangement.slabs]
    for corner, owner in zip(corners, owners, strict=True):
        for s in corner.slabs:
            if owner != s and (
                owner >= 0 or s not in (joints[corner.through].a, joints[corner.through].b)
            ):
                met[s].append((corner, owner))
    return tuple(
        _panel(arrangement, i, own, met[i], joints, tabs) for i in range(len(arrangement.slabs))
    )


def _panel(
    arrangement: Arrangement,
    index: int,
    by_slab: list[list[Joint]],
    met: list[tuple[Corner, int]],
    joints: tuple[Joint, ...],
    tabs: tuple[JointTabs, ...],
) -> Panel:
    slab = arrangement.slabs[index]
    frame = Frame.of(slab)
    own = by_slab[index]
    pieces: list[Ints] = []
    tags_x: list[Ints] = []
    tags_y: list[Ints] = []
    for joint in own:
        mate = joint.mate(index)
        lost = tabs[joint.index].owner == mate
        n = int(np.count_nonzero(lost))
        if n == 0:
            continue
        normal = arrangement.slabs[mate].normal
        k, lo, hi = frame.to_drawing(
            joint.axis, tabs[joint.index].lo[lost], tabs[joint.index].hi[lost]
        )
        across = _span(frame, normal, joint.bar.span(normal))
        piece = np.empty((n, 4), dtype=np.int64)
        piece[:, k], piece[:, k + 2] = lo, hi
        piece[:, 1 - k], piece[:, 3 - k] = across
        pieces.append(piece)
        face = label(Role.SHOULDER if joint.at_edge(index) else Role.CHEEK, joint.index)
        edge = label(Role.FLOOR if joint.kind == "halflap" else Role.FLANK, joint.index)
        tag = (edge, face) if k == 0 else (face, edge)
        tags_x.append(np.full(n, tag[0], dtype=np.int64))
        tags_y.append(np.full(n, tag[1], dtype=np.int64))
    for corner, owner in met:
        piece = np.empty((1, 4), dtype=np.int64)
        tag2 = [0, 0]
        for s in corner.slabs:
            if s == index:
                continue
            joint = _joint_between(corner, joints, index, s)
            normal = arrangement.slabs[s].normal
            k = frame.axes.index(normal)
            piece[0, [k, k + 2]] = _span(frame, normal, corner.box.span(normal))
            # towards the owner's stock face, or either's where segments run through
            if owner in (-1, s):
                face = Role.SHOULDER if joint.at_edge(index) else Role.CHEEK
                tag2[k] = label(face, joint.index)
            else:
                between = _joint_between(corner, joints, index, owner)
                edge_role = Role.FLOOR if between.kind == "halflap" else Role.FLANK
                tag2[k] = label(edge_role, between.index)
        pieces.append(piece)
        tags_x.append(np.array([tag2[0]], dtype=np.int64))
        tags_y.append(np.array([tag2[1]], dtype=np.int64))
    none = np.empty(0, dtype=np.int64)
    rings = cut_rectangles(
        _outer_edges(arrangement, frame, index, by_slab, tabs),
        np.concatenate(pieces) if pieces else np.empty((0, 4), dtype=np.int64),
        np.concatenate(tags_x) if tags_x else none,
        np.concatenate(tags_y) if tags_y else none,
    )
    panel = Panel(slab=slab, frame=frame, rings=rings)
    _refuse_pieces(panel)
    return panel


def _span(frame: Frame, axis: int, span: tuple[int, int]) -> tuple[int, int]:
    k = frame.axes.index(axis)
    at = frame.origin[k]
    return (span[0] - at, span[1] - at) if frame.senses[k] > 0 else (at - span[1], at - span[0])


def _joint_between(corner: Corner, joints: tuple[Joint, ...], s: int, t: int) -> Joint:
    for j in corner.joints:
        if {joints[j].a, joints[j].b} == {s, t}:
            return joints[j]
    raise ArrangementError("a corner without the joint between two of its slabs")  # unreachable


def _outer_edges(
    arrangement: Arrangement,
    frame: Frame,
    index: int,
    by_slab: list[list[Joint]],
    tabs: tuple[JointTabs, ...],
) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Return the slab's four edges in pieces.

    Flanks (floors in a half-lap) where a mate goes on beyond the edge, so that its own cut edge lies
    across; else tips along the bars at the edge; rims elsewhere.
    """
    slab = arrangement.slabs[index]
    size = [slab.box.size[a] for a in frame.axes]
    rows: list[tuple[int, int, int, int, int]] = []
    for k in (0, 1):
        for line in (0, size[k]):
            tips: list[tuple[int, int, int]] = []
            beyond: list[tuple[int, int, int]] = []
            for joint in by_slab[index]:
                mate = arrangement.slabs[joint.mate(index)]
                if frame.axes[k] == mate.normal:
                    across = _span(frame, mate.normal, joint.bar.span(mate.normal))
                    if joint.at_edge(index) and line in across:
                        along = _span(frame, joint.axis, joint.bar.span(joint.axis))
                        tips.append((*along, label(Role.TIP, joint.index)))
                else:
                    reach = _span(frame, joint.axis, mate.box.span(joint.axis))
                    if reach[0] < line < reach[1] and _goes_on(
                        arrangement,
                        joint,
                        index,
                        frame.origin[k] + frame.senses[k] * line,
                        by_slab,
                        tabs,
                    ):
                        edge = Role.FLOOR if joint.kind == "halflap" else Role.FLANK
                        along = _span(frame, mate.normal, joint.bar.span(mate.normal))
                        beyond.append((*along, label(edge, joint.index)))
            marks = {0, size[1 - k]}
            for lo, hi, _ in (*tips, *beyond):
                marks |= {lo, hi}
            places = sorted(marks)
            for lo, hi in pairwise(places):
                found = [t for a, b, t in (*beyond, *tips) if a <= lo and hi <= b]
                rows.append((k, line, lo, hi, found[0] if found else label(Role.RIM)))
    table = np.array(rows, dtype=np.int64)
    return table[:, 0], table[:, 1], table[:, 2], table[:, 3], table[:, 4]


def _goes_on(
    arrangement: Arrangement,
    joint: Joint,
    index: int,
    edge: int,
    by_slab: list[list[Joint]],
    tabs: tuple[JointTabs, ...],
) -> bool:
    """Whether the mate really has material beyond the slab's edge, at ``edge`` on the joint's axis.

    Another slab that only touches the edge may cross the mate there and own the place.
    """
    mate = joint.mate(index)
    through = arrangement.slabs[index].box.span(arrangement.slabs[index].normal)
    for other in by_slab[mate]:
        third = arrangement.slabs[other.mate(mate)]
        if third.normal != joint.axis or edge not in third.box.span(joint.axis):
            continue
        if other.mate(mate) == index or third.box.common(arrangement.slabs[index].box):
            continue
        t = tabs[other.index]
        here = (t.lo < through[1]) & (t.hi > through[0])
        if here.any() and not (t.owner[here] == mate).all():
            return False
    return True


def _refuse_pieces(panel: Panel) -> None:
    rings = panel.rings
    if len(rings) == 0:
        raise ArrangementError(
            f"nothing is left of panel {panel.name}",
            where=place_text(panel.slab.box),
            do="give the panel a higher rank, or make it larger",
            panels=(panel.name,),
        )
    solid = [k for k in range(rings.count) if rings.ring_area(k) > 0] if rings.count > 1 else [0]
    if len(solid) == 1:
        return
    areas = {k: rings.ring_area(k) for k in solid}
    loose = min(solid, key=lambda k: areas[k])
    p = rings.ring(loose)
    x0, y0 = (p.min(axis=0) / 1e6).tolist()
    x1, y1 = (p.max(axis=0) / 1e6).tolist()
    raise ArrangementError(
        f"panel {panel.name} falls into {len(solid)} pieces",
        where=f"x {x0:.6g} to {x1:.6g} mm, y {y0:.6g} to {y1:.6g} mm on the panel",
        value=f"loose piece of {areas[loose] / 1e12:.4g} mm2",
        limit="touching in a point does not hold",
        do="give the panel a higher rank, or ask for other segments",
        panels=(panel.name,),
    )

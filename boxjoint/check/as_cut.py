"""What the virtual cut leaves: clearances on every joint, inside sizes, webs and necks.

Everything here is measured on rings as cut, in the world frame of the nominal box: a panel seated on
its shoulders lies where its nominal outline lies.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from boxjoint.geometry.rings import Ints, Rings, Role
from boxjoint.solve.arrangement import InsideBlock, Slab
from boxjoint.solve.panels import Panel
from boxjoint.solve.solution import Solution

__all__ = [
    "InsideAsCut",
    "JointAsCut",
    "SheetAsCut",
    "SideOff",
    "Web",
    "inside_as_cut",
    "joints_as_cut",
    "least_void",
    "least_web",
    "sheets_as_cut",
    "sides_off",
    "world_sides",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class JointAsCut:
    """Slot minus tab on one joint as cut, nm: the least and the greatest over its segments.

    ``flanks`` is how many divisions were compared; 0 where nothing interlocks, and then both are 0.
    ``least_flank`` and ``greatest_flank`` are twice the gap at one flank, which must be the same: a
    panel that is shifted along its shoulders jams on one flank and gapes at the other.
    ``unmatched`` counts flanks of one mate that face none of the other: a fault.
    """

    joint: int
    flanks: int
    least: int
    greatest: int
    unmatched: int
    least_flank: int = 0
    greatest_flank: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetAsCut:
    """Slots of one panel that take the sheet of another: width as cut, nm, least and greatest."""

    joint: int
    panel: str
    sheet: str
    least: int
    greatest: int


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideAsCut:
    """The inside along one axis as cut: what each spanning panel holds from shoulder to shoulder.

    ``by_panel`` maps a panel's name to its distance, nm. ``least`` and ``greatest`` are 0 when no
    panel spans.
    """

    block: str
    axis: int
    asked: int
    by_panel: dict[str, int]

    @property
    def least(self) -> int:
        """Least distance, nm."""
        return min(self.by_panel.values(), default=0)

    @property
    def greatest(self) -> int:
        """Greatest distance, nm."""
        return max(self.by_panel.values(), default=0)

    @property
    def binds(self) -> str:
        """The panel that holds the least; the first by name of equals."""
        return min(sorted(self.by_panel), key=lambda p: self.by_panel[p], default="")


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """The least material between two facing sides: width, nm, and its middle on the panel, nm."""

    width: int
    place: tuple[int, int]


def world_sides(panel: Panel, rings: Rings, axis: int) -> tuple[Ints, Ints, Ints, Ints]:
    """Return the sides with their normal along a world axis: place on it, its sense, role, joint."""
    k = panel.frame.axes.index(axis)
    along_x, sign = rings.direction()
    pick = along_x if k == 0 else ~along_x
    place = panel.frame.to_world(rings.xy)[k][pick]
    return (
        place,
        sign[pick] * panel.frame.senses[k],
        rings.role[pick].astype(np.int64),
        rings.joint[pick].astype(np.int64),
    )


def joints_as_cut(solution: Solution, as_cut: Sequence[Rings]) -> tuple[JointAsCut, ...]:
    """Compare the flanks of both mates of every joint.

    Parameters
    ----------
    solution
        The nominal solution.
    as_cut
        Rings as cut of every panel, in the sequence of ``solution.panels``, each in its own axes.

    Returns
    -------
    One record a joint, in the sequence of ``solution.joints``.
    """
    sides: dict[tuple[int, int], tuple[Ints, Ints, Ints, Ints]] = {}
    out = []
    for joint in solution.joints:
        pair = []
        for s in (joint.a, joint.b):
            key = (s, joint.axis)
            if key not in sides:
                sides[key] = world_sides(solution.panels[s], as_cut[s], joint.axis)
            place, sense, role, index = sides[key]
            pick = (role == Role.FLANK) & (index == joint.index)
            # a mortised panel may show one flank in two pieces; they lie at the same place
            pair.append({w: _distinct(place[pick & (sense == w)]) for w in (1, -1)})
        out.append(_compare(joint.index, pair[0], pair[1]))
    return tuple(out)


def _distinct(values: Ints) -> Ints:
    """Ascending, each once; np.unique would load numpy.ma for it (7 ms)."""
    v = np.sort(values)
    return v[np.append(True, v[1:] != v[:-1])] if len(v) else v


def _compare(joint: int, a: dict[int, Ints], b: dict[int, Ints]) -> JointAsCut:
    unmatched = sum(abs(len(a[w]) - len(b[-w])) for w in (1, -1))
    if unmatched:
        return JointAsCut(joint=joint, flanks=0, least=0, greatest=0, unmatched=unmatched)
    # where a's flank looks up the axis, b's looks down: the gap is b - a, and the reverse
    gaps_up, gaps_down = b[-1] - a[1], a[-1] - b[1]
    places = np.concatenate([a[1], b[1]])
    gaps = np.concatenate([gaps_up, gaps_down])[np.argsort(places, kind="stable")]
    n = len(gaps)
    if n == 0:
        return JointAsCut(joint=joint, flanks=0, least=0, greatest=0, unmatched=0)
    both = gaps[1:] + gaps[:-1] if n > 1 else 2 * gaps  # a segment's two flanks make its clearance
    return JointAsCut(
        joint=joint,
        flanks=n,
        least=int(both.min()),
        greatest=int(both.max()),
        unmatched=0,
        least_flank=int(2 * gaps.min()),
        greatest_flank=int(2 * gaps.max()),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SideOff:
    """A side as cut that does not lie where its role says: by how much outward, nm, and where."""

    role: Role
    off: int
    place: tuple[int, int]


def sides_off(
    nominal: Rings,
    as_cut: Rings,
    outward: Sequence[float],
    flanks: Sequence[float],
    along: tuple[float, float] = (0.0, 0.0),
) -> tuple[SideOff, ...]:
    """Compare every side as cut with the place that its role predicts.

    Parameters
    ----------
    nominal, as_cut
        The same panel's rings, nm; steps that the cut put in are passed over.
    outward
        By :class:`Role`: how far the side shall lie outside its nominal place, mm (of flanks unused).
    flanks
        By joint: the same for flanks, mm.
    along
        What is added to these for sides with their normal along x, along y, mm.

    Returns
    -------
    The sides that are more than 2 nm off (two roundings), the worst first. One entry without a place
    where the outlines cannot be compared side by side.
    """
    keep = as_cut.role != Role.STEP
    if int(np.count_nonzero(keep)) != len(nominal) or np.any(as_cut.role[keep] != nominal.role):
        return (SideOff(role=Role.RIM, off=0, place=(0, 0)),)
    along_x, sign = nominal.direction()
    axis = np.where(along_x, 0, 1)
    rows = np.arange(len(nominal))
    cut = as_cut.xy[keep]
    moved = (cut[rows, axis] - nominal.xy[rows, axis]) * sign
    table = np.zeros(8)
    table[: len(outward)] = outward
    wanted = table[nominal.role]
    flank = nominal.role == Role.FLANK
    wanted[flank] = np.asarray([*flanks, 0.0])[nominal.joint[flank]]
    wanted += np.where(along_x, along[0], along[1])
    off = moved - np.rint(wanted * 1e6).astype(np.int64)
    worst = np.argsort(-np.abs(off), kind="stable")
    return tuple(
        SideOff(
            role=Role(int(nominal.role[i])),
            off=int(off[i]),
            place=(int(nominal.xy[i, 0]), int(nominal.xy[i, 1])),
        )
        for i in worst[np.abs(off[worst]) > 2].tolist()
    )


def sheets_as_cut(solution: Solution, as_cut: Sequence[Rings]) -> tuple[SheetAsCut, ...]:
    """Measure every slot and mortise that takes a sheet, cheek to cheek."""
    out = []
    cheeks: dict[tuple[int, int], tuple[Ints, Ints, Ints]] = {}  # by panel and axis, joints sorted
    for joint in solution.joints:
        for s in (joint.a, joint.b):
            if joint.at_edge(s):
                continue
            mate = joint.mate(s)
            normal = solution.panels[mate].slab.normal
            if (s, normal) not in cheeks:
                place, sense, role, index = world_sides(solution.panels[s], as_cut[s], normal)
                picked = np.flatnonzero(role == Role.CHEEK)
                picked = picked[np.argsort(index[picked], kind="stable")]
                cheeks[s, normal] = place[picked], sense[picked], index[picked]
            place, sense, index = cheeks[s, normal]
            here = slice(*np.searchsorted(index, (joint.index, joint.index + 1)).tolist())
            place, sense = place[here], sense[here]
            # the slot lies between a cheek that looks up the axis (below it) and one that looks down
            below, above = place[sense > 0], place[sense < 0]
            if len(below) and len(above):
                out.append(
                    SheetAsCut(
                        joint=joint.index,
                        panel=solution.panels[s].name,
                        sheet=solution.panels[mate].name,
                        least=int(above.min() - below.max()),
                        greatest=int(above.max() - below.min()),
                    )
                )
    return tuple(out)


def inside_as_cut(
    solution: Solution, block: InsideBlock, as_cut: Sequence[Rings]
) -> tuple[InsideAsCut, ...]:
    """Measure the inside on the parts: shoulder to shoulder of every panel that spans it.

    Returns
    -------
    One record an axis. A panel counts when it has shoulders on the inner faces of slabs at both ends
    of the block, or at one end and a rim at the other, and lies against the block. Two that stand rim on rim, as where a box is
    cut through, count together, by both their names. Guests do not hold: their shoulders keep a
    relief.
    """
    out = []
    slabs = solution.arrangement.slabs
    near = {i for i, slab in enumerate(slabs) if _beside(block, slab)}
    for axis in range(3):
        lo, hi = block.box.span(axis)
        walls_lo = {i for i in near if slabs[i].normal == axis and slabs[i].box.hi[axis] == lo}
        walls_hi = {i for i in near if slabs[i].normal == axis and slabs[i].box.lo[axis] == hi}
        walls = walls_lo | walls_hi
        mates = {j.mate(w) for j in solution.joints for w in (j.a, j.b) if w in walls}
        held: dict[str, int] = {}
        below: dict[tuple[int, tuple[int, int], int], list[tuple[str, int]]] = {}
        above: dict[tuple[int, tuple[int, int], int], list[tuple[str, int]]] = {}
        for i, panel in enumerate(solution.panels):
            slab = panel.slab
            if axis not in panel.frame.axes or slab.guest or (i not in near and i not in mates):
                continue
            place, sense, role, index = world_sides(panel, as_cut[i], axis)
            shoulder, rim = role == Role.SHOULDER, role == Role.RIM
            top = hi + (block.rim if axis == 2 else 0)
            own_lo, own_hi = slab.box.span(axis)
            at_lo = shoulder & _with(solution, index, i, walls_lo)
            at_hi = shoulder & _with(solution, index, i, walls_hi)
            at_lo, at_hi = at_lo & (sense < 0), at_hi & (sense > 0)
            if not (at_lo.any() or at_hi.any() or i in near):
                continue  # of another box
            # a rim counts where the block is open, or where something lies on the rim
            if own_lo == lo and (walls_lo or (axis, -1) in block.open):
                at_lo |= rim
            if own_hi == top and (walls_hi or (axis, 1) in block.open):
                at_hi |= rim
            at_lo &= sense < 0
            at_hi &= sense > 0
            if at_lo.any() and at_hi.any():
                # the shoulder that stands out farthest bears
                held[panel.name] = int(place[at_hi].max() - place[at_lo].min()) + hi - top
                continue
            across = (slab.normal, slab.box.span(slab.normal))
            ends = rim & (sense > 0)
            if at_lo.any() and lo < own_hi < hi and ends.any():
                reach = int(place[ends].max() - place[at_lo].min())
                below.setdefault((*across, own_hi), []).append((panel.name, reach))
            ends = rim & (sense < 0)
            if at_hi.any() and lo < own_lo < hi and ends.any():
                reach = int(place[at_hi].max() - place[ends].min())
                above.setdefault((*across, own_lo), []).append((panel.name, reach))
        for key, lower in below.items():
            for (a, p), (b, q) in product(lower, above.get(key, [])):
                held[f"{a} + {b}"] = p + q
        out.append(InsideAsCut(block=block.name, axis=axis, asked=hi - lo, by_panel=held))
    return tuple(out)


def _beside(block: InsideBlock, slab: Slab) -> bool:
    """Whether a slab lies with its face against the block."""
    n = slab.normal
    return (block.box.lo[n] == slab.box.hi[n] or block.box.hi[n] == slab.box.lo[n]) and all(
        block.box.lo[k] < slab.box.hi[k] and slab.box.lo[k] < block.box.hi[k]
        for k in range(3)
        if k != n
    )


def _with(solution: Solution, index: Ints, slab: int, walls: set[int]) -> np.ndarray:
    """Which sides belong to a joint of ``slab`` with one of ``walls``."""
    wanted = [j.index for j in solution.joints if slab in (j.a, j.b) and j.mate(slab) in walls]
    return np.isin(index, wanted)


def least_web(rings: Rings, *, necks: bool = False) -> Web | None:
    """Find the least material between two facing sides that are not the flanks of one joint.

    Parameters
    ----------
    rings
        Rings as cut, nm.
    necks
        ``False``: only pairs of which one side belongs to a hole (webs). ``True``: all other pairs
        (necks), tabs between two flanks of one joint left out.

    Returns
    -------
    The least, negative where the two sides have crossed (the material between them is eaten), or
    ``None`` where no such pair faces each other. O(n log n) for outlines whose sides
    mostly see their neighbours, as those of panels do.
    """
    best: tuple[int, int, int] | None = None
    hole = np.repeat(np.arange(rings.count) > 0, np.diff(rings.start))
    if not necks and not hole.any():
        return None
    along_x, sign = rings.direction()
    for k in (0, 1):
        pick = along_x if k == 0 else ~along_x
        if not necks:
            # only what faces a hole can matter: drop sides that no hole overlaps
            lo_h = np.minimum(rings.xy[hole, 1 - k], rings.ends[hole, 1 - k]).min()
            hi_h = np.maximum(rings.xy[hole, 1 - k], rings.ends[hole, 1 - k]).max()
            a, b = rings.xy[:, 1 - k], rings.ends[:, 1 - k]
            pick = pick & (np.minimum(a, b) < hi_h) & (np.maximum(a, b) > lo_h)
        found = _facing(
            rings.xy[pick, k],
            rings.xy[pick, 1 - k],
            rings.ends[pick, 1 - k],
            sign[pick],
            hole[pick],
            rings.role[pick] == Role.FLANK,
            rings.joint[pick],
            necks,
        )
        if found and (best is None or found[0] < best[0]):
            width, across, along = found
            best = (width, across, along) if k == 0 else (width, along, across)
    return None if best is None else Web(width=best[0], place=(best[1], best[2]))


def least_void(rings: Rings) -> Web | None:
    """Find the narrowest slot or hole: the least width between two sides that face across no material.

    Parameters
    ----------
    rings
        Rings, nm. How their sides are divided, and sides without length, play no part.

    Returns
    -------
    ``None`` where no two sides face each other across a void, as on a plain rectangle.
    """
    best: Web | None = None
    corners = [r for r in rings.corners_only() if len(r)]
    start = np.concatenate(corners)
    end = np.concatenate([np.roll(r, -1, axis=0) for r in corners])
    none = np.zeros(len(start), dtype=bool)
    for k in (0, 1):
        pick = (start[:, k] == end[:, k]) & (start[:, 1 - k] != end[:, 1 - k])
        a, b = start[pick, 1 - k], end[pick, 1 - k]
        # the outward normal lies to the right of travel
        sense = np.sign(b - a) if k == 0 else -np.sign(b - a)
        found = _facing(
            start[pick, k], a, b, sense, none[pick], none[pick], sense * 0, necks=True, void=True
        )
        if found and (best is None or found[0] < best.width):
            width, across, along = found
            best = Web(width=width, place=(across, along) if k == 0 else (along, across))
    return best


def _facing(
    line: Ints,
    start: Ints,
    end: Ints,
    sign: Ints,
    hole: np.ndarray,
    flank: np.ndarray,
    joint: np.ndarray,
    necks: bool,
    void: bool = False,
) -> tuple[int, int, int] | None:
    """Sweep along the sides; return (width, middle across, place along) of the least facing pair.

    With ``void`` the pairs face each other across a slot or hole instead of material.
    """
    n = len(line)
    lo, hi = np.minimum(start, end).tolist(), np.maximum(start, end).tolist()
    at, sense = line.tolist(), sign.tolist()
    in_hole, is_flank, belongs = hole.tolist(), flank.tolist(), joint.tolist()
    # at one place sides end before others begin
    events = sorted([(lo[i], 1, i) for i in range(n)] + [(hi[i], 0, i) for i in range(n)])
    active: list[tuple[int, int]] = []
    best: tuple[int, int, int] | None = None

    def pair(p: int, along: int) -> None:
        nonlocal best
        if not 0 <= p < len(active) - 1:
            return
        (x0, i), (x1, j) = active[p], active[p + 1]
        # from the outside in, every other stretch is material, and lies between a side that looks
        # back and one that looks ahead; the reverse there means that the two have crossed
        if void:
            if p % 2 and sense[i] != sense[j] and (best is None or x1 - x0 < best[0]):
                best = (x1 - x0, (x0 + x1) // 2, along)
            return
        if p % 2 or sense[i] == sense[j] or (in_hole[i] or in_hole[j]) == necks:
            return
        if is_flank[i] and is_flank[j] and belongs[i] == belongs[j]:
            return  # a tab: its width is the segment's
        width = x1 - x0 if sense[i] < 0 else x0 - x1
        if best is None or width < best[0]:
            best = (width, (x0 + x1) // 2, along)

    pending: list[tuple[int, int]] = []
    for m, (place, begins, i) in enumerate(events):
        key = (at[i], i)
        if begins:
            insort(active, key)
        else:
            del active[bisect_left(active, key)]
        pending.append(key)
        # look only once all events of one place are in: half of a corner is no web
        if m + 1 == len(events) or events[m + 1][0] != place:
            for changed in pending:
                p = bisect_left(active, changed)  # positions shift until all events are in
                for q in (p - 1, p):
                    pair(q, place)
            pending.clear()
    return best

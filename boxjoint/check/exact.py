"""The exact proof: nominal panels share every joint without a gap or an overlap, to the nanometre.

Its only input is the panels' nominal rings and their slabs, never owners or segments, so it cannot
repeat a mistake of the solver. Along every bar where two slabs cross it measures, place by place, how
much of the bar's width each panel covers (a sweep over the sides, O(n log n)); exactly one panel must
cover it whole and the other not at all. First of all the rings are shown to bound one flat part each
(:mod:`boxjoint.geometry.valid`), without which no sum over their sides means anything. With every panel inside its slab and the volumes adding up
exactly to the union's, the panels are a partition of the slabs, and hence the inside is as asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from boxjoint.errors import ProofFailed
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Ints
from boxjoint.geometry.valid import ring_problem
from boxjoint.solve.arrangement import InsideBlock, Slab
from boxjoint.solve.panels import Panel

__all__ = ["ExactProof", "Fault", "exact_proof"]

_AXIS = "xyz"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong.

    Parameters
    ----------
    kind
        ``overlap`` (owned twice), ``void`` (owned by nobody), ``outside`` (a panel leaves its slab),
        ``empty`` (a panel has no area), ``volume`` (a panel is not whole away from its joints),
        ``inside`` (the asked inside is entered or not closed, a face that is named open is closed, or
        two insides claim the same space), ``ring`` (outlines that bound no
        single flat part, so that nothing about them can be summed).
    panels
        Names of the panels concerned.
    lo, hi
        Where, nm, in the world.
    size
        How much: the extent of the fault along x, y and z, nm (of ``volume``: (nm3, 0, 0)).
    note
        What is wrong with a ring or an inside, where the kind does not say it.
    """

    kind: str
    panels: tuple[str, ...]
    lo: tuple[int, int, int]
    hi: tuple[int, int, int]
    size: tuple[int, int, int]
    note: str = ""

    def __str__(self) -> str:
        who = " and ".join(self.panels)
        if self.kind == "ring":
            at = ", ".join(f"{_AXIS[k]} {self.lo[k] / 1e6:.6f}" for k in range(3))
            return f"ring: {self.note} at {at} mm ({who})"
        if self.kind == "volume":
            return f"volume of {who} is off by {self.size[0] / 1e18:.9g} mm3 away from its joints"
        how = " x ".join(f"{s / 1e6:.6f}" for s in self.size)
        at = ", ".join(f"{_AXIS[k]} {self.lo[k] / 1e6:.6f}" for k in range(3))
        note = f": {self.note}" if self.note else ""
        return f"{self.kind} of {how} mm at {at} ({who}){note}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExactProof:
    """What the exact proof found.

    Parameters
    ----------
    faults
        Empty when the proof holds.
    bars, corners
        How many were swept.
    volume
        Of all panels together, nm3, exact.
    union
        Of the union of all slabs, nm3, exact.
    """

    faults: tuple[Fault, ...]
    bars: int
    corners: int
    volume: int
    union: int

    @property
    def passed(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults

    def require(self) -> None:
        """Raise :class:`ProofFailed` unless the proof holds."""
        if self.faults:
            more = f" and {len(self.faults) - 1} more" if len(self.faults) > 1 else ""
            raise ProofFailed(
                "the exact proof failed", value=f"{self.faults[0]}{more}", faults=self.faults
            )


@dataclass(frozen=True, slots=True, eq=False)
class _Sides:
    """A panel's sides in the world, by the axis of their normal: line, span along it, sense."""

    line: Ints
    lo: Ints
    hi: Ints
    sense: Ints


class _Part:
    """One panel ready for sweeping; nothing of the solver's joints or owners is looked at."""

    __slots__ = ("by_normal", "panel")

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        start = panel.frame.to_world(panel.rings.xy)
        after = panel.rings.following
        end = (start[0][after], start[1][after])
        mirror = panel.frame.senses[0] * panel.frame.senses[1]
        self.by_normal: dict[int, _Sides] = {}
        for k in (0, 1):
            on, along = start[k], start[1 - k]
            away = end[1 - k]
            pick = (on == end[k]) & (along != away)
            travel = np.sign(away - along)[pick]
            # outward lies to the right of travel: +v -> +u, +u -> -v; a mirrored frame turns it
            sense = (travel if k == 0 else -travel) * mirror
            self.by_normal[panel.frame.axes[k]] = _Sides(
                on[pick],
                np.minimum(along, away)[pick],
                np.maximum(along, away)[pick],
                sense,
            )

    def covered(
        self, axis: int, strip: tuple[int, int], span: tuple[int, int]
    ) -> tuple[Ints, Ints]:
        """Covered length of a strip as a function of the place along it.

        Parameters
        ----------
        axis
            World axis across the strip.
        strip
            The strip's (lo, hi) on ``axis``, nm.
        span
            The part of the strip's length to look at, nm.

        Returns
        -------
        at
            (k,) ascending places, the first is ``span[0]``.
        length
            (k,) nm: covered length from each place to the next (the last one up to ``span[1]``).
        """
        s = self.by_normal[axis]
        # each stretch of material from a to b counts clip(b) - clip(a); sides at or before the
        # strip's beginning add nothing
        pick = (s.line > strip[0]) & (s.lo < span[1]) & (s.hi > span[0])
        weight = s.sense[pick] * (np.minimum(s.line[pick], strip[1]) - strip[0])
        lo = np.maximum(s.lo[pick], span[0])
        hi = s.hi[pick]
        inner = hi < span[1]
        at = np.concatenate([np.array(span[:1], dtype=np.int64), lo, hi[inner]])
        step = np.concatenate([np.zeros(1, dtype=np.int64), weight, -weight[inner]])
        order = np.argsort(at, kind="stable")
        at, total = at[order], np.cumsum(step[order])
        last = np.empty(len(at), dtype=bool)
        last[-1] = True
        np.not_equal(at[1:], at[:-1], out=last[:-1])
        return at[last], total[last]

    def covered_area(self, box: Cuboid) -> int:
        """Area of the panel within a cuboid's cross-section in the panel's plane, nm2, exact."""
        u, v = self.panel.frame.axes
        at, length = self.covered(u, box.span(u), box.span(v))
        widths = np.diff(np.append(at, box.hi[v])).tolist()
        return sum(w * c for w, c in zip(widths, length.tolist(), strict=True))


def exact_proof(panels: Sequence[Panel], insides: Sequence[InsideBlock] = ()) -> ExactProof:
    """Prove that the panels share out their slabs exactly, and that the insides are free and closed.

    Parameters
    ----------
    panels
        Nominal panels; of each only the slab, its frame and the rings are looked at.
    insides
        The blocks of space that were asked for.

    Returns
    -------
    ExactProof
        With every fault, its place and its exact size.
    """
    broken = [f for p in panels for f in _ring_faults(p)]
    panels = [p for p in panels if len(p.rings)]
    parts = [_Part(p) for p in panels]
    slabs = [p.slab for p in panels]
    faults: list[Fault] = []
    areas = [p.rings.area if len(p.rings) else 0 for p in panels]
    for panel, area in zip(panels, areas, strict=True):
        faults += _within_slab(panel, area)
    bars = _bars(slabs)
    corners = _corners(bars)
    crossed: dict[tuple[int, int], list[Cuboid]] = {}
    for (i, j, k), box in corners.items():
        for pair in ((i, j), (i, k), (j, k)):
            crossed.setdefault(pair, []).append(box)
        faults += _corner((parts[i], parts[j], parts[k]), box)
    for (i, j), bar in bars.items():
        faults += _along(parts[i], parts[j], bar, crossed.get((i, j), []))
    union = sum(s.box.volume for s in slabs) - sum(b.volume for b in bars.values())
    union += sum(c.volume for c in corners.values())
    volumes = [area * p.slab.thickness for area, p in zip(areas, panels, strict=True)]
    if sum(volumes) != union:
        for i, part in enumerate(parts):
            own = [b for pair, b in bars.items() if i in pair]
            crossings = [c for triple, c in corners.items() if i in triple]
            faults += _whole_between(part, own, crossings)
        if not faults:  # nothing was placed, but the sum is off all the same
            off = sum(volumes) - union
            everybody = tuple(s.name for s in slabs)
            whole = slabs[0].box
            faults.append(
                Fault(kind="volume", panels=everybody, lo=whole.lo, hi=whole.hi, size=(off, 0, 0))
            )
    boxes = _Boxes(slabs)
    for block in insides:
        faults += _inside(block, boxes)
    faults += _claimed_twice(insides)
    return ExactProof(
        # sums over broken rings prove nothing, but still show where and how much: they come first
        faults=_once([*faults, *broken]),
        bars=len(bars),
        corners=len(corners),
        volume=sum(volumes),
        union=union,
    )


def _once(faults: list[Fault]) -> tuple[Fault, ...]:
    """Drop what several bars saw alike: the same void, or the same overlap in a corner."""
    return tuple(dict.fromkeys(faults))


def _ring_faults(panel: Panel) -> list[Fault]:
    """Whether the panel's rings bound one flat part at all."""
    slab = panel.slab
    if len(panel.rings) == 0:
        return [
            Fault(kind="empty", panels=(slab.name,), lo=slab.box.lo, hi=slab.box.hi, size=(0, 0, 0))
        ]
    found = ring_problem(panel.rings)
    if found is None:
        return []
    what, place = found
    at = list(slab.box.lo)
    spot = panel.frame.to_world(np.array([place], dtype=np.int64))
    for axis, value in zip(panel.frame.axes, spot, strict=True):
        at[axis] = int(value[0])
    lo = (at[0], at[1], at[2])
    return [Fault(kind="ring", panels=(slab.name,), lo=lo, hi=lo, size=(0, 0, 0), note=what)]


def _within_slab(panel: Panel, area: int) -> list[Fault]:
    slab = panel.slab
    if area <= 0:
        return [
            Fault(kind="empty", panels=(slab.name,), lo=slab.box.lo, hi=slab.box.hi, size=(0, 0, 0))
        ]
    lo, hi, over = list(slab.box.lo), list(slab.box.hi), [0, 0, 0]
    for axis, values in zip(panel.frame.axes, panel.frame.to_world(panel.rings.xy), strict=True):
        least, most = int(values.min()), int(values.max())
        over[axis] = max(slab.box.lo[axis] - least, 0) + max(most - slab.box.hi[axis], 0)
        lo[axis], hi[axis] = least, most
    if not any(over):
        return []
    return [
        Fault(
            kind="outside",
            panels=(slab.name,),
            lo=(lo[0], lo[1], lo[2]),
            hi=(hi[0], hi[1], hi[2]),
            size=(over[0], over[1], over[2]),
        )
    ]


def _bars(slabs: list[Slab]) -> dict[tuple[int, int], Cuboid]:
    """Where two slabs share space. Found by sorting on x, apart from the solver's way."""
    order = sorted(range(len(slabs)), key=lambda i: slabs[i].box.lo[0])
    found = {}
    active: list[int] = []
    for i in order:
        box = slabs[i].box
        active = [j for j in active if slabs[j].box.hi[0] > box.lo[0]]
        for j in active:
            shared = box.common(slabs[j].box)
            if shared is not None:
                found[min(i, j), max(i, j)] = shared
        active.append(i)
    return dict(sorted(found.items()))


def _corners(bars: dict[tuple[int, int], Cuboid]) -> dict[tuple[int, int, int], Cuboid]:
    """The space that three slabs share, by the three."""
    mates: dict[int, list[int]] = {}
    for i, j in bars:
        mates.setdefault(i, []).append(j)
    found = {}
    for (i, j), bar in bars.items():
        for k in mates.get(j, []):
            if (i, k) in bars:
                shared = bar.common(bars[i, k])
                if shared is not None:
                    found[i, j, k] = shared
    return found


def _along(a: _Part, b: _Part, bar: Cuboid, corners: list[Cuboid]) -> list[Fault]:
    """Sweep a bar, less the corners that are looked at apart.

    A third slab that crosses only a part of the bar's cross-section exempts that part and no more:
    the bar is split lengthwise where such a corner begins and ends.
    """
    na, nb = a.panel.slab.normal, b.panel.slab.normal
    axis = 3 - na - nb
    if na == nb or all(c.span(k) == bar.span(k) for c in corners for k in (na, nb)):
        spans = [] if na == nb else [c.span(axis) for c in corners]
        return _sweep(a, b, bar, spans)
    cuts = {k: sorted({*bar.span(k), *(v for c in corners for v in c.span(k))}) for k in (na, nb)}
    faults = []
    for pa in pairwise(cuts[na]):
        for pb in pairwise(cuts[nb]):
            lo, hi = list(bar.lo), list(bar.hi)
            (lo[na], hi[na]), (lo[nb], hi[nb]) = pa, pb
            piece = Cuboid((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))
            spans = [c.span(axis) for c in corners if c.common(piece) is not None]
            faults += _sweep(a, b, piece, spans)
    return faults


def _sweep(a: _Part, b: _Part, bar: Cuboid, corners: list[tuple[int, int]]) -> list[Fault]:
    """Go along the bar between two slabs: exactly one of the two panels must own every place.

    ``corners`` are the stretches where a third slab crosses; they are looked at apart.
    """
    na, nb = a.panel.slab.normal, b.panel.slab.normal
    if na == nb:  # parallel slabs that overlap: all of it is owned twice
        return [_fault("overlap", (a, b), bar.lo, bar.hi, bar.size)]
    axis = 3 - na - nb
    span = bar.span(axis)
    at_a, len_a = a.covered(nb, bar.span(nb), span)
    at_b, len_b = b.covered(na, bar.span(na), span)
    at = np.concatenate([at_a, at_b, np.array(corners, dtype=np.int64).ravel()])
    # np.unique would do, but loads numpy.ma for it (7 ms)
    at.sort()
    fresh = np.empty(len(at), dtype=bool)
    fresh[0] = True
    np.not_equal(at[1:], at[:-1], out=fresh[1:])
    at = at[fresh & (at >= span[0]) & (at < span[1])]
    wa, wb = bar.size[nb], bar.size[na]  # what covers the bar whole, across a and across b
    la = len_a[np.searchsorted(at_a, at, side="right") - 1]
    lb = len_b[np.searchsorted(at_b, at, side="right") - 1]
    good = ((la == wa) & (lb == 0)) | ((la == 0) & (lb == wb))
    for lo, hi in corners:
        good |= (at >= lo) & (at < hi)
    if good.all():
        return []
    ends = np.append(at[1:], span[1])
    faults = []
    for m in np.flatnonzero(~good).tolist():
        lo3, hi3, size = list(bar.lo), list(bar.hi), [0, 0, 0]
        lo3[axis], hi3[axis] = int(at[m]), int(ends[m])
        size[axis] = hi3[axis] - lo3[axis]
        ca, cb = int(la[m]), int(lb[m])
        # a covers ca of the width times all of the bar along its own normal; b likewise
        size[nb], size[na] = ca, cb
        if ca and cb:
            faults.append(_fault("overlap", (a, b), lo3, hi3, size))
        size[nb], size[na] = wa - ca, wb - cb
        if ca < wa and cb < wb:
            faults.append(_fault("void", (a, b), lo3, hi3, size))
    return faults


def _corner(three: tuple[_Part, _Part, _Part], box: Cuboid) -> list[Fault]:
    """Look at the space that three slabs share.

    Either one panel owns all of it, or one has none of it and the other two share it out along
    their bar, as where that bar's segments run through.
    """
    areas = [part.covered_area(box) for part in three]
    whole = [box.volume // part.panel.slab.thickness for part in three]
    if areas.count(0) == 2 and any(x == w for x, w in zip(areas, whole, strict=True)):
        return []
    best: list[Fault] | None = None
    for k in (0, 1, 2):
        if areas[k] == 0:
            faults = _sweep(three[k - 2], three[k - 1], box, [])
            if not faults:
                return []
            if best is None or len(faults) < len(best):
                best = faults
    if best is not None:
        everybody = tuple(sorted(part.panel.slab.name for part in three))
        return [replace(f, panels=everybody) if f.kind == "void" else f for f in best]
    # all three have some of it: report each pair's common space
    faults = []
    for k in (0, 1, 2):
        found = _sweep(three[k - 2], three[k - 1], box, [])
        faults += [f for f in found if f.kind == "overlap"]
    return faults or [_fault("overlap", three, box.lo, box.hi, box.size)]


def _fault(
    kind: str,
    parts: Sequence[_Part],
    lo: Sequence[int],
    hi: Sequence[int],
    size: Sequence[int],
) -> Fault:
    return Fault(
        kind=kind,
        panels=tuple(sorted(p.panel.slab.name for p in parts)),
        lo=(lo[0], lo[1], lo[2]),
        hi=(hi[0], hi[1], hi[2]),
        size=(size[0], size[1], size[2]),
    )


def _whole_between(part: _Part, bars: list[Cuboid], corners: list[Cuboid]) -> list[Fault]:
    """Whether the panel is whole away from its bars: its area there must be its slab's."""
    slab = part.panel.slab
    u, v = part.panel.frame.axes
    size = slab.box.size
    missing = size[u] * size[v] - part.panel.rings.area
    for bar in bars:
        missing -= bar.size[u] * bar.size[v] - part.covered_area(bar)
    for box in corners:  # counted by two bars
        missing += box.size[u] * box.size[v] - part.covered_area(box)
    if missing == 0:
        return []
    return [
        Fault(
            kind="volume",
            panels=(slab.name,),
            lo=slab.box.lo,
            hi=slab.box.hi,
            size=(-missing * slab.thickness, 0, 0),
        )
    ]


class _Boxes:
    """All slabs as arrays, so that a thousand insides take no longer than their faces."""

    __slots__ = ("hi", "lo", "names", "normal")

    def __init__(self, slabs: list[Slab]) -> None:
        self.names = [s.name for s in slabs]
        self.normal = np.array([s.normal for s in slabs], dtype=np.int64)
        self.lo = np.array([s.box.lo for s in slabs], dtype=np.int64).reshape(-1, 3)
        self.hi = np.array([s.box.hi for s in slabs], dtype=np.int64).reshape(-1, 3)


def _inside(block: InsideBlock, boxes: _Boxes) -> list[Fault]:
    """Check that no slab but its guests enters the block, and every face is closed that is not open.

    A slab closes a face that lies whole against it, less the block's gap along its edges; several may
    close it together, as both halves of a wall do that is cut through.
    """
    faults = []
    box = block.box
    lo, hi = np.array(box.lo, dtype=np.int64), np.array(box.hi, dtype=np.int64)

    def wrong(size: Sequence[int], note: str = "") -> Fault:
        return Fault(
            kind="inside",
            panels=(block.name,),
            lo=box.lo,
            hi=box.hi,
            size=(size[0], size[1], size[2]),
            note=note,
        )

    if min(box.size) <= 0:
        return [wrong(box.size, "no space at all")]
    if not 0 <= 2 * block.gap < min(box.size):
        note = f"a gap of {block.gap / 1e6:.6f} mm at its edges leaves no face to close"
        return [wrong(box.size, note)]
    enters = ((boxes.lo < hi) & (boxes.hi > lo)).all(axis=1)
    for i in np.flatnonzero(enters).tolist():
        name = boxes.names[i]
        if name in block.guests:
            continue
        least = np.maximum(boxes.lo[i], lo).tolist()
        most = np.minimum(boxes.hi[i], hi).tolist()
        faults.append(
            Fault(
                kind="inside",
                panels=(name,),
                lo=(least[0], least[1], least[2]),
                hi=(most[0], most[1], most[2]),
                size=(most[0] - least[0], most[1] - least[1], most[2] - least[2]),
            )
        )
    # a slab may end short of a wall, not of an edge where there is none
    short = [[0 if (k, s) in block.open else block.gap for k in range(3)] for s in (-1, 1)]
    covers = (boxes.lo <= lo + short[0]) & (boxes.hi >= hi - short[1])
    whole = (boxes.lo <= lo) & (boxes.hi >= hi)
    for axis in range(3):
        in_plane = [k for k in range(3) if k != axis]
        lies = (boxes.normal == axis) & covers[:, in_plane].all(axis=1)
        middles = boxes.lo[:, axis] + boxes.hi[:, axis]
        for sense in (-1, 1):
            face = hi[axis] if sense > 0 else lo[axis]
            own = (boxes.lo if sense > 0 else boxes.hi)[:, axis]
            if (axis, sense) in block.open:
                against = (boxes.normal == axis) & (own == face)
                shut = against & whole[:, in_plane].all(axis=1)
                if shut.any() or _tiled(block, boxes, against, in_plane):
                    side = f"{'+' if sense > 0 else '-'}{_AXIS[axis]}"
                    names = ", ".join(boxes.names[i] for i in np.flatnonzero(against))
                    faults.append(
                        wrong(box.size, f"its {side} is named open and closed by {names}")
                    )
                continue
            beyond = lies & ((middles - lo[axis] - hi[axis]) * sense > 0)
            gaps = np.abs(own - face)[beyond]
            if len(gaps) and gaps.min() == 0:
                continue
            if _tiled(block, boxes, (boxes.normal == axis) & (own == face), in_plane):
                continue
            size = [0, 0, 0]
            size[axis] = int(gaps.min()) if len(gaps) else box.size[axis]
            faults.append(wrong(size))
    return faults


def _claimed_twice(insides: Sequence[InsideBlock]) -> list[Fault]:
    """Two insides that claim the same space.

    A space may be named as a whole and by what is in it: the opening of a drawer and the drawer's
    inside, all compartments together and each. So one may lie wholly within another, or within what
    is left by the guests of another; two compartments never share space, nor is one space named twice.
    """
    faults = []
    lo = np.array([b.box.lo for b in insides], dtype=np.int64).reshape(-1, 3)
    hi = np.array([b.box.hi for b in insides], dtype=np.int64).reshape(-1, 3)
    for i, one in enumerate(insides):
        meet = ((lo[i + 1 :] < hi[i]) & (hi[i + 1 :] > lo[i])).all(axis=1)
        for j in (np.flatnonzero(meet) + i + 1).tolist():
            other = insides[j]
            if one.compartment is None or other.compartment is None:
                shared = one.box.common(other.box)
                guests = bool(one.guests) or bool(other.guests)
                nested = one.box != other.box and shared in (one.box, other.box)
                if guests or nested:
                    continue
            least, most = np.maximum(lo[i], lo[j]).tolist(), np.minimum(hi[i], hi[j]).tolist()
            faults.append(
                Fault(
                    kind="inside",
                    panels=(one.name, other.name),
                    lo=(least[0], least[1], least[2]),
                    hi=(most[0], most[1], most[2]),
                    size=(most[0] - least[0], most[1] - least[1], most[2] - least[2]),
                    note="both claim this space",
                )
            )
    return faults


def _tiled(block: InsideBlock, boxes: _Boxes, against: np.ndarray, plane: list[int]) -> bool:
    """Whether slabs that lie in the plane of a face cover it together."""
    u, v = plane
    lo, hi = block.box.lo, block.box.hi
    meet = against & (boxes.lo[:, plane] < [hi[u], hi[v]]).all(axis=1)
    meet &= (boxes.hi[:, plane] > [lo[u], lo[v]]).all(axis=1)
    if np.count_nonzero(meet) < 2:
        return False
    low, high = boxes.lo[meet][:, plane], boxes.hi[meet][:, plane]
    cuts = []
    for k, axis in enumerate(plane):
        marks = {m for m in (*low[:, k].tolist(), *high[:, k].tolist()) if lo[axis] < m < hi[axis]}
        cuts.append(sorted({lo[axis], hi[axis], *marks}))
    return all(
        ((low <= (u0, v0)) & (high >= (u1, v1))).all(axis=1).any()
        for u0, u1 in pairwise(cuts[0])
        for v0, v1 in pairwise(cuts[1])
    )

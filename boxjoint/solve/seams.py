"""Seams: where a panel can be divided, and its nominal pieces. Knows no kerf.

Glossary
--------
seam, step
    A stepped line across a panel, and one stretch of it between two turns.
lattice
    The places across the panel where the line turns. It spans the panel between its shoulders, so that
    the outermost steps end in whatever stands there, a tab or a slot.
piece
    What is left of the panel on one side of a seam. Pieces count from left to right as seen from
    outside, or from the bottom up where a panel is divided across its height.

The line is the same wherever it lies; only its middle ``c`` moves. A side of the outline forbids an
open interval of ``c``: wherever it would come nearer than the web to the line. What the union of these
intervals leaves free is exact, in whole nanometres, and every choice is made in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from boxjoint.errors import CannotBeCut, InputError
from boxjoint.geometry.cuboid import Cuboid
from boxjoint.geometry.rings import Ints, Rings, Role, turned
from boxjoint.solve.panels import Frame, Panel
from boxjoint.solve.tabs import LEAST_WIDTH
from boxjoint.units import format_mm

__all__ = [
    "Divided",
    "Line",
    "choose_places",
    "divide_panel",
    "free_places",
    "lines_of",
    "piece_at",
    "upright",
]

#: Width and depth of a step over the thickness; our own choice, no source: as wide as a usual tab.
STEP_NUMERATOR, STEP_DENOMINATOR = 5, 2

Spans = list[tuple[int, int]]
Extent = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A stepped line across a panel, before it has its place. All nm, in the upright panel's axes.

    Parameters
    ----------
    turns
        Where it turns along y, ascending: n - 1 places for n steps.
    low, high
        Shoulders at the lower and the upper edge, between which the steps are equal.
    half
        Half the depth of the steps: the line runs at c + half at both ends and on every other step.
    """

    turns: tuple[int, ...]
    low: int
    high: int
    half: int

    @property
    def steps(self) -> int:
        """How many steps, odd."""
        return len(self.turns) + 1

    @property
    def width(self) -> int:
        """Width of a step, nm, rounded."""
        return round((self.high - self.low) / self.steps)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Divided:
    """A panel and its nominal pieces.

    Parameters
    ----------
    panel
        The whole.
    pieces
        In their sequence, each with a slab and a frame of its own, at its place in the box.
    offsets
        Where the origin of each piece lies in the panel's own drawing, nm.
    places
        The middle of each seam, nm from the left (or lower) end of the panel's drawing.
    along
        Axis of the panel's drawing that the seams divide: 0 or 1.
    line
        The stepped line that all seams of this panel follow.
    joints
        Number that the sides of each seam carry as their joint; past those of the slabs.
    """

    panel: Panel
    pieces: tuple[Panel, ...]
    offsets: tuple[tuple[int, int], ...]
    places: tuple[int, ...]
    along: int
    line: Line
    joints: tuple[int, ...]


def upright(rings: Rings, along: int) -> Rings:
    """Turn rings so that the axis to divide is x; the other way for ``back``."""
    return rings if along == 0 else turned(rings, 3)


def lines_of(
    rings: Rings, thickness: int, *, depth: int | None, steps: int | None, name: str
) -> tuple[Line, ...]:
    """Give the stepped lines that an upright panel may be divided along, the best first.

    Parameters
    ----------
    rings
        Nominal, to be divided along x.
    thickness
        Of the panel, nm.
    depth, steps
        As asked; ``None``: 2.5 thicknesses deep, and odd counts, the one whose width is nearest to
        that first. Where a row of mortises is in the way, fewer and wider steps may pass between them.

    Raises
    ------
    CannotBeCut
        When three steps of the least width do not find room.
    """
    _, y0, _, y1 = rings.extent
    along_x, sign = rings.direction()
    outer = np.arange(len(rings)) < rings.start[1]
    shoulder = (rings.role == Role.SHOULDER) & ~along_x & outer
    y, middle = rings.xy[:, 1], (y0 + y1) // 2
    low = int(y[shoulder & (sign < 0) & (y < middle)].max(initial=y0))
    high = int(y[shoulder & (sign > 0) & (y > middle)].min(initial=y1))
    target = max(LEAST_WIDTH, STEP_NUMERATOR * thickness // STEP_DENOMINATOR)
    least = max(LEAST_WIDTH, thickness)
    room = high - low
    counts = [steps] if steps is not None else list(range(3, room // least + 1, 2)) or [3]
    if room < counts[0] * least:
        raise CannotBeCut(
            f"{name} is too narrow for a seam of {counts[0]} steps",
            value=f"{format_mm(room)} between its shoulders",
            limit=f"at least {format_mm(counts[0] * least)}, {format_mm(least)} a step",
            do="ask for fewer [seams] steps" if counts[0] > 3 else "take a longer bed",
            panel=name,
        )
    wide = depth if depth is not None else target
    return tuple(
        Line(
            turns=tuple(low + (room * i + n // 2) // n for i in range(1, n)),
            low=low,
            high=high,
            half=wide // 2,
        )
        for n in sorted(counts, key=lambda n: abs(room - n * target) / n)
    )


def free_places(rings: Rings, line: Line, web: int, keep_off: Sequence[Extent] = ()) -> Spans:
    """Where the middle of a seam can lie: closed spans of c, nm, ascending.

    Parameters
    ----------
    rings
        Nominal, upright.
    web
        Least distance from every side that the line does not cross, and along those it crosses from
        their ends, nm.
    keep_off
        Extents (least x, least y, greatest x, greatest y) of cut-outs, upright too, nm.

    Notes
    -----
    Distances are taken along x or y, whichever is greater: never more than the true distance.
    """
    x0, y0, x1, y1 = rings.extent
    end = rings.ends
    lo, hi = np.minimum(rings.xy, end), np.maximum(rings.xy, end)
    along_x, sign = rings.direction()
    outer = np.arange(len(rings)) < rings.start[1]
    bottom = outer & ~along_x & (sign < 0) & (lo[:, 1] <= line.low)
    top = outer & ~along_x & (sign > 0) & (hi[:, 1] >= line.high)
    edges = bottom | top
    half = line.half
    barred: Spans = []

    boxes = np.array(keep_off, dtype=np.int64).reshape(-1, 4)
    lo, hi = np.concatenate([lo, boxes[:, :2]]), np.concatenate([hi, boxes[:, 2:]])
    everything = np.ones(len(lo), dtype=bool)
    inner = np.concatenate([~edges, everything[len(rings) :]])

    def bar(px: tuple[int, int], py: tuple[int, int], sides: np.ndarray) -> None:
        near = sides & (lo[:, 1] < py[1] + web) & (hi[:, 1] > py[0] - web)
        first = (lo[near, 0] - web - px[1]).tolist()
        last = (hi[near, 0] + web - px[0]).tolist()
        barred.extend(zip(first, last, strict=True))

    beyond = max(x1 - x0, y1 - y0)
    bar((half, half), (y0 - beyond, line.turns[0]), inner)
    bar((half, half), (line.turns[-1], y1 + beyond), inner)
    for i, (a, b) in enumerate(pairwise(line.turns)):
        x = half if i % 2 else -half
        bar((x, x), (a, b), everything)
    for turn in line.turns:
        bar((-half, half), (turn, turn), everything)
    # at both ends the line must leave the panel once, through one side
    for sides in np.flatnonzero(bottom), np.flatnonzero(top):
        a, b = lo[sides, 0] - half, hi[sides, 0] - half
        barred += _not_once(a, b, x0 - half, x1 - half)
    return _left(barred, x0 - half, x1 - half)


def _not_once(a: Ints, b: Ints, lo: int, hi: int) -> Spans:
    """Open spans within [lo, hi] that are not covered by exactly one of [a, b]."""
    marks = sorted({lo, hi, *a.tolist(), *b.tolist()})
    return [
        (p - 1, q + 1)
        for p, q in pairwise(marks)
        if int(np.count_nonzero((a <= p) & (b >= q))) != 1 and q > p
    ]


def _left(barred: Spans, lo: int, hi: int) -> Spans:
    """What open spans leave of the closed [lo, hi]."""
    found: Spans = []
    at = lo
    for a, b in sorted(barred):
        if a >= hi:
            break
        if a >= at:
            found.append((at, a))
        at = max(at, b)
    if at <= hi:
        found.append((at, hi))
    return found


def _common(one: Spans, other: Spans) -> Spans:
    found, i, j = [], 0, 0
    while i < len(one) and j < len(other):
        a, b = max(one[i][0], other[j][0]), min(one[i][1], other[j][1])
        if a <= b:
            found.append((a, b))
        if one[i][1] < other[j][1]:
            i += 1
        else:
            j += 1
    return found


def _widened(spans: Spans, least: int, most: int) -> Spans:
    """Every c + d with c in the spans and d from least to most, joined where they touch."""
    found: Spans = []
    for a, b in sorted((a + least, b + most) for a, b in spans):
        if found and a <= found[-1][1] + 1:
            found[-1] = (found[-1][0], max(found[-1][1], b))
        else:
            found.append((a, b))
    return found


def choose_places(
    free: Spans, extent: tuple[int, int], line: Line, longest: int, web: int
) -> tuple[int, ...] | None:
    """Choose as few seams as possible, each as near as possible to where equal pieces would end.

    A bay no wider than a step is taken in its middle.

    Parameters
    ----------
    free
        From :func:`free_places`.
    extent
        (least, greatest) x of the panel, nm.
    longest
        Longest piece, steps included, nm.
    web
        Least between two seams, beside their steps.

    Returns
    -------
    Ascending middles, or ``None`` where no number of seams will do.
    """
    x0, x1 = extent
    half = line.half
    apart = (2 * half + web, longest - 2 * half)
    if apart[1] < apart[0]:
        return None
    reached = [_common(free, [(x0, x0 + longest - half)])]
    done = [(x1 + half - longest, x1)]
    while reached[-1] and not _common(reached[-1], done):
        further = _common(free, _widened(reached[-1], *apart))
        if not further or further[-1][1] <= reached[-1][-1][1]:
            return None  # another seam gets no further
        reached.append(further)
    if not reached[-1]:
        return None
    # backward: from where the rest can still be done
    could = _common(reached[-1], done)
    ahead = [could]
    for before in reached[-2::-1]:
        could = _common(before, _widened(could, -apart[1], -apart[0]))
        ahead.insert(0, could)
    chosen: list[int] = []
    for i, spans in enumerate(ahead, 1):
        if chosen:
            spans = _common(spans, [(chosen[-1] + apart[0], chosen[-1] + apart[1])])
        wanted = x0 + (x1 - x0) * i // (len(ahead) + 1)
        # in a bay no wider than a step both its halves shall be alike
        best = ((a + b) // 2 if b - a <= line.width else min(max(wanted, a), b) for a, b in spans)
        chosen.append(min(best, key=lambda c: abs(c - wanted)))
    return tuple(chosen)


def divide_panel(
    panel: Panel, along: int, line: Line, places: Sequence[int], first_joint: int
) -> Divided:
    """Divide a panel's nominal outline along its seams.

    Parameters
    ----------
    along
        Axis of the panel's drawing to divide.
    places
        Middles of the seams, ascending, nm in the upright panel's axes; each in its free spans.
    first_joint
        Number for the flanks of the first seam; the next ones count on.
    """
    rest = upright(panel.rings, along)
    cut = []
    joints = tuple(range(first_joint, first_joint + len(places)))
    for c, joint in zip(places, joints, strict=True):
        left, rest = _split(rest, line, c, joint, panel.name)
        cut.append(left)
    pieces, offsets = [], []
    for number, rings in enumerate((*cut, rest), 1):
        own = rings if along == 0 else turned(rings, 1)
        x0, y0, x1, y1 = own.extent
        slab = replace(
            panel.slab,
            name=f"{panel.name}-{number}",
            box=_box(panel, (x0, y0), (x1, y1)),
        )
        home = Rings(
            xy=own.xy - np.array([x0, y0]), start=own.start, role=own.role, joint=own.joint
        )
        pieces.append(Panel(slab=slab, frame=Frame.of(slab), rings=home))
        offsets.append((x0, y0))
    return Divided(
        panel=panel,
        pieces=tuple(pieces),
        offsets=tuple(offsets),
        places=tuple(places),
        along=along,
        line=line,
        joints=joints,
    )


def piece_at(divided: Divided, x: int, y: int) -> int:
    """Number of the piece, from 0, on which a point of the panel's own drawing lies, nm."""
    u, v = (x, y) if divided.along == 0 else (y, -x)
    step = sum(turn <= v for turn in divided.line.turns)
    side = divided.line.half if step % 2 == 0 else -divided.line.half
    return sum(c + side < u for c in divided.places)


def _box(panel: Panel, lo: tuple[int, int], hi: tuple[int, int]) -> Cuboid:
    """The slab of a piece, from its extent in the panel's own drawing."""
    least, greatest = list(panel.slab.box.lo), list(panel.slab.box.hi)
    frame = panel.frame
    for k in (0, 1):
        ends = [frame.origin[k] + frame.senses[k] * v[k] for v in (lo, hi)]
        least[frame.axes[k]], greatest[frame.axes[k]] = min(ends), max(ends)
    return Cuboid(lo=(least[0], least[1], least[2]), hi=(greatest[0], greatest[1], greatest[2]))


def _split(rings: Rings, line: Line, c: int, joint: int, name: str) -> tuple[Rings, Rings]:
    """Divide upright rings along the line at c into what lies left and right of it."""
    out = c + line.half
    end = rings.ends
    along_x, sign = rings.direction()
    outer = np.arange(len(rings)) < rings.start[1]
    crossed = outer & ~along_x
    crossed &= (np.minimum(rings.xy, end)[:, 0] < out) & (np.maximum(rings.xy, end)[:, 0] > out)
    y = rings.xy[:, 1]
    bottom = np.flatnonzero(crossed & (sign < 0) & (y <= line.low))
    top = np.flatnonzero(crossed & (sign > 0) & (y >= line.high))
    if len(bottom) != 1 or len(top) != 1:
        raise InputError(
            f"a seam cannot leave {name} here",
            where=f"x {format_mm(out)}",
            value=f"{len(bottom)} sides below, {len(top)} above",
            limit="one each",
        )
    b, t = int(bottom[0]), int(top[0])
    path: list[tuple[int, int]] = [(out, int(y[b]))]
    roles: list[int] = []
    x = out
    for turn in line.turns:
        across = 2 * c - x
        path += [(x, turn), (across, turn)]
        roles += [Role.SEAM, Role.FLANK]
        x = across
    path.append((x, int(y[t])))
    roles.append(Role.SEAM)
    n = int(rings.start[1])
    arcs = {
        # from the seam's lower end round the right to its upper end, and on round the left
        "right": (b, t, path[0], path[:0:-1], roles[::-1]),
        "left": (t, b, path[-1], path[:-1], roles),
    }
    made = {}
    for side, (first, last, begin, back, along) in arcs.items():
        walk = [(first + k) % n for k in range(1, (last - first) % n + 1)]
        xy = [begin, *map(tuple, rings.xy[walk].tolist()), *back]
        made[side] = (
            np.array(xy, dtype=np.int64),
            np.concatenate([rings.role[[first, *walk]], np.array(along)]).astype(np.uint8),
            np.concatenate([rings.joint[[first, *walk]], np.full(len(along), joint)]).astype(
                np.int32
            ),
        )
    holes: dict[str, list[int]] = {"left": [], "right": []}
    for k in range(1, rings.count):
        hx, hy = min(map(tuple, rings.ring(k).tolist()), key=lambda p: p[1])
        step = sum(turn <= hy for turn in line.turns)
        at = c + (line.half if step % 2 == 0 else -line.half)
        holes["left" if hx < at else "right"].append(k)
    return (
        _with_holes(rings, made["left"], holes["left"]),
        _with_holes(rings, made["right"], holes["right"]),
    )


def _with_holes(
    rings: Rings, outer: tuple[np.ndarray, np.ndarray, np.ndarray], holes: Sequence[int]
) -> Rings:
    xy, role, joint = [outer[0]], [outer[1]], [outer[2]]
    for k in holes:
        own = slice(int(rings.start[k]), int(rings.start[k + 1]))
        xy.append(rings.xy[own])
        role.append(rings.role[own])
        joint.append(rings.joint[own])
    return Rings(
        xy=np.concatenate(xy),
        start=np.concatenate([[0], np.cumsum([len(p) for p in xy])]).astype(np.int64),
        role=np.concatenate(role),
        joint=np.concatenate(joint),
    )

"""Segments: how many on every run, how wide, and who owns each, corners included.

The rule (when nothing is asked): an odd count n >= 3 that brings the width L/n nearest to 2.5 times
the thicker mate, within the least (the thinner mate, and 4 mm) and the greatest (4 times the thicker
mate). Least and greatest steer the rule only; kerf plays no part in it, so a re-measured kerf never
changes a count. Runs of equal length in one direction share a count, taken from the thickest mate
among them, so that opposite panels are alike. Where not even three segments of the least width fit,
the run is one segment, and nothing interlocks there.

A joint holds one array of divisions that both mates use: equality is exact.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from boxjoint.errors import ArrangementError, InputError
from boxjoint.geometry.rings import Ints
from boxjoint.job.records import DIRECTIONS, Ends
from boxjoint.solve.arrangement import Arrangement, place_text
from boxjoint.solve.joints import Corner, Joint, Run, runs_of

__all__ = ["JointTabs", "RunTabs", "TabAsk", "corner_owners", "divide"]

LEAST_WIDTH = 4_000_000
"""Least tab width of the rule, nm (common practice, no source)."""
TARGET = (5, 2)
"""Target width over the thicker mate, as a fraction (common practice, no source: 2 to 3)."""
GREATEST = 4
"""Greatest width over the thicker mate (common practice, no source)."""
GREATEST_COUNT = 20_001
"""More segments than any outline of wood has; keeps a slip from asking for gigabytes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TabAsk:
    """What the job asks of the tabs.

    Parameters
    ----------
    width
        Wanted width, nm, or ``None``.
    counts
        Odd counts by axis (0, 1, 2) for finger joints; excludes ``width``.
    ends
        ``inner``: all segments equal between the corners; ``outer``: the end tab, corner included,
        shows the same width as the others (finger joints only).
    held
        Divisions of single joints that mates have which are cut already, by the names of the stronger
        and the weaker slab: for each run how far each division lies from its beginning, nm,
        ascending. Goes before all else.
    """

    width: int | None = None
    counts: Mapping[int, int] | None = None
    ends: Ends = "inner"
    held: Mapping[tuple[str, str], tuple[tuple[int, ...], ...]] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunTabs:
    """One divided run: its count, the width of a middle segment (nm) and why that count."""

    run: Run
    count: int
    width: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointTabs:
    """All segments of one joint in ascending sequence along its axis.

    Parameters
    ----------
    lo, hi
        (s,) int64, nm: where each segment begins and ends.
    owner
        (s,) int64: index of the slab that keeps it.
    runs
        The divided runs.
    """

    lo: Ints
    hi: Ints
    owner: Ints
    runs: tuple[RunTabs, ...]

    @property
    def flanks(self) -> int:
        """How many divisions lie between segments of different owners."""
        meets = self.hi[:-1] == self.lo[1:]
        return int(np.count_nonzero(meets & (self.owner[:-1] != self.owner[1:])))

    @property
    def interlocks(self) -> bool:
        """Whether tabs of both mates alternate anywhere."""
        return self.flanks > 0


def divide(
    arrangement: Arrangement,
    joints: tuple[Joint, ...],
    corners: tuple[Corner, ...],
    ask: TabAsk,
) -> tuple[JointTabs, ...]:
    """Divide every run of every joint into segments.

    Raises
    ------
    InputError
        When an asked count or width cannot be had; says what could.
    """
    splitting: list[list[Corner]] = [[] for _ in joints]
    for corner in corners:
        for j in corner.joints:
            if corner.splits(j):
                splitting[j].append(corner)
    for axis, n in (ask.counts or {}).items():
        _refuse_count(axis, n)
    slabs = arrangement.slabs
    runs = [runs_of(j, splitting[j.index], (slabs[j.a].name, slabs[j.b].name)) for j in joints]
    counts = _counts(arrangement, joints, runs, ask)
    return tuple(
        _halflap(joint, runs[joint.index])
        if joint.kind == "halflap"
        else _alternate(
            joint, runs[joint.index], counts, ask, (slabs[joint.a].name, slabs[joint.b].name)
        )
        for joint in joints
    )


_Key = tuple[int, int, int]


def _key(joint: Joint, run: Run, ask: TabAsk) -> _Key:
    outer = ask.ends == "outer" and joint.kind == "finger"
    return joint.axis, run.length, run.before + run.behind if outer else 0


def _counts(
    arrangement: Arrangement,
    joints: tuple[Joint, ...],
    runs: list[tuple[Run, ...]],
    ask: TabAsk,
) -> dict[_Key, tuple[int, str]]:
    """Choose the count of every group of runs that are alike, with the reason."""
    groups: dict[_Key, list[tuple[Joint, Run]]] = {}
    names_of = [s.name for s in arrangement.slabs]
    for joint in joints:
        held = (ask.held or {}).get((names_of[joint.a], names_of[joint.b]), ())
        if joint.kind != "halflap" and len(held) != len(runs[joint.index]):
            for run in runs[joint.index]:
                groups.setdefault(_key(joint, run, ask), []).append((joint, run))
    chosen = {}
    for key, members in groups.items():
        mates = [
            sorted((arrangement.slabs[j.a].thickness, arrangement.slabs[j.b].thickness))
            for j, _ in members
        ]
        thick = max(m[1] for m in mates)
        least = max(LEAST_WIDTH, max(m[0] for m in mates))
        finger = any(j.kind == "finger" for j, _ in members)
        corner = max(max(r.before, r.behind) for _, r in members) if key[2] else 0
        names = _names(arrangement, members[0][0])
        chosen[key] = _count(key, thick, least, corner, ask, finger, names)
    return chosen


def _names(arrangement: Arrangement, joint: Joint) -> str:
    return f"{arrangement.slabs[joint.a].name} and {arrangement.slabs[joint.b].name}"


def _count(
    key: _Key, thick: int, least: int, corner: int, ask: TabAsk, finger: bool, names: str
) -> tuple[int, str]:
    axis, length, outside = key
    whole = length + outside  # what n equal widths have to cover
    where = f"joint between {names}, run of {length / 1e6:.6g} mm along {'xyz'[axis]}"
    if finger and ask.counts and axis in ask.counts:
        n = ask.counts[axis]
        if outside and whole < _least_outer(corner) * n:
            raise InputError(
                "outer ends leave too little of the end tab beside its corner",
                where=where,
                value=f"{n} segments of {whole / n / 1e6:.2f} mm, corner {corner / 1e6:.2f} mm",
                limit=f"segments of at least {_least_outer(corner) / 1e6:.2f} mm",
                do='ask for fewer, or set ends = "inner"',
            )
        if length < n:
            raise InputError("more segments than nanometres", where=where, value=str(n))
        return n, f"asked: {n} along {DIRECTIONS[axis]}"
    target2 = 2 * ask.width if ask.width else TARGET[0] * thick * 2 // TARGET[1]  # twice the target
    top = whole // least
    bottom = -(-whole // (GREATEST * thick))
    if ask.width:
        top, bottom = whole, 3
    if corner:  # the end tab must keep something beside its corner
        top = min(top, whole // _least_outer(corner))
    if top < 3:
        if corner and ask.ends == "outer" and whole // least >= 3:
            raise InputError(
                "outer ends do not fit: the end tab would be lost in its corner",
                where=where,
                limit=f"a run of at least {4 * corner / 1e6:.4g} mm",
                do='set ends = "inner"',
            )
        return 1, (
            f"one segment: three of the least width {least / 1e6:.4g} mm do not fit; "
            "nothing interlocks here"
        )
    n = _nearest_odd(whole, target2, max(3, bottom), top)
    width = whole / n
    if ask.width:
        if 2 * whole < 3 * ask.width:
            raise InputError(
                "tabs of the asked width do not fit three to a run",
                where=where,
                value=f"tab_width {ask.width / 1e6:.6g} mm",
                limit=f"at most {2 * whole / 3e6:.4g} mm here",
                do="ask for narrower tabs, or give segments by direction",
            )
        return n, f"nearest to the asked {ask.width / 1e6:.4g} mm"
    why = f"nearest to 2.5 x {thick / 1e6:.4g} mm, the thickest mate"
    if not 2 * least <= 2 * width <= 2 * GREATEST * thick:
        why += ", within what fits"
    return n, why


def _refuse_count(axis: int, n: int) -> None:
    """Refuse a count that no run can have, whatever its length."""
    if 3 <= n <= GREATEST_COUNT and n % 2:
        return
    near = "3" if n < 3 else str(GREATEST_COUNT) if n > GREATEST_COUNT else f"{n - 1} or {n + 1}"
    raise InputError(
        f"the count of segments must be odd, at least 3 and at most {GREATEST_COUNT}",
        where=f"segments along {DIRECTIONS[axis]}",
        value=str(n),
        do=f"use {near}",
    )


def _least_outer(corner: int) -> int:
    """Least width of an outer end tab, corner included, nm: a quarter of the corner stays beside it."""
    return corner + max(corner // 4, 2)


def _odd_below(n: int) -> int:
    return n if n % 2 else n - 1


def _nearest_odd(whole: int, target2: int, lo: int, hi: int) -> int:
    """Odd n in [lo, hi] (hi >= 3) whose width whole/n is nearest target2/2; of equals the smaller."""
    lo = lo if lo % 2 else lo + 1
    hi = _odd_below(hi)
    lo = min(lo, hi)
    ideal = max(1, 2 * whole // target2)
    below = min(max(_odd_below(ideal), lo), hi)
    above = min(below + 2, hi)
    # compare |whole/n - target| without division
    off_below = abs(2 * whole - target2 * below) * above
    off_above = abs(2 * whole - target2 * above) * below
    return above if off_above < off_below else below


def _alternate(
    joint: Joint,
    runs: tuple[Run, ...],
    counts: dict[_Key, tuple[int, str]],
    ask: TabAsk,
    names: tuple[str, str],
) -> JointTabs:
    los, his, owners, divided = [], [], [], []
    held = (ask.held or {}).get(names, ())
    for number, run in enumerate(runs):
        if len(held) == len(runs):
            inner = _held_walls(run, held[number], names)
            wall = np.concatenate([[run.lo], inner, [run.hi]]).astype(np.int64)
            n, why = len(wall) - 1, "as the mate has it that is cut already"
            los.append(wall[:-1])
            his.append(wall[1:])
            owner = np.full(n, joint.first, dtype=np.int64)
            owner[1::2] = joint.second
            owners.append(owner)
            width = int(wall[2] - wall[1]) if n > 1 else run.length  # ends may be of another width
            divided.append(RunTabs(run=run, count=n, width=width, why=why))
            continue
        key = _key(joint, run, ask)
        n, why = counts[key]
        whole = run.length + key[2]
        before = run.before if key[2] else 0
        i = np.arange(1, n, dtype=np.int64)
        inner = run.lo - before + (2 * whole * i + n) // (2 * n)  # rounded once to a nanometre
        wall = np.concatenate([[run.lo], inner, [run.hi]]).astype(np.int64)
        los.append(wall[:-1])
        his.append(wall[1:])
        owner = np.full(n, joint.first, dtype=np.int64)
        owner[1::2] = joint.second
        owners.append(owner)
        divided.append(RunTabs(run=run, count=n, width=(2 * whole + n) // (2 * n), why=why))
    return JointTabs(
        lo=np.concatenate(los),
        hi=np.concatenate(his),
        owner=np.concatenate(owners),
        runs=tuple(divided),
    )


def _held_walls(run: Run, held: tuple[int, ...], names: tuple[str, str]) -> Ints:
    """Place the divisions of a mate that is cut already; refuse those that lie outside the run."""
    walls = run.lo + np.array(held, dtype=np.int64)
    ends = np.concatenate([[run.lo], walls, [run.hi]])
    if np.any(np.diff(ends) <= 0):
        raise ArrangementError(
            f"the divisions that {names[0]} and {names[1]} have already do not fit the joint any more",
            where=f"run of {run.length / 1e6:.6g} mm",
            value=f"the last division lies at {max(held) / 1e6:.6g} mm" if held else "",
            do="cut the whole box again with restock",
        )
    return walls


def _halflap(joint: Joint, runs: tuple[Run, ...]) -> JointTabs:
    """Two segments over the whole bar: the stronger keeps the lower, even where corners split it."""
    lo, hi = runs[0].lo, runs[-1].hi
    middle = (lo + hi) // 2
    los, his, owners, divided = [], [], [], []
    for run in runs:
        parts = [(run.lo, run.hi)]
        if run.lo < middle < run.hi:
            parts = [(run.lo, middle), (middle, run.hi)]
        for a, b in parts:
            los.append(a)
            his.append(b)
            owners.append(joint.a if b <= middle else joint.b)
        divided.append(
            RunTabs(
                run=run,
                count=len(parts),
                width=parts[0][1] - parts[0][0],
                why="half-lap: two segments",
            )
        )
    return JointTabs(
        lo=np.array(los, dtype=np.int64),
        hi=np.array(his, dtype=np.int64),
        owner=np.array(owners, dtype=np.int64),
        runs=tuple(divided),
    )


def corner_owners(
    arrangement: Arrangement,
    joints: tuple[Joint, ...],
    corners: tuple[Corner, ...],
    tabs: tuple[JointTabs, ...],
) -> tuple[int, ...]:
    """Say which slab owns each corner; -1 where the segments of a joint run through it.

    A corner at the end of all its bars goes to the strongest slab that owns a segment ending there,
    so that it hangs on to its panel.

    Raises
    ------
    ArrangementError
        When no slab owns a segment that ends at such a corner.
    """
    owners = []
    for corner in corners:
        owner = corner.owner
        if owner == -2:
            holders: set[int] = set()
            for j in corner.joints:
                lo, hi = corner.box.span(joints[j].axis)
                t = tabs[j]
                holders.update(t.owner[(t.hi == lo) | (t.lo == hi)].tolist())
            holders &= set(corner.slabs)
            if not holders:
                raise ArrangementError(
                    "a corner hangs on to none of its panels",
                    where=place_text(corner.box),
                    value=", ".join(arrangement.slabs[s].name for s in corner.slabs),
                )
            owner = min(holders)
        owners.append(owner)
    return tuple(owners)

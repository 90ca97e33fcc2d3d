"""The assembly sequence replayed on solids: every move at several positions, not only at its ends.

It takes the steps as they are told and shares no code with the search that found them: solids are moved
by the kernel, and their common volume with what is in place already must be nothing. Between two
positions at which faces square to the travel come level, the common volume of two solids with faces
square to the axes grows or shrinks in proportion to the travel; so nothing at all of these positions is
nothing everywhere between them. Where they are few, all are tried; else as many, spread evenly.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from boxjoint.check import kernel
from boxjoint.check.assembly import Step
from boxjoint.check.crop import Croppable, common
from boxjoint.check.kernel import Extent
from boxjoint.check.solid_facts import (
    VOLUME_MM3,
    Progress,
    SolidFault,
    counted,
    space_fault,
)
from boxjoint.solve.panels import Panel

__all__ = ["LEAST", "MOST", "Replay", "replay"]

LEAST = 5
"""Positions of each part that comes near something on its way, at least."""
MOST = 12
"""And at most; more positions than this where faces come level are sampled."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """What the replay found.

    Parameters
    ----------
    moves
        How many moves were replayed.
    positions
        Positions of parts that were tried for common volume with what is near.
    sampled
        Parts of which not all positions were tried at which faces come level.
    faults
        Empty when nothing strikes and every step follows from those before it.
    """

    moves: int
    positions: int
    sampled: tuple[str, ...]
    faults: tuple[SolidFault, ...]


def replay(
    panels: Sequence[Panel],
    steps: Sequence[Step],
    progress: Progress | None = None,
) -> Replay:
    """Replay an assembly sequence on nominal solids.

    Parameters
    ----------
    panels
        All of them.
    steps
        The sequence that is claimed.
    progress
        Called with (stage, done, total).

    Raises
    ------
    MissingExtra
        When the solid kernel is not installed.
    ProofFailed
        When the kernel itself fails; a move that strikes is a fault of the result instead.
    """
    kernel.require_kernel("the replay of the assembly sequence")
    solids = {p.name: kernel.panel_solid(p, p.rings) for p in panels}
    croppable = {p.name: Croppable.of(p, p.rings, solids[p.name]) for p in panels}
    faults: list[SolidFault] = []
    sampled: dict[str, None] = {}
    heaps: list[frozenset[str]] = []  # what is together so far, each heap apart from the others
    moves = positions = 0
    for number, step in counted("replayed steps", list(enumerate(steps, 1)), progress or _silent):
        moved, there = frozenset(step.parts), frozenset(step.there)
        if wrong := _out_of_turn(step, heaps, set(solids)):
            faults.append(_misplaced(step, f"step {number}: {wrong}"))
            break  # what follows was never in place
        heaps = [h for h in heaps if h not in (moved, there)]
        heaps.append(moved | there)
        if step.direction is None:
            continue
        moves += 1
        for name in step.parts:
            tried, all_of_them = _travel(
                croppable[name],
                step.direction,
                {n: croppable[n] for n in step.there},
                number,
                faults,
            )
            positions += tried
            if not all_of_them:
                sampled[name] = None
    if not faults and heaps != [frozenset(solids)]:
        faults.append(
            SolidFault(
                kind="sequence",
                panels=tuple(sorted(set(solids) - (heaps[-1] if heaps else frozenset()))),
                where="the end: not everything is together",
                size=0.0,
                unit="mm3",
            )
        )
    return Replay(moves=moves, positions=positions, sampled=tuple(sampled), faults=tuple(faults))


def _out_of_turn(step: Step, heaps: Sequence[frozenset[str]], every: set[str]) -> str:
    """Say why a step does not follow from those before it; empty when it does."""
    moved, there = frozenset(step.parts), frozenset(step.there)
    placed = frozenset[str]().union(*heaps)
    if not moved or not moved | there <= every:
        return "a part that there is none of"
    if step.direction is None:
        return (
            "" if len(step.parts) == 1 and not there and not moved & placed else "laid down twice"
        )
    if there not in heaps:
        return "what it is put to was not put together before"
    if len(moved) > 1 and moved not in heaps:
        return "what is moved as one was not put together before"
    if len(moved) == 1 and moved & placed and moved not in heaps:
        return "it is in place already"
    return "" if not moved & there else "it is moved to itself"


def _misplaced(step: Step, where: str) -> SolidFault:
    return SolidFault(kind="sequence", panels=step.parts, where=where, size=0.0, unit="mm3")


def _travel(
    moving: Croppable,
    direction: tuple[int, int],
    there: Mapping[str, Croppable],
    number: int,
    faults: list[SolidFault],
) -> tuple[int, bool]:
    """Move one solid home; return the positions tried, and whether all level places were tried."""
    axis, sense = direction
    mine = moving.extent
    near = [n for n, other in there.items() if _beside(mine, other.extent, axis)]
    spots, complete = _spots(moving.solid, [there[n].solid for n in near], axis, sense)
    tried = 0
    for far in spots:
        by = [0.0, 0.0, 0.0]
        by[axis] = -sense * far
        here = _shifted(mine, by)
        close = [n for n in near if here.shares_volume(there[n].extent)]
        if not close:
            continue
        tried += 1
        # one by one: asked all at once, the kernel also tries these against each other
        shared = {n: common(moving, there[n], by) for n in close}
        size = {n: abs(kernel.volume(both)) for n, both in shared.items()}
        if sum(size.values()) > VOLUME_MM3:
            worst = max(size, key=lambda n: size[n])
            struck = [n for n in close if size[n] > VOLUME_MM3] or [worst]
            faults.append(
                space_fault(
                    "strike",
                    (moving.panel.name, *struck),
                    shared[worst],
                    f"step {number}, {far:.6g} mm before its place, ",
                )
            )
            break
    return tried, complete


def _spots(solid: Any, others: Sequence[Any], axis: int, sense: int) -> tuple[list[float], bool]:
    """How far before its place a solid is looked at, mm ascending, and whether these are all."""
    mine = kernel.levels(solid, axis)
    rest = sorted({v for s in others for v in kernel.levels(s, axis)})
    if not rest:
        return [], True
    # moved back by d, a face at m stands at m - sense * d
    level = sorted({round(sense * (m - r), 9) for m in mine for r in rest})
    clear = level[-1]
    if clear <= 0:
        return [0.0], True
    level = [0.0, *(d for d in level if 0 < d < clear)]
    complete = len(level) <= MOST
    if not complete:
        level = [level[k * (len(level) - 1) // (MOST - 1)] for k in range(MOST)]
    # straight after home is where tabs would strike first
    more = [clear * k / (LEAST + 1) for k in range(1, LEAST + 1)]
    return sorted({*level, *(more if len(level) < LEAST else [])}), complete


def _beside(one: Extent, other: Extent, axis: int) -> bool:
    """Whether two boxes overlap as seen along an axis."""
    return all(one.lo[k] < other.hi[k] and other.lo[k] < one.hi[k] for k in range(3) if k != axis)


def _shifted(box: Extent, by: Sequence[float]) -> Extent:
    lo = [box.lo[k] + by[k] for k in range(3)]
    hi = [box.hi[k] + by[k] for k in range(3)]
    return Extent((lo[0], lo[1], lo[2]), (hi[0], hi[1], hi[2]))


def _silent(stage: str, done: int, total: int) -> None:
    pass

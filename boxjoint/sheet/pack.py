"""The whole search under one budget: constructions, ruin and recreate, beam search, and again.

Four levels, counted in iterations, so that the same problem gives the same layout on every machine.
Each level goes on from the layout of the one below, so more search is never worse.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from itertools import product

from boxjoint.sheet.beam import beam_search
from boxjoint.sheet.constructions import (
    RULES,
    SORTS,
    Sizes,
    construct,
    construct_global,
    sorted_copies,
)
from boxjoint.sheet.improve import empty_last, shrink_last
from boxjoint.sheet.rectangles import Layout, Problem

__all__ = ["LEVELS", "MANY_COPIES", "Budget", "pack"]

#: A layout this close above the area bound is not searched further.
_GOOD = 1.0005
#: Above so many copies only some constructions are tried and no beams; above the second only two.
MANY_COPIES, _VERY_MANY = 600, 2500


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Iterations of one level.

    ``ruin`` and ``shrink`` are steps of ruin and recreate before the beams, and again ``after``
    times as many at the end; ``beams`` are the widths of the beam search.
    """

    ruin: int
    shrink: int
    beams: tuple[int, ...]
    after: float


LEVELS = (
    Budget(ruin=0, shrink=0, beams=(), after=0.0),
    Budget(ruin=250, shrink=250, beams=(16, 64), after=1.0),
    Budget(ruin=1500, shrink=1500, beams=(256,), after=2.0),
    Budget(ruin=6000, shrink=4000, beams=(768,), after=2.0),
)


def pack(problem: Problem, *, level: int = 1, seed: int = 0) -> tuple[Layout, list[int]]:
    """Lay all parts into the bins, at little cost.

    Parameters
    ----------
    problem
        Parts and bins; every part must fit into some bin alone.
    level
        Index into :data:`LEVELS`.
    seed
        Of the random numbers.

    Returns
    -------
    (the best layout found, the parts of copies that found no place). When something found no place
    the layout is that of the construction with the least area left over, and nothing was improved.
    """
    sizes = Sizes(problem.parts)
    layout, left = _constructed(problem, sizes)
    if left:
        return layout, left
    scale = _scale(problem, layout)
    plain = not problem.windows and not any(b.blocked for b in problem.bins)
    widths_tried: set[int] = set()
    for number in range(1, level + 1):
        budget = LEVELS[number]
        rng = random.Random(seed * len(LEVELS) + number)
        layout = _improved(problem, sizes, layout, budget, scale, rng)
        if plain and problem.total <= MANY_COPIES:
            for width in budget.beams:
                reduced = max(1, int(width * scale))
                if reduced not in widths_tried:
                    widths_tried.add(reduced)
                    layout = _beamed(problem, layout, reduced)
        layout = _improved(problem, sizes, layout, budget, scale * budget.after, rng)
    return layout, []


def _beamed(problem: Problem, layout: Layout, width: int) -> Layout:
    for by_mean, sideways in product((True, False), repeat=2):
        if _good(problem, layout):
            break
        found = beam_search(problem, width=width, by_mean=by_mean, sideways=sideways)
        if found is not None and problem.cost(found) < problem.cost(layout):
            layout = found
    return layout


def _scale(problem: Problem, layout: Layout) -> float:
    """Less steps where each costs more: for bins that hold many parts, and for many parts at all."""
    bins = sum(1 for spots in layout if spots)
    share = problem.total / bins
    return min(1.0, 30 / share) * min(1.0, 300 / problem.total)


def _good(problem: Problem, layout: Layout) -> bool:
    return problem.cost(layout)[1] <= _GOOD * problem.needed


def _improved(
    problem: Problem,
    sizes: Sizes,
    layout: Layout,
    budget: Budget,
    scale: float,
    rng: random.Random,
) -> Layout:
    if not _good(problem, layout):
        layout = empty_last(problem, sizes, layout, int(budget.ruin * scale), rng)
    if not _good(problem, layout):
        layout = shrink_last(problem, sizes, layout, int(budget.shrink * scale), rng)
    return layout


def _constructed(problem: Problem, sizes: Sizes) -> tuple[Layout, list[int]]:
    """The best of the constructions: least area left over, then least cost."""
    total = problem.total
    sorts, rules = list(SORTS), list(RULES)
    if total > _VERY_MANY:
        sorts, rules = sorts[:1], rules[:2]
    elif total > MANY_COPIES:
        sorts, rules = sorts[:3], rules[:3]
    best: tuple[tuple[int, tuple[int, int]], Layout, list[int]] | None = None
    for key in sorts:
        sequence = sorted_copies(problem, key)
        for rule in rules:
            best = _better(problem, best, construct(problem, sizes, sequence, rule))
            if best[0][0] == 0 and _good(problem, best[1]):
                return best[1], best[2]
    if total <= MANY_COPIES:
        for rule in RULES[:3]:
            best = _better(problem, best, construct_global(problem, sizes, rule))
    if best is None:
        return [[] for _ in problem.bins], []
    return best[1], best[2]


def _better(
    problem: Problem,
    best: tuple[tuple[int, tuple[int, int]], Layout, list[int]] | None,
    found: tuple[Layout, list[int]],
) -> tuple[tuple[int, tuple[int, int]], Layout, list[int]]:
    layout, left = found
    price = (sum(problem.areas[c] for c in left), problem.cost(layout))
    if best is None or price < best[0]:
        return price, layout, left
    return best

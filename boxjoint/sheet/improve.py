"""Ruin and recreate: empty a bin or two, fill them again from their parts and what is left over.

Two goals take turns. Hold all bins but the last and make the area of what goes into the last one
smaller, until it needs no bin at all. And lay what is in the last bin so that less of it is used up:
shrink the bin to just under what is used, and ruin and recreate until all fits again.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

from boxjoint.sheet.constructions import LEFT, LOW, RULES, SORTS, Sizes, fill
from boxjoint.sheet.rectangles import Layout, Problem, Spot

__all__ = ["empty_last", "shrink_last"]

_MEMORY = 5  # steps that a worse state is compared with
_NOISE = 0.5  # how far a sort key is stretched at most
_NEAR = 1.03  # a leftover so near the least is worth laying out: less area may still use up more


def _pick(rng: random.Random, n: int) -> int:
    """A number from 0 to n - 1; only ``random()`` is the same in every version of Python."""
    return min(int(rng.random() * n), n - 1)


def last_bin(problem: Problem, layout: Layout) -> int:
    """The bin counted by what is used up: see :meth:`Problem.cost`."""
    filled = [i for i, spots in enumerate(layout) if spots]
    bought = [i for i in filled if not problem.bins[i].spare]
    return max(
        bought or filled, key=lambda i: (problem.bins[i].area - problem.used(i, layout[i]), i)
    )


class _Noise:
    """Sequences of copies, largest first but for some noise."""

    def __init__(self, problem: Problem, rng: random.Random) -> None:
        self.rng = rng
        self.keys = [[max(key(*p.size), 1) for p in problem.parts] for key in SORTS[:4]]

    def sequence(self, copies: Sequence[int]) -> list[int]:
        random_ = self.rng.random
        keys = self.keys[_pick(self.rng, len(self.keys))]
        amount = _NOISE * random_()
        drawn = [(keys[c] * (1.0 - amount * random_()), c) for c in copies]
        drawn.sort(key=lambda t: (-t[0], t[1]))
        return [c for _, c in drawn]


def compact(
    problem: Problem, sizes: Sizes, index: int, copies: Sequence[int]
) -> tuple[int, list[Spot]] | None:
    """Lay all copies into one bin so that little is used up: (area used, spots), or ``None``."""
    best: tuple[int, list[Spot]] | None = None
    sides = [p.size for p in problem.parts]
    for key in SORTS[:4]:
        sequence = sorted(copies, key=lambda c: (-key(*sides[c]), c))
        for rule in (LOW, LEFT):
            spots, left = fill(problem, sizes, index, sequence, rule)
            if not left:
                used = problem.used(index, spots)
                if best is None or used < best[0]:
                    best = (used, spots)
    return best


def empty_last(
    problem: Problem, sizes: Sizes, layout: Layout, steps: int, rng: random.Random
) -> Layout:
    """Make what goes into the last bin smaller, until that bin is not needed; the best layout met.

    Parameters
    ----------
    layout
        A layout that holds all parts; it is not changed.
    steps
        How many times a bin or two are emptied and filled again.
    """
    best = [list(spots) for spots in layout]
    cost = problem.cost(best)
    areas = problem.areas
    noise = _Noise(problem, rng)
    while steps > 0:
        last = last_bin(problem, best)
        held = [i for i, spots in enumerate(best) if spots and i != last]
        if not held:
            break
        state = [list(spots) for spots in best]
        over = [s[0] for s in state[last]]
        state[last] = []
        area = sum(areas[c] for c in over)
        least = area
        memory = [area] * _MEMORY
        solved = False
        while steps > 0 and not solved:
            steps -= 1
            chosen = [held[_pick(rng, len(held))]]
            if len(held) > 1 and rng.random() < 0.6:
                other = held[_pick(rng, len(held))]
                if other != chosen[0]:
                    chosen.append(other)
            pool = over + [s[0] for i in chosen for s in state[i]]
            rest = noise.sequence(pool)
            fresh = []
            for i in chosen:
                spots, rest = fill(problem, sizes, i, rest, RULES[_pick(rng, len(RULES))])
                fresh.append(spots)
            now = sum(areas[c] for c in rest)
            slot = steps % _MEMORY
            if now > area and now > memory[slot]:
                continue
            memory[slot] = area
            for i, spots in zip(chosen, fresh, strict=True):
                state[i] = spots
            over, area = rest, now
            if area < least or (steps % 4 == 0 and area <= _NEAR * least):
                least = min(least, area)
                packed = (0, []) if not over else compact(problem, sizes, last, over)
                if packed is None:
                    continue
                found = [list(spots) for spots in state]
                found[last] = list(packed[1])
                price = problem.cost(found)
                if price < cost:
                    best, cost = found, price
                solved = not over
        if not solved:
            break
    return best


def shrink_last(
    problem: Problem, sizes: Sizes, layout: Layout, steps: int, rng: random.Random
) -> Layout:
    """Use up less of the last bin; the layout of the others stays.

    A direction is taken at random; the bin ends one unit before what is used up now. Copies that
    found no place move forward in the sequence.
    """
    best = [list(spots) for spots in layout]
    last = last_bin(problem, best)
    b = problem.bins[last]
    copies = [s[0] for s in best[last]]
    noise = _Noise(problem, rng)
    areas = problem.areas
    total = sum(areas[c] for c in copies)
    used = problem.used(last, best[last])
    sequence = noise.sequence(copies)
    memory = [total] * _MEMORY
    over = total
    while steps > 0:
        # all copies must fit beside the part that is kept: less is not possible
        if used - max(b.width, b.height) < total and not problem.windows:
            break
        steps -= 1
        upright = rng.random() < 0.5
        room = ((used - 1) // b.height, b.height) if upright else (b.width, (used - 1) // b.width)
        trial = _shuffled(rng, noise, sequence)
        spots, left = fill(problem, sizes, last, trial, RULES[_pick(rng, len(RULES))], room)
        if not left:
            best[last] = spots
            used = problem.used(last, spots)
            sequence = trial
            memory = [total] * _MEMORY
            over = total
            continue
        now = sum(areas[c] for c in left)
        slot = steps % _MEMORY
        if now <= over or now <= memory[slot]:
            memory[slot] = over
            over = now
            sequence = _forward(rng, trial, left)
    return best


def _shuffled(rng: random.Random, noise: _Noise, sequence: list[int]) -> list[int]:
    """A neighbour of the sequence: some copies swapped or moved; now and then a fresh one."""
    if rng.random() < 0.1:
        return noise.sequence(sequence)
    trial = list(sequence)
    for _ in range(1 + _pick(rng, 3)):
        i, j = _pick(rng, len(trial)), _pick(rng, len(trial))
        if rng.random() < 0.5:
            trial[i], trial[j] = trial[j], trial[i]
        else:
            trial.insert(j, trial.pop(i))
    return trial


def _forward(rng: random.Random, sequence: list[int], left: Sequence[int]) -> list[int]:
    """The sequence with one of the copies that found no place moved forward at random."""
    out = list(sequence)
    copy = left[_pick(rng, len(left))]
    i = out.index(copy)
    out.insert(_pick(rng, i + 1), out.pop(i))
    return out

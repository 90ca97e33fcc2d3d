"""What is left of a sheet: disjoint rectangles that are worth keeping, largest first."""

from __future__ import annotations

from collections.abc import Iterable

from boxjoint.sheet.rectangles import Rect, empty_rectangles, occupy

__all__ = ["MOST_REMAINS", "remaining_rectangles"]

#: More pieces of one sheet than this are not kept apart.
MOST_REMAINS = 6


def remaining_rectangles(
    room: tuple[int, int],
    taken: Iterable[Rect],
    distance: int,
    least: tuple[int, int],
) -> tuple[tuple[int, int, int, int], ...]:
    """Return the offcuts of a sheet.

    Parameters
    ----------
    room
        (width, height) of the sheet, nm. The margin is kept with the offcut; so is what lay under a
        clamp or beyond the bed.
    taken
        Rectangles that are cut away or flawed, nm.
    distance
        Kept from them, nm.
    least
        (long side, short side) of the smallest rectangle worth keeping, nm.

    Returns
    -------
    (x, y, width, height) of each, nm; every one is the largest rectangle that was still free.
    """
    long, short = max(least), min(least)
    grown = [(a - distance, b - distance, c + distance, d + distance) for a, b, c, d in taken]
    free = [
        r
        for r in empty_rectangles((0, 0, *room), grown, max(short, 1))
        if min(r[2] - r[0], r[3] - r[1]) >= short
    ]
    kept: list[Rect] = []
    while len(kept) < MOST_REMAINS:
        free = [r for r in free if max(r[2] - r[0], r[3] - r[1]) >= long]
        if not free:
            break
        best = max(free, key=lambda r: ((r[2] - r[0]) * (r[3] - r[1]), r))
        kept.append((best[0], best[1], best[2] - best[0], best[3] - best[1]))
        free = occupy(free, best, max(short, 1))
    return tuple(kept)

"""From items and sheets to a proved nest.

Kinds of stock go apart: items are nested together when the same sheets suit them. Lengths are rounded
to 0.01 mm for the search only, items up and sheets down, so that no spacing is undercut; the result is
proved in nanometres.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

from boxjoint.sheet.checker import Outlines, check_nest
from boxjoint.sheet.choose import Chosen, Model, area_bound, choose
from boxjoint.sheet.pack import MANY_COPIES
from boxjoint.sheet.records import (
    Left,
    Nest,
    NestAsk,
    NestedSheet,
    Place,
    Placement,
    SheetStock,
    Strip,
)
from boxjoint.sheet.rectangles import UNIT_NM, Problem
from boxjoint.sheet.remains import remaining_rectangles
from boxjoint.sheet.suits import Group, Room, check_names, groups_of

__all__ = ["chosen_level", "nest"]

#: CPU seconds of each level for 100 different copies, as measured by ``bench/nest.py`` on one machine;
#: they grow with the number of copies to the power below. Other machines differ, and may be several
#: times as slow: the budget chooses a level and promises nothing.
_SECONDS = (0.02, 0.8, 4.1, 19.0)
_POWER = 1.45

#: (what is nested now, share done from 0 to 1)
Progress = Callable[[str, float], None]


def nest(
    items: Sequence[Place],
    sheets: Sequence[SheetStock],
    ask: NestAsk,
    *,
    outlines: Outlines | None = None,
    progress: Progress | None = None,
) -> Nest:
    """Nest an order, and prove the result.

    Parameters
    ----------
    items
        What is to be cut; the sequence does not change the result.
    sheets
        What there is to cut it from.
    ask
        Spacing, margin, bed, keep-outs, how long to search.
    outlines
        The real cut path of a placement (see :data:`~boxjoint.sheet.checker.Outlines`); ``None``
        proves the rectangles only.
    progress
        Called before each kind of stock.

    Returns
    -------
    Nest

    Raises
    ------
    InputError
        Before any search: no sheets, none of that material or thickness, keep-outs that cover all,
        contradicting grain, an item that fits on no sheet (with the sizes, the nearest that fits and
        by how much it is too large). After it: too few sheets, and how many more would do.
    ProofFailed
        When the independent check finds a fault.
    """
    check_names(items, sheets)
    level = chosen_level(sum(i.quantity for i in items), ask)
    left = {s.name: s.count for s in sheets}
    nested: list[NestedSheet] = []
    bound = equivalent = 0.0
    groups = groups_of(items, sheets, ask)
    for group in groups:
        group.require_fit(ask)
    for number, group in enumerate(groups):
        if progress is not None:
            progress(group.label, number / len(groups))
        found, least, share = _nest_group(group, left, ask, level, len(nested))
        nested += found
        bound += least
        equivalent += share
    result = Nest(
        sheets=tuple(nested),
        bound=bound,
        equivalent=equivalent,
        left=tuple(
            Left(stock=s, count=left[s.name])
            for s in sorted(sheets, key=lambda s: s.name)
            if left[s.name] != 0
        ),
        level=level,
        seed=ask.seed,
    )
    check_nest(result, items, sheets, ask, outlines)
    return result


def chosen_level(copies: int, ask: NestAsk) -> int:
    """The highest level, not above the one asked for, that the time budget is likely to cover.

    Above :data:`~boxjoint.sheet.pack.MANY_COPIES` the search is cut short anyway, and all levels take
    about as long.
    """
    if ask.seconds is None or copies > MANY_COPIES:
        return ask.level
    for level in range(ask.level, 0, -1):
        if _SECONDS[level] * (copies / 100) ** _POWER <= ask.seconds:
            return level
    return 0


def _nest_group(
    group: Group, left: dict[str, int | None], ask: NestAsk, level: int, first: int
) -> tuple[list[NestedSheet], float, float]:
    """Nest one group; takes the sheets that it uses out of ``left``."""
    model = Model.of(group, ask)
    bins = model.bins
    chosen = choose(group, model, left, level=level, seed=ask.seed)
    used = Counter(room for room, _ in chosen)
    for room, count in used.items():
        have = left[group.rooms[room].stock.name]
        if have is not None:
            left[group.rooms[room].stock.name] = have - count
    problem = Problem(model.parts, bins)
    share = {i: problem.used(r, spots) / bins[r].area for i, (r, spots) in enumerate(chosen)}
    order = sorted(
        range(len(chosen)),
        key=lambda i: (
            not group.rooms[chosen[i][0]].stock.offcut,
            group.rooms[chosen[i][0]].stock.name,
            -share[i],
            chosen[i][1],
        ),
    )
    # the sheet of which most is kept comes last, whatever its name
    bought = [i for i in order if not bins[chosen[i][0]].spare] or order
    last = min(bought, key=lambda i: (share[i], order.index(i)))
    order = [i for i in order if i != last] + [last]
    waiting = [list(reversed(c)) for c in model.copies]
    nested = [
        _sheet(group.rooms[chosen[i][0]], model, chosen[i], waiting, ask, first + k, share[i])
        for k, i in enumerate(order)
    ]
    return nested, area_bound(group, model), len(nested) - 1 + share[last]


def _sheet(
    room: Room,
    model: Model,
    chosen: Chosen,
    waiting: list[list[tuple[Place, int]]],
    ask: NestAsk,
    index: int,
    used: float,
) -> NestedSheet:
    """Name what lies on one sheet; takes the copies out of ``waiting``."""
    b = model.bins[chosen[0]]
    placed: list[Placement] = []
    for part, x, y, way in sorted(chosen[1], key=lambda s: (s[2], s[1], s[0])):
        item, copy = waiting[part].pop()
        quarters = model.parts[part].ways[b.kind][way].quarters
        at = (room.x0 + x * UNIT_NM, room.y0 + y * UNIT_NM)
        members = (
            zip(item.members, item.offsets(quarters), strict=True)
            if isinstance(item, Strip)
            else [(item, (0, 0))]
        )
        for member, (dx, dy) in members:
            placed.append(
                Placement(
                    item=member,
                    copy=copy,
                    sheet=index,
                    x=at[0] + dx,
                    y=at[1] + dy,
                    quarters=quarters,
                )
            )
    placed = _hosted(placed)
    stock = room.stock
    gone = [p.extent for p in placed if p.host is None]
    taken = sum((x1 - x0 + ask.spacing) * (y1 - y0 + ask.spacing) for x0, y0, x1, y1 in gone)
    flaws = [(k.x, k.y, k.x + k.width, k.y + k.height) for k in stock.keep_outs]
    return NestedSheet(
        stock=stock,
        placements=tuple(placed),
        fill=taken / (b.area * UNIT_NM * UNIT_NM),
        used=used,
        remains=remaining_rectangles(
            (stock.width, stock.height), gone + flaws, ask.spacing, ask.least_offcut
        ),
    )


def _hosted(placed: list[Placement]) -> list[Placement]:
    """Name the host of every placement that lies in a window: the tightest."""
    windows = [
        (w * h, i, (p.x + x, p.y + y, p.x + x + w, p.y + y + h))
        for i, p in enumerate(placed)
        for x, y, w, h in p.item.windows_at(p.quarters)
    ]
    windows.sort()
    out = []
    for p in placed:
        a, b, c, d = p.extent
        host = next(
            (
                i
                for _, i, (x0, y0, x1, y1) in windows
                if x0 <= a and y0 <= b and c <= x1 and d <= y1
            ),
            None,
        )
        out.append(replace(p, host=host))
    return out

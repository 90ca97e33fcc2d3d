"""Which sheets of one kind of stock, and what lies on each.

Offcuts come before sheets. Every sheet size is tried as the first to be taken, and the best is searched
further; a sheet that was bought and needs not be so large is swapped for a smaller one at the end.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from boxjoint.errors import InputError
from boxjoint.sheet.constructions import Sizes
from boxjoint.sheet.improve import compact
from boxjoint.sheet.pack import pack
from boxjoint.sheet.records import Axis, NestAsk, Place, size_text
from boxjoint.sheet.rectangles import UNIT_NM, Bin, Part, Problem, Rect, Spot, Way
from boxjoint.sheet.suits import Group

__all__ = ["Chosen", "Model", "area_bound", "choose"]

#: (index of the group's room, what lies on one sheet of it)
Chosen = tuple[int, list[Spot]]


@dataclass(frozen=True, slots=True)
class Model:
    """The parts of a group in small whole numbers, and the copies that each stands for.

    ``bins`` are those of the group's rooms, in their sequence.
    """

    parts: tuple[Part, ...]
    copies: tuple[tuple[tuple[Place, int], ...], ...]
    bins: tuple[Bin, ...]

    @classmethod
    def of(cls, group: Group, ask: NestAsk) -> Model:
        """Put the copies that are alike together, in a sequence that does not depend on the caller's."""
        grains: list[Axis] = sorted({r.stock.grain for r in group.rooms})
        alike: dict[tuple[tuple[Way, ...], ...], list[tuple[Place, int]]] = {}
        for item in sorted(group.items, key=lambda i: i.key):
            ways = tuple(_ways(item, g, ask) for g in grains)
            alike.setdefault(ways, []).extend((item, c) for c in range(1, item.quantity + 1))
        parts = [Part(ways, len(copies)) for ways, copies in alike.items()]
        order = sorted(range(len(parts)), key=lambda i: (-parts[i].area, _rank(parts[i])))
        together = list(alike.values())
        return cls(
            tuple(parts[i] for i in order),
            tuple(tuple(together[i]) for i in order),
            tuple(r.bin(ask.spacing, grains.index(r.stock.grain)) for r in group.rooms),
        )


def _ceil(nm: int) -> int:
    return -(-nm // UNIT_NM)


def _ways(item: Place, grain: Axis, ask: NestAsk) -> tuple[Way, ...]:
    ways: list[Way] = []
    for q in item.turns_on(grain):
        w, h = item.size_at(q)
        size = _ceil(w + ask.spacing), _ceil(h + ask.spacing)
        windows: tuple[Rect, ...] = ()
        if ask.windows:
            s = ask.spacing
            rooms = (
                (_ceil(x + s), _ceil(y + s), (x + a) // UNIT_NM, (y + b) // UNIT_NM)
                for x, y, a, b in item.windows_at(q)
            )
            windows = tuple(r for r in rooms if r[0] < r[2] and r[1] < r[3])
        if not any((way.width, way.height) == size for way in ways):
            ways.append(Way(*size, q, windows))
    return tuple(ways)


def _rank(part: Part) -> tuple[tuple[tuple[int, int, int, tuple[Rect, ...]], ...], ...]:
    return tuple(
        tuple((w.width, w.height, w.quarters, w.windows) for w in ways) for ways in part.ways
    )


def _sequences(
    group: Group, bins: Sequence[Bin], left: Mapping[str, int | None], most: int
) -> list[list[int]]:
    """Rooms in the sequences in which they may be used: offcuts first, each sheet size in front once.

    Behind them stand ``most`` more of every kind, whether there are so many or not: what is laid on
    those must be bought.
    """
    usable = [i for i, b in enumerate(bins) if b.width > 0 and b.height > 0]
    offcuts = sorted((i for i in usable if bins[i].spare), key=lambda i: (-bins[i].area, i))
    sheets = sorted((i for i in usable if not bins[i].spare), key=lambda i: (-bins[i].area, i))

    def many(i: int) -> int:
        count = left[group.rooms[i].stock.name]
        return most if count is None else min(count, most)

    fronts = [[i for i in offcuts for _ in range(many(i))]]
    if len(fronts[0]) > 1:
        fronts.append(fronts[0][::-1])
    backs = []
    for head in sheets[:6]:
        row = [head, *(i for i in sheets if i != head)]
        backs.append([i for i in row for _ in range(many(i))])
    extra = [i for i in (*sheets, *offcuts) for _ in range(most)]
    return [front + back + extra for front in fronts for back in backs or [[]]]


def choose(
    group: Group, model: Model, left: Mapping[str, int | None], *, level: int, seed: int
) -> list[Chosen]:
    """Choose sheets and lay everything on them.

    Parameters
    ----------
    left
        Sheets that are left, by name; ``None``: as many as are needed.
    level, seed
        See :func:`~boxjoint.sheet.pack.pack`.

    Raises
    ------
    InputError
        When there are too few sheets, with how many more would do.
    """
    bins = model.bins
    total = sum(p.count for p in model.parts)
    best: tuple[tuple[int, int, int, int], list[int]] | None = None
    for sequence in _sequences(group, bins, left, total):
        problem = Problem(model.parts, tuple(bins[i] for i in sequence))
        layout, over = pack(problem, level=0)
        used = [k for k, spots in enumerate(layout) if spots]
        short = _shortage([sequence[k] for k in used], group, left)
        price = (len(over), sum(short.values()), *problem.cost(layout))
        if best is None or price < best[0]:
            # one more of each kind gives the search room to move
            seen = dict.fromkeys(sequence)
            spare = [i for i in seen if _can_take(i, sequence, used, group, left)]
            best = (price, [*(sequence[k] for k in used), *spare])
    if best is None:
        raise InputError("no sheet has any room", where=group.label)
    sequence = best[1]
    problem = Problem(model.parts, tuple(bins[i] for i in sequence))
    layout, over = pack(problem, level=level, seed=seed)
    if over:  # every part fits some sheet alone, and there is one of each kind for every copy
        raise InputError(
            "the search left panels without a place",
            where=group.label,
            value=", ".join(sorted({model.copies[c][0][0].label for c in over})),
            do="this is a fault of the program: report it with the job",
        )
    chosen = [(sequence[k], spots) for k, spots in enumerate(layout) if spots]
    short = _shortage([room for room, _ in chosen], group, left)
    if short:
        _refuse_shortage(group, short, left)
    return _smaller_sheets(group, model, chosen, left)


def _can_take(
    room: int,
    sequence: Sequence[int],
    used: Sequence[int],
    group: Group,
    left: Mapping[str, int | None],
) -> bool:
    have = left[group.rooms[room].stock.name]
    return have is None or sum(1 for k in used if sequence[k] == room) < have


def _shortage(rooms: Sequence[int], group: Group, left: Mapping[str, int | None]) -> dict[int, int]:
    """How many more sheets of each room are used than there are."""
    short = {}
    for room, count in sorted(Counter(rooms).items()):
        have = left[group.rooms[room].stock.name]
        if have is not None and count > have:
            short[room] = count - have
    return short


def _refuse_shortage(group: Group, short: dict[int, int], left: Mapping[str, int | None]) -> None:
    said = ", ".join(
        f"{n} more of {group.rooms[r].stock.name} "
        f"({size_text(group.rooms[r].stock.width, group.rooms[r].stock.height)})"
        for r, n in short.items()
    )
    have = ", ".join(f"{r.stock.name}: {left[r.stock.name]}" for r in group.rooms)
    raise InputError(
        "these sheets do not hold the order",
        where=group.label,
        value=f"{said} would",
        limit=f"there are {have}",
        do="add sheets, or search longer",
        short={group.rooms[r].stock.name: n for r, n in short.items()},
    )


def _smaller_sheets(
    group: Group, model: Model, chosen: list[Chosen], left: Mapping[str, int | None]
) -> list[Chosen]:
    """Swap sheets that were bought for smaller kinds that hold the same."""
    bins = model.bins
    problem = Problem(model.parts, bins)
    sizes = Sizes(model.parts)
    used = Counter(room for room, _ in chosen)
    kinds = sorted(
        (i for i, b in enumerate(bins) if not b.spare and b.width > 0 and b.height > 0),
        key=lambda i: (bins[i].area, i),
    )
    out: list[Chosen] = []
    for room, spots in sorted(chosen, key=lambda c: (problem.used(*c), c)):
        for kind in kinds:
            have = left[group.rooms[kind].stock.name]
            if bins[kind].area >= bins[room].area or bins[room].spare:
                break
            if have is not None and used[kind] >= have:
                continue
            found = compact(problem, sizes, kind, sorted(s[0] for s in spots))
            if found is not None:
                used[room] -= 1
                used[kind] += 1
                room, spots = kind, found[1]
                break
        out.append((room, spots))
    return out


def area_bound(group: Group, model: Model) -> float:
    """Sheets that the area alone needs, the largest first: a lower bound whatever is chosen."""
    bins = model.bins
    area = Problem(model.parts, bins).needed
    total = 0.0
    sizes = sorted(
        ((b.area, r.stock.count) for b, r in zip(bins, group.rooms, strict=True)),
        key=lambda t: -t[0],
    )
    for size, count in sizes:
        if size <= 0:
            continue
        if count is None or count * size >= area:
            return total + area / size
        total += count
        area -= count * size
    return total

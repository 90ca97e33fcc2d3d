"""The inside of a job: as asked, or as it follows from contents, compartments and an outer limit.

Along each direction the first of these that settles it counts:

1. ``[inside]``: held, and everything else is checked against it;
2. compartments that all have a size, dividers between them included;
3. what goes in, with its clearance, lining and finger room;
4. the space that the whole box must go into, less the walls.

A compartment that is named for an item takes what the item needs. Items that no compartment names go
into every compartment that names no other. Within a compartment the items of one kind stand in rows,
by default along their thickness, and several kinds lie one on another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from boxjoint.errors import InputError
from boxjoint.job.filling import REST, Compartments, Dividers, Item, divider_names
from boxjoint.job.records import DIRECTIONS, Inside, Job, Source
from boxjoint.job.standards import standard_item
from boxjoint.units import both

__all__ = [
    "LARGE_ITEM_NM",
    "Along",
    "Binds",
    "InsideFound",
    "Need",
    "assumed_clearance",
    "find_inside",
    "item_size",
    "with_inside",
]

LARGE_ITEM_NM = 200_000_000
"""From this size on contents want the larger clearance (common practice, no source)."""
SMALL_CLEARANCE_NM = 1_500_000
LARGE_CLEARANCE_NM = 4_000_000
"""Clearance of rigid contents along one direction (common practice, no source: 1 to 2, 3 to 5 mm)."""

Binds = Literal["inside", "compartments", "contents", "fit_into"]

_WALLS = (("left", "right"), ("front", "back"), ("bottom", "top"))


def assumed_clearance(nm: int) -> int:
    """Clearance that contents of a size get where none is asked, nm."""
    return LARGE_CLEARANCE_NM if nm > LARGE_ITEM_NM else SMALL_CLEARANCE_NM


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """The space that contents need along one direction of a compartment.

    Parameters
    ----------
    nm
        All together.
    items
        Names of the items that need it.
    how
        The sum in words: items, clearance, lining, finger room.
    """

    nm: int
    items: tuple[str, ...]
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Along:
    """The inside along one direction.

    Parameters
    ----------
    nm
        Its size.
    source
        Asked or computed.
    binds
        What settled it.
    how
        How it came about, in words; empty where it was asked.
    compartments
        Size of each compartment, nm; the inside itself where it is undivided.
    need
        What the contents need of the whole inside, nm; ``None`` without contents.
    outside
        Of the whole box, nm.
    limit
        What the outside may be, nm; ``None`` without a limit.
    """

    nm: int
    source: Source
    binds: Binds
    how: str
    compartments: tuple[int, ...]
    need: int | None
    outside: int
    limit: int | None

    @property
    def slack(self) -> int | None:
        """Limit minus outside, nm."""
        return None if self.limit is None else self.limit - self.outside

    @property
    def room(self) -> int | None:
        """Inside minus what the contents need, nm: what is left beside their clearance.

        Negative only along z in an open box, where they stand out.
        """
        return None if self.need is None else self.nm - self.need


@dataclass(frozen=True, slots=True, kw_only=True)
class InsideFound:
    """The inside along all three directions."""

    along: tuple[Along, Along, Along]

    @property
    def xyz(self) -> tuple[int, int, int]:
        """(length, width, height), nm."""
        x, y, z = (a.nm for a in self.along)
        return (x, y, z)


def with_inside(job: Job) -> Job:
    """Return the job with every size of its inside filled in."""
    x, y, z = find_inside(job).xyz
    return replace(job, inside=Inside(length=x, width=y, height=z))


def item_size(item: Item) -> tuple[int, int, int]:
    """Largest (length, width, thickness) of an item, nm: its own, or the upper limits of its standard."""
    if item.size is not None:
        return item.size
    standard = standard_item(item.of)
    thickness = item.thickness
    if thickness is None:
        if standard.thickness is None:
            raise InputError("a sheet has no thickness of its own", value=standard.name)
        thickness = standard.thickness[1]
    return standard.length[1], standard.width[1], thickness


def find_inside(job: Job) -> InsideFound:
    """Return the inside of a job, and how it came about.

    Raises
    ------
    InputError
        When sizes do not add up, contents or compartments do not fit, or the box does not fit into
        its limit; names the part that gives, the distance and the limit.
    """
    if job.drawers.count and job.drawers.inside_of == "case":
        # what divides and fills the drawers says nothing of the case around them
        job = replace(job, dividers=Dividers(), items={})
    found = tuple(_along(job, axis, _needs(job, axis)) for axis in range(3))
    return InsideFound(along=(found[0], found[1], found[2]))


# What the contents need


def _entries(compartments: Compartments) -> list[str]:
    """Names of items by compartment, ``""`` where it is for none in particular."""
    if not compartments.sizes:
        return [""] * compartments.count
    return [s if isinstance(s, str) and s != REST else "" for s in compartments.sizes]


def _cells(job: Job, name: str) -> int:
    """How many compartments a kind of item goes into."""
    number = 1
    for direction, compartments in zip(DIRECTIONS, job.dividers.along, strict=False):
        entries = _entries(compartments)
        here = entries.count(name) or entries.count("")
        if not here:
            raise InputError(
                f"no compartment is left for {name}",
                where=f"[dividers.{direction}] compartments",
                value=", ".join(dict.fromkeys(entries)),
                do=f'name a compartment "{name}"',
            )
        number *= here
    return number


def _block(job: Job, name: str) -> tuple[list[tuple[int, int]], int]:
    """(how many, size of one, nm) along x, y and z of an item's rows in one compartment; how many."""
    item = job.items[name]
    length, width, thickness = item_size(item)
    sizes, thick = {
        "flat": ([length, width, thickness], 2),
        "on edge": ([length, thickness, width], 1),
        "on end": ([width, thickness, length], 1),
    }[item.lie]
    if item.turned:
        sizes[0], sizes[1] = sizes[1], sizes[0]
        thick = {0: 1, 1: 0, 2: 2}[thick]
    each = -(-item.count // _cells(job, name))
    rows = [item.rows.get(d, 1) for d in DIRECTIONS]
    held = rows[0] * rows[1] * rows[2]
    if DIRECTIONS[thick] not in item.rows:
        rows[thick] = -(-each // held)
    elif held < each:
        raise InputError(
            f"the rows of {name} do not hold what one compartment takes",
            where=f"[items.{name}] rows",
            value=f"{' x '.join(map(str, rows))} = {held}",
            limit=f"{each} in each compartment",
            do=f"leave out {DIRECTIONS[thick]}, along which they are thin",
        )
    return list(zip(rows, sizes, strict=True)), each


def _needs(job: Job, axis: int) -> dict[str, Need]:
    """What contents need along an axis, by the entry of a compartment (``""``: not named).

    Along z there is one entry, ``""``: what the fullest compartment needs.
    """
    if not job.items:
        return {}
    blocks = {name: _block(job, name)[0][axis] for name in job.items}
    if axis < 2:
        entries = list(dict.fromkeys(_entries(job.dividers.along[axis])))
        named = {e for e in entries if e}
        needs = {
            e: _largest(
                [
                    _need(job, axis, (n,), blocks)
                    for n in job.items
                    if n == e or not (e or n in named)
                ]
            )
            for e in entries
        }
        return {e: need for e, need in needs.items() if need is not None}
    piles: list[Need] = []
    columns, rows = (list(dict.fromkeys(_entries(c))) for c in job.dividers.along)
    for column in columns:
        for row in rows:
            inside = tuple(
                n
                for n in job.items
                if all(
                    n == e or not (e or n in entries)
                    for e, entries in ((column, columns), (row, rows))
                )
            )
            if inside:
                piles.append(_need(job, axis, inside, blocks))
    pile = _largest(piles)
    return {} if pile is None else {"": pile}


def _largest(needs: list[Need]) -> Need | None:
    return max(needs, key=lambda need: need.nm, default=None)


def _need(job: Job, axis: int, names: tuple[str, ...], blocks: dict[str, tuple[int, int]]) -> Need:
    """The sum for some kinds of items one behind another along an axis."""
    unit, ask = job.unit, job.contents
    parts = []
    bare = 0
    for name in names:
        count, size = blocks[name]
        bare += count * size
        parts.append(f"{name} {f'{count} x ' if count > 1 else ''}{both(size, unit)}")
    clearance = assumed_clearance(bare) if ask.clearance is None else ask.clearance
    standing = "ASSUMED" if ask.clearance is None else "asked"
    parts.append(f"clearance {both(clearance, unit)} {standing}")
    faces = 2 if axis < 2 or job.top.kind == "closed" else 1
    if ask.lining:
        parts.append(f"lining {f'{faces} x ' if faces > 1 else ''}{both(ask.lining, unit)}")
    room = ask.finger_room.get(DIRECTIONS[axis], 0)
    if room:
        parts.append(f"finger room {both(room, unit)}")
    return Need(nm=bare + clearance + faces * ask.lining + room, items=names, how=" + ".join(parts))


# One direction


def _along(job: Job, axis: int, needs: dict[str, Need]) -> Along:
    direction = DIRECTIONS[axis]
    walls = [p for p in _WALLS[axis] if p in job.panel_names]
    around = sum(job.thickness(p).nm for p in walls) + (job.bottom.raised if axis == 2 else 0)
    limit: int | None = getattr(job.fit_into, direction)
    asked = job.inside.asked[axis]
    compartments = job.dividers.along[axis] if axis < 2 else Compartments()
    between = [job.thickness(n).nm for n in divider_names(axis, len(compartments))]
    sizes = _sizes(compartments, needs)
    need = _whole_need(compartments, needs, sum(between))
    source, how = Source.COMPUTED, ""
    binds: Binds = "contents"
    if asked is None and limit is None and "" in needs:
        # nothing leaves a rest, so the rest takes what the items need that go in there
        sizes = [needs[""].nm if s is None else s for s in sizes]
    if asked is not None:
        nm, source, binds = asked, Source.ASKED, "inside"
    elif None not in sizes:
        nm = sum(s for s in sizes if s is not None) + sum(between)
        binds = "contents" if not compartments.sizes or _named(compartments) else "compartments"
        how = _how_compartments(job, sizes, between, needs)
    elif limit is not None:
        nm, binds = limit - around, "fit_into"
        how = f"{both(limit, job.unit)} to fit into - {both(around, job.unit)} of {_list(walls)}"
        if nm <= 0:
            raise InputError(
                f"nothing is left of the inside's {direction}",
                where=f"[fit_into] {direction}",
                value=both(limit, job.unit),
                limit=f"more than {both(around, job.unit)}, what {_list(walls)} take",
            )
    else:
        raise InputError(
            f"the {direction} of the inside does not follow from anything",
            where="[inside]",
            do=f"write {direction} = ... under [inside], or under [fit_into]",
        )
    found = Along(
        nm=nm,
        source=source,
        binds=binds,
        how=how,
        compartments=_shared_out(job, axis, nm, sizes, between),
        need=need,
        outside=nm + around,
        limit=limit,
    )
    _refuse_too_small(job, axis, found, compartments, needs, between)
    if found.slack is not None and found.slack < 0:
        raise InputError(
            f"the box does not fit: its {direction} is {both(-found.slack, job.unit)} too large",
            where=f"[fit_into] {direction}",
            value=f"outside {both(found.outside, job.unit)} = inside {both(nm, job.unit)} + "
            f"{_list(walls)} {both(around, job.unit)}",
            limit=f"at most {both(limit or 0, job.unit)}",
            do=_what_gives(found.binds, direction),
        )
    return found


def _list(names: list[str]) -> str:
    return " and ".join(names) if names else "no walls"


def _what_gives(binds: Binds, direction: str) -> str:
    return {
        "inside": f"ask for less under [inside] {direction}",
        "compartments": f"ask for smaller or fewer compartments under [dividers.{direction}]",
        "contents": "put in less, or give less clearance, lining or finger room under [contents]",
        "fit_into": "allow more",
    }[binds]


def _named(compartments: Compartments) -> bool:
    return any(_entries(compartments))


def _sizes(compartments: Compartments, needs: dict[str, Need]) -> list[int | None]:
    """What each compartment is asked or needs to be, nm; ``None`` where it takes what is left."""
    if not compartments.sizes:
        need = needs.get("")
        return [need.nm if need else None] * compartments.count
    out: list[int | None] = []
    for size in compartments.sizes:
        if isinstance(size, int):
            out.append(size)
        elif size == REST:
            out.append(None)
        else:
            out.append(needs[size].nm)
    return out


def _whole_need(compartments: Compartments, needs: dict[str, Need], between: int) -> int | None:
    """What contents need of the whole direction, where they alone decide every compartment."""
    entries = _entries(compartments)
    if not needs or any(e not in needs for e in entries):
        return None
    if any(isinstance(size, int) for size in compartments.sizes):
        return None
    return sum(needs[e].nm for e in entries) + between


def _how_compartments(
    job: Job, sizes: list[int | None], between: list[int], needs: dict[str, Need]
) -> str:
    parts = []
    for size in dict.fromkeys(sizes):
        if size is not None:
            n = sizes.count(size)
            parts.append(f"{f'{n} x ' if n > 1 else ''}{both(size, job.unit)}")
    if between:
        n = len(between)
        parts.append(f"{n} divider{'s' if n > 1 else ''} {both(sum(between), job.unit)}")
    text = " + ".join(parts) if len(sizes) > 1 else ""
    why = "; ".join(need.how for need in needs.values())
    return f"{text}: {why}" if text and why else text or why


def _shared_out(
    job: Job, axis: int, nm: int, sizes: list[int | None], between: list[int]
) -> tuple[int, ...]:
    """Give every compartment its size; what is left goes to the rest, or equally to all."""
    direction = DIRECTIONS[axis]
    compartments = job.dividers.along[axis] if axis < 2 else Compartments()
    n, stock = len(sizes), sum(between)
    where = f"[dividers.{direction}] compartments"
    if not compartments.sizes:
        left = nm - stock
        if left < n:
            raise InputError(
                f"the dividers across the {direction} leave nothing of the inside",
                where=where,
                value=f"{n - 1} dividers of {both(stock, job.unit)} together",
                limit=f"the inside is {both(nm, job.unit)}",
                do="ask for fewer compartments, or a larger inside",
            )
        # boundaries are rounded once each, so that sizes differ by a nanometre at most
        ends = [left * k // n for k in range(n + 1)]
        return tuple(b - a for a, b in pairwise(ends))
    given = sum(s for s in sizes if s is not None) + stock
    if None in sizes:
        rest = nm - given
        if rest <= 0:
            raise InputError(
                f"nothing is left for the rest along the {direction}",
                where=f"{where}, compartment {sizes.index(None) + 1}",
                value=f"the other compartments and the dividers take {both(given, job.unit)}",
                limit=f"the inside is {both(nm, job.unit)}",
                do=f"take at least {both(1 - rest, job.unit)} off the others",
            )
        return tuple(rest if s is None else s for s in sizes)
    if given != nm:
        off = abs(given - nm)
        apart = both(off, job.unit) if off >= 10_000 else f"{off / 1e6:.6f} mm"
        raise InputError(
            f"the compartments and dividers do not add up to the inside's {direction}: "
            f"{apart} too {'much' if given > nm else 'little'}",
            where=where,
            value=f"{n} compartments {both(given - stock, job.unit)} + {n - 1} dividers "
            f"{both(stock, job.unit)} = {both(given, job.unit)}",
            limit=f"the inside is {both(nm, job.unit)}",
            do=f'let one compartment give: write "rest" for one of them, such as compartment {n}; or '
            f"leave {direction} out of [inside]",
        )
    return tuple(s for s in sizes if s is not None)


def _refuse_too_small(
    job: Job,
    axis: int,
    found: Along,
    compartments: Compartments,
    needs: dict[str, Need],
    between: list[int],
) -> None:
    """Refuse compartments that their contents do not fit, or that leave no web."""
    direction, unit = DIRECTIONS[axis], job.unit
    divided = len(found.compartments) > 1
    entries = _entries(compartments)
    for k, size in enumerate(found.compartments):
        which = (
            f"compartment {k + 1} along the {direction}" if divided else f"the inside's {direction}"
        )
        where = f"[dividers.{direction}] compartments" if divided else f"[inside] {direction}"
        need = needs.get(entries[k])
        stands_out = axis == 2 and job.top.kind == "open"  # a tray may be lower than what it holds
        if need is not None and size < need.nm and not stands_out:
            raise InputError(
                f"{_list(list(need.items))} {'does' if len(need.items) == 1 else 'do'} not fit "
                f"{which}: {both(need.nm - size, unit)} too large",
                where=where if found.binds != "fit_into" or divided else f"[fit_into] {direction}",
                value=both(size, unit),
                limit=f"at least {both(need.nm, unit)} = {need.how}",
                do="give the compartment more, or less clearance, lining or finger room",
            )
        beside = between[max(k - 1, 0) : k + 1] if between else []
        least = job.joint.web if job.joint.web is not None else max(beside, default=0)
        if divided and size < least:
            raise InputError(
                f"{which} is narrower than the "
                + ("web" if job.joint.web is not None else "stock of its dividers"),
                where=where,
                value=both(size, unit),
                limit=f"at least {both(least, unit)}, or nothing holds between two mortises",
                do="ask for wider compartments or thinner dividers, or set [joint] web to accept less",
            )
    if axis == 2 and job.dividers.height is not None and job.dividers.height > found.nm:
        raise InputError(
            "the dividers are higher than the inside",
            where="[dividers] height",
            value=both(job.dividers.height, unit),
            limit=f"at most {both(found.nm, unit)}",
        )

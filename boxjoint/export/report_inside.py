"""The part of the report that says what fits: the inside, how it came about, and its compartments."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from boxjoint.check.as_cut import InsideAsCut
from boxjoint.check.built import Built
from boxjoint.check.compartments import CompartmentAsCut
from boxjoint.check.inside_range import InsideRange, inside_range
from boxjoint.job.records import DIRECTIONS, Unit
from boxjoint.solve.box import outside_of
from boxjoint.solve.inside import Along, find_inside
from boxjoint.units import both, both_sizes, own_first

__all__ = ["compartments", "held", "inside", "inside_lines", "range_as_cut", "whole_as_cut"]

_MM = 1_000_000


def _mm(nm: int) -> float:
    return round(nm / _MM, 6)


def _raised(built: Built, axis: int) -> CompartmentAsCut | None:
    """The inside along an axis where slots place one of its ends."""
    return next(
        (c for c in built.compartments if c.axis == axis and not c.number and c.binds), None
    )


def range_as_cut(built: Built, axis: int) -> InsideRange | None:
    """Return what the inside along an axis may be, seat gap and thickness spread in its budget."""
    own, row = built.inside_along(axis), whole_as_cut(built, axis)
    if own is None or row is None or not row.by_panel:
        return None
    return inside_range(built, row, None if own.by_panel else _raised(built, axis))


def whole_as_cut(built: Built, axis: int) -> InsideAsCut | None:
    """Return the inside as cut along an axis; where the base is raised, its slots hold the height."""
    row = built.inside_along(axis)
    if row is None or row.by_panel:
        return row
    raised = _raised(built, axis)
    if raised is None:
        return row
    return InsideAsCut(
        block=row.block, axis=axis, asked=row.asked, by_panel={raised.binds: raised.mean}
    )


def held(r: InsideAsCut) -> dict[str, Any]:
    """What panels hold of an inside along one direction, mm."""
    return {
        "source": "computed",
        "least": _mm(r.least) if r.by_panel else None,
        "greatest": _mm(r.greatest) if r.by_panel else None,
        "binds": r.binds,
        "by_panel": {p: _mm(v) for p, v in sorted(r.by_panel.items())},
    }


def inside(built: Built) -> dict[str, Any]:
    """Asked, nominal and as cut along each direction; the key people look for first."""
    out: dict[str, Any] = {}
    outside = outside_of(built.solution.arrangement).size
    for k, (name, found) in enumerate(zip(DIRECTIONS, find_inside(built.job).along, strict=True)):
        asked = built.job.inside.asked[k]
        row: dict[str, Any] = {
            "asked": None if asked is None else _mm(asked),
            "nominal": None,
            "unit": "mm",
            "source": str(found.source),
            "settled_by": found.binds,
            "how": found.how,
            "contents_need": None if found.need is None else _mm(found.need),
            "limit": None if found.limit is None else _mm(found.limit),
            "slack": None if found.limit is None else _mm(found.limit - outside[k]),
        }
        r = whole_as_cut(built, k)
        if r is not None:
            row["nominal"] = _mm(r.asked)
            row["as_cut"] = held(r)
            found_range = range_as_cut(built, k)
            row["range"] = None if found_range is None else _range(found_range)
        out[name] = row
    return out


def _range(r: InsideRange) -> dict[str, Any]:
    return {
        "least": _mm(r.least),
        "greatest": _mm(r.greatest),
        "source": "computed",
        "budget": [
            {
                "what": e.what,
                "least": _mm(e.least),
                "greatest": _mm(e.greatest),
                "source": str(e.source),
                "note": e.note,
            }
            for e in r.budget
        ],
    }


def _range_lines(built: Built) -> Iterator[str]:
    """Say what each direction may be on its seats, and what that is made of."""
    for k, name in enumerate(DIRECTIONS):
        r = range_as_cut(built, k)
        if r is None:
            continue
        unit = built.job.unit
        parts = [f"held {_from_to(r.held_least, r.held_greatest, unit)} (computed)"]
        parts += [
            f"{e.what} {_more(e.least, e.greatest, unit)} ({e.source}: {e.note})" for e in r.budget
        ]
        whole = _from_to(r.least, r.greatest, unit) + (" mm" if unit == "mm" else "")
        yield (f"- {name} may be {whole} (computed): " + "; ".join(parts))


def _asked(built: Built, c: CompartmentAsCut) -> int | None:
    """What the job asks for a compartment, nm; ``None`` where it follows."""
    sizes = built.job.dividers.along[c.axis].sizes
    size = sizes[c.number - 1] if sizes else None
    return size if isinstance(size, int) else None


def compartments(built: Built) -> list[dict[str, Any]]:
    """Every row of compartments: asked, nominal and as cut."""
    out = []
    for c in built.compartments:
        if not c.number:
            continue
        asked = _asked(built, c)
        row: dict[str, Any] = {
            "direction": DIRECTIONS[c.axis],
            "number": c.number,
            "between": [c.lower, c.upper],
            "asked": None if asked is None else _mm(asked),
            "nominal": _mm(c.asked),
            "as_cut": None,
        }
        if c.binds:
            row["as_cut"] = {
                "source": "computed",
                "mean": _mm(c.mean),
                "thinnest": _mm(c.thinnest),
                "thickest": _mm(c.thickest),
                "least": _mm(c.least),
                "greatest": _mm(c.greatest),
                "binds": c.binds,
            }
        out.append(row)
    return out


def inside_lines(built: Built) -> Iterator[str]:
    """Give the lines for people: a table of the inside, what binds, and the compartments."""
    unit = built.job.unit
    found = find_inside(built.job).along
    yield from ["## Inside", ""]
    yield "| | inside | what it is | as cut, least (computed) | as cut, greatest (computed) | binds |"
    yield "|---|---|---|---|---|---|"
    for k, name in enumerate(DIRECTIONS):
        asked = built.job.inside.asked[k]
        cells = [both(found[k].nm, unit), "computed" if asked is None else "asked", "", "", ""]
        r = whole_as_cut(built, k)
        if r is not None and r.by_panel:
            least, greatest = (own_first(v, unit, places=3) for v in (r.least, r.greatest))
            cells[2:] = [least, greatest, r.binds]
        yield f"| {name} | " + " | ".join(cells) + " |"
    yield from ["", *_range_lines(built)]
    outside = outside_of(built.solution.arrangement).size
    why = [
        line
        for name, along, size in zip(DIRECTIONS, found, outside, strict=True)
        for line in _why(name, along, size, unit)
    ]
    if why:
        yield from ["", *why]
    yield from ["", f"Outside (computed): {both_sizes(outside, unit)}."]
    yield from _compartment_lines(built)


def _why(name: str, along: Along, outside: int, unit: Unit) -> Iterator[str]:
    """Say how a direction came about, what binds it, and what slack is left."""
    if along.how:
        yield f"- {name} {both(along.nm, unit)} (computed): {along.how}"
    room, slack = along.room, None if along.limit is None else along.limit - outside
    if room is not None and room < 0:
        yield f"- {name}: the contents may stand out by {both(-room, unit)}"
    if along.limit is not None and slack is not None:
        line = f"- {name}: outside {both(outside, unit)} goes into {both(along.limit, unit)}"
        if room is None or slack < room:
            line += f", which binds with a slack of {both(slack, unit)}"
            yield line + ("" if room is None else f"; the contents have {both(room, unit)} left")
        else:
            yield (
                line
                + f" with a slack of {both(slack, unit)}; the contents bind"
                + (f" with {both(room, unit)} left" if room > 0 else "")
            )
    elif room is not None and room > 0:
        yield f"- {name}: the contents bind with {both(room, unit)} left"


def _compartment_lines(built: Built) -> Iterator[str]:
    rows = [c for c in built.compartments if c.number]
    if not rows:
        return
    unit = built.job.unit
    yield from ["", "### Compartments", ""]
    yield "Face to face, as cut all computed. In the middle of their slots at the mean, the thickest and the thinnest"
    yield "reading; in brackets with the dividers pushed together and apart as far as slots and clearance allow."
    yield ""
    yield "| compartment | between | nominal | what it is | as cut, mean | thickest to thinnest | least to greatest |"
    yield "|---|---|---|---|---|---|---|"
    for c in rows:
        cells = ["", "", "not held by one panel: loose"]
        if c.binds:
            cells = [
                own_first(round(c.mean), unit, places=3),
                _from_to(c.thickest, c.thinnest, unit),
                f"({_from_to(c.least, c.greatest, unit)})",
            ]
        yield (
            f"| {DIRECTIONS[c.axis]} {c.number} | {c.lower}, {c.upper} | {both(c.asked, unit)} | "
            f"{'computed' if _asked(built, c) is None else 'asked'} | " + " | ".join(cells) + " |"
        )


def _from_to(low: int, high: int, unit: Unit) -> str:
    """A range as cut: in mm, or in inches with mm beside."""
    mm = f"{low / _MM:.3f} to {high / _MM:.3f}"
    if unit == "mm":
        return mm
    return f"{low / 25.4 / _MM:.4f} to {high / 25.4 / _MM:.4f} in ({mm} mm)"


def _more(low: int, high: int, unit: Unit) -> str:
    """What a size may gain, with signs: in mm, or in thou with mm beside."""
    mm = f"{low / _MM:+.3f} to {high / _MM:+.3f}"
    return mm if unit == "mm" else f"{low / 25_400:+.1f} to {high / 25_400:+.1f} thou ({mm} mm)"

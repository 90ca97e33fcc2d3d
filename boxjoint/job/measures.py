"""Every value of a job that has a limit, one by one, and the refusal of a job that is out of them.

The windows themselves are in :mod:`boxjoint.job.limits`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from boxjoint.job.keys import Keys
from boxjoint.job.limits import (
    CUTOUT_WINDOWS,
    FILLING_WINDOWS,
    MARK_WINDOWS,
    SHEET_WINDOWS,
    TOP_WINDOWS,
    WINDOWS,
    Window,
    outside,
    rank_problem,
    segments_problem,
    thickness_problem,
)
from boxjoint.job.problems import Problem, job_error
from boxjoint.job.records import DIRECTIONS, Job, Thickness
from boxjoint.units import NM_PER_MM

if TYPE_CHECKING:
    from boxjoint.job.cutouts import Place

__all__ = ["measures", "refuse_job"]


def _mm(nm: int) -> Fraction:
    return Fraction(nm, NM_PER_MM)


def _thicknesses(job: Job) -> Iterator[tuple[Keys, Thickness]]:
    yield ("stock", "thickness"), job.stock.thickness
    if job.divider_stock.thickness is not None:
        yield ("dividers", "thickness"), job.divider_stock.thickness
    for name, panel in job.panels.items():
        if panel.thickness is not None:
            yield ("panels", name, "thickness"), panel.thickness
    for name, sheet in job.sheets.items():
        if sheet.thickness is not None:
            yield ("sheets", name, "thickness"), sheet.thickness


def measures(job: Job) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give every value of a job that has a window: the way to it, the window, mm (or the ratio).

    Readings of thickness come one by one, with their place in the list. A kerf or scale that is not
    a finite number has no size and is left out.
    """
    for direction, asked in zip(DIRECTIONS, job.inside.asked, strict=True):
        if asked is not None:
            yield ("inside", direction), WINDOWS["inside"], _mm(asked)
    for keys, thickness in _thicknesses(job):
        for number, reading in enumerate(thickness.readings):
            place = (*keys, number) if thickness.measured else keys
            yield place, WINDOWS["thickness"], _mm(reading)
    yield from _filling(job)
    yield from _tops(job)
    yield from _sheets(job)
    yield from _cutouts(job)
    yield from _marks(job)
    for name in ("kerf", "scale"):
        pair = getattr(job.cut, name)
        if pair is not None and math.isfinite(pair.x) and math.isfinite(pair.y):
            # repr is the shortest decimal that gives the float back: 0.4 is 4/10, not a bit more
            x, y = (Fraction(repr(float(value))) for value in (pair.x, pair.y))
            if x == y:
                yield ("cut", name), WINDOWS[name], x
            else:
                yield ("cut", name, "x"), WINDOWS[name], x
                yield ("cut", name, "y"), WINDOWS[name], y
    if job.cut.tool is not None:
        yield ("cut", "tool"), WINDOWS["tool"], _mm(job.cut.tool)
    if job.cut.edge_sd is not None:
        yield ("cut", "edge_sd"), WINDOWS["edge_sd"], _mm(job.cut.edge_sd)
    for name in WINDOWS:
        value = getattr(job.joint, name, None)
        if value is not None:
            yield ("joint", name), WINDOWS[name], _mm(value)


def _tops(job: Job) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give the values of tops, stacks and drawers, as :func:`measures` does."""
    for (table, key), window in TOP_WINDOWS.items():
        value = getattr(getattr(job, table), key)
        for number, nm in enumerate(value if isinstance(value, tuple) else (value,)):
            if nm is not None:
                place: Keys = (table, key, number) if isinstance(value, tuple) else (table, key)
                yield place, window, _mm(nm)


def _cutouts(job: Job) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give the values of cut-outs, as :func:`measures` does."""
    for n, cutout in enumerate(job.cutouts):
        yield from _places(cutout.place, ("cutouts", n))
        for key in ("diameter", "clearance", "radius", "gap"):
            nm = getattr(cutout, key)
            if nm is not None:
                yield ("cutouts", n, key), CUTOUT_WINDOWS[key], _mm(nm)
        for k, nm in enumerate(cutout.size or ()):
            yield ("cutouts", n, "size", k), CUTOUT_WINDOWS["size"], _mm(nm)


def _places(place: Place, keys: Keys) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give the distances from edges of a cut-out or mark."""
    for side in ("from_left", "from_right", "from_bottom", "from_top"):
        nm = getattr(place, side)
        if nm is not None:
            yield (*keys, side), CUTOUT_WINDOWS["from"], _mm(nm)


def _marks(job: Job) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give the values of marks, as :func:`measures` does."""
    for n, mark in enumerate(job.marks):
        yield from _places(mark.place, ("marks", n))
        for key in ("height", "width"):
            nm = getattr(mark, key)
            if nm is not None:
                window = "letters" if mark.text and key == "height" else key
                yield ("marks", n, key), MARK_WINDOWS[window], _mm(nm)


def _sheets(job: Job) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give the values of sheets and nesting, as :func:`measures` does."""
    nest = job.nest
    found: list[tuple[Keys, str, int | None]] = [
        (("nest", "spacing"), "spacing", nest.spacing),
        (("nest", "margin"), "margin", nest.margin),
        (("nest", "support"), "support", nest.support),
        (("nest", "bridge_width"), "bridge_width", nest.bridge_width),
        (("nest", "lead_in"), "lead_in", nest.lead_in),
        *((("nest", "bed", n), "bed", nm) for n, nm in enumerate(nest.bed or ())),
    ]
    found += [
        (("seams", name), name, getattr(job.seams, name)) for name in ("longest", "depth", "relief")
    ]
    found += [(("panels", name, "seam"), "seam", ask.seam) for name, ask in job.panels.items()]
    homes: list[tuple[Keys, tuple[tuple[int, int, int, int], ...]]] = [(("nest",), nest.keep_outs)]
    for name, sheet in job.sheets.items():
        found += [(("sheets", name, "size", n), "size", nm) for n, nm in enumerate(sheet.size)]
        homes.append((("sheets", name), sheet.keep_outs))
    for home, keep_outs in homes:
        for number, rectangle in enumerate(keep_outs):
            found += [
                ((*home, "keep_outs", number, n), "place" if n < 2 else "reach", nm)
                for n, nm in enumerate(rectangle)
            ]
    for keys, window, value in found:
        if value is not None:
            yield keys, SHEET_WINDOWS[window], _mm(value)


def _filling(job: Job) -> Iterator[tuple[Keys, Window, Fraction]]:
    """Give the values of what fills the box, as :func:`measures` does."""
    found: list[tuple[Keys, str, int | None]] = [
        (("bottom", "raised"), "raised", job.bottom.raised),
        (("bottom", "legs"), "legs", job.bottom.legs or None),
        (("dividers", "height"), "divider height", job.dividers.height),
        (("dividers", "clearance"), "divider clearance", job.dividers.clearance),
        (("contents", "clearance"), "contents clearance", job.contents.clearance),
        (("contents", "lining"), "lining", job.contents.lining),
    ]
    for name, compartments in zip(DIRECTIONS, job.dividers.along, strict=False):
        found += [
            (("dividers", name, "compartments", n), "compartment", size)
            for n, size in enumerate(compartments.sizes)
            if isinstance(size, int)
        ]
    for name, item in job.items.items():
        found += [(("items", name, "size", n), "item", s) for n, s in enumerate(item.size or ())]
        found.append((("items", name, "thickness"), "item", item.thickness))
    for name in DIRECTIONS:
        room = job.contents.finger_room.get(name)
        found.append((("contents", "finger_room", name), "finger room", room))
        found.append((("fit_into", name), "fit into", getattr(job.fit_into, name)))
    for keys, window, value in found:
        if value is not None:
            yield keys, FILLING_WINDOWS[window], _mm(value)


def refuse_job(job: Job, *, proceed: bool = False) -> None:
    """Refuse a job whose values are out of their windows, however they came into it.

    The reader has checked what stands in the file; this is for values that replace them later.

    Parameters
    ----------
    job
        The job, with its overrides.
    proceed
        True lets an unlikely kerf pass.

    Raises
    ------
    JobError
        All problems, by key; no lines, since an override has none.
    """
    found = [
        outside(window, keys, value, unit=job.unit, proceed=proceed)
        for keys, window, value in measures(job)
    ]
    found += [
        thickness_problem(keys, [_mm(r) for r in thickness.readings], unit=job.unit)
        for keys, thickness in _thicknesses(job)
    ]
    found += [
        segments_problem(("joint", "segments", name), count)
        for name, count in job.joint.segments.items()
    ]
    found += [
        Problem(
            keys=("cut", name), what=f"{name} is not a finite number", value=f"{pair.x}, {pair.y}"
        )
        for name, pair in (("kerf", job.cut.kerf), ("scale", job.cut.scale))
        if pair is not None and not (math.isfinite(pair.x) and math.isfinite(pair.y))
    ]
    found.append(rank_problem(("joint", "rank"), job.joint.rank))
    problems = [problem for problem in found if problem is not None]
    if problems:
        raise job_error(problems)

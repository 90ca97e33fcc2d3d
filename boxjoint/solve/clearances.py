"""Clearances around lids, trays and drawers: asked or assumed, with finish film and spread counted.

A clearance here is the air between two parts that move past each other, bare. What is left out of
the job takes a starting value, which is common practice, no source, until somebody has tried it in
this stock. To every gap the film on both its faces is added, and where a gap depends on a sheet's
thickness, what the worst reading differs from the mean.

Movement of solid wood is not counted.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from boxjoint.job.figures import Figure
from boxjoint.job.records import Job, Source

__all__ = ["STARTING", "Spread", "clearance_figures", "gap", "spread"]

Spread = Literal["thicker", "thinner"]
_TRY = "common practice, no source; assumed until tried with two scraps"


class _Start(NamedTuple):
    nm: int
    note: str


#: Starting values, by the name of their figure.
STARTING: dict[str, _Start] = {
    "lid_clearance": _Start(300_000, f"each side of a lid, usual are 0.2 to 0.4 mm: {_TRY}"),
    "slide_clearance": _Start(350_000, f"each side of a sliding lid, usual are 0.25 to 0.5 mm: {_TRY}"),
    "pin_clearance": _Start(150_000, f"hole less pin, on the diameter, usual are 0.1 to 0.2 mm: {_TRY}"),
    "slide_gap": _Start(300_000, f"rails' gap over the thickest reading, usual are 0.2 to 0.4 mm: {_TRY}"),
    "till_clearance": _Start(500_000, f"each side of a till and above it, usual are 0.5 to 1 mm: {_TRY}"),
    "stack_clearance": _Start(300_000, f"each side of the lip, usual are 0.2 to 0.4 mm: {_TRY}"),
    "drawer_clearance": _Start(600_000, f"each side of a drawer, usual are 0.5 to 0.75 mm: {_TRY}"),
    "drawer_above": _Start(1_000_000, f"above a drawer, usual is 1 mm: {_TRY}"),
    "drawer_behind": _Start(1_000_000, f"behind a drawer: {_TRY}"),
}  # fmt: skip


def _asked(job: Job, name: str) -> int | None:
    return {
        "lid_clearance": job.top.clearance,
        "slide_clearance": job.top.clearance,
        "slide_gap": job.top.gap,
        "pin_clearance": job.top.gap,
        "till_clearance": job.till.clearance,
        "stack_clearance": job.stack.clearance,
        "drawer_clearance": job.drawers.clearance,
        "drawer_above": job.drawers.above,
        "drawer_behind": job.drawers.behind,
    }[name]


def _used(job: Job) -> tuple[str, ...]:
    kind, names = job.top.kind, []
    if kind in ("lift-off", "rim", "hinged") or (kind == "cut-through" and job.top.lip):
        names.append("lid_clearance")
    if kind == "sliding":
        names += ["slide_clearance", "slide_gap"]
    if kind == "hinged":
        names.append("pin_clearance")
    if job.till.on:
        names.append("till_clearance")
    if job.stack.count > 1:
        names.append("stack_clearance")
    if job.drawers.count:
        names += ["drawer_clearance", "drawer_above"]
        if not job.drawers.stops:
            names.append("drawer_behind")
    return tuple(names)


def clearance_figures(job: Job) -> dict[str, Figure]:
    """Return every clearance that this job uses, bare, with its source, and the film; mm."""
    found = {}
    for name in _used(job):
        nm, start = _asked(job, name), STARTING[name]
        found[name] = (
            Figure(value=start.nm / 1e6, source=Source.ASSUMED, note=start.note)
            if nm is None
            else Figure(value=nm / 1e6, source=Source.ASKED)
        )
    if found:
        film = job.stock.film
        found["film"] = Figure(
            value=(film or 0) / 1e6,
            source=Source.ASSUMED if film is None else Source.ASKED,
            note="finish on each face; bare" if film is None else "finish on each face",
        )
    return found


def gap(job: Job, name: str) -> int:
    """Return the air to leave, nm: the clearance of that name and the film on both faces."""
    nm = _asked(job, name)
    return (STARTING[name].nm if nm is None else nm) + 2 * (job.stock.film or 0)


def spread(job: Job, panel: str, way: Spread) -> int:
    """Return how much thicker (thinner) than the mean the worst reading of a panel's sheet is, nm."""
    t = job.thickness(panel)
    return t.greatest - t.nm if way == "thicker" else t.nm - t.least

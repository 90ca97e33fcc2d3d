"""What the shop book makes us believe of a machine, a material, a thickness and settings.

:func:`believe` lists what happened to the machine, groups it into records, and runs the raw
readings through the filter in the sequence in which they were taken. Kerf belongs to a record;
scale belongs to the machine and is taught by all of its records. A kerf of another record is never
handed out as this one's: where there is none, the nearest record is named with what differs.
"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime

import numpy as np

from boxjoint.job.records import Source
from boxjoint.shop.assumed import Assumed
from boxjoint.shop.belief import (
    LEAST_KERF_MM,
    Belief,
    Combs,
    Figure,
    Flag,
    Nearest,
    Point,
    Wish,
)
from boxjoint.shop.book import Book
from boxjoint.shop.filter import Surprise
from boxjoint.shop.observe import GaugeObserver, Observer
from boxjoint.shop.records import CombRound, Settings, same_words
from boxjoint.shop.run import Progress, Run, Tally, figure_of, kerfs_of
from boxjoint.shop.timeline import Group, Step, cutting_key

__all__ = [
    "LEAST_KERF_MM",
    "Belief",
    "Figure",
    "Flag",
    "Nearest",
    "Point",
    "Progress",
    "believe",
    "history",
]


def believe(
    book: Book,
    machine: str,
    material: str,
    thickness_mm: float,
    settings: Settings,
    at: datetime,
    *,
    assumed: Assumed | None = None,
    observer: Observer | None = None,
    progress: Progress | None = None,
) -> Belief:
    """Say what the book makes us believe of a kerf and a scale at a time.

    Parameters
    ----------
    book
        An open book.
    machine, material
        Names; a material is compared without regard to case and spacing.
    thickness_mm
        As measured, mm.
    settings
        Compared by what decides the kerf (speed, power, passes, air, focus, lens), not by name.
    at
        Now, aware. What was taken later is not looked at.
    assumed, observer
        Sizes nobody measured, and the estimator; defaults as stated there.
    progress
        Called with (events done, events in all) while gauges are estimated: that takes some
        milliseconds each, once. What was computed is kept when it raises.

    Returns
    -------
    Belief
        With ``kerf_x`` and ``kerf_y`` None when this record was never read; then ``nearest`` names
        a record that was, with all that differs.

    Raises
    ------
    BookError
        The book cannot be read.
    """
    assumed, observer = assumed or Assumed(), observer or GaugeObserver()
    material_key, cutting = same_words(material), cutting_key(settings)
    run = Run(book, machine, at, assumed, observer, progress)
    try:
        with book.reading():
            run.run()
            run.state.advance(run.age_since_last_event())
            group = run.find(material_key, cutting, thickness_mm)
            nearest = combs = None
            if group is None:
                nearest = _nearest(book, run, material_key, settings, thickness_mm)
            else:
                combs = _combs(book, run, group, thickness_mm)
    finally:
        run.save()
    scale = run.state.scale()
    scales = [
        figure_of(1.0 + value, u, known_u=0.5 * assumed.scale_u)
        for value, u in map(scale.spread, (0, 1))
    ]
    if group is None:
        return Belief(
            machine=machine,
            material=material,
            at=at,
            kerf_x=None,
            kerf_y=None,
            scale_x=scales[0],
            scale_y=scales[1],
            covariance=None,
            readings=0,
            gauges=0,
            boxes=0,
            last=None,
            age_days=None,
            age_jobs=None,
            thickness_mm=None,
            flags=(),
            motion=run.state.motions(),
            nearest=nearest,
        )
    tally = run.tallies[group.name]
    outlook = run.outlook(group)
    kerf_x, kerf_y, cov = kerfs_of(outlook)
    last = datetime.fromisoformat(tally.last)
    return Belief(
        machine=machine,
        material=material,
        at=at,
        kerf_x=kerf_x,
        kerf_y=kerf_y,
        scale_x=scales[0],
        scale_y=scales[1],
        covariance=tuple(tuple(map(float, row)) for row in cov),
        readings=tally.readings,
        gauges=tally.gauges,
        boxes=tally.boxes,
        last=last,
        age_days=(at - last).total_seconds() / 86400,
        age_jobs=run.age(tally.last),
        thickness_mm=(group.low_mm, group.high_mm),
        flags=_flags(tally, kerf_x, kerf_y, last),
        combs=combs,
        wish=_wish(run, material_key, combed=combs is not None),
        motion=run.state.motions(),
        outlook=outlook,
        nearest=None,
    )


def _combs(book: Book, run: Run, group: Group, thickness_mm: float) -> Combs | None:
    """The combs in the material of a record, and the kerfs of their days beside today's."""
    days = run.combs_of(group.material, thickness_mm)
    rounds: dict[str, CombRound] = {}
    for entry in book.get_all(days):
        if isinstance(entry.record, CombRound):
            verdicts = [v for n, v in enumerate(entry.record.verdicts, 1) if n not in entry.struck]
            if verdicts:
                rounds[entry.id] = replace(entry.record, verdicts=tuple(verdicts))
    days = [day for day in days if day in rounds]
    if not days:
        return None
    outlook = run.outlook(group, days)
    m = len(days)
    rows = np.zeros((m + 2, 4 + m))
    rows[range(m), range(4, 4 + m)] = 1.0
    rows[m, 0] = rows[m + 1, 1] = 1.0
    return Combs(rounds=tuple(rounds[day] for day in days), outlook=outlook.turned(rows))


def _wish(run: Run, material: str, *, combed: bool) -> Wish | None:
    found = run.state.wish(material, combed=combed)
    return None if found is None else Wish(value=found[0], u=found[1], combed=combed)


def _flags(tally: Tally, kerf_x: Figure, kerf_y: Figure, last: datetime) -> tuple[Flag, ...]:
    out = [
        Flag(name=name, text=text, at=datetime.fromisoformat(at), entry=entry)
        for name, text, at, entry in tally.flags
    ]
    if len(tally.axes) == 1:
        other = "y" if tally.axes == "x" else "x"
        text = f"kerf_{other} was never read; it follows from kerf_{tally.axes} and an assumed difference"
        out.append(Flag(name="ONE_AXIS", text=text, at=last))
    none = [
        f"kerf_{axis} {k.value:.3f} mm"
        for axis, k in (("x", kerf_x), ("y", kerf_y))
        if k.value < LEAST_KERF_MM
    ]
    if none:
        text = (
            f"{' and '.join(none)} would follow from the readings: that is no kerf, and is not used"
        )
        out.append(Flag(name="NO_KERF", text=text, at=last))
    elif Source.ASSUMED in (kerf_x.source, kerf_y.source):
        text = "the readings say little of the kerf: it is still the assumed one in the main"
        out.append(Flag(name="NOT_DETERMINED", text=text, at=last))
    return tuple(out)


def _nearest(
    book: Book, run: Run, material: str, settings: Settings, thickness_mm: float
) -> Nearest | None:
    """Return the record that differs in the fewest things, of any machine."""
    found: list[tuple[tuple[float, ...], Nearest]] = []
    for name in book.machine_names():
        other = run
        if name != run.machine:
            other = Run(book, name, run.at, run.assumed, run.given)
            other.run()
            other.state.advance(other.age_since_last_event())
        for record, tally in other.tallies.items():
            group = other.groups[record]
            if not tally.readings:
                continue
            differs = _differences(run.assumed, group, material, settings, thickness_mm)
            if name != run.machine:
                differs.insert(0, f"machine ({name})")
            kerf_x, kerf_y, _ = other.figures(group)
            if min(kerf_x.value, kerf_y.value) < LEAST_KERF_MM:
                continue
            nearest = Nearest(
                machine=name,
                material=group.material,
                thickness_mm=(group.low_mm, group.high_mm),
                settings=group.cutting,
                differs=tuple(differs),
                kerf_x=kerf_x,
                kerf_y=kerf_y,
                readings=tally.readings,
                last=datetime.fromisoformat(tally.last),
            )
            far = abs(thickness_mm - group.middle_mm)
            rank = (float(name != run.machine), float(len(differs)), far, -nearest.last.timestamp())
            found.append((rank, nearest))
    return min(found, key=lambda pair: pair[0])[1] if found else None


def _differences(
    assumed: Assumed, group: Group, material: str, settings: Settings, thickness_mm: float
) -> list[str]:
    out = []
    if group.material != material:
        out.append(f"material ({group.material})")
    if abs(thickness_mm - group.middle_mm) > assumed.same_thickness_mm + 1e-9:
        out.append(f"thickness ({group.middle_mm:.2f} mm, asked {thickness_mm:.2f} mm)")
    units = {"speed": " mm/s", "power": " %", "focus": " mm"}
    recorded = json.loads(group.cutting)
    for name, value in settings.cutting.items():
        if recorded[name] != value:
            sides = [
                "not recorded"
                if v in (None, "")
                else f"{v:g}{units.get(name, '')}"
                if isinstance(v, float | int)
                else str(v)
                for v in (recorded[name], value)
            ]
            out.append(f"{name} ({sides[0]}, asked {sides[1]})")
    return out


def history(
    book: Book,
    machine: str,
    material: str,
    thickness_mm: float,
    settings: Settings,
    at: datetime,
    *,
    assumed: Assumed | None = None,
    observer: Observer | None = None,
) -> tuple[Point, ...]:
    """Return the belief about one record after each of its events, oldest first.

    Arguments as in :func:`believe`. Empty when the record was never read.
    """
    assumed, observer = assumed or Assumed(), observer or GaugeObserver()
    points: list[tuple[str, Point]] = []
    run = Run(book, machine, at, assumed, observer)
    with book.reading():

        def watch(step: Step, surprises: list[Surprise]) -> None:
            if not step.record or step.event.kind not in ("gauge", "box"):
                return
            kerf_x, kerf_y, _ = run.figures(run.groups[step.record])
            point = Point(
                at=datetime.fromisoformat(step.event.at),
                entry=step.event.id,
                kind=step.event.kind,
                kerf_x=kerf_x.value,
                kerf_y=kerf_y.value,
                u_kerf_x=kerf_x.u,
                u_kerf_y=kerf_y.u,
                flags=tuple(s.name for s in surprises),
            )
            points.append((step.record, point))

        run.run(watch)
        group = run.find(same_words(material), cutting_key(settings), thickness_mm)
    run.save()
    return tuple(point for name, point in points if group and name == group.name)

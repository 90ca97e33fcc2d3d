"""What happened to a machine, in sequence: which events share a kerf, and the ageing between them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from boxjoint.shop.assumed import Assumed, elapsed_jobs
from boxjoint.shop.book import Event
from boxjoint.shop.records import Settings, same_words

__all__ = ["Group", "Step", "between", "cutting_key", "groups_of", "is_job", "steps_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """A record: material (levelled), settings that decide the kerf, thickness from least to most.

    ``name`` is the id of its first event: it stays when another sheet widens the record.
    """

    name: str
    material: str
    cutting: str
    low_mm: float
    high_mm: float

    @property
    def middle_mm(self) -> float:
        """Middle between the least and the greatest thickness, mm."""
        return 0.5 * (self.low_mm + self.high_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One event, the name of its record (empty: the machine), and the ageing before it."""

    event: Event
    record: str
    jobs: float


def cutting_key(settings: Settings) -> str:
    """Return what decides the kerf of settings, to be compared."""
    return json.dumps(settings.cutting, sort_keys=True)


def groups_of(
    events: Sequence[Event],
    sheets: Mapping[str, tuple[str, float]],
    settings: Mapping[str, Settings],
    assumed: Assumed,
) -> dict[str, Group]:
    """Return the record of every event that has one.

    Sheets of one material and settings share a record while their mean thickness lies within twice
    ``same_thickness_mm``, from the thinnest up. Events whose sheet or settings are struck out have
    none.
    """
    kin: dict[tuple[str, str], dict[float, list[str]]] = {}
    for event in events:
        if event.sheet not in sheets or event.settings not in settings:
            continue
        material, mean_mm = sheets[event.sheet]
        key = (same_words(material), cutting_key(settings[event.settings]))
        kin.setdefault(key, {}).setdefault(mean_mm, []).append(event.id)
    out: dict[str, Group] = {}
    for (material, cutting), by_thickness in kin.items():
        for low, high in _spans(sorted(by_thickness), 2 * assumed.same_thickness_mm):
            members = {i for t, ids in by_thickness.items() if low <= t <= high for i in ids}
            group = Group(
                name=next(e.id for e in events if e.id in members),
                material=material,
                cutting=cutting,
                low_mm=low,
                high_mm=high,
            )
            out.update(dict.fromkeys(members, group))
    return out


def _spans(values: Sequence[float], width: float) -> list[tuple[float, float]]:
    """Cut sorted values into spans no wider than ``width``, from the least up."""
    spans: list[tuple[float, float]] = []
    for value in values:
        if spans and value - spans[-1][0] <= width:
            spans[-1] = (spans[-1][0], value)
        else:
            spans.append((value, value))
    return spans


def steps_of(events: Sequence[Event], groups: Mapping[str, Group], assumed: Assumed) -> list[Step]:
    """Put the ageing between events; a job ages the machine after it was cut.

    Between two events that note the hour counter it is the counter that counts, whatever happened
    between them; events without it age by the calendar meanwhile.
    """
    out: list[Step] = []
    orders: set[str] = set()
    before: Event | None = None
    counter: float | None = None
    pending = aged = 0.0
    for event in events:
        if before is None:
            jobs = 0.0
        elif event.cut_hours is not None and counter is not None and event.cut_hours >= counter:
            jobs = max((event.cut_hours - counter) / assumed.hours_per_job - aged, 0.0)
        else:
            jobs = between(before, event.at, None, pending, assumed)
        aged += jobs
        if event.cut_hours is not None:
            counter, aged = event.cut_hours, 0.0
        group = groups.get(event.id)
        out.append(Step(event=event, record=group.name if group else "", jobs=jobs))
        pending = is_job(event, orders)
        before = event
    return out


def is_job(event: Event, orders: set[str]) -> float:
    """1 for the first sign of an order that was cut, else 0; remembers the order."""
    if event.kind not in ("box", "log") or event.order in orders:
        return 0.0
    if event.order:
        orders.add(event.order)
    return 1.0


def between(
    before: Event, at: str, cut_hours: float | None, pending: float, assumed: Assumed
) -> float:
    """Return how many jobs' worth of ageing lie between an event and a time; ``pending``: jobs cut."""
    days = (datetime.fromisoformat(at) - datetime.fromisoformat(before.at)).total_seconds() / 86400
    hours = None
    if cut_hours is not None and before.cut_hours is not None:
        hours = cut_hours - before.cut_hours
    return elapsed_jobs(days=days, jobs=pending, hours=hours, assumed=assumed)

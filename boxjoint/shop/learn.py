"""What the shop book makes us believe of a machine, a material, a thickness and settings.

:func:`believe` lists what happened to the machine, groups it into records, and runs the raw
readings through the filter in the sequence in which they were taken. Kerf belongs to a record;
scale belongs to the machine and is taught by all of its records. A kerf of another record is never
handed out as this one's: where there is none, the nearest record is named with what differs.

Nothing of a belief is stored as truth. To answer fast from a large book, the state after the last
event is remembered under a digest of everything that it followed from (every event, what of it is
struck out, the assumed sizes, the estimator's version): if any of that changes, the digest does,
and all is computed afresh.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final

from boxjoint.errors import BookError, ReadingError
from boxjoint.job.records import Source
from boxjoint.shop.book import Book, Entry, Event
from boxjoint.shop.filter import (
    Array,
    Assumed,
    Observation,
    ShopFilter,
    Surprise,
    elapsed_jobs,
)
from boxjoint.shop.observe import GaugeObserver, Observer
from boxjoint.shop.records import BoxResult, CombRound, GaugeSession, Settings, same_words

__all__ = [
    "LEAST_KERF_MM",
    "Belief",
    "Figure",
    "Flag",
    "Nearest",
    "Point",
    "Progress",
    "believe",
    "comb_rounds",
    "history",
]

#: Called with (events done, events in all) while gauges are estimated.
Progress = Callable[[int, int], None]

#: A figure whose uncertainty is still more than this share of the assumed one is the assumed one.
_DETERMINED: Final = 0.5
#: A belief below this is no kerf, whatever the readings say: a job refuses a smaller one as well.
LEAST_KERF_MM: Final = 0.01
#: Another number when what is remembered of a gauge changes.
_EDITION: Final = 2
#: So many new results are worth remembering.
_WORTH: Final = 8
#: Flags that are kept for each record, newest last.
_FLAGS_KEPT: Final = 20
_CHUNK: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A value with its standard uncertainty, and what it is: measured or assumed."""

    value: float
    u: float
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag:
    """Something a maker should know, with its date and the record it came from.

    ``STEP``: the kerf seems to have jumped. ``MISFIT``: readings that do not agree with the machine's
    history, and are no jump of the kerf or see too little of it to tell; used as they are.
    ``REFUSED``: readings that the estimator refuses; not used. ``SERVICE``: work on the
    machine since the last reading. ``ONE_AXIS``: only the other axis was ever read.
    ``NOT_DETERMINED``: there are readings, but they say little of the kerf. ``NO_KERF``: what
    follows from the readings is no kerf that a beam can have.
    """

    name: str
    text: str
    at: datetime
    entry: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The nearest record that does have a kerf, and everything in which it differs."""

    machine: str
    material: str
    thickness_mm: tuple[float, float]
    settings: str
    differs: tuple[str, ...]
    kerf_x: Figure
    kerf_y: Figure
    readings: int
    last: datetime

    def __str__(self) -> str:
        return (
            f"kerf {self.kerf_x.value:.3f} x {self.kerf_y.value:.3f} mm was measured"
            f" on {self.last:%Y-%m-%d}, but with another " + "; another ".join(self.differs)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What is believed at a time.

    Parameters
    ----------
    kerf_x, kerf_y
        mm, full width; ``None`` when nothing was ever read in this record.
    scale_x, scale_y
        Size cut over size drawn; shared by all records of the machine.
    covariance
        4 x 4 of kerf_x, kerf_y, scale_x, scale_y; ``None`` with the kerf.
    readings, gauges, boxes
        Single values read, gauges and boxes that they came from; struck ones do not count.
    last, age_days, age_jobs
        Date of the last reading of this record and what has passed since.
    thickness_mm
        Least and greatest mean thickness of the sheets that were read.
    flags
        See :class:`Flag`, oldest first.
    check
        True when u(kerf) is too large for a fit to be promised: read the two-reading gauge first.
    nearest
        Where this record has no kerf: the nearest one that has.
    """

    machine: str
    material: str
    at: datetime
    kerf_x: Figure | None
    kerf_y: Figure | None
    scale_x: Figure
    scale_y: Figure
    covariance: tuple[tuple[float, ...], ...] | None
    readings: int
    gauges: int
    boxes: int
    last: datetime | None
    age_days: float | None
    age_jobs: float | None
    thickness_mm: tuple[float, float] | None
    flags: tuple[Flag, ...]
    check: bool
    nearest: Nearest | None

    @property
    def is_kerf(self) -> bool:
        """Whether there is a kerf along both axes, and one that a beam can have."""
        return (
            self.kerf_x is not None
            and self.kerf_y is not None
            and min(self.kerf_x.value, self.kerf_y.value) >= LEAST_KERF_MM
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """The belief about a record just after one of its events, for the plot over time."""

    at: datetime
    entry: str
    kind: str
    kerf_x: float
    kerf_y: float
    u_kerf_x: float
    u_kerf_y: float
    flags: tuple[str, ...]


# ---- records: which events share a kerf ------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
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
        return 0.5 * (self.low_mm + self.high_mm)


@dataclass(slots=True, kw_only=True)
class _Tally:
    """What is counted of a record while its events pass."""

    readings: int = 0
    gauges: int = 0
    boxes: int = 0
    last: str = ""
    axes: str = ""
    flags: list[list[str]] = field(default_factory=list)

    def flag(self, name: str, text: str, event: Event) -> None:
        self.flags = [*self.flags, [name, text, event.at, event.id]][-_FLAGS_KEPT:]

    def saw(self, axes: Iterable[str]) -> None:
        self.axes = "".join(sorted({*self.axes, *axes}))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """One event, the name of its record (empty: the machine), and the ageing before it."""

    event: Event
    record: str
    jobs: float


def _cutting_key(settings: Settings) -> str:
    return json.dumps(settings.cutting, sort_keys=True)


def _groups(
    events: Sequence[Event],
    sheets: Mapping[str, tuple[str, float]],
    settings: Mapping[str, Settings],
    assumed: Assumed,
) -> dict[str, _Group]:
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
        key = (same_words(material), _cutting_key(settings[event.settings]))
        kin.setdefault(key, {}).setdefault(mean_mm, []).append(event.id)
    out: dict[str, _Group] = {}
    for (material, cutting), by_thickness in kin.items():
        for low, high in _spans(sorted(by_thickness), 2 * assumed.same_thickness_mm):
            members = {i for t, ids in by_thickness.items() if low <= t <= high for i in ids}
            group = _Group(
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


def _steps(events: Sequence[Event], groups: Mapping[str, _Group], assumed: Assumed) -> list[_Step]:
    """Put the ageing between events; a job ages the machine after it was cut."""
    out: list[_Step] = []
    orders: set[str] = set()
    before: Event | None = None
    pending = 0.0
    for event in events:
        jobs = (
            0.0 if before is None else _between(before, event.at, event.cut_hours, pending, assumed)
        )
        group = groups.get(event.id)
        out.append(_Step(event=event, record=group.name if group else "", jobs=jobs))
        pending = _is_job(event, orders)
        before = event
    return out


def _is_job(event: Event, orders: set[str]) -> float:
    """1 for the first sign of an order that was cut, else 0; remembers the order."""
    if event.kind not in ("box", "log") or event.order in orders:
        return 0.0
    if event.order:
        orders.add(event.order)
    return 1.0


def _between(
    before: Event, at: str, cut_hours: float | None, pending: float, assumed: Assumed
) -> float:
    days = (datetime.fromisoformat(at) - datetime.fromisoformat(before.at)).total_seconds() / 86400
    hours = None
    if cut_hours is not None and before.cut_hours is not None:
        hours = cut_hours - before.cut_hours
    return elapsed_jobs(days=days, jobs=pending, hours=hours, assumed=assumed)


# ---- the run -------------------------------------------------------------------------------


class _Run:
    """One machine's events, and the state after the last of them."""

    def __init__(
        self,
        book: Book,
        machine: str,
        at: datetime,
        assumed: Assumed,
        observer: Observer,
        progress: Progress | None = None,
    ) -> None:
        self.book = book
        self.machine = machine
        self.assumed = assumed
        self.observer = observer
        self.progress = progress
        self.at = at
        self.steps: list[_Step] = []
        self.groups: dict[str, _Group] = {}
        # by name of the record; a dict keeps the sequence in which they were met
        self.tallies: dict[str, _Tally] = {}
        self.state = ShopFilter(0, assumed)
        self.news: list[tuple[str, dict[str, str], bool]] = []

    def _list(self) -> None:
        events = self.book.timeline(self.machine, self.at)
        sheets, settings = self.book.sheet_means(), self.book.settings_by_id()
        groups = _groups(events, sheets, settings, self.assumed)
        self.steps = _steps(events, groups, self.assumed)
        self.groups = {g.name: g for g in groups.values()}

    # -- remembering

    @property
    def _family(self) -> str:
        return f"state\n{self.machine}\n{self.assumed.fingerprint} {self.observer.version}"

    def _digests(self, lengths: Iterable[int]) -> dict[int, str]:
        """Digest of the first n steps, for each n asked."""
        wanted, out = set(lengths), {}
        digest = hashlib.sha256(self._family.encode())
        for n, step in enumerate(self.steps, 1):
            event = step.event
            digest.update(repr((event.id, sorted(event.struck), step.record, step.jobs)).encode())
            if n in wanted:
                out[n] = digest.hexdigest()
        return out

    def _resume(self) -> int:
        """Take the longest remembered state that still holds; return how many steps it covers."""
        kept: dict[int, tuple[str, str]] = {}
        for key, body in self.book.recall(self._family).items():
            length, _, digest = key.partition(" ")
            if length.isdecimal():
                kept[int(length)] = (digest, body)
        digests = self._digests(kept)
        for n in sorted(kept, reverse=True):
            digest, body = kept[n]
            if digests.get(n) == digest:
                try:
                    self._restore(json.loads(body))
                except (ValueError, KeyError, TypeError):
                    continue
                return n
        return 0

    def _restore(self, plain: dict[str, Any]) -> None:
        state = ShopFilter(0, self.assumed)
        state.restore(plain)
        tallies = {name: _Tally(**tally) for name, tally in plain["tallies"].items()}
        if state.records != len(tallies) or not tallies.keys() <= self.groups.keys():
            raise ValueError("not a state")
        self.state, self.tallies = state, tallies

    def _remember_state(self) -> None:
        tallies = {
            name: {f: getattr(tally, f) for f in _Tally.__slots__}
            for name, tally in self.tallies.items()
        }
        n = len(self.steps)
        key = f"{n} {self._digests([n])[n]}"
        body = json.dumps(self.state.to_plain() | {"tallies": tallies})
        self.news.append((self._family, {key: body}, True))

    def save(self) -> None:
        """Remember what was worth it, once the book is no longer being read."""
        for family, bodies, only in self.news:
            if only or len(bodies) >= _WORTH:
                self.book.remember(family, bodies, only=only)
        self.news = []

    # -- going through the events

    def run(self, watch: Callable[[_Step, list[Surprise]], None] | None = None) -> None:
        """Bring the state to the last event. ``watch`` is called after each, from the first on.

        Call it inside ``book.reading()``: events and readings must be of one moment.
        """
        self._list()
        start = 0 if watch else self._resume()
        for first in range(start, len(self.steps), _CHUNK):
            part = self.steps[first : first + _CHUNK]
            seen, boxes = self._load(first, part)
            for step in part:
                surprises = self._take(step, seen, boxes)
                if watch:
                    watch(step, surprises)
        self.state.check()
        if watch is None and len(self.steps) - start >= _WORTH:
            self._remember_state()

    def _load(self, first: int, part: Sequence[_Step]) -> tuple[dict[str, Any], dict[str, Entry]]:
        """Return what the gauges of these steps say, and the boxes as they were recorded."""
        family = f"gauge {_EDITION} {self.observer.version}"
        keys = {s.event.id: _key(s.event) for s in part if s.event.kind == "gauge" and s.record}
        kept = self.book.recall(family, list(keys.values()))
        seen: dict[str, Any] = {}
        for identity, key in keys.items():
            if key in kept:
                seen[identity] = json.loads(kept[key])
        missing = [i for i in keys if i not in seen]
        new: dict[str, str] = {}
        self.news.append((family, new, False))
        for n, entry in enumerate(self.book.get_all(missing), first + 1):
            seen[entry.id] = self._observe(entry)
            new[keys[entry.id]] = json.dumps(seen[entry.id])
            if self.progress:
                self.progress(n, len(self.steps))
        ids = [s.event.id for s in part if s.event.kind == "box" and s.record]
        return seen, {entry.id: entry for entry in self.book.get_all(ids)}

    def _observe(self, entry: Entry) -> dict[str, Any]:
        session = entry.record
        if not isinstance(session, GaugeSession):
            raise BookError("not a gauge", value=entry.id)
        rows = tuple(r for n, r in enumerate(session.readings, 1) if n not in entry.struck)
        if not rows:
            return {"n": 0}
        try:
            found = self.observer(replace(session, readings=rows))
        except ReadingError as error:
            return {"n": 0, "refused": str(error)}
        axes = {r.axis for r in rows} | (
            {"y"} if any(r.form == "difference" for r in rows) else set()
        )
        return {
            "n": sum(len(r.values_mm) for r in rows),
            "axes": "".join(sorted(axes)),
            "what": ", ".join(f"{r.form} {r.axis} {r.drawn_mm:g}" for r in rows),
            "info": found.info,
            "vector": found.vector,
        }

    def _take(
        self, step: _Step, seen: Mapping[str, Any], boxes: Mapping[str, Entry]
    ) -> list[Surprise]:
        self.state.advance(step.jobs)
        event = step.event
        if event.kind == "service":
            self.state.service(event.affects)
            for tally in self.tallies.values():
                tally.flag("SERVICE", "work on the machine since the last reading", event)
        if not step.record or event.kind not in ("gauge", "box"):
            return []
        if step.record not in self.tallies:
            self.state.add_record()
            self.tallies[step.record] = _Tally()
        number, tally = self._number(step.record), self.tallies[step.record]
        first = tally.readings == 0
        if event.kind == "gauge":
            surprises = self._take_gauge(number, tally, event, seen[event.id])
        else:
            surprises = self._take_box(number, tally, event, boxes[event.id])
        if first:
            # a kerf far from the assumed one is no step: nobody had read it before
            surprises = [pair for pair in surprises if pair[0].name != "STEP"]
        for s, what in surprises:
            text = (
                f"the kerf seems to have moved by {s.shift_mm:+.3f} mm"
                if s.name == "STEP"
                else f"the readings ({what}) do not agree with what was known of this machine, and "
                "are no step of the kerf: read them again; they are used as they are"
            )
            tally.flag(s.name, text, event)
        return [s for s, _ in surprises]

    def _take_gauge(
        self, number: int, tally: _Tally, event: Event, found: Mapping[str, Any]
    ) -> list[tuple[Surprise, str]]:
        if "refused" in found:
            tally.flag("REFUSED", found["refused"], event)
        if not found["n"]:
            return []
        rows = tuple(tuple(row) for row in found["info"])
        surprises = self.state.gauge(number, Observation(info=rows, vector=tuple(found["vector"])))
        tally.gauges += 1
        self._count(tally, event, found["n"], found["axes"])
        return [(s, found["what"]) for s in surprises]

    def _take_box(
        self, number: int, tally: _Tally, event: Event, entry: Entry
    ) -> list[tuple[Surprise, str]]:
        box = entry.record
        if not isinstance(box, BoxResult):
            raise BookError("not a box", value=entry.id)
        surprises: list[tuple[Surprise, str]] = []
        rows = [r for n, r in enumerate(box.insides, 1) if n not in entry.struck]
        for row in rows:
            x = row.axis == "x"
            found = self.state.inside(
                number,
                row.axis,
                asked_mm=row.asked_mm,
                measured_mm=row.measured_mm,
                kerf_mm=box.kerf_x_mm if x else box.kerf_y_mm,
                scale=box.scale_x if x else box.scale_y,
                u_mm=row.u_mm,
            )
            surprises += [(s, f"inside {row.axis} {row.asked_mm:g}") for s in found]
        if box.fit:
            kerf_mm = 0.5 * (box.kerf_x_mm + box.kerf_y_mm)
            found = self.state.fit(number, box.fit, kerf_mm=kerf_mm)
            surprises += [(s, f"fit {box.fit}") for s in found]
        n = len(rows) + bool(box.fit)
        if n:
            tally.boxes += 1
            self._count(
                tally, event, n, {r.axis for r in rows} | ({"x", "y"} if box.fit else set())
            )
        return surprises

    def _count(self, tally: _Tally, event: Event, n: int, axes: Iterable[str]) -> None:
        tally.readings += n
        tally.last = event.at
        tally.saw(axes)
        tally.flags = [f for f in tally.flags if f[0] != "SERVICE"]

    # -- answers

    def _number(self, name: str) -> int:
        return list(self.tallies).index(name)

    def age(self, since: str) -> float:
        """Return how many jobs' worth of time have passed since the event at ``since``."""
        jobs = sum(s.jobs for s in self.steps if s.event.at > since)
        return jobs + self.age_since_last_event()

    def age_since_last_event(self) -> float:
        """Return the ageing between the machine's last event and now."""
        if not self.steps:
            return 0.0
        orders: set[str] = set()
        pending = [_is_job(s.event, orders) for s in self.steps][-1]
        return _between(self.steps[-1].event, self.at.isoformat(), None, pending, self.assumed)

    def find(self, material: str, cutting: str, thickness_mm: float) -> _Group | None:
        """Return the record that the asked sheet belongs to, if it has readings."""
        reach = self.assumed.same_thickness_mm + 1e-9
        fitting = [
            g
            for g in map(self.groups.__getitem__, self.tallies)
            if g.material == material
            and g.cutting == cutting
            and abs(thickness_mm - g.middle_mm) <= reach
            and self.tallies[g.name].readings
        ]
        return min(fitting, key=lambda g: abs(thickness_mm - g.middle_mm), default=None)

    def figures(self, group: _Group) -> tuple[Figure, Figure, Array]:
        """kerf_x, kerf_y and the 4 x 4 covariance of the record, as of the state."""
        mean, cov = self.state.belief(self._number(group.name))
        a = self.assumed
        prior_u = (a.kerf_u_mm**2 + 0.25 * a.difference_u_mm**2) ** 0.5
        kerfs = [
            _figure(float(mean[i]), float(cov[i, i]), prior_u, least=LEAST_KERF_MM) for i in (0, 1)
        ]
        return kerfs[0], kerfs[1], cov


def _key(event: Event) -> str:
    return f"{event.id} {sorted(event.struck)}"


def _figure(value: float, variance: float, prior_u: float, *, least: float = 0.0) -> Figure:
    u = variance**0.5
    known = u <= _DETERMINED * prior_u and value >= least
    return Figure(value=value, u=u, source=Source.MEASURED if known else Source.ASSUMED)


# ---- what others ask -------------------------------------------------------------------------


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
    material_key, cutting = same_words(material), _cutting_key(settings)
    run = _Run(book, machine, at, assumed, observer, progress)
    try:
        with book.reading():
            run.run()
            run.state.advance(run.age_since_last_event())
            group = run.find(material_key, cutting, thickness_mm)
            nearest = None
            if group is None:
                nearest = _nearest(book, run, material_key, settings, thickness_mm)
    finally:
        run.save()
    scale, scale_cov = run.state.scale()
    scales = [
        _figure(1.0 + float(scale[i]), float(scale_cov[i, i]), assumed.scale_u) for i in (0, 1)
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
            check=True,
            nearest=nearest,
        )
    tally = run.tallies[group.name]
    kerf_x, kerf_y, cov = run.figures(group)
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
        check=max(kerf_x.u, kerf_y.u) > assumed.check_u_mm
        or min(kerf_x.value, kerf_y.value) < LEAST_KERF_MM,
        nearest=None,
    )


def _flags(tally: _Tally, kerf_x: Figure, kerf_y: Figure, last: datetime) -> tuple[Flag, ...]:
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
    book: Book, run: _Run, material: str, settings: Settings, thickness_mm: float
) -> Nearest | None:
    """Return the record that differs in the fewest things, of any machine."""
    found: list[tuple[tuple[float, ...], Nearest]] = []
    for name in book.machine_names():
        other = run
        if name != run.machine:
            other = _Run(book, name, run.at, run.assumed, run.observer)
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
    assumed: Assumed, group: _Group, material: str, settings: Settings, thickness_mm: float
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
    run = _Run(book, machine, at, assumed, observer)
    with book.reading():

        def watch(step: _Step, surprises: list[Surprise]) -> None:
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
        group = run.find(same_words(material), _cutting_key(settings), thickness_mm)
    run.save()
    return tuple(point for name, point in points if group and name == group.name)


def comb_rounds(
    book: Book,
    machine: str,
    material: str,
    thickness_mm: float,
    settings: Settings,
    at: datetime,
    *,
    assumed: Assumed | None = None,
) -> tuple[CombRound, ...]:
    """Return the comb rounds of one record, oldest first, without what is struck out.

    The fit that follows from them is the comb estimator's to say (room ``gauge``).
    """
    reach = (assumed or Assumed()).same_thickness_mm
    out: list[CombRound] = []
    with book.reading():
        sheets, known = book.sheet_means(), book.settings_by_id()
        for entry in book.entries("comb"):
            comb = entry.record
            if not isinstance(comb, CombRound) or not entry.counts or comb.at > at:
                continue
            if comb.machine != machine or comb.sheet not in sheets or comb.settings not in known:
                continue
            of, mean_mm = sheets[comb.sheet]
            same = same_words(of) == same_words(material)
            same = same and known[comb.settings].cutting == settings.cutting
            rows = tuple(v for n, v in enumerate(comb.verdicts, 1) if n not in entry.struck)
            if same and rows and abs(mean_mm - thickness_mm) <= reach + 1e-9:
                out.append(replace(comb, verdicts=rows))
    return tuple(out)

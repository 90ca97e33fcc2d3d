"""Running the events of one machine through the filter, and remembering the state after them.

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

import numpy as np

from boxjoint.errors import BookError, ReadingError
from boxjoint.job.records import Source
from boxjoint.shop.assumed import Assumed
from boxjoint.shop.belief import LEAST_KERF_MM, Figure
from boxjoint.shop.book import Book, Entry, Event
from boxjoint.shop.filter import Outlook, ShopFilter, Surprise
from boxjoint.shop.likelihood import Array, Observation, Term
from boxjoint.shop.observe import Observer, repeats_of
from boxjoint.shop.records import BoxResult, CombRound, GaugeSession
from boxjoint.shop.timeline import Group, Step, between, groups_of, is_job, steps_of

__all__ = ["Progress", "Run", "Tally", "figure_of", "kerfs_of"]

#: Called with (events done, events in all) while gauges are estimated.
Progress = Callable[[int, int], None]


#: A kerf that is known no better than this (standard, mm) is still the assumed one.
KNOWN_KERF_U_MM: Final = 0.03


#: Another number when what is remembered of a gauge changes.
_EDITION: Final = 3


#: Combs of one hand and material whose days are kept, newest.
_COMBS_KEPT: Final = 8


#: So many new results are worth remembering.
_WORTH: Final = 8


#: Flags that are kept for each record, newest last.
_FLAGS_KEPT: Final = 20


_CHUNK: Final = 500


@dataclass(slots=True, kw_only=True)
class Tally:
    """What is counted of a record while its events pass."""

    readings: int = 0
    gauges: int = 0
    boxes: int = 0
    verdicts: int = 0
    last: str = ""
    axes: str = ""
    flags: list[list[str]] = field(default_factory=list)

    def flag(self, name: str, text: str, event: Event) -> None:
        """Note something a maker should know; the newest are kept."""
        self.flags = [*self.flags, [name, text, event.at, event.id]][-_FLAGS_KEPT:]

    def saw(self, axes: Iterable[str]) -> None:
        """Note the axes of a reading."""
        self.axes = "".join(sorted({*self.axes, *axes}))


class Run:
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
        # as given, and as it is once it knows how steady the repeats of the book are
        self.given = self.observer = observer
        self.progress = progress
        self.at = at
        self.steps: list[Step] = []
        self.groups: dict[str, Group] = {}
        # by name of the record; a dict keeps the sequence in which they were met
        self.tallies: dict[str, Tally] = {}
        self.state = ShopFilter(assumed)
        # combs whose days the state keeps: id of the event to (record, axis), oldest first
        self.days: dict[str, tuple[str, str]] = {}
        self.news: list[tuple[str, dict[str, str], bool]] = []

    def _list(self) -> None:
        events = self.book.timeline(self.machine, self.at)
        sheets, settings = self.book.sheet_means(), self.book.settings_by_id()
        groups = groups_of(events, sheets, settings, self.assumed)
        self.steps = steps_of(events, groups, self.assumed)
        self.groups = {g.name: g for g in groups.values()}

    # -- remembering

    @property
    def _family(self) -> str:
        return f"state\n{self.machine}\n{self.assumed.fingerprint} {self.observer.version}"

    def _digests(self, lengths: Iterable[int]) -> dict[int, str]:
        """Digest of the first n steps, for each n asked."""
        steps = [repr((s.event.id, sorted(s.event.struck), s.record, s.jobs)) for s in self.steps]
        return _prefix_digests(steps, lengths, self._family)

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
        state = ShopFilter(self.assumed)
        state.restore(plain)
        tallies = {name: Tally(**tally) for name, tally in plain["tallies"].items()}
        days = {day: (record, axis) for day, record, axis in plain["days"]}
        if not tallies.keys() <= self.groups.keys() or not all(map(state.knows_day, days)):
            raise ValueError("not a state")
        self.state, self.tallies, self.days = state, tallies, days

    def _remember_state(self) -> None:
        tallies = {
            name: {f: getattr(tally, f) for f in Tally.__slots__}
            for name, tally in self.tallies.items()
        }
        n = len(self.steps)
        key = f"{n} {self._digests([n])[n]}"
        days = [[day, record, axis] for day, (record, axis) in self.days.items()]
        body = json.dumps(self.state.to_plain() | {"tallies": tallies, "days": days})
        self.news.append((self._family, {key: body}, True))

    def save(self) -> None:
        """Remember what was worth it, once the book is no longer being read."""
        for family, bodies, only in self.news:
            if only or len(bodies) >= _WORTH:
                self.book.remember(family, bodies, only=only)
        self.news = []

    # -- going through the events

    def run(self, watch: Callable[[Step, list[Surprise]], None] | None = None) -> None:
        """Bring the state to the last event. ``watch`` is called after each, from the first on.

        Call it inside ``book.reading()``: events and readings must be of one moment.
        """
        self._list()
        self.observer = self._steadied()
        start = 0 if watch else self._resume()
        for first in range(start, len(self.steps), _CHUNK):
            part = self.steps[first : first + _CHUNK]
            seen, records = self._load(first, part)
            for step in part:
                surprises = self._take(step, seen, records)
                if watch:
                    watch(step, surprises)
        self.state.check()
        if watch is None and len(self.steps) - start >= _WORTH:
            self._remember_state()

    def _steadied(self) -> Observer:
        """Return the observer that knows how steady the repeats of this book are."""
        gauges = [s.event for s in self.steps if s.event.kind == "gauge" and s.record]
        family = f"repeats {_EDITION}\n{self.machine}"
        start, squares, dof = 0, 0.0, 0
        kept = self.book.recall(family)
        digests = _prefix_digests([_key(e) for e in gauges], {int(k.split()[0]) for k in kept})
        for key, body in kept.items():
            length, _, digest = key.partition(" ")
            if digests.get(int(length)) == digest and int(length) >= start:
                start, (squares, dof) = int(length), json.loads(body)
        for entry in self.book.get_all([e.id for e in gauges[start:]]):
            if isinstance(entry.record, GaugeSession):
                more, repeats = repeats_of(entry.record, entry.struck)
                squares, dof = squares + more, dof + repeats
        if len(gauges) - start >= _WORTH:
            n = len(gauges)
            key = f"{n} {_prefix_digests([_key(e) for e in gauges], {n})[n]}"
            self.news.append((family, {key: json.dumps([squares, dof])}, True))
        return self.given.steadier(squares, dof)

    def _load(self, first: int, part: Sequence[Step]) -> tuple[dict[str, Any], dict[str, Entry]]:
        """Return what the gauges of these steps say; boxes and combs as they were recorded."""
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
        ids = [s.event.id for s in part if s.event.kind in ("box", "comb") and s.record]
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
            "terms": [[t.info, t.vector, t.log_weight] for t in found.terms],
        }

    def _take(
        self, step: Step, seen: Mapping[str, Any], records: Mapping[str, Entry]
    ) -> list[Surprise]:
        self.state.advance(step.jobs)
        event = step.event
        if event.kind == "service":
            self.state.service(event.affects)
            for tally in self.tallies.values():
                tally.flag("SERVICE", "work on the machine since the last reading", event)
        if not step.record or event.kind not in ("gauge", "box", "comb"):
            return []
        self.state.add_record(step.record)
        if event.kind == "comb":
            self._keep_day(step.record, event, records[event.id])
            return []
        tally = self.tallies.setdefault(step.record, Tally())
        first = tally.readings == 0
        if event.kind == "gauge":
            surprises = self._take_gauge(step.record, tally, event, seen[event.id])
        else:
            surprises = self._take_box(step.record, tally, event, records[event.id])
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

    def _keep_day(self, record: str, event: Event, entry: Entry) -> None:
        """Keep the kerf of a comb's day: what the comb teaches is carried by it."""
        comb = entry.record
        if not isinstance(comb, CombRound):
            raise BookError("not a comb", value=entry.id)
        material = self.groups[record].material
        same = [d for d, (r, _) in self.days.items() if self.groups[r].material == material]
        for day in same[: max(len(same) + 1 - _COMBS_KEPT, 0)]:
            self.state.drop_day(day)
            del self.days[day]
        self.state.add_day(event.id, record, comb.axis)
        self.days[event.id] = (record, comb.axis)

    def _take_gauge(
        self, record: str, tally: Tally, event: Event, found: Mapping[str, Any]
    ) -> list[tuple[Surprise, str]]:
        if "refused" in found:
            tally.flag("REFUSED", found["refused"], event)
        if not found["n"]:
            return []
        terms = tuple(
            Term(info=tuple(map(tuple, info)), vector=tuple(vector), log_weight=log_weight)
            for info, vector, log_weight in found["terms"]
        )
        surprises = self.state.gauge(record, Observation(terms=terms))
        tally.gauges += 1
        self._count(tally, event, found["n"], found["axes"])
        return [(s, found["what"]) for s in surprises]

    def _take_box(
        self, record: str, tally: Tally, event: Event, entry: Entry
    ) -> list[tuple[Surprise, str]]:
        box = entry.record
        if not isinstance(box, BoxResult):
            raise BookError("not a box", value=entry.id)
        surprises: list[tuple[Surprise, str]] = []
        rows = [r for n, r in enumerate(box.insides, 1) if n not in entry.struck]
        for row in rows:
            x = row.axis == "x"
            found = self.state.inside(
                record,
                row.axis,
                asked_mm=row.asked_mm,
                measured_mm=row.measured_mm,
                kerf_mm=box.kerf_x_mm if x else box.kerf_y_mm,
                scale=box.scale_x if x else box.scale_y,
                u_mm=row.u_mm,
            )
            surprises += [(s, f"inside {row.axis} {row.asked_mm:g}") for s in found]
        if box.fit:
            material = self.groups[record].material
            self.state.verdict(
                record,
                box.fit,
                kerf_mm=0.5 * (box.kerf_x_mm + box.kerf_y_mm),
                hand=material,
                combed=any(self.groups[r].material == material for r, _ in self.days.values()),
            )
            tally.verdicts += 1
        # a verdict tells of the hand: it is no reading of the kerf
        if rows:
            tally.boxes += 1
            self._count(tally, event, len(rows), {r.axis for r in rows})
        return surprises

    def _count(self, tally: Tally, event: Event, n: int, axes: Iterable[str]) -> None:
        tally.readings += n
        tally.last = event.at
        tally.saw(axes)
        tally.flags = [f for f in tally.flags if f[0] != "SERVICE"]

    # -- answers

    def age(self, since: str) -> float:
        """Return how many jobs' worth of time have passed since the event at ``since``."""
        jobs = sum(s.jobs for s in self.steps if s.event.at > since)
        return jobs + self.age_since_last_event()

    def age_since_last_event(self) -> float:
        """Return the ageing between the machine's last event and now."""
        if not self.steps:
            return 0.0
        orders: set[str] = set()
        pending = [is_job(s.event, orders) for s in self.steps][-1]
        return between(self.steps[-1].event, self.at.isoformat(), None, pending, self.assumed)

    def find(self, material: str, cutting: str, thickness_mm: float) -> Group | None:
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

    def outlook(self, group: Group, days: Sequence[str] = ()) -> Outlook:
        """kerf_x, kerf_y, scale_x - 1, scale_y - 1 of a record as of the state, then kerfs of days."""
        return self.state.belief(group.name, days)

    def figures(self, group: Group) -> tuple[Figure, Figure, Array]:
        """kerf_x, kerf_y and the 4 x 4 covariance of the record, as of the state."""
        return kerfs_of(self.outlook(group))

    def combs_of(self, material: str, thickness_mm: float) -> list[str]:
        """Ids of the combs in a material of about a thickness, oldest first, whatever the settings."""
        reach = self.assumed.same_thickness_mm + 1e-9
        return [
            day
            for day, (record, _) in self.days.items()
            if self.groups[record].material == material
            and abs(self.groups[record].middle_mm - thickness_mm) <= reach
        ]


def kerfs_of(outlook: Outlook) -> tuple[Figure, Figure, Array]:
    """Return kerf_x and kerf_y as figures, and the 4 x 4 covariance that goes with their +-."""
    _, cov = outlook.moments()
    cov = cov[:4, :4]
    spreads = [outlook.spread(i) for i in range(4)]
    kerfs = [
        figure_of(value, u, known_u=KNOWN_KERF_U_MM, least=LEAST_KERF_MM)
        for value, u in spreads[:2]
    ]
    # the covariance keeps its correlations and takes the uncertainties that are stated
    size = np.array([u for _, u in spreads]) / np.sqrt(np.diag(cov))
    return kerfs[0], kerfs[1], cov * np.outer(size, size)


def _prefix_digests(
    parts: Sequence[str], lengths: Iterable[int], start: str = ""
) -> dict[int, str]:
    """Digest of the first n parts, for each n asked that there are so many of."""
    wanted, out = set(lengths), {}
    digest = hashlib.sha256(start.encode())
    for n, part in enumerate(parts, 1):
        digest.update(part.encode())
        if n in wanted:
            out[n] = digest.hexdigest()
    return out


def _key(event: Event) -> str:
    return f"{event.id} {sorted(event.struck)}"


def figure_of(value: float, u: float, *, known_u: float, least: float = 0.0) -> Figure:
    """Return a figure: measured if known at least as well as ``known_u``, and not below ``least``."""
    known = u <= known_u and value >= least
    return Figure(value=value, u=u, source=Source.MEASURED if known else Source.ASSUMED)

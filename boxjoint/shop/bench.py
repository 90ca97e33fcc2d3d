"""Between the bench and the book: readings and verdicts as records, and a belief as a prior.

What is read off one gauge is an observation of its own: by default the estimate knows nothing of the
book, so that it can contradict it. The book's belief, aged to the day, is compared with it
(:func:`agreement`), and is used as the prior only on request (:func:`prior_of`). The book itself
never stores an estimate: it gets the raw readings, and counts them once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from boxjoint.errors import BookError, InputError, nearest_name
from boxjoint.fit.fits import family_of
from boxjoint.gauge.assumed import KerfPrior
from boxjoint.gauge.comb import Slot, next_comb
from boxjoint.gauge.estimate import KerfFit
from boxjoint.gauge.readings import Caliper
from boxjoint.gauge.readings import Reading as GaugeReading
from boxjoint.job.records import Job
from boxjoint.shop.book import Book, Entry
from boxjoint.shop.hand import hand_of
from boxjoint.shop.learn import Belief, believe
from boxjoint.shop.measured import find_settings, find_sheet
from boxjoint.shop.records import (
    CombRound,
    GaugeSession,
    Reading,
    Record,
    Settings,
    Sheet,
    Verdict,
    content_id,
    same_words,
)

__all__ = [
    "Agreement",
    "Place",
    "agreement",
    "book_readings",
    "book_verdicts",
    "comb_to_cut",
    "find_place",
    "prior_of",
    "twice",
]

#: 97.5 % quantile of the normal distribution: from standard to expanded uncertainty.
_NORMAL_975 = 1.959963984540054


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where something was cut: machine, sheet and settings; ``new`` are not in the book yet."""

    machine: str
    sheet: Sheet
    settings: Settings
    new: tuple[Record, ...] = ()

    @property
    def sheet_id(self) -> str:
        """Content id of the sheet."""
        return content_id(self.sheet)

    @property
    def settings_id(self) -> str:
        """Content id of the settings."""
        return content_id(self.settings)


def find_place(
    book: Book,
    *,
    machine: str,
    at: datetime,
    sheet: str = "",
    material: str = "",
    thickness_mm: tuple[float, ...] = (),
    settings: str = "",
    given: Settings | None = None,
) -> Place:
    """Find machine, sheet and settings in the book; sheet and settings are made where described.

    Parameters
    ----------
    machine
        Must be in the book.
    at
        Date of records that are made.
    sheet
        Id (or its beginning) or batch of a sheet in the book; else ``material`` and caliper
        readings of its thickness, mm, describe one.
    settings
        A name in the book, or the name for the settings ``given``.
    given
        How the machine was set; settings that say the same are used again.

    Raises
    ------
    BookError, InputError
        A name that is not in the book, a description that is not complete or that contradicts it.
    """
    names = book.machine_names()
    if machine not in names:
        raise BookError(
            "no machine of that name in the shop book",
            value=repr(machine),
            do=nearest_name(machine, names) or f"add it: boxjoint book add machine {machine!r}",
        )
    new: list[Record] = []
    found_sheet = _sheet(book, sheet, material, thickness_mm, at, new)
    found_settings = _settings(book, settings, given, at, new)
    return Place(machine=machine, sheet=found_sheet, settings=found_settings, new=tuple(new))


def _sheet(
    book: Book,
    name: str,
    material: str,
    thickness_mm: tuple[float, ...],
    at: datetime,
    new: list[Record],
) -> Sheet:
    if name:
        if material or thickness_mm:
            raise InputError(
                "a sheet of the book has its own material and thickness",
                where="--sheet",
                do="give --sheet, or --material and --thickness",
            )
        return find_sheet(book, name)
    if not material or not thickness_mm:
        raise InputError(
            "which sheet was it cut from?",
            where="the shop book",
            do="give --sheet, or --material and --thickness (once for each caliper reading)",
        )
    for entry in reversed(book.entries("sheet")):
        old = entry.record
        if not entry.counts or not isinstance(old, Sheet) or old.thickness_mm != thickness_mm:
            continue
        if same_words(old.material) == same_words(material):
            return old
    made = Sheet(at=at, material=material, thickness_mm=thickness_mm)
    new.append(made)
    return made


def _settings(
    book: Book, name: str, given: Settings | None, at: datetime, new: list[Record]
) -> Settings:
    known = [
        e.record
        for e in reversed(book.entries("settings"))
        if e.counts and isinstance(e.record, Settings)
    ]
    named = [s for s in known if name and s.name == name]
    if given is None:
        if named:
            return named[0]
        if not name:
            raise InputError(
                "how was the machine set? The kerf depends on it",
                where="the shop book",
                do="give --settings NAME, or --speed, --power and the like",
            )
        if len(name) >= 4:
            for s in known:
                if content_id(s).startswith(name):
                    return s
        raise BookError(
            "no settings of that name in the shop book",
            value=repr(name),
            do=nearest_name(name, [s.name for s in known]) or "describe them: --speed, --power",
        )
    if named and named[0].cutting != given.cutting:
        raise BookError(
            "there are other settings of that name in the shop book",
            value=repr(name),
            do="choose another name, or leave --speed and the like out",
        )
    for s in known:
        if s.cutting == given.cutting and (not name or s.name == name):
            return s
    made = replace(given, at=at, name=name)
    new.append(made)
    return made


def book_readings(readings: Sequence[GaugeReading]) -> tuple[Reading, ...]:
    """Return readings as the book keeps them: every repeat, in the form it was taken."""
    return tuple(
        Reading(
            form=str(r.form),
            axis=r.axis,
            drawn_mm=r.drawn_mm,
            values_mm=r.values_mm,
            slices=r.slices or 0,
            cut_ends=r.cut_ends,
            contour=r.contour,
            u_mm=r.u_mm,
            turned=r.turned,
        )
        for r in readings
    )


def book_verdicts(slots: Sequence[Slot]) -> tuple[Verdict, ...]:
    """Return the slots that were tried as the book keeps them."""
    return tuple(
        Verdict(x_mm=s.x_mm, verdict=s.verdict.name.lower()) for s in slots if s.verdict is not None
    )


def twice(book: Book, record: GaugeSession | CombRound) -> Entry | None:
    """Return a record of the same machine that holds the very same rows, if there is one.

    The same form saved twice would count twice; a struck one is found as well. Six values or more
    never come out alike by chance, whatever the date; fewer, and verdicts, do so on another day.
    """
    rows = record.readings if isinstance(record, GaugeSession) else record.verdicts
    for entry in book.entries(record.kind):
        old = entry.record
        if not isinstance(old, GaugeSession | CombRound) or old.machine != record.machine:
            continue
        theirs = old.readings if isinstance(old, GaugeSession) else old.verdicts
        many = isinstance(old, GaugeSession) and sum(len(r.values_mm) for r in old.readings) >= 6
        if theirs == rows and (many or abs(old.at - record.at) < timedelta(days=1)):
            return entry
    return None


# ---- kerf ------------------------------------------------------------------------------------


def prior_of(belief: Belief, caliper: Caliper | None = None) -> KerfPrior:
    """Return a belief of the book as the prior of the next estimate.

    Kerf and scale with their covariance come from the belief, aged as the book ages it; backlash,
    jaws and gap stay as assumed, since the book keeps no estimate of them. Errors that all gauges
    of a shop share (the gap, the jaws) are counted as fresh: the result is a little too sure, by
    0.003 mm at most where that is the assumed size of what is shared.

    Raises
    ------
    BookError
        When the book believes nothing of this kerf.
    """
    if (
        belief.kerf_x is None
        or belief.kerf_y is None
        or belief.covariance is None
        or not belief.is_kerf
    ):
        raise BookError(
            "the book believes nothing of this kerf",
            value=f"{belief.material} on {belief.machine}",
            do="leave --with-book out",
        )
    plain = KerfPrior.assumed(caliper=caliper)
    mean, covariance = plain.mean.copy(), plain.covariance.copy()
    mean[:4] = (
        belief.kerf_x.value,
        belief.kerf_y.value,
        belief.scale_x.value - 1.0,
        belief.scale_y.value - 1.0,
    )
    covariance[:4, :4] = belief.covariance
    return KerfPrior(mean=mean, covariance=covariance)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """One kerf as read now against what the book believed.

    ``difference_mm`` is now minus before, ``U_mm`` its expanded uncertainty (95 %).
    """

    name: str
    before_mm: float
    difference_mm: float
    U_mm: float

    @property
    def ratio(self) -> float:
        """Difference over its expanded uncertainty: the E_n number of ISO/IEC 17043 (from memory)."""
        return abs(self.difference_mm) / self.U_mm

    @property
    def agrees(self) -> bool:
        """Whether the two agree: a ratio of at most 1."""
        return self.ratio <= 1.0


def agreement(fit: KerfFit, belief: Belief) -> tuple[Agreement, ...]:
    """Compare kerfs that were determined, by an estimate that did not use the belief, with it."""
    found = []
    for name in ("kerf_x", "kerf_y"):
        now, before = fit.estimate(name), getattr(belief, name)
        if before is not None and now.measured:
            found.append(
                Agreement(
                    name=name,
                    before_mm=before.value,
                    difference_mm=now.value - before.value,
                    U_mm=math.hypot(now.U, _NORMAL_975 * before.u),
                )
            )
    return tuple(found)


# ---- combs -----------------------------------------------------------------------------------


def comb_to_cut(
    book: Book, job: Job, at: datetime, *, axis: str, fit: str, slots: int
) -> tuple[float, float] | None:
    """Return centre and step (mm, as drawn) of the next comb of a job, from its combs in the book.

    ``None`` where the book has no comb of this material for the job's machine, or no kerf of the
    job's sheet and settings to carry it with. In brittle stock the tightest slot gets no interference by the kerf that is known.

    Raises
    ------
    BookError
        A name of the job that is not in the book.
    """
    material, thickness = job.stock.material, job.stock.thickness.nm / 1e6
    if job.shop.sheet:
        sheet = find_sheet(book, job.shop.sheet)
        material, thickness = sheet.material, sheet.mean_mm
    settings = find_settings(book, job, job.shop.machine, material, thickness)
    belief = believe(book, job.shop.machine, material, thickness, settings, at)
    kerf = belief.kerf_x if axis == "x" else belief.kerf_y
    hand = hand_of(belief)
    if kerf is None or not belief.is_kerf or hand is None:
        return None
    state = hand.state
    today = state.days.combs + ("x", "y").index(axis)
    coming = next_comb(state, fit, slots=slots, day=today)
    centre = coming.centre_mm
    if family_of(material).brittle:
        centre = max(centre, (slots - 1) / 2 * coming.step_mm - 2 * kerf.value)
    return round(centre, 3), round(coming.step_mm, 3)

"""What the shop book knows for one job: kerf, scale and clearance, measured, or why there is none.

Nothing measured on another machine, sheet, thickness or setting is ever used; what comes nearest is
named instead, with all that differs.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from boxjoint.errors import BookError, nearest_name
from boxjoint.fit.fits import family_of
from boxjoint.fit.plan import Measured
from boxjoint.job.figures import COVERAGE, Figure
from boxjoint.job.hints import gauge_command
from boxjoint.job.records import Job, Source
from boxjoint.shop.book import Book
from boxjoint.shop.hand import Advice, Hand, advise, hand_of
from boxjoint.shop.learn import Belief, believe
from boxjoint.shop.records import CombRound, GaugeSession, Settings, Sheet, counted

__all__ = ["Found", "find_settings", "find_sheet", "measured_for"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What the book gives for a job.

    ``notes`` say what was not used and why, what is too uncertain, and what happened to the machine;
    ``advice`` what to measure before the next box, if anything.
    """

    measured: Measured
    notes: tuple[str, ...] = ()
    belief: Belief | None = None
    advice: Advice | None = None


def find_sheet(book: Book, name: str) -> Sheet:
    """Return the sheet of that id (or its first letters) or batch.

    Raises
    ------
    BookError
        When there is none, or several.
    """
    sheets = [e.record for e in book.entries("sheet") if e.counts]
    by_batch = [s for s in sheets if isinstance(s, Sheet) and s.batch and s.batch == name]
    if by_batch:
        return by_batch[-1]
    record = book.get(book.resolve(name)).record
    if not isinstance(record, Sheet):
        raise BookError("that record is no sheet", value=name, do="see: boxjoint book list")
    return record


def find_settings(book: Book, job: Job, machine: str, material: str, thickness: float) -> Settings:
    """Return the settings that a job names, or the only ones used for this machine and sheet.

    Raises
    ------
    BookError
        When there are none of that name, or several could be meant.
    """
    known = {e.id: e.record for e in book.entries("settings") if e.counts}
    name = job.shop.settings
    if name:
        named = [s for s in known.values() if isinstance(s, Settings) and s.name == name]
        if named:
            return named[-1]
        if len(name) >= 4 and any(i.startswith(name) for i in known):
            record = book.get(book.resolve(name)).record
            if isinstance(record, Settings):
                return record
        raise BookError(
            "no settings of that name in the shop book",
            value=name,
            do=nearest_name(name, [s.name for s in known.values() if isinstance(s, Settings)])
            or "see: boxjoint book list",
        )
    used: dict[str, Settings] = {}
    for entry in book.entries("gauge", "comb"):
        record = entry.record
        if not isinstance(record, GaugeSession | CombRound) or not entry.counts:
            continue
        sheet = book.get(record.sheet).record
        setting = known.get(record.settings)
        if record.machine != machine or not isinstance(sheet, Sheet):
            continue
        near = abs(sheet.mean_mm - thickness) <= 0.25
        if sheet.material.lower() == material.lower() and near and isinstance(setting, Settings):
            used[str(setting.cutting)] = setting
    if len(used) > 1:
        names = ", ".join(sorted(s.name or "unnamed" for s in used.values()))
        raise BookError(
            "several settings were measured for this machine and sheet",
            value=names,
            do="name one: [shop] settings, or --settings",
        )
    return next(
        iter(used.values()), Settings(at=datetime.fromisoformat("2000-01-01T00:00:00+00:00"))
    )


def measured_for(book: Book, job: Job, at: datetime) -> Found:
    """Look up what was measured for a job's machine, sheet and settings.

    Parameters
    ----------
    book
        An open book.
    job
        Names its machine in ``[shop]``; without one nothing is looked up.
    at
        Now, aware.

    Raises
    ------
    BookError
        When a name is not in the book.
    """
    machine = job.shop.machine
    if not machine:
        return Found(measured=Measured())
    if machine not in book.machine_names():
        raise BookError(
            "no machine of that name in the shop book",
            value=machine,
            do=nearest_name(machine, book.machine_names())
            or f"add it: boxjoint book add machine {machine!r}",
        )
    material, thickness = job.stock.material, job.stock.thickness.nm / 1e6
    notes: list[str] = []
    if job.shop.sheet:
        sheet = find_sheet(book, job.shop.sheet)
        if abs(sheet.mean_mm - thickness) > 0.05:
            notes.append(
                f"the job's stock is {thickness:.2f} mm, the sheet in the book measured "
                f"{sheet.mean_mm:.2f} mm: is it the same sheet?"
            )
        material, thickness = sheet.material, sheet.mean_mm
    settings = find_settings(book, job, machine, material, thickness)
    belief = believe(book, machine, material, thickness, settings, at)
    notes += [f"{f.name} {f.at:%Y-%m-%d}: {f.text}" for f in belief.flags]
    if belief.kerf_x is None or belief.kerf_y is None:
        what = f"nobody measured the kerf of {material} of {thickness:.2f} mm on {machine} set this way"
        near = f"; {belief.nearest}; it is NOT used" if belief.nearest else ""
        notes.append(f"{what}{near}; measure it with: {gauge_command(job, 'kerf')}")
        return Found(measured=Measured(), notes=tuple(notes), belief=belief)
    if not belief.is_kerf:
        notes.append(
            f"the kerf of the book is NOT used; measure it again with: {gauge_command(job, 'kerf')}"
        )
        return Found(measured=Measured(), notes=tuple(notes), belief=belief)
    when = f"{belief.last:%Y-%m-%d}" if belief.last else ""
    note = f"{when}, {counted(belief.gauges, 'gauge')}, {counted(belief.boxes, 'box')}, {machine}"
    never = {f.text.split()[0] for f in belief.flags if f.name == "ONE_AXIS"}
    kerf_x, kerf_y = (
        Figure(
            value=round(f.value, 6),
            source=Source.MEASURED,
            uncertainty=f.u,
            readings=belief.readings,
            note=note,
        )
        if f.source is Source.MEASURED and name not in never
        else Figure(
            value=round(f.value, 6),
            source=Source.ASSUMED,
            uncertainty=f.u,
            note=(
                "only the other axis was read"
                if name in never
                else f"what was read on {when} is too little or too old"
            )
            + f"; measure it with: {gauge_command(job, 'kerf')}",
        )
        for name, f in (("kerf_x", belief.kerf_x), ("kerf_y", belief.kerf_y))
    )
    if job.cut.kerf is not None:
        notes.append(
            f"the job's own kerf is used; the book measured {kerf_x.value:.3f} x {kerf_y.value:.3f} mm "
            f"({kerf_x.standing})"
        )
    fit = job.joint.fit or "snug"
    hand = hand_of(belief)
    advice = advise(belief, fit, hand)
    if advice.gauge:
        worst = max(belief.kerf_x.u, belief.kerf_y.u)
        notes.append(
            f"the kerf is known to +-{COVERAGE * worst:.3f} mm (95 %): {advice.text}: "
            f"{gauge_command(job, 'kerf', '--quick')}"
        )
    notes += _wishes(belief, job)
    scales = [
        Figure(
            value=round(f.value, 9),
            source=Source.MEASURED,
            unit="1",
            uncertainty=f.u,
            note=note,
        )
        if str(f.source) == "measured"
        else None
        for f in (belief.scale_x, belief.scale_y)
    ]
    clearance, note = _clearance(hand, fit, material)
    notes += [note] if note else []
    covariance = belief.covariance
    measured = Measured(
        kerf_x=kerf_x,
        kerf_y=kerf_y,
        scale_x=scales[0],
        scale_y=scales[1],
        covariance=covariance,
        clearance=clearance,
        clearance_covariance=None
        if clearance is None or hand is None
        else tuple(tuple(map(float, row)) for row in hand.today(fit)),
    )
    return Found(measured=measured, notes=tuple(notes), belief=belief, advice=advice)


def _wishes(belief: Belief, job: Job) -> list[str]:
    """What verdicts on boxes say of the hand, where it is more than chance."""
    wish = belief.wish
    if wish is None or abs(wish.value) <= COVERAGE * wish.u:
        return []
    more = "looser" if wish.value > 0 else "tighter"
    return [
        f"by the verdicts on boxes this hand wants them {abs(wish.value):.3f} mm {more} than they were aimed at "
        f"(+-{COVERAGE * wish.u:.3f} mm, 95 %); what it wants tells a comb: {gauge_command(job, 'comb')}"
    ]


def _clearance(hand: Hand | None, fit: str, material: str) -> tuple[Figure | None, str]:
    """The clearance as cut that the combs of a hand give for a fit, or why there is none."""
    if hand is None:
        return None, ""
    felt = hand.felt(fit)
    axes = " and ".join(sorted({r.axis for r in hand.rounds}))
    if not hand.tells(fit):
        words = counted(hand.verdicts, "verdict")
        return (
            None,
            f"{words} on combs along {axes} say too little of a {fit} fit ({felt.cut.x_mm:+.3f} mm, "
            f"+-{COVERAGE * felt.cut.sd_mm:.3f} mm, 95 %): it stays ASSUMED; try more slots, then: "
            "boxjoint gauge read comb ... --save",
        )
    value = felt.cut.x_mm
    last = max(r.at for r in hand.rounds)
    note = (
        f"{counted(len(hand.rounds), 'comb')} along {axes}, {last:%Y-%m-%d}, by the kerf of that day; "
        "each joint is corrected for its own number of segments"
    )
    if value < 0 and family_of(material).brittle:
        value, note = 0.0, f"{note}; interference refused in brittle stock"
    figure = Figure(
        value=round(value, 6),
        source=Source.MEASURED,
        uncertainty=felt.cut.sd_mm,
        readings=hand.verdicts,
        note=note,
    )
    return figure, ""

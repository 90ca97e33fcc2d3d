"""What the shop book knows of orders: rates, times of logged jobs, and what comes of an order cut."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from boxjoint.errors import InputError
from boxjoint.job.figures import Figure
from boxjoint.job.records import Source
from boxjoint.sheet.price import RATES, Rates
from boxjoint.sheet.timing import Counts, Logged, Pace
from boxjoint.shop.book import Book
from boxjoint.shop.records import (
    BoxResult,
    InsideReading,
    JobLog,
    Offcut,
    OffcutUse,
    Rate,
    Record,
    Settings,
    same_words,
)

__all__ = ["Cutting", "log_records", "logged_jobs", "pace_of", "rates_of", "was_logged"]

#: Rates of sheets by kind are kept under this and the kind's name.
SHEET_RATE = "sheet:"


def rates_of(book: Book) -> Rates:
    """The shop's rates: the latest of each name; its currency is that of the latest rate with one."""
    values: dict[str, Figure] = {}
    sheets: dict[str, Figure] = {}
    currency = ""
    for entry in book.entries(Rate.kind):
        rate = entry.record
        if not isinstance(rate, Rate) or not entry.counts:
            continue
        figure = Figure(
            value=rate.value,
            source=Source.ASKED,
            unit=rate.per or "1",
            note="rate in the shop book",
        )
        if rate.name.startswith(SHEET_RATE):
            sheets[rate.name.removeprefix(SHEET_RATE)] = figure
        elif rate.name in RATES:
            values[rate.name] = figure
        currency = rate.currency or currency
    return Rates(values=values, currency=currency, sheets=sheets)


def pace_of(settings: Settings | None) -> Pace:
    """How the machine moves: the speed as the settings have it, the rest assumed."""
    if settings is None:
        return Pace.of()
    speed = settings.speed_mm_s
    cut = None  # passes count also where nobody wrote the speed down
    if speed is not None:
        cut = Figure(
            value=speed, source=Source.ASKED, unit="mm/s", note="settings in the shop book"
        )
    return Pace.of(cut, passes=settings.passes)


def logged_jobs(book: Book, machine: str, settings: Settings | None) -> tuple[Logged, ...]:
    """Jobs of a machine whose time and lengths were logged, cut with the same settings.

    Where nobody says which settings, none counts: a time at another speed would teach nothing.
    """
    if settings is None:
        return ()
    found = []
    known = {e.id: e.record for e in book.entries(Settings.kind)}
    for entry in book.entries(JobLog.kind):
        log = entry.record
        if not isinstance(log, JobLog) or not entry.counts or not log.machine_s or not log.cut_mm:
            continue
        if same_words(log.machine) != same_words(machine):
            continue
        used = known.get(log.settings)
        if not isinstance(used, Settings) or used.cutting != settings.cutting:
            continue
        counts = Counts(
            cut_mm=log.cut_mm,
            mark_mm=log.mark_mm or 0.0,
            travel_mm=log.travel_mm or 0.0,
            pierces=log.pierces or 0,
            corners=log.corners or 0,
            engrave_s=log.engrave_s or 0.0,
            sheets=log.sheets or 1,
        )
        found.append(Logged(counts=counts, seconds=log.machine_s))
    return tuple(found)


def was_logged(book: Book, order: str) -> bool:
    """Whether an order of that id is in the book already and not struck out."""
    return any(
        isinstance(e.record, JobLog) and e.counts and e.record.order == order
        for e in book.entries(JobLog.kind)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutting:
    """What the maker says of an order that was cut.

    Times in seconds; ``fit`` as in :data:`~boxjoint.shop.records.BOX_FITS`; ``insides`` measured.
    ``keep`` says whether what remains of the sheets is kept as offcuts.
    """

    at: datetime
    machine: str
    settings: str
    machine_s: float | None = None
    labour_s: float | None = None
    fit: str = ""
    insides: tuple[InsideReading, ...] = ()
    keep: bool = True
    note: str = ""


def log_records(
    book: Book,
    data: Mapping[str, Any],
    order: str,
    cutting: Cutting,
    sheet_ids: Mapping[str, str],
) -> list[Record]:
    """Return what to append for an order that was cut: its log, how it fitted, offcuts won and used.

    Parameters
    ----------
    data
        The content of ``order.json``.
    order
        The order's id in the book.
    sheet_ids
        Content ids of sheets in the book by the id (or its first letters) that the jobs name.

    Raises
    ------
    InputError
        When ``data`` is no report of an order.
    """
    try:
        work = data["work"]
        records: list[Record] = [
            JobLog(
                at=cutting.at,
                order=order,
                machine=cutting.machine,
                settings=cutting.settings,
                machine_s=cutting.machine_s,
                estimate_s=float(work["time"]["value"]),
                labour_s=cutting.labour_s,
                cut_mm=float(work["cut"]["value"]),
                mark_mm=float(work["mark"]["value"]),
                travel_mm=float(work["travel"]["value"]),
                # an order.json of an earlier version has none
                engrave_s=float(work.get("engrave", {}).get("value", 0.0)) or None,
                pierces=int(work["pierces"]),
                corners=int(work["corners"]),
                sheets=int(work["sheets"]),
                source=str(data["title"]),
                note=cutting.note,
            )
        ]
        lines = {line["name"]: line for line in data["lines"]}
        if cutting.fit or cutting.insides:
            records.append(_result(data, lines, order, cutting, sheet_ids))
        for sheet in data["sheets"]:
            if sheet["offcut"] and str(sheet["stock"]).startswith("offcut "):
                identity = book.resolve(str(sheet["stock"]).removeprefix("offcut "))
                records.append(OffcutUse(at=cutting.at, offcut=identity, order=_nth(order, sheet)))
            if cutting.keep:
                records += _offcuts(sheet, lines, order, cutting, sheet_ids)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as error:
        raise InputError(
            "this is no order.json of an order",
            value=f"{type(error).__name__}: {error}",
            do="name the folder that boxjoint sheets wrote, or its order.json",
        ) from None
    return records


def _nth(order: str, sheet: Mapping[str, Any]) -> str:
    """The order and the sheet in it: two sheets of one order may use or leave the same size."""
    return f"{order} {sheet['name']}"


def _result(
    data: Mapping[str, Any],
    lines: Mapping[str, Any],
    order: str,
    cutting: Cutting,
    sheet_ids: Mapping[str, str],
) -> BoxResult:
    """How the boxes fitted: on the first sheet that a job names, with kerf and scale of that job's panels."""
    named = [line["shop"]["sheet"] for line in lines.values() if line["shop"]["sheet"]]
    if not named:
        raise InputError(
            "how it fitted is kept with the sheet, and no job names one",
            where="[shop] sheet",
            do="add the sheet (boxjoint book add sheet) and name it in the job, or leave out --fit",
        )
    if len(set(named)) > 1:
        raise InputError(
            "how it fitted is kept with the sheet, and the jobs name several",
            where="--fit, --inside",
            value=", ".join(sorted(set(named))),
            do="log the order without them, and note each box: boxjoint book add box JOB --fit ok",
        )
    panels = [panel for sheet in data["sheets"] for panel in sheet["panels"]]
    first = next(p for p in panels if lines[p["job"]]["shop"]["sheet"] == named[0])
    return BoxResult(
        at=cutting.at,
        machine=cutting.machine,
        sheet=sheet_ids[named[0]],
        settings=cutting.settings,
        kerf_x_mm=float(first["kerf"]["x"]["value"]),
        kerf_y_mm=float(first["kerf"]["y"]["value"]),
        scale_x=float(first["scale"]["x"]),
        scale_y=float(first["scale"]["y"]),
        fit=cutting.fit,
        insides=cutting.insides,
        order=order,
        source=str(data["title"]),
        note=cutting.note,
    )


def _offcuts(
    sheet: Mapping[str, Any],
    lines: Mapping[str, Any],
    order: str,
    cutting: Cutting,
    sheet_ids: Mapping[str, str],
) -> list[Offcut]:
    """What remains of one sheet, where all its panels are cut from one sheet of the book."""
    named: Sequence[str] = sorted({lines[p["job"]]["shop"]["sheet"] for p in sheet["panels"]})
    if len(named) != 1 or named[0] not in sheet_ids or not sheet["stock_of_job"]:
        return []
    return [
        Offcut(
            at=cutting.at,
            sheet=sheet_ids[named[0]],
            x_mm=float(r["width"]),
            y_mm=float(r["height"]),
            order=_nth(order, sheet),
        )
        for r in _apart(sheet["remains"])
    ]


def _apart(remains: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Rectangles that do not overlap, the largest first: a piece of wood is kept once."""
    kept: list[Mapping[str, Any]] = []
    for r in remains:
        if all(
            r["x"] + r["width"] <= k["x"]
            or k["x"] + k["width"] <= r["x"]
            or r["y"] + r["height"] <= k["y"]
            or k["y"] + k["height"] <= r["y"]
            for k in kept
        ):
            kept.append(r)
    return kept

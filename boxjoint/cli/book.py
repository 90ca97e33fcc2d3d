"""The commands ``book ...``: fill the shop book, look at it, move it, strike out what was wrong."""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from boxjoint.cli.bench import (
    DATE,
    date_of,
    kerf_text,
    lengths_mm,
    open_book,
    plus_minus,
    settings_given,
    settings_options,
    settings_text,
)
from boxjoint.cli.late import Suggesting
from boxjoint.cli.options import BOOK
from boxjoint.errors import BookError, FileProblem, InputError, nearest_name
from boxjoint.units import mm_and_thou, read_length

if TYPE_CHECKING:
    from boxjoint.shop.book import Book, Entry
    from boxjoint.shop.learn import Belief
    from boxjoint.shop.records import Record, Settings, Sheet

__all__ = ["book"]

JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout, nothing else.")
PLOT = click.option(
    "--plot", metavar="PATH", type=click.Path(path_type=Path), help="Also draw it: .svg or .png."
)

#: What can be listed: the word, and the kinds of records it means.
LISTS: dict[str, tuple[str, ...]] = {
    "all": (),
    "machines": ("machine",),
    "sheets": ("sheet",),
    "settings": ("settings",),
    "gauges": ("gauge",),
    "combs": ("comb",),
    "boxes": ("box",),
    "services": ("service",),
    "strikes": ("strike",),
}


@click.group(cls=Suggesting)
def book() -> None:
    """The shop book: machines, sheets, settings, readings, verdicts and boxes.

    Everything is appended and nothing is deleted; what is believed is computed from it every time.

    \b
    Examples:
      boxjoint book add machine "the red one"
      boxjoint book list
      boxjoint book show "the red one"
      boxjoint book export shop-book.toml
    """


# ---- add -------------------------------------------------------------------------------------


@book.group("add", cls=Suggesting)
def add() -> None:
    """Append a machine, sheet, settings, box or service.

    \b
    Examples:
      boxjoint book add machine "the red one" --bed 600x400
      boxjoint book add sheet --material "birch plywood" --thickness 3.02 --thickness 3.05
      boxjoint book add settings ply3 --speed "700 mm/min" --power 80
      boxjoint book add box tray.toml --fit ok --inside "x 232 231.9"
    """


def _append(path: Path | None, record: Record, what: str) -> None:
    with open_book(path, write=True) as shop:
        done = shop.append(record)
        where = shop.path
    state = "added" if done.new else "is in the book already:"
    click.echo(f"{what} {state} {done.id[:8]} ({where})", err=True)


@add.command("machine")
@click.argument("name")
@click.option("--bed", metavar="WxH", help="Its bed: 600x400.")
@click.option("--note", metavar="TEXT", default="", help="What you want to remember.")
@DATE
@BOOK
def add_machine(name: str, bed: str | None, note: str, date: str | None, book: Path | None) -> None:
    """Add a machine, known by its NAME.

    \b
    Example:
      boxjoint book add machine "the red one" --bed 600x400
    """
    from boxjoint.shop.records import Machine

    at = date_of(date or "", "--date")
    x = y = None
    if bed:
        parts = bed.lower().replace("×", "x").split("x")
        if len(parts) != 2:
            raise InputError(
                "a bed is given as WxH", where="--bed", value=bed, do="such as 600x400"
            )
        x, y = lengths_mm(tuple(parts), "--bed")
    with open_book(book, write=True) as shop:
        for entry in shop.entries("machine"):
            same = (name.strip(), x, y, note.strip())
            old: Any = entry.record
            if entry.counts and (old.name, old.bed_x_mm, old.bed_y_mm, old.note) == same:
                click.echo(
                    f"machine is in the book already: {entry.id[:8]} ({shop.path})", err=True
                )
                return
        done = shop.append(Machine(at=at, name=name, bed_x_mm=x, bed_y_mm=y, note=note))
        click.echo(f"machine added: {done.id[:8]} ({shop.path})", err=True)


@add.command("sheet")
@click.option("--material", metavar="TEXT", required=True, help="What it is: birch plywood.")
@click.option(
    "--thickness",
    metavar="LENGTH",
    multiple=True,
    required=True,
    help="As measured; give it once for each caliper reading.",
)
@click.option("--label", metavar="LENGTH", help="What its label says.")
@click.option("--batch", metavar="TEXT", default="", help="Batch or delivery; a name for it.")
@click.option("--note", metavar="TEXT", default="", help="What you want to remember.")
@DATE
@BOOK
def add_sheet(
    material: str,
    thickness: tuple[str, ...],
    label: str | None,
    batch: str,
    note: str,
    date: str | None,
    book: Path | None,
) -> None:
    """Add a sheet with the caliper readings of its thickness.

    \b
    Example:
      boxjoint book add sheet --material "birch plywood" --thickness 3.02 --thickness 3.05 --batch A
    """
    from boxjoint.shop.records import Sheet

    record = Sheet(
        at=date_of(date or "", "--date"),
        material=material,
        thickness_mm=lengths_mm(thickness, "--thickness"),
        label_mm=lengths_mm((label,), "--label")[0] if label else None,
        batch=batch,
        note=note,
    )
    if not all(0.3 <= t <= 40.0 for t in record.thickness_mm):
        raise InputError(
            "a thickness of sheet",
            where="--thickness",
            value=", ".join(f"{t:g} mm" for t in record.thickness_mm),
            limit="0.3 to 40 mm",
        )
    _append(book, record, "sheet")
    if not batch:
        return
    with open_book(book, write=False) as shop:
        others = [
            f"{e.id[:8]}, {e.record.mean_mm:.3f} mm"
            for e in shop.entries("sheet")
            if e.counts and isinstance(e.record, Sheet) and e.record.batch == batch
        ][:-1]
    if others:
        click.echo(
            f"look at: batch {batch} is in the book already ({'; '.join(others)}); a job that names "
            "it now means the sheet that was dated last; name one by its id, or strike one",
            err=True,
        )


@add.command("settings")
@click.argument("name")
@settings_options
@click.option("--note", metavar="TEXT", default="", help="What you want to remember.")
@DATE
@BOOK
def add_settings(name: str, note: str, date: str | None, book: Path | None, **given: Any) -> None:
    """Add settings under a NAME. No setting is ever called safe.

    \b
    Example:
      boxjoint book add settings ply3 --speed "700 mm/min" --power 80 --air on --lens "2 in"
    """
    from dataclasses import replace

    at = date_of(date or "", "--date")
    settings = settings_given(given, at)
    if settings is None:
        raise InputError("how was the machine set?", do="give --speed, --power and the like")
    with open_book(book, write=True) as shop:
        for old in shop.settings_by_id().values():
            if old.name == name and old.cutting != settings.cutting:
                raise BookError(
                    "there are other settings of that name in the shop book",
                    value=f"{settings_text(old)}",
                    do="choose another name",
                )
            if old.name == name:
                click.echo("settings are in the book already", err=True)
                return
        done = shop.append(replace(settings, name=name, note=note))
        click.echo(f"settings added: {done.id[:8]} ({shop.path})", err=True)


@add.command("service")
@click.argument("machine")
@click.option("--what", metavar="TEXT", required=True, help="What was done: new lens, belt.")
@click.option(
    "--affects",
    type=click.Choice(["kerf", "scale", "both"]),
    default="kerf",
    show_default=True,
    help="What may be another one since.",
)
@DATE
@BOOK
def add_service(machine: str, what: str, affects: str, date: str | None, book: Path | None) -> None:
    """Note work on a MACHINE after which the kerf or the scale may be others.

    \b
    Example:
      boxjoint book add service "the red one" --what "new lens"
    """
    from boxjoint.shop.records import Service

    at = date_of(date or "", "--date")
    _append(book, Service(at=at, machine=machine, what=what, affects=affects), "service")


@add.command("rate")
@click.argument("name")
@click.argument("value", type=float)
@click.option("--currency", metavar="TEXT", default="", help="As you write it: EUR, $.")
@click.option("--note", metavar="TEXT", default="", help="What you want to remember.")
@DATE
@BOOK
def add_rate(
    name: str, value: float, currency: str, note: str, date: str | None, book: Path | None
) -> None:
    """Set a rate for quotes: the machine's hour, yours, a sheet, the margin.

    \b
    NAME is one of: machine, labour (per hour); sheet, or sheet:KIND for one kind under [sheets.KIND];
    setup, per-sheet, per-part, per-joint, per-box, edge (minutes); consumables (per box); spoilage,
    margin (percent); minimum (per order); step (of the currency).

    \b
    Examples:
      boxjoint book add rate labour 28 --currency EUR
      boxjoint book add rate sheet:birch 4.20
    """
    from boxjoint.job.figures import Figure
    from boxjoint.job.records import Source
    from boxjoint.sheet.price import RATES, Rates
    from boxjoint.shop.ordered import SHEET_RATE
    from boxjoint.shop.records import Rate

    figure = {name: Figure(value=value, source=Source.ASKED, unit="1")}
    own = name.startswith(SHEET_RATE) and len(name) > len(SHEET_RATE)
    Rates(values={} if own else figure, sheets=figure if own else None)  # refuses what is no rate
    per = "sheet" if own else RATES[name][1]
    at = date_of(date or "", "--date")
    rate = Rate(at=at, name=name, value=value, per=per, currency=currency, note=note)
    _append(book, rate, "rate")


@add.command("box")
@click.argument("path", metavar="JOB", type=click.Path(path_type=Path, readable=False))
@click.option(
    "--fit", type=click.Choice(["tight", "ok", "loose"]), help="How it went together, by hand."
)
@click.option(
    "--inside",
    "insides",
    metavar="TEXT",
    multiple=True,
    help='"x 232 231.9": machine axis, asked, measured; repeatable.',
)
@click.option("--inside-u", metavar="LENGTH", help="Standard uncertainty of what was measured.")
@click.option(
    "--report",
    type=click.Path(path_type=Path),
    help="report.json of the build that was cut; left out: what JOB would be built with now.",
)
@click.option("--order", metavar="TEXT", default="", help="Results of one order count as one job.")
@click.option("--machine", metavar="NAME", help="Machine in the shop book.")
@click.option("--sheet", metavar="ID", help="Sheet in the shop book.")
@click.option("--settings", metavar="NAME", help="Settings in the shop book.")
@DATE
@BOOK
def add_box(
    path: Path,
    fit: str | None,
    insides: tuple[str, ...],
    inside_u: str | None,
    report: Path | None,
    order: str,
    date: str | None,
    book: Path | None,
    **given: Any,
) -> None:
    """Note what came of a box cut from JOB: how it fitted, and what its inside measured.

    The axis of an inside is the machine axis along which the panel was cut that holds it.

    \b
    Examples:
      boxjoint book add box tray.toml --fit ok --inside "x 232 231.9" --inside "y 79.4 79.5"
      boxjoint book add box tray.toml --report tray/report.json --fit tight
    """
    from boxjoint.cli.options import job_from, measured_in_shop
    from boxjoint.make import build
    from boxjoint.shop.measured import find_settings, find_sheet
    from boxjoint.shop.records import BoxResult, content_id

    at = date_of(date or "", "--date")
    job = job_from(path, **given, book=book)
    if not job.shop.machine or not job.shop.sheet:
        raise InputError(
            "machine and sheet of the box must be named",
            where=str(path),
            do="in [shop] of the job, or with --machine and --sheet",
        )
    used = _used_from_report(report) if report else None
    if used is None:
        plan = build(job, measured=measured_in_shop(job, book)).plan
        used = {
            k: getattr(plan, k).value
            for k in ("kerf_x", "kerf_y", "scale_x", "scale_y", "clearance")
        }
    with open_book(book, write=True) as shop:
        sheet = find_sheet(shop, job.shop.sheet)
        settings = find_settings(shop, job, job.shop.machine, sheet.material, sheet.mean_mm)
        record = BoxResult(
            at=at,
            machine=job.shop.machine,
            sheet=content_id(sheet),
            settings=content_id(settings),
            kerf_x_mm=used["kerf_x"],
            kerf_y_mm=used["kerf_y"],
            scale_x=used["scale_x"],
            scale_y=used["scale_y"],
            clearance_mm=used["clearance"],
            fit=fit or "",
            insides=_insides(insides, inside_u),
            order=order,
            source=job.title,
        )
        done = shop.append(record)
        click.echo(f"box added: {done.id[:8]} ({shop.path})", err=True)
        from boxjoint.shop.learn import believe

        belief = believe(shop, job.shop.machine, sheet.material, sheet.mean_mm, settings, at)
    click.echo(f"the book now believes: {kerf_text(belief)}")
    for flag in belief.flags:
        click.echo(f"look at: {flag.name} {flag.at:%Y-%m-%d}: {flag.text}", err=True)


def _used_from_report(path: Path) -> dict[str, float]:
    try:
        figures = json.loads(path.read_text(encoding="utf-8"))["figures"]
        return {
            k: float(figures[k]["value"])
            for k in ("kerf_x", "kerf_y", "scale_x", "scale_y", "clearance")
        }
    except OSError as error:
        raise FileProblem(
            "cannot be read", where=str(path), value=(error.strerror or str(error)).lower()
        ) from None
    except (ValueError, KeyError, TypeError, UnicodeDecodeError):
        raise InputError("this is no report.json of a build", where=str(path)) from None


def _insides(texts: Iterable[str], u: str | None) -> tuple[Any, ...]:
    from boxjoint.shop.records import InsideReading

    u_mm = lengths_mm((u,), "--inside-u")[0] if u else None
    out = []
    for number, text in enumerate(texts, 1):
        where = f"--inside {number}"
        words = text.split()
        if len(words) != 3 or words[0] not in ("x", "y"):
            raise InputError(
                "an inside is given as AXIS ASKED MEASURED",
                where=where,
                value=text,
                do='such as "x 232 231.9"',
            )
        asked, measured = (float(read_length(w, unit="mm", what=where)) for w in words[1:])
        if not 0.9 < measured / asked < 1.1:
            raise InputError(
                "asked and measured are far apart",
                where=where,
                value=text,
                limit="within a tenth of each other",
                do="check the unit and the sequence: axis, asked, measured",
            )
        out.append(InsideReading(axis=words[0], asked_mm=asked, measured_mm=measured, u_mm=u_mm))
    return tuple(out)


# ---- look ------------------------------------------------------------------------------------


@book.command("list")
@click.argument("what", default="all", metavar="[WHAT]")
@BOOK
@JSON
def list_(what: str, book: Path | None, as_json: bool) -> None:
    """List the book: machines, sheets, settings, gauges, combs, boxes, services, strikes.

    \b
    Examples:
      boxjoint book list
      boxjoint book list sheets
    """
    from boxjoint.shop.records import to_plain, utc_text

    if what not in LISTS:
        raise InputError(
            "nothing of that name to list",
            value=what,
            limit="one of " + ", ".join(LISTS),
            do=nearest_name(what, LISTS),
        )
    with open_book(book, write=False) as shop:
        path, there = shop.path, shop.count() > 0
        entries = shop.entries(*LISTS[what])
        names = _names(shop)
    if as_json:
        rows = [
            {
                "id": e.id,
                "kind": e.record.kind,
                "struck": sorted(e.struck),
                "at": utc_text(e.record.at),
            }
            | to_plain(e.record)
            for e in entries
        ]
        _print_json({"book": str(path), "records": rows})
        return
    if not entries:
        click.echo(f"{path}: " + ("nothing of that kind" if there else "the shop book is empty"))
        return
    _show_entries(f"Shop book {path}", entries, names)


def _print_json(out: Any) -> None:
    click.echo((json.dumps(out, indent=2, ensure_ascii=False) + "\n").encode(), nl=False)


def _show_entries(title: str, entries: Sequence[Entry], names: Mapping[str, str]) -> None:
    from boxjoint.cli.show import show_table

    show_table(
        title,
        ["id", "date", "kind", "what", ""],
        [
            [
                e.id[:8],
                f"{e.record.at:%Y-%m-%d}",
                e.record.kind,
                _summary(e.record, names),
                _struck(e),
            ]
            for e in entries
        ],
    )


def _struck(entry: Entry) -> str:
    if not entry.counts:
        return "STRUCK OUT"
    return f"rows struck out: {', '.join(map(str, sorted(entry.struck)))}" if entry.struck else ""


def _names(shop: Book) -> dict[str, str]:
    """Short names of sheets and settings, by id."""
    out = {}
    for entry in shop.entries("sheet", "settings"):
        record: Any = entry.record
        if record.kind == "sheet":
            out[entry.id] = f"{record.material} {record.mean_mm:.2f} mm"
        else:
            out[entry.id] = record.name or f"settings {entry.id[:8]}"
    return out


def _summary(record: Record, names: Mapping[str, str]) -> str:
    """Say in one line what a record holds."""
    r: Any = record
    on = ""
    if hasattr(r, "sheet"):
        on = names.get(r.sheet, r.sheet[:8])
        if hasattr(r, "machine"):
            on = f"{r.machine}, {on}, {names.get(r.settings, r.settings[:8])}"
    match r.kind:
        case "machine":
            bed = f", bed {r.bed_x_mm:g} x {r.bed_y_mm:g} mm" if r.bed_x_mm and r.bed_y_mm else ""
            return f"{r.name}{bed}"
        case "sheet":
            text = f"{r.material}, {r.mean_mm:.3f} mm ({len(r.thickness_mm)} readings)"
            return text + (f", batch {r.batch}" if r.batch else "")
        case "settings":
            return settings_text(r)
        case "gauge":
            values = sum(len(x.values_mm) for x in r.readings)
            return f"{values} values of {r.source or 'a gauge'}: {on}"
        case "comb":
            return f"{len(r.verdicts)} verdicts along {r.axis}, round {r.round}: {on}"
        case "box":
            fit = f"fit {r.fit}, " if r.fit else ""
            return f"{r.source or 'a box'}: {fit}{len(r.insides)} insides: {on}"
        case "service":
            return f"{r.machine}: {r.what} (affects {r.affects})"
        case "strike":
            row = f" row {r.row}" if r.row else ""
            return f"{r.target[:8]}{row}: {r.reason}"
        case _:
            return on


@book.command("show")
@click.argument("name", metavar="ID|MACHINE")
@BOOK
@PLOT
@JSON
def show(name: str, book: Path | None, plot: Path | None, as_json: bool) -> None:
    """Show one record with its rows, or what is believed of a machine.

    \b
    Examples:
      boxjoint book show 3f9a1c20
      boxjoint book show "the red one" --plot kerf.svg
    """
    kind = ""
    if plot is not None:
        from boxjoint.export.plots import require_plot

        kind = require_plot(plot)
    with open_book(book, write=False) as shop:
        if name in shop.machine_names():
            _show_machine(shop, name, plot, kind, as_json)
            return
        if plot is not None:
            raise InputError("only the kerf of a machine is plotted over time", value=name)
        try:
            identity = shop.resolve(name)
        except BookError as error:
            near = nearest_name(name, shop.machine_names())
            if near:
                error.do = near
            raise
        entry = shop.get(identity)
        names = _names(shop)
        strikes = [
            e.record
            for e in shop.entries("strike")
            if e.counts and getattr(e.record, "target", "") == identity
        ]
    _show_record(entry, names, strikes, as_json)


def _show_record(
    entry: Entry, names: Mapping[str, str], strikes: Sequence[Any], as_json: bool
) -> None:
    from boxjoint.cli.show import show_table
    from boxjoint.shop.records import row_type, shape, to_plain, utc_text

    record: Any = entry.record
    if as_json:
        plain = {"id": entry.id, "kind": record.kind, "struck": sorted(entry.struck)}
        _print_json(plain | {"at": utc_text(record.at)} | to_plain(record))
        return
    rows = [["id", entry.id], ["kind", record.kind], ["date", utc_text(record.at)]]
    tables = []
    for field, hint, _ in shape(type(record)):
        value = getattr(record, field)
        if row_type(hint):
            tables.append((field, value))
        elif field != "at" and value not in (None, "", ()):
            shown = ", ".join(f"{v:g}" for v in value) if isinstance(value, tuple) else str(value)
            rows.append([field, f"{names[value]} ({value[:8]})" if shown in names else shown])
    show_table(_summary(record, names), ["", ""], rows)
    for field, items in tables:
        if not items:
            continue
        header = [n for n, _, _ in shape(type(items[0]))]
        body = [
            [
                str(number),
                *(_cell(getattr(item, n)) for n in header),
                "STRUCK OUT" if number in entry.struck or not entry.counts else "",
            ]
            for number, item in enumerate(items, 1)
        ]
        show_table(field, ["row", *header, ""], body)
    for strike in strikes:
        where = f"row {strike.row}" if strike.row else "all of it"
        click.echo(f"{where} struck out on {strike.at:%Y-%m-%d}: {strike.reason}")


def _cell(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"{v:g}" for v in value)
    if value is None or value is False:
        return ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _groups(shop: Book, machine: str, at: datetime) -> list[tuple[Sheet, Settings, Belief]]:
    """Every record of a machine that was read or cut, with what is believed of it now."""
    from boxjoint.shop.learn import believe
    from boxjoint.shop.records import Sheet, same_words

    settings = shop.settings_by_id()
    sheets = {
        e.id: e.record for e in shop.entries("sheet") if e.counts and isinstance(e.record, Sheet)
    }
    out: list[tuple[Sheet, Settings, Belief]] = []
    for event in shop.timeline(machine, at):
        sheet, setting = sheets.get(event.sheet), settings.get(event.settings)
        if sheet is None or setting is None or event.kind not in ("gauge", "comb", "box"):
            continue
        known = any(
            same_words(s.material) == same_words(sheet.material)
            and o.cutting == setting.cutting
            and _within(sheet.mean_mm, b, s)
            for s, o, b in out
        )
        if not known:
            belief = believe(shop, machine, sheet.material, sheet.mean_mm, setting, at)
            out.append((sheet, setting, belief))
    return out


def _within(mean_mm: float, belief: Belief, sheet: Sheet) -> bool:
    low, high = belief.thickness_mm or (sheet.mean_mm, sheet.mean_mm)
    return low - 1e-9 <= mean_mm <= high + 1e-9


def _show_machine(shop: Book, machine: str, plot: Path | None, kind: str, as_json: bool) -> None:
    from boxjoint.cli.show import show_table
    from boxjoint.job.figures import COVERAGE
    from boxjoint.shop.hand import advise
    from boxjoint.shop.learn import history
    from boxjoint.shop.records import counted

    at = datetime.now(UTC)
    groups = _groups(shop, machine, at)
    if as_json:
        _print_json({"machine": machine, "records": [_group_json(s, o, b) for s, o, b in groups]})
    elif not groups:
        click.echo(
            f"{machine}: nothing was read or cut yet; begin with: "
            "boxjoint gauge draw kerf JOB --out gauge"
        )
    for sheet, settings, belief in groups if not as_json else ():
        rows = [["settings", settings_text(settings), "", ""]]
        for name in ("kerf_x", "kerf_y", "scale_x", "scale_y"):
            f = getattr(belief, name)
            if f is None:
                rows.append([name, "unknown", "", "nobody measured it"])
                continue
            scale = name.startswith("scale")
            rows.append(
                [
                    name,
                    f"{f.value:.5f}" if scale else mm_and_thou(f.value, places=3),
                    plus_minus(COVERAGE * f.u, "1" if scale else "mm"),
                    "measured" if str(f.source) == "measured" else "ASSUMED",
                ]
            )
        last = f"{belief.last:%Y-%m-%d}" if belief.last else "never"
        age = "" if belief.age_days is None else f"{belief.age_days:.0f} days ago"
        rows.append(["last read", last, age, ""])
        count = (
            f"{belief.readings} of {counted(belief.gauges, 'gauge')} and "
            f"{counted(belief.boxes, 'box')}"
        )
        rows.append(["readings", count, "", ""])
        rounds = belief.combs.rounds if belief.combs else ()
        if rounds:
            rows.append(["combs", f"{len(rounds)}, last {rounds[-1].at:%Y-%m-%d}", "", ""])
        low, high = belief.thickness_mm or (sheet.mean_mm, sheet.mean_mm)
        span = f"{low:.2f} mm" if high - low < 0.005 else f"{low:.2f} to {high:.2f} mm"
        show_table(
            f"{machine}, {sheet.material} of {span}",
            ["figure", "value", "+- (95 %)", "what it is"],
            rows,
        )
        for flag in belief.flags:
            click.echo(f"look at: {flag.name} {flag.at:%Y-%m-%d}: {flag.text}", err=True)
        advice = advise(belief, "snug")
        if belief.kerf_x is not None and not advice.gauge:
            click.echo(f"{advice.text}")
        if advice.gauge and belief.kerf_x is not None:
            words = ["boxjoint", "gauge", "draw", "kerf", "--quick", "--material", sheet.material]
            words += ["--thickness", f"{sheet.mean_mm:.2f}mm", "--out", "gauge"]
            click.echo(
                f"look at: {advice.text}: {shlex.join(words)}",
                err=True,
            )
    if plot is not None:
        from boxjoint.export.files import write_whole
        from boxjoint.export.plots import plot_history

        series = []
        for sheet, settings, _ in groups:
            points = history(shop, machine, sheet.material, sheet.mean_mm, settings, at)
            if points:
                title = f"{machine}, {sheet.material} {sheet.mean_mm:.2f} mm, {settings.name}"
                series.append((title.rstrip(", "), points))
        if not series:
            raise BookError("no kerf was read on this machine: nothing to plot", value=machine)
        write_whole({plot.name: plot_history(series, kind)}, plot.parent)
        click.echo(f"wrote {plot}", err=True)


def _group_json(sheet: Sheet, settings: Settings, belief: Belief) -> dict[str, Any]:
    def figure(f: Any) -> dict[str, Any] | None:
        return None if f is None else {"value": f.value, "u": f.u, "source": str(f.source)}

    return {
        "material": sheet.material,
        "thickness_mm": list(belief.thickness_mm or (sheet.mean_mm, sheet.mean_mm)),
        "settings": settings.name,
        "cutting": settings.cutting,
        "kerf_x": figure(belief.kerf_x),
        "kerf_y": figure(belief.kerf_y),
        "scale_x": figure(belief.scale_x),
        "scale_y": figure(belief.scale_y),
        "readings": belief.readings,
        "gauges": belief.gauges,
        "boxes": belief.boxes,
        "last": belief.last.isoformat() if belief.last else None,
        "age_days": belief.age_days,
        "advice": _advice_json(belief),
        "motion": belief.motion,
        "flags": [{"name": f.name, "text": f.text, "at": f.at.isoformat()} for f in belief.flags],
    }


def _advice_json(belief: Belief) -> dict[str, Any]:
    from boxjoint.shop.hand import advise

    advice = advise(belief, "snug")
    return {
        "gauge": advice.gauge,
        "comb": advice.comb,
        "probability_of_a_miss": advice.miss,
        "limit_mm": advice.limit_mm,
        "text": advice.text,
    }


# ---- strike, move ------------------------------------------------------------------------------


@book.command("strike")
@click.argument("identity", metavar="ID")
@click.option("--row", type=int, metavar="N", default=0, help="One row only, counted from 1.")
@click.option("--reason", metavar="TEXT", required=True, help="Why it does not count.")
@DATE
@BOOK
def strike(identity: str, row: int, reason: str, date: str | None, book: Path | None) -> None:
    """Strike out a record or one of its rows. Nothing is deleted, and a strike can be struck out.

    \b
    Example:
      boxjoint book strike 3f9a1c20 --row 4 --reason "caliper not closed"
    """
    at = date_of(date or "", "--date")
    with open_book(book, write=True) as shop:
        entry = shop.get(shop.resolve(identity))
        done = shop.strike(entry.id, reason=reason, at=at, row=row)
    what = (
        f"row {row} of {entry.record.kind} {entry.id[:8]}"
        if row
        else f"{entry.record.kind} {entry.id[:8]}"
    )
    click.echo(
        f"{what} struck out by {done.id[:8]}: it no longer counts, and is still there", err=True
    )


@book.command("export")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Write over an earlier export of that name.")
@BOOK
def export(path: Path, replace: bool, book: Path | None) -> None:
    """Write the whole book to PATH: one TOML file (.toml), or a folder of CSV files.

    \b
    Examples:
      boxjoint book export shop-book.toml
      boxjoint book export shop-book-csv
    """
    from boxjoint.shop.exchange import export_csv, export_toml

    single = path.suffix.lower() == ".toml"
    if single and path.exists() and not replace:
        raise FileProblem(
            "there is a file of that name already",
            where=str(path),
            do="choose another, or write over it with --replace",
        )
    with open_book(book, write=False) as shop:
        count = export_toml(shop, path) if single else export_csv(shop, path)
    click.echo(f"wrote {count} records to {path}", err=True)


@book.command("import")
@click.argument("path", type=click.Path(path_type=Path))
@BOOK
def import_(path: Path, book: Path | None) -> None:
    """Read an export into the book: all of it, or nothing. What is there already stays once.

    \b
    Example:
      boxjoint book import shop-book.toml
    """
    from boxjoint.shop.exchange import import_file

    with open_book(book, write=True) as shop:
        found = import_file(shop, path)
        where = shop.path
    click.echo(f"{found.new} records read into {where}; {found.known} were there before", err=True)


@book.command("verify")
@BOOK
def verify(book: Path | None) -> None:
    """Prove that every record of the book still says what it said.

    \b
    Example:
      boxjoint book verify
    """
    with open_book(book, write=False) as shop:
        count = shop.verify()
        where = shop.path
    click.echo(f"{where}: all {count} records say what they said")

"""Commands about orders: sheets, quote, log."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import click

from boxjoint.cli.options import BOOK, DXF, job_from, measured_in_shop, overrides
from boxjoint.errors import InputError

__all__ = ["log", "quote", "sheets"]

JOBS = click.argument("jobs", metavar="JOB[=N]...", nargs=-1, required=True)
STOCK_SIZE = click.option(
    "--stock-size",
    "sizes",
    metavar="WxH",
    multiple=True,
    help="Sheets of this size, as many as needed: 600x300. Repeatable.",
)
LEVEL = click.option(
    "--level", type=click.IntRange(0, 3), help="How long to search for a better nest, 0 to 3."
)
DATE = click.option(
    "--date", metavar="TEXT", help="Scored on the waste and printed on papers; left out: today."
)
SPEED = click.option(
    "--speed", metavar="SPEED", help='Cut speed for the time, with its unit: "700 mm/min".'
)
PAPER = click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"], case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper of the shop papers.",
)
SECONDS = click.option(
    "--seconds", type=float, help="A time budget for the search; a lower level is taken to keep it."
)


def order_from(jobs: tuple[str, ...], **given: Any) -> Any:
    """Read an order from the jobs on the command line, or from one order file."""
    from boxjoint.order.read import is_order, lines_of, read_order, split_quantity
    from boxjoint.order.records import Order

    named = [split_quantity(text) for text in jobs]
    first, quantity = named[0]
    if is_order(first):
        if len(named) > 1 or quantity != 1:
            raise InputError(
                "an order file stands alone",
                where=str(first),
                do="write further jobs and their quantities into it",
            )
        order = read_order(first, proceed=bool(given.get("yes")))
        lines = tuple(
            dataclasses.replace(line, job=job_from(Path(line.job.path), **given))
            for line in order.lines
        )
        return dataclasses.replace(order, lines=lines)
    for path, _ in named[1:]:
        if is_order(path):
            raise InputError(
                "an order file stands alone", where=str(path), do="name it alone, or only jobs"
            )
    read = [(job_from(path, **given), n) for path, n in named]
    title = read[0][0].title if len(read) == 1 else f"{read[0][0].title} and {len(read) - 1} more"
    return Order(title=title, unit=read[0][0].unit, lines=lines_of(read), path="")


def size_from(text: str, option: str, unit: Any) -> tuple[int, int]:
    """Read ``600x300`` (in the order's unit) or ``24 in x 12 in``, nm."""
    import re

    from boxjoint.units import read_length_nm

    parts = re.split(r"\s*[xX×]\s*", text.strip())
    if len(parts) != 2:
        raise InputError(
            "a size is two lengths", where=option, value=text, limit="such as 600x300: X by Y"
        )
    try:
        width, height = (read_length_nm(p, unit=unit, what=option) for p in parts)
    except InputError as error:
        raise error.within(option) from None
    for value in (width, height):
        if not 5_000_000 <= value <= 10_000_000_000:
            raise InputError(
                "no such size of a sheet", where=option, value=text, limit="5 mm to 10 m a side"
            )
    return width, height


def lay_order(order: Any, sizes: tuple[str, ...], level: int | None, **given: Any) -> Any:
    """Lay an order on its sheets, with what the shop book knows; progress on a terminal."""
    from boxjoint.cli.show import Progress
    from boxjoint.order.lay import lay

    bar = Progress()

    def progress(what: str, share: float) -> None:
        bar(what, round(100 * share), 100)

    book = given.get("book")
    measured = [measured_in_shop(line.job, book) for line in order.lines]
    bed, offcuts = _from_book(order, book)
    laid = lay(
        order,
        measured=measured,
        sizes=[size_from(s, "--stock-size", order.unit) for s in sizes],
        offcuts=offcuts,
        bed=bed,
        level=level,
        seconds=given.get("seconds"),
        date=_date(given),
        confirmed=bool(given.get("yes")),
        progress=progress,
    )
    progress("done", 1.0)
    return laid


def _today() -> str:
    from datetime import date

    return date.today().isoformat()


def _on_one_machine(order: Any) -> list[Any]:
    """The jobs that name a machine; refuses an order for two, for it has one bed and one pace."""
    from boxjoint.errors import InputError
    from boxjoint.shop.records import same_words

    jobs = [line.job for line in order.lines if line.job.shop.machine]
    names = {same_words(job.shop.machine): job.shop.machine for job in jobs}
    if len(names) > 1:
        raise InputError(
            "the jobs of this order name different machines",
            where="[shop] machine",
            value=", ".join(names.values()),
            limit="one bed and one pace for all sheets",
            do="make an order for each machine",
        )
    return jobs


def _from_book(order: Any, book: Path | None) -> tuple[Any, Any]:
    """The bed of the machine, and the offcuts left of the sheets that the jobs name."""
    shops = [job.shop for job in _on_one_machine(order)]
    if not shops:
        return None, ()
    from boxjoint.shop.book import Book
    from boxjoint.shop.stock import bed_of, offcuts_left

    with Book.open(book, write=False) as shop:
        bed = bed_of(shop, shops[0].machine)
        names = dict.fromkeys(s.sheet for s in shops if s.sheet)
        return bed, tuple(s for name in names for s in offcuts_left(shop, name))


def _planned(jobs: tuple[str, ...], sizes: tuple[str, ...], level: int | None, **given: Any) -> Any:
    """Read, lay and plan an order; the settings recorded for its machine come with it."""
    from boxjoint.order.plan import plan_order

    order = order_from(jobs, **given)
    laid = lay_order(order, sizes, level, **given)
    laid.require()
    pace, logged, recorded = _machine(order, given.get("book"))
    if given.get("speed"):
        from dataclasses import replace

        from boxjoint.job.figures import Figure
        from boxjoint.job.records import Source
        from boxjoint.units import read_speed

        speed = float(read_speed(given["speed"], what="--speed").mm_per_s)
        figure = Figure(value=speed, source=Source.ASKED, unit="mm/s")
        pace, logged = replace(pace, cut=figure), ()
    return plan_order(laid, pace=pace, logged=logged), recorded


def _machine(order: Any, book: Path | None) -> tuple[Any, Any, Any]:
    """Pace, logged jobs and settings of the machine that the jobs name, and the record for the papers."""
    from boxjoint.sheet.timing import Pace

    shops = _on_one_machine(order)
    if not shops:
        return Pace.of(), (), ()
    from boxjoint.export.papers.records_cut import RecordedSettings
    from boxjoint.shop.book import Book
    from boxjoint.shop.measured import find_settings
    from boxjoint.shop.ordered import logged_jobs, pace_of
    from boxjoint.units import read_speed

    job = shops[0]
    with Book.open(book, write=False) as shop:
        settings = find_settings(
            shop, job, job.shop.machine, job.stock.material, job.stock.thickness.nm / 1e6
        )
        logged = logged_jobs(shop, job.shop.machine, settings)
    recorded = RecordedSettings(
        name=settings.name or "unnamed",
        machine=job.shop.machine,
        material=f"{job.stock.material} {job.stock.thickness.nm / 1e6:.2f} mm",
        speed=None
        if settings.speed is None
        else read_speed(f"{settings.speed!r} {settings.speed_unit}"),
        power="" if settings.power_percent is None else f"{settings.power_percent:g} %",
        passes=settings.passes,
        air=settings.air,
        focus="" if settings.focus_mm is None else f"{settings.focus_mm:g} mm",
        recorded=f"{settings.at:%Y-%m-%d}",
        note=settings.note,
    )
    return pace_of(settings), logged, (recorded,) if settings.speed is not None else ()


def _paper(name: str) -> Any:
    from boxjoint.geometry.page import paper_named

    return paper_named(name)


@click.command()
@JOBS
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@STOCK_SIZE
@LEVEL
@SECONDS
@SPEED
@DATE
@PAPER
@click.option("--no-papers", is_flag=True, help="Leave out the shop papers.")
@click.option(
    "--quote", "priced", is_flag=True, help="Also write quote.md, and the price on paper."
)
@DXF
@click.option("--json", "as_json", is_flag=True, help="Print order.json on stdout, nothing else.")
@overrides
def sheets(
    jobs: tuple[str, ...],
    out: Path,
    sizes: tuple[str, ...],
    level: int | None,
    paper: str,
    no_papers: bool,
    priced: bool,
    dxf: str,
    as_json: bool,
    **given: Any,
) -> None:
    """Nest the panels of jobs on sheets, and write a drawing of every sheet and the shop papers.

    JOB[=N] is a job file and how many of its boxes are wanted; or one order file alone. Every panel is
    compensated for the way it lies, and proved by cutting the sheets virtually.

    \b
    Examples:
      boxjoint sheets tray.toml --stock-size 600x300 --out sheets
      boxjoint sheets tray.toml=3 drawer.toml=2 --out sheets
      boxjoint sheets order.toml --level 3 --quote --out sheets
    """
    from boxjoint.export.files import write_whole
    from boxjoint.order.files import order_files

    planned, recorded = _planned(jobs, sizes, level, **given)
    price = None
    if priced:
        from boxjoint.order.plan import quote_of

        price = quote_of(planned, _rates((), given.get("book")))
    files = order_files(
        planned,
        date=_date(given),
        dxf="R12" if dxf.upper() == "R12" else "R2000",
        paper=_paper(paper),
        settings=recorded,
        papers=not no_papers,
        quote=price,
    )
    written = write_whole(files, out)
    show_planned(planned, as_json)
    if price is not None and not as_json:
        click.echo(f"price: {price.money(price.total)}, {price.money(price.each)} a box (computed)")
    click.echo(f"wrote {len(written)} files to {out}", err=True)
    _say_what_is_left(written, out)
    from boxjoint.export.report import CAUTIONS

    for line in CAUTIONS:
        click.echo(line, err=True)


def sheet_files_of(built: Any, dxf: Any, **given: Any) -> dict[str, bytes]:
    """Sheets and papers of one built job that states its sheets, below ``sheets/``."""
    from boxjoint.order.files import order_files
    from boxjoint.order.lay import lay
    from boxjoint.order.plan import plan_order
    from boxjoint.order.read import lines_of
    from boxjoint.order.records import Order

    job, book = built.job, given.get("book")
    order = Order(title=job.title, unit=job.unit, lines=lines_of([(job, 1)]), path=job.path)
    bed, offcuts = _from_book(order, book)
    laid = lay(order, built=[built], offcuts=offcuts, bed=bed, date=_today())
    laid.require()
    pace, logged, recorded = _machine(order, book)
    planned = plan_order(laid, pace=pace, logged=logged)
    show_planned(planned, False, quiet=True)
    content = order_files(planned, date=_today(), dxf=dxf, settings=recorded)
    return {f"sheets/{name}": data for name, data in content.items()}


def _date(given: Any) -> str:
    return _today() if given.get("date") is None else str(given["date"])


def _say_what_is_left(written: tuple[Path, ...], out: Path) -> None:
    """Name sheets of an earlier order in the folder: they must not be cut by mistake."""
    new = {p.resolve() for p in written}
    found = [*out.glob("sheet-*.*"), *out.glob("shop*.*")]
    left = sorted(p.name for p in found if p.resolve() not in new)
    if left:
        click.echo(f"look at: left from an earlier order: {', '.join(left)}", err=True)


def show_planned(planned: Any, as_json: bool, *, quiet: bool = False) -> None:
    """Print what lies where, or the JSON alone; quietly only the notes and one line, on stderr."""
    laid = planned.laid
    if quiet:
        from boxjoint.order.report import time_text

        click.echo(f"sheets: {len(laid.sheets)}; {time_text(planned.total)}", err=True)
        for note in laid.notes:
            click.echo(f"note: {note}", err=True)
        return
    if as_json:
        from boxjoint.order.report import order_json

        click.echo(order_json(planned).encode(), nl=False)
    else:
        from boxjoint.cli.show import show_table
        from boxjoint.order.report import summary_rows, time_text

        header = ["sheet", "stock", "panels", "used up", "time", "worth keeping"]
        show_table(laid.order.title, header, summary_rows(planned))
        nest = laid.nest
        click.echo(
            f"{len(nest.sheets)} sheets; the area alone needs {nest.bound:.2f} (computed)\n"
            f"time at the machine: {time_text(planned.total)}\n"
            f"cut speed {planned.pace.cut.value:.4g} mm/s ({planned.pace.cut.standing})\n"
            "nest: checked; exact proof: holds; virtual cut of every sheet: holds; "
            "cut sequence: checked"
        )
        for note in laid.notes:
            click.echo(f"note: {note}", err=True)
    for warning in laid.warnings:
        click.echo(f"look at: {warning}", err=True)


@click.command()
@JOBS
@click.option("--out", type=click.Path(path_type=Path), help="Folder for quote.md and quote.pdf.")
@STOCK_SIZE
@LEVEL
@SECONDS
@SPEED
@DATE
@PAPER
@click.option(
    "--rate",
    "rates",
    metavar="NAME=VALUE",
    multiple=True,
    help="A rate for this quote, instead of the shop book's; repeatable.",
)
@click.option(
    "--breaks",
    metavar="N,N,...",
    help="Also the price of one box when so many of each job are ordered: 1,5,20.",
)
@overrides
def quote(
    jobs: tuple[str, ...],
    out: Path | None,
    sizes: tuple[str, ...],
    level: int | None,
    paper: str,
    rates: tuple[str, ...],
    breaks: str | None,
    **given: Any,
) -> None:
    """Reckon the price of an order: sheets with waste, machine, labour, spoilage, margin.

    Rates come from the shop book (boxjoint book add rate); what nobody set is assumed and says so.

    \b
    Examples:
      boxjoint quote tray.toml=5 --stock-size 600x300
      boxjoint quote order.toml --rate labour=28 --rate margin=35 --out quote
      boxjoint quote tray.toml --stock-size 600x300 --breaks 1,5,20
    """
    from boxjoint.cli.show import show_table
    from boxjoint.export.files import write_whole
    from boxjoint.order.files import quote_files
    from boxjoint.order.plan import quote_of
    from boxjoint.order.report import time_text

    numbers = _breaks(breaks)
    found_rates = _rates(rates, given.get("book"))
    planned, _ = _planned(jobs, sizes, level, **given)
    found = quote_of(planned, found_rates)
    written: tuple[Path, ...] = ()
    if out is not None:
        content = quote_files(planned, found, date=_date(given), paper=_paper(paper))
        written = write_whole(content, out)
    rows = [[x.what, x.how, found.money(x.amount)] for x in found.lines]
    rows.append(["total", f"{found.money(found.each)} a box", found.money(found.total)])
    show_table(f"Quote: {planned.laid.order.title}", ["what", "how", "amount"], rows)
    low, high = (found.money(b) for b in found.band)
    click.echo(f"{low} to {high} over the band of the machine's time: {time_text(planned.total)}")
    click.echo(f"cost without margin {found.money(found.floor)} (computed); no tax")
    if numbers:
        rows = []
        for n in numbers:
            more = _times(jobs, n)
            other, _ = _planned(more, sizes, 0 if level is None else level, **given)
            price = quote_of(other, found_rates)
            rows.append([str(n), price.money(price.total), price.money(price.each)])
        show_table("Quantity breaks", ["of each job", "total", "a box"], rows)
    if out is not None:
        click.echo(f"wrote {len(written)} files to {out}", err=True)


def _breaks(text: str | None) -> list[int]:
    if not text:
        return []
    words = [w.strip() for w in text.split(",")]
    if not all(w.isdigit() and 1 <= int(w) <= 1000 for w in words) or len(words) > 10:
        raise InputError(
            "quantity breaks are up to ten whole numbers",
            where="--breaks",
            value=text,
            limit="each 1 to 1000, such as 1,5,20",
        )
    return [int(w) for w in words]


def _times(jobs: tuple[str, ...], n: int) -> tuple[str, ...]:
    """The same jobs, ``n`` of each."""
    from boxjoint.order.read import is_order, split_quantity

    paths = [split_quantity(j)[0] for j in jobs]
    if is_order(paths[0]):
        raise InputError(
            "quantity breaks are for jobs, an order file has its own quantities", where="--breaks"
        )
    return tuple(f"{p}={n}" for p in paths)


def _rates(texts: tuple[str, ...], book: Path | None) -> Any:
    """The shop's rates, and those of the command line instead."""
    import dataclasses as dc

    from boxjoint.job.figures import Figure
    from boxjoint.job.records import Source
    from boxjoint.sheet.price import Rates
    from boxjoint.shop.book import Book, default_path
    from boxjoint.shop.ordered import rates_of

    found = Rates(values={})
    if (book or default_path()).exists():
        with Book.open(book, write=False) as shop:
            found = rates_of(shop)
    values = dict(found.values)
    currency = found.currency
    for text in texts:
        name, eq, value = text.partition("=")
        if name.strip() == "currency" and eq:
            currency = value.strip()
            continue
        try:
            number = float(value)
        except ValueError:
            number = float("nan")
        if not eq or number != number:
            raise InputError("a rate is given as NAME=VALUE", where="--rate", value=text)
        values[name.strip()] = Figure(value=number, source=Source.ASKED, unit="1")
    return dc.replace(found, values=values, currency=currency)


@click.command()
@click.argument("order", metavar="ORDER", type=click.Path(path_type=Path))
@click.option("--minutes", type=float, help="Time at the machine, from start to end of all sheets.")
@click.option("--labour", type=float, metavar="MINUTES", help="The maker's own time.")
@click.option(
    "--fit",
    type=click.Choice(["tight", "ok", "loose"]),
    help="How the boxes went together, by hand.",
)
@click.option(
    "--inside",
    "insides",
    metavar="TEXT",
    multiple=True,
    help='"x 232 231.9": machine axis, asked, measured; repeatable.',
)
@click.option("--no-offcuts", is_flag=True, help="Nothing of the sheets was kept.")
@click.option("--again", is_flag=True, help="The order was cut a second time.")
@click.option("--note", metavar="TEXT", default="", help="What you want to remember.")
@click.option("--machine", metavar="NAME", help="Machine in the shop book, where no job names it.")
@click.option("--settings", metavar="NAME", help="Settings in the shop book.")
@click.option("--date", metavar="YYYY-MM-DD", help="When it was cut; left out: now.")
@BOOK
def log(
    order: Path,
    minutes: float | None,
    labour: float | None,
    fit: str | None,
    insides: tuple[str, ...],
    no_offcuts: bool,
    again: bool,
    note: str,
    machine: str | None,
    settings: str | None,
    date: str | None,
    book: Path | None,
) -> None:
    """Note in the shop book that ORDER was cut: time, offcuts, how it fitted.

    ORDER is the folder that boxjoint sheets wrote, or its order.json. The times make the next estimate
    better; what remains of the sheets is offered to the next order.

    \b
    Examples:
      boxjoint log sheets --minutes 34 --fit ok
      boxjoint log sheets --minutes 34 --labour 90 --inside "x 232 231.9" --no-offcuts
    """
    from boxjoint.cli.bench import date_of
    from boxjoint.cli.book import _insides
    from boxjoint.shop.book import Book
    from boxjoint.shop.measured import find_sheet
    from boxjoint.shop.ordered import Cutting, log_records, was_logged
    from boxjoint.shop.records import Machine, content_id

    for name, value in (("--minutes", minutes), ("--labour", labour)):
        if value is not None and not 0 < value <= 43_200:
            raise InputError(
                "no such time",
                where=name,
                value=f"{value:g} minutes",
                limit="more than 0, to 30 days",
            )
    data, identity = _order_report(order)
    shops = [line.get("shop", {}) for line in data.get("lines", [])]
    where = machine or next((s["machine"] for s in shops if s.get("machine")), "")
    if not where:
        raise InputError(
            "which machine was it cut on?",
            where=str(order),
            do="give --machine, or name it in the jobs: [shop] machine",
        )
    at = date_of(date or "", "--date")
    with Book.open(book, write=True) as shop:
        if was_logged(shop, identity) and not again:
            raise InputError(
                "this order is in the shop book already",
                where=str(order),
                value=identity,
                do="give --again if it was cut a second time",
            )
        known = {e.record.name for e in shop.entries(Machine.kind) if isinstance(e.record, Machine)}
        if where not in known:
            raise InputError(
                "no such machine in the shop book",
                where="--machine",
                value=where,
                do=f'add it: boxjoint book add machine "{where}"',
            )
        name = settings or next((s["settings"] for s in shops if s.get("settings")), "")
        used = _settings_of(shop, name, where)
        ids = {
            s["sheet"]: content_id(find_sheet(shop, s["sheet"])) for s in shops if s.get("sheet")
        }
        cutting = Cutting(
            at=at,
            machine=where,
            settings=content_id(used),
            machine_s=None if minutes is None else 60 * minutes,
            labour_s=None if labour is None else 60 * labour,
            fit=fit or "",
            insides=_insides(insides, None),
            keep=not no_offcuts,
            note=note,
        )
        records = log_records(shop, data, identity, cutting, ids)
        if not any(e.id == content_id(used) for e in shop.entries("settings")):
            records.insert(0, used)
        shop.append_all(records)
        path = shop.path
    kinds = [r.kind for r in records]
    kept = kinds.count("offcut")
    click.echo(
        f"logged {identity}: {kept} offcut{'' if kept == 1 else 's'} kept, "
        f"{kinds.count('offcut_use')} used ({path})",
        err=True,
    )
    if not no_offcuts and not ids and any(s["remains"] for s in data["sheets"]):
        click.echo(
            "note: offcuts are kept with a sheet of the shop book, and no job names one", err=True
        )
    if minutes is not None:
        estimate = float(data["work"]["time"]["value"]) / 60
        click.echo(f"estimated {estimate:.1f} min (computed), took {minutes:g} min (measured)")


def _order_report(path: Path) -> tuple[Any, str]:
    """The content of an order.json, and the order's id: its title and a mark of what it holds."""
    import hashlib
    import json

    from boxjoint.errors import FileProblem

    file = path / "order.json" if path.is_dir() else path
    try:
        raw = file.read_bytes()
    except OSError as error:
        raise FileProblem(
            "cannot be read",
            where=str(file),
            value=(error.strerror or str(error)).lower(),
            do="name the folder that boxjoint sheets wrote",
        ) from None
    try:
        data = json.loads(raw)
        version = data["order"]
        title = str(data["title"])
    except (ValueError, KeyError, TypeError):
        raise InputError("this is no order.json of an order", where=str(file)) from None
    if version != 1:
        raise InputError(
            "this order.json is of another version", where=str(file), value=str(version), limit="1"
        )
    return data, f"{title} {hashlib.sha256(raw).hexdigest()[:8]}"


def _settings_of(shop: Any, name: str, machine: str) -> Any:
    """Settings by name, or the only ones in the book, or a record that says that nobody wrote them down."""
    from datetime import UTC, datetime

    from boxjoint.errors import BookError, nearest_name
    from boxjoint.shop.records import Settings

    known = [e.record for e in shop.entries("settings") if e.counts]
    if name:
        named = [s for s in known if s.name == name]
        if not named:
            raise BookError(
                "no settings of that name in the shop book",
                value=name,
                do=nearest_name(name, [s.name for s in known]) or "see: boxjoint book list",
            )
        return named[-1]
    if len(known) == 1:
        return known[0]
    if len(known) > 1:
        raise BookError(
            "which settings was it cut with?",
            value=", ".join(sorted(s.name or "unnamed" for s in known)),
            do="give --settings, or name them in the jobs: [shop] settings",
        )
    return Settings(at=datetime(2000, 1, 1, tzinfo=UTC))

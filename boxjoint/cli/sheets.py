"""Commands about orders: nest panels on sheets."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import click

from boxjoint.cli.options import job_from, measured_in_shop, overrides
from boxjoint.errors import InputError

__all__ = ["order_from", "sheets"]

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
        date=_today() if given.get("date") is None else str(given["date"]),
        confirmed=bool(given.get("yes")),
        progress=progress,
    )
    progress("done", 1.0)
    return laid


def _today() -> str:
    from datetime import date

    return date.today().isoformat()


def _from_book(order: Any, book: Path | None) -> tuple[Any, Any]:
    """The bed of the machine, and the offcuts left of the sheets that the jobs name."""
    shops = [line.job.shop for line in order.lines if line.job.shop.machine]
    if not shops:
        return None, ()
    from boxjoint.shop.book import Book
    from boxjoint.shop.stock import bed_of, offcuts_left

    with Book.open(book, write=False) as shop:
        bed = bed_of(shop, shops[0].machine)
        names = dict.fromkeys(s.sheet for s in shops if s.sheet)
        return bed, tuple(s for name in names for s in offcuts_left(shop, name))


@click.command()
@JOBS
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@STOCK_SIZE
@LEVEL
@SECONDS
@DATE
@click.option(
    "--dxf",
    type=click.Choice(["R2000", "R12"], case_sensitive=False),
    default="R2000",
    show_default=True,
    help="DXF release of the drawings.",
)
@click.option("--json", "as_json", is_flag=True, help="Print order.json on stdout, nothing else.")
@overrides
def sheets(
    jobs: tuple[str, ...],
    out: Path,
    sizes: tuple[str, ...],
    level: int | None,
    dxf: str,
    as_json: bool,
    **given: Any,
) -> None:
    """Nest the panels of jobs on sheets, and write a drawing of every sheet.

    JOB[=N] is a job file and how many of its boxes are wanted; or one order file alone. Every panel is
    compensated for the way it lies, and proved by cutting the sheets virtually.

    \b
    Examples:
      boxjoint sheets tray.toml --stock-size 600x300 --out sheets
      boxjoint sheets tray.toml=3 drawer.toml=2 --out sheets
      boxjoint sheets order.toml --level 3 --out sheets
    """
    from boxjoint.export.files import write_whole
    from boxjoint.order.files import order_files

    order = order_from(jobs, **given)
    laid = lay_order(order, sizes, level, **given)
    laid.require()
    written = write_whole(order_files(laid, dxf="R12" if dxf.upper() == "R12" else "R2000"), out)
    _say_what_is_left(written, out)
    show_laid(laid, as_json)
    click.echo(f"wrote {len(written)} files to {out}", err=True)
    from boxjoint.cli.box import _caution

    _caution()


def _say_what_is_left(written: tuple[Path, ...], out: Path) -> None:
    """Name sheets of an earlier order in the folder: they must not be cut by mistake."""
    new = {p.resolve() for p in written}
    left = sorted(p.name for p in out.glob("sheet-*.*") if p.resolve() not in new)
    if left:
        click.echo(f"look at: left from an earlier order: {', '.join(left)}", err=True)


def show_laid(laid: Any, as_json: bool) -> None:
    """Print what lies where, or the JSON alone."""
    if as_json:
        from boxjoint.order.report import order_json

        click.echo(order_json(laid).encode(), nl=False)
    else:
        from boxjoint.cli.show import show_table
        from boxjoint.order.report import summary_rows

        header = ["sheet", "stock", "panels", "used", "worth keeping"]
        show_table(laid.order.title, header, summary_rows(laid))
        nest = laid.nest
        click.echo(
            f"{len(nest.sheets)} sheets; the area alone needs {nest.bound:.2f} (computed)\n"
            "nest: checked; exact proof: holds; virtual cut of every sheet: holds"
        )
        for note in laid.notes:
            click.echo(f"note: {note}", err=True)
    for warning in laid.warnings:
        click.echo(f"look at: {warning}", err=True)

"""Options that several commands share, and how they change a job before it is made."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

import click

from boxjoint.errors import InputError
from boxjoint.fit.plan import Measured
from boxjoint.job.measures import refuse_job
from boxjoint.job.read import read_job
from boxjoint.job.records import FITS, Job, PerAxis, Thickness
from boxjoint.units import read_length_nm

__all__ = [
    "BOOK",
    "DXF",
    "JOB",
    "job_from",
    "measured_in_shop",
    "new_thickness",
    "overrides",
    "thickness_from",
]

F = TypeVar("F", bound=Callable[..., Any])

# the reader of jobs says better what is wrong with a file
JOB = click.argument("path", metavar="JOB", type=click.Path(path_type=Path, readable=False))


DXF = click.option(
    "--dxf",
    type=click.Choice(["R2000", "R12"], case_sensitive=False),
    default="R2000",
    show_default=True,
    help="DXF release of the drawings.",
)

BOOK = click.option(
    "--book",
    metavar="PATH",
    type=click.Path(path_type=Path),
    help="The shop book; left out: BOXJOINT_BOOK, or the one in your data folder.",
)


def overrides(command: F) -> F:
    """Add the options that override the job's own values."""
    options = [
        click.option("--kerf", metavar="LENGTH", help="FULL width that the beam removes."),
        click.option("--kerf-x", metavar="LENGTH", help="Full kerf across cuts that run along Y."),
        click.option("--kerf-y", metavar="LENGTH", help="Full kerf across cuts that run along X."),
        click.option(
            "--clearance", metavar="LENGTH", help="Slot minus tab; negative: interference."
        ),
        click.option("--fit", metavar="NAME", help=f"One of {', '.join(FITS)}."),
        click.option(
            "--thickness",
            metavar="LENGTH",
            multiple=True,
            help="Of the stock; give it several times for several readings.",
        ),
        click.option("--machine", metavar="NAME", help="Machine in the shop book."),
        click.option("--sheet", metavar="ID", help="Sheet in the shop book; gives the thickness."),
        click.option("--settings", metavar="NAME", help="Settings in the shop book."),
        BOOK,
        click.option("--yes", is_flag=True, help="Confirm what would otherwise be refused."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def _length(text: str, job: Job, option: str, *, signed: bool = False) -> int:
    try:
        return read_length_nm(text, unit=job.unit, what=option, signed=signed)
    except InputError as error:
        raise error.within(option) from None


def thickness_from(texts: Sequence[str], job: Job, option: str = "--thickness") -> Thickness | None:
    """Read thicknesses: one number is asked, several are readings."""
    if not texts:
        return None
    values = tuple(_length(t, job, option) for t in texts)
    return Thickness(readings=values, measured=len(values) > 1)


def new_thickness(job: Job, **given: Any) -> Thickness | None:
    """Thickness of another sheet than the job's: as given, or that of the sheet named instead."""
    thickness = thickness_from(given["thickness"], job)
    if thickness is None and given.get("sheet"):
        return _with_sheet(job, given.get("book")).stock.thickness
    return thickness


def job_from(path: Path, *, thickness_is_stock: bool = True, **given: Any) -> Job:
    """Read a job and put the options of the command line into it.

    Raises
    ------
    InputError
        When options exclude each other, or a value is out of its window.
    """
    proceed = bool(given.get("yes"))
    job = read_job(path, proceed=proceed)
    kerf, kx, ky = (given.get(k) for k in ("kerf", "kerf_x", "kerf_y"))
    one, x_or_y = kerf is not None, kx is not None or ky is not None
    if one and x_or_y:
        raise InputError("--kerf and --kerf-x or --kerf-y exclude each other")
    if (kx is None) != (ky is None) and job.cut.kerf is None:
        raise InputError(
            "give both --kerf-x and --kerf-y: the job has no kerf to take the other from"
        )
    if one or x_or_y:
        if job.cut.tool is not None:
            raise InputError("the job is for a router: its tool and a kerf exclude each other")
        old = job.cut.kerf or PerAxis(x=0.0, y=0.0)
        if kerf is not None:
            x = y = _length(kerf, job, "--kerf") / 1e6
        else:
            x = old.x if kx is None else _length(kx, job, "--kerf-x") / 1e6
            y = old.y if ky is None else _length(ky, job, "--kerf-y") / 1e6
        job = dataclasses.replace(job, cut=dataclasses.replace(job.cut, kerf=PerAxis(x=x, y=y)))
    clearance, fit = given.get("clearance"), given.get("fit")
    if clearance is not None and fit is not None:
        raise InputError("--clearance and --fit exclude each other")
    if fit is not None and fit not in FITS:
        from boxjoint.errors import nearest_name

        raise InputError(
            "no fit of that name",
            where="--fit",
            value=fit,
            limit="one of " + ", ".join(FITS),
            do=nearest_name(fit, FITS),
        )
    if clearance is not None or fit is not None:
        value = None
        if clearance is not None:
            value = _length(clearance, job, "--clearance", signed=True)
        joint = dataclasses.replace(job.joint, clearance=value, fit=fit)
        job = dataclasses.replace(job, joint=joint)
    names = {k: given[k] for k in ("machine", "sheet", "settings") if given.get(k)}
    if names:
        job = dataclasses.replace(job, shop=dataclasses.replace(job.shop, **names))
    if thickness_is_stock:
        if given.get("sheet") and not given.get("thickness"):
            job = _with_sheet(job, given.get("book"))
        stock = thickness_from(given.get("thickness") or (), job)
        if stock is not None:
            job = dataclasses.replace(job, stock=dataclasses.replace(job.stock, thickness=stock))
    refuse_job(job, proceed=proceed)
    return job


def _with_sheet(job: Job, book: Path | None) -> Job:
    """Take the stock's thickness and material from a sheet in the shop book."""
    from boxjoint.shop.book import Book
    from boxjoint.shop.measured import find_sheet

    with Book.open(book, write=False) as shop:
        sheet = find_sheet(shop, job.shop.sheet)
    readings = tuple(round(t * 1e6) for t in sheet.thickness_mm)
    stock = dataclasses.replace(
        job.stock,
        thickness=Thickness(readings=readings, measured=True),
        material=sheet.material,
    )
    return dataclasses.replace(job, stock=stock)


def measured_in_shop(job: Job, book: Path | None, *, quiet: bool = False) -> Measured | None:
    """Look up what the shop book knows for a job; say on stderr what a maker should know.

    Nothing is opened for a job that names no machine. ``quiet`` says nothing.
    """
    if not job.shop.machine:
        return None
    from datetime import UTC, datetime

    from boxjoint.shop.book import Book
    from boxjoint.shop.measured import measured_for
    from boxjoint.shop.stock import bed_of

    with Book.open(book, write=False) as shop:
        found = measured_for(shop, job, datetime.now(UTC))
        bed = bed_of(shop, job.shop.machine)
    for note in () if quiet else found.notes:
        click.echo(f"shop book: {note}", err=True)
    return dataclasses.replace(found.measured, bed=bed)

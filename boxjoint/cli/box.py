"""Commands about one box: new, check, build, restock, recut."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from boxjoint.cli.options import (
    DXF,
    JOB,
    job_from,
    measured_in_shop,
    new_thickness,
    overrides,
    thickness_from,
)
from boxjoint.errors import FileProblem, InputError

__all__ = ["build", "check", "new", "recut", "restock"]

SOLID = click.option(
    "--solid", is_flag=True, help="Also prove it with the solid kernel (extra 'solid')."
)
JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print report.json on stdout, nothing else."
)
BY_CONTROLLER = click.option(
    "--kerf-by-controller",
    is_flag=True,
    help="Leave the kerf to a controller that offsets outlines itself.",
)


@click.command()
@click.argument("path", metavar="[JOB]", type=click.Path(path_type=Path), required=False)
@click.option(
    "--unit",
    type=click.Choice(["mm", "in"]),
    default="mm",
    show_default=True,
    help="What bare numbers in it are.",
)
@click.option("--full", is_flag=True, help="Show every key there is; in mm only.")
def new(path: Path | None, unit: str, full: bool) -> None:
    """Write a commented starter job, to JOB or to stdout.

    \b
    Examples:
      boxjoint new tray.toml
      boxjoint new tray.toml --unit in
    """
    import shlex

    from boxjoint.export.files import write_whole
    from boxjoint.job.write import starter_text

    if full and unit == "in":
        raise InputError(
            "the starter with every key is in mm",
            where="--full",
            do="leave out --full, and take further keys from docs/job-file.md",
        )
    text = starter_text("in" if unit == "in" else "mm", full=full)
    if path is None:
        click.echo(text, nl=False)
        return
    if path.exists():
        raise FileProblem(
            "there is a file of that name already", where=str(path), do="choose another"
        )
    write_whole({path.name: text.encode()}, path.parent)
    command = shlex.join(["boxjoint", "check", str(path)])
    click.echo(f"wrote {path}; edit it, then: {command}", err=True)


def _solid(built: Any) -> tuple[Any, bytes]:
    """Run the solid proof and make the STEP file; both need the solid kernel."""
    import gc

    from boxjoint.cli.show import Progress
    from boxjoint.make import solid

    gc.enable()  # solids are large, and this takes a while (see cli/main)

    return solid(built, progress=Progress())


def _shown(built: Any, as_json: bool) -> None:
    if as_json:
        from boxjoint.export.report import report_json

        click.echo(report_json(built).encode(), nl=False)  # JSON is UTF-8 whatever the terminal is
        for warning in built.warnings:
            click.echo(f"look at: {warning}", err=True)
        return
    from boxjoint.cli.show import show_built

    show_built(built)


@click.command()
@JOB
@SOLID
@overrides
@JSON
def check(path: Path, solid: bool, as_json: bool, **given: Any) -> None:
    """Solve, compensate and prove JOB; write nothing.

    \b
    Examples:
      boxjoint check tray.toml
      boxjoint check tray.toml --kerf 0.21 --fit press --json
    """
    from boxjoint.make import build as make

    job = job_from(path, **given)
    built = make(job, measured=measured_in_shop(job, given["book"]), confirmed=given["yes"])
    if solid and built.passed:
        built, _ = _solid(built)
    _shown(built, as_json)
    built.require()


def _say_what_is_left(written: tuple[Path, ...], out: Path) -> None:
    """Name drawings of an earlier build in the folder: they must not be cut by mistake."""
    new = {p.resolve() for p in written}
    found = [*(out / "panels").iterdir(), *out.glob("box*.*"), *out.glob("panels.*")]
    found += out.glob("steps*.svg")
    left = sorted(str(p.relative_to(out)) for p in found if p.is_file() and p.resolve() not in new)
    if left:
        click.echo(f"look at: left from an earlier build: {', '.join(left)}", err=True)


@click.command()
@JOB
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@SOLID
@click.option(
    "--picture",
    is_flag=True,
    help="Also draw the box, box.svg, and how it goes together, steps.svg.",
)
@overrides
@DXF
@BY_CONTROLLER
@JSON
def build(
    path: Path,
    out: Path,
    solid: bool,
    picture: bool,
    dxf: str,
    kerf_by_controller: bool,
    as_json: bool,
    **given: Any,
) -> None:
    """Make and prove every panel of JOB, and write the files to a folder.

    Files appear whole or not at all, and only when every proof holds. A job that states [sheets] gets
    them too, nested and in cut sequence, with the shop papers, in the folder's sheets/.

    \b
    Examples:
      boxjoint build tray.toml --out tray
      boxjoint build tray.toml --out tray --solid --dxf R12
    """
    from boxjoint.export.files import write_whole
    from boxjoint.make import build as make
    from boxjoint.make import files

    job = job_from(path, **given)
    built = make(
        job,
        measured=measured_in_shop(job, given["book"]),
        kerf_by_controller=kerf_by_controller,
        confirmed=given["yes"],
    )
    step = None
    if solid and built.passed:
        built, step = _solid(built)
    written: tuple[Path, ...] = ()
    if built.passed:  # before anything is said: a reader that goes away must not cost the files
        content = files(built, dxf=_release(dxf), step=step, picture=picture)
        if job.sheets and kerf_by_controller:
            click.echo("note: no sheets are made when the controller applies the kerf", err=True)
        elif job.sheets:
            from boxjoint.cli.sheets import sheet_files_of

            content |= sheet_files_of(built, _release(dxf), **given)
        written = write_whole(content, out)
    _shown(built, as_json)
    built.require()
    click.echo(f"wrote {len(written)} files to {out}", err=True)
    _say_what_is_left(written, out)
    _caution(f"{out / 'report.md'}, under Before cutting")


def _release(dxf: str) -> Any:
    return dxf.upper()


def _caution(full: str = "the README, under Cautions") -> None:
    """Say the cautions in short, once a run, and where they stand in full."""
    from boxjoint.export.report import CAUTION_SHORT

    click.echo(f"{CAUTION_SHORT}\nAll cautions: {full}; local rules come first.", err=True)


@click.command()
@JOB
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the files.")
@click.option(
    "--panel", "panels", metavar="NAME=T", multiple=True, help="Thickness of one panel; repeatable."
)
@click.option("--recount", is_flag=True, help="Let the rule choose the segment counts again.")
@click.option(
    "--hold",
    type=click.Choice(["inside", "outside"]),
    default="inside",
    show_default=True,
    help="What stays as it was.",
)
@overrides
@DXF
@JSON
def restock(
    path: Path,
    out: Path | None,
    panels: tuple[str, ...],
    recount: bool,
    hold: str,
    dxf: str,
    as_json: bool,
    **given: Any,
) -> None:
    """Make the same box from a sheet of another thickness.

    --thickness replaces the stock's thickness only, --panel a panel's own. The inside is held and
    the segment counts are kept unless you say otherwise.

    \b
    Examples:
      boxjoint restock tray.toml --thickness 3.2 --out tray-3.2
      boxjoint restock tray.toml --panel bottom=6.3 --hold outside
    """
    from boxjoint.again import restock as again
    from boxjoint.cli.show import show_restocked
    from boxjoint.export.files import write_whole
    from boxjoint.make import files

    job = job_from(path, thickness_is_stock=False, **given)
    result = again(
        job,
        thickness=new_thickness(job, **given),
        panels=_panel_thicknesses(panels, job),
        recount=recount,
        hold="outside" if hold == "outside" else "inside",
        measured=measured_in_shop(job, given["book"]),
        confirmed=given["yes"],
    )
    written: tuple[Path, ...] = ()
    if out is not None and result.new.passed:
        content = files(result.new, dxf=_release(dxf))
        content["job.toml"] = result.job_text.encode()
        for mark in job.marks:  # the new job needs them beside it
            if mark.file and content.setdefault(mark.file, mark.content) != mark.content:
                raise InputError(
                    "a drawing of the job has the name of a file that is written here",
                    where=str(out),
                    value=mark.file,
                    do="give the drawing another name, or put it into a folder beside the job",
                )
        written = write_whole(content, out)
    if as_json:
        _shown(result.new, True)
    else:
        show_restocked(result)
    for note in result.notes:
        click.echo(f"note: {note}", err=True)
    result.new.require()
    if not as_json:
        click.echo("exact proof: holds; virtual cut: holds; assembly sequence: holds")
    if out is not None:
        click.echo(f"wrote {len(written)} files to {out}", err=True)
        _caution(f"{out / 'report.md'}, under Before cutting")


def _panel_thicknesses(texts: tuple[str, ...], job: Any) -> dict[str, Any]:
    found: dict[str, list[str]] = {}
    for text in texts:
        name, eq, value = text.partition("=")
        if not eq or not value:
            raise InputError("a panel's thickness is given as NAME=T", where="--panel", value=text)
        found.setdefault(name.strip(), []).append(value.strip())
    return {n: thickness_from(v, job, f"--panel {n}") for n, v in found.items()}


@click.command()
@JOB
@click.option("--panel", required=True, metavar="NAME", help="The panel to make again.")
@click.option("--out", type=click.Path(path_type=Path), required=True, help="Folder for the files.")
@overrides
@DXF
@BY_CONTROLLER
def recut(
    path: Path,
    panel: str,
    out: Path,
    dxf: str,
    kerf_by_controller: bool,
    **given: Any,
) -> None:
    """Write one panel of JOB again, with today's kerf and the same segments.

    It mates with the panels that are already cut. --thickness is that of today's sheet.

    \b
    Example:
      boxjoint recut tray.toml --panel front --kerf 0.21 --out tray-again
    """
    from boxjoint.again import recut as again
    from boxjoint.export.files import write_whole
    from boxjoint.export.said import figure_rows
    from boxjoint.job.read import read_job
    from boxjoint.make import files

    job = job_from(path, thickness_is_stock=False, **given)
    mates = None
    if given["clearance"] is not None or given["fit"] is not None:
        cut = read_job(path, proceed=given["yes"]).joint  # what the mates were cut with
        asked = replace(job.joint, clearance=cut.clearance, fit=cut.fit)
        mates = measured_in_shop(replace(job, joint=asked), given["book"], quiet=True)
    built, notes = again(
        job,
        panel,
        thickness=new_thickness(job, **given),
        measured=measured_in_shop(job, given["book"]),
        measured_of_mates=mates,
        kerf_by_controller=kerf_by_controller,
        confirmed=given["yes"],
    )
    built.require()
    for warning in built.warnings:
        click.echo(f"look at: {warning}", err=True)
    for note in notes:
        click.echo(f"note: {note}", err=True)
    write_whole(files(built, dxf=_release(dxf), only=panel), out)
    click.echo(f"wrote {panel} to {out}; cut with", err=True)
    for name, value, what, note in figure_rows(built):
        if name.startswith("kerf") or name == "clearance":
            click.echo(f"  {name} {value} ({what})" + (f": {note}" if note else ""), err=True)
    _caution()

"""The commands ``gauge draw ...``: gauge pieces as DXF and SVG, with forms to fill in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from boxjoint.cli.bench import lengths_mm, open_book
from boxjoint.cli.late import Suggesting
from boxjoint.cli.options import job_from, measured_in_shop, overrides
from boxjoint.errors import FileProblem, InputError
from boxjoint.units import read_length, read_speed

if TYPE_CHECKING:
    from boxjoint.check.built import Built
    from boxjoint.gauge.pieces import GaugePiece, GaugeStock
    from boxjoint.gauge.readings import Axis
    from boxjoint.geometry.drawing import Drawing
    from boxjoint.job.records import Job

__all__ = ["draw"]

F = TypeVar("F", bound=Callable[..., Any])

JOB = click.argument(
    "path", metavar="[JOB]", type=click.Path(path_type=Path, readable=False), required=False
)
AXIS = click.option(
    "--axis",
    type=click.Choice(["x", "y"]),
    default="x",
    show_default=True,
    help="Machine axis along which the widths lie.",
)


def _common(command: F) -> F:
    """Options of every piece: stock, place, time, where to write."""
    options = [
        click.option("--material", metavar="TEXT", help="Of the stock, where no JOB says it."),
        click.option(
            "--offcut", metavar="WxH", help="Place the parts on an offcut, X by Y: 200x120."
        ),
        click.option("--speed", metavar="SPEED", help='To reckon the time: "700 mm/min".'),
        click.option(
            "--out", type=click.Path(path_type=Path), required=True, help="Folder for the files."
        ),
        click.option(
            "--dxf",
            type=click.Choice(["R2000", "R12"], case_sensitive=False),
            default="R2000",
            show_default=True,
            help="DXF release of the drawing.",
        ),
    ]
    command = overrides(command)
    for option in reversed(options):
        command = option(command)
    return command


@click.group(cls=Suggesting)
def draw() -> None:
    """Draw gauge pieces as DXF and SVG, with a form to print and to fill in.

    The stock comes from a JOB, or from --material and --thickness.

    \b
    Examples:
      boxjoint gauge draw kerf --material "birch plywood" --thickness 3.02 --out gauge
      boxjoint gauge draw comb tray.toml --fit press --out comb
      boxjoint gauge draw set tray.toml --offcut 300x200 --out gauge
    """


@draw.command("kerf")
@JOB
@click.option("--quick", is_flag=True, help="The form of six readings instead of twelve.")
@click.option("--slices", type=int, metavar="N", help="Slices of each window, 4 to 15.")
@click.option("--frame", metavar="WxH", help="Outside of the frame, for thick stock: 140x80.")
@click.option("--bridge", metavar="LENGTH", help="Width of the bridges; 0 for none.")
@_common
def draw_kerf(
    path: Path | None,
    quick: bool,
    slices: int | None,
    frame: str | None,
    bridge: str | None,
    **given: Any,
) -> None:
    """Draw the kerf gauge: two windows of slices in a frame of 100 x 60 mm.

    \b
    Examples:
      boxjoint gauge draw kerf tray.toml --out gauge
      boxjoint gauge draw kerf --material "birch plywood" --thickness 3.02 --quick --out gauge
    """
    from boxjoint.gauge.kerf_gauge import FRAME_MM, kerf_gauge
    from boxjoint.gauge.pieces import BRIDGE_MM

    stock, built = _stock(path, given)
    piece = kerf_gauge(
        stock,
        quick=quick,
        slices=slices,
        frame_mm=_size(frame, "--frame") if frame else FRAME_MM,
        bridge_mm=_length(bridge, "--bridge") if bridge else BRIDGE_MM,
    )
    _finish([("kerf", piece)], given)
    if built is not None:
        _say_scale(built)


@draw.command("strip")
@JOB
@click.option("--length", metavar="LENGTH", help="Of both strips, 300 mm if left out.")
@click.option("--width", metavar="LENGTH", help="Of both strips, 15 mm if left out.")
@click.option("--bed", metavar="WxH", help="Bed of the machine, which the strips must fit.")
@_common
def draw_strip(
    path: Path | None, length: str | None, width: str | None, bed: str | None, **given: Any
) -> None:
    """Draw a strip along X and one along Y, which measure the scale of the axes.

    \b
    Example:
      boxjoint gauge draw strip tray.toml --length 400 --out strips
    """
    from boxjoint.gauge.strips import LENGTH_MM, strips

    stock, built = _stock(path, given)
    more: dict[str, Any] = {"width_mm": _length(width, "--width")} if width else {}
    piece = strips(
        stock,
        length_mm=_length(length, "--length") if length else LENGTH_MM,
        bed_mm=_size(bed, "--bed") if bed else None,
        **more,
    )
    _finish([("strip", piece)], given)
    if built is not None:
        _say_scale(built, always=True)


@draw.command("comb")
@JOB
@click.option("--slots", type=int, metavar="N", help="3 to 15; 9 if left out.")
@click.option("--centre", metavar="LENGTH", help="x of the middle slot: drawn slot less drawn tab.")
@click.option("--step", metavar="LENGTH", help="From slot to slot; 0.05 mm if left out.")
@click.option("--tab-width", metavar="LENGTH", help="Of the tabs; a JOB's own if left out.")
@click.option("--sheet-comb", is_flag=True, help="Slots that take the sheet's own thickness.")
@click.option("--segment", metavar="LENGTH", help="How long slots and tabs are.")
@AXIS
@_common
def draw_comb(
    path: Path | None,
    slots: int | None,
    centre: str | None,
    step: str | None,
    tab_width: str | None,
    sheet_comb: bool,
    segment: str | None,
    axis: Axis,
    **given: Any,
) -> None:
    """Draw a fit comb: slots of stepped clearance, each with its own numbered tab.

    With a JOB, tabs are as wide and as long as the job's, and the middle slot is what the shop book
    knows of the fit, or what is assumed for it.

    \b
    Examples:
      boxjoint gauge draw comb tray.toml --fit press --out comb
      boxjoint gauge draw comb --tab-width 8 --thickness 3.02 --centre -0.33 --step 0.03 --out comb
    """
    stock, built = _stock(path, given)
    name, piece = _comb(
        stock,
        built,
        given,
        axis,
        slots=slots,
        centre=None if centre is None else _length(centre, "--centre", signed=True),
        step=None if step is None else _length(step, "--step"),
        tab_width=None if tab_width is None else _length(tab_width, "--tab-width"),
        segment=None if segment is None else _length(segment, "--segment"),
        sheet_comb=sheet_comb,
    )
    _finish([(name, piece)], given)


@draw.command("coupon")
@click.argument("path", metavar="JOB", type=click.Path(path_type=Path, readable=False))
@click.option("--segments", type=int, metavar="N", help="At most so many segments, an odd number.")
@_common
def draw_coupon(path: Path, segments: int | None, **given: Any) -> None:
    """Draw a first-article coupon: two short stretches of JOB that truly mate, kerf applied.

    \b
    Example:
      boxjoint gauge draw coupon tray.toml --out coupon
    """
    _, built = _stock(path, given)
    if built is None:
        raise InputError("a coupon is that of a job", do="name the job's file")
    _finish([("coupon", _coupon(built, segments))], given)


@draw.command("set")
@click.argument("path", metavar="JOB", type=click.Path(path_type=Path, readable=False))
@click.option(
    "--pieces",
    default="kerf,comb,coupon",
    show_default=True,
    metavar="NAMES",
    help="Of kerf, quick, strip, comb, coupon.",
)
@AXIS
@_common
def draw_set(path: Path, pieces: str, axis: Axis, **given: Any) -> None:
    """Draw several pieces of JOB on one offcut, cut smallest first.

    \b
    Example:
      boxjoint gauge draw set tray.toml --pieces quick,comb --offcut 300x200 --out gauge
    """
    from boxjoint.gauge.kerf_gauge import kerf_gauge
    from boxjoint.gauge.strips import strips

    stock, built = _stock(path, given)
    if built is None or not given.get("offcut"):
        raise InputError("a set lies on an offcut", where="--offcut", do="give its size: 300x200")
    makers: dict[str, Callable[[], tuple[str, GaugePiece]]] = {
        "kerf": lambda: ("kerf", kerf_gauge(stock)),
        "quick": lambda: ("kerf", kerf_gauge(stock, quick=True)),
        "strip": lambda: ("strip", strips(stock)),
        "comb": lambda: _comb(stock, built, given, axis),
        "coupon": lambda: ("coupon", _coupon(built, None)),
    }
    names = [n.strip() for n in pieces.split(",") if n.strip()]
    for name in names:
        if name not in makers or names.count(name) > 1 or {"kerf", "quick"} <= set(names):
            raise InputError(
                "pieces of a set",
                where="--pieces",
                value=pieces,
                limit="each once: kerf or quick, strip, comb, coupon",
            )
    _finish([makers[n]() for n in names], given)
    _say_scale(built)


# ---- what they are made from -------------------------------------------------------------------


def _length(text: str, option: str, *, signed: bool = False) -> float:
    try:
        return float(read_length(text, unit="mm", what=option.lstrip("-"), signed=signed))
    except InputError as error:
        raise error.within(option) from None


def _size(text: str, option: str) -> tuple[float, float]:
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2:
        raise InputError("a size is given as WxH", where=option, value=text, do="such as 200x120")
    return _length(parts[0], option), _length(parts[1], option)


def _stock(path: Path | None, given: Mapping[str, Any]) -> tuple[GaugeStock, Built | None]:
    """The stock, and the built job where there is one; its kerf is what the job would be cut with."""
    from boxjoint.gauge.pieces import GaugeStock
    from boxjoint.job.records import PerAxis, Source

    if path is not None:
        from boxjoint.make import build

        if given.get("material"):
            raise InputError("the job says its material", where="--material")
        job = job_from(path, **{k: v for k, v in given.items() if k != "material"})
        built = build(job, measured=measured_in_shop(job, given.get("book")))
        plan = built.plan
        if plan.tool is not None:
            raise InputError("a router has no kerf to measure", where=str(path))
        thickness = job.stock.thickness
        return (
            GaugeStock(
                material=job.stock.material,
                thickness_mm=thickness.nm / 1e6,
                thickness_source=thickness.source,
                kerf=PerAxis(x=plan.kerf_x.value, y=plan.kerf_y.value),
                kerf_source=plan.kerf_x.source,
            ),
            built,
        )
    thickness_mm = lengths_mm(given.get("thickness") or (), "--thickness")
    material = given.get("material") or ""
    if given.get("sheet"):
        from boxjoint.shop.measured import find_sheet

        with open_book(given.get("book"), write=False) as book:
            sheet = find_sheet(book, given["sheet"])
        thickness_mm, material = thickness_mm or sheet.thickness_mm, material or sheet.material
    if not thickness_mm:
        raise InputError(
            "which stock is it cut from?", do="give --thickness (and --material), or a JOB"
        )
    kerf: dict[str, Any] = {}
    asked = [given.get(k) or given.get("kerf") for k in ("kerf_x", "kerf_y")]
    if all(asked):
        x, y = (_length(str(t), "--kerf") for t in asked)
        kerf = {"kerf": PerAxis(x=x, y=y), "kerf_source": Source.ASKED}
    elif any(asked):
        raise InputError("give both --kerf-x and --kerf-y")
    measured = len(thickness_mm) > 1 or bool(given.get("sheet"))
    return (
        GaugeStock(
            material=material,
            thickness_mm=round(sum(thickness_mm) / len(thickness_mm), 6),
            thickness_source=Source.MEASURED if measured else Source.ASKED,
            **kerf,
        ),
        None,
    )


def _comb(
    stock: GaugeStock,
    built: Built | None,
    given: Mapping[str, Any],
    axis: Axis,
    *,
    slots: int | None = None,
    centre: float | None = None,
    step: float | None = None,
    tab_width: float | None = None,
    segment: float | None = None,
    sheet_comb: bool = False,
) -> tuple[str, GaugePiece]:
    from boxjoint.gauge.comb_pieces import SLOTS, STEP_MM, fit_comb
    from boxjoint.gauge.comb_pieces import sheet_comb as make_sheet_comb
    from boxjoint.gauge.for_job import first_centre_mm, usual_tab

    many = SLOTS if slots is None else slots
    if tab_width is None and built is not None:
        tab_width, length, where = usual_tab(built.solution)
        segment = length if segment is None and not sheet_comb else segment
        click.echo(f"tabs of {tab_width:.2f} mm, as most of the job has ({where})", err=True)
    if sheet_comb:
        segment = segment or tab_width
        if segment is None:
            raise InputError("how long are the cheeks?", do="give --segment LENGTH, or a JOB")
        piece = make_sheet_comb(
            stock,
            segment_mm=segment,
            centre_mm=centre,
            step_mm=STEP_MM if step is None else step,
            slots=many,
            axis=axis,
        )
        return "sheet-comb", piece
    if tab_width is None:
        raise InputError("how wide are the tabs?", do="give --tab-width LENGTH, or a JOB")
    fit = given.get("fit") or (built.job.joint.fit if built else None) or "snug"
    if centre is None and built is not None:
        found = _known_comb(built.job, given.get("book"), axis, fit, many)
        if found is not None:
            centre, step = found[0], step or found[1]
            click.echo(
                f"centre {centre:+.3f} mm and step {step:.3f} mm from the combs in the shop book",
                err=True,
            )
    step = STEP_MM if step is None else step
    if centre is None:
        centre = first_centre_mm(stock, fit, axis, slots=many, step_mm=step)
        click.echo(
            f"centre {centre:+.3f} mm: the clearance ASSUMED for a {fit} fit less two kerfs of "
            f"{stock.kerf_mm(axis):.3f} mm ({_capital(str(stock.kerf_source))})",
            err=True,
        )
    piece = fit_comb(
        stock,
        tab_width_mm=tab_width,
        mate_thickness_mm=segment,
        centre_mm=centre,
        step_mm=step,
        slots=many,
        axis=axis,
    )
    return "comb", piece


def _capital(word: str) -> str:
    return word.upper() if word == "assumed" else word


def _known_comb(
    job: Job, path: Path | None, axis: Axis, fit: str, slots: int
) -> tuple[float, float] | None:
    """Centre and step of the next comb from those in the book, for a job that names its machine."""
    if not job.shop.machine:
        return None
    from datetime import UTC, datetime

    from boxjoint.shop.bench import comb_to_cut

    with open_book(path, write=False) as book:
        return comb_to_cut(book, job, datetime.now(UTC), axis=axis, fit=fit, slots=slots)


def _coupon(built: Built, segments: int | None) -> GaugePiece:
    from boxjoint.gauge.coupon import coupon, stretches

    _, (first, _) = stretches(built.solution, most_segments=segments)
    return coupon(
        built.solution,
        built.plan,
        title=built.job.title,
        material=built.job.material(first.name),
        thickness_source=built.job.thickness(first.name).source,
        beam=built.beam,
        most_segments=segments,
    )


# ---- writing and saying ------------------------------------------------------------------------


def _finish(named: Sequence[tuple[str, GaugePiece]], given: Mapping[str, Any]) -> None:
    from boxjoint.export.dxf import drawing_to_dxf
    from boxjoint.export.files import write_whole
    from boxjoint.export.report import CAUTIONS
    from boxjoint.export.svg import drawing_to_svg
    from boxjoint.gauge.form import form_csv, form_toml
    from boxjoint.gauge.form_page import form_svg

    out: Path = given["out"]
    speed = read_speed(given["speed"], what="--speed") if given.get("speed") else None
    drawing = _drawing(named, given)
    stem = named[0][0] if len(named) == 1 else "set"
    release: Any = given["dxf"].upper()
    content = {
        f"{stem}.dxf": drawing_to_dxf(drawing, version=release).encode(),
        f"{stem}.svg": drawing_to_svg(drawing).encode(),
    }
    for name, piece in named:
        content[f"{name}-form.svg"] = form_svg(piece).encode()
        content[f"{name}-form.toml"] = form_toml(piece).encode()
        content[f"{name}-form.csv"] = form_csv(piece).encode()
    _keep_filled_forms(content, out)
    write_whole(content, out)
    _show(named, None if speed is None else float(speed.mm_per_s))
    click.echo(f"wrote {len(content)} files to {out}", err=True)
    for line in ("No setting is safe by itself; boxjoint never calls one safe.", *CAUTIONS):
        click.echo(line, err=True)


def _drawing(named: Sequence[tuple[str, GaugePiece]], given: Mapping[str, Any]) -> Drawing:
    pieces = [piece for _, piece in named]
    if not given.get("offcut"):
        return pieces[0].drawing
    from boxjoint.gauge.offcut import place_on_offcut

    width, height = _size(given["offcut"], "--offcut")
    placed = place_on_offcut(pieces, width, height)
    used = placed.used_mm
    click.echo(
        f"placed on the offcut of {width:g} x {height:g} mm: {used[0]:.0f} x {used[1]:.0f} mm used, "
        "not turned"
    )
    return placed.drawing


def _keep_filled_forms(content: Mapping[str, bytes], out: Path) -> None:
    """Refuse to write over a form that is not the blank one: it may hold readings."""
    for name, data in content.items():
        path = out / name
        if not name.endswith(("-form.csv", "-form.toml")) or not path.is_file():
            continue
        try:
            same = path.read_bytes() == data
        except OSError:
            same = False
        if not same:
            raise FileProblem(
                "there is a form already that is another one or was filled in; nothing was written",
                where=str(path),
                do="choose another folder, or move the form away",
            )


def _show(named: Sequence[tuple[str, GaugePiece]], speed_mm_s: float | None) -> None:
    from boxjoint.cli.show import show_table

    rows = []
    for _, piece in named:
        time = "-" if speed_mm_s is None else _time(piece.seconds(speed_mm_s))
        rows.append(
            [
                piece.code,
                piece.title,
                f"{piece.cut_length_mm:.0f} mm",
                time,
                f"{piece.area_mm2 / 100:.1f} cm2",
                str(piece.pieces),
                str(piece.values or len(piece.slots)),
            ]
        )
    show_table(
        "Gauge pieces",
        ["code", "piece", "cut", "cutting time", "wood", "parts", "to write down"],
        rows,
    )
    if speed_mm_s is None:
        click.echo("time: give --speed to have it reckoned")
    for _, piece in named:
        for line in piece.how:
            click.echo(f"  {line}")
        for warning in piece.warnings:
            click.echo(f"look at: {warning}", err=True)


def _time(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def _say_scale(built: Built, *, always: bool = False) -> None:
    from boxjoint.gauge.for_job import scale_of_job

    question = scale_of_job(built.solution)
    if question.matters or always:
        click.echo(question.text)

"""The command ``gauge read kerf``: readings in, kerf and scale out."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from boxjoint.cli.bench import (
    DATE,
    Where,
    date_of,
    kerf_text,
    lengths_mm,
    open_book,
    plus_minus,
    where_cut,
)
from boxjoint.cli.gauge_reading import (
    AGAIN,
    FORMS,
    JSON,
    PIECE,
    PLOT,
    SAVE,
    InBook,
    in_book,
    only_forms,
    other_form,
    plot_kind,
    refuse_twice,
    write_plot,
)
from boxjoint.cli.options import BOOK
from boxjoint.errors import BookError, InputError, ReadingError

if TYPE_CHECKING:
    from boxjoint.gauge.estimate import KerfFit
    from boxjoint.gauge.readings import Caliper, Reading
    from boxjoint.shop.bench import Place
    from boxjoint.shop.learn import Belief
    from boxjoint.shop.records import GaugeSession

__all__ = ["kerf"]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taken:
    """The readings of one gauge, as they go into the book as one record."""

    source: str
    readings: tuple[Reading, ...]
    facts: Mapping[str, str] = field(default_factory=dict)
    unit: str = "mm"


@click.command("kerf")
@FORMS
@click.option(
    "--reading",
    "typed",
    metavar="TEXT",
    multiple=True,
    help='One reading: "stack x 72 8: 70.61, 70.63"; repeatable.',
)
@click.option(
    "--unit",
    type=click.Choice(["mm", "in"]),
    default="mm",
    show_default=True,
    help="Of bare values that are typed; drawn sizes are mm.",
)
@PIECE
@click.option("--quick", is_flag=True, help="Ask for the six readings of the quick form only.")
@click.option("--caliper-step", metavar="LENGTH", help="Step of the caliper's display.")
@click.option("--with-book", is_flag=True, help="Start from what the book believes, not from all.")
@where_cut
@DATE
@BOOK
@SAVE
@AGAIN
@PLOT
@JSON
def kerf(
    forms: tuple[Path, ...],
    typed: tuple[str, ...],
    unit: str,
    piece: str | None,
    quick: bool,
    caliper_step: str | None,
    with_book: bool,
    date: str | None,
    book: Path | None,
    save: bool,
    again: bool,
    plot: Path | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Estimate kerf and scale from the readings of a gauge.

    Readings come from filled forms (TOML or CSV), from --reading, or, on a terminal, one by one.

    \b
    A typed reading is FORM AXIS DRAWN [SLICES] [WORDS]: VALUE, VALUE
      form    plug, hole, window, stack, strip, difference
      drawn   as printed on the form, in mm unless it has a unit
      words   turned, ends=0|1|2, contour=NAME, u=LENGTH
    Values are set apart by a comma and a blank.

    \b
    Examples:
      boxjoint gauge read kerf gauge/kerf-form.csv
      boxjoint gauge read kerf --reading "stack x 72 8: 70.61, 70.63" --reading "window x 72: 72.18"
      boxjoint gauge read kerf kerf-form.csv --save --machine "the red one" --sheet 3f9a --settings ply3
    """
    from boxjoint.gauge.estimate import fit_kerf
    from boxjoint.shop.bench import agreement, prior_of

    kind = plot_kind(plot)
    only_forms(piece, forms)
    taken = _taken(forms, typed, unit, quick, given, piece)
    facts = taken[0].facts
    at = date_of(date or facts.get("date", ""), "--date" if date else f"{taken[0].source}: date")
    caliper = _caliper(caliper_step, taken)
    where = Where.of(given, facts, at)
    fit = fit_kerf(_together(taken), None, caliper)
    known = in_book(where, book, at, save=save or with_book)
    if known is not None:
        known = replace(known, agreement=agreement(fit, known.belief))
    used_book = False
    if with_book:
        if known is None or known.belief.kerf_x is None:
            raise BookError(
                "the book believes nothing of this kerf", do="leave --with-book out, or save first"
            )
        if _in_book_already(known, book, at, taken, caliper):
            click.echo(
                "look at: these readings are in the book already, which would count them twice; "
                "the book was NOT used, the figures rest on the readings alone",
                err=True,
            )
        elif all(a.agrees for a in known.agreement):
            fit = fit_kerf(_together(taken), prior_of(known.belief, caliper), caliper)
            used_book = True
    saved: tuple[str, ...] = ()
    after = None
    if save:
        saved, after = _save_gauges(where, book, at, taken, caliper, again)
    if plot is not None:
        from boxjoint.export.plots import plot_readings

        title = "; ".join(t.source for t in taken)
        write_plot(plot, plot_readings(fit, kind, hand_mm=fit.plain.hand_mm, title=title))
    if as_json:
        click.echo(_kerf_json(fit, known, used_book, saved, after).encode(), nl=False)
    else:
        _show_kerf(fit, taken, known, with_book, used_book)
        _show_saved(saved, after)


def _taken(
    forms: tuple[Path, ...],
    typed: tuple[str, ...],
    unit: str,
    quick: bool,
    given: Mapping[str, Any],
    piece: str | None,
) -> tuple[_Taken, ...]:
    from boxjoint.cli.typed import read_readings
    from boxjoint.gauge.form import read_form

    if forms and typed:
        raise InputError("give readings in a form or with --reading, not both")
    if forms:
        out = []
        for path in forms:
            form = read_form(path, piece)
            if not form.readings:
                raise other_form(form, "boxjoint gauge read comb")
            out.append(
                _Taken(
                    source=f"{form.gauge} ({path.name})",
                    readings=form.readings,
                    facts=form.facts,
                    unit=form.unit,
                )
            )
            if form.empty:
                rows = ", ".join(map(str, form.empty))
                click.echo(f"{path}: nothing written in rows {rows}", err=True)
        return tuple(out)
    of_unit = "in" if unit == "in" else "mm"
    if typed:
        readings = read_readings(typed, unit=of_unit)  # type: ignore[arg-type]
        return (_Taken(source="typed readings", readings=readings, unit=of_unit),)
    if not _asked_by_person():
        raise InputError(
            "no readings",
            limit="a form, or --reading",
            do='such as: boxjoint gauge read kerf --reading "stack x 72 8: 70.61, 70.63"',
        )
    return (_ask(of_unit, quick, given),)


def _asked_by_person() -> bool:
    return bool(sys.stdin is not None and sys.stdin.isatty())


def _ask(unit: str, quick: bool, given: Mapping[str, Any]) -> _Taken:
    """Ask for the values of the standard gauge row by row; an empty answer leaves a row out."""
    from boxjoint.cli.typed import read_values
    from boxjoint.gauge.kerf_gauge import kerf_gauge
    from boxjoint.gauge.pieces import GaugeStock
    from boxjoint.gauge.readings import Form

    thickness = lengths_mm(given.get("thickness") or (), "--thickness")
    if not thickness:
        text = click.prompt("thickness of the stock in mm (it decides the number of slices)")
        thickness = lengths_mm((text,), "thickness")
    mean = sum(thickness) / len(thickness)
    piece = kerf_gauge(GaugeStock(material="", thickness_mm=mean), quick=quick)
    slices = {row.axis: row.slices for row in piece.rows if row.form is Form.STACK}
    click.echo(
        f"{piece.title}: a frame of 100 x 60 mm, with N={slices['x']} and N={slices['y']} marked"
    )
    click.echo(
        "at its windows. If yours says otherwise, stop here (ctrl-C) and fill in the form that"
    )
    click.echo(f"was drawn with it. Values in {unit}, repeats set apart by a comma and a blank; an")
    click.echo("empty line leaves a row out. Nothing is kept before the last row.")
    for line in piece.how:
        click.echo(f"  {line}")
    readings = []
    for row in piece.rows:
        while True:
            note = " (optional)" if row.optional else ""
            text = click.prompt(
                f"{row.row} {row.what}{note}: {row.jaws}", default="", show_default=False
            )
            if not text.strip():
                break
            try:
                values = read_values(
                    text,
                    "in" if unit == "in" else "mm",
                    f"row {row.row}",
                    signed=row.form is Form.DIFFERENCE,
                )
                readings.append(row.reading(values, where=f"row {row.row}"))
                break
            except InputError as error:
                click.echo(f"{error} Once more:", err=True)
    if not readings:
        raise InputError("no readings", do="write at least one value")
    return _Taken(source="kerf gauge (asked)", readings=tuple(readings), unit=unit)


def _together(taken: Sequence[_Taken]) -> tuple[Reading, ...]:
    """All readings; contours of different gauges are different ones whatever their names."""
    if len(taken) == 1:
        return taken[0].readings
    return tuple(
        replace(r, contour=f"{number} {r.contour}" if r.contour else "")
        for number, one in enumerate(taken, 1)
        for r in one.readings
    )


def _caliper(step: str | None, taken: Sequence[_Taken]) -> Caliper:
    """The assumed caliper, with the step of its display where somebody stated it."""
    from boxjoint.gauge.readings import Caliper
    from boxjoint.units import read_length

    text, unit, where = step, "mm", "--caliper-step"
    if text is None:
        for one in taken:
            if one.facts.get("caliper_step"):
                text, unit, where = (
                    one.facts["caliper_step"],
                    one.unit,
                    f"{one.source}: caliper_step",
                )
                break
    if text is None:
        return Caliper()
    try:
        mm = float(read_length(text, unit="in" if unit == "in" else "mm", what="caliper step"))
    except InputError as error:
        raise error.within(where) from None
    if not 0.0 < mm <= 1.0:
        raise ReadingError(
            "the step of a caliper's display", where=where, value=text, limit="up to 1 mm"
        )
    return Caliper(step_mm=mm)


def _session(place: Place, at: datetime, one: _Taken, caliper: Caliper) -> GaugeSession:
    """The readings of one form as the book keeps them."""
    from boxjoint.shop.bench import book_readings
    from boxjoint.shop.records import GaugeSession

    return GaugeSession(
        at=at,
        machine=place.machine,
        sheet=place.sheet_id,
        settings=place.settings_id,
        readings=book_readings(one.readings),
        caliper_step_mm=caliper.step_mm,
        source=one.source,
        note=one.facts.get("note", ""),
    )


def _in_book_already(
    known: InBook, path: Path | None, at: datetime, taken: Sequence[_Taken], caliper: Caliper
) -> bool:
    from boxjoint.shop.bench import twice

    with open_book(path, write=False) as book:
        return any(
            twice(book, _session(known.place, at, one, caliper)) is not None for one in taken
        )


def _save_gauges(
    where: Where,
    path: Path | None,
    at: datetime,
    taken: Sequence[_Taken],
    caliper: Caliper,
    again: bool,
) -> tuple[tuple[str, ...], Belief]:
    from boxjoint.shop.bench import twice
    from boxjoint.shop.learn import believe
    from boxjoint.shop.records import content_id

    with open_book(path, write=True) as book:
        place = where.find(book, at)
        sessions = []
        for one in taken:
            session = _session(place, at, one, caliper)
            if not again:
                refuse_twice(twice(book, session))
            sessions.append(session)
        book.append_all([*place.new, *sessions])
        belief = believe(
            book, place.machine, place.sheet.material, place.sheet.mean_mm, place.settings, at
        )
    return tuple(content_id(s) for s in sessions), belief


def _standing(measured: bool) -> str:
    return "measured" if measured else "ASSUMED"


def _sure(U: float, unit: str) -> str:
    """An expanded uncertainty, 95 %, mm: of what was read in inches in thou first."""
    if unit != "in":
        return plus_minus(U, unit)
    return f"+-{U / 0.0254:.1f} thou ({U:.3f} mm)"


def _show_kerf(
    fit: KerfFit,
    taken: Sequence[_Taken],
    known: InBook | None,
    with_book: bool,
    used_book: bool,
) -> None:
    from boxjoint.cli.show import show_table
    from boxjoint.gauge.checks import BLIND_SPOTS
    from boxjoint.units import mm_and_thou

    inch = all(t.unit == "in" for t in taken)  # what was read in inches is shown in thou first
    first: Literal["mm", "in"] = "in" if inch else "mm"
    rows = []
    for name in ("kerf_x", "kerf_y", "scale_x", "scale_y"):
        e = fit.estimate(name)
        scale = name.startswith("scale")
        value = f"{e.value:.5f}" if scale else mm_and_thou(e.value, first=first, places=3)
        span = f"{e.low:.3f} to {e.high:.3f} mm"
        if inch:
            span = f"{e.low / 0.0254:.1f} to {e.high / 0.0254:.1f} thou ({span})"
        span = "" if scale else span
        nu = "large" if e.nu_eff > 999 else f"{e.nu_eff:.0f}"
        rows.append(
            [name, value, _sure(e.U, "1" if scale else first), span, nu, _standing(e.measured)]
        )
    for t in fit.taper:
        value = mm_and_thou(t.taper_mm, first=first, places=3)
        rows.append([f"taper {t.axis}", value, _sure(t.U_mm, first), "", "", "measured"])
    prior = "the book's belief and " if used_book else ""
    title = f"From {prior}{fit.n_values} values ({'; '.join(t.source for t in taken)})"
    show_table(title, ["figure", "value", "+- (95 %)", "95 % interval", "nu", "what it is"], rows)
    click.echo(
        f"fit of the readings: chi-squared {fit.chi2:.1f} for {fit.n_values} values, "
        f"p = {fit.p_value:.2g}; no reading is bad with probability {fit.average.p_none:.2f}"
    )
    for finding in fit.findings:
        click.echo(f"look at: {finding}", err=True)
    for spot in BLIND_SPOTS:
        click.echo(f"cannot be seen: {spot}", err=True)
    for advice in fit.advice[:3]:
        click.echo(f"would help: {advice.text}")
    if known is not None:
        _show_agreement(known, with_book, used_book)


def _show_agreement(known: InBook, with_book: bool, used_book: bool) -> None:
    if known.belief.kerf_x is None:
        near = f"; {known.belief.nearest}; it is NOT used" if known.belief.nearest else ""
        click.echo(f"the book knew nothing of this kerf{near}")
        return
    click.echo(f"the book believed: {kerf_text(known.belief)}")
    for a in known.agreement:
        word = "agrees" if a.agrees else "DOES NOT AGREE: did the machine change?"
        click.echo(
            f"  {a.name} read now is {a.difference_mm:+.3f} mm from that, {plus_minus(a.U_mm)} "
            f"(95 %): {word}"
        )
    if with_book and not used_book:
        click.echo(
            "look at: the book was NOT used, since the readings contradict it; the figures above "
            "rest on the readings alone",
            err=True,
        )


def _show_saved(saved: Sequence[str], after: Belief | None) -> None:
    if after is None:
        return
    click.echo(f"saved as {', '.join(i[:8] for i in saved)}", err=True)
    click.echo(f"the book now believes: {kerf_text(after)}")
    for flag in after.flags:
        click.echo(f"look at: {flag.name} {flag.at:%Y-%m-%d}: {flag.text}", err=True)
    from boxjoint.shop.hand import advise

    advice = advise(after, "snug")
    if advice.gauge:
        click.echo(f"look at: {advice.text}", err=True)


def _belief_json(belief: Belief | None) -> dict[str, Any] | None:
    if belief is None or belief.kerf_x is None or belief.kerf_y is None:
        return None
    return {
        "machine": belief.machine,
        "material": belief.material,
        "kerf_x": {"value": belief.kerf_x.value, "u": belief.kerf_x.u},
        "kerf_y": {"value": belief.kerf_y.value, "u": belief.kerf_y.u},
        "scale_x": {"value": belief.scale_x.value, "u": belief.scale_x.u},
        "scale_y": {"value": belief.scale_y.value, "u": belief.scale_y.u},
        "readings": belief.readings,
        "gauges": belief.gauges,
        "boxes": belief.boxes,
        "last": belief.last.isoformat() if belief.last else None,
        "age_days": belief.age_days,
        "motion": belief.motion,
        "flags": [{"name": f.name, "text": f.text} for f in belief.flags],
    }


def _kerf_json(
    fit: KerfFit,
    known: InBook | None,
    used_book: bool,
    saved: Sequence[str],
    after: Belief | None,
) -> str:
    from boxjoint.export.plots import residuals_mm
    from boxjoint.gauge.checks import BLIND_SPOTS

    out: dict[str, Any] = {"format": "boxjoint gauge kerf", "version": 1, "unit": "mm"}
    for name in ("kerf_x", "kerf_y", "scale_x", "scale_y"):
        e = fit.estimate(name)
        out[name] = {
            "value": e.value,
            "u": e.u,
            "U95": e.U,
            "low": e.low,
            "high": e.high,
            "nu_eff": None if e.nu_eff == float("inf") else e.nu_eff,
            "source": "measured" if e.measured else "assumed",
        }
    out["taper"] = [
        {"axis": t.axis, "value": t.taper_mm, "u": t.u_mm, "U95": t.U_mm} for t in fit.taper
    ]
    out |= {
        "values": fit.n_values,
        "chi2": fit.chi2,
        "p_value": fit.p_value,
        "p_none_bad": fit.average.p_none,
        "readings": [
            {
                "label": r.label,
                "values": list(r.values_mm),
                "residuals": list(off),
                "p_bad": float(p),
            }
            for (r, off), p in zip(residuals_mm(fit), fit.average.p_feature, strict=True)
        ],
        "findings": [{"flag": str(f.flag), "about": f.about, "text": f.text} for f in fit.findings],
        "cannot_be_seen": list(BLIND_SPOTS),
        "advice": [a.text for a in fit.advice[:3]],
        "prior": "book" if used_book else "assumed",
        "book_before": _belief_json(known.belief) if known else None,
        "agreement": [
            {"name": a.name, "difference": a.difference_mm, "U95": a.U_mm, "agrees": a.agrees}
            for a in (known.agreement if known else ())
        ],
        "saved": list(saved),
        "book_after": _belief_json(after),
    }
    return json.dumps(out, indent=2, ensure_ascii=False) + "\n"

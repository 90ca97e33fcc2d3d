"""The commands ``gauge read kerf`` and ``gauge read comb``: readings in, kerf and fit out."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
from boxjoint.cli.late import Suggesting
from boxjoint.cli.options import BOOK
from boxjoint.errors import BookError, InputError, ReadingError

if TYPE_CHECKING:
    from boxjoint.gauge.comb import CombResult, Slot
    from boxjoint.gauge.estimate import KerfFit
    from boxjoint.gauge.form import FilledForm
    from boxjoint.gauge.readings import Caliper, Reading
    from boxjoint.shop.bench import Agreement, Place
    from boxjoint.shop.learn import Belief
    from boxjoint.shop.records import CombRound, GaugeSession

__all__ = ["read"]

#: Standard uncertainty of a kerf that was typed, and of one that nobody measured, mm; both assumed.
_U_ASKED_MM, _U_ASSUMED_MM = 0.01, 0.05

SAVE = click.option("--save", is_flag=True, help="Append what was read to the shop book.")
AGAIN = click.option("--again", is_flag=True, help="Save although the same rows are in the book.")
PLOT = click.option(
    "--plot", metavar="PATH", type=click.Path(path_type=Path), help="Also draw it: .svg or .png."
)
JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON on stdout, nothing else.")
PIECE = click.option(
    "--piece", metavar="CODE", help="Code marked on the piece; a form of another one is refused."
)
FORMS = click.argument(
    "forms", metavar="[FORM]...", nargs=-1, type=click.Path(path_type=Path, readable=False)
)


@click.group(cls=Suggesting)
def read() -> None:
    """Turn readings into kerf, and verdicts into a fit.

    \b
    Examples:
      boxjoint gauge read kerf gauge/kerf-form.csv
      boxjoint gauge read comb comb/comb-form.csv --fit press
    """


# ---- kerf ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Taken:
    """The readings of one gauge, as they go into the book as one record."""

    source: str
    readings: tuple[Reading, ...]
    facts: Mapping[str, str] = field(default_factory=dict)
    unit: str = "mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class _InBook:
    """What the book has to say: the place, what is believed there, and how the reading compares."""

    place: Place
    belief: Belief
    agreement: tuple[Agreement, ...] = ()


@read.command("kerf")
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
def read_kerf(
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

    kind = _plot_kind(plot)
    _only_forms(piece, forms)
    taken = _taken(forms, typed, unit, quick, given, piece)
    facts = taken[0].facts
    at = date_of(date or facts.get("date", ""), "--date" if date else f"{taken[0].source}: date")
    caliper = _caliper(caliper_step, taken)
    where = Where.of(given, facts, at)
    fit = fit_kerf(_together(taken), None, caliper)
    known = _in_book(where, book, at, save=save or with_book)
    if known is not None:
        known = replace(known, agreement=agreement(fit, known.belief))
    used_book = False
    if with_book:
        if known is None or known.belief.kerf_x is None:
            raise BookError(
                "the book believes nothing of this kerf", do="leave --with-book out, or save first"
            )
        if all(a.agrees for a in known.agreement):
            fit = fit_kerf(_together(taken), prior_of(known.belief, caliper), caliper)
            used_book = True
    saved: tuple[str, ...] = ()
    after = None
    if save:
        saved, after = _save_gauges(where, book, at, taken, caliper, again)
    if plot is not None:
        from boxjoint.export.plots import plot_readings

        title = "; ".join(t.source for t in taken)
        _write(plot, plot_readings(fit, kind, hand_mm=fit.plain.hand_mm, title=title))
    if as_json:
        click.echo(_kerf_json(fit, known, used_book, saved, after).encode(), nl=False)
    else:
        _show_kerf(fit, taken, known, with_book, used_book)
        _show_saved(saved, after)


def _plot_kind(plot: Path | None) -> str:
    if plot is None:
        return ""
    from boxjoint.export.plots import require_plot

    return require_plot(plot)


def _write(path: Path, data: bytes) -> None:
    from boxjoint.export.files import write_whole

    write_whole({path.name: data}, path.parent)
    click.echo(f"wrote {path}", err=True)


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
                raise _other_form(form, "boxjoint gauge read comb")
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


def _only_forms(piece: str | None, forms: tuple[Path, ...]) -> None:
    if piece is not None and not forms:
        raise InputError(
            "only a form belongs to a piece", where="--piece", do="give its form, or leave this out"
        )


def _other_form(form: FilledForm, command: str) -> ReadingError:
    return ReadingError(
        f"the form of gauge {form.gauge} ({form.kind}) has nothing in it for this command",
        where=form.path,
        do=f"read it with: {command}",
    )


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


def _in_book(where: Where, path: Path | None, at: datetime, *, save: bool) -> _InBook | None:
    """What the book believes where this was cut; ``None`` where the place is not described.

    Only ``save`` makes it an error that the place cannot be found.
    """
    from boxjoint.shop.learn import believe

    if not where.machine:
        if save:
            raise InputError(
                "on which machine was it cut?", where="the shop book", do="give --machine NAME"
            )
        return None
    try:
        with open_book(path, write=False) as book:
            place = where.find(book, at)
            belief = believe(
                book, place.machine, place.sheet.material, place.sheet.mean_mm, place.settings, at
            )
    except InputError as error:
        if save:
            raise
        click.echo(f"shop book: {error}", err=True)
        return None
    return _InBook(place=place, belief=belief)


def _save_gauges(
    where: Where,
    path: Path | None,
    at: datetime,
    taken: Sequence[_Taken],
    caliper: Caliper,
    again: bool,
) -> tuple[tuple[str, ...], Belief]:
    from boxjoint.shop.bench import book_readings, twice
    from boxjoint.shop.learn import believe
    from boxjoint.shop.records import GaugeSession, content_id

    with open_book(path, write=True) as book:
        place = where.find(book, at)
        sessions = []
        for one in taken:
            session = GaugeSession(
                at=at,
                machine=place.machine,
                sheet=place.sheet_id,
                settings=place.settings_id,
                readings=book_readings(one.readings),
                caliper_step_mm=caliper.step_mm,
                source=one.source,
                note=one.facts.get("note", ""),
            )
            if not again:
                _refuse_twice(twice(book, session))
            sessions.append(session)
        book.append_all([*place.new, *sessions])
        belief = believe(
            book, place.machine, place.sheet.material, place.sheet.mean_mm, place.settings, at
        )
    return tuple(content_id(s) for s in sessions), belief


def _refuse_twice(entry: Any) -> None:
    if entry is not None:
        state = "" if entry.counts else ", struck out"
        raise BookError(
            "the very same rows are in the shop book already; nothing was saved",
            value=f"{entry.id[:8]} of {entry.record.at:%Y-%m-%d}{state}",
            do="if they were really read twice, save them with --again",
        )


def _standing(measured: bool) -> str:
    return "measured" if measured else "ASSUMED"


def _show_kerf(
    fit: KerfFit,
    taken: Sequence[_Taken],
    known: _InBook | None,
    with_book: bool,
    used_book: bool,
) -> None:
    from boxjoint.cli.show import show_table
    from boxjoint.gauge.checks import BLIND_SPOTS
    from boxjoint.units import mm_and_thou

    rows = []
    for name in ("kerf_x", "kerf_y", "scale_x", "scale_y"):
        e = fit.estimate(name)
        scale = name.startswith("scale")
        value = f"{e.value:.5f}" if scale else mm_and_thou(e.value, places=3)
        span = "" if scale else f"{e.low:.3f} to {e.high:.3f} mm"
        nu = "large" if e.nu_eff > 999 else f"{e.nu_eff:.0f}"
        rows.append(
            [name, value, plus_minus(e.U, "1" if scale else "mm"), span, nu, _standing(e.measured)]
        )
    for t in fit.taper:
        value = mm_and_thou(t.taper_mm, places=3)
        rows.append([f"taper {t.axis}", value, plus_minus(t.U_mm), "", "", "measured"])
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


def _show_agreement(known: _InBook, with_book: bool, used_book: bool) -> None:
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
    if after.check:
        click.echo(
            "look at: that is too uncertain for a fit to be promised; read a stack and its window",
            err=True,
        )


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
        "check": belief.check,
        "flags": [{"name": f.name, "text": f.text} for f in belief.flags],
    }


def _kerf_json(
    fit: KerfFit,
    known: _InBook | None,
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


# ---- comb ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Round:
    """One comb as it was tried."""

    source: str
    slots: tuple[Slot, ...]
    axis: str
    own_tab: bool
    sheet_comb: bool = False
    width_mm: float = 0.0
    facts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kerf:
    """The kerf along the comb's axis, and what it is."""

    value: float
    u: float
    standing: str


@read.command("comb")
@FORMS
@PIECE
@click.option("--verdict", "one_by_one", metavar="X=WORD", multiple=True, help="-0.30=press")
@click.option("--verdicts", metavar="WORDS", help="Of all slots, from slot 1: no,press,slides...")
@click.option("--centre", metavar="LENGTH", help="Of --verdicts: x of the middle slot.")
@click.option("--step", metavar="LENGTH", help="Of --verdicts: from slot to slot.")
@click.option("--axis", type=click.Choice(["x", "y"]), help="Along which the widths lie.")
@click.option("--one-tab", is_flag=True, help="One tab was tried in all slots.")
@click.option("--sheet-comb", is_flag=True, help="The slots take the sheet's own thickness.")
@click.option("--fit", metavar="NAME", default="snug", show_default=True, help="The fit wanted.")
@click.option("--kerf", metavar="LENGTH", help="Full kerf along the axis, if the book has none.")
@click.option("--tab-width", metavar="LENGTH", help="Nominal width of the tabs, for the next comb.")
@where_cut
@DATE
@BOOK
@SAVE
@AGAIN
@PLOT
@JSON
def read_comb(
    forms: tuple[Path, ...],
    piece: str | None,
    one_by_one: tuple[str, ...],
    verdicts: str | None,
    centre: str | None,
    step: str | None,
    axis: str | None,
    one_tab: bool,
    sheet_comb: bool,
    fit: str,
    kerf: str | None,
    tab_width: str | None,
    date: str | None,
    book: Path | None,
    save: bool,
    again: bool,
    plot: Path | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Find the clearance that gives the wanted fit from the verdicts on a comb.

    Verdicts are no (will not enter), press, slides and loose. Several forms are several rounds,
    oldest first; combs of the same machine, sheet and settings that are in the book come before.

    \b
    Examples:
      boxjoint gauge read comb comb/comb-form.csv --fit press
      boxjoint gauge read comb --centre -0.34 --step 0.05 --verdicts no,no,press,press,slides,slides,loose
      boxjoint gauge read comb --verdict -0.44=no --verdict -0.34=press --verdict -0.24=slides
    """
    from boxjoint.gauge.comb import comb_start, comb_update
    from boxjoint.shop.bench import comb_so_far

    kind = _plot_kind(plot)
    _only_forms(piece, forms)
    rounds = _rounds(
        forms, piece, one_by_one, verdicts, centre, step, axis, one_tab, sheet_comb, tab_width
    )
    facts, along = rounds[0].facts, rounds[0].axis
    if len({(r.axis, r.sheet_comb) for r in rounds}) > 1:
        raise InputError("combs along different axes, or of different kinds, are read apart")
    is_sheet = rounds[0].sheet_comb
    at = date_of(date or facts.get("date", ""), "--date" if date else f"{rounds[0].source}: date")
    where = Where.of(given, facts, at)
    known = _in_book(where, book, at, save=save)
    if save and is_sheet:
        raise InputError(
            "the shop book keeps fit combs only",
            where="--save",
            do="write what a sheet comb gives into the job: [joint] sheet_clearance",
        )
    beam = _kerf_of(kerf, known, along)
    # a sheet takes all of the clearance by itself: as cut it is x + kerf, not x + 2 kerf
    share = 0.5 if is_sheet else 1.0
    before = _earlier(known, book, at, along) if known and not is_sheet else ()
    state = (
        comb_so_far(before, along, kerf_mm=beam.value, u_kerf_mm=beam.u)
        if before
        else comb_start(kerf_mm=share * beam.value, u_kerf_mm=share * beam.u)
    )
    results = []
    findings = []
    for one in rounds:
        try:
            results.append(comb_update(state, one.slots, own_tab=one.own_tab, fit=fit))
        except ReadingError as error:
            raise error.within(one.source) if not error.where else error from None
        state = results[-1].state
        findings += [f"{one.source}: {f}" for f in results[-1].findings]
    result = results[-1]
    shown = _Shown.of(result, beam, share, _material(known, where), rounds[-1], len(before))
    saved: tuple[str, ...] = ()
    if save:
        saved = _save_combs(where, book, at, rounds, again)
    if plot is not None:
        from boxjoint.export.plots import plot_comb

        _write(plot, plot_comb(result, kind, title="; ".join(r.source for r in rounds)))
    if as_json:
        click.echo(_comb_json(shown, findings, saved).encode(), nl=False)
        return
    _show_comb(shown, findings)
    if saved:
        click.echo(f"saved as {', '.join(i[:8] for i in saved)}", err=True)


def _rounds(
    forms: tuple[Path, ...],
    piece: str | None,
    one_by_one: tuple[str, ...],
    verdicts: str | None,
    centre: str | None,
    step: str | None,
    axis: str | None,
    one_tab: bool,
    sheet_comb: bool,
    tab_width: str | None,
) -> tuple[_Round, ...]:
    from boxjoint.cli.typed import read_verdicts, slots_of
    from boxjoint.gauge.form import read_form
    from boxjoint.gauge.pieces import GaugeKind

    if bool(forms) + bool(one_by_one) + (verdicts is not None) > 1:
        raise InputError(
            "give verdicts in forms, with --verdict or with --verdicts, not in two ways"
        )
    width = lengths_mm((tab_width,), "--tab-width")[0] if tab_width else 0.0
    if forms:
        out = []
        for path in forms:
            form = read_form(path, piece)
            if not form.slots:
                raise _other_form(form, "boxjoint gauge read kerf")
            out.append(
                _Round(
                    source=f"{form.gauge} ({path.name})",
                    slots=form.slots,
                    axis=form.axis,
                    own_tab=form.own_tab and not one_tab,
                    sheet_comb=form.kind is GaugeKind.SHEET_COMB,
                    width_mm=width or form.width_mm,
                    facts=form.facts,
                )
            )
        return tuple(out)
    if verdicts is not None:
        if centre is None or step is None:
            raise InputError("--verdicts needs --centre and --step: which slot is which?")
        slots = slots_of(verdicts, centre, step)
    elif one_by_one:
        slots = read_verdicts(one_by_one)
    else:
        raise InputError(
            "no verdicts",
            limit="a form, --verdict or --verdicts",
            do="such as: --verdict -0.44=no --verdict -0.34=press --verdict -0.24=slides",
        )
    return (
        _Round(
            source="typed verdicts",
            slots=slots,
            axis=axis or "x",
            own_tab=not (one_tab or sheet_comb),
            sheet_comb=sheet_comb,
            width_mm=width,
        ),
    )


def _kerf_of(kerf: str | None, known: _InBook | None, axis: str) -> _Kerf:
    from boxjoint.fit.fits import ASSUMED_KERF_MM

    figure = getattr(known.belief, f"kerf_{axis}") if known and known.belief.is_kerf else None
    if kerf is not None:
        value = lengths_mm((kerf,), "--kerf")[0]
        if not 0.01 <= value <= 1.5:
            raise InputError(
                "a full kerf", where="--kerf", value=f"{value:g} mm", limit="0.01 to 1.5 mm"
            )
        if figure is not None and abs(value - figure.value) > max(0.02, 3 * figure.u):
            half = 0.4 < value / figure.value < 0.65
            click.echo(
                f"look at: --kerf is {value:.3f} mm, the book believes {figure.value:.3f} mm"
                + (": is it half a kerf? The full width is meant" if half else ""),
                err=True,
            )
        return _Kerf(value=value, u=_U_ASKED_MM, standing="asked")
    if figure is not None:
        return _Kerf(value=figure.value, u=figure.u, standing=str(figure.source))
    return _Kerf(value=ASSUMED_KERF_MM, u=_U_ASSUMED_MM, standing="ASSUMED")


def _earlier(known: _InBook, path: Path | None, at: datetime, axis: str) -> tuple[CombRound, ...]:
    from boxjoint.shop.learn import comb_rounds

    place = known.place
    with open_book(path, write=False) as book:
        rounds = comb_rounds(
            book, place.machine, place.sheet.material, place.sheet.mean_mm, place.settings, at
        )
    return tuple(r for r in rounds if r.axis == axis)


def _material(known: _InBook | None, where: Where) -> str:
    return known.place.sheet.material if known else where.material


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """What is said of a comb; lengths in mm."""

    result: CombResult
    kerf: _Kerf
    axis: str
    before: int
    #: (fit, drawn, +- drawn, cut, +- cut, remark)
    fits: tuple[tuple[str, float, float, float, float, str], ...]
    centre: float
    step: float
    stop: bool
    command: str
    kept_loose: bool

    @classmethod
    def of(
        cls,
        result: CombResult,
        kerf: _Kerf,
        share: float,
        material: str,
        last: _Round,
        before: int,
    ) -> _Shown:
        """Carry the answers to clearances as cut; interference is refused in brittle stock."""
        from boxjoint.fit.fits import family_of
        from boxjoint.gauge.comb import carried

        brittle = family_of(material).brittle
        k, u = share * kerf.value, share * kerf.u
        rows = []
        for name, a in result.answers.items():
            cut = carried(a, kerf_from_mm=k, kerf_to_mm=0.0, u_difference_mm=u)
            remark = ""
            if brittle and cut.x_mm < 0.0:
                remark = "refused: interference cracks brittle stock"
                if name != "press":
                    remark = "interference refused in brittle stock: 0 is used"
            rows.append(
                (
                    name,
                    a.x_mm,
                    0.5 * (a.high_mm - a.low_mm),
                    cut.x_mm,
                    0.5 * (cut.high_mm - cut.low_mm),
                    remark,
                )
            )
        coming = result.next_comb
        centre, kept = coming.centre_mm, False
        if brittle:
            least = (coming.slots - 1) / 2 * coming.step_mm - 2 * k
            centre, kept = max(centre, least), least > centre
        words = ["boxjoint gauge draw comb"]
        if last.sheet_comb:
            words.append("--sheet-comb")
        words += [f"--centre {centre:.3f}", f"--step {coming.step_mm:.3f}"]
        words += [f"--slots {coming.slots}", f"--axis {last.axis}"]
        if last.width_mm:
            name = "--thickness" if last.sheet_comb else "--tab-width"
            words.append(f"{name} {last.width_mm:g}")
        words.append("--out next-comb")
        return cls(
            result=result,
            kerf=kerf,
            axis=last.axis,
            before=before,
            fits=tuple(rows),
            centre=centre,
            step=coming.step_mm,
            stop=result.stop,
            command=" ".join(words),
            kept_loose=kept,
        )


def _show_comb(shown: _Shown, findings: Sequence[str]) -> None:
    from boxjoint.cli.show import show_table

    result = shown.result
    rows = [
        [
            f"{name} (wanted)" if name == result.fit else name,
            f"{x:+.3f} mm",
            plus_minus(half),
            f"{cut:+.3f} mm",
            plus_minus(half_cut),
            remark,
        ]
        for name, x, half, cut, half_cut, remark in shown.fits
    ]
    rounds = len(result.state.rounds)
    title = f"Clearance along {shown.axis.upper()} after {rounds} comb{'s' if rounds > 1 else ''}"
    if shown.before:
        title += f", {shown.before} of them in the book"
    show_table(title, ["fit", "as drawn", "+- (95 %)", "as cut", "+- (95 %)", ""], rows)
    click.echo(
        f"as cut with kerf {shown.kerf.value:.3f} mm ({shown.kerf.standing}); for one tab in its "
        "slot: each joint of a job is corrected for its own number of segments"
    )
    for finding in findings:
        click.echo(f"look at: {finding}", err=True)
    sd, coming = result.answer.sd_mm, result.next_comb
    limit = result.state.assumed.stop_sd_mm
    if shown.stop:
        click.echo(
            f"stop here: {result.fit} is known to {sd:.3f} mm (standard uncertainty; {limit:g} is "
            f"enough), since single slots scatter by more; another comb would leave "
            f"{coming.sd_expected_mm:.3f} mm"
        )
        return
    click.echo(
        f"cut another comb: {result.fit} is known to {sd:.3f} mm (standard uncertainty), one more "
        f"would leave {coming.sd_expected_mm:.3f} mm; {limit:g} is enough"
    )
    if shown.kept_loose:
        click.echo("brittle stock: the next comb is set so that no slot has interference")
    click.echo(f"  {shown.command}")


def _comb_json(shown: _Shown, findings: Sequence[str], saved: Sequence[str]) -> str:
    result = shown.result
    out = {
        "format": "boxjoint gauge comb",
        "version": 1,
        "unit": "mm",
        "axis": shown.axis,
        "rounds": len(result.state.rounds),
        "rounds_in_book": shown.before,
        "kerf": {
            "value": shown.kerf.value,
            "u": shown.kerf.u,
            "source": shown.kerf.standing.lower(),
        },
        "fit": result.fit,
        "fits": {
            name: {
                "as_drawn": x,
                "as_drawn_U95": half,
                "as_cut": cut,
                "as_cut_U95": half_cut,
                "remark": remark,
            }
            for name, x, half, cut, half_cut, remark in shown.fits
        },
        "u": result.answer.sd_mm,
        "stop": shown.stop,
        "next_comb": {
            "centre": shown.centre,
            "step": shown.step,
            "slots": result.next_comb.slots,
            "u_expected": result.next_comb.sd_expected_mm,
            "command": shown.command,
        },
        "findings": list(findings),
        "saved": list(saved),
    }
    return json.dumps(out, indent=2, ensure_ascii=False) + "\n"


def _save_combs(
    where: Where, path: Path | None, at: datetime, rounds: Sequence[_Round], again: bool
) -> tuple[str, ...]:
    from boxjoint.shop.bench import book_verdicts, twice
    from boxjoint.shop.learn import comb_rounds
    from boxjoint.shop.records import CombRound, content_id

    with open_book(path, write=True) as book:
        place = where.find(book, at)
        earlier = comb_rounds(
            book, place.machine, place.sheet.material, place.sheet.mean_mm, place.settings, at
        )
        records: list[CombRound | GaugeSession] = []
        for number, one in enumerate(rounds, len(earlier) + 1):
            record = CombRound(
                at=at,
                machine=place.machine,
                sheet=place.sheet_id,
                settings=place.settings_id,
                axis=one.axis,
                verdicts=book_verdicts(one.slots),
                round=number,
                own_tab=one.own_tab,
                source=one.source,
                note=one.facts.get("note", ""),
            )
            if not again:
                _refuse_twice(twice(book, record))
            records.append(record)
        book.append_all([*place.new, *records])
    return tuple(content_id(r) for r in records)

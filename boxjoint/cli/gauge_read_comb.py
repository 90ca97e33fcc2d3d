"""The command ``gauge read comb``: verdicts in, the fit and the next comb out."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from boxjoint.cli.bench import (
    DATE,
    Where,
    date_of,
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
from boxjoint.errors import InputError, ReadingError

if TYPE_CHECKING:
    from boxjoint.gauge.comb import CombResult, Slot
    from boxjoint.shop.records import CombRound, GaugeSession

__all__ = ["comb"]

#: Standard uncertainty of a kerf that was typed, and of one that nobody measured, mm; both assumed.
_U_ASKED_MM, _U_ASSUMED_MM = 0.01, 0.05


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


@click.command("comb")
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
def comb(
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
    from boxjoint.shop.bench import book_verdicts
    from boxjoint.shop.hand import comb_so_far

    kind = plot_kind(plot)
    only_forms(piece, forms)
    rounds = _rounds(
        forms, piece, one_by_one, verdicts, centre, step, axis, one_tab, sheet_comb, tab_width
    )
    facts, along = rounds[0].facts, rounds[0].axis
    if len({(r.axis, r.sheet_comb) for r in rounds}) > 1:
        raise InputError("combs along different axes, or of different kinds, are read apart")
    is_sheet = rounds[0].sheet_comb
    at = date_of(date or facts.get("date", ""), "--date" if date else f"{rounds[0].source}: date")
    where = Where.of(given, facts, at)
    known = in_book(where, book, at, save=save)
    if save and is_sheet:
        raise InputError(
            "the shop book keeps fit combs only",
            where="--save",
            do="write what a sheet comb gives into the job: [joint] sheet_clearance",
        )
    beam = _kerf_of(kerf, known, along)
    # a sheet takes all of the clearance by itself: as cut it is x + kerf, not x + 2 kerf
    share = 0.5 if is_sheet else 1.0
    state, day, before = comb_start(kerf_mm=share * beam.value, u_kerf_mm=share * beam.u), 0, 0
    if known is not None and not is_sheet:
        new = [(r.axis, book_verdicts(r.slots)) for r in rounds]
        state, day, before = comb_so_far(
            known.belief, along, kerf_mm=beam.value, u_kerf_mm=beam.u, new=new
        )
    results = []
    findings = []
    for one in rounds:
        try:
            results.append(comb_update(state, one.slots, own_tab=one.own_tab, fit=fit, day=day))
        except ReadingError as error:
            raise error.within(one.source) if not error.where else error from None
        state = results[-1].state
        findings += [f"{one.source}: {f}" for f in results[-1].findings]
    result = results[-1]
    shown = _Shown.of(result, beam, share, _material(known, where), rounds[-1], before)
    saved: tuple[str, ...] = ()
    if save:
        saved = _save_combs(where, book, at, rounds, again)
    if plot is not None:
        from boxjoint.export.plots import plot_comb

        write_plot(plot, plot_comb(result, kind, title="; ".join(r.source for r in rounds)))
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
                raise other_form(form, "boxjoint gauge read kerf")
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


def _kerf_of(kerf: str | None, known: InBook | None, axis: str) -> _Kerf:
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


def _material(known: InBook | None, where: Where) -> str:
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
        from boxjoint.gauge.comb import comb_felt

        brittle = family_of(material).brittle
        k = share * kerf.value
        rows = []
        for name, a in result.answers.items():
            cut = comb_felt(result.state, name).cut
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
    from boxjoint.shop.learn import believe
    from boxjoint.shop.records import CombRound, content_id

    with open_book(path, write=True) as book:
        place = where.find(book, at)
        belief = believe(
            book, place.machine, place.sheet.material, place.sheet.mean_mm, place.settings, at
        )
        earlier = belief.combs.rounds if belief.combs else ()
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
                refuse_twice(twice(book, record))
            records.append(record)
        book.append_all([*place.new, *records])
    return tuple(content_id(r) for r in records)

"""What ``gauge read kerf`` and ``gauge read comb`` share: options, forms, the place in the book."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from boxjoint.cli.bench import (
    Where,
    open_book,
)
from boxjoint.errors import BookError, InputError, ReadingError

if TYPE_CHECKING:
    from boxjoint.gauge.form import FilledForm
    from boxjoint.shop.bench import Agreement, Place
    from boxjoint.shop.learn import Belief


__all__ = [
    "AGAIN",
    "FORMS",
    "JSON",
    "PIECE",
    "PLOT",
    "SAVE",
    "InBook",
    "in_book",
    "only_forms",
    "other_form",
    "plot_kind",
    "refuse_twice",
    "write_plot",
]

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


@dataclass(frozen=True, slots=True, kw_only=True)
class InBook:
    """What the book has to say: the place, what is believed there, and how the reading compares."""

    place: Place
    belief: Belief
    agreement: tuple[Agreement, ...] = ()


def in_book(where: Where, path: Path | None, at: datetime, *, save: bool) -> InBook | None:
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
    return InBook(place=place, belief=belief)


def only_forms(piece: str | None, forms: tuple[Path, ...]) -> None:
    """Refuse ``--piece`` where no form is read."""
    if piece is not None and not forms:
        raise InputError(
            "only a form belongs to a piece", where="--piece", do="give its form, or leave this out"
        )


def other_form(form: FilledForm, command: str) -> ReadingError:
    """Return the error for a form of another kind than the command reads."""
    return ReadingError(
        f"the form of gauge {form.gauge} ({form.kind}) has nothing in it for this command",
        where=form.path,
        do=f"read it with: {command}",
    )


def plot_kind(plot: Path | None) -> str:
    """Return the kind of plot that a path asks for; refuse one that cannot be drawn."""
    if plot is None:
        return ""
    from boxjoint.export.plots import require_plot

    return require_plot(plot)


def write_plot(path: Path, data: bytes) -> None:
    """Write a plot, whole or not at all, and say so."""
    from boxjoint.export.files import write_whole

    write_whole({path.name: data}, path.parent)
    click.echo(f"wrote {path}", err=True)


def refuse_twice(entry: Any) -> None:
    """Refuse rows that the book has already; ``entry`` is the record that has them."""
    if entry is not None:
        state = "" if entry.counts else ", struck out"
        raise BookError(
            "the very same rows are in the shop book already; nothing was saved",
            value=f"{entry.id[:8]} of {entry.record.at:%Y-%m-%d}{state}",
            do="if they were really read twice, save them with --again",
        )
